//! A cue cast and performed again after a change: only the chairs whose part has changed are performed anew.

use crate::stages::{cast, for_patches, options, passages, performers};
use crate::{Cue, PerformOptions, Performed, Pool};
use rayon::prelude::*;
use ripieno_music::{ChairPerformance, Finding, Part, Performance};
use std::sync::Arc;

/// What the board shows of a cue: parts and how they are played, without patches.
#[derive(Clone, Debug)]
pub struct Played {
    /// The cue.
    pub cue: Arc<Cue>,
    /// The parts.
    pub parts: Vec<Part>,
    /// How they are played.
    pub performance: Performance,
    /// What casting found.
    pub findings: Vec<Finding>,
    /// How many chairs were performed anew.
    pub renewed: usize,
}

/// The same, written for the patches as well: what listening and rendering start from.
pub fn performed(played: &Played) -> Performed {
    let mut patches = for_patches(&played.cue, &played.performance, PerformOptions::default());
    let (pencil, written) = crate::pencil::onto(&played.cue, &mut patches);
    let mut findings = played.findings.clone();
    findings.extend(patches.findings.iter().cloned());
    Performed {
        pencil,
        written,
        parts: played.parts.clone(),
        performance: played.performance.clone(),
        patches,
        findings,
        remarks: Vec::new(),
    }
}

impl Played {
    /// Casts and performs a cue; what `before` has already is taken from there.
    pub fn new(cue: &Arc<Cue>, before: Option<&Self>) -> Self {
        Pool::Hands.work(|| Self::made(cue, before))
    }

    fn made(cue: &Arc<Cue>, before: Option<&Self>) -> Self {
        let (parts, findings) = cast(cue);
        let how = options(cue, PerformOptions::default());
        let passages = passages(cue);
        let before = before.filter(|b| {
            b.cue.score.timeline == cue.score.timeline
                && options(&b.cue, PerformOptions::default()) == how
                && self::passages(&b.cue) == passages
        });
        let performers = performers(cue, &parts);
        let same = |chair: &str, players: u16, part: &Part| -> Option<Arc<ChairPerformance>> {
            let before = before?;
            let old = before.performance.chairs.iter().find(|c| c.chair == chair)?;
            let instrument = &cue.template.chairs.iter().find(|c| c.id == chair)?.instrument;
            let plays_same = before.parts.iter().any(|p| p.chair == chair && p.content == part.content);
            (plays_same && old.players == players && old.instrument == *instrument).then(|| Arc::clone(old))
        };
        let mut kept: Vec<Option<Arc<ChairPerformance>>> =
            performers.par_iter().map(|p| same(&p.part.chair, p.players, p.part)).collect();
        let todo: Vec<_> =
            performers.iter().zip(&kept).filter(|(_, k)| k.is_none()).map(|(p, _)| *p).collect();
        let performed = ripieno_performance::perform(&cue.score.timeline, &todo, &passages, &how);
        let mut renewed = performed.performance.chairs;
        let mut chairs = Vec::with_capacity(kept.len());
        let count = todo.len();
        for (slot, performer) in kept.iter_mut().zip(&performers) {
            match slot.take() {
                Some(chair) => chairs.push(chair),
                // A chair without a note has no performance.
                None => {
                    let new = renewed.iter().position(|c| c.chair == performer.part.chair);
                    chairs.extend(new.map(|i| renewed.remove(i)));
                }
            }
        }
        Self {
            cue: Arc::clone(cue),
            performance: Performance {
                timeline: performed.performance.timeline,
                passages: performed.performance.passages,
                chairs,
            },
            parts,
            findings,
            renewed: count,
        }
    }
}
