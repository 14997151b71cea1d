//! The arc under the board, passage by passage on the board's own axis: loudness as one ink line, the span from the lowest to
//! the highest note as a band, players sounding as a row of strokes, brightness as a thin line.

use crate::svg::{Path, number};

/// One bar of the arc.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Point {
    /// When it begins, in seconds.
    pub at: f64,
    /// When it ends.
    pub to: f64,
    /// Predicted loudness level, phons.
    pub phons: f64,
    /// Lowest and highest key, if anything sounds.
    pub span: Option<(u8, u8)>,
    /// Players that sound.
    pub players: u32,
    /// Centre of the loudness on the ERB-number scale, Cams.
    pub brightness: f64,
}

/// What all columns share.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Scale {
    /// Loudest and softest bar, phons.
    pub phons: (f64, f64),
    /// Lowest and highest key.
    pub keys: (u8, u8),
    /// Most players at once.
    pub players: u32,
    /// Darkest and brightest bar, Cams.
    pub brightness: (f64, f64),
}

impl Scale {
    /// The scale that holds all bars.
    pub fn of(points: &[Point]) -> Self {
        let sounding = || points.iter().filter(|p| p.span.is_some());
        let ends = |value: fn(&Point) -> f64| {
            sounding().map(value).fold((f64::INFINITY, f64::NEG_INFINITY), |(a, b), v| (a.min(v), b.max(v)))
        };
        let wide = |(a, b): (f64, f64), least: f64| {
            if a > b {
                return (0.0, least);
            }
            let more = (least - (b - a)).max(0.0) / 2.0;
            (a - more, b + more)
        };
        Self {
            phons: wide(ends(|p| p.phons), 20.0),
            keys: sounding()
                .filter_map(|p| p.span)
                .fold((108, 21), |(a, b), (low, high)| (a.min(low), b.max(high))),
            players: sounding().map(|p| p.players).max().unwrap_or(1).max(1),
            brightness: wide(ends(|p| p.brightness), 6.0),
        }
    }
}

const WIDE: f64 = 1000.0;

/// The arc of the bars from `from` to `to` seconds, `height` points high; its width is the passage's. Bars around it lead the
/// lines over its edges.
pub fn column(points: &[Point], scale: &Scale, from: f64, to: f64, height: f64) -> String {
    let length = (to - from).max(1e-6);
    let x = |t: f64| ((t - from) / length * WIDE).clamp(-4.0 * WIDE, 5.0 * WIDE);
    let share = |v: f64, (a, b): (f64, f64)| ((v - a) / (b - a).max(1e-6)).clamp(0.0, 1.0);
    // Loudness in the upper three quarters, players at the foot.
    let (top, foot) = (4.0, height - 14.0);
    let y = |s: f64| foot - s * (foot - top);
    let near: Vec<&Point> = points.iter().filter(|p| p.to > from - length && p.at < to + length).collect();
    let mut band = Path::new();
    let mut players = Path::new();
    let (low, high) = (f64::from(scale.keys.0), f64::from(scale.keys.1));
    for point in near.iter().filter(|p| p.to > from && p.at < to) {
        let (a, b) = (x(point.at.max(from)), x(point.to.min(to)));
        if let Some((from_key, to_key)) = point.span {
            let at = |key: f64| y(share(key, (low, high)));
            let (upper, lower) = (at(f64::from(to_key)) - 1.5, at(f64::from(from_key)) + 1.5);
            band.to(a, upper).line(b, upper).line(b, lower).line(a, lower).close();
        }
        let tall = 10.0 * f64::from(point.players) / f64::from(scale.players);
        if point.players > 0 {
            players.to(a, height).line(a, height - tall).line(b, height - tall).line(b, height).close();
        }
    }
    let curve = |value: fn(&Point) -> f64, ends: (f64, f64)| {
        let mut path = Path::new();
        let places: Vec<(f64, f64)> = near
            .iter()
            .map(|p| (x((p.at + p.to) / 2.0), y(if p.span.is_some() { share(value(p), ends) } else { 0.0 })))
            .collect();
        smooth(&mut path, &places);
        path
    };
    let loudness = curve(|p| p.phons, scale.phons);
    let brightness = curve(|p| p.brightness, scale.brightness);
    let mut out = format!(
        r#"<svg class="arc" viewBox="0 0 {} {}" preserveAspectRatio="none" aria-hidden="true">"#,
        number(WIDE),
        number(height)
    );
    for (class, path) in
        [("span", &band), ("players", &players), ("brightness", &brightness), ("loudness", &loudness)]
    {
        if !path.is_empty() {
            out.push_str(&format!(r#"<path class="{class}" d="{}"/>"#, path.data()));
        }
    }
    out.push_str("</svg>");
    out
}

/// Where the loudness of a bar stands, 0 at the top to 1 at the foot of the column.
pub fn level(scale: &Scale, phons: f64, height: f64) -> f64 {
    let (a, b) = scale.phons;
    let share = ((phons - a) / (b - a).max(1e-6)).clamp(0.0, 1.0);
    let (top, foot) = (4.0, height - 14.0);
    (foot - share * (foot - top)) / height
}

/// A curve through all places that never overshoots: its handles lie level with the places, a third of the way.
fn smooth(path: &mut Path, places: &[(f64, f64)]) {
    let Some(first) = places.first() else { return };
    path.to(first.0, first.1);
    for pair in places.windows(2) {
        let [(ax, ay), (bx, by)] = pair else { continue };
        let third = (bx - ax) / 3.0;
        path.curve((ax + third, *ay), (bx - third, *by), (*bx, *by));
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_louder_bar_stands_higher_and_the_line_goes_on_over_the_edge() {
        let bar = |at: f64, phons| Point {
            at,
            to: at + 2.0,
            phons,
            span: Some((40, 80)),
            players: 4,
            brightness: 15.0,
        };
        let points = [bar(0.0, 50.0), bar(2.0, 90.0), bar(4.0, 60.0)];
        let scale = Scale::of(&points);
        assert_eq!(scale.phons, (50.0, 90.0));
        assert!(level(&scale, 90.0, 90.0) < level(&scale, 50.0, 90.0));
        let first = column(&points, &scale, 0.0, 2.0, 90.0);
        // The curve leaves the column on its right side.
        assert!(first.contains("M500 76") && first.contains("1500 4"), "{first}");
        assert!(!column(&[], &Scale::of(&[]), 0.0, 0.0, 90.0).contains("NaN"));
    }
}
