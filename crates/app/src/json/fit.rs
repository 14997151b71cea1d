//! `fit --json`. Errors: music minus picture, so below zero where the music is early.

use ripieno_cue::{FitSheet, HitMet};
use serde::Serialize;

#[derive(Serialize)]
struct Sheet<'a> {
    rate: &'static str,
    bar_1: String,
    /// Quarters a minute.
    wished: f64,
    now: Vec<Hit<'a>>,
    proposals: Vec<Proposal<'a>>,
    remarks: &'a [String],
}

#[derive(Serialize)]
struct Hit<'a> {
    at: String,
    what: &'a str,
    bar: Option<i32>,
    beat: Option<f64>,
    error_ms: Option<f64>,
    error_frames: Option<f64>,
    within: f64,
    after_end: bool,
    met: bool,
}

#[derive(Serialize)]
struct Proposal<'a> {
    number: usize,
    kind: &'static str,
    cost: Option<f64>,
    tempi: Vec<Tempo>,
    metres: Vec<Metre>,
    hits: Vec<Hit<'a>>,
    costs: &'a [String],
}

#[derive(Serialize)]
struct Tempo {
    bar: i32,
    beat: f64,
    bpm: Option<f64>,
    factor: Option<f64>,
    ramp: bool,
}

#[derive(Serialize)]
struct Metre {
    bar: i32,
    beats: u16,
}

fn hits(list: &[HitMet]) -> Vec<Hit<'_>> {
    list.iter()
        .map(|h| Hit {
            at: h.at.to_string(),
            what: &h.what,
            bar: h.place.map(|p| p.0),
            beat: h.place.map(|p| p.1),
            error_ms: h.place.map(|_| h.ms),
            error_frames: h.place.map(|_| h.frames),
            within: h.within,
            after_end: h.after_end,
            met: h.is_met(),
        })
        .collect()
}

/// The timing sheet, as one JSON document.
pub fn fit(sheet: &FitSheet) -> Result<String, serde_json::Error> {
    let proposals = sheet
        .proposals
        .iter()
        .enumerate()
        .map(|(i, p)| Proposal {
            number: i + 1,
            kind: p.kind,
            cost: p.cost,
            tempi: p
                .tempi
                .iter()
                .map(|t| Tempo {
                    bar: t.bar,
                    beat: t.beat,
                    bpm: t.bpm,
                    factor: t.bpm.is_none().then_some(t.factor),
                    ramp: t.ramp,
                })
                .collect(),
            metres: p.metres.iter().map(|m| Metre { bar: m.bar, beats: m.beats }).collect(),
            hits: hits(&p.hits),
            costs: &p.costs,
        })
        .collect();
    let mut text = serde_json::to_string(&Sheet {
        rate: sheet.rate.word(),
        bar_1: sheet.zero.to_string(),
        wished: sheet.wished,
        now: hits(&sheet.now),
        proposals,
        remarks: &sheet.remarks,
    })?;
    text.push('\n');
    Ok(text)
}
