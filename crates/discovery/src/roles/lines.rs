//! The score as single lines over units of about a beat: what the search for the tune looks at.

use ripieno_music::{Mark, Note, Score, Timeline};
use ripieno_units::Beats;

/// One tone of a line.
#[derive(Clone, Copy, Debug)]
pub(super) struct Tone {
    pub at: f64,
    pub end: f64,
    pub key: i16,
    pub slurred: bool,
    pub short: bool,
    pub tremolo: bool,
    pub sung: bool,
}

/// Stretches of about a beat: no bar shares one with its neighbour.
#[derive(Debug)]
pub(super) struct Units {
    /// Where each begins, in quarters; and the end of the last.
    pub edges: Vec<f64>,
    /// The same, exactly.
    pub exact: Vec<Beats>,
    /// The bar of each.
    pub bar: Vec<usize>,
    /// Is it the first of its bar?
    pub first: Vec<bool>,
    /// First unit of each bar; and the number of units.
    pub of_bar: Vec<usize>,
}

impl Units {
    pub fn of(timeline: &Timeline) -> Self {
        let mut units = Self {
            edges: Vec::new(),
            exact: Vec::new(),
            bar: Vec::new(),
            first: Vec::new(),
            of_bar: Vec::new(),
        };
        for (i, bar) in timeline.bars.iter().enumerate() {
            units.of_bar.push(units.bar.len());
            let (beats, unit) = (i64::from(bar.metre.beats.max(1)), i64::from(bar.metre.unit.max(1)));
            // 6/8 has two beats, 3/8 one; a pick-up or an odd bar as many as fit.
            let beat = if unit >= 8 && beats % 3 == 0 { 12.0 / unit as f64 } else { 4.0 / unit as f64 };
            let (at, length) = (bar.at.quarters(), bar.length.quarters().max(1e-6));
            let count = ((length / beat + 0.5) as usize).clamp(1, 16);
            for k in 0..count {
                units.edges.push(at + length * k as f64 / count as f64);
                units.exact.push(bar.at + bar.length.scaled(k as i64, count as i64));
                units.bar.push(i);
                units.first.push(k == 0);
            }
        }
        units.of_bar.push(units.bar.len());
        units.edges.push(timeline.end().quarters());
        units.exact.push(timeline.end());
        units
    }

    pub fn count(&self) -> usize {
        self.bar.len()
    }
}

/// The top line of a track: of notes that begin together the highest, without what lies under a note that goes on above.
pub(super) fn top_line(notes: &[Note]) -> Vec<Tone> {
    let mut tones: Vec<Tone> = Vec::with_capacity(notes.len());
    for note in notes {
        let Some(pitch) = note.pitch() else { continue };
        let short = [Mark::Staccato, Mark::Staccatissimo, Mark::Spiccato];
        let tone = Tone {
            at: note.at.quarters(),
            end: note.end().quarters(),
            key: pitch.key,
            slurred: note.slurred || note.slurs_on,
            short: short.iter().any(|m| note.marks.has(*m)),
            tremolo: note.tremolo.is_some(),
            sung: note.is_sung(),
        };
        if let Some(last) = tones.last_mut() {
            if last.at >= tone.at {
                if tone.key > last.key {
                    *last = tone;
                }
                continue;
            }
            let overlaps = last.end > tone.at + 0.5 * (tone.end - tone.at);
            if overlaps && last.key > tone.key {
                continue;
            }
            if overlaps {
                last.end = last.end.min(tone.at);
            }
        }
        tones.push(tone);
    }
    tones
}

/// The top lines of all tracks.
pub(super) fn lines(score: &Score) -> Vec<Vec<Tone>> {
    score.tracks.iter().map(|t| top_line(&t.content.notes)).collect()
}
