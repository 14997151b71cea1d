//! `note`: one note, rest or grace note.

use super::count::{dotted, value, written_length};
use super::sheet::{RawNote, RawSlur};
use super::walk::{Lead, Waiting, Walker};
use super::warn::Doubts;
use super::xml::{cents, child, child_number, child_text, children, has, yes};
use ripieno_music::{Grace, Mark, Marks, NoteKind, Pitch, Spelling};
use ripieno_units::Beats;
use roxmltree::Node;

/// The step that a letter names, from C.
pub(super) fn step(letter: &str) -> Option<u8> {
    "CDEFGAB".find(letter.trim()).filter(|_| letter.trim().len() == 1).map(|i| i as u8)
}

impl Walker {
    pub fn note(&mut self, node: Node<'_, '_>, doubts: &mut Doubts) {
        let grace = child(node, "grace");
        let silent = has(node, "cue");
        let chord = has(node, "chord");
        let (raw, exact) =
            if grace.is_some() { (Beats::ZERO, Beats::ZERO) } else { self.lengths(node, doubts) };
        let written_value = written_length(node);
        let lead = self.chord.filter(|_| chord);
        let (at, group) = match lead {
            Some(lead) => (lead.at, lead.group),
            None => {
                self.group = self.group.saturating_add(1);
                (self.cursor, self.group)
            }
        };
        let mut exact = exact;
        match lead {
            // Written alike in one chord, but counted otherwise: the chord's first note is what the bar is counted by.
            Some(lead)
                if grace.is_none()
                    && lead.length != exact
                    && lead.value.is_some()
                    && lead.value == written_value =>
            {
                self.doubt(
                    doubts,
                    "a chord whose notes are written alike but counted otherwise lasts as its first note",
                );
                exact = lead.length;
            }
            Some(_) => {}
            None => {
                self.advance(raw, exact);
                self.chord = Some(Lead { at, group, value: written_value, length: exact });
            }
        }
        let rest = child(node, "rest");
        if grace.is_none() {
            let reach = at + exact;
            if rest.is_some_and(|r| yes(r, "measure")) {
                self.bar.rest_fill = self.bar.rest_fill.max(reach);
            } else {
                self.bar.fill = self.bar.fill.max(reach);
            }
        }
        if silent {
            self.cues += usize::from(rest.is_none());
            return;
        }
        let staff = child_number::<u8>(node, "staff").unwrap_or(1).max(1);
        let voice = self.voice(node);
        if rest.is_some() {
            return;
        }
        let Some((kind, written)) = self.kind(node, staff, doubts) else {
            return self.doubt(doubts, "a note without pitch is read as a rest");
        };
        match kind {
            NoteKind::Pitched(_) => self.pitched += 1,
            NoteKind::Unpitched { .. } => self.unpitched += 1,
        }
        let mut length = exact;
        if grace.is_none() && !length.is_positive() {
            length = written_length(node).filter(|l| l.is_positive()).unwrap_or(Beats::new(1, 8));
            self.doubt(doubts, "a note without length keeps its place and takes its written value");
        }
        let mut note = RawNote {
            at,
            length,
            group,
            kind,
            written,
            voice,
            staff,
            tie_start: false,
            tie_stop: false,
            marks: Marks::default(),
            touched: child_text(node, "notehead").is_some_and(|head| head.trim() == "diamond"),
            hidden: node.attribute("print-object") == Some("no"),
            ornament: None,
            tremolo: None,
            glide: None,
            arpeggio: None,
            graces: Vec::new(),
            graces_after: Vec::new(),
            syllables: super::lyric::read(node),
            only: node.attribute("time-only").map(super::barline::numbers).unwrap_or_default(),
        };
        for tie in children(node, "tie") {
            match tie.attribute("type") {
                Some("start") => note.tie_start = true,
                Some("stop") => note.tie_stop = true,
                _ => {}
            }
        }
        // A string touched and not stopped.
        if note.touched && matches!(note.kind, NoteKind::Pitched(_)) {
            note.marks.add(Mark::Harmonic);
        }
        let slurs = self.notations(node, &mut note, grace.is_some(), doubts);
        if let (Some(spelling), NoteKind::Pitched(_)) = (note.written, &note.kind) {
            self.accidentals.insert((staff, spelling.step, spelling.octave), spelling.alter);
        }
        match grace {
            Some(grace) => self.grace(node, grace, note, &slurs),
            None => self.bar.notes.push(note),
        }
    }

    /// A note's length by the file's divisions, and exactly. They differ where the divisions cannot say a tuplet.
    fn lengths(&mut self, node: Node<'_, '_>, doubts: &mut Doubts) -> (Beats, Beats) {
        match super::count::lengths(node, self.divisions) {
            (Some(raw), exact) => (raw, if self.counted() { raw } else { exact }),
            (None, length) => {
                self.doubt(doubts, "a note without duration takes its written value");
                (length, length)
            }
        }
    }

    fn voice(&mut self, node: Node<'_, '_>) -> u16 {
        let Some(name) = child_text(node, "voice") else { return self.layer };
        if let Ok(number) = name.parse::<u16>() {
            return number.max(1);
        }
        let next = 1001 + self.voice_names.len().min(60_000) as u16;
        *self.voice_names.entry(name.to_owned()).or_insert(next)
    }

    /// What sounds, and how it is written. `None` where there is neither pitch nor stroke.
    fn kind(
        &mut self,
        node: Node<'_, '_>,
        staff: u8,
        doubts: &mut Doubts,
    ) -> Option<(NoteKind, Option<Spelling>)> {
        if let Some(pitch) = child(node, "pitch") {
            let spelling = self.spelling(pitch, "step", "octave", doubts);
            let sounding = self.sounding_pitch(spelling, staff);
            return Some((NoteKind::Pitched(sounding), Some(spelling)));
        }
        let unpitched = child(node, "unpitched")?;
        let written = has(unpitched, "display-step")
            .then(|| self.spelling(unpitched, "display-step", "display-octave", doubts));
        let named = child(node, "instrument")
            .and_then(|i| i.attribute("id"))
            .and_then(|id| self.info.strokes.get(id))
            .filter(|s| !s.is_empty());
        let only =
            || self.info.strokes.values().next().filter(|s| self.info.strokes.len() == 1 && !s.is_empty());
        let stroke = named.or_else(only).unwrap_or(&self.info.name).clone();
        Some((NoteKind::Unpitched { stroke }, written))
    }

    fn spelling(
        &mut self,
        node: Node<'_, '_>,
        step_name: &str,
        octave_name: &str,
        doubts: &mut Doubts,
    ) -> Spelling {
        let letter = child_text(node, step_name).and_then(step);
        let octave = child_number::<i8>(node, octave_name);
        if letter.is_none() || octave.is_none_or(|o| !(-2..=10).contains(&o)) {
            self.doubt(doubts, "a pitch that cannot be read is taken as the nearest that can");
        }
        Spelling {
            step: letter.unwrap_or(0),
            alter: child_text(node, "alter").and_then(cents).unwrap_or(0),
            octave: octave.unwrap_or(4).clamp(-2, 10),
        }
    }

    /// What a written note sounds as on a staff.
    pub fn sounding_pitch(&self, spelling: Spelling, staff: u8) -> Pitch {
        spelling.pitch().up(self.transposition_of(staff).semitones)
    }

    fn grace(&mut self, node: Node<'_, '_>, grace: Node<'_, '_>, note: RawNote, slurs: &[RawSlur]) {
        let NoteKind::Pitched(pitch) = note.kind else {
            // A flam: the stroke has no pitch for a grace note to hold, so it is a short note of its own.
            let value = child_text(node, "type").and_then(value).unwrap_or(Beats::new(1, 4)).scaled(1, 4);
            let at = note.at - value;
            let at = at.max(Beats::ZERO);
            return self.bar.notes.push(RawNote { at, length: value, ..note });
        };
        let written = child_text(node, "type").and_then(value);
        let length = dotted(written.unwrap_or(Beats::new(1, 2)), children(node, "dot").count());
        let one = Grace {
            pitch,
            written: note.written,
            slashed: yes(grace, "slash"),
            value: length,
            slurred: slurs.iter().any(|s| s.starts),
        };
        // A slur that began at an earlier grace note of the row goes on until it is stopped.
        let row = self.graces.iter().rev().take(64).find(|w| w.voice == note.voice && w.at == note.at);
        let carried = row.is_some_and(|w| w.grace.slurred) && !slurs.iter().any(|s| !s.starts);
        let grace = Grace { slurred: one.slurred || carried, ..one };
        self.graces.push(Waiting { voice: note.voice, group: note.group, at: note.at, grace });
    }
}
