//! The hall's page: shown, seats moved by hand or by words, rooms measured.

use super::{aside, json, page, parse};
use crate::error::PageError;
use crate::html;
use crate::open::Open;
use crate::state::House;
use axum::Router;
use axum::body::Bytes;
use axum::extract::{Path, State};
use axum::response::Response;
use axum::routing::{get, post};
use ripieno_cue::view::{seat_by_words, seat_numbers, sitting, usual_seat};
use ripieno_cue::{Act, NewValue};
use serde::Deserialize;
use std::sync::Arc;

pub fn routes() -> Router<Arc<House>> {
    Router::new()
        .route("/cue/{id}/hall", get(show))
        .route("/cue/{id}/hall/seat", post(seat))
        .route("/cue/{id}/hall/rooms", get(rooms))
}

async fn show(State(house): State<Arc<House>>, Path(id): Path<String>) -> Result<Response, PageError> {
    let open = house.cue(&id)?;
    Ok(page(aside(move || Ok(html::hall(&house, &open))).await?))
}

/// A chair is to sit elsewhere: at a place in metres, or where words lead.
#[derive(Deserialize)]
struct Moved {
    chair: String,
    #[serde(default)]
    words: Option<String>,
    #[serde(default)]
    to: Option<(f64, f64)>,
    seen: u64,
}

async fn seat(
    State(house): State<Arc<House>>,
    Path(id): Path<String>,
    body: Bytes,
) -> Result<Response, PageError> {
    let open = house.cue(&id)?;
    let moved: Moved = parse(&body)?;
    let renewal = aside(move || {
        put(&open, &moved)?;
        Ok(open.since(moved.seen))
    })
    .await?;
    json(&renewal)
}

fn put(open: &Open, moved: &Moved) -> Result<(), PageError> {
    let shown = open.shown();
    let cue = &shown.played.cue;
    let mut others = sitting(cue);
    let here = others.iter().position(|o| o.id == moved.chair);
    let missing = || PageError::Asked(format!("there is no chair `{}`", moved.chair));
    let here = others.remove(here.ok_or_else(missing)?);
    let (x, y) = match (&moved.words, moved.to) {
        (Some(words), _) => {
            let usual = usual_seat(cue, &moved.chair);
            seat_by_words(words, &here, &others, usual).map_err(|fault| {
                let word = words.get(fault.from..fault.to).unwrap_or("").trim();
                let at = if word.is_empty() || fault.message.contains(word) {
                    String::new()
                } else {
                    format!(" (at “{word}”)")
                };
                PageError::Asked(format!("{}{at}; {}", fault.message, fault.help))
            })?
        }
        (None, Some((x, y))) if x.abs() <= 100.0 && y.abs() <= 100.0 => (x, y),
        _ => return Err(PageError::Asked("a seat lies within 100 m".into())),
    };
    let numbers = seat_numbers(cue, &moved.chair, x, y).ok_or_else(missing)?;
    let path = ["chair", moved.chair.as_str(), "seat"].map(str::to_string).to_vec();
    open.act(&[Act::Template { path, value: NewValue::Numbers(numbers) }])
}

async fn rooms(State(house): State<Arc<House>>, Path(id): Path<String>) -> Result<Response, PageError> {
    let open = house.cue(&id)?;
    Ok(page(aside(move || Ok(html::rooms(&open.rooms()?))).await?))
}
