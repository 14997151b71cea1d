//! A MIDI file in memory, as it is written.

/// A file of format 1.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct MidiFile {
    /// Ticks a quarter note, 1 to 32767.
    pub ticks_per_quarter: u16,
    /// Tracks; the first holds tempo, metre, keys and markers.
    pub tracks: Vec<MidiTrack>,
}

/// One track.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct MidiTrack {
    /// Its name.
    pub name: String,
    /// MIDI port name, if it has one.
    pub port: Option<String>,
    /// Events with their ticks from the start, in the order in which they are written: ticks never fall.
    pub events: Vec<(u64, MidiEvent)>,
}

/// One event. Channels are 0 to 15 here (1 to 16 in patch cards); data bytes 0 to 127.
#[derive(Clone, Debug, PartialEq)]
#[allow(missing_docs)] // fields are what the MIDI 1.0 specification calls them
pub enum MidiEvent {
    NoteOn {
        channel: u8,
        key: u8,
        velocity: u8,
    },
    NoteOff {
        channel: u8,
        key: u8,
        velocity: u8,
    },
    Controller {
        channel: u8,
        number: u8,
        value: u8,
    },
    Program {
        channel: u8,
        program: u8,
    },
    /// -8192 to 8191.
    Bend {
        channel: u8,
        value: i16,
    },
    /// Pressure of a channel.
    Pressure {
        channel: u8,
        value: u8,
    },
    /// Pressure of one key.
    KeyPressure {
        channel: u8,
        key: u8,
        value: u8,
    },
    /// A system exclusive message without its F0: it ends with F7.
    Exclusive(Vec<u8>),
    /// Microseconds a quarter.
    Tempo(u32),
    /// Beats a bar and the power of two of the unit.
    Metre {
        beats: u8,
        unit_power: u8,
    },
    Key {
        fifths: i8,
        minor: bool,
    },
    /// The SMPTE offset: hours with the rate's bits, minutes, seconds, frames, hundredths of a frame.
    FrameOffset([u8; 5]),
    Marker(String),
    Lyric(String),
    Text(String),
}
