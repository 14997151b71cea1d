//! Text laid under notes.

use ripieno_music::{Note, Syllable, SyllablePlace};
use ripieno_units::Beats;

/// A piece of the text: a syllable, or one more note for the syllable before (`_`).
#[derive(Clone, Debug, PartialEq, Eq)]
enum Piece {
    Syllable(String, SyllablePlace),
    Held,
}

/// How many pieces of text met how many notes.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct Mismatch {
    pub(crate) syllables: usize,
    pub(crate) notes: usize,
}

/// Lays `text` under the notes (sorted by onset), voice by voice, in place of what was there: one piece for each note
/// that is not under a slur from the note before. A text of a single syllable goes under all of them.
pub(crate) fn lay_under(notes: &mut [Note], text: &str) -> Option<Mismatch> {
    let pieces = pieces(text);
    let mut voices: Vec<u16> = notes.iter().map(|n| n.voice).collect();
    voices.sort_unstable();
    voices.dedup();
    let mut worst: Option<Mismatch> = None;
    for voice in voices {
        let found = under_voice(notes, voice, &pieces);
        if let Some(mismatch) = found
            && worst
                .is_none_or(|w| w.notes.abs_diff(w.syllables) < mismatch.notes.abs_diff(mismatch.syllables))
        {
            worst = found;
        }
    }
    worst
}

fn under_voice(notes: &mut [Note], voice: u16, pieces: &[Piece]) -> Option<Mismatch> {
    let one_for_all = matches!(pieces, [Piece::Syllable(..)]);
    let mut taken = 0;
    let mut places = 0;
    let mut chord: Option<(Beats, Option<Syllable>)> = None;
    // The chord that has the last syllable, so that it can be told that it is carried on.
    let mut last_sung: Option<Beats> = None;
    let mut carried: Vec<Beats> = Vec::new();
    for note in notes.iter_mut().filter(|n| n.voice == voice) {
        if chord.as_ref().is_none_or(|(at, _)| *at != note.at) {
            let mut syllable = None;
            if note.slurred {
                carried.extend(last_sung);
            } else {
                places += 1;
                let piece = if one_for_all { pieces.first() } else { pieces.get(taken) };
                taken += 1;
                match piece {
                    Some(Piece::Syllable(text, place)) => {
                        syllable =
                            Some(Syllable { text: text.clone(), place: *place, extends: false, verse: 1 });
                        last_sung = Some(note.at);
                    }
                    Some(Piece::Held) | None => carried.extend(last_sung),
                }
            }
            chord = Some((note.at, syllable));
        }
        note.syllable = chord.as_ref().and_then(|(_, s)| s.clone());
    }
    for note in notes.iter_mut().filter(|n| n.voice == voice) {
        if let Some(syllable) = &mut note.syllable {
            syllable.extends = carried.contains(&note.at);
        }
    }
    let syllables = pieces.len();
    (!one_for_all && syllables != places).then_some(Mismatch { syllables, notes: places })
}

/// `"Ky-ri-e e-lei-son _"`: words by spaces, syllables by hyphens, `_` one more note.
fn pieces(text: &str) -> Vec<Piece> {
    let mut pieces = Vec::new();
    for word in text.split_whitespace() {
        let parts: Vec<&str> = word.split('-').filter(|p| !p.is_empty()).collect();
        let is_text = |p: &&str| !p.trim_end_matches('_').is_empty();
        let count = parts.iter().filter(|p| is_text(p)).count();
        let mut nth = 0;
        for part in parts {
            let syllable = part.trim_end_matches('_');
            if !syllable.is_empty() {
                let place = match (nth, count) {
                    (_, 1) => SyllablePlace::Single,
                    (0, _) => SyllablePlace::Begin,
                    (n, _) if n + 1 == count => SyllablePlace::End,
                    _ => SyllablePlace::Middle,
                };
                nth += 1;
                pieces.push(Piece::Syllable(syllable.to_owned(), place));
            }
            let held = part.len() - syllable.len();
            pieces.extend(std::iter::repeat_n(Piece::Held, held));
        }
    }
    pieces
}

#[cfg(test)]
mod tests {
    use super::*;

    fn line(count: i64) -> Vec<Note> {
        (0..count).map(|i| Note::plain(Beats::whole(i), Beats::whole(1), 60 + i as i16)).collect()
    }

    fn sung(notes: &[Note]) -> Vec<String> {
        notes
            .iter()
            .map(|n| match &n.syllable {
                Some(s) => format!("{}{}", s.text, if s.extends { "~" } else { "" }),
                None => "-".into(),
            })
            .collect()
    }

    #[test]
    fn one_syllable_a_note_and_slurs_are_melismas() {
        let mut notes = line(8);
        (notes[1].slurs_on, notes[2].slurred) = (true, true);
        assert_eq!(lay_under(&mut notes, "Ky-ri-e e-lei-son _"), None);
        assert_eq!(sung(&notes), ["Ky", "ri~", "-", "e", "e", "lei", "son~", "-"]);
        let place = |i: usize| notes[i].syllable.as_ref().map(|s| s.place);
        assert_eq!(place(0), Some(SyllablePlace::Begin));
        assert_eq!(place(1), Some(SyllablePlace::Middle));
        assert_eq!(place(3), Some(SyllablePlace::End));
    }

    #[test]
    fn wrong_count_is_told() {
        let mut notes = line(3);
        assert_eq!(lay_under(&mut notes, "A-men"), Some(Mismatch { syllables: 2, notes: 3 }));
        assert_eq!(sung(&notes), ["A", "men~", "-"]);
    }

    #[test]
    fn one_vowel_for_all() {
        let mut notes = line(4);
        assert_eq!(lay_under(&mut notes, "ah"), None);
        assert_eq!(sung(&notes), ["ah", "ah", "ah", "ah"]);
    }
}
