//! Reverberation by octave band: seconds over a logarithmic axis of frequency, what is measured as an ink line with its
//! figures, what the room is made for as a thin line.

use crate::svg::{Path, escape, number};
use ripieno_units::math;
use std::fmt::Write as _;

/// A hall's curve.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Curve {
    /// What it is called, for those who do not see it.
    pub name: String,
    /// Hertz and seconds, measured.
    pub measured: Vec<(f64, f64)>,
    /// Hertz and seconds that the room is made for.
    pub wanted: Vec<(f64, f64)>,
}

/// The axis, hertz: octave bands from 63 Hz to 8 kHz (ISO 3382-1).
const LOWEST: f64 = 63.0;
const OCTAVES: f64 = 7.0;

/// Width and height of the field, points, and what stands around it.
const FIELD: (f64, f64) = (282.0, 88.0);
const LEFT: f64 = 30.0;
const TOP: f64 = 16.0;
const FOOT: f64 = 20.0;

/// Seconds between two level lines, so that there are three to six of them.
fn step(most: f64) -> f64 {
    [0.25, 0.5, 1.0, 2.0, 5.0].into_iter().find(|s| most / s <= 6.0).unwrap_or(10.0)
}

/// Draws the curve; `most` seconds are the top of the axis, so that several halls can be compared.
pub fn bands(curve: &Curve, most: f64) -> String {
    let most = if most.is_finite() { most.clamp(0.5, 60.0) } else { 4.0 };
    let x = |hertz: f64| LEFT + 8.0 + (FIELD.0 - 16.0) * math::log2(hertz.max(1.0) / LOWEST) / OCTAVES;
    let y = |seconds: f64| TOP + FIELD.1 * (1.0 - seconds.clamp(0.0, most) / most);
    let (width, height) = (LEFT + FIELD.0 + 6.0, TOP + FIELD.1 + FOOT);
    let mut out = format!(
        r#"<svg class="bands" viewBox="0 0 {} {}" role="img" aria-label="{}">"#,
        number(width),
        number(height),
        escape(&words(curve))
    );
    let (mut grid, mut at, by) = (Path::new(), 0.0, step(most));
    while at <= most + 1e-9 {
        grid.to(LEFT, y(at)).across(LEFT + FIELD.0);
        let unit = if at + by > most + 1e-9 { " s" } else { "" };
        let _ = write!(
            out,
            r#"<text class="axis" x="{}" y="{}" text-anchor="end">{at}{unit}</text>"#,
            number(LEFT - 5.0),
            number(y(at) + 4.0)
        );
        at += by;
    }
    let _ = write!(out, r#"<path class="grid" d="{}"/>"#, grid.data());
    for n in 0..8 {
        let hertz = [63.0, 125.0, 250.0, 500.0, 1000.0, 2000.0, 4000.0, 8000.0][n];
        let word = match n {
            0 => "63 Hz".into(),
            n if n < 4 => number(hertz),
            _ => format!("{} k", hertz / 1000.0),
        };
        let _ = write!(
            out,
            r#"<text class="axis" x="{}" y="{}" text-anchor="middle">{word}</text>"#,
            number(x(hertz)),
            number(height - 5.0)
        );
    }
    let line = |points: &[(f64, f64)]| {
        let mut path = Path::new();
        for (i, (hertz, seconds)) in points.iter().filter(|p| p.0.is_finite() && p.1.is_finite()).enumerate()
        {
            if i == 0 {
                path.to(x(*hertz), y(*seconds));
            } else {
                path.line(x(*hertz), y(*seconds));
            }
        }
        path
    };
    for (class, points) in [("wanted", &curve.wanted), ("measured", &curve.measured)] {
        let path = line(points);
        if !path.is_empty() {
            let _ = write!(out, r#"<path class="{class}" d="{}"/>"#, path.data());
        }
    }
    for (hertz, seconds) in curve.measured.iter().filter(|p| p.0.is_finite() && p.1.is_finite()) {
        let _ = write!(
            out,
            r#"<text class="figure" x="{}" y="{}" text-anchor="middle">{seconds:.1}</text>"#,
            number(x(*hertz)),
            number(y(*seconds) - 6.0)
        );
    }
    out + "</svg>"
}

/// The curve in words.
pub fn words(curve: &Curve) -> String {
    let mut out = format!("Reverberation of {} by octave:", curve.name);
    for (hertz, seconds) in curve.measured.iter().filter(|p| p.0.is_finite() && p.1.is_finite()) {
        let _ = write!(out, " {} Hz {seconds:.1} s,", number(*hertz));
    }
    if curve.measured.is_empty() {
        out.push_str(" too short to be measured");
    }
    out.trim_end_matches(',').to_string()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn heights(svg: &str, class: &str) -> Vec<f64> {
        let path = svg.split(&format!(r#"class="{class}" d=""#)).nth(1).unwrap().split('"').next().unwrap();
        path.split(['M', 'L']).skip(1).map(|p| p.split(' ').nth(1).unwrap().parse().unwrap()).collect()
    }

    #[test]
    fn longer_is_higher_and_octaves_are_even() {
        let curve = Curve {
            name: "a <hall>".into(),
            measured: vec![(63.0, 3.0), (125.0, 2.0), (250.0, 2.0), (8000.0, 1.0)],
            wanted: vec![],
        };
        let svg = bands(&curve, 4.0);
        let y = heights(&svg, "measured");
        assert!(y[0] < y[1] && y[1] == y[2] && y[2] < y[3]);
        // A quarter of the field a second.
        assert!((y[3] - y[2] - FIELD.1 / 4.0).abs() < 0.02);
        assert!(svg.contains("&lt;hall&gt;") && svg.contains(">3.0<") && !svg.contains("wanted"));
        assert_eq!(words(&Curve::default()), "Reverberation of  by octave: too short to be measured");
    }

    #[test]
    fn nothing_strange_breaks_it() {
        let curve = Curve {
            name: String::new(),
            measured: vec![(f64::NAN, 1.0), (1000.0, f64::INFINITY), (1000.0, 1e9)],
            wanted: vec![(500.0, -3.0)],
        };
        for most in [f64::NAN, -1.0, 0.0, 1e9] {
            let svg = bands(&curve, most);
            assert!(!svg.contains("NaN") && !svg.contains("inf"), "{svg}");
        }
    }
}
