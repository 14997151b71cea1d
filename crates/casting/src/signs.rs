//! `marks as written` and `rhythm as written`: a strand's notes with something of another line, that of the chair that
//! plays along.
//!
//! With its marks, which notes are played and how long is the strand's; how each is begun, bowed, tongued, slurred and
//! adorned is the other line's wherever that has a note at the same time, as are dynamics, words, pedals and curves. With
//! its rhythm, the other line's notes are played, each with the pitch that the strand begins at the same time.

use crate::lines::Strand;
use ripieno_music::{Note, Pitch};
use std::cmp::Reverse;
use std::ops::Range;

impl Strand {
    /// These notes with the marks of `own`.
    pub(crate) fn with_marks_of(&self, own: &Self) -> Self {
        let mut notes = self.notes.clone();
        let mut dressed = vec![false; notes.len()];
        for chord in chords(&self.notes) {
            let (mine, theirs) = (
                by_height(&self.notes, chord.clone()),
                by_height(&own.notes, own.at(self.notes[chord.start].at)),
            );
            let Some(last) = theirs.len().checked_sub(1) else { continue };
            for (rank, index) in mine.into_iter().enumerate() {
                let (note, theirs) = (&self.notes[index], &own.notes[theirs[rank.min(last)]]);
                notes[index] = Note {
                    at: note.at,
                    length: note.length,
                    voice: note.voice,
                    staff: note.staff,
                    ..at_pitch_of(theirs, note)
                };
                dressed[index] = true;
            }
        }
        // A slur ends where the other line has no more notes.
        for i in 0..notes.len() {
            if let Some(next) = self.after[i]
                && dressed[i] != dressed[next]
            {
                notes[i].slurs_on = false;
                notes[next].slurred = false;
            }
        }
        Self { notes, directions: own.directions.clone(), controls: own.controls.clone(), ..self.clone() }
    }

    /// The notes of `own` at the pitches that begin here at the same time: of a chord's, the nearest whatever its octave, and
    /// of those the nearest once it is moved by so many semitones. Where nothing begins here it rests.
    pub(crate) fn in_rhythm_of(&self, own: &Self, moved: i16) -> Self {
        let found: Vec<Option<Note>> = own
            .notes
            .iter()
            .map(|note| {
                let here = self.at(note.at).map(|i| &self.notes[i]);
                let nearest = here.min_by_key(|n| apart(n.pitch().map(|p| p.up(moved)), note.pitch()))?;
                Some(at_pitch_of(note, nearest))
            })
            .collect();
        let plays = |index: Option<usize>| index.is_none_or(|i| found[i].is_some());
        let kept = found.iter().enumerate().filter_map(|(i, note)| {
            let note = note.clone()?;
            let (slurred, slurs_on) =
                (note.slurred && plays(own.before[i]), note.slurs_on && plays(own.after[i]));
            Some(Note { slurred, slurs_on, ..note })
        });
        let notes: Vec<Note> = kept.collect();
        let (before, after) = Self::neighbours(&notes);
        let transpositions = self.transpositions.clone();
        Self { notes, before, after, transpositions, ..own.clone() }
    }

    /// Indices of the notes that begin here.
    fn at(&self, at: ripieno_units::Beats) -> Range<usize> {
        let first = self.notes.partition_point(|n| n.at < at);
        first..self.notes.partition_point(|n| n.at <= at).max(first)
    }
}

/// The other line's note at this note's pitch.
fn at_pitch_of(own: &Note, note: &Note) -> Note {
    let up = match (note.pitch(), own.pitch()) {
        (Some(a), Some(b)) => a.key - b.key,
        _ => 0,
    };
    Note { kind: note.kind.clone(), written: note.written, ..own.clone().moved(up) }
}

/// How far two pitches lie apart: round the octave first, then in all.
fn apart(a: Option<Pitch>, b: Option<Pitch>) -> (i16, i16) {
    let (Some(a), Some(b)) = (a, b) else { return (0, 0) };
    let steps = (a.key - b.key).abs();
    ((steps % 12).min(12 - steps % 12), steps)
}

/// Ranges of notes that begin together.
fn chords(notes: &[Note]) -> impl Iterator<Item = Range<usize>> + '_ {
    let mut start = 0;
    notes.chunk_by(|a, b| a.at == b.at).map(move |chord| {
        start += chord.len();
        start - chord.len()..start
    })
}

/// The highest first.
fn by_height(notes: &[Note], indices: impl IntoIterator<Item = usize>) -> Vec<usize> {
    let mut sorted: Vec<usize> = indices.into_iter().collect();
    sorted.sort_by_key(|i| Reverse(notes[*i].pitch()));
    sorted
}
