//! Taking remedies: the change that a finding carries is made to the plan.

use crate::workbench::take_on;
use crate::{Checked, Cue, CueError, PerformOptions, check, finding_name, folder, perform, write_file};
use ripieno_music::Finding;
use ripieno_plan::nearest;
use std::path::Path;

/// What came of it.
#[derive(Clone, Debug)]
pub struct Taken {
    /// What was changed, one line a finding.
    pub changes: Vec<String>,
    /// The cue as it is now.
    pub cue: Cue,
    /// Read through again.
    pub checked: Checked,
}

/// Makes the changes of the findings of these names (`RULE@CHAIR:BAR`), one after the other, and writes the plan once. The
/// plan before it is kept in the cue's `.ripieno/cue-before.toml`. If one of them cannot be made nothing is written.
pub fn take(path: &Path, names: &[String]) -> Result<Taken, CueError> {
    let mut cue = Cue::open(path)?;
    let before = folder::read_text(&cue.plan_path, "")?;
    let mut text = before.clone();
    let mut checked = look(&cue);
    let mut changes = Vec::new();
    for name in names {
        let Some(finding) = checked.named(name) else {
            if changes.is_empty() {
                return Err(unknown(&cue, &checked, name));
            }
            changes.push(format!("{name}: gone already with what was taken before it"));
            continue;
        };
        let wanted = finding.clone();
        text = take_on(&text, &wanted)?;
        cue = cue.with_plan(&text)?;
        checked = look(&cue);
        if let Some(still) = same(&checked, &wanted) {
            let message = format!(
                "the change for {name} does not settle it: {}. The plan is as it was; {}",
                still.message, still.remedy
            );
            return Err(CueError::Place { path: cue.plan_path.clone(), message });
        }
        let change = wanted.change.as_ref().map(ToString::to_string).unwrap_or_default();
        changes.push(format!("{name}: {change}"));
    }
    if text != before {
        write_file(&cue.folder.join(".ripieno").join("cue-before.toml"), before.as_bytes())?;
        write_file(&cue.plan_path, text.as_bytes())?;
    }
    Ok(Taken { changes, cue, checked })
}

fn look(cue: &Cue) -> Checked {
    check(cue, &perform(cue, PerformOptions::default()))
}

/// The same matter at the same place, after the change.
fn same<'a>(checked: &'a Checked, wanted: &Finding) -> Option<&'a Finding> {
    checked.findings.iter().chain(&checked.folded).find(|f| {
        f.rule == wanted.rule && f.chair == wanted.chair && f.bar == wanted.bar && f.beat == wanted.beat
    })
}

fn unknown(cue: &Cue, checked: &Checked, name: &str) -> CueError {
    let all: Vec<String> = checked
        .findings
        .iter()
        .chain(&checked.folded)
        .filter(|f| f.change.is_some())
        .map(finding_name)
        .collect();
    let help = match nearest(name, all.iter().map(String::as_str)) {
        Some(near) => format!("did you mean `{near}`?"),
        None if all.is_empty() => "no finding of this cue carries an exact change".into(),
        None => format!("those that carry an exact change: {}", all.join(", ")),
    };
    let message = format!("no finding is named `{name}` (write RULE@CHAIR:BAR); {help}");
    CueError::Place { path: cue.plan_path.clone(), message }
}
