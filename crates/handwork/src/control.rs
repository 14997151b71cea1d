//! Everything in a track that is no note, as one kind of thing: who is told, and what.

use ripieno_formats::midi::MidiEvent;

/// What is told, apart from its value.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Control {
    /// A controller by number.
    Controller(u8),
    /// Pitch bend.
    Bend,
    /// Program change.
    Program,
    /// Pressure of the channel.
    Pressure,
    /// Pressure of a key.
    KeyPressure(u8),
    /// System exclusive.
    Exclusive,
}

impl Control {
    /// Channel (0 to 15), control and value (as bytes) of an event; none for notes and texts.
    pub fn of(event: &MidiEvent) -> Option<(u8, Self, Vec<u8>)> {
        Some(match event {
            MidiEvent::Controller { channel, number, value } => {
                (*channel, Self::Controller(*number), vec![*value])
            }
            MidiEvent::Bend { channel, value } => (*channel, Self::Bend, value.to_be_bytes().to_vec()),
            MidiEvent::Program { channel, program } => (*channel, Self::Program, vec![*program]),
            MidiEvent::Pressure { channel, value } => (*channel, Self::Pressure, vec![*value]),
            MidiEvent::KeyPressure { channel, key, value } => {
                (*channel, Self::KeyPressure(*key), vec![*value])
            }
            MidiEvent::Exclusive(bytes) => (0, Self::Exclusive, bytes.clone()),
            _ => return None,
        })
    }

    /// The event.
    pub fn event(self, channel: u8, value: &[u8]) -> MidiEvent {
        let first = value.first().copied().unwrap_or(0);
        match self {
            Self::Controller(number) => MidiEvent::Controller { channel, number, value: first },
            Self::Bend => {
                let second = value.get(1).copied().unwrap_or(0);
                MidiEvent::Bend { channel, value: i16::from_be_bytes([first, second]).clamp(-8192, 8191) }
            }
            Self::Program => MidiEvent::Program { channel, program: first },
            Self::Pressure => MidiEvent::Pressure { channel, value: first },
            Self::KeyPressure(key) => MidiEvent::KeyPressure { channel, key, value: first },
            Self::Exclusive => MidiEvent::Exclusive(value.to_vec()),
        }
    }

    /// Holds until it is told anew: a curve has a value between its events.
    pub fn holds(self) -> bool {
        self != Self::Exclusive
    }

    /// A value as it is written: a number, or bytes in hexadecimal for what is exclusive.
    pub fn value_text(self, value: &[u8]) -> String {
        match self {
            Self::Exclusive => value.iter().map(|b| format!("{b:02x}")).collect(),
            Self::Bend => {
                let second = value.get(1).copied().unwrap_or(0);
                i16::from_be_bytes([value.first().copied().unwrap_or(0), second]).to_string()
            }
            _ => value.first().copied().unwrap_or(0).to_string(),
        }
    }

    /// The inverse of [`Self::value_text`].
    pub fn value_of(self, text: &str) -> Option<Vec<u8>> {
        match self {
            Self::Exclusive => {
                let nibbles: Option<Vec<u32>> = text.chars().map(|c| c.to_digit(16)).collect();
                let nibbles = nibbles.filter(|n| n.len() % 2 == 0)?;
                Some(nibbles.chunks(2).map(|p| (p[0] << 4 | p[1]) as u8).collect())
            }
            Self::Bend => {
                let value: i16 = text.parse().ok()?;
                (-8192..=8191).contains(&value).then(|| value.to_be_bytes().to_vec())
            }
            _ => text.parse::<u8>().ok().filter(|v| *v < 128).map(|v| vec![v]),
        }
    }

    /// Its name in pencil.toml.
    pub fn word(self) -> String {
        match self {
            Self::Controller(n) => format!("controller {n}"),
            Self::Bend => "bend".into(),
            Self::Program => "program".into(),
            Self::Pressure => "pressure".into(),
            Self::KeyPressure(k) => format!("pressure {k}"),
            Self::Exclusive => "exclusive".into(),
        }
    }

    /// From its name.
    pub fn parse(word: &str) -> Option<Self> {
        let number = |rest: &str| rest.trim().parse::<u8>().ok().filter(|n| *n < 128);
        Some(match word.trim() {
            "bend" => Self::Bend,
            "program" => Self::Program,
            "pressure" => Self::Pressure,
            "exclusive" => Self::Exclusive,
            other => match other.split_once(' ')? {
                ("controller", n) => Self::Controller(number(n)?),
                ("pressure", n) => Self::KeyPressure(number(n)?),
                _ => return None,
            },
        })
    }
}
