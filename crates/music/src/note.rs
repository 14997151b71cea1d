//! One written note with everything that stands at it.

use crate::{Pitch, Spelling};
use ripieno_units::Beats;

/// One note as the source has it: tied notes are one, in score time, at sounding pitch.
#[derive(Clone, Debug, PartialEq)]
pub struct Note {
    /// Where it begins.
    pub at: Beats,
    /// How long it is written, ties included; above zero.
    pub length: Beats,
    /// What sounds.
    pub kind: NoteKind,
    /// As the player reads it (transposed), where the source tells.
    pub written: Option<Spelling>,
    /// Voice within the track, from 1.
    pub voice: u16,
    /// Staff within the track, from 1.
    pub staff: u8,
    /// The source's own key velocity, 1 to 127, where it is a MIDI file.
    pub velocity: Option<u8>,
    /// The key that is struck, 0 to 127, where the source is a MIDI file's percussion channel: several keys may be one stroke.
    pub struck: Option<u8>,
    /// Under a slur together with the note before it in its voice: no new attack.
    pub slurred: bool,
    /// Under a slur together with the note after it in its voice.
    pub slurs_on: bool,
    /// Articulation signs at the note.
    pub marks: Marks,
    /// Its ornament.
    pub ornament: Option<Ornament>,
    /// Its tremolo strokes.
    pub tremolo: Option<Tremolo>,
    /// A glissando or slide that leads from it to the next note of its voice.
    pub glide: Option<Glide>,
    /// Chord broken up or down.
    pub arpeggio: Option<Arpeggio>,
    /// Grace notes before it, in order.
    pub graces: Vec<Grace>,
    /// Grace notes at its end, in order (the turned end of a trill).
    pub graces_after: Vec<Grace>,
    /// An articulation by a name of its own, from the plan: what some patch calls so.
    pub named: Option<String>,
    /// The text that is sung on it; `None` is a melisma or no text.
    pub syllable: Option<Syllable>,
    /// Where the source plays it, if that is not where it is notated: `at` and `length` are then the notated ones.
    pub played: Option<Played>,
}

/// When a note of a played source is heard, beside its notated place.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Played {
    /// Where it begins to be heard, in score time.
    pub at: Beats,
    /// How long it is heard; above zero.
    pub length: Beats,
}

/// Pitched, or a stroke on something without pitch.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum NoteKind {
    /// A pitch.
    Pitched(Pitch),
    /// A stroke on an unpitched instrument, by its id in the instrument table where known, else the source's name.
    Unpitched {
        /// The instrument struck.
        stroke: String,
    },
}

impl Note {
    /// A plain note of a key, with nothing at it.
    pub fn plain(at: Beats, length: Beats, key: i16) -> Self {
        Self {
            at,
            length,
            kind: NoteKind::Pitched(Pitch::of_key(key)),
            written: None,
            voice: 1,
            staff: 1,
            velocity: None,
            struck: None,
            slurred: false,
            slurs_on: false,
            marks: Marks::default(),
            ornament: None,
            tremolo: None,
            glide: None,
            arpeggio: None,
            graces: Vec::new(),
            graces_after: Vec::new(),
            named: None,
            syllable: None,
            played: None,
        }
    }

    /// Where it ends in score time.
    pub fn end(&self) -> Beats {
        self.at + self.length
    }

    /// Has it words to be sung?
    pub fn is_sung(&self) -> bool {
        self.syllable.as_ref().is_some_and(Syllable::is_text)
    }

    /// Its pitch, if it has one.
    pub fn pitch(&self) -> Option<Pitch> {
        match &self.kind {
            NoteKind::Pitched(pitch) => Some(*pitch),
            NoteKind::Unpitched { .. } => None,
        }
    }

    /// Does it play as the other does? All is compared but the place on paper: voice, staff and spelling.
    pub fn plays_as(&self, other: &Self) -> bool {
        let graces = |a: &[Grace], b: &[Grace]| {
            let same =
                |(a, b): (&Grace, &Grace)| Grace { written: None, ..*a } == Grace { written: None, ..*b };
            a.len() == b.len() && a.iter().zip(b).all(same)
        };
        (self.at, self.length, &self.kind) == (other.at, other.length, &other.kind)
            && (self.velocity, self.played) == (other.velocity, other.played)
            && (self.slurred, self.slurs_on, self.marks) == (other.slurred, other.slurs_on, other.marks)
            && (self.ornament, self.tremolo, self.glide, self.arpeggio)
                == (other.ornament, other.tremolo, other.glide, other.arpeggio)
            && graces(&self.graces, &other.graces)
            && graces(&self.graces_after, &other.graces_after)
            && (&self.named, &self.syllable) == (&other.named, &other.syllable)
    }

    /// Everything that carries pitch (note, graces) moved by whole semitones.
    pub fn moved(mut self, semitones: i16) -> Self {
        if let NoteKind::Pitched(pitch) = &mut self.kind {
            *pitch = pitch.up(semitones);
        }
        for grace in self.graces.iter_mut().chain(&mut self.graces_after) {
            grace.pitch = grace.pitch.up(semitones);
        }
        if let Some(ornament) = &mut self.ornament {
            ornament.above = ornament.above.map(|p| p.up(semitones));
            ornament.below = ornament.below.map(|p| p.up(semitones));
        }
        if let Some(Tremolo { with: Some(other), .. }) = &mut self.tremolo {
            *other = other.up(semitones);
        }
        self
    }
}

/// An articulation sign, as scores and MusicXML name it.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
#[repr(u8)]
#[allow(missing_docs)] // each is the sign that its name says
pub enum Mark {
    Staccato,
    Staccatissimo,
    Spiccato,
    Tenuto,
    /// Dash with dot, or dots under a slur.
    Portato,
    Accent,
    /// The wedge or hat: strong accent.
    Marcato,
    SoftAccent,
    Stress,
    Unstress,
    UpBow,
    DownBow,
    OpenString,
    Harmonic,
    Thumb,
    SnapPizz,
    /// `+` on horn: hand-stopped; on strings: left-hand pizzicato.
    Stopped,
    Open,
    DoubleTongue,
    TripleTongue,
    Scoop,
    Plop,
    Doit,
    Falloff,
    Fermata,
    BreathAfter,
    CaesuraAfter,
    /// Damp, étouffé.
    Damp,
    /// Let it ring.
    LetRing,
    /// Brush, golpe, fingernails and the like: kept, not yet played.
    Fingernails,
    Heel,
    Toe,
    Golpe,
    Brass,
}

/// A set of [`Mark`]s.
#[derive(Clone, Copy, Default, PartialEq, Eq, Hash)]
pub struct Marks(u64);

impl Marks {
    /// Adds a mark.
    pub fn add(&mut self, mark: Mark) {
        self.0 |= 1 << mark as u8;
    }

    /// Takes a mark away.
    pub fn remove(&mut self, mark: Mark) {
        self.0 &= !(1 << mark as u8);
    }

    /// With a mark added.
    pub fn with(mut self, mark: Mark) -> Self {
        self.add(mark);
        self
    }

    /// Does it hold this mark?
    pub fn has(self, mark: Mark) -> bool {
        self.0 & (1 << mark as u8) != 0
    }

    /// Does it hold none?
    pub fn is_empty(self) -> bool {
        self.0 == 0
    }

    /// Those of either.
    pub fn union(self, other: Self) -> Self {
        Self(self.0 | other.0)
    }
}

impl std::fmt::Debug for Marks {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "Marks({:#x})", self.0)
    }
}

/// A grace note.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Grace {
    /// Sounding pitch.
    pub pitch: Pitch,
    /// As the player reads it.
    pub written: Option<Spelling>,
    /// Crossed through: an acciaccatura, short and before the beat. Not crossed: an appoggiatura.
    pub slashed: bool,
    /// Written value (a quaver is 1/2).
    pub value: Beats,
    /// Slurred to the note that follows it.
    pub slurred: bool,
}

/// An ornament sign with the neighbours that it uses.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Ornament {
    /// Which.
    pub kind: OrnamentKind,
    /// The upper neighbour, worked out from key and accidentals where the reader can.
    pub above: Option<Pitch>,
    /// The lower neighbour.
    pub below: Option<Pitch>,
}

/// The ornaments, those of the folk wind instruments among them.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
#[allow(missing_docs)] // each is the ornament that its name says
pub enum OrnamentKind {
    Trill,
    Turn,
    /// A turn after the note has sounded.
    DelayedTurn,
    InvertedTurn,
    DelayedInvertedTurn,
    /// Main, upper, main (the short wavy line: a pralltriller).
    UpperMordent,
    /// Main, lower, main (the crossed wavy line).
    Mordent,
    Shake,
    Schleifer,
    Haydn,
    /// Folk winds: one higher grace on the beat.
    Cut,
    /// Folk winds: one lower grace on the beat.
    Strike,
    ShortRoll,
    LongRoll,
    Cran,
    /// Folk winds: a slide up into the note.
    Slide,
}

/// Tremolo strokes through or between stems.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Tremolo {
    /// Beams through the stem, 1 to 8; three or more at a quick tempo are unmeasured. 0: unmeasured by word (`trem.`).
    pub strokes: u8,
    /// The other note of a tremolo between two; the pair is one note of the whole length here.
    pub with: Option<Pitch>,
}

/// A connected change of pitch.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Glide {
    /// Wavy line: steps of the instrument's own scale.
    Glissando,
    /// Straight line: pitch without steps.
    Slide,
}

/// How a chord is broken.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Arpeggio {
    /// From the lowest note.
    Up,
    /// From the highest note.
    Down,
    /// Bracketed: all together.
    Together,
}

/// Text sung on one note.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Syllable {
    /// The text, without hyphens; elided syllables joined by `‿`.
    pub text: String,
    /// Its place in the word.
    pub place: SyllablePlace,
    /// It is carried on over the notes that follow.
    pub extends: bool,
    /// Which verse, from 1.
    pub verse: u8,
}

/// Letters of the numerals of harmony.
const NUMERALS: &str = "IViv";

impl Syllable {
    /// Is it text that is sung? Figures of a thorough bass and numerals of harmony stand under notes too.
    pub fn is_text(&self) -> bool {
        let letters: Vec<char> = self.text.chars().filter(|c| c.is_alphabetic()).collect();
        let figures = self.text.chars().any(char::is_numeric);
        let numeral = |c: &char| NUMERALS.contains(*c) || figures && *c == 'b';
        !letters.iter().all(numeral)
    }
}

/// Place of a syllable in its word.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[allow(missing_docs)] // each is what its name says
pub enum SyllablePlace {
    Single,
    Begin,
    Middle,
    End,
}
