//! Requests, one module a subject.

mod beside;
mod cell;
mod cue;
mod hall;
mod home;
mod listen;
mod out;
mod patches;

use crate::error::PageError;
use crate::state::House;
use axum::Router;
use axum::http::header;
use axum::response::{Html, IntoResponse, Response};
use serde::Serialize;
use std::sync::Arc;

/// All of them.
pub fn all() -> Router<Arc<House>> {
    [
        home::routes(),
        cue::routes(),
        cell::routes(),
        listen::routes(),
        hall::routes(),
        patches::routes(),
        out::routes(),
        beside::routes(),
    ]
    .into_iter()
    .fold(Router::new(), Router::merge)
}

/// A whole page.
pub(crate) fn page(html: String) -> Response {
    Html(html).into_response()
}

/// An answer for a script.
pub(crate) fn json(value: &impl Serialize) -> Result<Response, PageError> {
    let text = serde_json::to_string(value)
        .map_err(|e| PageError::Asked(format!("the answer cannot be written: {e}")))?;
    Ok(([(header::CONTENT_TYPE, "application/json")], text).into_response())
}

/// What a script sends.
pub(crate) fn parse<'a, T: serde::Deserialize<'a>>(bytes: &'a [u8]) -> Result<T, PageError> {
    serde_json::from_slice(bytes).map_err(|e| PageError::Asked(format!("the request cannot be read: {e}")))
}

/// Work that takes its time, away from the threads that answer.
pub(crate) async fn aside<T: Send + 'static>(
    work: impl FnOnce() -> Result<T, PageError> + Send + 'static,
) -> Result<T, PageError> {
    tokio::task::spawn_blocking(work)
        .await
        .unwrap_or_else(|e| Err(PageError::Asked(format!("the work broke off: {e}; nothing was changed"))))
}
