//! The frame of the picture: which second is which pixel, how far the staves lie apart.

use super::clef::ledgers;
use super::describe::{Note, Opened, Placed, Staff};
use super::words::{size, width};

/// A staff space in pixels.
pub const GAP: f64 = 9.0;
/// Distance of the lines of instruments without pitch, in staff spaces.
const LINES_APART: f64 = 3.0;
/// Positions beyond this many half spaces from the middle line are drawn at it: no instrument's part is there.
const FARTHEST: i32 = 40;
/// No picture is wider: beyond, the scale gives way.
const WIDEST: f64 = 30_000.0;
/// Heads closer than this are hard to tell apart, pixels.
const EASY: f64 = 15.0;

/// A scale at which the notes stand clear of each other, in pixels a second: 30 to 150.
pub fn natural_scale(opened: &Opened) -> f64 {
    let mut onsets: Vec<f64> =
        opened.notes.iter().filter(|n| !n.small && n.onset.is_finite()).map(|n| n.onset).collect();
    onsets.sort_by(f64::total_cmp);
    let mut gaps: Vec<f64> = onsets.windows(2).map(|w| w[1] - w[0]).filter(|g| *g > 0.06).collect();
    gaps.sort_by(f64::total_cmp);
    // Of ten intervals one may be tighter.
    let tight = gaps.get(gaps.len() / 10).copied().unwrap_or(0.5);
    (EASY / tight).clamp(30.0, 150.0)
}

/// Times and places as pixels.
#[derive(Clone, Debug)]
pub struct Frame {
    /// Pixels a second.
    pub scale: f64,
    /// The first second shown.
    pub start: f64,
    /// The last second shown.
    pub end: f64,
    /// Where the staff lines begin.
    pub edge: f64,
    /// Where `start` stands.
    pub left: f64,
    /// Middle of each staff, below that of the first.
    pub middles: Vec<f64>,
    /// Half the height of each staff, from its middle to its outer lines.
    pub halves: Vec<f64>,
}

impl Frame {
    /// Measures what is to be drawn.
    pub fn of(opened: &Opened, pixels_a_second: f64) -> Self {
        let finite = |t: &f64| t.is_finite();
        let onsets = || opened.notes.iter().map(|n| n.onset).filter(finite);
        let first = opened.bars.first().map(|b| b.at).filter(finite);
        let start = first.or(onsets().reduce(f64::min)).unwrap_or(0.0).clamp(-1e6, 1e6);
        let end = if opened.end.is_finite() { opened.end } else { onsets().fold(start, f64::max) };
        let end = end.clamp(start + 0.1, 1e6 + 1.0);
        let scale = if pixels_a_second.is_finite() { pixels_a_second } else { 60.0 };
        let scale = scale.clamp(1.0, 1000.0).min(WIDEST / (end - start)).max(1e-3);

        let names = opened.staves.iter().flat_map(|s| match s {
            Staff::Lines(names) => names.as_slice(),
            Staff::Five(_) => &[],
        });
        let named = names.map(|n| width(n, size::WORDS)).fold(0.0, f64::max).min(240.0);
        let edge = 16.0 + if named > 0.0 { named + 8.0 } else { 0.0 };
        let signs = f64::from(opened.fifths.unsigned_abs().min(7)) * 0.95 * GAP;
        let metre = if opened.bars.first().is_some_and(|b| b.metre.is_some()) { 2.8 * GAP } else { 0.0 };
        // Grace notes and accidentals before the first beat.
        let early = onsets().fold(start, f64::min).max(start - 1.0);
        let left = edge + 4.2 * GAP + signs + metre + 3.0 * GAP + (start - early) * scale;

        let mut frame = Self { scale, start, end, edge, left, middles: Vec::new(), halves: Vec::new() };
        frame.halves = opened
            .staves
            .iter()
            .map(|s| match s {
                Staff::Five(_) => 2.0 * GAP,
                Staff::Lines(names) => LINES_APART * GAP * (names.len().max(1) - 1) as f64 / 2.0,
            })
            .collect();
        let mut down: Vec<(f64, f64)> = frame.halves.iter().map(|h| (*h, *h)).collect();
        for note in &opened.notes {
            let staff = frame.staff(note.staff);
            for place in super::accidentals::places(note) {
                let y = frame.height(opened, staff, place);
                if let Some((up, low)) = down.get_mut(staff) {
                    (*up, *low) = (up.max(-y), low.max(y));
                }
            }
        }
        let mut at = 0.0;
        for i in 0..opened.staves.len().max(1) {
            if let (Some(above), Some(here)) = (i.checked_sub(1).and_then(|k| down.get(k)), down.get(i)) {
                at += (above.1 + here.0 + 3.5 * GAP).max(10.0 * GAP);
            }
            frame.middles.push(at);
        }
        frame
    }

    /// Where a second stands; what lies outside is held at the edges.
    pub fn x(&self, seconds: f64) -> f64 {
        let seconds = if seconds.is_finite() { seconds } else { self.start };
        self.left + (seconds.clamp(self.start - 1.0, self.end) - self.start) * self.scale
    }

    /// Where the last second stands.
    pub fn right(&self) -> f64 {
        self.x(self.end)
    }

    /// A staff that there is.
    pub fn staff(&self, index: usize) -> usize {
        index.min(self.halves.len().saturating_sub(1))
    }

    /// Pixels from the middle of its staff down to a place.
    pub fn height(&self, opened: &Opened, staff: usize, place: Placed) -> f64 {
        match (opened.staves.get(staff), place) {
            (Some(Staff::Five(_)) | None, place) => -0.5 * GAP * f64::from(position(opened, staff, place)),
            (Some(Staff::Lines(names)), Placed::Line(line)) => {
                let last = names.len().max(1) - 1;
                LINES_APART * GAP * (line.min(last) as f64 - last as f64 / 2.0)
            }
            (Some(Staff::Lines(_)), Placed::Pitch(_)) => 0.0,
        }
    }

    /// Pixels from the middle of the first staff down to a note's own place.
    pub fn y(&self, opened: &Opened, note: &Note) -> f64 {
        let staff = self.staff(note.staff);
        self.middles[staff.min(self.middles.len() - 1)] + self.height(opened, staff, note.place)
    }
}

/// Half spaces above the middle line.
pub fn position(opened: &Opened, staff: usize, place: Placed) -> i32 {
    match (opened.staves.get(staff), place) {
        (Some(Staff::Five(clef)), Placed::Pitch(spelling)) => {
            clef.position(spelling).clamp(-FARTHEST, FARTHEST)
        }
        _ => 0,
    }
}

/// Ledger lines of a place, as half spaces above the middle line.
pub fn ledger_lines(position: i32) -> impl Iterator<Item = i32> {
    (1..=ledgers(position) as i32).map(move |k| position.signum() * (4 + 2 * k))
}
