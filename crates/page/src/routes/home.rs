//! The start page: cues opened lately, the demo, a place to drop music.

use super::{aside, json, page, parse};
use crate::assets;
use crate::error::PageError;
use crate::guard;
use crate::html;
use crate::state::House;
use axum::Router;
use axum::body::Bytes;
use axum::extract::{Path, Query, Request, State};
use axum::http::header;
use axum::response::{IntoResponse, Redirect, Response};
use axum::routing::{get, post};
use serde::{Deserialize, Serialize};
use std::path::PathBuf;
use std::sync::Arc;

pub fn routes() -> Router<Arc<House>> {
    Router::new()
        .route("/", get(home))
        .route("/assets/{name}", get(asset))
        .route("/open", post(open))
        .route("/demo", post(demo))
        .route("/music", post(music))
}

async fn home(State(house): State<Arc<House>>, request: Request) -> Response {
    if guard::key(&request).is_none() {
        return page(html::home(&house));
    }
    // The token leaves the address for a cookie: it is not to stay in the history.
    let query = request.uri().query().unwrap_or("");
    let cue = query.split('&').find_map(|p| p.strip_prefix("cue=")).unwrap_or("");
    let to = if house.cue(cue).is_ok() { format!("/cue/{cue}/") } else { "/".into() };
    let cookie =
        format!("{}={}; Path=/; HttpOnly; SameSite=Strict", guard::cookie_name(house.port), house.token);
    ([(header::SET_COOKIE, cookie)], Redirect::to(&to)).into_response()
}

async fn asset(Path(name): Path<String>) -> Result<Response, PageError> {
    assets::asset(&name).ok_or_else(|| PageError::Missing("there is no such asset".into()))
}

#[derive(Deserialize)]
struct Wanted {
    folder: String,
}

#[derive(Serialize)]
struct Opened {
    /// Where to go.
    to: String,
    /// What was read by a rule or guessed, in words.
    remarks: Vec<String>,
}

async fn open(State(house): State<Arc<House>>, body: Bytes) -> Result<Response, PageError> {
    let wanted: Wanted = parse(&body)?;
    let folder = PathBuf::from(wanted.folder.trim());
    let folder = if folder.is_absolute() { folder } else { house.home.join(folder) };
    // Only what is a cue is read at all: a message about any other file would tell of what is in it.
    let named = folder.is_file() && folder.file_name().is_some_and(|name| name == "cue.toml");
    if !named && !folder.join("cue.toml").is_file() {
        let message = format!(
            "{} holds no cue.toml, so it is no cue; name another folder, or drop a piece to make one",
            folder.display()
        );
        return Err(PageError::Missing(message));
    }
    let id = aside(move || Ok(house.open(&folder)?.id.clone())).await?;
    json(&Opened { to: format!("/cue/{id}/"), remarks: Vec::new() })
}

async fn demo(State(house): State<Arc<House>>) -> Result<Response, PageError> {
    let id = aside(move || {
        let folder = house.home.join("night-ferry");
        ripieno_cue::write_demo(&folder)?;
        Ok(house.open(&folder)?.id.clone())
    })
    .await?;
    json(&Opened { to: format!("/cue/{id}/"), remarks: Vec::new() })
}

#[derive(Deserialize)]
struct Named {
    name: String,
    /// The composer's own template, if one is named: absolute, or from where the program was started.
    #[serde(default)]
    template: String,
}

/// A file of music, dropped: becomes a cue in a folder of its name.
async fn music(
    State(house): State<Arc<House>>,
    Query(named): Query<Named>,
    body: Bytes,
) -> Result<Response, PageError> {
    let (id, remarks) = aside(move || {
        let (stem, ending) = plain_name(&named.name);
        if stem.is_empty() {
            return Err(PageError::Asked("the file has no name to call the cue by; rename it".into()));
        }
        let own = template(&house.home, &named.template)?;
        let folder = free_folder(&house.home, &stem)?;
        // The music is written aside first: what cannot be read leaves no cue behind.
        let aside = house.home.join(format!(".opening-{}", guard::token()));
        let file = aside.join(format!("{stem}{ending}"));
        let made = ripieno_cue::write_file(&file, &body)
            .and_then(|()| ripieno_cue::create_with(&folder, &file, own.as_deref()));
        let _ = std::fs::remove_dir_all(&aside);
        let made = made?;
        let remarks = made.doubts.iter().map(|d| format!("unsure: {d}")).chain(made.warnings).collect();
        Ok((house.open(&made.folder)?.id.clone(), remarks))
    })
    .await?;
    json(&Opened { to: format!("/cue/{id}/"), remarks })
}

/// The template that is named. Nothing else is read: a message about any other file would tell of what is in it.
fn template(home: &std::path::Path, named: &str) -> Result<Option<PathBuf>, PageError> {
    if named.trim().is_empty() {
        return Ok(None);
    }
    let path = home.join(named.trim());
    let ending = path.extension().map(|e| e.to_string_lossy().to_lowercase()).unwrap_or_default();
    if !["toml", "mid"].contains(&ending.as_str()) || !path.is_file() {
        return Err(PageError::Missing(format!(
            "{} is no template: name a template.toml, or a MIDI export of your session (.mid)",
            path.display()
        )));
    }
    Ok(Some(path))
}

/// The longest name of a cue that is made here, bytes: file systems take 255, and the folder may get a number.
const LONGEST_NAME: usize = 120;

/// What a dropped file may be called here: letters, digits, blanks and dashes, and its ending.
fn plain_name(sent: &str) -> (String, String) {
    let name = sent.rsplit(['/', '\\']).next().unwrap_or("");
    let (stem, ending) = name.rsplit_once('.').unwrap_or((name, ""));
    let plain = |c: char| if c.is_alphanumeric() || " -_".contains(c) { c } else { '-' };
    let mut whole: String = stem.chars().map(plain).collect();
    while whole.len() > LONGEST_NAME {
        whole.pop();
    }
    let ending: String = ending.chars().filter(char::is_ascii_alphanumeric).take(10).collect();
    let ending = if ending.is_empty() { ending } else { format!(".{ending}") };
    (whole.trim_matches([' ', '-']).to_string(), ending)
}

/// A folder of this name that is not there yet.
fn free_folder(home: &std::path::Path, stem: &str) -> Result<PathBuf, PageError> {
    let names = std::iter::once(stem.to_string()).chain((2..1000).map(|n| format!("{stem} {n}")));
    let free = names.map(|n| home.join(n)).find(|f| !f.exists());
    free.ok_or_else(|| PageError::Asked(format!("there are too many cues called {stem}; rename the file")))
}
