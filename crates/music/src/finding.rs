//! Results of checks.

/// One result of a check: where, what, why it matters, what to do.
#[derive(Clone, Debug, PartialEq)]
pub struct Finding {
    /// The rule's name, such as `patch-late`.
    pub rule: &'static str,
    /// How grave.
    pub severity: Severity,
    /// The chair.
    pub chair: String,
    /// Bar, from 1; a pick-up is 0.
    pub bar: i32,
    /// Beat, from 1.0.
    pub beat: f64,
    /// Last bar that it holds for.
    pub to_bar: i32,
    /// What is the matter, with the figures.
    pub message: String,
    /// What to do.
    pub remedy: String,
    /// Where the rule comes from.
    pub source: &'static str,
}

/// How grave a finding is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Severity {
    /// Worth knowing.
    Advice,
    /// Can be done, at a cost.
    Hard,
    /// Cannot be done as it stands.
    Impossible,
}

impl Severity {
    /// The word that files and pages use.
    pub fn word(self) -> &'static str {
        match self {
            Self::Advice => "advice",
            Self::Hard => "hard",
            Self::Impossible => "impossible",
        }
    }
}
