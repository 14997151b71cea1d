//! What there is to see of an opened cell, as plain data: seconds, written pitches, words.

use super::clef::Clef;
use ripieno_music::{Role, Severity, Spelling};

/// One chair in one passage, opened. Times are seconds from bar 1; they may lie before it.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Opened {
    /// Who plays where, in words: the picture's name for those who do not see it.
    pub title: String,
    /// What is to be said below the picture.
    pub caption: String,
    /// What the line is, for its colour.
    pub role: Role,
    /// From the top; at least one.
    pub staves: Vec<Staff>,
    /// Sharps of the key signature at the start, flats below zero; -7 to 7.
    pub fifths: i8,
    /// The bars in order.
    pub bars: Vec<Bar>,
    /// Where the last bar ends, seconds.
    pub end: f64,
    /// Notes in order of onset.
    pub notes: Vec<Note>,
    /// Slurs.
    pub slurs: Vec<Slur>,
    /// Articulations, ornaments and directions in words, above the staff.
    pub marks: Vec<Words>,
    /// Calls of the patch in words, above the marks.
    pub calls: Vec<Words>,
    /// What is sung.
    pub lyrics: Vec<Words>,
    /// Dynamic marks.
    pub dynamics: Vec<Words>,
    /// Hairpins.
    pub hairpins: Vec<Hairpin>,
    /// Where a breath is taken, seconds.
    pub breaths: Vec<f64>,
    /// What the read-through says.
    pub findings: Vec<Flag>,
}

/// A staff.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Staff {
    /// Five lines.
    Five(Clef),
    /// One line for each instrument without pitch, from the top, with its name.
    Lines(Vec<String>),
}

impl Default for Staff {
    fn default() -> Self {
        Self::Five(Clef::default())
    }
}

/// A bar.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Bar {
    /// Where it begins, seconds.
    pub at: f64,
    /// Its number.
    pub number: i32,
    /// A metre that begins here: upper and lower number.
    pub metre: Option<(u16, u16)>,
    /// A key signature that begins here, other than the one before: its sharps, flats below zero.
    pub fifths: Option<i8>,
}

/// What sounds once: a note with what realises it.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Note {
    /// When it begins to sound, seconds.
    pub onset: f64,
    /// When it ends, seconds.
    pub end: f64,
    /// Index of the bar that it is written in.
    pub bar: usize,
    /// The beat at which it is written, from 1.
    pub beat: f64,
    /// Index of its staff.
    pub staff: usize,
    /// Where it stands.
    pub place: Placed,
    /// The head's form.
    pub head: Head,
    /// A grace note, or a small note of an ornament.
    pub small: bool,
    /// It dies away by itself, as a plucked string does.
    pub fades: bool,
    /// Its loudness over time: seconds and dB re the instrument's mf, in order.
    pub levels: Vec<(f64, f64)>,
    /// The strokes that realise it, where it is more than one; the first is the note itself.
    pub strokes: Vec<Stroke>,
    /// It slides on to this place.
    pub slides_to: Option<Spelling>,
    /// What is said of it alone, in words: its ornament, its tremolo.
    pub said: Option<String>,
}

/// Where a head stands on its staff.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Placed {
    /// A pitch, as it sounds.
    Pitch(Spelling),
    /// On this line of [`Staff::Lines`], from the top.
    Line(usize),
}

impl Default for Placed {
    fn default() -> Self {
        Self::Line(0)
    }
}

/// Forms of a head.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Head {
    /// An oval.
    #[default]
    Oval,
    /// A lozenge: harmonics.
    Lozenge,
    /// A cross: damped.
    Cross,
}

/// One note of a trill, roll, tremolo or glissando.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Stroke {
    /// Seconds.
    pub at: f64,
    /// Where it stands.
    pub place: Placed,
}

/// A slur.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Slur {
    /// Onset of its first note, seconds.
    pub from: f64,
    /// Onset of its last note, seconds.
    pub to: f64,
    /// Index of its staff.
    pub staff: usize,
    /// Below the notes: that of a lower voice.
    pub below: bool,
    /// It was begun before what is shown.
    pub from_before: bool,
    /// It goes on after what is shown.
    pub goes_on: bool,
}

/// Words at a time.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Words {
    /// Where they begin to hold, seconds.
    pub at: f64,
    /// The onset of the last note that they hold for, if that is not the first, seconds.
    pub to: Option<f64>,
    /// The words.
    pub text: String,
}

/// A hairpin.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Hairpin {
    /// Seconds.
    pub from: f64,
    /// Seconds.
    pub to: f64,
    /// Opening (louder) or closing.
    pub louder: bool,
    /// How many dB it leads over, for its opening; 0 if not known.
    pub span: f64,
    /// From or to nothing: the point carries a small ring.
    pub niente: bool,
}

/// A finding where it applies.
#[derive(Clone, Debug, PartialEq)]
pub struct Flag {
    /// Seconds.
    pub at: f64,
    /// The end of the last bar that it holds for, seconds.
    pub to: f64,
    /// How grave.
    pub severity: Severity,
    /// A few words.
    pub text: String,
    /// The whole, with its remedy.
    pub full: String,
}
