//! `note`: one note, rest or grace note.

use super::sheet::{RawNote, RawSlur};
use super::walk::{Waiting, Walker};
use super::warn::Doubts;
use super::xml::{cents, child, child_number, child_text, children, decimal, has, yes};
use ripieno_music::{Grace, Marks, NoteKind, Pitch, Spelling};
use ripieno_units::Beats;
use roxmltree::Node;

/// The step that a letter names, from C.
pub(super) fn step(letter: &str) -> Option<u8> {
    "CDEFGAB".find(letter.trim()).filter(|_| letter.trim().len() == 1).map(|i| i as u8)
}

/// Length of a written value (`eighth`), in quarters.
pub(super) fn value(name: &str) -> Option<Beats> {
    Some(match name.trim() {
        "maxima" => Beats::whole(32),
        "long" => Beats::whole(16),
        "breve" => Beats::whole(8),
        "whole" => Beats::whole(4),
        "half" => Beats::whole(2),
        "quarter" => Beats::whole(1),
        "eighth" => Beats::new(1, 2),
        "16th" => Beats::new(1, 4),
        "32nd" => Beats::new(1, 8),
        "64th" => Beats::new(1, 16),
        "128th" => Beats::new(1, 32),
        "256th" => Beats::new(1, 64),
        "512th" => Beats::new(1, 128),
        "1024th" => Beats::new(1, 256),
        _ => return None,
    })
}

/// A value with so many dots.
pub(super) fn dotted(value: Beats, dots: usize) -> Beats {
    let d = dots.min(8) as u32;
    value.scaled((1i64 << (d + 1)) - 1, 1i64 << d)
}

/// The value that a note is written with: type, dots, tuplet.
fn written_length(node: Node<'_, '_>) -> Option<Beats> {
    let length = dotted(value(child_text(node, "type")?)?, children(node, "dot").count());
    let Some(tuplet) = child(node, "time-modification") else { return Some(length) };
    let actual = child_number::<i64>(tuplet, "actual-notes").filter(|n| (1..=1024).contains(n));
    let normal = child_number::<i64>(tuplet, "normal-notes").filter(|n| (1..=1024).contains(n));
    Some(length.scaled(normal.unwrap_or(1), actual.unwrap_or(1)))
}

impl Walker {
    pub fn note(&mut self, node: Node<'_, '_>, doubts: &mut Doubts) {
        let grace = child(node, "grace");
        let silent = has(node, "cue");
        let chord = has(node, "chord");
        let (raw, exact) = if grace.is_some() { (Beats::ZERO, Beats::ZERO) } else { self.lengths(node, doubts) };
        let (at, group) = match self.chord {
            Some(place) if chord => place,
            _ => {
                self.group = self.group.saturating_add(1);
                (self.cursor, self.group)
            }
        };
        if !chord || self.chord.is_none() {
            self.advance(raw, exact);
            self.chord = Some((at, group));
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
        let written = written_length(node);
        let given = child_text(node, "duration").and_then(decimal);
        let Some(given) = given.filter(|d| *d >= Beats::ZERO) else {
            self.doubt(doubts, "a note without duration takes its written value");
            let length = written.unwrap_or(Beats::whole(1));
            return (length, length);
        };
        let raw = self.quarters(given);
        let exact = match written {
            Some(written) => {
                let units = written.scaled(self.divisions.numerator(), self.divisions.denominator());
                let off = units - given;
                let rounded = units.denominator() != 1 && off < Beats::whole(1) && off > Beats::whole(-1);
                if rounded && given.is_positive() { written } else { raw }
            }
            None => raw,
        };
        (raw, exact)
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
    fn kind(&mut self, node: Node<'_, '_>, staff: u8, doubts: &mut Doubts) -> Option<(NoteKind, Option<Spelling>)> {
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
        let only = || self.info.strokes.values().next().filter(|s| self.info.strokes.len() == 1 && !s.is_empty());
        let stroke = named.or_else(only).unwrap_or(&self.info.name).clone();
        Some((NoteKind::Unpitched { stroke }, written))
    }

    fn spelling(&mut self, node: Node<'_, '_>, step_name: &str, octave_name: &str, doubts: &mut Doubts) -> Spelling {
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
