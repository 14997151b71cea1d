//! `template.toml`: the composer's standing set-up.

use crate::Span;

/// A template.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Template {
    /// `[chair.ID]`, in score order (`order`, else the order of the file).
    pub chairs: Vec<ChairPlan>,
    /// `[mix]`.
    pub mix: MixPlan,
}

/// One chair.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct ChairPlan {
    /// Its id: a-z, 0-9, `-`.
    pub id: String,
    /// `name`: as printed; the instrument's name if not given.
    pub name: Option<String>,
    /// `instrument`: an id of the instrument table.
    pub instrument: String,
    /// `players`.
    pub players: u16,
    /// `card` or `cards`: paths relative to the template.
    pub cards: Vec<String>,
    /// `track`: name of its track in the performed MIDI file; the id if not given.
    pub track: Option<String>,
    /// `port`: MIDI port of its track in the user's own session.
    pub port: Option<String>,
    /// `order` in the user's own session; chairs without it follow in the order of the file.
    pub order: Option<i64>,
    /// `seat = [x, y]`, metres from the conductor: x to the right, y upstage.
    pub seat: Option<SeatPlan>,
    /// `gain-db`.
    pub gain_db: f64,
    /// Where it stands in the file.
    pub span: Span,
}

/// Where a chair sits.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct SeatPlan {
    /// Metres to the conductor's right.
    pub x: f64,
    /// Metres upstage of the conductor.
    pub y: f64,
}

/// How it is mixed.
#[derive(Clone, Debug, PartialEq)]
pub struct MixPlan {
    /// `loudness`: target of the mix in LUFS, -18.
    pub loudness: f64,
    /// `true-peak`: ceiling in dBTP, -1.
    pub true_peak: f64,
    /// `hall-db`: level of the hall against the direct sound.
    pub hall_db: f64,
    /// `reverberation-s`: the hall's reverberation time, 2.0.
    pub reverberation: f64,
}

impl Default for MixPlan {
    fn default() -> Self {
        Self { loudness: -18.0, true_peak: -1.0, hall_db: 0.0, reverberation: 2.0 }
    }
}
