//! A cue that is being worked on: acts, undo and redo, and an editor that may be open on the same files.
//!
//! The plan on the disk is the truth. Every act is made to the text that is there, read again as a whole, and only then written;
//! what cannot be read is refused, and nothing changes. Whatever somebody else changes in the files is a step like any other:
//! it can be undone.

mod acts;
mod join;
mod judge;
mod played;
mod shared_file;

pub use acts::Act;
pub(crate) use acts::take as take_on;
pub use played::{Played, performed};
pub use shared_file::{Replaced, Seen, SharedFile};

use crate::{Cue, CueError, folder};
use ripieno_plan::Plan;
use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::sync::Arc;

/// Steps that can be undone.
const MOST_STEPS: usize = 500;

/// What is said of files that were changed and cannot be read, before why.
const UNREAD: &str =
    "The files on the disk were changed, and cannot be read as they are. What is shown is the state before.";

/// What is said of files that cannot be looked at, before why.
const AWAY: &str = "The cue's own files cannot be read. What is shown is as it was before, and nothing can be changed here until they are back.";

/// How often a step is tried anew while somebody else keeps writing.
const TRIES: usize = 20;

/// A cue on the workbench.
#[derive(Debug)]
pub struct Workbench {
    cue: Arc<Cue>,
    plan: SharedFile,
    template: SharedFile,
    template_path: PathBuf,
    /// Stamps of the music and the cards, taken before they were read last.
    others: BTreeMap<PathBuf, String>,
    /// What is wrong with the files as somebody else has left them.
    trouble: Option<String>,
    /// Why the files cannot even be looked at: the plan or the template is away, or what stands in its place is no text.
    away: Option<String>,
    past: Vec<Step>,
    future: Vec<Step>,
    revision: u64,
}

#[derive(Clone, Debug, PartialEq, Eq)]
struct Texts {
    plan: String,
    template: String,
}

#[derive(Clone, Debug)]
struct Step {
    label: String,
    before: Texts,
    after: Texts,
}

impl Workbench {
    /// Opens a cue by its folder or its `cue.toml`.
    pub fn open(path: &Path) -> Result<Self, CueError> {
        let cue = Cue::open(path)?;
        let plan = folder::read_text(&cue.plan_path, "")?;
        let template = folder::read_text(&cue.template_path, "")?;
        Ok(Self {
            plan: SharedFile::new(&cue.plan_path, plan),
            template: SharedFile::new(&cue.template_path, template),
            template_path: cue.template_path.clone(),
            others: others(&cue),
            cue: Arc::new(cue),
            trouble: None,
            away: None,
            past: Vec::new(),
            future: Vec::new(),
            revision: 1,
        })
    }

    /// The cue as it is.
    pub fn cue(&self) -> &Arc<Cue> {
        &self.cue
    }

    /// The plan's text as it was read last.
    pub fn plan_text(&self) -> &str {
        self.plan.text()
    }

    /// Grows with every change.
    pub fn revision(&self) -> u64 {
        self.revision
    }

    /// What cannot be read in the files as they stand on the disk, if anything; the cue is then as it was before.
    pub fn trouble(&self) -> Option<&str> {
        self.away.as_deref().or(self.trouble.as_deref())
    }

    /// What undo would take back.
    pub fn undoes(&self) -> Option<&str> {
        self.past.last().map(|s| s.label.as_str())
    }

    /// What redo would make again.
    pub fn redoes(&self) -> Option<&str> {
        self.future.last().map(|s| s.label.as_str())
    }

    /// Does these acts, all of them or none, as one step. Errors say what stands in the way.
    pub fn act(&mut self, acts: &[Act]) -> Result<(), CueError> {
        let label = match acts {
            [] => return self.look().map(drop),
            [one] => one.label(),
            [first, ..] => format!("{} and {} more", first.label(), acts.len() - 1),
        };
        self.persist(|bench| {
            let before = bench.texts();
            let fold = |text: &str, on: &dyn Fn(&Act, &str) -> Result<String, CueError>| {
                acts.iter().try_fold(text.to_string(), |text, act| on(act, &text))
            };
            let after = Texts {
                plan: fold(&before.plan, &|act, text| act.on_plan(text))?,
                template: fold(&before.template, &|act, text| act.on_template(text))?,
            };
            let done = bench.go_to(&after)?;
            if done == Replaced::Done {
                bench.step(label.clone(), before);
            }
            Ok((done, ()))
        })
    }

    /// Takes the last step back. `false` if there is none.
    pub fn undo(&mut self) -> Result<bool, CueError> {
        self.persist(|bench| {
            let Some(step) = bench.past.last().cloned() else { return Ok((Replaced::Done, false)) };
            let done = bench.go_to(&step.before)?;
            if done == Replaced::Done {
                bench.past.pop();
                bench.future.push(step);
            }
            Ok((done, true))
        })
    }

    /// Makes the step that was undone last again. `false` if there is none.
    pub fn redo(&mut self) -> Result<bool, CueError> {
        self.persist(|bench| {
            let Some(step) = bench.future.last().cloned() else { return Ok((Replaced::Done, false)) };
            let done = bench.go_to(&step.after)?;
            if done == Replaced::Done {
                bench.future.pop();
                bench.past.push(step);
            }
            Ok((done, true))
        })
    }

    /// Looks at the files and does some work on what they say; again, if somebody else has written meanwhile.
    fn persist<T>(
        &mut self,
        mut work: impl FnMut(&mut Self) -> Result<(Replaced, T), CueError>,
    ) -> Result<T, CueError> {
        for _ in 0..TRIES {
            self.look()?;
            if let (Replaced::Done, value) = work(self)? {
                return Ok(value);
            }
        }
        let message = "another program writes this file again and again; close it there, and try once more";
        Err(CueError::Place { path: self.plan.path().to_path_buf(), message: message.into() })
    }

    /// Makes the files say this. What is asked for must be sound as a whole before the first byte is written.
    fn go_to(&mut self, texts: &Texts) -> Result<Replaced, CueError> {
        let before = self.texts();
        if *texts == before {
            return Ok(Replaced::Done);
        }
        let kept = (self.kept("cue-before.toml"), self.kept("template-before.toml"));
        let cue = self.cue.with_texts(&texts.plan, &texts.template)?;
        if cue.template_path != self.cue.template_path {
            let message =
                "which template a cue has is said in cue.toml; change `template` there, in an editor";
            return Err(CueError::Refused(message.into()));
        }
        if self.template.replace(&before.template, &texts.template, &kept.1)? == Replaced::Meanwhile {
            return Ok(Replaced::Meanwhile);
        }
        let done = self.plan.replace(&before.plan, &texts.plan, &kept.0);
        match done {
            Ok(Replaced::Done) => self.settle(cue),
            // Both or none. Where even that is not granted, the next look takes over what is there.
            _ => drop(self.template.replace(&texts.template, &before.template, &kept.1)),
        }
        done
    }

    /// Reads the patch cards again: one of them was saved. Not a step: cards are files of their own.
    pub fn read_cards(&mut self) -> Result<(), CueError> {
        let cue = self.cue.with_texts(self.plan.text(), self.template.text())?;
        self.settle(cue);
        Ok(())
    }

    /// Looks whether somebody else has changed the files, and takes that over. `true` if so. The music and the cards are looked at
    /// as well: an export over the old file is the music from then on. Files that cannot be looked at are trouble until they can.
    pub fn look(&mut self) -> Result<bool, CueError> {
        match self.take_over() {
            Ok(changed) => {
                let back = self.away.take().is_some();
                self.revision += u64::from(back);
                Ok(changed || back)
            }
            Err(error) => {
                let said = format!("{AWAY}\n{error}{}", self.keep_aside());
                if self.away.as_ref() != Some(&said) {
                    self.away = Some(said);
                    self.revision += 1;
                }
                Err(error)
            }
        }
    }

    /// Where the plan or the template is gone, its text as it was seen last is written down beside it: it may be the only one
    /// left. Gives what is to be said of that.
    fn keep_aside(&self) -> String {
        let mut said = String::new();
        for (file, name) in self.files_gone() {
            let aside = self.kept(name);
            let there = folder::read_text(&aside, "").is_ok_and(|text| text == file.text());
            if there || crate::write_file(&aside, file.text().as_bytes()).is_ok() {
                said += &format!("\nWhat it said last is in {}: a copy of that will do.", aside.display());
            }
        }
        said
    }

    /// The plan and the template, where they are away, with the names under which their texts are kept. A folder that is gone as a
    /// whole was taken away on purpose: nothing is made anew in its place.
    fn files_gone(&self) -> impl Iterator<Item = (&SharedFile, &'static str)> {
        [(&self.plan, "cue-from-page.toml"), (&self.template, "template-from-page.toml")]
            .into_iter()
            .filter(|(file, _)| !file.path().exists() && folder::parent(file.path()).is_dir())
    }

    /// The files that are told to be away and can be put back: the plan, the template, or both.
    pub fn gone(&self) -> Vec<PathBuf> {
        // A link that leads nowhere is somebody's: nothing is put in its place.
        let free = |path: &Path| path.symlink_metadata().is_err();
        match self.away {
            Some(_) => self.files_gone().map(|(f, _)| f.path().to_path_buf()).filter(|p| free(p)).collect(),
            None => Vec::new(),
        }
    }

    /// Puts the plan and the template back where they are away, as they were seen last, and looks at all files again. What has come
    /// back meanwhile is never written over. Gives how many were put back.
    pub fn put_back(&mut self) -> Result<usize, CueError> {
        let mut back = 0;
        for (file, _) in self.files_gone() {
            back += usize::from(file.put_back()?);
        }
        self.look()?;
        Ok(back)
    }

    fn take_over(&mut self) -> Result<bool, CueError> {
        let before = self.texts();
        let kept = (self.kept("cue-before.toml"), self.kept("template-before.toml"));
        let cue = Arc::clone(&self.cue);
        let plan = {
            let sound = |text: &str| cue.with_texts(text, &before.template).is_ok();
            self.plan.look(&kept.0, &sound)?
        };
        let followed = self.follow_template();
        let template = {
            let sound = |text: &str| cue.with_texts(self.plan.text(), text).is_ok();
            self.template.look(&kept.1, &sound)?
        };
        let after = self.texts();
        let others = others(&self.cue);
        let music = self.cue.folder.join(&self.cue.plan.music);
        // A file that was not there before is one that the plan or the template names since: it was read for that.
        let other =
            |path: &PathBuf| self.others.get(path).is_some_and(|stamp| Some(stamp) != others.get(path));
        let (exported, changed) = (other(&music), others.keys().any(other));
        if before == after && !changed {
            return Ok(false);
        }
        self.others = others;
        let mut label = "changed in an editor".to_string();
        let mut spoilt = Vec::new();
        for (file, seen, name) in
            [(&self.plan, plan, "cue-from-page.toml"), (&self.template, template, "template-from-page.toml")]
        {
            match seen {
                Seen::Same | Seen::Changed => {}
                Seen::Joined => label = "changed in an editor; its changes and yours are joined".into(),
                Seen::Overwritten { ours } => {
                    let aside = self.kept(name);
                    crate::write_file(&aside, ours.as_bytes())?;
                    spoilt.push(format!(
                        "{} was saved from an older copy, over lines that were changed here. What was here before is in {}, and comes back with undo.",
                        file.path().display(),
                        aside.display()
                    ));
                }
            }
        }
        let read = match exported {
            true => self.cue.with_music_of_now(&after.plan, &after.template),
            false => self.cue.with_texts(&after.plan, &after.template),
        };
        match read {
            Ok(cue) => self.settle(cue),
            Err(error) => {
                self.revision += 1;
                spoilt.insert(0, format!("{UNREAD}\n{error}"));
            }
        }
        self.trouble = (!spoilt.is_empty()).then(|| spoilt.join("\n"));
        if !followed {
            self.step(label, before);
        }
        Ok(true)
    }

    /// Where an editor has named another template in the plan, that one is worked on from now on. Steps before it cannot be taken
    /// back: they changed another file.
    fn follow_template(&mut self) -> bool {
        let (plan, faults) = Plan::parse("cue.toml", self.plan.text());
        let name = if plan.template.is_empty() { "template.toml" } else { &plan.template };
        let path = self.cue.folder.join(name);
        if path == self.template_path || faults.iter().any(|d| !d.warning) {
            return false;
        }
        let Ok(text) = folder::read_text(&path, "") else { return false };
        self.template = SharedFile::new(&path, text);
        self.template_path = path;
        self.past.clear();
        self.future.clear();
        true
    }

    fn texts(&self) -> Texts {
        Texts { plan: self.plan.text().to_string(), template: self.template.text().to_string() }
    }

    fn settle(&mut self, cue: Cue) {
        self.cue = Arc::new(cue);
        // Files that are named only now; what is known of the others stays, or an export of this moment would be missed.
        for (path, stamp) in others(&self.cue) {
            self.others.entry(path).or_insert(stamp);
        }
        self.trouble = None;
        self.revision += 1;
    }

    fn step(&mut self, label: String, before: Texts) {
        let after = self.texts();
        if before == after {
            return;
        }
        self.past.push(Step { label, before, after });
        if self.past.len() > MOST_STEPS {
            self.past.remove(0);
        }
        self.future.clear();
    }

    fn kept(&self, name: &str) -> PathBuf {
        self.cue.folder.join(".ripieno").join(name)
    }
}

/// Stamps of the files of a cue that are not worked on here: the music and the cards.
fn others(cue: &Cue) -> BTreeMap<PathBuf, String> {
    let beside = cue.beside_template();
    let cards = cue.template.chairs.iter().flat_map(|c| &c.cards).map(|c| beside.join(c));
    let paths = std::iter::once(cue.folder.join(&cue.plan.music)).chain(cards);
    paths.map(|path| (path.clone(), folder::stamp(&path))).collect()
}
