//! `cue.toml`: the casting plan.

use crate::{CellWords, DeliverPlan, MetrePlan, PicturePlan, SourcePlan, Span, TempoPlan};

/// A casting plan.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Plan {
    /// `[cue] title`.
    pub title: String,
    /// `[cue] music`: the music file, relative to the plan.
    pub music: String,
    /// `[cue] template`, relative to the plan.
    pub template: String,
    /// `[cue] date`, as written (`2026-11-25`): the only date that outputs carry.
    pub date: Option<String>,
    /// `[cue] for`: who is to play it.
    pub purpose: Purpose,
    /// `[score]`: how score and parts are printed.
    pub score: ScorePlan,
    /// `[cue] seed` and `[performance]`.
    pub settings: Settings,
    /// `[source]`: how the music is to be read.
    pub source: SourcePlan,
    /// `[lines]`.
    pub lines: Vec<LineDef>,
    /// `[[passage]]`, in the order of their bars.
    pub passages: Vec<PassagePlan>,
    /// `[accept]`: findings that are silenced on purpose.
    pub accepted: Vec<Accepted>,
    /// `[kit.CHAIR]`: what players bring.
    pub kits: Vec<Kit>,
    /// `[deliver]`: what is delivered.
    pub deliver: DeliverPlan,
    /// `[picture]`.
    pub picture: Option<PicturePlan>,
    /// `[[tempo]]`, in order.
    pub tempi: Vec<TempoPlan>,
    /// `[[metre]]`.
    pub metres: Vec<MetrePlan>,
}

/// `[cue] for`: who is to play it, which decides what matters in the read-through.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Purpose {
    /// `"samples"`: the composer's own patches. Breath, stamina, pages and pedals fold away.
    #[default]
    Samples,
    /// `"session"`: living players.
    Session,
}

impl Purpose {
    /// The words that say it.
    pub const WORDS: [&str; 2] = ["samples", "session"];

    /// What a word says, if it is one of [`Purpose::WORDS`].
    pub fn of_word(word: &str) -> Option<Self> {
        match word {
            "samples" => Some(Self::Samples),
            "session" => Some(Self::Session),
            _ => None,
        }
    }
}

/// `[score]`: how score and parts are printed.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct ScorePlan {
    /// `pitch = "transposed"`: the score as the players read it; `"concert"` (the default) as it sounds.
    pub transposed: bool,
    /// `composer`: as printed; the source's if not given.
    pub composer: Option<String>,
}

/// `"RULE@CHAIR:BAR" = "reason"`: a finding silenced on purpose. Without `:BAR` everywhere; without `@CHAIR` for everyone.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Accepted {
    /// The rule.
    pub rule: String,
    /// The chair.
    pub chair: Option<String>,
    /// The bar in which the finding begins.
    pub bar: Option<i32>,
    /// Why.
    pub reason: String,
    /// Where it stands in the file.
    pub span: Span,
}

impl Accepted {
    /// Does it silence a finding of this rule, chair and bar?
    pub fn covers(&self, rule: &str, chair: &str, bar: i32) -> bool {
        self.rule == rule
            && self.chair.as_deref().is_none_or(|c| c == chair)
            && self.bar.is_none_or(|b| b == bar)
    }
}

/// `[kit.CHAIR]`: what a player brings or how they read; what is not said is as usual.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Kit {
    /// The chair.
    pub chair: String,
    /// `drums = [32, 29, 26, 23]`: timpani by their diameters in inches, 20 to 32.
    pub drums: Option<Vec<u16>>,
    /// `key = "G"`: the key of a whistle or another instrument that is built in many.
    pub key: Option<String>,
    /// `spelling = "free"`: a harp may respell what is written; `"written"` holds it to the letter.
    pub free_spelling: Option<bool>,
    /// `mallets = 4`: two or four.
    pub mallets: Option<u8>,
    /// Where it stands in the file.
    pub span: Span,
}

/// How the music is to be performed.
#[derive(Clone, Debug, PartialEq)]
pub struct Settings {
    /// Seed of every random choice.
    pub seed: u64,
    /// `tempo-expression`: phrase arch and final ritard, 0 (off, the default: music to picture) to 1 and beyond.
    pub tempo_expression: f64,
    /// `asynchrony`: ensemble onsets, 0 (all together) to 1 (as measured of orchestras; the default).
    pub asynchrony: f64,
    /// `intonation`: ensemble tuning, 0 to 1 (the default).
    pub intonation: f64,
    /// `a`: pitch of A4 in hertz, 440.
    pub a: f64,
    /// `keep`: what of the source's own performance is kept.
    pub keep: Keep,
}

impl Default for Settings {
    fn default() -> Self {
        Self {
            seed: 1,
            tempo_expression: 0.0,
            asynchrony: 1.0,
            intonation: 1.0,
            a: 440.0,
            keep: Keep::default(),
        }
    }
}

/// What is kept of a source that is already played: `keep = ["curves", "timing", "velocity"]`.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Keep {
    /// Its controller curves.
    pub curves: bool,
    /// Its onsets and lengths as they are, without asynchrony or articulated lengths.
    pub timing: bool,
    /// Its velocities as dynamics.
    pub velocity: bool,
}

/// `name = { track = "Pad", voices = 3 }`.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct LineDef {
    /// Its name.
    pub name: String,
    /// The track of the source, by name (or by id where names repeat).
    pub track: String,
    /// Only this voice of the track.
    pub voice: Option<u16>,
    /// Only this staff of the track.
    pub staff: Option<u8>,
    /// Number of voices that its chords are shared out to.
    pub voices: Option<u8>,
    /// Only strokes on these unpitched instruments.
    pub strokes: Vec<String>,
    /// Where it stands in the file.
    pub span: Span,
}

/// `[[passage]]`.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct PassagePlan {
    /// Its name.
    pub name: String,
    /// First bar.
    pub from_bar: i32,
    /// Last bar, inclusive.
    pub to_bar: i32,
    /// Its cells, in the file's order.
    pub cells: Vec<PlacedCell>,
    /// Other castings that are kept beside it.
    pub others: Vec<OtherCasting>,
    /// Where it stands in the file.
    pub span: Span,
}

/// `[[passage.other]]`: another casting of the passage, kept to be heard against the one in force. It is not cast.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct OtherCasting {
    /// Its name.
    pub name: String,
    /// Chairs with the text of their cells, in the file's order.
    pub cells: Vec<(String, String)>,
}

/// A cell with its chair and its text.
#[derive(Clone, Debug, PartialEq)]
pub struct PlacedCell {
    /// The chair.
    pub chair: String,
    /// The text as written.
    pub text: String,
    /// What it says.
    pub words: CellWords,
    /// Where its text stands in the file.
    pub span: Span,
}
