//! `note`: heads, rests, grace notes.

use crate::rhythm::{Drawn, Piece, Value};
use crate::signs::{Signs, lyric};
use crate::voices::Chord;
use crate::write::Staffed;
use crate::xml::Xml;
use crate::{beams, spell};
use ripieno_music::{Grace, Mark, Note, NoteKind, Pitch, Spelling};
use ripieno_units::Beats;

/// The name of a value in MusicXML.
pub(crate) fn type_name(log: i32) -> &'static str {
    match log {
        i32::MIN..=-8 => "1024th",
        -7 => "512th",
        -6 => "256th",
        -5 => "128th",
        -4 => "64th",
        -3 => "32nd",
        -2 => "16th",
        -1 => "eighth",
        0 => "quarter",
        1 => "half",
        2 => "whole",
        3 => "breve",
        _ => "long",
    }
}

/// The name of an accidental of so many cents.
pub(crate) fn accidental(alter: i16) -> Option<&'static str> {
    Some(match alter {
        0 => "natural",
        100 => "sharp",
        -100 => "flat",
        200 => "double-sharp",
        -200 => "flat-flat",
        50 => "quarter-sharp",
        -50 => "quarter-flat",
        150 => "three-quarters-sharp",
        -150 => "three-quarters-flat",
        _ => return None,
    })
}

/// What a lane's bar is written with.
pub(crate) struct Voice<'a, 'b> {
    pub number: u16,
    pub staff: u8,
    /// Number of its slurs; the grace notes' are one more.
    pub slur: usize,
    /// Up or down where two voices share a staff.
    pub stem: Option<&'static str>,
    pub chords: &'b [Chord<'a>],
    pub drawn: &'b Drawn,
    pub beams: Vec<beams::Beams>,
}

/// A duration in divisions: places are rounded, so that sums are exact.
pub(crate) fn ticks(at: Beats, length: Beats, divisions: u32) -> i64 {
    (at + length).ticks(divisions) - at.ticks(divisions)
}

impl Staffed<'_> {
    /// Writes one piece of a voice: a rest, or a chord with its graces.
    pub fn piece(&mut self, xml: &mut Xml, voice: &Voice<'_, '_>, index: usize, bar: Beats, divisions: u32) {
        let piece = &voice.drawn.pieces[index];
        let length = ticks(piece.at, piece.length, divisions);
        let Some(event) = piece.event else {
            xml.open("note", &[]);
            xml.empty("rest", &[]);
            xml.text("duration", length);
            self.tail(xml, voice, piece, None, &[]);
            let mut signs = Signs::default();
            brackets(voice.drawn, index, &mut signs);
            signs.write(xml);
            return xml.close();
        };
        let chord = &voice.chords[event];
        let (from, to) = (bar + piece.at, bar + piece.at + piece.length);
        let (first, last) = (from <= chord.at, to >= chord.end());
        if first {
            self.graces(xml, voice, chord, false);
        }
        let two = chord.notes.iter().any(|n| n.tremolo.is_some_and(|t| t.with.is_some()));
        let half = if two { length / 2 } else { length };
        for (k, note) in chord.notes.iter().enumerate() {
            let tied = !first;
            let mut signs = Signs {
                tie_stop: !first,
                tie_start: !last,
                ties_unseen: two,
                first: first.then_some(*note),
                last: last.then_some(*note),
                lead: k == 0,
                edge: [k + 1 == chord.notes.len(), k == 0],
                several: !(first && last),
                rings: last && note.marks.has(Mark::LetRing) && !self.ringing.says(note),
                ..Signs::default()
            };
            if k == 0 {
                brackets(voice.drawn, index, &mut signs);
                if two {
                    signs.tuplet_stops.clear();
                }
                // A slur goes from the head that sounds to the last head of the note that it leads to.
                if first && chord.slur_start && !chord.slur_stop {
                    signs.slur_starts.push(voice.slur);
                }
                if last && chord.slur_stop && !chord.slur_start {
                    signs.slur_stops.push(voice.slur);
                }
                if first && chord.notes.iter().any(|n| n.graces.iter().any(|g| g.slurred)) {
                    signs.slur_stops.push(voice.slur + 1);
                }
                signs.tremolo = chord.notes.iter().find_map(|n| n.tremolo).map(|t| {
                    // Unmeasured by word: three strokes say it too.
                    let strokes = if t.strokes == 0 { 3 } else { t.strokes.min(8) };
                    (strokes, if two { "start" } else { "single" })
                });
            }
            if last && note.glide.is_some() && voice.chords.get(event + 1).is_some() {
                signs.glide_start = Some(k + 1);
            }
            if let (true, Some(before)) = (first, event.checked_sub(1).map(|b| &voice.chords[b]))
                && let Some(glide) = before.notes.get(k).and_then(|n| n.glide)
            {
                signs.glide_stop = Some((k + 1, glide));
            }
            self.head(xml, voice, note, (piece, index), (k > 0, half, two, tied), &mut signs, chord.at);
        }
        if two {
            self.second(xml, voice, chord, (piece, index), length - half);
        }
        if last {
            self.graces(xml, voice, chord, true);
        }
    }

    #[allow(clippy::too_many_arguments)]
    fn head(
        &mut self,
        xml: &mut Xml,
        voice: &Voice<'_, '_>,
        note: &Note,
        (piece, index): (&Piece, usize),
        (chord, length, two, tied): (bool, i64, bool, bool),
        signs: &mut Signs<'_>,
        at: Beats,
    ) {
        xml.open("note", &[]);
        if chord {
            xml.empty("chord", &[]);
        }
        let sign = match &note.kind {
            NoteKind::Pitched(pitch) => {
                let written = self.written(*pitch, note.written, at);
                let sign = self.pitch(xml, written, voice.staff, tied);
                if let (Some(ornament), Some(_), true) = (note.ornament, signs.first, signs.lead) {
                    for (k, near) in [ornament.above, ornament.below].into_iter().enumerate() {
                        if let Some(near) = near {
                            let spelled = spell::neighbour(written, near.up(-self.by.semitones), k == 0);
                            signs.neighbours[k] = self.differs(spelled, voice.staff);
                        }
                    }
                }
                sign
            }
            NoteKind::Unpitched { stroke } => {
                let found = self.strokes.iter().position(|s| s.0 == *stroke).unwrap_or(0);
                let place =
                    self.strokes.get(found).map_or(Spelling { step: 6, alter: 0, octave: 4 }, |s| s.1);
                xml.open("unpitched", &[]);
                xml.text("display-step", letter(place.step));
                xml.text("display-octave", place.octave);
                xml.close();
                None
            }
        };
        xml.text("duration", length);
        if signs.tie_stop {
            xml.empty("tie", &[("type", "stop")]);
        }
        if signs.tie_start {
            xml.empty("tie", &[("type", "start")]);
        }
        if let NoteKind::Unpitched { stroke } = &note.kind {
            let found = self.strokes.iter().position(|s| s.0 == *stroke).unwrap_or(0);
            xml.empty("instrument", &[("id", &format!("{}-I{}", self.id, found + 1))]);
        }
        self.tail_of(xml, voice, piece, sign, if chord { &[] } else { &voice.beams[index] }, two);
        signs.write(xml);
        if let (Some(syllable), Some(_)) = (&note.syllable, signs.first) {
            lyric(xml, syllable);
        }
        xml.close();
    }

    /// The second notes of a tremolo between two.
    fn second(
        &mut self,
        xml: &mut Xml,
        voice: &Voice<'_, '_>,
        chord: &Chord<'_>,
        (piece, index): (&Piece, usize),
        length: i64,
    ) {
        let mut seen: Vec<Pitch> = Vec::new();
        for note in &chord.notes {
            let Some((tremolo, other)) = note.tremolo.and_then(|t| t.with.map(|w| (t, w))) else { continue };
            if seen.contains(&other) {
                continue;
            }
            let lead = seen.is_empty();
            seen.push(other);
            xml.open("note", &[]);
            if !lead {
                xml.empty("chord", &[]);
            }
            let written = self.written(other, None, chord.at);
            let sign = self.pitch(xml, written, voice.staff, false);
            xml.text("duration", length);
            self.tail_of(xml, voice, piece, sign, &[], true);
            let mut signs = Signs::default();
            if lead {
                let strokes = if tremolo.strokes == 0 { 3 } else { tremolo.strokes.min(8) };
                signs.tremolo = Some((strokes, "stop"));
                brackets(voice.drawn, index, &mut signs);
                signs.tuplet_starts.clear();
            }
            signs.write(xml);
            xml.close();
        }
    }

    /// The spelling that is printed for a sounding pitch.
    pub fn written(&self, pitch: Pitch, source: Option<Spelling>, at: Beats) -> Spelling {
        let (fifths, minor) = self.sounding_key(at);
        let sounding = spell::sounding(pitch, source, fifths, minor);
        spell::read(pitch, sounding, self.by, spell::written_key(fifths, minor, self.by))
    }

    /// `pitch`; gives the accidental that has to stand before it.
    fn pitch(
        &mut self,
        xml: &mut Xml,
        written: Spelling,
        staff: u8,
        tied: bool,
    ) -> Option<(&'static str, bool)> {
        xml.open("pitch", &[]);
        xml.text("step", letter(written.step));
        if written.alter != 0 {
            xml.text("alter", f64::from(written.alter) / 100.0);
        }
        xml.text("octave", written.octave.clamp(0, 9));
        xml.close();
        let needs = self.memory[usize::from(staff.max(1)) - 1].needs(written, tied)?;
        accidental(written.alter).map(|sign| (sign, needs))
    }

    fn tail(
        &self,
        xml: &mut Xml,
        voice: &Voice<'_, '_>,
        piece: &Piece,
        sign: Option<(&'static str, bool)>,
        beams: &[&str],
    ) {
        self.tail_of(xml, voice, piece, sign, beams, false);
    }

    /// From the voice to the beams.
    fn tail_of(
        &self,
        xml: &mut Xml,
        voice: &Voice<'_, '_>,
        piece: &Piece,
        sign: Option<(&'static str, bool)>,
        beams: &[&str],
        two: bool,
    ) {
        xml.text("voice", voice.number);
        xml.text("type", type_name(piece.value.log));
        for _ in 0..piece.value.dots {
            xml.empty("dot", &[]);
        }
        if let Some((sign, reminds)) = sign {
            let attributes: &[(&str, &str)] =
                if reminds { &[("cautionary", "yes"), ("parentheses", "yes")] } else { &[] };
            xml.text_with("accidental", attributes, sign);
        }
        let (mut actual, mut normal) = if two { (2, 1) } else { (1, 1) };
        for tuplet in piece.tuplets.iter().map(|t| voice.drawn.tuplets[*t]) {
            actual *= tuplet.actual;
            normal *= tuplet.normal;
        }
        if actual != normal {
            xml.open("time-modification", &[]);
            xml.text("actual-notes", actual);
            xml.text("normal-notes", normal);
            xml.close();
        }
        if let (Some(stem), true) = (voice.stem, piece.event.is_some() && piece.value.log < 2) {
            xml.text("stem", stem);
        }
        if self.staves > 1 {
            xml.text("staff", voice.staff);
        }
        for (level, beam) in beams.iter().enumerate() {
            xml.text_with("beam", &[("number", &(level + 1).to_string())], beam);
        }
    }

    /// Grace notes before a chord, or at its end.
    fn graces(&mut self, xml: &mut Xml, voice: &Voice<'_, '_>, chord: &Chord<'_>, after: bool) {
        let of = |n: &Note| -> Vec<Grace> { if after { n.graces_after.clone() } else { n.graces.clone() } };
        let rows: Vec<Vec<Grace>> = chord.notes.iter().rev().map(|n| of(n)).collect();
        let count = rows.iter().map(Vec::len).max().unwrap_or(0);
        let mut slurring = false;
        let first = rows.iter().flatten().next().map(|g| g.value);
        // Beamed where all have one value.
        let even = rows.iter().flatten().all(|g| Some(g.value) == first);
        let flags = first
            .map(grace_value)
            .filter(|value| even && count > 1 && value.log < 0)
            .map_or(0, |value| value.log.unsigned_abs() as usize);
        let levels = vec![flags; count];
        for column in 0..count {
            // They stand together at the end of the row.
            let mut here: Vec<Grace> = rows
                .iter()
                .filter_map(|row| (column + row.len()).checked_sub(count).and_then(|i| row.get(i)).copied())
                .collect();
            here.sort_by_key(|g| (g.pitch.key, g.pitch.cents));
            here.dedup_by_key(|g| g.pitch);
            for (k, grace) in here.iter().enumerate() {
                xml.open("note", &[]);
                let slash = if grace.slashed { "yes" } else { "no" };
                if after {
                    xml.empty("grace", &[("steal-time-previous", "20"), ("slash", slash)]);
                } else {
                    xml.empty("grace", &[("slash", slash)]);
                }
                if k > 0 {
                    xml.empty("chord", &[]);
                }
                let written = self.written(grace.pitch, grace.written, chord.at);
                let sign = self.pitch(xml, written, voice.staff, false);
                xml.text("voice", voice.number);
                let value = grace_value(grace.value);
                xml.text("type", type_name(value.log));
                for _ in 0..value.dots {
                    xml.empty("dot", &[]);
                }
                if let Some((sign, _)) = sign {
                    xml.text("accidental", sign);
                }
                if self.staves > 1 {
                    xml.text("staff", voice.staff);
                }
                if k == 0 {
                    for (level, beam) in beams::at(&levels, column).iter().enumerate() {
                        xml.text_with("beam", &[("number", &(level + 1).to_string())], beam);
                    }
                }
                if k == 0 && grace.slurred && !slurring && !after {
                    slurring = true;
                    Signs { slur_starts: vec![voice.slur + 1], ..Signs::default() }.write(xml);
                }
                xml.close();
            }
        }
    }
}

/// A quaver where no single value says it.
fn grace_value(length: Beats) -> Value {
    crate::rhythm::single(length).unwrap_or(Value { log: -1, dots: 0 })
}

pub(crate) fn letter(step: u8) -> &'static str {
    ["C", "D", "E", "F", "G", "A", "B"][usize::from(step.min(6))]
}

/// Brackets of tuplets that begin or end at a piece.
fn brackets(drawn: &Drawn, index: usize, signs: &mut Signs<'_>) {
    let piece = &drawn.pieces[index];
    let within = |i: Option<usize>, t: usize| {
        i.and_then(|i| drawn.pieces.get(i)).is_some_and(|p| p.tuplets.contains(&t))
    };
    for (level, t) in piece.tuplets.iter().enumerate() {
        let tuplet = drawn.tuplets[*t];
        if !within(index.checked_sub(1), *t) {
            signs.tuplet_starts.push((level + 1, tuplet.actual, tuplet.normal, type_name(tuplet.log)));
        }
        if !within(Some(index + 1), *t) {
            signs.tuplet_stops.push(level + 1);
        }
    }
}
