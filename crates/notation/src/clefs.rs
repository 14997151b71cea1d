//! Which clef stands where: the usual one, and another only where many ledger lines would stand for long.

use crate::spell::WrittenKey;
use ripieno_instruments::{Clef, Instrument};
use ripieno_music::Spelling;

/// A clef with the octaves of its small figure.
pub(crate) type Figured = (Clef, i8);

/// What a change of clef costs, in ledger lines beyond the second, each for a quarter.
const CHANGE: f64 = 10.0;
/// What a bar in another than the usual clef costs.
const UNUSUAL: f64 = 0.6;
/// Ledger lines that cost nothing.
const FREE: i32 = 2;

/// Letters from C0 to the middle line, as written.
fn middle(clef: Figured) -> i32 {
    let plain = match clef.0 {
        Clef::Treble | Clef::Percussion => 34,
        Clef::TrebleOctaveLower => 27,
        Clef::Alto => 28,
        Clef::Tenor => 26,
        Clef::Bass => 22,
    };
    plain + 7 * i32::from(clef.1)
}

fn ledgers(clef: Figured, note: Spelling) -> i32 {
    let letters = 7 * i32::from(note.octave) + i32::from(note.step);
    ((letters - middle(clef)).abs() - 4).max(0) / 2
}

/// The clefs that a staff may use, the usual one first.
pub(crate) fn of_staff(instrument: &Instrument, staff: u8, staves: u8, concert: bool) -> Vec<Figured> {
    if instrument.unpitched {
        return vec![(Clef::Percussion, 0)];
    }
    if staves > 1 {
        let (treble, bass) = ((Clef::Treble, 0), (Clef::Bass, 0));
        return if staff == 1 { vec![treble, bass] } else { vec![bass, treble] };
    }
    let list: Vec<Figured> =
        if concert && instrument.transposition % 12 != 0 && !instrument.concert.is_empty() {
            instrument.concert.clone()
        } else {
            instrument.clefs.iter().map(|c| (*c, 0)).collect()
        };
    if list.is_empty() { vec![(Clef::Treble, 0)] } else { list }
}

/// The clef of each bar. `bars` hold what is written in each, with its length in quarters.
pub(crate) fn choose(clefs: &[Figured], bars: &[Vec<(Spelling, f64)>]) -> Vec<Figured> {
    let first = clefs.first().copied().unwrap_or((Clef::Treble, 0));
    if clefs.len() < 2 {
        return vec![first; bars.len()];
    }
    let cost = |clef: usize, bar: &[(Spelling, f64)]| {
        let lines = |(note, length): &(Spelling, f64)| {
            f64::from((ledgers(clefs[clef], *note) - FREE).max(0)) * length.clamp(0.25, 4.0)
        };
        let unusual = if clef > 0 && !bar.is_empty() { UNUSUAL } else { 0.0 };
        bar.iter().map(lines).sum::<f64>() + unusual
    };
    let mut sums: Vec<f64> = vec![0.0; clefs.len()];
    let mut from: Vec<Vec<usize>> = Vec::with_capacity(bars.len());
    for bar in bars {
        let mut next = Vec::new();
        let mut origins = Vec::new();
        for clef in 0..clefs.len() {
            let step = |b: usize| sums[b] + if b == clef { 0.0 } else { CHANGE };
            let mut best = clef;
            for b in 0..clefs.len() {
                if !from.is_empty() && step(b) < step(best) {
                    best = b;
                }
            }
            next.push(step(best) + cost(clef, bar));
            origins.push(best);
        }
        sums = next;
        from.push(origins);
    }
    let mut now = 0;
    for clef in 1..clefs.len() {
        if sums[clef] < sums[now] {
            now = clef;
        }
    }
    let mut chosen = vec![first; bars.len()];
    for i in (0..bars.len()).rev() {
        chosen[i] = clefs[now];
        now = from[i][now];
    }
    // A change through empty bars stands where the music needs it.
    for i in (1..bars.len()).rev() {
        if bars[i - 1].is_empty() && i > 1 && chosen[i] != chosen[i - 1] {
            let start = (0..i).rev().find(|j| !bars[*j].is_empty()).map_or(0, |j| j + 1);
            let before = if start > 0 { chosen[start - 1] } else { chosen[i] };
            chosen[start..i].fill(before);
        }
    }
    chosen
}

/// Sign, line and octave of a clef in MusicXML.
pub(crate) fn sign(clef: Figured) -> (&'static str, u8, i8) {
    match clef.0 {
        Clef::Treble => ("G", 2, clef.1),
        Clef::TrebleOctaveLower => ("G", 2, clef.1 - 1),
        Clef::Alto => ("C", 3, clef.1),
        Clef::Tenor => ("C", 4, clef.1),
        Clef::Bass => ("F", 4, clef.1),
        Clef::Percussion => ("percussion", 0, 0),
    }
}

/// Alterations in force on a staff: the key's, and what the bar has changed.
#[derive(Default)]
pub(crate) struct Memory {
    key: [i16; 7],
    bar: std::collections::BTreeMap<(u8, i8), i16>,
    last: std::collections::BTreeMap<(u8, i8), i16>,
}

impl Memory {
    /// A new bar, with what the one before has changed still in mind.
    pub fn bar(&mut self, key: WrittenKey) {
        self.key = crate::spell::alters(key.fifths);
        self.last = std::mem::take(&mut self.bar);
    }

    /// The alteration that a letter has here without a sign.
    pub fn in_force(&self, note: Spelling) -> i16 {
        let place = (note.step.min(6), note.octave);
        self.bar.get(&place).copied().unwrap_or(self.key[usize::from(place.0)])
    }

    /// The accidental that a note needs: its alteration, and whether it only reminds.
    pub fn needs(&mut self, note: Spelling, tied: bool) -> Option<bool> {
        let place = (note.step.min(6), note.octave);
        let by_key = self.key[usize::from(place.0)];
        let in_force = self.bar.get(&place).copied().unwrap_or(by_key);
        if note.alter != in_force {
            if tied {
                // The tie carries it over the barline; a new attack needs its sign again.
                return None;
            }
            self.bar.insert(place, note.alter);
            return Some(false);
        }
        if tied || self.bar.contains_key(&place) {
            return None;
        }
        // Cancelled by the barline, or altered in another octave: a reminder, once.
        let elsewhere = self.bar.iter().any(|((step, _), alter)| *step == place.0 && *alter != note.alter);
        let before = self.last.get(&place).is_some_and(|alter| *alter != note.alter);
        (elsewhere || before).then(|| {
            self.bar.insert(place, note.alter);
            true
        })
    }
}
