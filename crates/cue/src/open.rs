//! Loading a cue with everything that it refers to.

use crate::{CueError, check, fit, folder, render, source_read};
use ripieno_music::{Score, Timeline, Warning};
use ripieno_plan::{Bars, ChairPlan, DeliverPlan, Diagnostic, Origin, PatchCard, Plan, Template};
use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::sync::Arc;

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
    /// The music as it came.
    pub source: Arc<Score>,
    /// The music with the tempi and bars that the plan says: shared by every state of the plan that says the same.
    pub score: Arc<Score>,
    /// What was written doubtfully but can be worked with.
    pub warnings: Vec<Diagnostic>,
    /// What was read of files that most changes leave as they are.
    known: Arc<Known>,
}

/// Files with what was read in them: what is written as before need not be read again.
#[derive(Clone, Debug, Default)]
struct Known {
    template: (String, Template, Vec<Diagnostic>),
    cards: BTreeMap<PathBuf, (String, PatchCard, Vec<Diagnostic>)>,
}

/// The bars of the music, for the checks of the plan's numbers.
pub(crate) struct MusicBars<'a>(pub &'a Timeline);

impl Bars for MusicBars<'_> {
    fn last(&self) -> i32 {
        self.0.bars.last().map_or(0, |b| b.number)
    }

    fn beats(&self, bar: i32) -> Option<f64> {
        self.0.bar_numbered(bar).map(|b| b.length.ratio(b.metre.beat()))
    }
}

/// A pencil.toml that cannot be read, as a warning: the work goes on without its marks.
fn pencil_fault(folder: &Path) -> Option<Diagnostic> {
    let path = folder.join("pencil.toml");
    if !path.exists() {
        return None;
    }
    let text = folder::read_text(&path, "").map_err(|e| e.to_string());
    let why = text.and_then(|text| ripieno_handwork::parse(&text).map(drop)).err()?;
    let message = format!("the pencil marks cannot be read and are left out: {why}");
    let help = "mend the file in a text editor, or take out the mark that it names".to_string();
    let nowhere = ripieno_plan::Span::default();
    Some(Diagnostic { warning: true, ..Diagnostic::at(&shown(&path), "", nowhere, message, help) })
}

impl Cue {
    /// Opens a cue by its folder or its `cue.toml`. Every fault of every file is reported together.
    pub fn open(path: &Path) -> Result<Self, CueError> {
        let (folder, plan_path) = locate(path)?;
        let text = folder::read_text(&plan_path, "Make a cue with `ripieno new DIR --music FILE`.")?;
        let cue = Self::read(folder, plan_path, &text, None, None, false)?;
        crate::pencil::marks(&cue)?;
        Ok(cue)
    }

    /// The same cue with another text of its plan, not yet written.
    pub fn with_plan(&self, text: &str) -> Result<Self, CueError> {
        Self::read(self.folder.clone(), self.plan_path.clone(), text, None, Some(self), false)
    }

    /// The same cue with other texts, and with its music read again.
    pub fn with_music_of_now(&self, plan: &str, template: &str) -> Result<Self, CueError> {
        Self::read(self.folder.clone(), self.plan_path.clone(), plan, Some(template), Some(self), true)
    }

    /// The same cue with other texts of its plan and its template, not yet written.
    pub fn with_texts(&self, plan: &str, template: &str) -> Result<Self, CueError> {
        Self::read(self.folder.clone(), self.plan_path.clone(), plan, Some(template), Some(self), false)
    }

    /// `template` is the template's text where it is not the one on the disk; `kept` is a cue whose files are read already, its music
    /// too unless that is to be read anew.
    fn read(
        folder: PathBuf,
        plan_path: PathBuf,
        text: &str,
        template: Option<&str>,
        kept: Option<&Self>,
        music_anew: bool,
    ) -> Result<Self, CueError> {
        // Where the template is stands in the plan; which articulations its cells may name stands in the cards.
        let (plan, faults) = Plan::parse(&shown(&plan_path), text);
        let template_path =
            folder.join(if plan.template.is_empty() { "template.toml" } else { &plan.template });
        let before = kept.filter(|k| k.template_path == template_path).map(|k| &*k.known);
        let template_text = match template {
            Some(text) => text.to_string(),
            None => folder::read_text(&template_path, "`[cue] template` in cue.toml names it.").map_err(
                |error| {
                    // Of a plan that cannot be read, or is none, nobody knows where its template is.
                    let faults: Vec<Diagnostic> = faults.into_iter().filter(|d| !d.warning).collect();
                    match faults.is_empty() {
                        true if plan.music.is_empty() => no_music(&plan_path),
                        true => error,
                        false => CueError::Written(faults),
                    }
                },
            )?,
        };
        let (standing, known) = standing_as(&template_path, template_text, before)?;
        let Standing { text: template_text, template, template_faults, cards, card_faults } = standing;
        let beside = folder::parent(&template_path);
        let named =
            |word: &str| cards.values().flatten().any(|c| c.articulations.iter().any(|a| a.name == word));
        let (plan, mut found) = Plan::parse_with(&shown(&plan_path), text, &named);
        found.extend(template_faults);
        found.extend(plan.check_against(&template, &shown(&plan_path), text));
        found.extend(check::unknown_rules(&plan, &shown(&plan_path), text));
        found.extend(card_faults);
        found.extend(render::check_halls(&template, &shown(&template_path), &template_text, &beside));
        if found.iter().any(|d| !d.warning) {
            return Err(CueError::Written(found));
        }
        if plan.music.is_empty() {
            return Err(no_music(&plan_path));
        }
        let source = match kept {
            Some(cue) if !music_anew && cue.plan.music == plan.music && cue.plan.source == plan.source => {
                cue.source.clone()
            }
            _ => {
                let music = read_music(&folder.join(&plan.music))?;
                let (mut score, remarks) = source_read::apply(music, &plan.source, &template, &cards);
                let said = |message| Warning { place: "source".into(), message };
                score.warnings.extend(remarks.into_iter().map(said));
                Arc::new(score)
            }
        };
        found.extend(pencil_fault(&folder));
        let known = Arc::new(known);
        let score = match kept {
            Some(cue)
                if Arc::ptr_eq(&cue.source, &source)
                    && cue.plan.tempi == plan.tempi
                    && cue.plan.metres == plan.metres =>
            {
                cue.score.clone()
            }
            _ => fit::conducted(&source, &plan),
        };
        found.extend(plan.check_bars(&MusicBars(&score.timeline), &shown(&plan_path), text));
        Ok(Self {
            folder,
            plan,
            plan_path,
            template,
            template_path,
            cards,
            source,
            score,
            warnings: found,
            known,
        })
    }

    /// A cue that stands nowhere on the disk, for a piece at `path`: every chair has the plain card.
    pub(crate) fn of(path: &Path, plan: Plan, template: Template, score: Score) -> Self {
        let folder = folder::parent(path);
        let cards =
            template.chairs.iter().map(|c| (c.id.clone(), vec![PatchCard::plain(&c.instrument)])).collect();
        let score = Arc::new(score);
        Self {
            plan_path: folder.join("cue.toml"),
            template_path: folder.join("template.toml"),
            folder,
            plan,
            template,
            cards,
            source: Arc::clone(&score),
            score,
            warnings: Vec::new(),
            known: Arc::default(),
        }
    }

    /// A card as it was read with the cue, where its file still says the same.
    pub(crate) fn card_as_read(&self, path: &Path, text: &str) -> Option<(PatchCard, Vec<Diagnostic>)> {
        let (of, card, faults) = self.known.cards.get(path)?;
        (of == text).then(|| (card.clone(), faults.clone()))
    }

    /// `[deliver]` of the plan, and for the rest of the template.
    pub fn delivering(&self) -> DeliverPlan {
        self.plan.deliver.or(&self.template.deliver)
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
    let remedy = "Name a template, a TOML file with [chair.violins-1] and so on; `ripieno template` makes one from a MIDI export of your session.";
    Ok(standing_as(path, folder::read_text(path, remedy)?, None)?.0)
}

/// The same with another text of the template; what is written as `before` is taken from there.
fn standing_as(path: &Path, text: String, before: Option<&Known>) -> Result<(Standing, Known), CueError> {
    let (template, template_faults) = match before {
        Some(known) if known.template.0 == text => (known.template.1.clone(), known.template.2.clone()),
        _ => Template::parse(&shown(path), &text),
    };
    let mut card_faults = Vec::new();
    let beside = folder::parent(path);
    let mut cards = BTreeMap::new();
    let mut read: BTreeMap<PathBuf, (String, PatchCard, Vec<Diagnostic>)> = BTreeMap::new();
    for chair in &template.chairs {
        for name in &chair.cards {
            let file = beside.join(name);
            if read.contains_key(&file) {
                continue;
            }
            let text = card_text(&file, chair)?;
            let one = match before.and_then(|k| k.cards.get(&file)) {
                Some(known) if known.0 == text => known.clone(),
                _ => {
                    let (card, faults) = PatchCard::parse(&shown(&file), &text);
                    (text, card, faults)
                }
            };
            card_faults.extend(one.2.iter().cloned());
            read.insert(file, one);
        }
        let own: Vec<PatchCard> =
            chair.cards.iter().filter_map(|n| read.get(&beside.join(n))).map(|c| c.1.clone()).collect();
        let own = if own.is_empty() { vec![PatchCard::plain(&chair.instrument)] } else { own };
        cards.insert(chair.id.clone(), own);
    }
    let known = Known { template: (text.clone(), template.clone(), template_faults.clone()), cards: read };
    Ok((Standing { text, template, template_faults, cards, card_faults }, known))
}

fn no_music(plan: &Path) -> CueError {
    let message = "this plan names no music; write, under [cue], music = \"my-piece.musicxml\"".to_string();
    CueError::Place { path: plan.to_path_buf(), message }
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
    let remedy = "Make a cue with `ripieno new DIR --music FILE`.";
    if let Some(error) = folder::leads_nowhere(path, remedy) {
        return Err(error);
    }
    if !path.exists() {
        return Err(CueError::Missing { path: path.to_path_buf(), remedy: remedy.into() });
    }
    Ok((path.to_path_buf(), plan))
}

fn shown(path: &Path) -> String {
    path.display().to_string()
}

fn card_text(path: &Path, chair: &ChairPlan) -> Result<String, CueError> {
    let remedy =
        format!("The chair `{}` names it in the template; paths are relative to the template.", chair.id);
    folder::read_text(path, &remedy)
}

/// Checks a template with its cards and its halls: the template, and everything that is to be said of it and of the files that it
/// names.
///
/// Errors: files that cannot be read at all.
pub fn check_template(path: &Path) -> Result<(Template, Vec<Diagnostic>), CueError> {
    let Standing { text, template, mut template_faults, card_faults, .. } = standing(path)?;
    template_faults.extend(card_faults);
    template_faults.extend(render::check_halls(&template, &shown(path), &text, &folder::parent(path)));
    template_faults.extend(absent_sounds(&template, path, &text));
    Ok((template, template_faults))
}

/// Prints and SoundFonts that are not beside the template, as warnings: without them other sounds play.
fn absent_sounds(template: &Template, path: &Path, text: &str) -> Vec<Diagnostic> {
    let beside = folder::parent(path);
    let absent = |chair: &ChairPlan| {
        let (file, span, what, help) = match &chair.origin {
            Origin::Print { path, span, .. } => {
                (path, *span, "print", "it is looked for in each cue's own folder first, and may stand there")
            }
            Origin::Font(font) => {
                (&font.file, font.span, "SoundFont", "its path is relative to the template")
            }
            Origin::House => return None,
        };
        if beside.join(file).is_file() {
            return None;
        }
        let message = format!("there is no file `{file}` beside the template, the {what} of `{}`", chair.id);
        Some(Diagnostic { warning: true, ..Diagnostic::at(&shown(path), text, span, message, help.into()) })
    };
    template.chairs.iter().filter_map(absent).collect()
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
