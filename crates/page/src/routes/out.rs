//! Writing out: begun, looked at, stopped; the files that were written, fetched.

use super::{json, parse};
use crate::error::PageError;
use crate::state::House;
use axum::Router;
use axum::body::Bytes;
use axum::extract::{Path, State};
use axum::http::header;
use axum::response::{IntoResponse, Response};
use axum::routing::{get, post};
use ripieno_cue::{Bits, DeliverOptions, DeliverPlan, RATES, RenderOptions, StemKind, Without};
use serde::Deserialize;
use std::sync::Arc;

pub fn routes() -> Router<Arc<House>> {
    Router::new()
        .route("/cue/{id}/out", get(standing).post(begin))
        .route("/cue/{id}/out/stop", post(stop))
        .route("/cue/{id}/written/{name}", get(file))
}

/// What is to be written.
#[derive(Deserialize)]
struct Wanted {
    /// Sound as well.
    sound: bool,
    /// The report as a page, score and parts instead.
    #[serde(default)]
    sheets: bool,
    rate: Option<u32>,
    bits: Option<i64>,
    /// Only this passage, from so many bars before.
    passage: Option<String>,
    #[serde(default)]
    pre_roll: u32,
    #[serde(default)]
    only: Vec<String>,
    /// Everything a session or a client needs instead, into a folder of its own.
    deliver: Option<Choice>,
}

/// What is chosen of a deliver; what is not said is as the plan says.
#[derive(Deserialize)]
struct Choice {
    /// families, chairs, dry.
    stems: Option<Vec<String>>,
    /// tune, a family or a chair.
    without: Option<Vec<String>>,
    breakdown: Option<bool>,
    flac: Option<bool>,
}

impl Choice {
    fn plan(self, rate: Option<u32>, bits: Option<Bits>) -> Result<DeliverPlan, PageError> {
        let kind = |word: &String| {
            StemKind::parse(word).ok_or_else(|| PageError::Asked("stems are families, chairs and dry".into()))
        };
        let stems = self.stems.map(|all| all.iter().map(kind).collect::<Result<Vec<_>, _>>()).transpose()?;
        Ok(DeliverPlan {
            stems,
            alternates: self.without.map(|all| all.iter().filter_map(|w| Without::of(w)).collect()),
            breakdown: self.breakdown,
            flac: self.flac,
            rate,
            bits,
            ..DeliverPlan::default()
        })
    }
}

async fn begin(
    State(house): State<Arc<House>>,
    Path(id): Path<String>,
    body: Bytes,
) -> Result<Response, PageError> {
    let open = house.cue(&id)?;
    let wanted: Wanted = parse(&body)?;
    let bits = wanted
        .bits
        .map(|bits| Bits::of(bits).ok_or_else(|| PageError::Asked("bits are 16, 24 or 32".into())));
    if wanted.rate.is_some_and(|rate| !RATES.contains(&rate)) {
        return Err(PageError::Asked("rates are 44100, 48000, 88200 and 96000".into()));
    }
    let cue = Arc::clone(&open.shown().played.cue);
    let bits = bits.transpose()?;
    if let Some(choice) = wanted.deliver {
        let options = DeliverOptions { choice: choice.plan(wanted.rate, bits)?, ..DeliverOptions::default() };
        open.out.begin()?;
        let out = Arc::clone(&open.out);
        std::thread::spawn(move || out.deliver(&cue, &options));
        return json(&open.out.standing());
    }
    if wanted.sheets {
        open.out.begin()?;
        let out = Arc::clone(&open.out);
        std::thread::spawn(move || out.sheets(&cue));
        return json(&open.out.standing());
    }
    let options = RenderOptions {
        only: wanted.only,
        passage: wanted.passage,
        pre_roll: wanted.pre_roll,
        rate: wanted.rate,
        bits,
        ..RenderOptions::default()
    };
    open.out.begin()?;
    let out = Arc::clone(&open.out);
    std::thread::spawn(move || out.write(&cue, wanted.sound.then_some(options)));
    json(&open.out.standing())
}

async fn standing(State(house): State<Arc<House>>, Path(id): Path<String>) -> Result<Response, PageError> {
    json(&house.cue(&id)?.out.standing())
}

async fn stop(State(house): State<Arc<House>>, Path(id): Path<String>) -> Result<Response, PageError> {
    let open = house.cue(&id)?;
    open.out.stop();
    json(&open.out.standing())
}

/// The files that a browser may fetch, with their kinds; nothing else of the folder.
const FILES: &[(&str, &str)] = &[
    ("performed.mid", "audio/midi"),
    ("mix.wav", "audio/wav"),
    ("listening.wav", "audio/wav"),
    ("report.txt", "text/plain; charset=utf-8"),
    ("report.html", "text/html; charset=utf-8"),
    ("score.musicxml", "application/vnd.recordare.musicxml+xml"),
];

async fn file(
    State(house): State<Arc<House>>,
    Path((id, name)): Path<(String, String)>,
) -> Result<Response, PageError> {
    let open = house.cue(&id)?;
    let missing = || PageError::Missing("this was not written yet".into());
    let (name, kind) = FILES.iter().find(|(n, _)| *n == name).ok_or_else(missing)?;
    let path = open.folder.join(name);
    let bytes = super::aside(move || std::fs::read(&path).map_err(|_| missing())).await?;
    let kinds = [
        (header::CONTENT_TYPE, (*kind).to_string()),
        (header::CONTENT_DISPOSITION, format!("attachment; filename=\"{name}\"")),
    ];
    Ok((kinds, bytes).into_response())
}
