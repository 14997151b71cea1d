//! A cell's marks put on the notes themselves.

use ripieno_music::{Glide, Mark, Note, Ornament, OrnamentKind, Playing};
use ripieno_plan::CellMark;
use ripieno_units::Beats;
use std::collections::BTreeMap;

/// Does this word become signs at the notes, so that no direction is needed?
pub(crate) fn on_the_notes(word: &Playing) -> bool {
    use Playing as P;
    matches!(
        word,
        P::Legato
            | P::Staccato
            | P::Staccatissimo
            | P::Spiccato
            | P::Tenuto
            | P::Portato
            | P::Marcato
            | P::LetRing
            | P::Damp
    )
}

/// Puts the marks on the notes (in order of onset). `legato` is done by [`slur_phrases`].
pub(crate) fn put_on(notes: &mut [Note], marks: &[CellMark]) {
    // The cell's own words win over the articulation that a played source has at its notes.
    if marks.iter().any(articulates) {
        notes.iter_mut().filter(|n| n.played.is_some()).for_each(|n| n.named = None);
    }
    for mark in marks {
        match mark {
            CellMark::Playing(word) => {
                for note in notes.iter_mut() {
                    put_word(note, word);
                }
            }
            // An ornament needs the time of a crotchet.
            CellMark::Ornament(kind) => {
                for note in notes.iter_mut().filter(|n| n.length >= Beats::whole(1)) {
                    note.ornament = Some(Ornament { kind: *kind, above: None, below: None });
                }
            }
            CellMark::Articulation(name) => notes.iter_mut().for_each(|n| put_named(n, name)),
            // Breaths are put where everything is known of the part ([`crate::breath`]).
            CellMark::Dynamics(_) | CellMark::Words(_) | CellMark::Breath(_) | CellMark::AsWritten(_) => {}
        }
    }
}

/// Does it say how notes are begun, held and ended?
fn articulates(mark: &CellMark) -> bool {
    use Playing as P;
    match mark {
        CellMark::Articulation(_) => true,
        CellMark::Playing(word) => matches!(
            word,
            P::Arco
                | P::Pizz
                | P::Legato
                | P::Staccato
                | P::Staccatissimo
                | P::Spiccato
                | P::Tenuto
                | P::Detache
                | P::Portato
                | P::Marcato
                | P::Trem(_)
                | P::Roll
                | P::Strokes
                | P::Swell
        ),
        _ => false,
    }
}

fn put_named(note: &mut Note, name: &str) {
    use ripieno_music::named as n;
    let trill = |note: &mut Note, semitones| {
        if note.length >= Beats::whole(1) {
            let above = note.pitch().map(|p| p.up(semitones));
            note.ornament = Some(Ornament { kind: OrnamentKind::Trill, above, below: None });
        }
    };
    match name {
        n::SUSTAIN => LENGTHS.iter().for_each(|m| note.marks.remove(*m)),
        n::ACCENT => note.marks.add(Mark::Accent),
        n::SNAP_PIZZICATO => note.marks.add(Mark::SnapPizz),
        n::TRILL_1 => trill(note, 1),
        n::TRILL_2 => trill(note, 2),
        n::GLISSANDO => note.glide = Some(Glide::Glissando),
        _ => note.named = Some(name.to_string()),
    }
}

const LENGTHS: [Mark; 5] = [Mark::Staccato, Mark::Staccatissimo, Mark::Spiccato, Mark::Tenuto, Mark::Portato];

fn put_word(note: &mut Note, word: &Playing) {
    use Playing as P;
    let sign = match word {
        P::Staccato => Mark::Staccato,
        P::Staccatissimo => Mark::Staccatissimo,
        P::Spiccato => Mark::Spiccato,
        P::Tenuto => Mark::Tenuto,
        P::Portato => Mark::Portato,
        P::Marcato => Mark::Marcato,
        P::LetRing => Mark::LetRing,
        P::Damp => Mark::Damp,
        P::Detache => {
            LENGTHS.iter().for_each(|m| note.marks.remove(*m));
            (note.slurred, note.slurs_on) = (false, false);
            return;
        }
        // Between two notes it is what the notes are, not how they are bowed.
        P::Trem(false) | P::Strokes => {
            if note.tremolo.is_some_and(|t| t.with.is_none()) {
                note.tremolo = None;
            }
            return;
        }
        _ => return,
    };
    if LENGTHS.contains(&sign) {
        LENGTHS.iter().for_each(|m| note.marks.remove(*m));
        if sign != Mark::Tenuto {
            (note.slurred, note.slurs_on) = (false, false);
        }
    }
    note.marks.add(sign);
}

/// `legato`: in each voice one slur from rest to rest. A phrase also ends at a breath, at a repeated note, and at a gap
/// of more than a semiquaver or of half the note or more.
pub(crate) fn slur_phrases(notes: &mut [Note]) {
    let mut voices: BTreeMap<u16, Vec<usize>> = BTreeMap::new();
    for (i, note) in notes.iter_mut().enumerate() {
        (note.slurred, note.slurs_on) = (false, false);
        LENGTHS.iter().for_each(|m| note.marks.remove(*m));
        voices.entry(note.voice).or_default().push(i);
    }
    for indices in voices.values() {
        let chords: Vec<&[usize]> = indices.chunk_by(|a, b| notes[*a].at == notes[*b].at).collect();
        for pair in chords.windows(2) {
            if joined(notes, pair[0], pair[1]) {
                pair[0].iter().for_each(|i| notes[*i].slurs_on = true);
                pair[1].iter().for_each(|i| notes[*i].slurred = true);
            }
        }
    }
}

fn joined(notes: &[Note], first: &[usize], second: &[usize]) -> bool {
    let end = first.iter().map(|i| notes[*i].end()).max().unwrap_or_default();
    let length = first.iter().map(|i| notes[*i].length).max().unwrap_or_default();
    let Some(next) = second.first().map(|i| notes[*i].at) else { return false };
    let gap = next - end;
    let breath = |i: &usize| {
        let marks = notes[*i].marks;
        marks.has(Mark::BreathAfter) || marks.has(Mark::CaesuraAfter)
    };
    let repeated =
        |i: &usize| notes[*i].pitch().is_some() && second.iter().any(|j| notes[*j].kind == notes[*i].kind);
    gap <= Beats::new(1, 4)
        && gap + gap < length
        && !first.iter().any(breath)
        && !first.iter().any(repeated)
        && first.iter().chain(second).all(|i| notes[*i].pitch().is_some())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn legato_is_one_slur_a_phrase() {
        let b = Beats::new;
        let mut notes = vec![
            Note::plain(b(0, 1), b(1, 1), 60),
            Note::plain(b(1, 1), b(7, 8), 62),
            Note::plain(b(2, 1), b(1, 1), 64),
            // A rest.
            Note::plain(b(4, 1), b(1, 1), 65),
            // A repeated note.
            Note::plain(b(5, 1), b(1, 1), 65),
            Note::plain(b(6, 1), b(1, 1), 67),
        ];
        notes[1].marks.add(Mark::Staccato);
        notes[0].marks.add(Mark::Accent);
        slur_phrases(&mut notes);
        let slurs: Vec<_> = notes.iter().map(|n| (n.slurred, n.slurs_on)).collect();
        let (f, t) = (false, true);
        assert_eq!(slurs, [(f, t), (t, t), (t, f), (f, f), (f, t), (t, f)]);
        assert!(notes[1].marks.is_empty());
        assert!(notes[0].marks.has(Mark::Accent));
    }

    #[test]
    fn a_dotted_rest_line_is_not_slurred() {
        let mut notes: Vec<Note> =
            (0..4).map(|i| Note::plain(Beats::new(i, 2), Beats::new(1, 4), 60 + i as i16)).collect();
        slur_phrases(&mut notes);
        assert!(notes.iter().all(|n| !n.slurred && !n.slurs_on));
    }

    #[test]
    fn signs_take_the_place_of_their_kind() {
        let mut notes = [Note::plain(Beats::ZERO, Beats::whole(1), 60)];
        notes[0].marks.add(Mark::Tenuto);
        notes[0].marks.add(Mark::Accent);
        notes[0].slurred = true;
        put_on(&mut notes, &[CellMark::Playing(Playing::Staccato)]);
        let marks = notes[0].marks;
        assert!(marks.has(Mark::Staccato) && marks.has(Mark::Accent) && !marks.has(Mark::Tenuto));
        assert!(!notes[0].slurred);
    }

    #[test]
    fn names_that_are_signs() {
        let mut notes = [Note::plain(Beats::ZERO, Beats::whole(1), 60)];
        let named = |name: &str| CellMark::Articulation(name.into());
        put_on(&mut notes, &[named("accent"), named("trill-2"), named("glissando"), named("my-own")]);
        assert!(notes[0].marks.has(Mark::Accent));
        assert_eq!(notes[0].ornament.and_then(|o| o.above).map(|p| p.key), Some(62));
        assert_eq!(notes[0].glide, Some(Glide::Glissando));
    }

    #[test]
    fn ornaments_only_where_there_is_time() {
        let mut notes = [
            Note::plain(Beats::ZERO, Beats::whole(1), 60),
            Note::plain(Beats::whole(1), Beats::new(1, 2), 62),
        ];
        put_on(&mut notes, &[CellMark::Ornament(OrnamentKind::Trill)]);
        assert!(notes[0].ornament.is_some() && notes[1].ornament.is_none());
    }
}
