//! What every track does in every bar, in numbers: passages are found by it, roles are told by it.

use ripieno_instruments::{Family, Guess, Query, recognise_all};
use ripieno_music::{DirectionKind, Mark, Score, Track};

/// Harmony is looked at so many times a bar.
pub(crate) const SLOTS: usize = 4;
/// A bar's rhythm is told on a grid of so many places: halves, thirds and quarters of a bar and their halves.
pub(crate) const GRID: usize = 24;

/// One track in one bar.
#[derive(Clone, Copy, Debug, Default)]
pub(crate) struct Cell {
    /// Part of the bar in which it sounds, 0 to 1.
    pub sounds: f64,
    /// Places at which notes begin.
    pub onsets: u32,
    /// Notes that begin.
    pub notes: u32,
    /// Sum of pitch times length, and of length, of pitched notes.
    pub pitch: (f64, f64),
    /// Lowest and highest pitch that sounds; (0, 0) where none does.
    pub range: Option<(i16, i16)>,
    /// Notes under slurs, short notes (by sign).
    pub slurred: u32,
    pub short: u32,
    /// Level by dynamic mark or key velocity, dB re mf.
    pub level: f64,
}

impl Cell {
    /// Does it sound at all?
    pub fn plays(&self) -> bool {
        self.sounds > 0.0
    }

    /// Mean pitch, weighted by length.
    pub fn centre(&self) -> Option<f64> {
        (self.pitch.1 > 0.0).then(|| self.pitch.0 / self.pitch.1)
    }
}

/// A score in numbers, by bar.
#[derive(Debug)]
pub(crate) struct Survey {
    /// How many bars.
    pub bars: usize,
    /// By track, then by bar.
    pub cells: Vec<Vec<Cell>>,
    /// By bar and slot: how long each pitch class sounds, 0 to 1, however many play it.
    pub harmony: Vec<[f64; 12]>,
    /// By bar: what begins where.
    pub rhythm: Vec<[f64; GRID]>,
    /// By track: which instrument it is taken for.
    pub guesses: Vec<Option<Guess>>,
}

impl Survey {
    pub fn of(score: &Score) -> Self {
        let bars = score.timeline.bars.len();
        let starts: Vec<f64> = score.timeline.bars.iter().map(|b| b.at.quarters()).collect();
        let lengths: Vec<f64> = score.timeline.bars.iter().map(|b| b.length.quarters().max(1e-6)).collect();
        let mut harmony = vec![[0.0; 12]; bars * SLOTS];
        let mut rhythm = vec![[0.0; GRID]; bars];
        let cells = score
            .tracks
            .iter()
            .map(|track| track_cells(track, &starts, &lengths, &mut harmony, &mut rhythm))
            .collect();
        for slot in &mut harmony {
            for class in slot {
                *class = class.min(1.0);
            }
        }
        Self { bars, cells, harmony, rhythm, guesses: guesses(score) }
    }

    pub fn family(&self, track: usize) -> Option<Family> {
        self.guesses.get(track)?.as_ref().map(|g| g.instrument.family)
    }
}

/// Which instrument each track is taken for.
fn guesses(score: &Score) -> Vec<Option<Guess>> {
    let queries: Vec<Query<'_>> = score
        .tracks
        .iter()
        .map(|track| Query {
            name: track.own_name().unwrap_or_default(),
            abbreviation: track.abbreviation.as_deref(),
            sound: track.instrument.as_deref(),
            program: track.program,
            percussion: track.percussion,
            transposition: track.transpositions.first().map(|(_, t)| t.semitones),
            sung: track.is_sung(),
            compass: track.compass(),
        })
        .collect();
    recognise_all(&queries)
}

fn track_cells(
    track: &Track,
    starts: &[f64],
    lengths: &[f64],
    harmony: &mut [[f64; 12]],
    rhythm: &mut [[f64; GRID]],
) -> Vec<Cell> {
    let bars = starts.len();
    let mut cells = vec![Cell::default(); bars];
    if bars == 0 {
        return cells;
    }
    let (mut bar, mut heard_to, mut last_onset) = (0, f64::MIN, f64::MIN);
    let mut velocities = vec![(0.0, 0u32); bars];
    for note in &track.content.notes {
        let (at, end) = (note.at.quarters(), note.end().quarters());
        while bar + 1 < bars && starts[bar + 1] <= at {
            bar += 1;
        }
        let pitch = note.pitch().map(|p| p.key);
        let cell = &mut cells[bar];
        cell.notes += 1;
        cell.slurred += u32::from(note.slurred || note.slurs_on);
        let short = [Mark::Staccato, Mark::Staccatissimo, Mark::Spiccato];
        cell.short += u32::from(short.iter().any(|m| note.marks.has(*m)));
        if at > last_onset {
            cell.onsets += 1;
            last_onset = at;
            let place = ((at - starts[bar]) / lengths[bar] * GRID as f64 + 0.5) as usize;
            rhythm[bar][place.min(GRID - 1)] += 1.0;
        }
        if let Some(velocity) = note.velocity {
            velocities[bar] = (velocities[bar].0 + f64::from(velocity), velocities[bar].1 + 1);
        }
        // A long note sounds in every bar that it reaches; each bar is visited once for each of its notes.
        for reached in bar..bars {
            let (from, length) = (starts[reached], lengths[reached]);
            if reached > bar && from >= end {
                break;
            }
            let (begin, stop) = (at.max(from), end.min(from + length));
            if stop <= begin {
                continue;
            }
            let cell = &mut cells[reached];
            cell.sounds += (stop - begin.max(heard_to)).max(0.0) / length;
            let Some(key) = pitch else { continue };
            cell.pitch = (cell.pitch.0 + f64::from(key) * (stop - begin), cell.pitch.1 + stop - begin);
            cell.range = Some(cell.range.map_or((key, key), |(low, high)| (low.min(key), high.max(key))));
            let width = length / SLOTS as f64;
            let first = ((begin - from) / width) as usize;
            for slot in first..SLOTS {
                let left = from + slot as f64 * width;
                let part = (stop.min(left + width) - begin.max(left)) / width;
                if part <= 0.0 {
                    break;
                }
                harmony[reached * SLOTS + slot][usize::from(key.rem_euclid(12).unsigned_abs())] += part;
            }
        }
        heard_to = heard_to.max(end);
    }
    levels(track, starts, &velocities, &mut cells);
    cells
}

/// Velocity 64 is taken for mf, and 9 for one step of 4.5 dB: eight marks over the range of MIDI, as most writers lay them.
const VELOCITY_PER_DB: f64 = 2.0;

fn levels(track: &Track, starts: &[f64], velocities: &[(f64, u32)], cells: &mut [Cell]) {
    let mut marks = track
        .content
        .directions
        .iter()
        .filter_map(|d| match d.kind {
            DirectionKind::Dynamic(mark) => mark.level().map(|level| (d.at.quarters(), level.0)),
            _ => None,
        })
        .peekable();
    let mut level = 0.0;
    for (bar, cell) in cells.iter_mut().enumerate() {
        let end = starts.get(bar + 1).copied().unwrap_or(f64::MAX);
        while let Some(mark) = marks.next_if(|m| m.0 < end) {
            level = mark.1;
        }
        let (sum, count) = velocities[bar];
        cell.level = if count > 0 { (sum / f64::from(count) - 64.0) / VELOCITY_PER_DB } else { level };
    }
}
