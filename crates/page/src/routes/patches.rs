//! The patches' page: shown, cards written and edited, calls tried, the cue sent to a sampler.

use super::{aside, json, page, parse};
use crate::error::PageError;
use crate::fragments::Renewal;
use crate::html;
use crate::open::Open;
use crate::state::House;
use axum::Router;
use axum::body::Bytes;
use axum::extract::{Path, Query, State};
use axum::response::Response;
use axum::routing::{get, post};
use ripieno_cue::view::{patches, session, trial};
use ripieno_cue::{Act, NewValue, Pool, card_from_list, new_card, save_card};
use ripieno_plan::edit::set_value;
use ripieno_plan::{Diagnostic, PatchCard};
use serde::{Deserialize, Serialize};
use std::sync::Arc;

pub fn routes() -> Router<Arc<House>> {
    Router::new()
        .route("/cue/{id}/patches", get(show))
        .route("/cue/{id}/patches/text", get(text))
        .route("/cue/{id}/patches/list", post(list))
        .route("/cue/{id}/patches/check", post(check))
        .route("/cue/{id}/patches/save", post(save))
        .route("/cue/{id}/patches/new", post(new))
        .route("/cue/{id}/patches/give", post(give))
        .route("/cue/{id}/patches/trial", get(tried))
        .route("/cue/{id}/patches/session", get(sent))
}

async fn show(State(house): State<Arc<House>>, Path(id): Path<String>) -> Result<Response, PageError> {
    let open = house.cue(&id)?;
    Ok(page(aside(move || Ok(html::patches(&house, &open))).await?))
}

#[derive(Deserialize)]
struct File {
    file: String,
}

#[derive(Serialize)]
struct Text {
    text: String,
}

async fn text(
    State(house): State<Arc<House>>,
    Path(id): Path<String>,
    Query(File { file }): Query<File>,
) -> Result<Response, PageError> {
    let open = house.cue(&id)?;
    let text = aside(move || Ok(Text { text: view(&open, &file)?.text })).await?;
    json(&text)
}

fn view(open: &Open, file: &str) -> Result<ripieno_cue::view::PatchView, PageError> {
    let found = patches(&open.shown().played.cue).cards.into_iter().find(|c| c.file == file);
    found.ok_or_else(|| PageError::Missing(format!("no chair has the card {file}")))
}

/// A list of switches that was pasted.
#[derive(Deserialize)]
struct Pasted {
    text: String,
    #[serde(default)]
    name: String,
    #[serde(default)]
    chair: String,
}

/// A card with what is to be said of it, as HTML.
#[derive(Serialize)]
struct Judged {
    text: String,
    preview: String,
    faults: String,
    sound: bool,
}

fn judged(text: String, mut of_list: Vec<Diagnostic>) -> Judged {
    let (card, faults) = PatchCard::parse("the card", &text);
    let sound = faults.iter().all(|f| f.warning);
    let view = ripieno_cue::view::patch_view("", String::new(), card, Vec::new());
    let preview = html::card_body(&view);
    of_list.extend(faults);
    Judged { text, preview, faults: html::card_faults(&of_list), sound }
}

async fn list(
    State(house): State<Arc<House>>,
    Path(id): Path<String>,
    body: Bytes,
) -> Result<Response, PageError> {
    let open = house.cue(&id)?;
    let Pasted { text, name, chair } = parse(&body)?;
    let answer = aside(move || {
        let (mut card, mut faults) = card_from_list("the list", &text);
        if text.trim().is_empty() {
            // Here a card may be begun without a list.
            faults.clear();
        }
        let shown = open.shown();
        let chair = shown.played.cue.template.chairs.iter().find(|c| c.id == chair);
        let mut set = |key: &str, value: &str| {
            if let Ok(named) = set_value(&card, &[key], &NewValue::Text(value.to_string())) {
                card = named;
            }
        };
        if !name.trim().is_empty() {
            set("patch", name.trim());
        }
        if let Some(chair) = chair {
            set("instrument", &chair.instrument);
        }
        Ok(judged(card, faults))
    })
    .await?;
    json(&answer)
}

async fn check(
    State(house): State<Arc<House>>,
    Path(id): Path<String>,
    body: Bytes,
) -> Result<Response, PageError> {
    house.cue(&id)?;
    let Pasted { text, .. } = parse(&body)?;
    json(&aside(move || Ok(judged(text, Vec::new()))).await?)
}

#[derive(Deserialize)]
struct Saved {
    file: String,
    text: String,
    /// The card as it was opened.
    was: String,
    seen: u64,
}

async fn save(
    State(house): State<Arc<House>>,
    Path(id): Path<String>,
    body: Bytes,
) -> Result<Response, PageError> {
    let open = house.cue(&id)?;
    let saved: Saved = parse(&body)?;
    let renewal = aside(move || {
        save_card(&open.shown().played.cue, &saved.file, &saved.text, &saved.was)?;
        open.read_cards()?;
        Ok(open.since(saved.seen))
    })
    .await?;
    json(&renewal)
}

#[derive(Deserialize)]
struct Written {
    name: String,
    text: String,
    #[serde(default)]
    chair: String,
    seen: u64,
}

#[derive(Serialize)]
struct Made {
    file: String,
    renewal: Renewal,
}

async fn new(
    State(house): State<Arc<House>>,
    Path(id): Path<String>,
    body: Bytes,
) -> Result<Response, PageError> {
    let open = house.cue(&id)?;
    let written: Written = parse(&body)?;
    let made = aside(move || {
        let file = new_card(&open.shown().played.cue, &written.name, &written.text)?;
        if !written.chair.is_empty() {
            assign(&open, &file, &written.chair)?;
        }
        Ok(Made { file, renewal: open.since(written.seen) })
    })
    .await?;
    json(&made)
}

#[derive(Deserialize)]
struct Given {
    file: String,
    chair: String,
    seen: u64,
}

async fn give(
    State(house): State<Arc<House>>,
    Path(id): Path<String>,
    body: Bytes,
) -> Result<Response, PageError> {
    let open = house.cue(&id)?;
    let given: Given = parse(&body)?;
    let renewal = aside(move || {
        view(&open, &given.file)?;
        assign(&open, &given.file, &given.chair)?;
        Ok(open.since(given.seen))
    })
    .await?;
    json(&renewal)
}

/// The chair's one card becomes this one; a chair of several patches gets it as one more.
fn assign(open: &Open, file: &str, chair: &str) -> Result<(), PageError> {
    let shown = open.shown();
    let plan = shown.played.cue.template.chairs.iter().find(|c| c.id == chair);
    let plan = plan.ok_or_else(|| PageError::Asked(format!("there is no chair `{chair}`")))?;
    let path = |key: &str| vec!["chair".to_string(), chair.to_string(), key.to_string()];
    let act = if plan.cards.len() > 1 {
        let mut cards = plan.cards.clone();
        cards.push(file.to_string());
        Act::Template { path: path("cards"), value: NewValue::Texts(cards) }
    } else {
        Act::Template { path: path("card"), value: NewValue::Text(file.to_string()) }
    };
    open.act(&[act])
}

#[derive(Deserialize)]
struct Tried {
    file: String,
    articulation: usize,
}

/// What to send: milliseconds or seconds, and bytes.
#[derive(Serialize)]
struct Events {
    name: String,
    events: Vec<(f64, Vec<u8>)>,
}

async fn tried(
    State(house): State<Arc<House>>,
    Path(id): Path<String>,
    Query(tried): Query<Tried>,
) -> Result<Response, PageError> {
    let open = house.cue(&id)?;
    let events = aside(move || {
        let trial = trial(&view(&open, &tried.file)?.card, tried.articulation)
            .ok_or_else(|| PageError::Missing("the card has no such articulation any more".into()))?;
        Ok(Events { name: trial.name, events: trial.events })
    })
    .await?;
    json(&events)
}

#[derive(Deserialize)]
struct Whose {
    #[serde(default)]
    chair: String,
}

#[derive(Serialize)]
struct Track {
    chair: String,
    name: String,
    port: Option<String>,
    channels: Vec<u8>,
    events: Vec<(f64, Vec<u8>)>,
}

#[derive(Serialize)]
struct Sent {
    lead_in: f64,
    seconds: f64,
    tracks: Vec<Track>,
}

async fn sent(
    State(house): State<Arc<House>>,
    Path(id): Path<String>,
    Query(Whose { chair }): Query<Whose>,
) -> Result<Response, PageError> {
    let open = house.cue(&id)?;
    let sent = aside(move || {
        let chair = Some(chair.as_str()).filter(|c| !c.is_empty());
        let session = session(&open.performed(&open.shown().played, Pool::Ears), chair);
        let track = |t: ripieno_cue::view::SessionTrack| Track {
            chair: t.chair,
            name: t.name,
            port: t.port,
            channels: t.channels,
            events: t.events,
        };
        Ok(Sent {
            lead_in: session.lead_in,
            seconds: session.seconds,
            tracks: session.tracks.into_iter().map(track).collect(),
        })
    })
    .await?;
    json(&sent)
}
