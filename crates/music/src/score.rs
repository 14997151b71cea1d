//! The music as it came.

use crate::{Direction, Note, Timeline, Transposition};
use ripieno_units::Beats;

/// A piece as the source has it, with repeats unfolded.
#[derive(Clone, Debug, PartialEq)]
pub struct Score {
    /// Title, where the source has one.
    pub title: Option<String>,
    /// Composer, where the source names one.
    pub composer: Option<String>,
    /// The time axis.
    pub timeline: Timeline,
    /// Parts of a MusicXML file, or tracks (by channel) of a MIDI file, in the source's order.
    pub tracks: Vec<Track>,
    /// Anything that was read by a rule and not by the letter.
    pub warnings: Vec<Warning>,
}

/// One part of a MusicXML file, or one track and channel of a MIDI file.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Track {
    /// The source's own id (`P1`), or `track-channel` numbers for MIDI; unique in the score.
    pub id: String,
    /// Name as printed.
    pub name: String,
    /// Short name as printed on later systems.
    pub abbreviation: Option<String>,
    /// Name of the score instrument and standard sound id (`wind.flutes.flute`), where the source gives them.
    pub instrument: Option<String>,
    /// General MIDI program from 0, where given.
    pub program: Option<u8>,
    /// MIDI channel, 1 to 16, where the source has channels.
    pub channel: Option<u8>,
    /// Plays on the percussion channel or an unpitched staff.
    pub percussion: bool,
    /// Transpositions in force from each place on. Empty: written as it sounds.
    pub transpositions: Vec<(Beats, Transposition)>,
    /// The music.
    pub content: Content,
}

/// Part of the notes that carry a syllable in a part that is sung: melismas have few.
pub const SUNG: f64 = 0.3;

/// What programs call a part that nobody has named, without its number.
const OF_NOTHING: [&str; 10] = [
    "musicxml part",
    "part",
    "staff",
    "track",
    "midi track",
    "instrument",
    "untitled",
    "unnamed",
    "no name",
    "stave",
];

impl Track {
    /// Its name, unless that is none or one that a program gives to what has none: `MusicXML Part`, `Staff 2`.
    pub fn own_name(&self) -> Option<&str> {
        let name = self.name.trim();
        let number = |c: char| c.is_ascii_digit() || matches!(c, ' ' | '-' | '_' | '#' | '.');
        let bare = name.trim_end_matches(number).to_lowercase();
        (!name.is_empty() && !OF_NOTHING.contains(&bare.as_str())).then_some(name)
    }

    /// Do enough of its notes have words under them ([`SUNG`])?
    pub fn is_sung(&self) -> bool {
        let notes = &self.content.notes;
        let with = notes.iter().filter(|n| n.is_sung()).count();
        with > 0 && with as f64 >= SUNG * notes.len() as f64
    }

    /// Lowest and highest sounding MIDI key. `None` without pitched notes.
    pub fn compass(&self) -> Option<(i16, i16)> {
        let keys = || self.content.notes.iter().filter_map(|n| n.pitch().map(|p| p.key));
        Some((keys().min()?, keys().max()?))
    }
}

/// Notes and what stands around them: shared by the source's tracks and by cast parts.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Content {
    /// Notes in order of onset, then voice, then pitch from low to high.
    pub notes: Vec<Note>,
    /// Directions in order of place.
    pub directions: Vec<Direction>,
    /// The source's own controller curves.
    pub controls: Vec<Control>,
}

impl Content {
    /// Puts notes, directions and controls in their order.
    pub fn sort(&mut self) {
        let pitch = |n: &Note| n.pitch().map_or(0, |p| i32::from(p.key) * 100 + i32::from(p.cents));
        self.notes
            .sort_by(|a, b| (a.at, a.voice).cmp(&(b.at, b.voice)).then_with(|| pitch(a).cmp(&pitch(b))));
        self.directions.sort_by_key(|d| d.at);
        self.controls.sort_by_key(|c| c.at);
    }
}

/// One event of a source's controller curve.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Control {
    /// Where.
    pub at: Beats,
    /// Which.
    pub kind: ControlKind,
    /// Its value: 0 to 127; for bend -8192 to 8191.
    pub value: i16,
}

/// Kinds of control event.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum ControlKind {
    /// A controller by number, 0 to 127.
    Controller(u8),
    /// Pitch bend.
    Bend,
    /// Program change.
    Program,
    /// Channel pressure.
    Pressure,
}

/// Something about the source that the composer should know.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Warning {
    /// Where: a track and bar, or a line of the file, in words.
    pub place: String,
    /// What was found and what was done.
    pub message: String,
}

impl std::fmt::Display for Warning {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "{}: {}", self.place, self.message)
    }
}
