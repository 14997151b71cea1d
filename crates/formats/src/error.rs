//! Why a file could not be read.

/// A file that cannot be read at all. What can be read with a doubt is read, with a warning.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum FormatError {
    /// Not a file of any kind that is known.
    #[error("this is neither a MIDI file nor MusicXML: {found}. Export the music as .mid, .musicxml or .mxl")]
    Unknown {
        /// What it begins with.
        found: String,
    },
    /// Not a MIDI file, where only that is wanted.
    #[error("this is no MIDI file: {found}. Export it as a MIDI file (.mid)")]
    NotMidi {
        /// What it is instead.
        found: String,
    },
    /// Damaged or cut off.
    #[error("{format} damaged at {place}: {message}")]
    Damaged {
        /// The file format.
        format: &'static str,
        /// Byte or line, in words.
        place: String,
        /// What is wrong and what to do.
        message: String,
    },
    /// Larger than any music, unfolded or unpacked.
    #[error("{what} would be {found}, more than the limit of {limit}. {remedy}")]
    TooLarge {
        /// What.
        what: &'static str,
        /// How much.
        found: u64,
        /// The most that is read.
        limit: u64,
        /// What to do.
        remedy: &'static str,
    },
}
