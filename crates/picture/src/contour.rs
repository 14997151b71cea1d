//! The contour of a cell on the board: what is played, seen from a few steps away. Height is pitch, length is duration, thickness
//! is loudness; swells and rolls are wedges.

use crate::svg::{Path, number};

/// One note of a contour, or one swell.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Stroke {
    /// Where it begins, 0 to 1 of the cell.
    pub from: f64,
    /// Where it ends.
    pub to: f64,
    /// Its height, 0 at the foot to 1 at the top.
    pub height: f64,
    /// Its loudness at its start, 0 (ppp) to 1 (fff).
    pub loudness: f64,
    /// Loudness at its end, where it swells or fades as one gesture: then it is a wedge.
    pub ends: Option<f64>,
}

/// Width of the picture's own axis: stretched to the cell.
const WIDE: f64 = 1000.0;

/// Steps of thickness: notes of one step are one path.
const STEPS: usize = 6;

/// Thickness of the softest and of the loudest note, in points.
const THIN: f64 = 1.1;
const THICK: f64 = 4.6;

/// Room that notes of one pitch leave between them, so that repetitions are seen.
const GAP: f64 = 3.0;

/// The picture, `height` points high; its width is the cell's.
pub fn contour(strokes: &[Stroke], height: f64) -> String {
    let half = THICK / 2.0 + 0.2;
    let y = |h: f64| height - half - h.clamp(0.0, 1.0) * (height - 2.0 * half);
    // To a tenth: a ten-thousandth of a cell is no longer seen, and a large board is half as heavy.
    let x = |t: f64| (t.clamp(0.0, 1.0) * WIDE * 10.0).round() / 10.0;
    let thick = |loud: f64| THIN + (THICK - THIN) * loud.clamp(0.0, 1.0);
    let mut paths: Vec<Path> = vec![Path::new(); STEPS];
    let mut wedges = Path::new();
    for stroke in strokes {
        let (a, b) = (x(stroke.from), x(stroke.to));
        let b = if b - a > 2.5 * GAP { b - GAP } else { b.max(a + GAP / 2.0) };
        let middle = y(stroke.height);
        if let Some(ends) = stroke.ends {
            let (p, q) = (thick(stroke.loudness) * 0.55, thick(ends) * 0.95);
            wedges
                .to(a, middle - p / 2.0)
                .line(b, middle - q / 2.0)
                .line(b, middle + q / 2.0)
                .line(a, middle + p / 2.0)
                .close();
            continue;
        }
        let step = (stroke.loudness.clamp(0.0, 1.0) * (STEPS as f64 - 1.0)).round() as usize;
        if let Some(path) = paths.get_mut(step) {
            path.to(a, middle).across(b);
        }
    }
    let mut out = format!(
        r#"<svg class="contour" viewBox="0 0 {} {}" preserveAspectRatio="none" aria-hidden="true">"#,
        number(WIDE),
        number(height)
    );
    for (step, path) in paths.iter().enumerate().filter(|(_, p)| !p.is_empty()) {
        let width = thick(step as f64 / (STEPS as f64 - 1.0));
        out.push_str(&format!(r#"<path d="{}" stroke-width="{}"/>"#, path.data(), number(width)));
    }
    if !wedges.is_empty() {
        out.push_str(&format!(r#"<path class="wedge" d="{}"/>"#, wedges.data()));
    }
    out.push_str("</svg>");
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn higher_stands_higher_and_louder_is_thicker() {
        let note = |from, height, loudness| Stroke { from, to: from + 0.2, height, loudness, ends: None };
        let svg = contour(&[note(0.0, 0.0, 0.0), note(0.5, 1.0, 1.0)], 20.0);
        assert!(svg.contains(r#"<path d="M0 17.5H197" stroke-width="1.1"/>"#), "{svg}");
        assert!(svg.contains(r#"<path d="M500 2.5H697" stroke-width="4.6"/>"#), "{svg}");
        let swell = Stroke { ends: Some(1.0), ..note(0.0, 0.5, 0.0) };
        assert!(contour(&[swell], 20.0).contains("wedge"));
        assert!(!contour(&[Stroke { from: f64::NAN, ..swell }], 20.0).contains("NaN"));
    }
}
