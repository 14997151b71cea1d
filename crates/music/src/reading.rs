//! What was found in a score by reading it. Tracks are named by their index in [`crate::Score::tracks`], bars by their number
//! in the unfolded piece.

use ripieno_units::Beats;

/// Passages, what each track does in them, who doubles whom, where the tune is.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Reading {
    /// In order, without gaps or overlaps, from the first bar to the last.
    pub passages: Vec<PassageFound>,
    /// Who plays with whom.
    pub doublings: Vec<Doubling>,
    /// Who has the tune, from place to place; in order, without overlaps. One at any time that has music.
    pub tune: Vec<TuneSpan>,
}

/// A stretch of bars that hangs together.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct PassageFound {
    /// `A`, `B`, `A'` by likeness, or the source's own mark.
    pub name: String,
    /// First bar.
    pub from_bar: i32,
    /// Last bar, inclusive.
    pub to_bar: i32,
    /// Why it begins here, in words: "double bar", "the winds enter", "thinner".
    pub because: Vec<String>,
    /// One for each track of the score, in its order.
    pub roles: Vec<RoleFound>,
}

/// What one track does in one passage.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct RoleFound {
    /// What it does for the most part.
    pub role: Role,
    /// Its place in the chord, where the tracks with [`Role::Held`] or [`Role::Figure`] make up chords together.
    pub chord: Option<ChordVoice>,
}

/// What a line does.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Role {
    /// The melody, alone or doubling it.
    Tune,
    /// A second melody beside the tune.
    Counter,
    /// The lowest line, that carries the harmony.
    Bass,
    /// Notes of a chord, held or moving with the harmony.
    Held,
    /// An arpeggio, an ostinato, a rhythm that goes on.
    Figure,
    /// Single strokes and chords between rests.
    Punctuation,
    /// Nothing.
    #[default]
    Silence,
}

impl Role {
    /// The word that files and pages use.
    pub fn word(self) -> &'static str {
        match self {
            Self::Tune => "tune",
            Self::Counter => "counter-melody",
            Self::Bass => "bass",
            Self::Held => "held chord",
            Self::Figure => "figure",
            Self::Punctuation => "punctuation",
            Self::Silence => "silence",
        }
    }
}

/// Which voice of a chord a track has, for the most part: `voice` of `of`, 1 the highest.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct ChordVoice {
    /// From 1, from the top.
    pub voice: u8,
    /// How many voices the chord has.
    pub of: u8,
}

/// One track plays with another, over a stretch of bars.
#[derive(Clone, Debug, PartialEq)]
pub struct Doubling {
    /// The track that plays with the other.
    pub track: usize,
    /// The leader: the other track. Of several that move together, all name the same leader.
    pub of: usize,
    /// Sounding distance from the leader to the track: 0, 12, -12, 24 ...
    pub semitones: i16,
    /// First bar.
    pub from_bar: i32,
    /// Last bar, inclusive.
    pub to_bar: i32,
    /// Part of the track's notes in those bars that the leader also has at that distance, 0 to 1.
    pub share: f64,
    /// The same notes with the same lengths and marks: a `col` gives them back exactly.
    pub exact: bool,
    /// What is left out, where it is simplified: "without ornaments", "sustained", "in a slower rhythm".
    pub simplified: Option<String>,
}

/// Who has the tune over a stretch.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct TuneSpan {
    /// From here.
    pub from: Beats,
    /// To here.
    pub to: Beats,
    /// The track that has it; others may double it.
    pub track: usize,
}
