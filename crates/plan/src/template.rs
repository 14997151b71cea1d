//! `template.toml`: the composer's standing set-up.

use crate::{DeliverPlan, Placing, Span, StagePlan};

/// A template.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Template {
    /// `[chair.ID]`, in score order (`order`, else the order of the file).
    pub chairs: Vec<ChairPlan>,
    /// `[stage]`, `[hall.NAME]` and `[family.NAME]`.
    pub stage: StagePlan,
    /// `[mix]`.
    pub mix: MixPlan,
    /// `[deliver]`: what every cue delivers that does not say otherwise.
    pub deliver: DeliverPlan,
}

/// One chair.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct ChairPlan {
    /// Its id: a-z, 0-9, `-`.
    pub id: String,
    /// `name`: as printed; the instrument's name if not given.
    pub name: Option<String>,
    /// `instrument`: an id of the instrument table; a piano for an outside chair that names none.
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
    /// `seat = [x, y]` or `[x, y, width]`, metres from the conductor: x to the right, y upstage.
    pub seat: Option<SeatPlan>,
    /// Where its sound goes.
    pub placing: Placing,
    /// Where its sound comes from.
    pub origin: Origin,
    /// `outside`: passed through and mixed, not checked.
    pub outside: bool,
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
    /// Metres from its leftmost to its rightmost player; by instrument if not given.
    pub width: Option<f64>,
}

/// Where the sound of a chair comes from.
#[derive(Clone, Debug, Default, PartialEq)]
pub enum Origin {
    /// The house orchestra.
    #[default]
    House,
    /// `print`: the user's own recording of the performed MIDI.
    Print {
        /// Relative to the cue, or else to the template.
        path: String,
        /// `print-align`: moved to where the performance has it.
        align: bool,
        /// Where the path stands in the file.
        span: Span,
    },
    /// `font`: presets of a SoundFont 2 file.
    Font(FontPlan),
}

/// `font = { file = "x.sf2", preset = [bank, program] }`.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct FontPlan {
    /// Relative to the template.
    pub file: String,
    /// Bank and program.
    pub preset: (u16, u8),
    /// Other presets by articulation.
    pub presets: Vec<(String, (u16, u8))>,
    /// Semitones by which the font is to be played higher.
    pub transpose: i32,
    /// Cents by which it is to be tuned higher.
    pub cents: f64,
    /// Where it stands in the file.
    pub span: Span,
}

/// How it is mixed.
#[derive(Clone, Debug, PartialEq)]
pub struct MixPlan {
    /// `gain-db`: the one gain of the mix and of all stems.
    pub gain_db: f64,
    /// `loudness`: target of the listening copy in LUFS, -18.
    pub loudness: f64,
    /// `true-peak`: ceiling of the listening copy in dBTP, -1.
    pub true_peak: f64,
    /// `hall-db`: level of the halls against the direct sound.
    pub hall_db: f64,
    /// `rate`: samples a second, 48,000.
    pub rate: u32,
    /// `bits`: of a sample.
    pub bits: Bits,
    /// `cache-mb`: what stems of earlier renders may take on the disk, 4,000.
    pub cache_mb: u64,
}

/// How samples are stored.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Bits {
    /// 16-bit integers.
    Sixteen,
    /// 24-bit integers.
    #[default]
    TwentyFour,
    /// 32-bit floats.
    ThirtyTwo,
}

/// Sample rates that a render may have.
pub const RATES: [u32; 4] = [44_100, 48_000, 88_200, 96_000];

impl Default for MixPlan {
    fn default() -> Self {
        Self {
            gain_db: 0.0,
            loudness: -18.0,
            true_peak: -1.0,
            hall_db: 0.0,
            rate: 48_000,
            bits: Bits::default(),
            cache_mb: 4000,
        }
    }
}
