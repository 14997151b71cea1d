//! Loading a cue with everything that it refers to.

use crate::{CueError, folder, render, source};
use ripieno_music::{Score, Warning};
use ripieno_plan::{ChairPlan, Diagnostic, PatchCard, Plan, Template};
use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

/// A cue, loaded.
#[derive(Clone, Debug)]
pub struct Cue {
    /// Its folder.
    pub folder: PathBuf,
    /// `cue.toml`.
    pub plan: Plan,
    /// Where that stands.
    pub plan_path: PathBuf,
    /// The template.
    pub template: Template,
    /// Where it stands.
    pub template_path: PathBuf,
    /// The cards of each chair, by the chair's id; a chair without card has the plain one.
    pub cards: BTreeMap<String, Vec<PatchCard>>,
    /// The music.
    pub score: Score,
    /// What was written doubtfully but can be worked with.
    pub warnings: Vec<Diagnostic>,
}

impl Cue {
    /// Opens a cue by its folder or its `cue.toml`. Every fault of every file is reported together.
    pub fn open(path: &Path) -> Result<Self, CueError> {
        let (folder, plan_path) = locate(path)?;
        let text = folder::read_text(&plan_path, "Make a cue with `ripieno new DIR --music FILE`.")?;
        Self::read(folder, plan_path, &text, None)
    }

    /// The same cue with another text of its plan, not yet written.
    pub fn with_plan(&self, text: &str) -> Result<Self, CueError> {
        Self::read(self.folder.clone(), self.plan_path.clone(), text, Some(self))
    }

    /// `kept` is a cue whose music is read already.
    fn read(folder: PathBuf, plan_path: PathBuf, text: &str, kept: Option<&Self>) -> Result<Self, CueError> {
        // Where the template is stands in the plan; which articulations its cells may name stands in the cards.
        let (plan, _) = Plan::parse(&shown(&plan_path), text);
        let template_path =
            folder.join(if plan.template.is_empty() { "template.toml" } else { &plan.template });
        let Standing { text: template_text, template, template_faults, cards, card_faults } =
            standing(&template_path)?;
        let beside = folder::parent(&template_path);
        let named =
            |word: &str| cards.values().flatten().any(|c| c.articulations.iter().any(|a| a.name == word));
        let (plan, mut found) = Plan::parse_with(&shown(&plan_path), text, &named);
        found.extend(template_faults);
        found.extend(plan.check_against(&template, &shown(&plan_path), text));
        found.extend(card_faults);
        found.extend(render::check_halls(&template, &shown(&template_path), &template_text, &beside));
        if found.iter().any(|d| !d.warning) {
            return Err(CueError::Written(found));
        }
        if plan.music.is_empty() {
            let message = "`[cue] music` names no file; write music = \"my-piece.musicxml\"".to_string();
            return Err(CueError::Place { path: plan_path, message });
        }
        let score = match kept {
            Some(cue) if cue.plan.music == plan.music && cue.plan.source == plan.source => cue.score.clone(),
            _ => {
                let music = read_music(&folder.join(&plan.music))?;
                let (mut score, remarks) = source::apply(music, &plan.source, &template, &cards);
                let said = |message| Warning { place: "source".into(), message };
                score.warnings.extend(remarks.into_iter().map(said));
                score
            }
        };
        Ok(Self { folder, plan, plan_path, template, template_path, cards, score, warnings: found })
    }

    /// A cue that stands nowhere on the disk, for a piece at `path`: every chair has the plain card.
    pub(crate) fn of(path: &Path, plan: Plan, template: Template, score: Score) -> Self {
        let folder = folder::parent(path);
        let cards =
            template.chairs.iter().map(|c| (c.id.clone(), vec![PatchCard::plain(&c.instrument)])).collect();
        Self {
            plan_path: folder.join("cue.toml"),
            template_path: folder.join("template.toml"),
            folder,
            plan,
            template,
            cards,
            score,
            warnings: Vec::new(),
        }
    }

    /// The folder to which paths in the template are relative.
    pub(crate) fn beside_template(&self) -> PathBuf {
        folder::parent(&self.template_path)
    }

    /// Where a print stands: in the cue's folder, as each cue has its own, or else beside the template.
    pub(crate) fn print_path(&self, written: &str) -> PathBuf {
        let own = self.folder.join(written);
        let shared = self.beside_template().join(written);
        if !own.exists() && shared.exists() { shared } else { own }
    }
}

/// A template with its cards and all that is to be said of them.
pub(crate) struct Standing {
    pub text: String,
    pub template: Template,
    pub template_faults: Vec<Diagnostic>,
    pub cards: BTreeMap<String, Vec<PatchCard>>,
    pub card_faults: Vec<Diagnostic>,
}

/// Reads a template and the cards of its chairs.
pub(crate) fn standing(path: &Path) -> Result<Standing, CueError> {
    let text = folder::read_text(path, "`[cue] template` in cue.toml names it.")?;
    let (template, template_faults) = Template::parse(&shown(path), &text);
    let mut card_faults = Vec::new();
    let beside = folder::parent(path);
    let mut cards = BTreeMap::new();
    let mut read: BTreeMap<&str, PatchCard> = BTreeMap::new();
    for chair in &template.chairs {
        for name in &chair.cards {
            if !read.contains_key(name.as_str()) {
                let (card, faults) = card_file(&beside.join(name), chair)?;
                card_faults.extend(faults);
                read.insert(name, card);
            }
        }
        let own: Vec<PatchCard> = chair.cards.iter().filter_map(|n| read.get(n.as_str()).cloned()).collect();
        let own = if own.is_empty() { vec![PatchCard::plain(&chair.instrument)] } else { own };
        cards.insert(chair.id.clone(), own);
    }
    Ok(Standing { text, template, template_faults, cards, card_faults })
}

fn locate(path: &Path) -> Result<(PathBuf, PathBuf), CueError> {
    if path.is_file() {
        return Ok((folder::parent(path), path.to_path_buf()));
    }
    let plan = path.join("cue.toml");
    if path.is_dir() && !plan.is_file() {
        let message =
            "this folder holds no cue.toml; make a cue with `ripieno new DIR --music FILE`".to_string();
        return Err(CueError::Place { path: path.to_path_buf(), message });
    }
    Ok((path.to_path_buf(), plan))
}

fn shown(path: &Path) -> String {
    path.display().to_string()
}

fn card_file(path: &Path, chair: &ChairPlan) -> Result<(PatchCard, Vec<Diagnostic>), CueError> {
    let remedy =
        format!("The chair `{}` names it in the template; paths are relative to the template.", chair.id);
    let text = folder::read_text(path, &remedy)?;
    Ok(PatchCard::parse(&shown(path), &text))
}

/// Reads a patch card with everything that is to be said of it.
pub fn read_card(path: &Path) -> Result<(PatchCard, Vec<Diagnostic>), CueError> {
    let text = folder::read_text(path, "Name a patch card, a TOML file.")?;
    Ok(PatchCard::parse(&shown(path), &text))
}

/// Reads a pasted list of switches.
pub fn read_list(path: &Path) -> Result<String, CueError> {
    folder::read_text(path, "Name a text file that lists switches, one a line.")
}

/// Reads a music file of any kind.
pub fn read_music(path: &Path) -> Result<Score, CueError> {
    let bytes = folder::read(path, "Name a MIDI file (.mid) or MusicXML (.musicxml, .xml, .mxl).")?;
    ripieno_formats::read_score(&bytes).map_err(|error| CueError::Music { path: path.to_path_buf(), error })
}
