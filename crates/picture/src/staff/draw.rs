//! The picture as a whole: staves, clefs, barlines, slurs; then what stands around them.

use super::around;
use super::describe::{Note, Opened, Slur, Staff};
use super::frame::{Frame, GAP};
use super::notes;
use super::signs;
use super::words::Sky;
use crate::svg::{Path, escape, number};
use std::fmt::Write as _;

/// SVG in the making.
#[derive(Clone, Debug, Default)]
pub struct Canvas {
    out: String,
    /// Farthest right edge of any words.
    pub reach: f64,
    /// Room of the words written: left, right, top, bottom.
    rooms: Vec<(f64, f64, f64, f64)>,
}

impl Canvas {
    /// A path, if there is one.
    pub fn path(&mut self, class: &str, path: &Path) {
        if !path.is_empty() {
            let _ = write!(self.out, "<path class=\"{class}\" d=\"{}\"/>", path.data());
        }
    }

    /// Words with their left end and baseline.
    pub fn words(&mut self, class: &str, x: f64, y: f64, size: f64, text: &str) {
        let end = x + super::words::width(text, size);
        self.reach = self.reach.max(end);
        self.rooms.push((x, end, y - 0.85 * size, y + 0.25 * size));
        let _ = write!(
            self.out,
            "<text class=\"{class}\" x=\"{}\" y=\"{}\" font-size=\"{}\">{}</text>",
            number(x),
            number(y),
            number(size),
            escape(text)
        );
    }

    /// A line straight down at x, that lets words stand free.
    pub fn drop(&self, path: &mut Path, x: f64, from: f64, to: f64) {
        let mut at = from;
        let mut rooms: Vec<_> = self.rooms.iter().filter(|r| r.0 - 2.0 < x && x < r.1).collect();
        rooms.sort_by(|a, b| a.2.total_cmp(&b.2));
        for (_, _, top, bottom) in rooms.into_iter().filter(|r| r.3 > from && r.2 < to) {
            if *top - at > 2.0 {
                path.to(x, at).line(x, *top);
            }
            at = at.max(*bottom);
        }
        if to - at > 2.0 {
            path.to(x, at).line(x, to);
        }
    }

    /// A group that tells what it is when pointed at.
    pub fn told(&mut self, class: &str, title: &str, inside: impl FnOnce(&mut Self)) {
        let _ = write!(self.out, "<g class=\"{class}\"><title>{}</title>", escape(title));
        inside(self);
        self.out.push_str("</g>");
    }
}

/// Draws an opened cell as an SVG element, so many pixels a second wide (see [`super::natural_scale`]).
///
/// The picture carries its title for those who do not see it; what is played stands in words beside it, not inside.
/// Numbers that are none stand at the edges; nothing panics.
pub fn draw(opened: &Opened, pixels_a_second: f64) -> String {
    let frame = Frame::of(opened, pixels_a_second);
    let mut canvas = Canvas::default();
    let bottom = frame.middles.last().copied().unwrap_or(0.0);
    let half = |i: Option<&f64>| i.copied().unwrap_or(0.0).max(GAP);
    let mut above = Sky::new(half(frame.halves.first()) + 0.5 * GAP);
    let mut below = Sky::new(half(frame.halves.last()) + 0.5 * GAP);
    staves(&mut canvas, opened, &frame);
    if let Some(Staff::Five(clef)) = opened.staves.first() {
        let figure = if clef.octaves > 0 { 1.3 } else { 0.0 };
        let high = if clef.sign == super::clef::ClefSign::Treble { 3.5 } else { 2.0 };
        above.cover(frame.edge, frame.edge + 3.6 * GAP, (high + figure) * GAP);
    }
    notes::draw(&mut canvas, opened, &frame, &mut above, &mut below);
    slurs(&mut canvas, opened, &frame, &mut above, &mut below);
    let top = around::above(&mut canvas, opened, &frame, &mut above);
    let low = around::below(&mut canvas, opened, &frame, &mut below, bottom);

    let width = frame.right().max(canvas.reach) + 14.0;
    let height = top + low;
    format!(
        "<svg xmlns=\"http://www.w3.org/2000/svg\" class=\"staff {}\" role=\"img\" aria-label=\"{}\" width=\"{w}\" \
         height=\"{h}\" viewBox=\"0 {} {w} {h}\">{}</svg>",
        crate::line::class(opened.role),
        escape(&opened.title),
        number(-top),
        canvas.out,
        w = number(width),
        h = number(height),
    )
}

/// Lines, clefs, signatures, metre, barlines.
fn staves(canvas: &mut Canvas, opened: &Opened, frame: &Frame) {
    let right = frame.right();
    let (mut lines, mut bars, mut ink) = (Path::new(), Path::new(), Path::new());
    for ((staff, middle), half) in opened.staves.iter().zip(&frame.middles).zip(&frame.halves) {
        match staff {
            Staff::Five(clef) => {
                for line in -2..=2 {
                    lines.to(frame.edge, middle + GAP * f64::from(line)).across(right);
                }
                let x = frame.edge + 0.7 * GAP;
                signs::clef(&mut ink, clef.sign, x, *middle, GAP);
                if let Some(figure) = clef.figure() {
                    let y = if clef.octaves < 0 {
                        middle + if clef.sign == super::clef::ClefSign::Treble { 5.0 } else { 3.6 } * GAP
                    } else {
                        middle - if clef.sign == super::clef::ClefSign::Treble { 3.7 } else { 2.4 } * GAP
                    };
                    canvas.words("staff-figure", x + 0.8 * GAP, y, 11.0, figure);
                }
                let x = frame.edge + 4.2 * GAP;
                let sign = if opened.fifths > 0 { signs::Accidental::Sharp } else { signs::Accidental::Flat };
                for (i, place) in clef.signature(opened.fifths).into_iter().enumerate() {
                    let y = middle - 0.5 * GAP * f64::from(place);
                    signs::accidental(&mut ink, sign, x + 0.95 * GAP * i as f64, y, GAP);
                }
            }
            Staff::Lines(names) => {
                for (i, name) in names.iter().enumerate() {
                    let apart = 2.0 * half / (names.len().max(2) - 1) as f64;
                    let y = middle - half + apart * i as f64;
                    lines.to(frame.edge, y).across(right);
                    let size = super::words::size::WORDS;
                    let text = super::words::cut(name, size, 240.0);
                    let x = frame.edge - 8.0 - super::words::width(&text, size);
                    canvas.words("staff-name", x.max(2.0), y + 0.32 * size, size, &text);
                }
                signs::neutral_clef(&mut ink, frame.edge + 0.7 * GAP, *middle, GAP);
            }
        }
        if let Some((upper, lower)) = opened.bars.first().and_then(|b| b.metre) {
            let signs = f64::from(opened.fifths.unsigned_abs().min(7)) * 0.95 * GAP;
            let x = frame.edge + 4.4 * GAP + signs;
            let size = 2.35 * GAP;
            let (upper, lower) = (upper.to_string(), lower.to_string());
            let wide = upper.len().max(lower.len()) as f64;
            for (text, y) in [(upper, -0.2 * GAP), (lower, 1.8 * GAP)] {
                let indent = 0.3 * size * (wide - text.len() as f64);
                canvas.words("staff-metre", x + indent, middle + y, size, &text);
            }
        }
    }
    let top = -half_of(frame.halves.first());
    let bottom = frame.middles.last().copied().unwrap_or(0.0) + half_of(frame.halves.last());
    for bar in opened.bars.iter().skip(1).filter(|b| b.at.is_finite()) {
        let x = frame.x(bar.at);
        bars.to(x, top).line(x, bottom);
    }
    bars.to(right, top).line(right, bottom);
    canvas.path("staff-line", &lines);
    canvas.path("staff-bar", &bars);
    if opened.staves.len() > 1 {
        let mut edge = Path::new();
        edge.to(frame.edge, top).line(frame.edge, bottom);
        canvas.path("staff-bar", &edge);
        signs::brace(&mut ink, frame.edge - 1.3 * GAP, top, bottom, GAP);
    }
    canvas.path("staff-clef", &ink);
}

/// From the middle to where a barline ends.
fn half_of(half: Option<&f64>) -> f64 {
    half.copied().unwrap_or(0.0).max(1.5 * GAP)
}

/// Slurs, each over (or under) what it holds together.
fn slurs(canvas: &mut Canvas, opened: &Opened, frame: &Frame, above: &mut Sky, below: &mut Sky) {
    /// Onsets this close are one place, seconds.
    const SAME: f64 = 0.03;
    let bottom = frame.middles.last().copied().unwrap_or(0.0);
    let mut path = Path::new();
    for slur in &opened.slurs {
        let side = if slur.below { 1.0 } else { -1.0 };
        let staff = frame.staff(slur.staff);
        let under = |n: &&Note| {
            frame.staff(n.staff) == staff && n.onset >= slur.from - SAME && n.onset <= slur.to + SAME
        };
        let heads: Vec<(f64, f64)> = opened
            .notes
            .iter()
            .filter(under)
            .map(|n| (frame.x(n.onset), frame.y(opened, n) + side * 1.0 * GAP))
            .collect();
        let Some(curve) = Curve::over(slur, frame, &heads, side) else { continue };
        let thick = 0.22 * GAP;
        let outer = curve.lift + thick;
        path.to(curve.x0, curve.y0);
        curve.arc(&mut path, side * outer, false);
        curve.arc(&mut path, side * curve.lift, true);
        path.close();
        for i in 0..8 {
            let (a, b) = (curve.at(f64::from(i) / 8.0, side), curve.at(f64::from(i + 1) / 8.0, side));
            if slur.below && staff + 1 == frame.halves.len() {
                below.cover(a.0, b.0, a.1.max(b.1) - bottom + 2.0);
            } else if !slur.below && staff == 0 {
                above.cover(a.0, b.0, 2.0 - a.1.min(b.1));
            }
        }
    }
    canvas.path("staff-slur", &path);
}

/// A slur's curve: its ends, and how far its handles lie beyond the line between them.
struct Curve {
    x0: f64,
    y0: f64,
    x1: f64,
    y1: f64,
    lift: f64,
}

impl Curve {
    fn over(slur: &Slur, frame: &Frame, heads: &[(f64, f64)], side: f64) -> Option<Self> {
        let beyond = |a: f64, b: f64| if side > 0.0 { a.max(b) } else { a.min(b) };
        let at = |x: f64| heads.iter().filter(|h| (h.0 - x).abs() < 0.6 * GAP).map(|h| h.1).reduce(beyond);
        let (mut x0, mut x1) = (frame.x(slur.from), frame.x(slur.to));
        let y0 = at(x0).or(heads.first().map(|h| h.1))?;
        let y1 = at(x1).or(heads.last().map(|h| h.1))?;
        if slur.from_before {
            x0 -= 1.8 * GAP;
        }
        if slur.goes_on {
            x1 = (x1 + 3.0 * GAP).min(frame.right());
        }
        let wide = x1 - x0;
        if wide < 4.0 {
            return None;
        }
        let mut lift = (0.55 * GAP + 0.035 * wide).min(1.8 * GAP);
        for (x, y) in heads {
            let t = (x - x0) / wide;
            if !(0.04..=0.96).contains(&t) {
                continue;
            }
            let chord = y0 + (y1 - y0) * t;
            lift = lift.max(side * (y - chord) / (3.0 * t * (1.0 - t)));
        }
        Some(Self { x0, y0, x1, y1, lift: lift.min(9.0 * GAP) })
    }

    fn arc(&self, path: &mut Path, lift: f64, back: bool) {
        let wide = self.x1 - self.x0;
        let handle = |t: f64, u: f64| (self.x0 + wide * u, self.y0 + (self.y1 - self.y0) * t + lift);
        let (a, b) = (handle(1.0 / 3.0, 0.25), handle(2.0 / 3.0, 0.75));
        if back {
            path.curve(b, a, (self.x0, self.y0));
        } else {
            path.curve(a, b, (self.x1, self.y1));
        }
    }

    fn at(&self, t: f64, side: f64) -> (f64, f64) {
        let x = self.x0 + (self.x1 - self.x0) * t * (0.75 + 0.75 * t - 0.5 * t * t);
        (x, self.y0 + (self.y1 - self.y0) * t + side * 3.0 * t * (1.0 - t) * (self.lift + 2.0))
    }
}
