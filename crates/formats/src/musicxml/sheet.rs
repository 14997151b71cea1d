//! The score as printed: every bar once.

use super::barline::Signs;
use super::header::PartInfo;
use ripieno_music::{
    Arpeggio, Dynamic, Glide, Grace, Key, Marks, Metre, NoteKind, Ornament, OrnamentKind, Playing, Spelling,
    Syllable, TimeMarkKind, Transposition,
};
use ripieno_units::Beats;

/// A whole file, bars as printed.
#[derive(Default)]
pub(super) struct Sheet {
    pub title: Option<String>,
    pub composer: Option<String>,
    pub parts: Vec<PartSheet>,
    /// What holds for all parts, bar by bar.
    pub bars: Vec<BarFacts>,
}

pub(super) struct PartSheet {
    pub info: PartInfo,
    pub bars: Vec<PartBar>,
}

/// One bar of one part. Times count from its start.
#[derive(Default)]
pub(super) struct PartBar {
    /// By onset, chords together.
    pub notes: Vec<RawNote>,
    pub directions: Vec<(Beats, Option<u8>, RawKind)>,
    pub slurs: Vec<RawSlur>,
    /// Grace notes that no note of their bar follows or goes before.
    pub dangling: Vec<(u16, Vec<(Beats, Grace)>)>,
    /// How far its notes and rests reach.
    pub fill: Beats,
    /// How far whole-bar rests reach: they are often written longer than the bar.
    pub rest_fill: Beats,
    /// In force at its start, and changes within it.
    pub transposition: Transposition,
    pub transpositions: Vec<(Beats, Transposition)>,
    /// Sounding keys that begin in it.
    pub keys: Vec<(Beats, Key)>,
}

/// One note as written.
#[derive(Clone)]
pub(super) struct RawNote {
    pub at: Beats,
    pub length: Beats,
    /// Order in the file, the same for all notes of a chord.
    pub group: u32,
    pub kind: NoteKind,
    pub written: Option<Spelling>,
    pub voice: u16,
    pub staff: u8,
    pub tie_start: bool,
    pub tie_stop: bool,
    pub marks: Marks,
    /// Its head is a diamond.
    pub touched: bool,
    /// It sounds, but is not printed.
    pub hidden: bool,
    pub ornament: Option<Ornament>,
    pub tremolo: Option<RawTremolo>,
    pub glide: Option<Glide>,
    pub arpeggio: Option<Arpeggio>,
    pub graces: Vec<Grace>,
    pub graces_after: Vec<Grace>,
    pub syllables: Vec<Syllable>,
    /// The passes of a repeat on which it is played; empty: all.
    pub only: Vec<u32>,
}

/// Tremolo as written.
#[derive(Clone, Copy, PartialEq)]
pub(super) struct RawTremolo {
    pub strokes: u8,
    pub kind: TremoloKind,
}

#[derive(Clone, Copy, PartialEq)]
pub(super) enum TremoloKind {
    Single,
    First,
    Second,
    /// A pair that has been joined, with its other pitch.
    Joined(ripieno_music::Pitch),
}

/// An end of a slur.
#[derive(Clone, Copy)]
pub(super) struct RawSlur {
    pub at: Beats,
    /// Order in the file: graces stand before their note.
    pub rank: u32,
    pub number: u8,
    pub starts: bool,
    pub voice: u16,
    pub grace: bool,
}

/// Directions as written.
#[derive(Clone)]
pub(super) enum RawKind {
    Dynamic(Dynamic),
    WedgeStart {
        number: u8,
        louder: bool,
        niente: bool,
    },
    WedgeStop {
        number: u8,
        niente: bool,
    },
    /// `cresc.`, `dim.`, with the number of the dashes that follow it.
    Gradual {
        louder: bool,
        niente: bool,
        dashes: Option<u8>,
    },
    DashesStop(u8),
    Playing(Playing),
    PedalStart,
    PedalStop,
    PedalChange,
    Words(String),
    /// An ornament in words, for the note at this place.
    Ornament(OrnamentKind),
}

/// A tempo as written.
#[derive(Clone, Copy)]
pub(super) enum RawTempo {
    /// Quarters a minute.
    PerMinute(f64),
    /// Times the tempo before.
    Times(f64),
}

/// What stands in one bar for all parts.
#[derive(Default)]
pub(super) struct BarFacts {
    pub printed: String,
    pub implicit: bool,
    /// Declared in this bar.
    pub metre: Option<Metre>,
    /// From a `sound` element (`true`), or from a metronome mark.
    pub tempi: Vec<(Beats, RawTempo, bool)>,
    pub marks: Vec<(Beats, TimeMarkKind, String)>,
    /// Double bars at its left and right.
    pub double: [bool; 2],
    pub signs: Signs,
}

/// So many entries of a bar are looked through for the same one: more than any score has at one place.
pub(super) const NEAR: usize = 256;

impl BarFacts {
    /// Shown for all parts once.
    pub fn mark(&mut self, at: Beats, kind: TimeMarkKind, text: String) {
        let same = |m: &(Beats, TimeMarkKind, String)| m.0 == at && m.1 == kind && m.2 == text;
        if !text.is_empty() && !self.marks.iter().rev().take(NEAR).any(same) {
            self.marks.push((at, kind, text));
        }
    }

    /// What the next part says of the same bar.
    pub fn join(&mut self, next: Self) {
        if self.printed.is_empty() {
            self.printed = next.printed;
        }
        self.implicit |= next.implicit;
        self.metre = self.metre.or(next.metre);
        self.tempi.extend(next.tempi);
        for (at, kind, text) in next.marks {
            self.mark(at, kind, text);
        }
        for (own, further) in self.double.iter_mut().zip(next.double) {
            *own |= further;
        }
        self.signs.join(next.signs);
    }
}
