//! The rules by name: what each is about and where it comes from.

/// What a rule is about, which decides whether it matters without living players.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Concern {
    /// What is heard.
    Balance,
    /// What the instrument has at all: also true of samples of it.
    Notes,
    /// What bodies, hands and lungs can do: folds away for samples.
    Living,
}

/// One rule.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Rule {
    /// Its name.
    pub name: &'static str,
    /// What it is about.
    pub concern: Concern,
    /// What it asks, in a phrase for the reference.
    pub asks: &'static str,
    /// Where it comes from.
    pub source: &'static str,
}

/// All of them, by group.
pub fn all() -> impl Iterator<Item = &'static Rule> {
    use crate::solve;
    [
        crate::playable::RULES,
        solve::stops::RULES,
        solve::mallets::RULES,
        solve::hands::RULES,
        solve::lacking::RULES,
        crate::heard::RULES,
    ]
    .into_iter()
    .flatten()
}

/// A rule by its name.
pub fn by_name(name: &str) -> Option<&'static Rule> {
    all().find(|r| r.name == name)
}

/// The source of a rule; empty for a name that is none.
pub fn source(name: &str) -> &'static str {
    by_name(name).map_or("", |r| r.source)
}
