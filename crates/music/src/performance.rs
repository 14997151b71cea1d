//! How it is played, in seconds. Nothing here knows a patch.

use crate::{Place, Syllable, Timeline};
use ripieno_units::{Decibels, Seconds, math};
use std::sync::Arc;

/// Names of articulations that every stage knows. A plan may use any other.
pub mod named {
    #![allow(missing_docs)] // each is the trade's word
    pub const SUSTAIN: &str = "sustain";
    pub const LEGATO: &str = "legato";
    pub const DETACHE: &str = "detache";
    pub const PORTATO: &str = "portato";
    pub const STACCATO: &str = "staccato";
    pub const STACCATISSIMO: &str = "staccatissimo";
    pub const SPICCATO: &str = "spiccato";
    pub const MARCATO: &str = "marcato";
    pub const ACCENT: &str = "accent";
    pub const TREMOLO: &str = "tremolo";
    /// Trill by a semitone.
    pub const TRILL_1: &str = "trill-1";
    /// Trill by a whole tone.
    pub const TRILL_2: &str = "trill-2";
    pub const PIZZICATO: &str = "pizzicato";
    pub const SNAP_PIZZICATO: &str = "snap-pizzicato";
    pub const ROLL: &str = "roll";
    pub const GLISSANDO: &str = "glissando";
    pub const SWELL: &str = "swell";
}

/// The whole performance: every chair that plays, in score order.
#[derive(Clone, Debug, PartialEq)]
pub struct Performance {
    /// The time axis that the gestures were placed on.
    pub timeline: Timeline,
    /// Starts of the passages: name, place in seconds, place in score.
    pub passages: Vec<(String, Seconds, Place)>,
    /// The chairs that play; shared, for a change of one leaves the others as they are.
    pub chairs: Vec<Arc<ChairPerformance>>,
}

/// What one chair does.
#[derive(Clone, Debug, PartialEq)]
pub struct ChairPerformance {
    /// The chair's id.
    pub chair: String,
    /// Its id in the instrument table.
    pub instrument: String,
    /// How many players sit in it.
    pub players: u16,
    /// Its gestures in order of onset, then pitch. No two of one pitch sound at once.
    pub gestures: Vec<Gesture>,
    /// Its level, in dB re the instrument's mf, as a polyline over time; includes accents.
    pub level: Curve,
    /// Controller curves of the source that the plan keeps: controller number and its values 0 to 127.
    pub kept: Vec<(u8, Curve)>,
    /// Times at which the sustaining pedal goes down and comes up.
    pub pedal: Vec<(Seconds, Seconds)>,
    /// How hard the sticks are, over time, in steps: 1 hard, -1 soft, 0 the usual ones.
    pub sticks: Curve,
}

impl ChairPerformance {
    /// A chair of this instrument, named like it, at its mf throughout; as many players as its fullest gesture has.
    pub fn plain(instrument: &str, gestures: Vec<Gesture>) -> Self {
        Self {
            chair: instrument.into(),
            instrument: instrument.into(),
            players: gestures.iter().map(|g| g.players).max().unwrap_or(1),
            gestures,
            level: Curve::flat(0.0),
            kept: Vec::new(),
            pedal: Vec::new(),
            sticks: Curve::default(),
        }
    }
}

/// One thing that a chair does: a note, or a trill, a roll, a glissando that is one gesture of several strokes.
#[derive(Clone, Debug, PartialEq)]
pub struct Gesture {
    /// When it is to be heard.
    pub onset: Seconds,
    /// When it stops sounding; after the onset.
    pub end: Seconds,
    /// Where it is written.
    pub place: Place,
    /// MIDI key, 0 to 127; for unpitched strokes the General MIDI percussion key, or 0 where there is none.
    pub key: u8,
    /// Cents that the pitch lies above the key: intonation and microtones.
    pub cents: f64,
    /// What is struck, on instruments without pitch.
    pub stroke: Option<String>,
    /// Name of the articulation, see [`named`].
    pub articulation: String,
    /// Colour of the sound.
    pub colour: Option<Colour>,
    /// Slurred from the gesture before it in its voice: no new attack.
    pub joined: bool,
    /// A new note follows this one under its slur: it must not die away before that.
    pub joins_on: bool,
    /// Level of its attack, in dB re the instrument's mf: the curve at its onset with its own accent.
    pub attack: Decibels,
    /// The strokes that realise it, where it is more than one note.
    pub realisation: Option<Realisation>,
    /// How long the pitch takes to change from the note before, where it is joined: as the instrument does it, not
    /// written. Samples of a connected patch bring their own.
    pub glide: Seconds,
    /// Written pitch inflection after the onset: seconds from the onset, cents.
    pub bend: Vec<(Seconds, f64)>,
    /// What is sung.
    pub sung: Option<Sung>,
    /// Voice within the chair, from 1: gestures of one voice follow each other.
    pub voice: u16,
    /// How many of the chair's players play it, where it is divided.
    pub players: u16,
}

impl Gesture {
    /// A sustained note of one player, from and to these seconds.
    pub fn plain(onset: f64, end: f64, key: u8) -> Self {
        Self {
            onset: Seconds(onset),
            end: Seconds(end),
            place: Place { bar: 1, beat: 1.0 },
            key,
            cents: 0.0,
            stroke: None,
            articulation: named::SUSTAIN.into(),
            colour: None,
            joined: false,
            joins_on: false,
            attack: Decibels(0.0),
            realisation: None,
            glide: Seconds(0.0),
            bend: Vec::new(),
            sung: None,
            voice: 1,
            players: 1,
        }
    }
}

/// The notes that a trill, tremolo, roll, glissando or run of grace notes is made of.
#[derive(Clone, Debug, PartialEq)]
pub struct Realisation {
    /// The articulation that its strokes have when they are played one by one.
    pub articulation: String,
    /// In order of onset; the first begins with the gesture.
    pub strokes: Vec<Stroke>,
}

/// One note of a realisation.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Stroke {
    /// When it is to be heard.
    pub onset: Seconds,
    /// When it ends.
    pub end: Seconds,
    /// MIDI key.
    pub key: u8,
    /// Level, in dB re the instrument's mf.
    pub attack: Decibels,
    /// Without a new attack.
    pub joined: bool,
}

/// A sung syllable in time.
#[derive(Clone, Debug, PartialEq)]
pub struct Sung {
    /// The text as written.
    pub syllable: Syllable,
    /// When its first consonant begins: before the vowel, which falls on the onset.
    pub consonant: Seconds,
    /// When its last consonant begins, before the end.
    pub coda: Seconds,
}

/// A colour of the sound, apart from the articulation.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
#[allow(missing_docs)] // each is the trade's word
pub enum Colour {
    ConSord,
    SulPont,
    SulTasto,
    Harmonics,
    ColLegno,
    Flutter,
    Stopped,
    NonVib,
}

impl Colour {
    /// All of them.
    pub const ALL: [Self; 8] = [
        Self::ConSord,
        Self::SulPont,
        Self::SulTasto,
        Self::Harmonics,
        Self::ColLegno,
        Self::Flutter,
        Self::Stopped,
        Self::NonVib,
    ];

    /// The word in patch cards.
    pub fn word(self) -> &'static str {
        match self {
            Self::ConSord => "con-sord",
            Self::SulPont => "sul-pont",
            Self::SulTasto => "sul-tasto",
            Self::Harmonics => "harmonics",
            Self::ColLegno => "col-legno",
            Self::Flutter => "flutter",
            Self::Stopped => "stopped",
            Self::NonVib => "non-vib",
        }
    }

    /// From the word in patch cards.
    pub fn parse(word: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|c| c.word() == word)
    }
}

/// A polyline over time. A jump is two points at one time.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Curve {
    /// Time in seconds and value; times never fall.
    pub points: Vec<(f64, f64)>,
}

impl Curve {
    /// A constant.
    pub fn flat(value: f64) -> Self {
        Self { points: vec![(0.0, value)] }
    }

    /// The value at a time; flat outside. Zero if there are no points.
    pub fn at(&self, time: Seconds) -> f64 {
        math::polyline(&self.points, time.0)
    }
}
