//! To picture, by hand and by version: proposals, a file that came back, marks rubbed out and put back, what has changed.

use super::{aside, json, parse};
use crate::error::PageError;
use crate::guard;
use crate::html;
use crate::state::House;
use axum::Router;
use axum::body::Bytes;
use axum::extract::{Path, State};
use axum::response::Response;
use axum::routing::{get, post};
use serde::{Deserialize, Serialize};
use std::sync::Arc;

pub fn routes() -> Router<Arc<House>> {
    Router::new()
        .route("/cue/{id}/fit", get(fit))
        .route("/cue/{id}/adopt", post(adopt))
        .route("/cue/{id}/rub", post(rub))
        .route("/cue/{id}/rub/back", post(back))
        .route("/cue/{id}/compare", post(compare))
}

#[derive(Serialize)]
struct Proposed {
    html: String,
}

async fn fit(State(house): State<Arc<House>>, Path(id): Path<String>) -> Result<Response, PageError> {
    let open = house.cue(&id)?;
    let cue = Arc::clone(&open.shown().played.cue);
    let html = aside(move || Ok(html::proposals(&ripieno_cue::fit(&cue, None)?))).await?;
    json(&Proposed { html })
}

#[derive(Serialize)]
struct Adopted {
    changed: usize,
    remarks: Vec<String>,
}

/// The performed file, edited elsewhere.
async fn adopt(
    State(house): State<Arc<House>>,
    Path(id): Path<String>,
    body: Bytes,
) -> Result<Response, PageError> {
    let open = house.cue(&id)?;
    let adopted = aside(move || {
        let cue = Arc::clone(&open.shown().played.cue);
        let file = cue.folder.join(".ripieno").join(format!("came-back-{}.mid", guard::token()));
        let made = ripieno_cue::write_file(&file, &body).and_then(|()| ripieno_cue::adopt(&cue, &file));
        let _ = std::fs::remove_file(&file);
        let made = made?;
        open.read_cards()?;
        Ok(Adopted { changed: made.changed, remarks: made.remarks })
    })
    .await?;
    json(&adopted)
}

#[derive(Deserialize)]
struct Rub {
    mark: u32,
}

async fn rub(
    State(house): State<Arc<House>>,
    Path(id): Path<String>,
    body: Bytes,
) -> Result<Response, PageError> {
    let open = house.cue(&id)?;
    let Rub { mark } = parse(&body)?;
    aside(move || {
        ripieno_cue::rub_out(&open.shown().played.cue, Some(mark))?;
        open.read_cards()
    })
    .await?;
    json(&())
}

async fn back(State(house): State<Arc<House>>, Path(id): Path<String>) -> Result<Response, PageError> {
    let open = house.cue(&id)?;
    aside(move || {
        ripieno_cue::pencil_back(&open.shown().played.cue)?;
        open.read_cards()
    })
    .await?;
    json(&())
}

#[derive(Deserialize)]
struct Before {
    folder: String,
}

/// What has changed since another version, a cue or a delivered one.
async fn compare(
    State(house): State<Arc<House>>,
    Path(id): Path<String>,
    body: Bytes,
) -> Result<Response, PageError> {
    let open = house.cue(&id)?;
    let Before { folder } = parse(&body)?;
    let html = aside(move || {
        let folder = open.folder.join(folder.trim());
        // Only what is a cue is read at all: a message about any other file would tell of what is in it.
        if ![folder.join("cue.toml"), folder.join("plan/cue.toml")].iter().any(|f| f.is_file()) {
            let message = format!(
                "{} holds no version: name the folder of a cue, or one that was delivered",
                folder.display()
            );
            return Err(PageError::Missing(message));
        }
        let before = ripieno_cue::version(&folder)?;
        Ok(html::changes(&ripieno_cue::compare(&before, &open.shown().played.cue)))
    })
    .await?;
    json(&Proposed { html })
}
