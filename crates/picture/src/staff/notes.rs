//! Heads, their strokes in time, accidentals, ledger lines.

use super::accidentals;
use super::describe::{Head, Note, Opened, Placed, Staff};
use super::draw::Canvas;
use super::frame::{Frame, GAP, ledger_lines, position};
use super::signs::{self, Accidental, HEAD, SMALL};
use super::words::Sky;
use crate::svg::Path;
use ripieno_units::math;

/// Strokes of a realisation closer than this are a zigzag, not heads of their own, pixels.
const HEADS_APART: f64 = 6.0;
/// Points of a stroke's outline closer than this are left out, pixels.
const FINE: f64 = 2.5;

/// How thick a stroke is at a level in dB re the instrument's mf: from a hairline at ppp to half a space and more at fff.
pub fn weight(level: f64) -> f64 {
    let level = if level.is_finite() { level } else { 0.0 };
    math::polyline(&[(-22.0, 0.7), (-9.0, 1.5), (0.0, 2.6), (9.0, 4.2), (16.0, 5.6)], level)
}

/// Are the strokes of this note shown as heads of their own?
pub fn heads_shown(note: &Note, scale: f64) -> bool {
    if note.strokes.len() < 2 {
        return false;
    }
    let span = (note.strokes[note.strokes.len() - 1].at - note.strokes[0].at) * scale;
    let each = span / (note.strokes.len() - 1) as f64;
    let moves = note.strokes.iter().any(|s| s.place != note.place);
    each.is_finite() && each >= if moves { HEADS_APART } else { 2.0 * HEADS_APART }
}

/// A head in its place.
struct HeadPlace {
    x: f64,
    y: f64,
    position: i32,
    staff: usize,
    form: Head,
    small: bool,
    sign: Option<Accidental>,
    five: bool,
}

/// Draws the notes, and covers the sky above the first staff and below the last.
pub fn draw(canvas: &mut Canvas, opened: &Opened, frame: &Frame, above: &mut Sky, below: &mut Sky) {
    let needed = accidentals::needed(opened, &|note| heads_shown(note, frame.scale));
    let mut heads = Vec::new();
    let (mut tails, mut light) = (Path::new(), Path::new());
    for (note, signs) in opened.notes.iter().zip(&needed) {
        let staff = frame.staff(note.staff);
        let five = !matches!(opened.staves.get(staff), Some(Staff::Lines(_)));
        let middle = frame.middles[staff.min(frame.middles.len() - 1)];
        let mut push = |at: f64, place: Placed, small: bool, sign: Option<Accidental>| {
            heads.push(HeadPlace {
                x: frame.x(at),
                y: middle + frame.height(opened, staff, place),
                position: position(opened, staff, place),
                staff,
                form: note.head,
                small,
                sign,
                five,
            });
        };
        push(note.onset, note.place, note.small, signs.first().copied().flatten());
        if heads_shown(note, frame.scale) {
            for (stroke, sign) in note.strokes.iter().zip(signs).skip(1) {
                push(stroke.at, stroke.place, true, *sign);
            }
        }
        tail(&mut tails, &mut light, opened, frame, note);
        let (x0, x1, y) = (frame.x(note.onset), frame.x(note.end), frame.y(opened, note));
        above.cover(x0, x1, 4.0 - y);
        below.cover(x0, x1, 4.0 + y - frame.middles.last().copied().unwrap_or(0.0));
    }
    canvas.path("staff-tail", &tails);
    canvas.path("staff-light", &light);
    place_heads(canvas, frame, &mut heads, above, below);
}

/// The stroke of a note in time, and what moves along it.
fn tail(tails: &mut Path, light: &mut Path, opened: &Opened, frame: &Frame, note: &Note) {
    let (x0, x1, y) = (frame.x(note.onset), frame.x(note.end), frame.y(opened, note));
    if x1 - x0 < 1.0 {
        return;
    }
    let level = |t: f64| math::polyline(&note.levels, t);
    let mut times = vec![note.onset];
    times.extend(note.levels.iter().map(|l| l.0).filter(|t| *t > note.onset && *t < note.end));
    if note.fades {
        times.extend((1..8).map(|i| note.onset + (note.end - note.onset) * f64::from(i) / 8.0));
        times.sort_by(f64::total_cmp);
    }
    times.push(note.end);
    let mut sides: Vec<(f64, f64)> = Vec::new();
    for (i, t) in times.iter().enumerate() {
        let x = frame.x(*t);
        let last = i + 1 == times.len();
        if !last && sides.last().is_some_and(|s| x - s.0 < FINE) {
            continue;
        }
        let mut thick = weight(level(*t)) * if note.small { 0.6 } else { 1.0 };
        if note.fades {
            let gone = ((t - note.onset) / (note.end - note.onset).max(1e-9)).clamp(0.0, 1.0);
            thick = (thick * (1.0 - gone)).max(0.35);
        }
        sides.push((x, thick / 2.0));
    }
    // Where the same head comes again at once, a hair of paper shows between the two.
    if let Some(end) = sides.last_mut() {
        end.0 = (end.0 - 0.8).max(x0);
    }
    for (i, (x, half)) in sides.iter().enumerate() {
        if i == 0 {
            tails.to(*x, y - half);
        } else {
            tails.line(*x, y - half);
        }
    }
    for (x, half) in sides.iter().rev() {
        tails.line(*x, y + half);
    }
    tails.close();

    let from = x0 + HEAD * GAP + 1.5;
    if note.strokes.len() > 1 && !heads_shown(note, frame.scale) && x1 - from > 4.0 {
        zigzag(light, opened, frame, note, from, x1, y);
    }
    if let (Some(target), true) = (note.slides_to, x1 - from > 6.0) {
        let staff = frame.staff(note.staff);
        let there = frame.middles[staff.min(frame.middles.len() - 1)]
            + frame.height(opened, staff, Placed::Pitch(target));
        light.to(x0 + 0.4 * (x1 - x0), y).line(x1, there);
    }
}

/// Tremolo and rolls as a zigzag along the stroke; a tremolo between two notes goes from the one to the other.
fn zigzag(light: &mut Path, opened: &Opened, frame: &Frame, note: &Note, from: f64, to: f64, y: f64) {
    let staff = frame.staff(note.staff);
    let middle = frame.middles[staff.min(frame.middles.len() - 1)];
    let ys = |p: &Placed| middle + frame.height(opened, staff, *p);
    let places: Vec<f64> = note.strokes.iter().map(|s| ys(&s.place)).collect();
    let (high, low) = places.iter().fold((y, y), |(a, b), v| (a.min(*v), b.max(*v)));
    let runs = places.windows(2).filter(|w| w[0] != w[1]).count() > 2 && high < low;
    let turns_back = places.windows(3).any(|w| (w[1] - w[0]) * (w[2] - w[1]) < 0.0);
    if runs && !turns_back {
        // A glissando: a wavy line from first to last.
        let end = places.last().copied().unwrap_or(y);
        let waves = ((to - from) / 7.0).max(1.0) as usize;
        light.to(from, y);
        for i in 0..waves.min(4000) {
            let at = |k: f64| (i as f64 + k) / waves as f64;
            let point = |k: f64, lift: f64| (from + (to - from) * at(k), y + (end - y) * at(k) + lift);
            light.curve(point(0.25, -2.6), point(0.75, 2.6), point(1.0, 0.0));
        }
        return;
    }
    let (high, low, step) = if high < low { (high, low, 3.0) } else { (y - 0.36 * GAP, y + 0.36 * GAP, 2.6) };
    let count = ((to - from) / step) as usize;
    for i in 0..=count.min(20_000) {
        let v = if i % 2 == 0 { low } else { high };
        let x = from + step * i as f64;
        if i == 0 {
            light.to(x, v);
        } else {
            light.line(x, v);
        }
    }
}

/// Moves seconds and accidentals apart and draws the heads with their ledger lines.
fn place_heads(
    canvas: &mut Canvas,
    frame: &Frame,
    heads: &mut [HeadPlace],
    above: &mut Sky,
    below: &mut Sky,
) {
    heads.sort_by(|a, b| a.staff.cmp(&b.staff).then(a.x.total_cmp(&b.x)).then(a.position.cmp(&b.position)));
    let (mut ink, mut small, mut signs_path, mut ledgers) =
        (Path::new(), Path::new(), Path::new(), Path::new());
    let bottom = frame.middles.last().copied().unwrap_or(0.0);
    let mut from = 0;
    while from < heads.len() {
        // What begins together, as near as the eye tells.
        let together = |h: &HeadPlace| h.staff == heads[from].staff && h.x - heads[from].x < 0.7 * GAP;
        let count = heads[from..].iter().take_while(|h| together(h)).count().max(1);
        let group = &mut heads[from..from + count];
        group.sort_by_key(|h| h.position);
        let mut shifted = false;
        for i in 1..group.len() {
            let close = (group[i].position - group[i - 1].position).abs() == 1
                && (group[i].x - group[i - 1].x).abs() < 0.5 * GAP;
            shifted = close && !shifted;
            if shifted {
                group[i].x = group[i - 1].x + 1.9 * HEAD * GAP;
            }
        }
        let edge = group.iter().map(|h| h.x).fold(f64::INFINITY, f64::min);
        let mut columns: Vec<Vec<f64>> = Vec::new();
        for head in group.iter().rev() {
            let k = if head.small { SMALL } else { 1.0 };
            let path = if head.small { &mut small } else { &mut ink };
            signs::head(path, head.form, head.x, head.y, k * GAP);
            if head.five {
                let middle = head.y + 0.5 * GAP * f64::from(head.position);
                for line in ledger_lines(head.position) {
                    let y = middle - 0.5 * GAP * f64::from(line);
                    ledgers.to(head.x - 1.05 * k * GAP, y).across(head.x + 1.05 * k * GAP);
                }
            }
            let mut x0 = head.x - HEAD * k * GAP;
            if let Some(sign) = head.sign {
                let free = |c: &Vec<f64>| c.iter().all(|y| (head.y - y).abs() >= 2.9 * GAP);
                let column = columns.iter().position(free).unwrap_or(columns.len());
                if column == columns.len() {
                    columns.push(Vec::new());
                }
                columns[column].push(head.y);
                let edge = if head.small { head.x } else { edge };
                x0 = edge - (HEAD + 0.28) * k * GAP - (column as f64 * 1.15 + sign.width()) * k * GAP;
                signs::accidental(&mut signs_path, sign, x0, head.y, k * GAP);
            }
            let x1 = head.x + HEAD * k * GAP;
            let reach = if head.sign.is_some() { 1.8 * GAP } else { 0.6 * GAP };
            above.cover(x0 - 1.0, x1 + 1.0, reach - head.y);
            below.cover(x0 - 1.0, x1 + 1.0, reach + head.y - bottom);
        }
        from += count;
    }
    canvas.path("staff-ledger", &ledgers);
    canvas.path("staff-sign", &signs_path);
    canvas.path("staff-head", &ink);
    canvas.path("staff-head", &small);
}
