//! The signs: clefs, accidentals, heads, breath and brace, drawn with a broad pen of our own. Staff spaces, y downwards.

use super::clef::ClefSign;
use super::describe::Head;
use super::pen::{Knot, oval, polygon, stroke};
use crate::svg::Path;

/// Half the width of a notehead.
pub const HEAD: f64 = 0.62;
/// Half its height.
const HEAD_HIGH: f64 = 0.43;
/// How small the heads of graces and ornaments are.
pub const SMALL: f64 = 0.62;

/// The accidentals.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[allow(missing_docs)] // each is the sign that its name says
pub enum Accidental {
    DoubleFlat,
    FlatAndHalf,
    Flat,
    HalfFlat,
    Natural,
    HalfSharp,
    Sharp,
    SharpAndHalf,
    DoubleSharp,
}

impl Accidental {
    /// Its width in staff spaces.
    pub fn width(self) -> f64 {
        match self {
            Self::DoubleFlat | Self::FlatAndHalf => 1.45,
            Self::Flat | Self::HalfFlat => 0.85,
            Self::Natural => 0.7,
            Self::HalfSharp => 0.75,
            Self::Sharp | Self::DoubleSharp => 1.0,
            Self::SharpAndHalf => 1.3,
        }
    }
}

/// Draws a head centred at (x, y).
pub fn head(path: &mut Path, form: Head, x: f64, y: f64, gap: f64) {
    match form {
        Head::Oval => oval(path, x, y, HEAD * gap, HEAD_HIGH * gap, 0.34),
        Head::Lozenge => {
            let (w, h) = (0.62 * gap, 0.55 * gap);
            polygon(path, &[(x - w, y), (x, y - h), (x + w, y), (x, y + h)]);
            // The white inside, wound the other way.
            let (w, h) = (0.36 * gap, 0.32 * gap);
            polygon(path, &[(x - w, y), (x, y + h), (x + w, y), (x, y - h)]);
        }
        Head::Cross => {
            for slope in [1.0, -1.0] {
                let knots = [Knot(-0.48, -0.45 * slope, 0.2), Knot(0.48, 0.45 * slope, 0.2)];
                stroke(path, &knots, x, y, gap);
            }
        }
    }
}

/// Draws an accidental whose left edge is at x, for a note at y.
pub fn accidental(path: &mut Path, sign: Accidental, x: f64, y: f64, gap: f64) {
    let mut line = |knots: &[Knot], dx: f64| stroke(path, knots, x + dx * gap, y, gap);
    // A bowl to the right of its stem, as a quill makes it: thin, thick, thin.
    let flat = |mirror: f64| {
        let bowl = [
            Knot(0.0, -0.22, 0.10),
            Knot(0.30 * mirror, -0.48, 0.15),
            Knot(0.60 * mirror, -0.28, 0.25),
            Knot(0.48 * mirror, 0.12, 0.21),
            Knot(0.0, 0.66, 0.07),
        ];
        let stem = [Knot(0.0, -1.75, 0.15), Knot(0.0, -0.6, 0.11), Knot(0.0, 0.64, 0.10)];
        (bowl, stem)
    };
    // Uprights and the two slanting bars of a sharp.
    let sharp = |uprights: &[f64], width: f64| {
        let mut all: Vec<Vec<Knot>> = Vec::new();
        for (i, u) in uprights.iter().enumerate() {
            let lean = 0.09 * (i as f64);
            all.push(vec![Knot(*u, -1.32 - lean + 0.1, 0.10), Knot(*u, 1.42 - lean, 0.10)]);
        }
        for level in [-0.48, 0.52] {
            all.push(vec![Knot(0.02, level + 0.13, 0.27), Knot(width, level - 0.17, 0.27)]);
        }
        all
    };
    match sign {
        Accidental::Flat => {
            let (bowl, stem) = flat(1.0);
            line(&stem, 0.1);
            line(&bowl, 0.1);
        }
        Accidental::HalfFlat => {
            let (bowl, stem) = flat(-1.0);
            line(&stem, 0.7);
            line(&bowl, 0.7);
        }
        Accidental::DoubleFlat | Accidental::FlatAndHalf => {
            let first = flat(if sign == Accidental::FlatAndHalf { -1.0 } else { 1.0 });
            let at = if sign == Accidental::FlatAndHalf { 0.68 } else { 0.1 };
            line(&first.1, at);
            line(&first.0, at);
            let (bowl, stem) = flat(1.0);
            line(&stem, 0.74);
            line(&bowl, 0.74);
        }
        Accidental::Natural => {
            line(&[Knot(0.1, -1.45, 0.10), Knot(0.1, 0.72, 0.10)], 0.0);
            line(&[Knot(0.58, -0.72, 0.10), Knot(0.58, 1.45, 0.10)], 0.0);
            for level in [-0.5, 0.56] {
                line(&[Knot(0.06, level + 0.09, 0.26), Knot(0.62, level - 0.09, 0.26)], 0.0);
            }
        }
        Accidental::Sharp => {
            for knots in sharp(&[0.32, 0.64], 0.95) {
                line(&knots, 0.0);
            }
        }
        Accidental::HalfSharp => {
            for knots in sharp(&[0.35], 0.68) {
                line(&knots, 0.0);
            }
        }
        Accidental::SharpAndHalf => {
            for knots in sharp(&[0.3, 0.62, 0.94], 1.24) {
                line(&knots, 0.0);
            }
        }
        Accidental::DoubleSharp => {
            for slope in [1.0, -1.0] {
                line(&[Knot(0.14, 0.5 - 0.36 * slope - 0.5, 0.14), Knot(0.86, 0.36 * slope, 0.14)], 0.0);
            }
            for (u, v) in [(0.16, -0.34), (0.84, -0.34), (0.16, 0.34), (0.84, 0.34)] {
                line(&[Knot(u - 0.13, v, 0.24), Knot(u + 0.13, v, 0.24)], 0.0);
            }
        }
    }
}

/// Draws a clef whose left edge is at x and whose staff has its middle line at y.
pub fn clef(path: &mut Path, sign: ClefSign, x: f64, y: f64, gap: f64) {
    match sign {
        ClefSign::Treble => {
            let y = y + gap; // the G line
            let x = x + 1.28 * gap;
            stroke(path, &TREBLE, x, y, gap);
            stroke(path, &TREBLE_STEM, x, y, gap);
            oval(path, x - 0.34 * gap, y + 2.12 * gap, 0.34 * gap, 0.32 * gap, 0.0);
        }
        ClefSign::Bass => {
            let y = y - gap; // the F line
            let x = x + 0.45 * gap;
            stroke(path, &BASS, x, y, gap);
            oval(path, x + 0.02 * gap, y + 0.04 * gap, 0.42 * gap, 0.40 * gap, 0.0);
            for dot in [-0.5, 0.5] {
                oval(path, x + 2.08 * gap, y + dot * gap, 0.2 * gap, 0.2 * gap, 0.0);
            }
        }
        ClefSign::Alto | ClefSign::Tenor => {
            let y = if sign == ClefSign::Tenor { y - gap } else { y };
            let bar = |path: &mut Path, from: f64, to: f64| {
                let corners = [(from, -2.0), (from, 2.0), (to, 2.0), (to, -2.0)];
                polygon(path, &corners.map(|(u, v)| (x + u * gap, y + v * gap)));
            };
            bar(path, 0.1, 0.55);
            bar(path, 0.78, 0.92);
            for side in [-1.0, 1.0] {
                stroke(path, &ALTO.map(|k| Knot(k.0, side * k.1, k.2)), x, y, gap);
                oval(path, x + 1.42 * gap, y + side * 1.42 * gap, 0.26 * gap, 0.28 * gap, 0.0);
            }
        }
    }
}

/// The spiral and the bow of the treble clef, from inside, round its G line.
const TREBLE: [Knot; 17] = [
    Knot(0.12, 0.46, 0.06),
    Knot(-0.34, 0.30, 0.14),
    Knot(-0.46, -0.22, 0.20),
    Knot(-0.12, -0.68, 0.24),
    Knot(0.46, -0.74, 0.32),
    Knot(0.98, -0.34, 0.36),
    Knot(1.06, 0.28, 0.34),
    Knot(0.66, 0.86, 0.22),
    Knot(-0.02, 1.02, 0.16),
    Knot(-0.78, 0.72, 0.28),
    Knot(-1.14, 0.02, 0.36),
    Knot(-0.96, -0.86, 0.34),
    Knot(-0.34, -1.72, 0.26),
    Knot(0.34, -2.48, 0.24),
    Knot(0.70, -3.28, 0.32),
    Knot(0.66, -3.98, 0.26),
    Knot(0.44, -4.36, 0.10),
];

/// Its stem, from the top, with the hook below.
const TREBLE_STEM: [Knot; 10] = [
    Knot(0.46, -4.37, 0.06),
    Knot(0.12, -3.92, 0.16),
    Knot(-0.10, -3.15, 0.18),
    Knot(-0.06, -2.30, 0.16),
    Knot(0.14, -1.00, 0.15),
    Knot(0.38, 0.50, 0.15),
    Knot(0.56, 1.66, 0.15),
    Knot(0.46, 2.30, 0.15),
    Knot(0.06, 2.60, 0.15),
    Knot(-0.46, 2.36, 0.12),
];

/// The bow of the bass clef, from its ball.
const BASS: [Knot; 10] = [
    Knot(-0.32, 0.10, 0.10),
    Knot(-0.34, -0.42, 0.12),
    Knot(0.06, -0.90, 0.14),
    Knot(0.66, -1.00, 0.22),
    Knot(1.24, -0.66, 0.42),
    Knot(1.46, 0.02, 0.50),
    Knot(1.28, 0.82, 0.40),
    Knot(0.82, 1.58, 0.26),
    Knot(0.24, 2.14, 0.14),
    Knot(-0.42, 2.54, 0.05),
];

/// The upper bow of the C clef, from the middle line to its ball.
const ALTO: [Knot; 9] = [
    Knot(0.92, 0.0, 0.08),
    Knot(1.18, -0.34, 0.12),
    Knot(1.30, -0.72, 0.10),
    Knot(1.44, -0.52, 0.10),
    Knot(1.90, -0.40, 0.22),
    Knot(2.38, -0.86, 0.42),
    Knot(2.34, -1.56, 0.38),
    Knot(1.86, -1.96, 0.16),
    Knot(1.30, -1.66, 0.12),
];

/// Draws the clef of instruments without pitch, its middle at y.
pub fn neutral_clef(path: &mut Path, x: f64, y: f64, gap: f64) {
    for from in [0.5, 1.3] {
        let corners = [(from, -1.0), (from, 1.0), (from + 0.42, 1.0), (from + 0.42, -1.0)];
        polygon(path, &corners.map(|(u, v)| (x + u * gap, y + v * gap)));
    }
}

/// Draws a breath: a comma whose head is at (x, y).
pub fn breath(path: &mut Path, x: f64, y: f64, gap: f64) {
    oval(path, x, y, 0.22 * gap, 0.21 * gap, 0.0);
    stroke(path, &[Knot(0.14, -0.02, 0.14), Knot(0.13, 0.34, 0.14), Knot(-0.15, 0.74, 0.04)], x, y, gap);
}

/// Draws the brace that joins two staves, its point at x.
pub fn brace(path: &mut Path, x: f64, top: f64, bottom: f64, gap: f64) {
    let middle = 0.5 * (top + bottom);
    for end in [top, bottom] {
        let half = (end - middle) / gap;
        let knots = [
            Knot(0.0, 0.0, 0.06),
            Knot(0.46, 0.14 * half, 0.24),
            Knot(0.50, 0.40 * half, 0.42),
            Knot(0.38, 0.68 * half, 0.38),
            Knot(0.56, 0.90 * half, 0.20),
            Knot(0.95, half, 0.05),
        ];
        stroke(path, &knots, x, middle, gap);
    }
}
