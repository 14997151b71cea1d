//! The published shapes of `--json`: mirrors of our own types, so that those may change.

mod fit;
mod reading;

pub use fit::fit;
pub use reading::read;
pub use ripieno_report::json::checked;

use ripieno_cue::{Change, HallReport, PatchOutput, Pencilled};
use serde::Serialize;

#[derive(Serialize)]
struct Performed<'a> {
    /// Length of the bars before bar 1, in seconds.
    lead_in: f64,
    notes: Vec<Note<'a>>,
}

#[derive(Serialize)]
struct Note<'a> {
    chair: &'a str,
    track: &'a str,
    channel: u8,
    bar: i32,
    beat: f64,
    key: u8,
    onset: f64,
    end: f64,
    note_on: Option<f64>,
    note_off: Option<f64>,
    articulation: &'a str,
    colour: Option<&'static str>,
    used: &'a str,
    used_colour: Option<&'static str>,
    joined: bool,
    velocity: u8,
    pencil: bool,
    findings: &'a [&'static str],
}

/// The intent of every note, as one JSON document.
pub fn performed(output: &PatchOutput) -> Result<String, serde_json::Error> {
    let micro = |seconds: f64| (seconds * 1e9).round() / 1e9;
    let notes = output
        .intents
        .iter()
        .map(|i| Note {
            chair: &i.chair,
            track: &i.track,
            channel: i.channel,
            bar: i.place.bar,
            beat: micro(i.place.beat),
            key: i.key,
            onset: micro(i.onset.0),
            end: micro(i.end.0),
            note_on: i.note_on.map(|t| micro(t.0)),
            note_off: i.note_off.map(|t| micro(t.0)),
            articulation: &i.articulation,
            colour: i.colour.map(|c| c.word()),
            used: &i.used,
            used_colour: i.used_colour.map(|c| c.word()),
            joined: i.joined,
            velocity: i.velocity,
            pencil: i.pencil,
            findings: &i.findings,
        })
        .collect();
    let mut text = serde_json::to_string(&Performed { lead_in: micro(output.lead_in.0), notes })?;
    text.push('\n');
    Ok(text)
}

#[derive(Serialize)]
struct Halls<'a> {
    halls: Vec<Hall<'a>>,
}

#[derive(Serialize)]
struct Hall<'a> {
    id: &'a str,
    name: &'a str,
    volume: Option<f64>,
    bands: Vec<Band>,
}

/// Seconds but for `c80` (dB) and `d50` (0 to 1).
#[derive(Serialize)]
struct Band {
    hertz: f64,
    wanted: Option<f64>,
    edt: Option<f64>,
    t20: Option<f64>,
    t30: Option<f64>,
    c80: Option<f64>,
    d50: f64,
    ts: f64,
}

/// What halls measure, as one JSON document.
pub fn halls(halls: &[HallReport]) -> Result<String, serde_json::Error> {
    let round = |x: f64| (x * 1e4).round() / 1e4;
    let halls = halls
        .iter()
        .map(|h| Hall {
            id: &h.id,
            name: &h.name,
            volume: h.volume.map(round),
            bands: h
                .measures
                .iter()
                .enumerate()
                .map(|(i, m)| Band {
                    hertz: m.hertz,
                    wanted: h.wanted.and_then(|w| w.get(i).copied()).map(round),
                    edt: m.edt.map(|t| round(t.0)),
                    t20: m.t20.map(|t| round(t.0)),
                    t30: m.t30.map(|t| round(t.0)),
                    c80: Some(round(m.c80.0)).filter(|c| c.is_finite()),
                    d50: round(m.d50),
                    ts: round(m.ts.0),
                })
                .collect(),
        })
        .collect();
    let mut text = serde_json::to_string(&Halls { halls })?;
    text.push('\n');
    Ok(text)
}

#[derive(Serialize)]
struct Changes<'a> {
    changes: Vec<ChangeOut<'a>>,
}

#[derive(Serialize)]
struct ChangeOut<'a> {
    passage: Option<&'a str>,
    chair: Option<&'a str>,
    from_bar: i32,
    to_bar: i32,
    kind: &'static str,
    message: &'a str,
}

/// What changed between two versions, as one JSON document.
pub fn changes(changes: &[Change]) -> Result<String, serde_json::Error> {
    let changes = changes
        .iter()
        .map(|c| ChangeOut {
            passage: c.passage.as_deref(),
            chair: c.chair.as_deref(),
            from_bar: c.bars.0,
            to_bar: c.bars.1,
            kind: c.kind,
            message: &c.message,
        })
        .collect();
    let mut text = serde_json::to_string(&Changes { changes })?;
    text.push('\n');
    Ok(text)
}

#[derive(Serialize)]
struct Marks<'a> {
    marks: Vec<MarkOut<'a>>,
}

#[derive(Serialize)]
struct MarkOut<'a> {
    id: u32,
    chair: &'a str,
    passage: &'a str,
    bar: i32,
    beat: f64,
    message: &'a str,
    fits: bool,
    why: Option<&'a str>,
}

/// Pencil marks, as one JSON document.
pub fn marks(marks: &[Pencilled]) -> Result<String, serde_json::Error> {
    let marks = marks
        .iter()
        .map(|m| MarkOut {
            id: m.id,
            chair: &m.chair,
            passage: &m.passage,
            bar: m.bar,
            beat: m.beat,
            message: &m.message,
            fits: m.no_longer.is_none(),
            why: m.no_longer.as_deref(),
        })
        .collect();
    let mut text = serde_json::to_string(&Marks { marks })?;
    text.push('\n');
    Ok(text)
}
