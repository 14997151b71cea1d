//! Which notes carry an accidental: what the key signature or an earlier note of the bar says already is not said again.

use super::clef::letters;
use super::describe::{Note, Opened, Placed};
use super::signs::Accidental;
use std::collections::BTreeMap;

/// Alteration in cents that a key signature gives a letter, 0 for C up to 6 for B.
pub fn signed(fifths: i8, step: u8) -> i16 {
    // Order of the sharps: F C G D A E B.
    const ORDER: [u8; 7] = [3, 0, 4, 1, 5, 2, 6];
    let place = ORDER.iter().position(|s| *s == step.min(6)).unwrap_or(0) as i8;
    match fifths {
        f if f > 0 && place < f => 100,
        f if f < 0 && place >= 7 + f => -100,
        _ => 0,
    }
}

/// The sign for an alteration in cents, to the nearest quarter tone.
pub fn sign_of(alter: i16) -> Accidental {
    match (f64::from(alter) / 50.0).round() as i32 {
        i32::MIN..=-4 => Accidental::DoubleFlat,
        -3 => Accidental::FlatAndHalf,
        -2 => Accidental::Flat,
        -1 => Accidental::HalfFlat,
        0 => Accidental::Natural,
        1 => Accidental::HalfSharp,
        2 => Accidental::Sharp,
        3 => Accidental::SharpAndHalf,
        4.. => Accidental::DoubleSharp,
    }
}

/// The accidental of each note and of each of its strokes, in their order; `None` where none is needed. `shown` tells
/// whether the strokes of a note are seen as heads: what is not seen says nothing.
pub fn needed(opened: &Opened, shown: &dyn Fn(&Note) -> bool) -> Vec<Vec<Option<Accidental>>> {
    // What holds in this bar on this staff for a letter in an octave.
    let mut holds: BTreeMap<(usize, usize, i32), i16> = BTreeMap::new();
    let mut fifths = vec![opened.fifths];
    for bar in &opened.bars {
        let before = fifths.last().copied().unwrap_or(0);
        fifths.push(bar.fifths.unwrap_or(before));
    }
    let mut order: Vec<usize> = (0..opened.notes.len()).collect();
    order.sort_by(|a, b| {
        let of = |i: &usize| (opened.notes[*i].bar, opened.notes[*i].onset);
        of(a).0.cmp(&of(b).0).then(of(a).1.total_cmp(&of(b).1))
    });
    let mut found = vec![Vec::new(); opened.notes.len()];
    for i in order {
        let note = &opened.notes[i];
        let key = fifths.get(note.bar + 1).or(fifths.last()).copied().unwrap_or(0);
        let count = if shown(note) { usize::MAX } else { 1 };
        found[i] = places(note)
            .take(count)
            .map(|place| {
                let Placed::Pitch(spelling) = place else { return None };
                let held = holds
                    .entry((note.bar, note.staff, letters(spelling)))
                    .or_insert_with(|| signed(key, spelling.step));
                let now = (sign_of(*held) != sign_of(spelling.alter)).then(|| sign_of(spelling.alter));
                *held = spelling.alter;
                now
            })
            .collect();
    }
    found
}

/// The note's own place, then those of its further strokes.
pub fn places(note: &Note) -> impl Iterator<Item = Placed> + '_ {
    std::iter::once(note.place).chain(note.strokes.iter().skip(1).map(|s| s.place))
}

#[cfg(test)]
mod tests {
    use super::super::describe::Bar;
    use super::*;
    use ripieno_music::Spelling;

    fn note(bar: usize, onset: f64, step: u8, alter: i16, octave: i8) -> Note {
        let place = Placed::Pitch(Spelling { step, alter, octave });
        Note { onset, end: onset + 0.4, bar, place, ..Note::default() }
    }

    fn said(fifths: i8, notes: Vec<Note>) -> Vec<Option<Accidental>> {
        let bars = vec![Bar::default(), Bar { at: 2.0, number: 2, ..Bar::default() }];
        let opened = Opened { fifths, bars, notes, ..Opened::default() };
        needed(&opened, &|_| true).into_iter().map(|n| n[0]).collect()
    }

    #[test]
    fn signatures_by_the_circle_of_fifths() {
        // D major: F and C sharp. Ab major: B, E, A and D flat.
        let row = |fifths| (0..7).map(|s| signed(fifths, s)).collect::<Vec<_>>();
        assert_eq!(row(2), [100, 0, 0, 100, 0, 0, 0]);
        assert_eq!(row(-4), [0, -100, -100, 0, 0, -100, -100]);
        assert_eq!(row(0), [0; 7]);
        assert_eq!(row(7), [100; 7]);
        assert_eq!(row(-7), [-100; 7]);
    }

    #[test]
    fn an_accidental_holds_to_the_barline_in_its_own_octave() {
        let sharp = Some(Accidental::Sharp);
        let natural = Some(Accidental::Natural);
        let found = said(
            0,
            vec![
                note(0, 0.0, 3, 100, 4),
                note(0, 0.5, 3, 100, 4),
                note(0, 1.0, 3, 100, 5),
                note(0, 1.5, 3, 0, 4),
                note(1, 2.0, 3, 100, 4),
                note(1, 2.5, 3, 100, 4),
            ],
        );
        assert_eq!(found, [sharp, None, sharp, natural, sharp, None]);
        // In D major F sharp needs nothing, F natural does, and again after the barline.
        let found = said(2, vec![note(0, 0.0, 3, 100, 4), note(0, 0.5, 3, 0, 4), note(1, 2.0, 3, 0, 4)]);
        assert_eq!(found, [None, natural, natural]);
    }

    #[test]
    fn quarter_tones_have_signs_of_their_own() {
        assert_eq!(
            [-150, -60, -40, 0, 20, 50, 150, 200].map(sign_of),
            [
                Accidental::FlatAndHalf,
                Accidental::HalfFlat,
                Accidental::HalfFlat,
                Accidental::Natural,
                Accidental::Natural,
                Accidental::HalfSharp,
                Accidental::SharpAndHalf,
                Accidental::DoubleSharp
            ]
        );
    }
}
