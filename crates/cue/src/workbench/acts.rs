//! What a composer does to a cue on the page, as changes of its two texts.

use crate::CueError;
use ripieno_music::{Edit, Finding};
use ripieno_plan::edit::{self, NewValue};
use ripieno_plan::{Diagnostic, PassagePlan, Plan};

/// One thing that is done to a cue.
#[derive(Clone, Debug, PartialEq)]
pub enum Act {
    /// A cell is to read so; empty takes the chair out of the passage.
    Cell {
        /// Name of the passage.
        passage: String,
        /// The chair.
        chair: String,
        /// The shorthand.
        text: String,
        /// What it said when it was opened: if it says something else by now, the act is refused.
        was: Option<String>,
    },
    /// A passage gets another name.
    Rename {
        /// The passage.
        passage: String,
        /// Its new name.
        name: String,
    },
    /// A passage is split before a bar.
    Split {
        /// The passage.
        passage: String,
        /// First bar of the later half.
        bar: i32,
        /// Name of the later half.
        name: String,
    },
    /// A passage is joined with the one after it.
    Join {
        /// The passage.
        passage: String,
    },
    /// The casting of a passage is kept beside it, as it is now.
    Keep {
        /// The passage.
        passage: String,
        /// Name of the casting that is kept.
        name: String,
    },
    /// The casting of a passage is exchanged with one that is kept.
    Swap {
        /// The passage.
        passage: String,
        /// Name of the other casting.
        name: String,
    },
    /// A casting that is kept is dropped.
    Drop {
        /// The passage.
        passage: String,
        /// Name of the other casting.
        name: String,
    },
    /// A value of the plan.
    Plan {
        /// Table and key.
        path: Vec<String>,
        /// The value.
        value: NewValue,
    },
    /// A value of the template.
    Template {
        /// Table and key.
        path: Vec<String>,
        /// The value.
        value: NewValue,
    },
    /// A value of the template is taken out: the chair sits where the seating has it, or is sent where its family is.
    Usual {
        /// Table and key.
        path: Vec<String>,
    },
    /// A chair is added to the template.
    AddChair {
        /// Its id.
        id: String,
        /// Its instrument.
        instrument: String,
        /// How many play.
        players: u16,
        /// Its printed name.
        name: Option<String>,
        /// The chair it is to stand before; at the end if none.
        before: Option<String>,
    },
    /// A chair is taken out of the template, with its cells.
    RemoveChair {
        /// The chair.
        id: String,
    },
    /// A chair is moved in the score.
    MoveChair {
        /// The chair.
        id: String,
        /// The chair it is to stand before; at the end if none.
        before: Option<String>,
    },
    /// The change that a finding carries is made.
    Take {
        /// The finding.
        finding: Box<Finding>,
    },
    /// A proposal of tempo to picture is taken.
    Fit {
        /// The proposal.
        proposal: Box<crate::Proposal>,
    },
    /// A finding is silenced on purpose.
    Accept {
        /// `RULE@CHAIR:BAR`.
        finding: String,
        /// Why.
        reason: String,
    },
}

impl Act {
    /// What was done, in words, for undo.
    pub fn label(&self) -> String {
        match self {
            Self::Cell { passage, chair, text, .. } if text.trim().is_empty() => {
                format!("{chair} silent in {passage}")
            }
            Self::Cell { passage, chair, text, .. } => format!("{chair} in {passage}: {text}"),
            Self::Rename { passage, name } => format!("{passage} renamed {name}"),
            Self::Split { passage, bar, .. } => format!("{passage} split before bar {bar}"),
            Self::Join { passage } => format!("{passage} joined with the next"),
            Self::Keep { passage, name } => format!("casting of {passage} kept as {name}"),
            Self::Swap { passage, name } => format!("{passage} as in {name}"),
            Self::Drop { passage, name } => format!("casting {name} of {passage} dropped"),
            Self::Plan { path, .. } | Self::Template { path, .. } => path.join(", "),
            Self::Usual { path } => format!("{}, as usual", path.join(", ")),
            Self::AddChair { id, .. } => format!("{id} added"),
            Self::RemoveChair { id } => format!("{id} removed"),
            Self::MoveChair { id, .. } => format!("{id} moved"),
            Self::Take { finding } => {
                format!("remedy for {}, {}, bar {}", finding.rule, finding.chair, finding.bar)
            }
            Self::Fit { proposal } => format!("tempo to picture: {}", proposal.kind),
            Self::Accept { finding, .. } => format!("{finding} accepted"),
        }
    }

    /// The plan with it done.
    pub fn on_plan(&self, text: &str) -> Result<String, CueError> {
        let made = match self {
            Self::Cell { passage, chair, text: cell, was } => {
                still(text, passage, chair, was.as_deref())?;
                if cell.trim().is_empty() && cell_of(text, passage, chair).is_none() {
                    return Ok(text.to_string());
                }
                edit::set_cell(text, passage.as_str(), chair, cell)
            }
            Self::Rename { passage, name } => {
                let name = name.trim();
                let taken = passages(text).iter().any(|p| p.name == name && p.name != *passage);
                if name.is_empty() || taken {
                    return Err(CueError::Refused(match taken {
                        true => format!("there is a passage \"{name}\" already: choose another name"),
                        false => "a passage needs a name".into(),
                    }));
                }
                edit::rename_passage(text, passage.as_str(), name)
            }
            Self::Split { passage, bar, name } => {
                edit::split_passage(text, passage.as_str(), i64::from(*bar), name)
            }
            Self::Join { passage } => edit::join_passages(text, passage.as_str()),
            Self::Keep { passage, name } => edit::keep_other(text, passage, name),
            Self::Swap { passage, name } => edit::swap_other(text, passage, name),
            Self::Drop { passage, name } => edit::drop_other(text, passage, name),
            Self::Plan { path, value } => set(text, path, value),
            Self::RemoveChair { id } => {
                let mut text = text.to_string();
                for passage in passages(&text) {
                    if passage.cells.iter().any(|c| c.chair == *id) {
                        text = edit::remove_cell(&text, passage.name.as_str(), id).map_err(refused)?;
                    }
                }
                Ok(text)
            }
            Self::Take { finding } => return take(text, finding),
            Self::Fit { proposal } => return crate::fit::written(text, proposal),
            Self::Accept { finding, reason } => {
                edit::set_value(text, &["accept", finding], &NewValue::Text(reason.clone()))
            }
            Self::Template { .. } | Self::Usual { .. } | Self::AddChair { .. } | Self::MoveChair { .. } => {
                Ok(text.to_string())
            }
        };
        made.map_err(refused)
    }

    /// The template with it done.
    pub fn on_template(&self, text: &str) -> Result<String, CueError> {
        let made = match self {
            Self::Template { path, value } => set(text, path, value),
            Self::Usual { path } => {
                let path: Vec<&str> = path.iter().map(String::as_str).collect();
                edit::remove_value(text, &path)
            }
            Self::AddChair { id, instrument, players, name, before } => {
                let mut values = vec![
                    ("instrument", NewValue::Text(instrument.clone())),
                    ("players", NewValue::Whole(i64::from(*players))),
                ];
                if let Some(name) = name {
                    values.insert(0, ("name", NewValue::Text(name.clone())));
                }
                edit::add_chair(text, id, &values, before.as_deref())
            }
            Self::RemoveChair { id } => edit::remove_chair(text, id),
            Self::MoveChair { id, before } => edit::move_chair(text, id, before.as_deref()),
            _ => Ok(text.to_string()),
        };
        made.map_err(refused)
    }
}

fn set(text: &str, path: &[String], value: &NewValue) -> Result<String, Diagnostic> {
    let path: Vec<&str> = path.iter().map(String::as_str).collect();
    edit::set_value(text, &path, value)
}

fn refused(diagnostic: Diagnostic) -> CueError {
    CueError::Written(vec![diagnostic])
}

fn passages(text: &str) -> Vec<PassagePlan> {
    Plan::parse("cue.toml", text).0.passages
}

fn cell_of(text: &str, passage: &str, chair: &str) -> Option<String> {
    let passages = passages(text);
    let passage = passages.iter().find(|p| p.name == passage)?;
    Some(passage.cells.iter().find(|c| c.chair == chair)?.text.clone())
}

/// Refuses where the cell says something else than when it was opened.
fn still(text: &str, passage: &str, chair: &str, was: Option<&str>) -> Result<(), CueError> {
    let Some(was) = was else { return Ok(()) };
    let now = cell_of(text, passage, chair).unwrap_or_default();
    if now.trim() == was.trim() {
        return Ok(());
    }
    Err(CueError::Conflict { passage: passage.into(), chair: chair.into(), now })
}

/// A finding's change, on the text of a plan.
pub(crate) fn take(text: &str, finding: &Finding) -> Result<String, CueError> {
    let Some(change) = &finding.change else {
        return Err(CueError::Refused(format!(
            "{} has no exact change to take; what to do: {}",
            crate::finding_name(finding),
            finding.remedy
        )));
    };
    let mut text = text.to_string();
    for step in &change.edits {
        let made = match step {
            Edit::Cell { passage, chair, text: cell } => edit::set_cell(&text, passage.as_str(), chair, cell),
            Edit::Split { passage, bar, name } => {
                edit::split_passage(&text, passage.as_str(), i64::from(*bar), name)
            }
            Edit::Kit { chair, key, value } => {
                edit::set_value(&text, &["kit", chair, key], &kit_value(value))
            }
            Edit::Line { name, track } => {
                edit::set_value(&text, &["lines", name, "track"], &NewValue::Text(track.clone()))
            }
        };
        text = made.map_err(refused)?;
    }
    Ok(text)
}

/// A value of a kit: a list of whole numbers, a whole number, or a text.
fn kit_value(value: &str) -> NewValue {
    if let Some(list) = value.strip_prefix('[').and_then(|v| v.strip_suffix(']')) {
        return NewValue::Numbers(list.split(',').filter_map(|n| n.trim().parse().ok()).collect());
    }
    match value.parse::<i64>() {
        Ok(number) => NewValue::Whole(number),
        Err(_) => NewValue::Text(value.trim_matches('"').to_string()),
    }
}
