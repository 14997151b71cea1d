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

    /// What a line is by its name in the plan, if that says it: one of the words of line-words.tsv, perhaps with a number or a
    /// voice after it (`melody`, `Counter 2`, `pad.top`).
    pub fn of_line(name: &str) -> Option<Self> {
        let whole =
            name.split('.').next()?.trim_end_matches(|c: char| c.is_ascii_digit() || " -_".contains(c));
        let word = whole.to_lowercase().replace(['-', '_', ' '], "");
        let (_, role, _) = line_words().find(|(w, ..)| *w == word)?;
        let all = [Self::Tune, Self::Counter, Self::Bass, Self::Held, Self::Figure];
        all.into_iter().find(|r| r.word() == role)
    }
}

/// Does this name of a track say what is played, as in a sketch, and not who plays it? A bass line is no bass.
pub fn names_a_line(name: &str) -> bool {
    let name = name.to_lowercase();
    let says = |word: &str| line_words().any(|(w, _, track)| track && w == word);
    name.split(|c: char| !c.is_alphanumeric()).any(says)
}

static LINE_WORDS: &str = include_str!("../data/line-words.tsv");

/// Word, role in words, and whether it names tracks.
fn line_words() -> impl Iterator<Item = (&'static str, &'static str, bool)> {
    LINE_WORDS.lines().filter(|l| !l.starts_with('#')).filter_map(|line| {
        let mut columns = line.split('\t');
        Some((columns.next()?, columns.next()?, columns.next()? == "yes"))
    })
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
    /// The track has one voice of the leader's chords, or a note here and there of its quicker figure: they coincide, as harmony
    /// does, more than that one doubles the other.
    pub coincides: bool,
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

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_name_that_says_it_is_believed() {
        assert_eq!(Role::of_line("melody"), Some(Role::Tune));
        assert_eq!(Role::of_line("Counter 2"), Some(Role::Counter));
        assert_eq!(Role::of_line("pad.top"), Some(Role::Held));
        // A chair's own track says nothing of its line.
        assert_eq!(["basses", "bass-drum", "bass clarinet", ""].map(Role::of_line), [None; 4]);
        assert_eq!(Role::of_line("counter-melody"), Some(Role::Counter));
        assert!(names_a_line("Melody (sketch)") && !names_a_line("Bass") && !names_a_line("Violin 1"));
    }
}
