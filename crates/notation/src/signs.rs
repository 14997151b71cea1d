//! The signs at one note: ties, slurs, articulations, ornaments, technical signs.

use crate::xml::Xml;
use ripieno_music::{Arpeggio, Glide, Mark, Marks, Note, OrnamentKind, Syllable, SyllablePlace};

/// What stands at one head of one piece.
#[derive(Default)]
pub(crate) struct Signs<'a> {
    pub tie_stop: bool,
    pub tie_start: bool,
    /// Ties are heard, not drawn (between pairs of a tremolo).
    pub ties_unseen: bool,
    /// Tuplets that begin and end: number, actual, normal, type of the unit; (number, _, _, _) ends.
    pub tuplet_starts: Vec<(usize, i64, i64, &'static str)>,
    pub tuplet_stops: Vec<usize>,
    pub slur_starts: Vec<usize>,
    pub slur_stops: Vec<usize>,
    /// Strokes and type of tremolo.
    pub tremolo: Option<(u8, &'static str)>,
    /// The note whose own marks begin here: it is its first piece.
    pub first: Option<&'a Note>,
    /// The note that ends here: it is its last piece.
    pub last: Option<&'a Note>,
    /// The head that carries what a chord has once.
    pub lead: bool,
    /// Accidentals at the ornament's neighbours: above, below.
    pub neighbours: [Option<&'static str>; 2],
    /// Number of a glissando from here, and to here with its kind.
    pub glide_start: Option<usize>,
    pub glide_stop: Option<(usize, Glide)>,
    /// Highest and lowest of its chord.
    pub edge: [bool; 2],
    /// The note rings on, and no word says so.
    pub rings: bool,
    /// The note is cut into several pieces.
    pub several: bool,
}

const ARTICULATIONS: &[(Mark, &str)] = &[
    (Mark::Accent, "accent"),
    (Mark::Marcato, "strong-accent"),
    (Mark::Staccato, "staccato"),
    (Mark::Tenuto, "tenuto"),
    (Mark::Portato, "detached-legato"),
    (Mark::Staccatissimo, "staccatissimo"),
    (Mark::Spiccato, "spiccato"),
    (Mark::Scoop, "scoop"),
    (Mark::Plop, "plop"),
    (Mark::Stress, "stress"),
    (Mark::Unstress, "unstress"),
    (Mark::SoftAccent, "soft-accent"),
];
const ENDINGS: &[(Mark, &str)] = &[
    (Mark::Doit, "doit"),
    (Mark::Falloff, "falloff"),
    (Mark::BreathAfter, "breath-mark"),
    (Mark::CaesuraAfter, "caesura"),
];
const TECHNICAL: &[(Mark, &str)] = &[
    (Mark::UpBow, "up-bow"),
    (Mark::DownBow, "down-bow"),
    (Mark::Harmonic, "harmonic"),
    (Mark::OpenString, "open-string"),
    (Mark::Thumb, "thumb-position"),
    (Mark::DoubleTongue, "double-tongue"),
    (Mark::TripleTongue, "triple-tongue"),
    (Mark::Stopped, "stopped"),
    (Mark::Open, "open"),
    (Mark::SnapPizz, "snap-pizzicato"),
    (Mark::Fingernails, "fingernails"),
    (Mark::Heel, "heel"),
    (Mark::Toe, "toe"),
    (Mark::Golpe, "golpe"),
    (Mark::Brass, "smear"),
];
/// Marks of single notes of a chord; the others stand once.
const OWN: &[Mark] = &[Mark::Harmonic, Mark::OpenString];

/// Signs the standard has no element for, by the word that is printed.
fn damped(marks: Marks) -> Option<&'static str> {
    marks.has(Mark::Damp).then_some("damp")
}

impl Signs<'_> {
    fn marks(&self, note: Option<&Note>) -> Marks {
        let Some(note) = note else { return Marks::default() };
        if self.lead {
            return note.marks;
        }
        OWN.iter().filter(|m| note.marks.has(**m)).fold(Marks::default(), |all, m| all.with(*m))
    }

    fn empty(&self, marks: Marks, ends: Marks) -> bool {
        let ornament = self.lead && self.first.is_some_and(|n| n.ornament.is_some());
        let wave = self.lead && self.last.is_some_and(|n| n.ornament.is_some());
        let ties = (self.tie_start || self.tie_stop) && !self.ties_unseen;
        let arpeggio = self.first.is_some_and(|n| n.arpeggio.is_some());
        let slurs = !self.slur_starts.is_empty() || !self.slur_stops.is_empty();
        let tuplets = !self.tuplet_starts.is_empty() || !self.tuplet_stops.is_empty();
        let glides = self.glide_start.is_some() || self.glide_stop.is_some();
        !(ornament || wave || ties || self.rings || arpeggio || slurs || tuplets || glides)
            && self.tremolo.is_none()
            && marks.is_empty()
            && ends.is_empty()
    }

    /// Writes `notations`, if there is anything to write.
    pub fn write(&self, xml: &mut Xml) {
        let (marks, ends) = (self.marks(self.first), self.marks(self.last));
        if self.empty(marks, ends) {
            return;
        }
        xml.open("notations", &[]);
        if !self.ties_unseen {
            if self.tie_stop {
                xml.empty("tied", &[("type", "stop")]);
            }
            if self.tie_start {
                xml.empty("tied", &[("type", "start")]);
            }
        }
        if self.rings {
            xml.empty("tied", &[("type", "let-ring")]);
        }
        for number in &self.slur_stops {
            xml.empty("slur", &[("type", "stop"), ("number", &number.to_string())]);
        }
        for number in &self.slur_starts {
            xml.empty("slur", &[("type", "start"), ("number", &number.to_string())]);
        }
        for number in &self.tuplet_stops {
            xml.empty("tuplet", &[("type", "stop"), ("number", &number.to_string())]);
        }
        for (number, actual, normal, unit) in &self.tuplet_starts {
            xml.open("tuplet", &[("type", "start"), ("number", &number.to_string())]);
            for (name, count, kind, of) in [
                ("tuplet-actual", actual, "tuplet-number", "tuplet-type"),
                ("tuplet-normal", normal, "tuplet-number", "tuplet-type"),
            ] {
                xml.open(name, &[]);
                xml.text(kind, count);
                xml.text(of, unit);
                xml.close();
            }
            xml.close();
        }
        if let Some((number, glide)) = self.glide_stop {
            glide_line(xml, glide, "stop", number);
        }
        if let (Some(number), Some(glide)) = (self.glide_start, self.last.and_then(|n| n.glide)) {
            glide_line(xml, glide, "start", number);
        }
        self.ornaments(xml);
        group(xml, "technical", TECHNICAL, marks, None);
        let mut list: Vec<(Mark, &str)> = ARTICULATIONS.to_vec();
        if marks.has(Mark::Portato) && (marks.has(Mark::Staccato) || marks.has(Mark::Tenuto)) {
            // Dash and dot are signs enough.
            list.retain(|m| m.0 != Mark::Portato);
        }
        let both: Vec<(Mark, &str, bool)> =
            list.iter().map(|m| (m.0, m.1, false)).chain(ENDINGS.iter().map(|m| (m.0, m.1, true))).collect();
        let here = |m: &(Mark, &str, bool)| if m.2 { ends.has(m.0) } else { marks.has(m.0) };
        let found: Vec<&str> = both.iter().filter(|m| here(m)).map(|m| m.1).collect();
        if !found.is_empty() || damped(ends).is_some() {
            xml.open("articulations", &[]);
            for name in found {
                plain(xml, name);
            }
            if let Some(word) = damped(ends) {
                xml.text("other-articulation", word);
            }
            xml.close();
        }
        if ends.has(Mark::Fermata) {
            xml.empty("fermata", &[("type", "upright")]);
        }
        match self.first.and_then(|n| n.arpeggio) {
            Some(Arpeggio::Up) => xml.empty("arpeggiate", &[]),
            Some(Arpeggio::Down) => xml.empty("arpeggiate", &[("direction", "down")]),
            Some(Arpeggio::Together) if self.edge[0] => xml.empty("non-arpeggiate", &[("type", "top")]),
            Some(Arpeggio::Together) if self.edge[1] => xml.empty("non-arpeggiate", &[("type", "bottom")]),
            _ => {}
        }
        xml.close();
    }

    fn ornaments(&self, xml: &mut Xml) {
        let begins = self.first.filter(|_| self.lead).and_then(|n| n.ornament);
        let ends = self.last.filter(|_| self.lead).and_then(|n| n.ornament);
        let trill_ends = ends.is_some_and(|o| o.kind == OrnamentKind::Trill);
        // The wavy line tells how far a trill reaches over a tie.
        let wave = self.several && (begins.is_some_and(|o| o.kind == OrnamentKind::Trill) || trill_ends);
        if begins.is_none() && self.tremolo.is_none() && !wave {
            return;
        }
        xml.open("ornaments", &[]);
        if let Some(ornament) = begins {
            match element(ornament.kind) {
                Ok(name) => xml.empty(name, &[]),
                Err(word) => xml.text("other-ornament", word),
            }
            for (sign, placement) in self.neighbours.iter().zip(["above", "below"]) {
                if let Some(sign) = sign {
                    xml.text_with("accidental-mark", &[("placement", placement)], sign);
                }
            }
        }
        if wave {
            if begins.is_some() {
                xml.empty("wavy-line", &[("type", "start"), ("number", "1")]);
            } else if trill_ends {
                xml.empty("wavy-line", &[("type", "stop"), ("number", "1")]);
            }
        }
        if let Some((strokes, kind)) = self.tremolo {
            xml.text_with("tremolo", &[("type", kind)], strokes);
        }
        xml.close();
    }
}

fn group(xml: &mut Xml, name: &'static str, list: &[(Mark, &'static str)], marks: Marks, more: Option<&str>) {
    let found: Vec<&'static str> = list.iter().filter(|m| marks.has(m.0)).map(|m| m.1).collect();
    if found.is_empty() && more.is_none() {
        return;
    }
    xml.open(name, &[]);
    for sign in found {
        plain(xml, sign);
    }
    xml.close();
}

fn plain(xml: &mut Xml, name: &str) {
    const NAMES: &[&[(Mark, &str)]] = &[ARTICULATIONS, ENDINGS, TECHNICAL];
    if let Some((_, known)) = NAMES.iter().flat_map(|l| l.iter()).find(|m| m.1 == name) {
        xml.empty(known, &[]);
    }
}

fn glide_line(xml: &mut Xml, glide: Glide, kind: &str, number: usize) {
    let number = number.to_string();
    match glide {
        Glide::Glissando => {
            xml.empty("glissando", &[("type", kind), ("number", &number), ("line-type", "wavy")]);
        }
        Glide::Slide => xml.empty("slide", &[("type", kind), ("number", &number), ("line-type", "solid")]),
    }
}

/// The element of an ornament, or the word where the standard has none.
fn element(kind: OrnamentKind) -> Result<&'static str, &'static str> {
    Ok(match kind {
        OrnamentKind::Trill => "trill-mark",
        OrnamentKind::Turn => "turn",
        OrnamentKind::DelayedTurn => "delayed-turn",
        OrnamentKind::InvertedTurn => "inverted-turn",
        OrnamentKind::DelayedInvertedTurn => "delayed-inverted-turn",
        // The standard calls the short wavy line without a stroke inverted.
        OrnamentKind::UpperMordent => "inverted-mordent",
        OrnamentKind::Mordent => "mordent",
        OrnamentKind::Shake => "shake",
        OrnamentKind::Schleifer => "schleifer",
        OrnamentKind::Haydn => "haydn",
        OrnamentKind::Cut => return Err("cut"),
        OrnamentKind::Strike => return Err("strike"),
        OrnamentKind::ShortRoll => return Err("short roll"),
        OrnamentKind::LongRoll => return Err("long roll"),
        OrnamentKind::Cran => return Err("cran"),
        OrnamentKind::Slide => return Err("slide"),
    })
}

/// `lyric`.
pub(crate) fn lyric(xml: &mut Xml, syllable: &Syllable) {
    xml.open("lyric", &[("number", "1")]);
    xml.text(
        "syllabic",
        match syllable.place {
            SyllablePlace::Single => "single",
            SyllablePlace::Begin => "begin",
            SyllablePlace::Middle => "middle",
            SyllablePlace::End => "end",
        },
    );
    xml.text("text", &syllable.text);
    if syllable.extends {
        xml.empty("extend", &[]);
    }
    xml.close();
}
