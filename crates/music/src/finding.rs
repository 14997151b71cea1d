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
    /// What to do, or an honest "no remedy found".
    pub remedy: String,
    /// The exact change to the plan that does it, where there is one.
    pub change: Option<Change>,
    /// Where the rule comes from.
    pub source: &'static str,
}

/// A change to the plan, after which the finding is gone.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Change {
    /// To be made in this order.
    pub edits: Vec<Edit>,
}

/// One step of a change to the plan.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Edit {
    /// The cell of a chair in a passage is to read so, in the shorthand.
    Cell {
        /// Name of the passage.
        passage: String,
        /// The chair.
        chair: String,
        /// The whole text of the cell.
        text: String,
    },
    /// A passage is split before a bar: the later half has the name and, so far, the same cells.
    Split {
        /// Name of the passage.
        passage: String,
        /// First bar of the later half.
        bar: i32,
        /// Name of the later half.
        name: String,
    },
    /// A value in `[kit.CHAIR]`: what the player brings.
    Kit {
        /// The chair.
        chair: String,
        /// The key, such as `drums`.
        key: String,
        /// The value as TOML, such as `[32, 29, 26, 23, 20]`.
        value: String,
    },
    /// The track of a line in `[lines]`.
    Line {
        /// The line.
        name: String,
        /// The track, by its name or its id.
        track: String,
    },
}

impl std::fmt::Display for Edit {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::Cell { passage, chair, text } => {
                write!(f, "in “{passage}”: {chair} = {}", quoted(text))
            }
            Self::Split { passage, bar, name } => {
                write!(f, "split “{passage}” before bar {bar}, the later half named “{name}”")
            }
            Self::Kit { chair, key, value } => write!(f, "[kit.{chair}] {key} = {value}"),
            Self::Line { name, track } => write!(f, "[lines] {name}: track = {}", quoted(track)),
        }
    }
}

impl std::fmt::Display for Change {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        let mut before = None;
        for (i, edit) in self.edits.iter().enumerate() {
            f.write_str(if i > 0 { "; " } else { "" })?;
            match edit {
                // The passage is said once for all its cells.
                Edit::Cell { passage, chair, text } if before == Some(passage) => {
                    write!(f, "{chair} = {}", quoted(text))?;
                }
                _ => write!(f, "{edit}")?,
            }
            before = match edit {
                Edit::Cell { passage, .. } => Some(passage),
                _ => None,
            };
        }
        Ok(())
    }
}

/// A text as it stands in a plan, so that it can be put there as it is shown: one with double quotes of its own stands in single
/// ones.
fn quoted(text: &str) -> String {
    let plain = !text.contains(|c: char| c.is_control());
    match (text.contains(['"', '\\']), text.contains('\'')) {
        (false, _) if plain => format!("\"{text}\""),
        (true, false) if plain => format!("'{text}'"),
        _ => {
            let mut out = String::from('"');
            for c in text.chars() {
                match c {
                    '"' | '\\' => out.extend(['\\', c]),
                    c if c.is_control() => out.push_str(&format!("\\u{:04X}", u32::from(c))),
                    c => out.push(c),
                }
            }
            out.push('"');
            out
        }
    }
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

#[cfg(test)]
mod tests {
    use super::*;

    fn cell(passage: &str, chair: &str, text: &str) -> Edit {
        Edit::Cell { passage: passage.into(), chair: chair.into(), text: text.into() }
    }

    #[test]
    fn a_change_is_shown_as_it_is_written() {
        let change = Change {
            edits: vec![
                cell("Fog", "altos", "pad.2, words \"oo\", p"),
                cell("Fog", "oboe", "tacet"),
                Edit::Split { passage: "Fog".into(), bar: 40, name: "Clear".into() },
                cell("Clear", "oboe", "melody"),
                Edit::Line { name: "melody".into(), track: "Lead".into() },
            ],
        };
        assert_eq!(
            change.to_string(),
            "in “Fog”: altos = 'pad.2, words \"oo\", p'; oboe = \"tacet\"; split “Fog” before bar 40, the later half named \
             “Clear”; in “Clear”: oboe = \"melody\"; [lines] melody: track = \"Lead\""
        );
        // Both kinds of quotes, and what no quotes hold.
        assert_eq!(quoted("words \"don't\""), "\"words \\\"don't\\\"\"");
        assert_eq!(quoted("a\tb\\"), "\"a\\u0009b\\\\\"");
    }
}
