//! `marks as written` and `rhythm as written`: a strand's notes with something of another line, that of the chair that
//! plays along.
//!
//! With its marks, which notes are played and how long is the strand's; how each is begun, bowed, tongued, slurred and
//! adorned is the other line's wherever that has a note at the same time, as are dynamics, words, pedals and curves. With
//! its rhythm, the other line's notes are played, each with the pitch that the strand begins at the same time.

use crate::lines::Strand;
use ripieno_music::{Note, Pitch};
use ripieno_plan::Kept;
use ripieno_units::Beats;
use std::cmp::Reverse;
use std::ops::Range;

impl Strand {
    /// These notes with what is kept of `own`.
    pub(crate) fn keeping(&self, own: &Self, kept: Kept, moved: i16) -> Self {
        match kept {
            Kept::Marks => self.with_marks_of(own),
            Kept::Rhythm => self.in_rhythm_of(own, moved),
        }
    }

    /// These notes with the marks of `own`.
    pub(crate) fn with_marks_of(&self, own: &Self) -> Self {
        let mut dressed: Vec<Option<Note>> = vec![None; self.notes.len()];
        let mut begins = Beginning::of(&own.notes);
        for chord in chords(&self.notes) {
            let theirs = by_height(&own.notes, begins.at(self.notes[chord.start].at));
            let Some(last) = theirs.len().checked_sub(1) else { continue };
            for (rank, index) in by_height(&self.notes, chord).into_iter().enumerate() {
                let (note, theirs) = (&self.notes[index], &own.notes[theirs[rank.min(last)]]);
                dressed[index] = Some(Note {
                    at: note.at,
                    length: note.length,
                    voice: note.voice,
                    staff: note.staff,
                    ..at_pitch_of(theirs, note)
                });
            }
        }
        let bare: Vec<bool> = dressed.iter().map(Option::is_none).collect();
        let mut notes: Vec<Note> =
            dressed.into_iter().zip(&self.notes).map(|(d, n)| d.unwrap_or_else(|| n.clone())).collect();
        // A slur ends where the other line has no more notes.
        for i in 0..notes.len() {
            if let Some(next) = self.after[i]
                && bare[i] != bare[next]
            {
                notes[i].slurs_on = false;
                notes[next].slurred = false;
            }
        }
        Self {
            notes,
            directions: own.directions.clone(),
            controls: own.controls.clone(),
            transpositions: self.transpositions.clone(),
            before: self.before.clone(),
            after: self.after.clone(),
            left_out: self.left_out.clone(),
        }
    }

    /// The notes of `own` at the pitches that begin here at the same time: of a chord's, the nearest whatever its octave, and
    /// of those the nearest once it is moved by so many semitones. Where nothing begins here it rests.
    pub(crate) fn in_rhythm_of(&self, own: &Self, moved: i16) -> Self {
        let mut begins = Beginning::of(&self.notes);
        let mut found: Vec<Option<Note>> = own
            .notes
            .iter()
            .map(|note| {
                let here = begins.at(note.at).map(|i| &self.notes[i]);
                let nearest = here.min_by_key(|n| apart(n.pitch().map(|p| p.up(moved)), note.pitch()))?;
                Some(at_pitch_of(note, nearest))
            })
            .collect();
        let there: Vec<bool> = found.iter().map(Option::is_some).collect();
        let plays = |index: Option<usize>| index.is_none_or(|i| there[i]);
        let kept = found.iter_mut().enumerate().filter_map(|(i, note)| {
            let note = note.take()?;
            let (slurred, slurs_on) =
                (note.slurred && plays(own.before[i]), note.slurs_on && plays(own.after[i]));
            Some(Note { slurred, slurs_on, ..note })
        });
        let notes: Vec<Note> = kept.collect();
        let (before, after) = Self::neighbours(&notes);
        Self {
            notes,
            directions: own.directions.clone(),
            controls: own.controls.clone(),
            transpositions: self.transpositions.clone(),
            before,
            after,
            left_out: own.left_out.clone(),
        }
    }
}

/// Asked for places in their order: which notes begin there.
struct Beginning<'a> {
    notes: &'a [Note],
    first: usize,
}

impl<'a> Beginning<'a> {
    /// `notes` are in order of onset.
    fn of(notes: &'a [Note]) -> Self {
        Self { notes, first: 0 }
    }

    /// Indices of the notes that begin here; places never go back.
    fn at(&mut self, at: Beats) -> Range<usize> {
        let rest = |from: usize| self.notes.get(from..).unwrap_or_default();
        self.first += rest(self.first).iter().take_while(|n| n.at < at).count();
        self.first..self.first + rest(self.first).iter().take_while(|n| n.at == at).count()
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
