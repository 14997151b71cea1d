//! A pencil mark.

use crate::{Anchor, Control};
use ripieno_units::Beats;

/// One change by hand.
#[derive(Clone, Debug, PartialEq)]
pub struct Mark {
    /// Its number; never given twice in one file.
    pub id: u32,
    /// The chair.
    pub chair: String,
    /// Which of its cards, from 1.
    pub card: u32,
    /// The note's place, or where the stretch begins.
    pub anchor: Anchor,
    /// What was changed.
    pub what: What,
}

/// An event of a curve: quarter notes from the stretch's start, and its value as bytes.
pub type Point = (Beats, Vec<u8>);

/// What was changed.
#[derive(Clone, Debug, PartialEq)]
pub enum What {
    /// A note is sent otherwise.
    Note {
        /// The computed key.
        key: u8,
        /// Which of the notes of that key at that place.
        ordinal: u32,
        /// Later by so much; earlier below zero.
        start: Beats,
        /// Ends later by so much.
        end: Beats,
        /// Another key.
        to_key: Option<u8>,
        /// Another velocity.
        velocity: Option<u8>,
        /// Another channel, 0 to 15.
        channel: Option<u8>,
    },
    /// A note is not sent.
    Silent {
        /// The computed key.
        key: u8,
        /// Which of the notes of that key at that place.
        ordinal: u32,
    },
    /// A note that is not in the music.
    Added {
        /// Its key.
        key: u8,
        /// Its length.
        length: Beats,
        /// Its velocity.
        velocity: u8,
        /// Its channel, 0 to 15.
        channel: u8,
        /// The articulation it was called with, where that is known.
        articulation: Option<String>,
    },
    /// A note is played with another articulation.
    Played {
        /// The computed key.
        key: u8,
        /// Which of the notes of that key at that place.
        ordinal: u32,
        /// Name, and colour after a space, as in the card.
        articulation: String,
    },
    /// A stretch of a curve is drawn anew.
    Curve {
        /// Which.
        control: Control,
        /// On which channel, 0 to 15.
        channel: u8,
        /// Its length; none: to the end.
        length: Option<Beats>,
        /// What is told in it.
        points: Vec<Point>,
    },
}

impl What {
    /// The note that it is about, where it is about one of the music.
    pub fn note(&self) -> Option<(u8, u32)> {
        match self {
            Self::Note { key, ordinal, .. }
            | Self::Silent { key, ordinal }
            | Self::Played { key, ordinal, .. } => Some((*key, *ordinal)),
            Self::Added { .. } | Self::Curve { .. } => None,
        }
    }
}
