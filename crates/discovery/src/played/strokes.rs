//! Notes of a played track that are one sign in a score: trills, tremolos, mordents, broken chords.

use ripieno_music::{Arpeggio, Note};

/// What a run of notes stands for.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum Sign {
    /// Itself.
    Plain,
    /// A trill of its lower key with the upper.
    Trill {
        /// Semitones to the upper note.
        up: i16,
    },
    /// Repeated quicker than counted notes are.
    Tremolo,
    /// Its first key, a neighbour, the first key again.
    Mordent {
        /// Semitones to the neighbour; below zero for the lower one.
        by: i16,
    },
    /// A note of a broken chord.
    Broken(Arpeggio),
}

/// One thing to be written.
#[derive(Clone, Debug)]
pub(super) struct Item {
    /// The notes that it is made of, by index.
    pub notes: Vec<usize>,
    /// What it is.
    pub sign: Sign,
    /// The onset that has a written place, in seconds.
    pub on: f64,
    /// When it ends, in seconds.
    pub end: f64,
    /// The key that is written.
    pub key: i16,
}

/// A note in seconds.
#[derive(Clone, Copy, Debug)]
pub(super) struct Heard {
    pub on: f64,
    pub end: f64,
    pub key: i16,
    /// Its articulation is many strokes already, as a card says: it is one of nothing more.
    pub many: bool,
}

/// Strokes of a trill lie within this, in seconds (Moore 1992: 10 to 14 notes a second; slower ones are written notes).
const TRILL_STROKE: f64 = 0.105;
/// At least so many strokes.
const LEAST_TRILL: usize = 5;
/// Strokes of an unmeasured tremolo (articulation inference: 110 ms; players' spread added).
const TREMOLO_STROKE: f64 = 0.125;
/// At least so many strokes.
const LEAST_TREMOLO: usize = 4;
/// Strokes whose distance from the nearest even subdivision, in shares of a stroke, is less than this are counted
/// notes: at random it is 0.29.
const COUNTED: f64 = 0.17;
/// Notes of a broken chord follow each other within this time, in seconds.
const BROKEN: (f64, f64) = (0.018, 0.085);
/// What begins within this of its last note, in seconds, begins with it.
const WITH_IT: f64 = 0.012;

/// Gathers what belongs together. `heard` is in order of onset; `counted` says how far a run is from a regular
/// subdivision of the beat, as a share of its stroke.
pub(super) fn gather(heard: &[Heard], counted: &dyn Fn(&[f64]) -> f64) -> Vec<Item> {
    let mut taken = vec![false; heard.len()];
    let mut items = Vec::new();
    for i in 0..heard.len() {
        if taken[i] {
            continue;
        }
        let run = (!heard[i].many)
            .then(|| {
                trill(heard, &taken, i, counted)
                    .or_else(|| tremolo(heard, &taken, i, counted))
                    .or_else(|| mordent(heard, &taken, i))
            })
            .flatten();
        let (notes, sign) = run.unwrap_or((vec![i], Sign::Plain));
        for n in &notes {
            taken[*n] = true;
        }
        let key = match sign {
            Sign::Trill { .. } => notes.iter().map(|n| heard[*n].key).min().unwrap_or(0),
            _ => heard[i].key,
        };
        let end = notes.iter().map(|n| heard[*n].end).fold(f64::MIN, f64::max);
        items.push(Item { notes, sign, on: heard[i].on, end, key });
    }
    broken(&mut items);
    items.sort_by(|a, b| a.on.total_cmp(&b.on).then(a.key.cmp(&b.key)));
    items
}

/// The next note after `i` that follows on it in one voice: begins within `most`, about where `i` ends.
fn next(heard: &[Heard], taken: &[bool], i: usize, most: f64, fits: &dyn Fn(i16) -> bool) -> Option<usize> {
    let one = heard[i];
    (i + 1..heard.len())
        .take_while(|n| heard[*n].on - one.on <= most)
        .find(|n| !taken[*n] && heard[*n].on - one.on >= 0.025 && fits(heard[*n].key))
        .filter(|n| !heard[*n].many)
}

fn trill(
    heard: &[Heard],
    taken: &[bool],
    first: usize,
    counted: &dyn Fn(&[f64]) -> f64,
) -> Option<(Vec<usize>, Sign)> {
    if heard[first].key < 0 {
        return None; // without pitch
    }
    let second = next(heard, taken, first, TRILL_STROKE, &|k| matches!((k - heard[first].key).abs(), 1 | 2))?;
    let (a, b) = (heard[first].key, heard[second].key);
    let mut notes = vec![first, second];
    loop {
        let wanted = if notes.len() % 2 == 0 { a } else { b };
        match next(heard, taken, notes[notes.len() - 1], TRILL_STROKE, &|k| k == wanted) {
            Some(n) => notes.push(n),
            None => break,
        }
    }
    let onsets: Vec<f64> = notes.iter().map(|n| heard[*n].on).collect();
    (notes.len() >= LEAST_TRILL && counted(&onsets) > COUNTED)
        .then_some((notes, Sign::Trill { up: (a - b).abs() }))
}

fn tremolo(
    heard: &[Heard],
    taken: &[bool],
    first: usize,
    counted: &dyn Fn(&[f64]) -> f64,
) -> Option<(Vec<usize>, Sign)> {
    let mut notes = vec![first];
    while let Some(n) = next(heard, taken, notes[notes.len() - 1], TREMOLO_STROKE, &|k| k == heard[first].key)
    {
        notes.push(n);
    }
    let onsets: Vec<f64> = notes.iter().map(|n| heard[*n].on).collect();
    (notes.len() >= LEAST_TREMOLO && counted(&onsets) > COUNTED).then_some((notes, Sign::Tremolo))
}

/// Main, neighbour, main: the first two short, the third held.
fn mordent(heard: &[Heard], taken: &[bool], first: usize) -> Option<(Vec<usize>, Sign)> {
    const SHORT: f64 = 0.085;
    let second = next(heard, taken, first, SHORT, &|k| matches!((k - heard[first].key).abs(), 1 | 2))?;
    let third = next(heard, taken, second, SHORT, &|k| k == heard[first].key)?;
    // After a note as quick it is part of a run or of a group of grace notes.
    let led_into = heard[..first].iter().rev().take_while(|h| heard[first].on - h.on <= SHORT);
    if led_into.into_iter().any(|h| heard[first].on - h.on > 0.020 && h.end <= heard[first].on + 0.03) {
        return None;
    }
    let held = heard[third].end - heard[third].on;
    let after = heard[third].on - heard[second].on;
    let follows = heard[first].end <= heard[second].on + 0.03 && heard[second].end <= heard[third].on + 0.03;
    (follows && held >= 2.5 * after.max(0.04))
        .then(|| (vec![first, second, third], Sign::Mordent { by: heard[second].key - heard[first].key }))
}

/// Three notes or more that rise or fall one after the other and are all still held when the last begins: it is the last
/// that stands on its place, and what other hands play there may stand beside it.
fn broken(items: &mut [Item]) {
    for i in 0..items.len() {
        let rising = items.get(i + 1).is_some_and(|n| n.key > items[i].key);
        let mut run = vec![i];
        while let Some(next) = after(items, run[run.len() - 1], rising) {
            run.push(next);
        }
        let last = &items[run[run.len() - 1]];
        let (at, end) = (last.on, last.end);
        let held = |k: &usize| items[*k].end >= at + 0.25 * (end - at) && items[*k].end > at + 0.12;
        let even = {
            let gaps: Vec<f64> = run.windows(2).map(|w| items[w[1]].on - items[w[0]].on).collect();
            let mean = gaps.iter().sum::<f64>() / gaps.len().max(1) as f64;
            gaps.iter().all(|g| (g - mean).abs() < 0.035)
        };
        if run.len() >= 3 && even && run.iter().all(held) {
            for k in run {
                items[k].sign = Sign::Broken(if rising { Arpeggio::Up } else { Arpeggio::Down });
                items[k].on = at;
            }
        }
    }
}

/// The next note of a broken chord after `last`. Between them nothing begins but what begins with it.
fn after(items: &[Item], last: usize, rising: bool) -> Option<usize> {
    let one = &items[last];
    let fits = |n: &Item| {
        let way = if rising { n.key > one.key } else { n.key < one.key };
        way && n.sign == Sign::Plain && n.on - one.on >= BROKEN.0
    };
    let near = (last + 1..items.len()).take_while(|k| items[*k].on - one.on <= BROKEN.1);
    let next = near.into_iter().find(|k| fits(&items[*k])).filter(|_| one.sign == Sign::Plain)?;
    items[last + 1..next].iter().all(|n| items[next].on - n.on <= WITH_IT).then_some(next)
}

/// The key of a note, or one of its own for a stroke without pitch.
pub(super) fn key(note: &Note) -> i16 {
    note.pitch().map_or_else(
        || match &note.kind {
            ripieno_music::NoteKind::Unpitched { stroke } => {
                -1 - stroke.bytes().fold(0i16, |a, b| (a.wrapping_mul(31) + i16::from(b)) & 0x3FF)
            }
            ripieno_music::NoteKind::Pitched(pitch) => pitch.key,
        },
        |p| p.key,
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn after_a_note_as_quick_there_is_no_mordent() {
        let heard = |all: &[(f64, f64, i16)]| -> Vec<Heard> {
            all.iter().map(|(on, end, key)| Heard { on: *on, end: *end, key: *key, many: false }).collect()
        };
        let alone = heard(&[(1.0, 1.05, 72), (1.05, 1.1, 74), (1.1, 1.6, 72)]);
        let signs = |heard: &[Heard]| gather(heard, &|_| 1.0).iter().map(|i| i.sign).collect::<Vec<_>>();
        assert_eq!(signs(&alone), [Sign::Mordent { by: 2 }]);
        let led_into = heard(&[(0.95, 1.0, 74), (1.0, 1.05, 72), (1.05, 1.1, 71), (1.1, 1.6, 72)]);
        assert_eq!(signs(&led_into), [Sign::Plain; 4]);
    }

    #[test]
    fn a_chord_is_broken_in_one_hand_while_the_other_strikes() {
        let heard: Vec<Heard> =
            [(0.91, 61), (0.94, 64), (0.97, 69), (0.997, 45), (1.0, 52), (1.0, 73), (1.5, 74)]
                .iter()
                .map(|(on, key)| Heard {
                    on: *on,
                    end: on.floor() + 1.4 + on.fract() * 0.1,
                    key: *key,
                    many: false,
                })
                .collect();
        let items = gather(&heard, &|_| 1.0);
        let broken: Vec<i16> = items
            .iter()
            .filter(|i| i.sign == Sign::Broken(Arpeggio::Up) && i.on == 1.0)
            .map(|i| i.key)
            .collect();
        assert_eq!(broken, [61, 64, 69, 73]);
    }
}
