//! A cell, opened on its staff.

use super::{aside, page};
use crate::error::PageError;
use crate::html;
use crate::state::House;
use axum::Router;
use axum::extract::{Path, Query, State};
use axum::response::Response;
use axum::routing::get;
use serde::Deserialize;
use std::sync::Arc;

pub fn routes() -> Router<Arc<House>> {
    Router::new().route("/cue/{id}/cell", get(cell))
}

#[derive(Deserialize)]
struct Wanted {
    chair: String,
    passage: String,
    wider: Option<f64>,
}

async fn cell(
    State(house): State<Arc<House>>,
    Path(id): Path<String>,
    Query(wanted): Query<Wanted>,
) -> Result<Response, PageError> {
    let open = house.cue(&id)?;
    let html = aside(move || {
        let Wanted { chair, passage, wider } = wanted;
        let cell = open.opened(&chair, &passage).ok_or_else(|| {
            PageError::Missing(format!("there is no chair `{chair}`, or no passage “{passage}”"))
        })?;
        Ok(html::opened(&cell, wider.unwrap_or(1.0)))
    })
    .await?;
    Ok(page(html))
}
