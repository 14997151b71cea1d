//! The findings as JSON, the shape of `check --json`: a mirror of our own types, so that those may
//! change.

use ripieno_cue::charts::{self, PedalChange, PedalChart, TuningChange, TuningChart};
use ripieno_cue::{Arc, Checked, Finding, Presence};
use serde::Serialize;

#[derive(Serialize)]
struct Document<'a> {
    #[serde(flatten)]
    through: ThroughOut<'a>,
    /// What the plan silences, with its reason.
    accepted: Vec<Accepted<'a>>,
}

/// The read-through of a piece, with a plan or without.
#[derive(Serialize)]
pub struct ThroughOut<'a> {
    findings: Vec<FindingOut<'a>>,
    /// What only living players feel, where it is for samples.
    folded: Vec<FindingOut<'a>>,
    pedals: Vec<Pedals<'a>>,
    tunings: Vec<Tunings<'a>>,
    arc: ArcOut<'a>,
}

/// Positions of D C B E F G A as a harpist writes them.
#[derive(Serialize)]
struct Pedals<'a> {
    chair: &'a str,
    start: String,
    changes: Vec<PedalOut>,
}

#[derive(Serialize)]
struct PedalOut {
    bar: i32,
    beat: f64,
    pedals: Vec<String>,
    setting: String,
    in_time: bool,
}

/// Diameters in inches, keys as MIDI numbers.
#[derive(Serialize)]
struct Tunings<'a> {
    chair: &'a str,
    drums: &'a [u16],
    start: &'a [Option<i16>],
    changes: Vec<TuningOut>,
}

#[derive(Serialize)]
struct TuningOut {
    bar: i32,
    beat: f64,
    drum: u16,
    from: i16,
    to: i16,
    in_time: bool,
}

#[derive(Serialize)]
struct FindingOut<'a> {
    rule: &'a str,
    severity: &'static str,
    chair: &'a str,
    bar: i32,
    beat: f64,
    to_bar: i32,
    message: &'a str,
    remedy: &'a str,
    source: &'a str,
    /// What `--take` is given, where an exact change is known.
    take: Option<String>,
    /// That change, in words.
    change: Option<String>,
}

#[derive(Serialize)]
struct Accepted<'a> {
    #[serde(flatten)]
    finding: FindingOut<'a>,
    reason: &'a str,
}

/// How a cue grows. Seconds, MIDI keys, sones, phons, Cams, onsets a second.
#[derive(Serialize)]
struct ArcOut<'a> {
    bars: Vec<BarOut<'a>>,
    chairs: Vec<PresenceOut<'a>>,
    families: Vec<PresenceOut<'a>>,
    climax: Option<ClimaxOut<'a>>,
}

#[derive(Serialize)]
struct BarOut<'a> {
    bar: i32,
    seconds: f64,
    sones: f64,
    phons: f64,
    low: Option<u8>,
    high: Option<u8>,
    players: u32,
    brightness: f64,
    density: f64,
    reserve: &'a [String],
}

#[derive(Serialize)]
struct PresenceOut<'a> {
    who: &'a str,
    from_bar: i32,
    to_bar: i32,
    bars: u32,
}

#[derive(Serialize)]
struct ClimaxOut<'a> {
    bar: i32,
    sones: f64,
    exceeds: f64,
    enters: &'a [String],
    returns: &'a [String],
}

fn round(x: f64) -> f64 {
    (x * 1e4).round() / 1e4
}

fn one(finding: &Finding, name: impl FnOnce() -> String) -> FindingOut<'_> {
    FindingOut {
        rule: finding.rule,
        severity: finding.severity.word(),
        chair: &finding.chair,
        bar: finding.bar,
        beat: round(finding.beat),
        to_bar: finding.to_bar,
        message: &finding.message,
        remedy: &finding.remedy,
        source: finding.source,
        take: finding.change.as_ref().map(|_| name()),
        change: finding.change.as_ref().map(ToString::to_string),
    }
}

fn presence(all: &[Presence]) -> Vec<PresenceOut<'_>> {
    all.iter().map(presence_out).collect()
}

fn presence_out(p: &Presence) -> PresenceOut<'_> {
    PresenceOut { who: &p.who, from_bar: p.from_bar, to_bar: p.to_bar, bars: p.bars }
}

/// The arc in its published shape.
fn arc(arc: &Arc) -> ArcOut<'_> {
    ArcOut {
        bars: arc.bars.iter().map(bar_out).collect(),
        chairs: presence(&arc.chairs),
        families: presence(&arc.families),
        climax: arc.climax.as_ref().map(|c| ClimaxOut {
            bar: c.bar,
            sones: round(c.sones),
            exceeds: round(c.exceeds),
            enters: &c.enters,
            returns: &c.returns,
        }),
    }
}

fn bar_out(b: &ripieno_cue::ArcBar) -> BarOut<'_> {
    BarOut {
        bar: b.bar,
        seconds: round(b.seconds),
        sones: round(b.sones),
        phons: round(b.phons),
        low: b.span.map(|s| s.0),
        high: b.span.map(|s| s.1),
        players: b.players,
        brightness: round(b.brightness),
        density: round(b.density),
        reserve: &b.reserve,
    }
}

fn pedals(chart: &PedalChart) -> Pedals<'_> {
    let change = |c: &PedalChange| PedalOut {
        bar: c.at.bar,
        beat: round(c.at.beat),
        pedals: c.pedals.iter().map(|(letter, position)| charts::pedal(*letter, *position)).collect(),
        setting: charts::diagram(&c.setting),
        in_time: c.in_time,
    };
    Pedals {
        chair: &chart.chair,
        start: charts::diagram(&chart.start),
        changes: chart.changes.iter().map(change).collect(),
    }
}

fn tunings(chart: &TuningChart) -> Tunings<'_> {
    let change = |c: &TuningChange| TuningOut {
        bar: c.at.bar,
        beat: round(c.at.beat),
        drum: chart.drums.get(c.drum).copied().unwrap_or(0),
        from: c.from,
        to: c.to,
        in_time: c.in_time,
    };
    Tunings {
        chair: &chart.chair,
        drums: &chart.drums,
        start: &chart.start,
        changes: chart.changes.iter().map(change).collect(),
    }
}

/// The read-through without what a plan accepts of it.
pub fn through(checked: &Checked) -> ThroughOut<'_> {
    let mut names = checked.names().into_iter();
    let mut named = |finding| {
        let name = names.next().unwrap_or_default();
        one(finding, || name)
    };
    ThroughOut {
        findings: checked.findings.iter().map(&mut named).collect(),
        folded: checked.folded.iter().map(&mut named).collect(),
        pedals: checked.charts.pedals.iter().map(pedals).collect(),
        tunings: checked.charts.tunings.iter().map(tunings).collect(),
        arc: arc(&checked.arc),
    }
}

/// The read-through, as one JSON document.
pub fn checked(checked: &Checked) -> Result<String, serde_json::Error> {
    let document = Document {
        through: through(checked),
        accepted: checked
            .accepted
            .iter()
            .map(|(f, reason)| Accepted { finding: one(f, || checked.name(f)), reason })
            .collect(),
    };
    let mut text = serde_json::to_string(&document)?;
    text.push('\n');
    Ok(text)
}
