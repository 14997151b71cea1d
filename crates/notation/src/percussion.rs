//! Where strokes stand on a five-line staff.

use ripieno_music::Spelling;

/// Stroke, letter (0 for C) and octave as in a treble clef: what is low sounds stands low (N. Weinberg, Guidelines for drumset
/// notation, 1994, from memory, for those that it names; the others common practice, no source).
const PLACES: &[(&str, u8, i8)] = &[
    ("bass-drum", 3, 4),
    ("snare-drum", 0, 5),
    ("tenor-drum", 5, 4),
    ("cymbals", 5, 5),
    ("suspended-cymbal", 5, 5),
    ("crash-cymbal", 5, 5),
    ("tam-tam", 2, 4),
    ("gong", 2, 4),
    ("triangle", 6, 5),
    ("tambourine", 4, 5),
    ("wood-block", 2, 5),
];

/// The place of each of these strokes, no two alike; one alone stands on the middle line.
pub(crate) fn places(strokes: &[String]) -> Vec<Spelling> {
    let at = |letters: i32| Spelling {
        step: letters.rem_euclid(7) as u8,
        alter: 0,
        octave: letters.div_euclid(7).clamp(0, 9) as i8,
    };
    if strokes.len() == 1 {
        return vec![at(4 * 7 + 6)];
    }
    let mut taken: Vec<i32> = Vec::new();
    for stroke in strokes {
        let known = PLACES.iter().find(|p| p.0 == stroke).map(|p| 7 * i32::from(p.2) + i32::from(p.1));
        let mut place = known.unwrap_or(30);
        // Up by spaces, then on.
        while taken.contains(&place) {
            place += 1;
        }
        taken.push(place);
    }
    taken.into_iter().map(at).collect()
}
