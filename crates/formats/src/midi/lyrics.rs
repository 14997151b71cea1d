//! Lyric events made into syllables, and syllables given to notes.

use ripieno_music::{Direction, DirectionKind, Note, Syllable, SyllablePlace};
use ripieno_units::Beats;

/// One lyric event taken apart.
struct Piece {
    text: String,
    /// A hyphen ends it: its word goes on.
    hyphen: bool,
    /// A hyphen begins it.
    hyphen_before: bool,
    /// Space or line break before or after it.
    space_before: bool,
    space: bool,
}

fn piece(raw: &str) -> Piece {
    let blank = |c: char| c.is_whitespace() || c == '\0';
    // Slashes mark new lines and pages in lyrics of the karaoke kind.
    let body = raw.trim_start_matches(['/', '\\']);
    let trimmed = body.trim_matches(blank);
    Piece {
        hyphen: trimmed.ends_with('-'),
        hyphen_before: trimmed.starts_with('-'),
        space_before: body.starts_with(blank) || body.len() < raw.len(),
        space: body.ends_with(blank),
        text: trimmed.trim_matches('-').trim().to_string(),
    }
}

/// The syllables of lyric events in order; `None` for what only carries a syllable on (`-`, `_`) or breaks a line.
///
/// The MIDI Association's RP-017 and RP-026: a hyphen at the end of a syllable inside a word, a space behind a word, no
/// event on the further notes of a melisma. Where a track uses spaces and no hyphen at all, what has no space behind it
/// is inside a word; where it uses neither, each event is a word.
pub(super) fn syllables<'a>(raw: impl Iterator<Item = &'a str>) -> Vec<Option<Syllable>> {
    let pieces: Vec<Piece> = raw.map(piece).collect();
    let spoken = |p: &Piece| p.text.chars().any(|c| c != '_' && c != '~');
    let hyphens = pieces.iter().any(|p| p.hyphen && spoken(p));
    let spaces = pieces.iter().any(|p| (p.space || p.space_before) && spoken(p));
    let mut out: Vec<Option<Syllable>> = Vec::with_capacity(pieces.len());
    let mut inside = false;
    for (i, piece) in pieces.iter().enumerate() {
        if !spoken(piece) {
            // A lone hyphen leaves its word open, a line break ends it.
            inside &= !piece.space || piece.hyphen;
            out.push(None);
            continue;
        }
        inside |= piece.hyphen_before;
        inside &= !piece.space_before;
        let next = pieces.get(i + 1);
        let goes_on = piece.hyphen
            || next.is_some_and(|n| n.hyphen_before && (spoken(n) || !n.space))
            || (spaces && !hyphens && !piece.space && next.is_some_and(|n| spoken(n) && !n.space_before));
        let place = match (inside, goes_on) {
            (false, false) => SyllablePlace::Single,
            (false, true) => SyllablePlace::Begin,
            (true, true) => SyllablePlace::Middle,
            (true, false) => SyllablePlace::End,
        };
        inside = goes_on;
        out.push(Some(Syllable { text: piece.text.clone(), place, extends: false, verse: 1 }));
    }
    out
}

/// How many of these places are onsets of these notes (in order).
pub(super) fn shared(lyrics: &[(Beats, String)], notes: &[Note]) -> usize {
    lyrics.iter().filter(|(at, _)| notes.binary_search_by_key(at, |n| n.at).is_ok()).count()
}

/// Gives each syllable to the notes that begin at its place, else to the nearest onset without text within a
/// semiquaver. What finds none is kept as words; gives those places.
pub(super) fn attach(
    lyrics: &[(Beats, String)],
    notes: &mut [Note],
    words: &mut Vec<Direction>,
) -> Vec<Beats> {
    let exact = |notes: &[Note], at: Beats| {
        let from = notes.partition_point(|n| n.at < at);
        (notes.get(from).is_some_and(|n| n.at == at)).then_some(from)
    };
    let mut syllables = syllables(lyrics.iter().map(|(_, text)| text.as_str()));
    let mut lost = Vec::new();
    // Exact places first, so that a stray one cannot take a note from its owner.
    for ((at, _), syllable) in lyrics.iter().zip(&mut syllables) {
        // Two syllables can be elided; a whole text at one place is not sung on one note.
        let elided = |n: &Note| n.syllable.as_ref().is_some_and(|s| s.text.contains('‿'));
        if let Some(first) = exact(notes, *at).filter(|i| !elided(&notes[*i]))
            && let Some(syllable) = syllable.take()
        {
            give(notes, first, syllable);
        }
    }
    for ((at, _), syllable) in lyrics.iter().zip(syllables) {
        let Some(syllable) = syllable else { continue };
        let after = notes.partition_point(|n| n.at < *at);
        let before = after.checked_sub(1).and_then(|i| exact(notes, notes[i].at));
        let gap = |i: usize| {
            let gap = notes[i].at - *at;
            if gap.is_positive() { gap } else { -gap }
        };
        let near = [before, (after < notes.len()).then_some(after)]
            .into_iter()
            .flatten()
            .filter(|i| notes[*i].syllable.is_none() && gap(*i) <= Beats::new(1, 4))
            .min_by_key(|i| gap(*i));
        match near {
            Some(first) => give(notes, first, syllable),
            None => {
                words.push(Direction {
                    at: *at,
                    staff: None,
                    voice: None,
                    kind: DirectionKind::Words(syllable.text),
                });
                lost.push(*at);
            }
        }
    }
    carry(notes);
    lost
}

/// All notes of one onset sing the syllable; a second one at the place is elided to the first.
fn give(notes: &mut [Note], first: usize, syllable: Syllable) {
    let at = notes[first].at;
    for note in notes[first..].iter_mut().take_while(|n| n.at == at) {
        match &mut note.syllable {
            Some(sung) => {
                sung.text = format!("{}‿{}", sung.text, syllable.text);
                sung.place = match (sung.place, syllable.place) {
                    (
                        SyllablePlace::Begin | SyllablePlace::Single,
                        SyllablePlace::End | SyllablePlace::Single,
                    ) => SyllablePlace::Single,
                    (SyllablePlace::Begin | SyllablePlace::Single, _) => SyllablePlace::Begin,
                    (_, SyllablePlace::End | SyllablePlace::Single) => SyllablePlace::End,
                    _ => SyllablePlace::Middle,
                };
            }
            none => *none = Some(syllable.clone()),
        }
    }
}

/// A syllable is carried on where the next onset has no text and follows without a rest of a quarter or more.
fn carry(notes: &mut [Note]) {
    let mut from = 0;
    while from < notes.len() {
        let at = notes[from].at;
        let to = from + notes[from..].iter().take_while(|n| n.at == at).count();
        let end = notes[from..to].iter().map(Note::end).max().unwrap_or(at);
        let carried = notes.get(to).is_some_and(|n| n.syllable.is_none() && n.at - end < Beats::whole(1));
        for note in &mut notes[from..to] {
            if let Some(syllable) = &mut note.syllable {
                syllable.extends = carried;
            }
        }
        from = to;
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use SyllablePlace::{Begin, End, Middle, Single};

    fn places(raw: &[&str]) -> Vec<(String, SyllablePlace)> {
        syllables(raw.iter().copied()).into_iter().flatten().map(|s| (s.text, s.place)).collect()
    }

    fn expected(list: &[(&str, SyllablePlace)]) -> Vec<(String, SyllablePlace)> {
        list.iter().map(|(t, p)| (t.to_string(), *p)).collect()
    }

    #[test]
    fn hyphens_join_and_spaces_part() {
        assert_eq!(
            places(&["Al-", "le-", "lu-", "ia ", "sing ", "on"]),
            expected(&[
                ("Al", Begin),
                ("le", Middle),
                ("lu", Middle),
                ("ia", End),
                ("sing", Single),
                ("on", Single)
            ])
        );
        assert_eq!(
            places(&["Hel", "lo ", "world\r", "good", "bye"]),
            expected(&[("Hel", Begin), ("lo", End), ("world", Single), ("good", Begin), ("bye", End)])
        );
        assert_eq!(places(&["one", "two"]), expected(&[("one", Single), ("two", Single)]));
        assert_eq!(places(&["morn-", "-", "ing ", "\n"]), expected(&[("morn", Begin), ("ing", End)]));
    }

    #[test]
    fn a_syllable_goes_to_its_chord_and_over_its_melisma() {
        let note = |at, key| Note::plain(Beats::new(at, 2), Beats::new(1, 2), key);
        let mut notes = vec![note(0, 60), note(0, 64), note(1, 62), note(2, 60)];
        let lyrics = vec![
            (Beats::ZERO, "ah ".to_string()),
            (Beats::new(33, 32), "so".into()),
            (Beats::whole(9), "x".into()),
        ];
        let mut words = Vec::new();
        assert_eq!(attach(&lyrics, &mut notes, &mut words), [Beats::whole(9)]);
        let texts: Vec<_> =
            notes.iter().map(|n| n.syllable.as_ref().map(|s| (s.text.as_str(), s.extends))).collect();
        assert_eq!(texts, [Some(("ah", true)), Some(("ah", true)), None, Some(("so", false))]);
        assert_eq!(words.len(), 1);
    }
}
