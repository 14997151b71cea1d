//! Reading a piece as it came, without a cue: what is in it, who doubles whom, how it grows.

use crate::{Checked, Cue, CueError, PerformOptions, Performed, check, open, perform};
use ripieno_casting::{ChairFound, DraftOptions, chairs_of, draft};
use ripieno_music::Reading;
use ripieno_plan::{Plan, Template};
use std::path::Path;

/// A piece, read.
#[derive(Clone, Debug)]
pub struct Read {
    /// The piece with the plan that `new` would write for it.
    pub cue: Cue,
    /// What was found; tracks are those of the score.
    pub reading: Reading,
    /// The chairs that its tracks were taken for; tracks without notes have none.
    pub chairs: Vec<ChairFound>,
    /// It, performed as written.
    pub performed: Performed,
    /// The read-through of that.
    pub checked: Checked,
}

impl Read {
    /// The chair of a track.
    pub fn chair(&self, track: usize) -> Option<&str> {
        self.chairs.iter().find(|c| c.track == track).map(|c| c.id.as_str())
    }
}

/// Reads a piece; nothing is written.
pub fn read(path: &Path) -> Result<Read, CueError> {
    let score = open::read_music(path)?;
    let reading = ripieno_discovery::read(&score);
    let name = path.file_name().map_or_else(|| "music".into(), |n| n.to_string_lossy().into_owned());
    let options = DraftOptions { title: None, music: name.clone(), template: "template.toml".into() };
    let drafted = draft(&score, &reading, &options);
    let (plan, _) = Plan::parse("cue.toml", &drafted.cue);
    let (template, _) = Template::parse("template.toml", &drafted.template);
    let chairs = chairs_of(&score);
    let cue = Cue::of(path, plan, template, score);
    let performed = perform(&cue, PerformOptions::default());
    let checked = check(&cue, &performed);
    Ok(Read { cue, reading, chairs, performed, checked })
}
