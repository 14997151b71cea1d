//! Casting, performance and patches, one after the other.

use crate::Cue;
use ripieno_instruments::Instrument;
use ripieno_music::{Finding, Part, Performance};
use ripieno_patches::{ChairPatches, PatchOutput, Placement};
use ripieno_performance::{Options, Performer};
use ripieno_units::Beats;

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
    /// Pencil marks, and how they stand.
    pub pencil: Vec<crate::Pencilled>,
    /// The MIDI file note by note, where marks are in it: without marks it is read from `patches` when it is needed.
    pub(crate) written: Option<ripieno_handwork::Written>,
    /// What was inferred or read by a rule, in words.
    pub remarks: Vec<String>,
}

/// Casts a cue.
pub(crate) fn cast(cue: &Cue) -> (Vec<Part>, Vec<Finding>) {
    ripieno_casting::cast(&cue.score, &cue.plan, &cue.template)
}

/// How freely to play, as the plan says.
pub(crate) fn options(cue: &Cue, options: PerformOptions) -> Options {
    let settings = &cue.plan.settings;
    let on_grid = options.placement == Placement::AsNotated;
    Options {
        seed: settings.seed,
        tempo_expression: settings.tempo_expression,
        asynchrony: if on_grid { 0.0 } else { settings.asynchrony },
        intonation: settings.intonation,
        keep_curves: settings.keep.curves,
        keep_timing: settings.keep.timing,
        keep_velocity: settings.keep.velocity,
    }
}

/// The passages with their starts.
pub(crate) fn passages(cue: &Cue) -> Vec<(String, Beats)> {
    let start = |bar| cue.score.timeline.bar_numbered(bar).map(|bar| bar.at);
    cue.plan.passages.iter().filter_map(|p| Some((p.name.clone(), start(p.from_bar)?))).collect()
}

/// Who performs these parts.
pub(crate) fn performers<'a>(cue: &Cue, parts: &'a [Part]) -> Vec<Performer<'a>> {
    parts
        .iter()
        .filter_map(|part| {
            let chair = cue.template.chairs.iter().find(|c| c.id == part.chair)?;
            let instrument = instrument(&chair.instrument)?;
            Some(Performer { part, instrument, players: chair.players.max(1) })
        })
        .collect()
}

/// Casts and performs a cue, and writes it for its patches.
pub fn perform(cue: &Cue, how: PerformOptions) -> Performed {
    let mut performed = plain(cue, how);
    (performed.pencil, performed.written) = crate::pencil::onto(cue, &mut performed.patches);
    performed
}

/// The same without what was changed by hand.
pub(crate) fn plain(cue: &Cue, how: PerformOptions) -> Performed {
    written(cue, how, |performance| for_patches(cue, performance, how))
}

/// The same with nothing written for patches: of a piece that was never given any.
pub(crate) fn unpatched(cue: &Cue) -> Performed {
    let how = PerformOptions::default();
    written(cue, how, |performance| {
        let timeline = performance.timeline.clone();
        let silent = Performance { timeline, passages: Vec::new(), chairs: Vec::new() };
        for_patches(cue, &silent, how)
    })
}

fn written(cue: &Cue, how: PerformOptions, patches: impl Fn(&Performance) -> PatchOutput) -> Performed {
    let (parts, mut findings) = cast(cue);
    let performed = ripieno_performance::perform(
        &cue.score.timeline,
        &performers(cue, &parts),
        &passages(cue),
        &options(cue, how),
    );
    let patches = patches(&performed.performance);
    findings.extend(patches.findings.iter().cloned());
    let mut remarks: Vec<String> = cue.score.warnings.iter().map(ToString::to_string).collect();
    remarks.extend(performed.remarks);
    let performance = performed.performance;
    let (pencil, written) = (Vec::new(), None);
    Performed { parts, performance, patches, findings, pencil, written, remarks }
}

/// A performance, written for the cue's patches.
pub(crate) fn for_patches(cue: &Cue, performance: &Performance, how: PerformOptions) -> PatchOutput {
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
    let lead_in = cue.delivering().lead_in.unwrap_or(0);
    let mut output = ripieno_patches::play_after(performance, &set, how.placement, lead_in);
    crate::hits::mark(cue, performance, &mut output);
    output
}

/// The template was checked: an unknown instrument was an error there.
fn instrument(id: &str) -> Option<&'static Instrument> {
    ripieno_instruments::by_id(id)
}
