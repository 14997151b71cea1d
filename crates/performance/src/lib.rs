//! How it is played: parts in score time become gestures and curves in seconds.
//!
//! Takes [`ripieno_music::Part`]s with the instrument and the number of players of each, gives a
//! [`ripieno_music::Performance`]. It must not know the plan, nor any patch: what a patch needs (calls, delays, overlaps) is
//! another reader's business, and the compiler keeps that promise.
//!
//! Marks win over inference; music without marks (a MIDI file) is inferred from its notes. The rules are those of the
//! literature on performance (Friberg, Bresin and Sundberg 2006 on the rule system; Timmers and others 2002 on grace
//! notes; Rasch 1979 on ensembles), each named where it is used.

mod articulate;
mod chair;
mod curve;
mod expression;
mod gesture;
mod level;
mod nature;
mod ornament;
mod realise;
mod state;
mod sung;
mod timing;
mod voice;

pub use chair::Performer;
pub use nature::Nature;

use rayon::prelude::*;
use ripieno_music::{Performance, Timeline};
use ripieno_units::Beats;
use std::sync::Arc;

/// How freely to play.
#[derive(Clone, Debug, PartialEq)]
pub struct Options {
    /// Seed of every random choice.
    pub seed: u64,
    /// Phrase arch and final ritard in tempo: 0 none (music to picture), 1 nominal.
    pub tempo_expression: f64,
    /// Ensemble asynchrony: 0 none, 1 as measured of ensembles.
    pub asynchrony: f64,
    /// Ensemble intonation: 0 none, 1 as measured.
    pub intonation: f64,
    /// Keep the source's controller curves.
    pub keep_curves: bool,
    /// Keep the source's onsets and lengths.
    pub keep_timing: bool,
    /// Keep the source's velocities as dynamics.
    pub keep_velocity: bool,
}

impl Default for Options {
    fn default() -> Self {
        Self {
            seed: 1,
            tempo_expression: 0.0,
            asynchrony: 1.0,
            intonation: 1.0,
            keep_curves: false,
            keep_timing: false,
            keep_velocity: false,
        }
    }
}

/// A performance and what was assumed to make it.
#[derive(Clone, Debug, PartialEq)]
pub struct Performed {
    /// The performance.
    pub performance: Performance,
    /// What was inferred without evidence, in words, for the report.
    pub remarks: Vec<String>,
}

/// Performs the parts of a cue. `passages` are names with their first places, in order.
pub fn perform(
    timeline: &Timeline,
    performers: &[Performer<'_>],
    passages: &[(String, Beats)],
    options: &Options,
) -> Performed {
    let timeline = expression::shape_tempo(timeline, passages, options.tempo_expression);
    let clock = timeline.clock();
    let barlines: Vec<Beats> = timeline.bars.iter().map(|b| b.at).chain([timeline.end()]).collect();
    let stage = chair::Stage { timeline: &timeline, clock: &clock, barlines: &barlines, passages, options };
    // Chairs know nothing of each other: side by side, then in their order.
    let performed: Vec<_> = performers
        .par_iter()
        .map(|performer| {
            let mut remarks = Vec::new();
            (chair::perform_chair(&stage, performer, &mut remarks), remarks)
        })
        .collect();
    let mut remarks = Vec::new();
    let mut chairs = Vec::new();
    for (chair, said) in performed {
        remarks.extend(said);
        if !chair.gestures.is_empty() {
            chairs.push(Arc::new(chair));
        }
    }
    let passages =
        passages.iter().map(|(name, at)| (name.clone(), clock.seconds(*at), timeline.place(*at))).collect();
    Performed { performance: Performance { timeline, passages, chairs }, remarks }
}
