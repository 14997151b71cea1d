//! Reading a piece as it came, without a cue: what is in it, who doubles whom, how it grows.

use crate::check::check_with;
use crate::{Checked, Cue, CueError, Performed, open, source, stages};
use ripieno_casting::{ChairFound, DraftOptions, chairs_of, draft_for};
use ripieno_music::{Doubling, PassageFound, Reading, RoleFound, TuneSpan};
use ripieno_plan::{Plan, Purpose, Template};
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
    /// It, performed as written; nothing is written for patches, which it has none of.
    pub performed: Performed,
    /// The read-through of that.
    pub checked: Checked,
    /// How a played source was read, in words.
    pub remarks: Vec<String>,
}

impl Read {
    /// The chair of a track.
    pub fn chair(&self, track: usize) -> Option<&str> {
        self.chairs.iter().find(|c| c.track == track).map(|c| c.id.as_str())
    }
}

/// Reads a piece; nothing is written. A played source is read through the cards of the composer's template, `own`. `purpose`
/// says who is to play it, which decides what of the read-through comes first.
///
/// Errors: the file or the template cannot be read.
pub fn read(path: &Path, own: Option<&Path>, purpose: Purpose) -> Result<Read, CueError> {
    let own = own.map(open::standing).transpose()?;
    let (music, ()) = rayon::join(|| open::read_music(path), ripieno_instruments::prepare);
    let heard = source::hear(music?, own.as_ref().map(|s| (&s.template, &s.cards)));
    let source::Heard { score, chairs: known, remarks, .. } = heard;
    let reading = ripieno_discovery::read(&score);
    let name = path.file_name().map_or_else(|| "music".into(), |n| n.to_string_lossy().into_owned());
    let options = DraftOptions { title: None, music: name, template: "template.toml".into(), within: None };
    let drafted = draft_for(&score, &reading, &options, &known);
    let (mut plan, _) = Plan::parse("cue.toml", &drafted.cue);
    plan.purpose = purpose;
    let (mut template, _) = Template::parse("template.toml", &drafted.template);
    let mut chairs = chairs_of(&score);
    for chair in &mut chairs {
        if let Some(Some(id)) = known.get(chair.track) {
            chair.id.clone_from(id);
        }
    }
    for chair in own.iter().flat_map(|s| &s.template.chairs) {
        // What the composer says of a chair goes before what was guessed.
        if let Some(guessed) = template.chairs.iter_mut().find(|c| c.id == chair.id) {
            guessed.clone_from(chair);
        }
        for found in chairs.iter_mut().filter(|c| c.id == chair.id) {
            (found.instrument, found.players) = (chair.instrument.clone(), chair.players);
        }
    }
    let doubts = score.warnings.iter().map(ToString::to_string);
    let remarks: Vec<String> = doubts.chain(remarks).collect();
    let cue = Cue::of(path, plan, template, score);
    let mut performed = stages::unpatched(&cue);
    // Advice on the wording of a plan that nobody has seen.
    performed.findings.clear();
    let of_desks = |ids: &[&str]| {
        let desk = |track: usize| {
            let id = &chairs.iter().find(|c| c.track == track)?.id;
            ids.iter().position(|other| other == id)
        };
        for_desks(&reading, ids.len(), &desk)
    };
    let checked = check_with(&cue, &performed, Some(&of_desks));
    Ok(Read { cue, reading, chairs, performed, checked, remarks })
}

/// A reading of tracks as one of desks: `desk` tells which desk a track sits at, if at any.
fn for_desks(reading: &Reading, desks: usize, desk: &dyn Fn(usize) -> Option<usize>) -> Reading {
    let passage = |p: &PassageFound| {
        let mut roles = vec![RoleFound::default(); desks];
        for (track, role) in p.roles.iter().enumerate() {
            if let Some(place) = desk(track).and_then(|d| roles.get_mut(d)) {
                place.clone_from(role);
            }
        }
        PassageFound { roles, ..p.clone() }
    };
    Reading {
        passages: reading.passages.iter().map(passage).collect(),
        doublings: reading
            .doublings
            .iter()
            .filter_map(|d| Some(Doubling { track: desk(d.track)?, of: desk(d.of)?, ..d.clone() }))
            .collect(),
        tune: reading.tune.iter().filter_map(|t| Some(TuneSpan { track: desk(t.track)?, ..*t })).collect(),
    }
}
