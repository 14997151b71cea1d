//! Casting, performance and patches, one after the other.

use crate::Cue;
use ripieno_instruments::Instrument;
use ripieno_music::{Finding, Part, Performance};
use ripieno_patches::{ChairPatches, PatchOutput, Placement};
use ripieno_performance::{Options, Performer};

/// How to perform.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct PerformOptions {
    /// Whether notes are moved by the delays of their patches.
    pub placement: Placement,
}

impl PerformOptions {
    /// Notes stay where they are written; delays are listed instead.
    pub fn on_grid() -> Self {
        Self { placement: Placement::AsNotated }
    }
}

impl Default for PerformOptions {
    fn default() -> Self {
        Self { placement: Placement::Compensated }
    }
}

/// A cue, performed.
#[derive(Clone, Debug)]
pub struct Performed {
    /// The parts as cast.
    pub parts: Vec<Part>,
    /// The performance.
    pub performance: Performance,
    /// For the composer's patches.
    pub patches: PatchOutput,
    /// Of casting and of patches.
    pub findings: Vec<Finding>,
    /// What was inferred or read by a rule, in words.
    pub remarks: Vec<String>,
}

/// Casts and performs a cue, and writes it for its patches.
pub fn perform(cue: &Cue, options: PerformOptions) -> Performed {
    let (parts, mut findings) = ripieno_casting::cast(&cue.score, &cue.plan, &cue.template);
    let settings = &cue.plan.settings;
    let on_grid = options.placement == Placement::AsNotated;
    let how = Options {
        seed: settings.seed,
        tempo_expression: settings.tempo_expression,
        asynchrony: if on_grid { 0.0 } else { settings.asynchrony },
        intonation: settings.intonation,
        keep_curves: settings.keep.curves,
        keep_timing: settings.keep.timing,
        keep_velocity: settings.keep.velocity,
    };
    let timeline = &cue.score.timeline;
    let passages: Vec<_> = cue
        .plan
        .passages
        .iter()
        .filter_map(|p| timeline.bar_numbered(p.from_bar).map(|bar| (p.name.clone(), bar.at)))
        .collect();
    let performers: Vec<Performer<'_>> = parts
        .iter()
        .filter_map(|part| {
            let chair = cue.template.chairs.iter().find(|c| c.id == part.chair)?;
            let instrument = instrument(&chair.instrument)?;
            Some(Performer { part, instrument, players: chair.players.max(1) })
        })
        .collect();
    let performed = ripieno_performance::perform(timeline, &performers, &passages, &how);
    let set: Vec<ChairPatches> = cue
        .template
        .chairs
        .iter()
        .map(|chair| ChairPatches {
            chair: chair.id.clone(),
            track: chair.track.clone().unwrap_or_else(|| chair.id.clone()),
            port: chair.port.clone(),
            cards: cue.cards.get(&chair.id).cloned().unwrap_or_default(),
        })
        .collect();
    let patches = ripieno_patches::play(&performed.performance, &set, options.placement);
    findings.extend(patches.findings.iter().cloned());
    let mut remarks: Vec<String> =
        cue.score.warnings.iter().map(|w| format!("{}: {}", w.place, w.message)).collect();
    remarks.extend(performed.remarks);
    Performed { parts, performance: performed.performance, patches, findings, remarks }
}

/// The template was checked: an unknown instrument was an error there.
fn instrument(id: &str) -> Option<&'static Instrument> {
    ripieno_instruments::by_id(id)
}
