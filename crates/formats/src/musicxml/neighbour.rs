//! The neighbours that an ornament moves to.

use super::sheet::RawNote;
use super::walk::Walker;
use ripieno_music::{NoteKind, Ornament, OrnamentKind, Spelling};

/// Cents of an accidental sign by its MusicXML name. `None` for signs that are no fixed alteration.
pub(super) fn accidental(name: &str) -> Option<i16> {
    Some(match name.trim() {
        "natural" => 0,
        "sharp" | "natural-sharp" => 100,
        "flat" | "natural-flat" => -100,
        "double-sharp" | "sharp-sharp" => 200,
        "flat-flat" | "double-flat" => -200,
        "triple-sharp" => 300,
        "triple-flat" => -300,
        "quarter-sharp" => 50,
        "quarter-flat" => -50,
        "three-quarters-sharp" => 150,
        "three-quarters-flat" => -150,
        _ => return None,
    })
}

impl Walker {
    /// An ornament at a note, with its neighbours: an accidental at the sign holds, else one that stands earlier in the
    /// bar, else the key signature. `None` where the note has no pitch and the ornament needs one.
    pub fn neighbours(
        &self,
        note: &RawNote,
        kind: OrnamentKind,
        above: Option<i16>,
        below: Option<i16>,
    ) -> Option<Ornament> {
        let (NoteKind::Pitched(_), Some(written)) = (&note.kind, note.written) else {
            return Some(Ornament { kind, above: None, below: None });
        };
        let beside = |by: i8, alter: Option<i16>| {
            let place = i16::from(written.octave) * 7 + i16::from(written.step) + i16::from(by);
            let (step, octave) = (place.rem_euclid(7) as u8, place.div_euclid(7) as i8);
            let alter = alter
                .or_else(|| self.accidentals.get(&(note.staff, step, octave)).copied())
                .unwrap_or(self.key.alters[usize::from(step)]);
            self.sounding_pitch(Spelling { step, alter, octave }, note.staff)
        };
        Some(Ornament { kind, above: Some(beside(1, above)), below: Some(beside(-1, below)) })
    }
}
