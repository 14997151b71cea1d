//! Notes in the sentences of findings, by the names that the players read.
//!
//! Rules reckon in keys and say the commoner name of each, `Ab4`; a part in A minor has a G sharp there. Here every name of a
//! note in a finding is brought to the spelling that the score has in those bars: first in the part that the finding is
//! about, then in those of other players that it names; where the source has no spelling (MIDI), the key signature gives one. A name that
//! none of them plays in those bars, such as the end of a range, stays as it is.

use crate::{Desk, Table};
use rayon::prelude::*;
use ripieno_music::{Finding, Note, Pitch, Spelling, parse_key, spell};
use ripieno_units::Beats;

/// Gives the notes in all findings their written names.
pub(crate) fn spell_out(table: &Table<'_>, findings: &mut [Finding]) {
    findings.par_iter_mut().for_each(|finding| {
        let bars = &table.timeline.bars;
        let from = bars.partition_point(|b| b.number < finding.bar);
        let to = bars.partition_point(|b| b.number <= finding.to_bar.max(finding.bar));
        let (Some(first), Some(last)) = (bars.get(from), to.checked_sub(1).and_then(|i| bars.get(i))) else {
            return;
        };
        let within = (first.at, last.at + last.length);
        let own = table.desk(&finding.chair);
        let named = |d: &&Desk<'_>| Some(d.id()) != own.map(Desk::id) && finding.message.contains(d.name());
        let desks: Vec<&Desk<'_>> = own.into_iter().chain(table.desks.iter().filter(named)).collect();
        let name = |key: i16| desks.iter().find_map(|d| spelled(table, d, within, key));
        finding.message = renamed(&finding.message, &name);
        finding.remedy = renamed(&finding.remedy, &name);
    });
}

/// How a part spells a sounding key between two places, where it plays it there.
fn spelled(table: &Table<'_>, desk: &Desk<'_>, (from, to): (Beats, Beats), key: i16) -> Option<Spelling> {
    let sounding = |note: &Note| note.end() > from;
    let notes = &desk.part.content.notes;
    let begun = &notes[..notes.partition_point(|n| n.at < to)];
    begun.iter().filter(|n| sounding(n)).find_map(|note| {
        let (pitch, written) = named_in(note, key)?;
        let signature = table.timeline.key_at(note.at);
        let (fifths, minor) = signature.map_or((0, false), |k| (k.fifths, k.minor));
        Some(spell::sounding(
            Pitch { cents: 0, ..pitch },
            written.filter(|_| pitch.cents == 0),
            fifths,
            minor,
        ))
    })
}

/// The pitch of a note, of its graces or of its ornament that is this key, with its spelling.
fn named_in(note: &Note, key: i16) -> Option<(Pitch, Option<Spelling>)> {
    let graces = note.graces.iter().chain(&note.graces_after).map(|g| (g.pitch, g.written));
    let neighbours = note.ornament.iter().flat_map(|o| [(o.above, 1), (o.below, -1)]);
    let beside = neighbours
        .filter_map(|(pitch, by)| {
            Some((pitch?, note.written.zip(note.pitch()).and_then(|w| next_to(w, pitch?, by))))
        })
        .chain(note.tremolo.and_then(|t| t.with).map(|p| (p, None)));
    let own = note.pitch().map(|p| (p, note.written));
    own.into_iter().chain(graces).chain(beside).find(|(pitch, _)| pitch.key == key)
}

/// How the neighbour that an ornament moves to is written: on the next line or space of the staff.
fn next_to((main, sounds): (Spelling, Pitch), neighbour: Pitch, by: i16) -> Option<Spelling> {
    let place = i16::from(main.octave) * 7 + i16::from(main.step) + by;
    let (step, octave) = (u8::try_from(place.rem_euclid(7)).ok()?, i8::try_from(place.div_euclid(7)).ok()?);
    let plain = Spelling { step, alter: 0, octave };
    let alter = 100 * (main.pitch().key + neighbour.key - sounds.key - plain.pitch().key);
    (alter.abs() <= 200).then_some(Spelling { alter, ..plain })
}

/// A sentence with the names of notes changed that `name` has another for. What stands in quotes is a name of something else.
fn renamed(text: &str, name: &dyn Fn(i16) -> Option<Spelling>) -> String {
    let mut out = String::with_capacity(text.len());
    let mut quoted = false;
    let mut word = String::new();
    // The ends of a range are named as instruments are: `range, G3 to E6`, `has C2 to C6`, `between Bb3 and C4`.
    let (mut bounds, mut last) = (0, String::new());
    // One character more than there are ends the last word.
    for c in text.chars().map(Some).chain([None]) {
        match c {
            Some(c) if c.is_alphanumeric() || matches!(c, '#' | '-') => word.push(c),
            _ => {
                if matches!(word.as_str(), "range" | "has" | "between") || (word == "from" && last == "goes")
                {
                    bounds = 2;
                } else if !word.is_empty()
                    && key_of(&word).is_none()
                    && !matches!(word.as_str(), "to" | "and")
                {
                    bounds = 0;
                }
                if !word.is_empty() {
                    last.clone_from(&word);
                }
                let key = if quoted { None } else { key_of(&word) };
                let key = key.filter(|_| {
                    let bound = bounds > 0;
                    bounds -= i32::from(bound);
                    !bound
                });
                match key.and_then(name) {
                    Some(spelling) => out.push_str(&spelling.to_string()),
                    None => out.push_str(&word),
                }
                word.clear();
                quoted = match c {
                    Some('“') => true,
                    Some('”') => false,
                    Some('"' | '`') => !quoted,
                    _ => quoted,
                };
                out.extend(c);
            }
        }
    }
    out
}

/// The key that a word names as [`ripieno_music::key_name`] does: a capital, its sign, the octave.
fn key_of(word: &str) -> Option<i16> {
    word.starts_with(|c: char| c.is_ascii_uppercase()).then(|| parse_key(word, 4)).flatten().map(i16::from)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_names_of_notes_are_renamed() {
        let sharp = Spelling { step: 4, alter: 100, octave: 4 };
        let name = |key: i16| (key == 68).then_some(sharp);
        let said = |text: &str| renamed(text, &name);
        assert_eq!(said("A leap to the top (Ab4)"), "A leap to the top (G#4)");
        assert_eq!(said("G4, Ab4, B4: Ab4"), "G4, G#4, B4: G#4");
        assert_eq!(
            said("in \"Ab4\" the choir-ab4 sings Ab3 at 68"),
            "in \"Ab4\" the choir-ab4 sings Ab3 at 68"
        );
        assert_eq!(said("Play “Ab4” from Ab4 on"), "Play “Ab4” from G#4 on");
    }

    #[test]
    fn a_neighbour_is_written_on_the_next_place_of_the_staff() {
        let note = |step, alter| Spelling { step, alter, octave: 4 };
        let next = |main: Spelling, semitones: i16, by: i16| {
            // A clarinet's note sounds two semitones lower than it is written.
            let sounds = main.pitch().up(-2);
            next_to((main, sounds), sounds.up(semitones), by).map(|s| s.to_string())
        };
        assert_eq!(next(note(0, 0), 1, 1).as_deref(), Some("Db4"));
        assert_eq!(next(note(0, 0), -1, -1).as_deref(), Some("B3"));
        assert_eq!(next(note(6, -100), 1, 1).as_deref(), Some("Cb5"));
        assert_eq!(next(note(3, 100), 2, 1).as_deref(), Some("G#4"));
        assert_eq!(next(note(0, 0), 9, 1), None);
    }

    #[test]
    fn a_word_is_a_note_only_whole() {
        assert_eq!(
            [key_of("Ab4"), key_of("F#-1"), key_of("A"), key_of("ab4"), key_of("60")],
            [Some(68), Some(6), None, None, None]
        );
    }
}
