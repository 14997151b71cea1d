//! Taking remedies: the change that a finding carries is made to the plan.

use crate::workbench::take_on;
use crate::{Checked, Cue, CueError, PerformOptions, Replaced, SharedFile, check, folder, perform};
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
/// plan before it is kept in the cue's `.ripieno/cue-before.toml`. If one of them cannot be made nothing is written. Where
/// somebody else writes the plan meanwhile, the changes are made to what is there then.
pub fn take(path: &Path, names: &[String]) -> Result<Taken, CueError> {
    let cue = Cue::open(path)?;
    on_present_plan(&cue, |cue, before| take_from(cue, before, names))
}

/// How often a change is made anew while somebody else keeps writing the plan.
const TRIES: usize = 10;

/// Writes the plan that `change` makes of the present one, if nobody has written it since that was read; otherwise the change is
/// made again. `change` is given the cue as the plan says it now, and the plan's text; it gives the new text.
pub(crate) fn on_present_plan<T>(
    cue: &Cue,
    change: impl Fn(Cue, &str) -> Result<(String, T), CueError>,
) -> Result<T, CueError> {
    let kept = cue.folder.join(".ripieno").join("cue-before.toml");
    for _ in 0..TRIES {
        let before = folder::read_text(&cue.plan_path, "")?;
        let (text, made) = change(cue.with_plan(&before)?, &before)?;
        let mut file = SharedFile::new(&cue.plan_path, before.clone());
        if file.replace(&before, &text, &kept)? == Replaced::Done {
            return Ok(made);
        }
    }
    let message = "another program writes this file again and again; close it there, and try once more";
    Err(CueError::Place { path: cue.plan_path.clone(), message: message.into() })
}

fn take_from(mut cue: Cue, before: &str, names: &[String]) -> Result<(String, Taken), CueError> {
    let mut text = before.to_string();
    let mut checked = look(&cue);
    let mut changes = Vec::new();
    // What the names mean is settled before the first change, which may give another finding a name of these.
    let named = |name: &String| checked.named(name).cloned().ok_or_else(|| unknown(&cue, &checked, name));
    let wanted: Vec<Finding> = names.iter().map(named).collect::<Result<_, _>>()?;
    for (name, wanted) in names.iter().zip(wanted) {
        let Some(finding) = still_there(&checked, &wanted).cloned() else {
            changes.push(format!("{name}: gone already with what was taken before it"));
            continue;
        };
        text = take_on(&text, &finding)?;
        cue = cue.with_plan(&text)?;
        let before = same(&checked, &finding).count();
        checked = look(&cue);
        // Others may stand at the same place: there must be one less.
        if same(&checked, &finding).count() >= before
            && let Some(still) = still_there(&checked, &finding)
        {
            let message = format!(
                "the change for {name} does not settle it: {}. The plan is as it was; {}",
                still.message, still.remedy
            );
            return Err(CueError::Place { path: cue.plan_path.clone(), message });
        }
        let change = finding.change.as_ref().map(ToString::to_string).unwrap_or_default();
        changes.push(format!("{name}: {change}"));
    }
    Ok((text, Taken { changes, cue, checked }))
}

/// The finding itself, or else what there is of its rule at its place.
fn still_there<'a>(checked: &'a Checked, wanted: &Finding) -> Option<&'a Finding> {
    let itself = same(checked, wanted).find(|f| f.message == wanted.message);
    itself.or_else(|| same(checked, wanted).next())
}

fn look(cue: &Cue) -> Checked {
    check(cue, &perform(cue, PerformOptions::default()))
}

/// What there is of a finding's rule at its place.
fn same<'a>(checked: &'a Checked, wanted: &Finding) -> impl Iterator<Item = &'a Finding> {
    let (rule, chair, bar, beat) = (wanted.rule, wanted.chair.clone(), wanted.bar, wanted.beat);
    let alike = move |f: &&Finding| f.rule == rule && f.chair == chair && f.bar == bar && f.beat == beat;
    checked.findings.iter().chain(&checked.folded).filter(alike)
}

fn unknown(cue: &Cue, checked: &Checked, name: &str) -> CueError {
    let all: Vec<String> = checked
        .findings
        .iter()
        .chain(&checked.folded)
        .filter(|f| f.change.is_some())
        .map(|f| checked.name(f))
        .collect();
    let help = match nearest(name, all.iter().map(String::as_str)) {
        Some(near) => format!("did you mean `{near}`?"),
        None if all.is_empty() => "no finding of this cue carries an exact change".into(),
        None => format!("those that carry an exact change: {}", all.join(", ")),
    };
    let message = format!("no finding is named `{name}` (write RULE@CHAIR:BAR); {help}");
    CueError::Place { path: cue.plan_path.clone(), message }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::write_demo;
    use std::cell::Cell;

    #[test]
    fn an_edit_made_meanwhile_is_not_lost() {
        let home = tempfile::tempdir().unwrap();
        write_demo(home.path()).unwrap();
        let cue = Cue::open(home.path()).unwrap();
        let (tries, path) = (Cell::new(0), &cue.plan_path);
        let made = on_present_plan(&cue, |_, before| {
            tries.set(tries.get() + 1);
            if tries.get() == 1 {
                std::fs::write(path, format!("# theirs\n{before}")).unwrap();
            }
            Ok((format!("{before}# ours\n"), tries.get()))
        });
        assert_eq!(made.unwrap(), 2);
        let text = std::fs::read_to_string(path).unwrap();
        assert!(text.starts_with("# theirs\n") && text.ends_with("# ours\n"), "{text}");
        let kept = std::fs::read_to_string(home.path().join(".ripieno/cue-before.toml")).unwrap();
        assert!(kept.starts_with("# theirs\n") && !kept.contains("# ours"), "{kept}");
    }

    #[cfg(unix)]
    #[test]
    fn a_link_stays_a_link() {
        use std::os::unix::fs::{PermissionsExt, symlink};
        let home = tempfile::tempdir().unwrap();
        write_demo(home.path()).unwrap();
        let (plan, real) = (home.path().join("cue.toml"), home.path().join("elsewhere.toml"));
        std::fs::rename(&plan, &real).unwrap();
        std::fs::set_permissions(&real, std::fs::Permissions::from_mode(0o600)).unwrap();
        symlink(&real, &plan).unwrap();
        let cue = Cue::open(home.path()).unwrap();
        on_present_plan(&cue, |_, before| Ok((format!("{before}# one\n"), ()))).unwrap();
        crate::write_file(&plan, (std::fs::read_to_string(&plan).unwrap() + "# two\n").as_bytes()).unwrap();
        assert!(std::fs::symlink_metadata(&plan).unwrap().is_symlink());
        assert!(std::fs::read_to_string(&real).unwrap().ends_with("# one\n# two\n"));
        assert_eq!(std::fs::metadata(&real).unwrap().permissions().mode() & 0o777, 0o600);
    }
}
