//! A cue's own page: shown, changed, renewed.

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
use ripieno_cue::{Act, NewValue};
use serde::{Deserialize, Serialize};
use std::sync::Arc;
use std::time::Duration;

pub fn routes() -> Router<Arc<House>> {
    Router::new()
        .route("/cue/{id}/", get(show))
        .route("/cue/{id}/changes", get(changes))
        .route("/cue/{id}/act", post(act))
        .route("/cue/{id}/undo", post(undo))
        .route("/cue/{id}/redo", post(redo))
        .route("/cue/{id}/put-back", post(put_back))
        .route("/cue/{id}/judge", post(judge))
        .route("/cue/{id}/words", get(words))
}

async fn show(State(house): State<Arc<House>>, Path(id): Path<String>) -> Result<Response, PageError> {
    let open = house.cue(&id)?;
    let html = aside(move || Ok(html::cue(&house, &open))).await?;
    Ok(page(html))
}

#[derive(Deserialize)]
struct Seen {
    seen: u64,
}

/// How long a browser waits for something new before it asks again.
const PATIENCE: Duration = Duration::from_secs(25);

async fn changes(
    State(house): State<Arc<House>>,
    Path(id): Path<String>,
    Query(Seen { seen }): Query<Seen>,
) -> Result<Response, PageError> {
    let open = house.cue(&id)?;
    let mut states = open.states();
    if seen > *states.borrow() {
        // Of another start of the program: nothing to wait for.
        return json(&open.since(seen));
    }
    let newer = states.wait_for(|state| *state > seen);
    let _ = tokio::time::timeout(PATIENCE, newer).await;
    json(&open.since(seen))
}

/// An act as a script sends it.
#[derive(Deserialize)]
#[serde(rename_all = "kebab-case")]
enum Sent {
    Cell {
        passage: String,
        chair: String,
        text: String,
        was: Option<String>,
    },
    Rename {
        passage: String,
        name: String,
    },
    Split {
        passage: String,
        bar: i32,
        name: String,
    },
    Join {
        passage: String,
    },
    Keep {
        passage: String,
        name: String,
    },
    Swap {
        passage: String,
        name: String,
    },
    Drop {
        passage: String,
        name: String,
    },
    Plan {
        path: Vec<String>,
        value: Value,
    },
    Template {
        path: Vec<String>,
        value: Value,
    },
    Usual {
        path: Vec<String>,
    },
    AddChair {
        id: String,
        instrument: String,
        players: u16,
        name: Option<String>,
        before: Option<String>,
    },
    RemoveChair {
        id: String,
    },
    MoveChair {
        id: String,
        before: Option<String>,
    },
    /// The exact change of a finding, by its name.
    Take {
        finding: String,
    },
    Fit {
        number: usize,
    },
    Accept {
        finding: String,
        reason: String,
    },
}

/// A value for a plan or a template.
#[derive(Deserialize)]
#[serde(untagged)]
enum Value {
    Flag(bool),
    Whole(i64),
    Number(f64),
    Text(String),
    Numbers(Vec<f64>),
    Texts(Vec<String>),
}

impl Value {
    /// Refuses what leads out of the cue's folder: such a file is named in an editor, by its owner.
    fn within(self) -> Result<Self, PageError> {
        let leads_out = |text: &str| {
            let mut steps = text.split(['/', '\\']);
            text.starts_with(['/', '\\', '~']) || text.contains(":\\") || steps.any(|step| step == "..")
        };
        let out = match &self {
            Self::Text(text) => leads_out(text),
            Self::Texts(texts) => texts.iter().any(|t| leads_out(t)),
            _ => false,
        };
        match out {
            true => Err(PageError::Asked(
                "this leads out of the cue's folder; name such a file in cue.toml or the template, in an editor".into(),
            )),
            false => Ok(self),
        }
    }
}

impl From<Value> for NewValue {
    fn from(value: Value) -> Self {
        match value {
            Value::Flag(v) => Self::Flag(v),
            Value::Whole(v) => Self::Whole(v),
            Value::Number(v) => Self::Number(v),
            Value::Text(v) => Self::Text(v),
            Value::Numbers(v) => Self::Numbers(v),
            Value::Texts(v) => Self::Texts(v),
        }
    }
}

impl Sent {
    fn act(self, open: &Open) -> Result<Act, PageError> {
        Ok(match self {
            Self::Cell { passage, chair, text, was } => Act::Cell { passage, chair, text, was },
            Self::Rename { passage, name } => Act::Rename { passage, name },
            Self::Split { passage, bar, name } => Act::Split { passage, bar, name },
            Self::Join { passage } => Act::Join { passage },
            Self::Keep { passage, name } => Act::Keep { passage, name },
            Self::Swap { passage, name } => Act::Swap { passage, name },
            Self::Drop { passage, name } => Act::Drop { passage, name },
            Self::Plan { path, value } => Act::Plan { path, value: value.within()?.into() },
            Self::Template { path, value } => Act::Template { path, value: value.within()?.into() },
            Self::Usual { path } => Act::Usual { path },
            Self::AddChair { id, instrument, players, name, before } => {
                Act::AddChair { id, instrument, players, name, before }
            }
            Self::RemoveChair { id } => Act::RemoveChair { id },
            Self::MoveChair { id, before } => Act::MoveChair { id, before },
            Self::Take { finding } => {
                let gone = || PageError::Asked("this finding is gone already".into());
                let through = open.through().ok_or_else(gone)?;
                let named = through.checked.named(&finding).ok_or_else(gone)?;
                Act::Take { finding: Box::new(named.clone()) }
            }
            Self::Fit { number } => {
                let sheet = ripieno_cue::fit(&open.shown().played.cue, None)?;
                let none =
                    || PageError::Asked("there is no such proposal any more; ask for them again".into());
                let at = number.checked_sub(1).ok_or_else(none)?;
                Act::Fit { proposal: Box::new(sheet.proposals.into_iter().nth(at).ok_or_else(none)?) }
            }
            Self::Accept { finding, reason } => {
                let through = open.through();
                let found = through.as_ref().and_then(|t| t.checked.named(&finding));
                let Some(found) = found.filter(|_| !reason.trim().is_empty()) else {
                    let what = match found {
                        Some(_) => "say why it is accepted".into(),
                        None => format!("there is no finding `{finding}` any more; look at the list again"),
                    };
                    return Err(PageError::Asked(what));
                };
                // Findings are accepted by their bar; the beat only tells those apart that are taken.
                let finding = ripieno_cue::finding_name(found);
                Act::Accept { finding, reason }
            }
        })
    }
}

#[derive(Deserialize)]
struct Acts {
    acts: Vec<Sent>,
    seen: u64,
}

async fn act(
    State(house): State<Arc<House>>,
    Path(id): Path<String>,
    body: Bytes,
) -> Result<Response, PageError> {
    let open = house.cue(&id)?;
    let Acts { acts, seen } = parse(&body)?;
    let renewal = aside(move || {
        let acts = acts.into_iter().map(|a| a.act(&open)).collect::<Result<Vec<_>, _>>()?;
        open.act(&acts)?;
        Ok(open.since(seen))
    })
    .await?;
    json(&renewal)
}

async fn undo(
    State(house): State<Arc<House>>,
    Path(id): Path<String>,
    body: Bytes,
) -> Result<Response, PageError> {
    step(&house, &id, &body, Open::undo).await
}

async fn redo(
    State(house): State<Arc<House>>,
    Path(id): Path<String>,
    body: Bytes,
) -> Result<Response, PageError> {
    step(&house, &id, &body, Open::redo).await
}

async fn step(
    house: &House,
    id: &str,
    body: &Bytes,
    which: fn(&Open) -> Result<(), PageError>,
) -> Result<Response, PageError> {
    let open = house.cue(id)?;
    let Seen { seen } = parse(body)?;
    json(&aside(move || which(&open).map(|()| open.since(seen))).await?)
}

/// What came of putting files back.
#[derive(Serialize)]
struct PutBack {
    back: usize,
    renewal: Renewal,
}

async fn put_back(
    State(house): State<Arc<House>>,
    Path(id): Path<String>,
    body: Bytes,
) -> Result<Response, PageError> {
    let open = house.cue(&id)?;
    let Seen { seen } = parse(&body)?;
    json(&aside(move || Ok(PutBack { back: open.put_back()?, renewal: open.since(seen) })).await?)
}

#[derive(Deserialize)]
struct Typed {
    passage: String,
    chair: String,
    text: String,
}

/// A complaint about a cell while it is typed: bytes of its text.
#[derive(Serialize)]
struct Fault {
    from: usize,
    to: usize,
    message: String,
    help: String,
    /// It may be written all the same.
    warning: bool,
}

async fn judge(
    State(house): State<Arc<House>>,
    Path(id): Path<String>,
    body: Bytes,
) -> Result<Response, PageError> {
    let open = house.cue(&id)?;
    let Typed { passage, chair, text } = parse(&body)?;
    let faults = aside(move || Ok(open.judge(&passage, &chair, &text))).await?;
    let faults: Vec<Fault> = faults
        .into_iter()
        .map(|f| Fault {
            from: f.span.start,
            to: f.span.end,
            message: f.message,
            help: f.help,
            warning: f.warning,
        })
        .collect();
    json(&faults)
}

async fn words(State(house): State<Arc<House>>, Path(id): Path<String>) -> Result<Response, PageError> {
    let open = house.cue(&id)?;
    json(&html::words(&open.shown()))
}
