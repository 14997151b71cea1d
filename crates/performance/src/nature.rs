//! What kind of instrument plays: how it starts, holds and connects its notes.

use ripieno_instruments::{Family, Instrument};

/// Kinds of instrument as a performance tells them apart.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Nature {
    /// Bowed strings.
    Bowed,
    /// Woodwind.
    Wind,
    /// Brass.
    Brass,
    /// Voices.
    Sung,
    /// Harp, guitar, dulcimer.
    Plucked,
    /// Piano, celesta, organ.
    Keyboard,
    /// Bars, bells, plates with pitch.
    Struck,
    /// Timpani.
    Drum,
    /// Without pitch.
    Unpitched,
}

impl Nature {
    /// Of an instrument.
    pub fn of(instrument: &Instrument) -> Self {
        if instrument.unpitched {
            return Self::Unpitched;
        }
        match instrument.family {
            Family::Woodwind => Self::Wind,
            Family::Brass => Self::Brass,
            Family::Voices => Self::Sung,
            Family::Keyboard => Self::Keyboard,
            Family::Plucked => Self::Plucked,
            Family::Strings => Self::Bowed,
            Family::Percussion if instrument.id == "timpani" => Self::Drum,
            Family::Percussion => Self::Struck,
        }
    }

    /// Can a note be held and shaped after its start?
    pub fn sustains(self) -> bool {
        matches!(self, Self::Bowed | Self::Wind | Self::Brass | Self::Sung)
    }

    /// Played with sticks: held notes are rolled.
    pub fn is_struck(self) -> bool {
        matches!(self, Self::Struck | Self::Drum | Self::Unpitched)
    }

    /// Is a `tr` on it a roll on one pitch?
    pub fn rolls_trills(self) -> bool {
        matches!(self, Self::Drum | Self::Unpitched)
    }

    /// Needs breath.
    pub fn breathes(self) -> bool {
        matches!(self, Self::Wind | Self::Brass | Self::Sung)
    }

    /// Tuned before the concert, so that players cannot bend their notes to each other.
    pub fn fixed_pitch(self) -> bool {
        matches!(self, Self::Keyboard | Self::Struck | Self::Plucked | Self::Drum | Self::Unpitched)
    }

    /// How long the pitch takes to change in a connected pair, in seconds: winds 10 to 30 ms; strings glide only where the
    /// hand shifts; voices slowest, 40 to 80 ms.
    pub fn glide(self, interval: i16) -> f64 {
        let wide = f64::from(interval.unsigned_abs().min(12));
        match self {
            Self::Wind => 0.010 + 0.020 * wide / 12.0,
            Self::Brass => 0.015 + 0.015 * wide / 12.0,
            Self::Bowed if interval.unsigned_abs() > 5 => 0.060,
            Self::Bowed => 0.015,
            Self::Sung => 0.040 + 0.040 * wide / 12.0,
            _ => 0.0,
        }
    }
}
