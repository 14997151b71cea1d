//! Patch cards: what one of the user's own sampled instruments wants to be told.

use ripieno_music::Colour;

/// A patch card.
#[derive(Clone, Debug, PartialEq)]
pub struct PatchCard {
    /// `patch`: its name.
    pub patch: String,
    /// `instrument`: an id of the instrument table.
    pub instrument: Option<String>,
    /// `middle-c`: the octave number that this card gives MIDI key 60.
    pub middle_c: i16,
    /// `sounding`: lowest and highest key that sounds, inclusive, as sounding pitch. All keys if not given.
    pub sounding: Option<(u8, u8)>,
    /// `transpose`: semitones from sounding pitch to the key sent.
    pub transpose: i16,
    /// `strokes`: key of each unpitched instrument.
    pub strokes: Vec<(String, u8)>,
    /// `channel`, 1 to 16.
    pub channel: u8,
    /// `one-voice`.
    pub one_voice: bool,
    /// `bend-semitones`.
    pub bend_semitones: f64,
    /// `layered`: it plays every note of its chair, together with the chair's other cards.
    pub layered: bool,
    /// `dynamics`.
    pub dynamics: DynamicsCard,
    /// `instead`: articulations to fall back to, in order.
    pub instead: Vec<String>,
    /// `[[articulation]]`; never empty.
    pub articulations: Vec<ArticulationCard>,
}

/// How a patch follows dynamics.
#[derive(Clone, Debug, PartialEq)]
pub struct DynamicsCard {
    /// Controller that carries the dynamic.
    pub controller: Option<u8>,
    /// Controller that carries fine expression.
    pub expression: Option<u8>,
    /// The velocity carries the dynamic.
    pub velocity: bool,
    /// Value 1 to 127 to dB re the instrument's mf: rising pairs, straight between.
    pub response: Vec<(u8, f64)>,
}

impl Default for DynamicsCard {
    fn default() -> Self {
        Self {
            controller: Some(1),
            expression: Some(11),
            velocity: false,
            response: vec![(1, -18.0), (127, 13.5)],
        }
    }
}

/// One articulation of a patch.
#[derive(Clone, Debug, PartialEq)]
pub struct ArticulationCard {
    /// Its name.
    pub name: String,
    /// Its colour.
    pub colour: Option<Colour>,
    /// What calls it; all are needed. Empty: it sounds when nothing else is called.
    pub calls: Vec<Call>,
    /// `speaks-after-ms`.
    pub delays: Delays,
    /// `overlap-ms`; below 0 a gap.
    pub overlap_ms: f64,
    /// `one-voice`, if it says so itself.
    pub one_voice: Option<bool>,
    /// `sounding`, if it says so itself.
    pub sounding: Option<(u8, u8)>,
    /// `repeat-ms`: shortest time between two notes of one key.
    pub repeat_ms: Option<f64>,
    /// `dynamics`, if it says so itself.
    pub dynamics: Option<DynamicsCard>,
}

/// What makes a patch change.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Call {
    /// Which.
    pub kind: CallKind,
}

/// Kinds of call.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum CallKind {
    /// A key.
    Key {
        /// MIDI key.
        key: u8,
        /// Latching or held.
        mode: KeyMode,
        /// Velocity it is struck with, 1 to 127.
        velocity: u8,
    },
    /// A controller value; latches.
    Controller {
        /// Number.
        number: u8,
        /// Value.
        value: u8,
    },
    /// A program, with its bank if given; latches.
    Program {
        /// Program byte.
        program: u8,
        /// Bank select bytes: controllers 0 and 32.
        bank: Option<(u8, u8)>,
    },
    /// A channel, 1 to 16, of its own.
    Channel {
        /// Channel.
        channel: u8,
    },
    /// A range of velocities, inclusive.
    Velocity {
        /// Lowest.
        low: u8,
        /// Highest.
        high: u8,
    },
}

/// How a calling key works.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum KeyMode {
    /// Stays in force after it is released.
    Latch,
    /// In force while it is down.
    Held,
}

/// The delay of an articulation: from note-on to what is heard as the start.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Delays {
    /// Of a note with its own attack.
    pub first: DelayCurve,
    /// Of a note slurred from the one before.
    pub joined: DelayCurve,
}

/// A delay in milliseconds, fixed or by velocity.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct DelayCurve {
    /// Rising velocities with the delay of each, straight between, held outside. One pair: fixed. None: no delay.
    pub pairs: Vec<(u8, f64)>,
}

impl DelayCurve {
    /// The delay at a velocity, in milliseconds.
    pub fn at(&self, velocity: u8) -> f64 {
        let pair = |p: &(u8, f64)| (f64::from(p.0), p.1);
        let next = self.pairs.partition_point(|p| p.0 < velocity);
        match (next.checked_sub(1).and_then(|i| self.pairs.get(i)), self.pairs.get(next)) {
            (Some(a), Some(b)) => {
                let (a, b) = (pair(a), pair(b));
                ripieno_units::math::lerp(a.1, b.1, (f64::from(velocity) - a.0) / (b.0 - a.0))
            }
            (Some(one), None) | (None, Some(one)) => one.1,
            (None, None) => 0.0,
        }
    }
}

impl PatchCard {
    /// Name of the card of a chair that has none.
    pub const NO_CARD: &'static str = "(no card)";

    /// The card of a chair that has none: one articulation `sustain`, no call, all keys, no delay, CC1 and CC11.
    pub fn plain(instrument: &str) -> Self {
        Self {
            patch: Self::NO_CARD.into(),
            instrument: Some(instrument.into()),
            middle_c: 4,
            sounding: None,
            transpose: 0,
            strokes: Vec::new(),
            channel: 1,
            one_voice: false,
            bend_semitones: 2.0,
            layered: false,
            dynamics: DynamicsCard::default(),
            instead: Vec::new(),
            articulations: vec![ArticulationCard {
                name: "sustain".into(),
                colour: None,
                calls: Vec::new(),
                delays: Delays::default(),
                overlap_ms: 0.0,
                one_voice: None,
                sounding: None,
                repeat_ms: None,
                dynamics: None,
            }],
        }
    }
}
