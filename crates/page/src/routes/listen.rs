//! Sound: what there is to listen to, and blocks of it.

use super::{aside, json};
use crate::error::PageError;
use crate::state::House;
use axum::Router;
use axum::body::Bytes;
use axum::extract::{Path, Query, State};
use axum::http::{HeaderValue, header};
use axum::response::{IntoResponse, Response};
use axum::routing::{get, post};
use ripieno_cue::listen::{Ask, Choice, Side, What};
use serde::{Deserialize, Serialize};
use std::sync::Arc;
use std::time::Duration;

pub fn routes() -> Router<Arc<House>> {
    Router::new()
        .route("/cue/{id}/listen", get(program))
        .route("/cue/{id}/listen/block", get(block))
        .route("/cue/{id}/listen/keep", post(keep))
        .route("/cue/{id}/listen/match", get(matched))
}

/// Longest that a request waits for what is not rendered yet: then it says what is missing.
const PATIENCE: u64 = 4000;

/// What is asked for, in the words of an address.
#[derive(Deserialize)]
struct Asked {
    /// `now` or `kept`.
    #[serde(default)]
    side: String,
    /// `all`, `chairs`, `family` or `line`.
    #[serde(default)]
    what: String,
    /// Its name; several chairs with commas between.
    #[serde(default)]
    name: String,
    /// Everything but that.
    #[serde(default)]
    except: bool,
    /// The others beside it, dB.
    others: Option<f64>,
    #[serde(default)]
    from: i64,
    #[serde(default)]
    frames: usize,
    #[serde(default)]
    gain: f64,
    /// Milliseconds.
    #[serde(default)]
    patience: u64,
}

impl Asked {
    fn side(&self) -> Side {
        if self.side == "kept" { Side::Kept } else { Side::Now }
    }

    fn choice(&self) -> Result<Choice, PageError> {
        let what = match self.what.as_str() {
            "" | "all" => What::All,
            "chairs" => What::Chairs(self.name.split(',').map(str::to_string).collect()),
            "family" => What::Family(self.name.clone()),
            "line" => What::Line(self.name.clone()),
            other => return Err(PageError::Asked(format!("`{other}` cannot be listened to"))),
        };
        Ok(Choice { what, except: self.except, others_db: self.others })
    }
}

#[derive(Serialize)]
struct Program {
    rate: u32,
    frames: u64,
    lead_in: f64,
    chairs: Vec<(String, &'static str)>,
    lines: Vec<String>,
    remarks: Vec<String>,
    ready: (usize, usize),
    /// Numbers and first frames.
    bars: Vec<(i32, i64)>,
    kept: bool,
}

async fn program(State(house): State<Arc<House>>, Path(id): Path<String>) -> Result<Response, PageError> {
    let open = house.cue(&id)?;
    let program = aside(move || {
        let listener = open.sound.listener(&open)?;
        let now = listener
            .program(Side::Now)
            .ok_or_else(|| PageError::Missing("there is nothing to hear".into()))?;
        let kept = listener.program(Side::Kept).is_some();
        let shown = open.shown();
        let lines = shown.played.parts.iter().flat_map(|p| &p.cells).filter_map(|c| c.line.clone());
        let lines: std::collections::BTreeSet<String> = lines.collect();
        Ok(Program {
            rate: now.grid.rate,
            frames: now.grid.frames,
            lead_in: now.grid.lead_in,
            chairs: now.chairs,
            lines: lines.into_iter().collect(),
            remarks: now.remarks,
            ready: now.ready,
            bars: listener.bars(Side::Now),
            kept,
        })
    })
    .await?;
    json(&program)
}

/// Two floats a frame, left and right; the chairs that are missing stand in a header.
async fn block(
    State(house): State<Arc<House>>,
    Path(id): Path<String>,
    Query(asked): Query<Asked>,
) -> Result<Response, PageError> {
    let open = house.cue(&id)?;
    if asked.from < 0 {
        return Err(PageError::Asked("`from` is a frame of the cue, from 0".into()));
    }
    let ask = Ask {
        side: asked.side(),
        choice: asked.choice()?,
        from: asked.from,
        frames: asked.frames,
        gain_db: asked.gain,
        patience: Duration::from_millis(asked.patience.min(PATIENCE)),
    };
    let block = aside(move || Ok(open.sound.listener(&open)?.block(&ask)?)).await?;
    let mut bytes = Vec::with_capacity(8 * block.left.len());
    for (l, r) in block.left.iter().zip(&block.right) {
        bytes.extend_from_slice(&l.to_le_bytes());
        bytes.extend_from_slice(&r.to_le_bytes());
    }
    let mut response =
        ([(header::CONTENT_TYPE, "application/octet-stream")], Bytes::from(bytes)).into_response();
    // Ids of chairs are plain letters.
    if let Ok(missing) = HeaderValue::from_str(&block.missing.join(",")) {
        response.headers_mut().insert("x-missing", missing);
    }
    Ok(response)
}

async fn keep(State(house): State<Arc<House>>, Path(id): Path<String>) -> Result<Response, PageError> {
    let open = house.cue(&id)?;
    aside(move || {
        open.sound.listener(&open)?.keep();
        Ok(())
    })
    .await?;
    json(&true)
}

/// dB that bring what was kept to the loudness of what is, between two frames.
async fn matched(
    State(house): State<Arc<House>>,
    Path(id): Path<String>,
    Query(asked): Query<Asked>,
) -> Result<Response, PageError> {
    let open = house.cue(&id)?;
    let choice = asked.choice()?;
    let range = (asked.from, asked.from.saturating_add(asked.frames.min(1 << 40) as i64));
    let gain = aside(move || {
        let listener = open.sound.listener(&open)?;
        let patience = Duration::from_millis(PATIENCE);
        let of = |side| listener.loudness(side, &choice, range, patience);
        Ok(of(Side::Now)?.zip(of(Side::Kept)?).map(|(now, kept)| now - kept))
    })
    .await?;
    json(&gain)
}
