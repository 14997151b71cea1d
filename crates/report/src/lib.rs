//! The report of a cue: one page of HTML that needs nothing else, reads well on a screen and prints well.
//!
//! Takes a cue as it was cast, performed, read through and rendered; gives HTML. It must not know how anything was computed: it
//! asks `cue` and draws with `picture`, as the page does. The same inputs give the same bytes; the date is the plan's.
//!
//! * [`story`]: per passage what enters, leaves, doubles, moves by an octave, is held back, in sentences.
//! * [`report`]: all of it.

mod board;
mod chairs;
mod findings;
mod head;
pub mod json;
mod rooms;
mod sound;
pub mod story;

use ripieno_cue::view::{Board, LineRoles, board};
use ripieno_cue::{Checked, Cue, CueError, Performed, Played, Sounded};
use ripieno_picture::svg::escape;
use std::sync::Arc;

/// Everything that the sections look at.
pub(crate) struct Seen<'a> {
    pub cue: &'a Cue,
    pub played: &'a Played,
    pub performed: &'a Performed,
    pub checked: &'a Checked,
    pub sounded: Option<&'a Sounded>,
    pub board: Board,
}

/// What is written about a cue, for the delivered folder: the report as a page and as text, the findings
/// as JSON, score and parts
/// as MusicXML. Names in the folder, bytes.
///
/// Errors: as for [`report`].
pub fn documents(
    cue: &Cue,
    performed: &Performed,
    checked: &Checked,
    sounded: &Sounded,
) -> Result<Vec<(String, Vec<u8>)>, CueError> {
    let page = report(cue, performed, checked, Some(sounded))?;
    let text = ripieno_cue::report(cue, performed, Some(checked), Some(sounded));
    let mut all = vec![("report.html".into(), page.into_bytes()), ("report.txt".into(), text.into_bytes())];
    let findings = json::checked(checked).map_err(|error| CueError::Place {
        path: cue.folder.clone(),
        message: format!("the findings cannot be written as JSON: {error}"),
    })?;
    all.push(("findings.json".into(), findings.into_bytes()));
    all.extend(ripieno_cue::notation_files(cue, performed));
    Ok(all)
}

/// The report. `sounded` is left out where nothing was rendered.
///
/// Errors: an impulse response of the template that cannot be read.
pub fn report(
    cue: &Cue,
    performed: &Performed,
    checked: &Checked,
    sounded: Option<&Sounded>,
) -> Result<String, CueError> {
    let played = Played {
        cue: Arc::new(cue.clone()),
        parts: performed.parts.clone(),
        performance: performed.performance.clone(),
        findings: performed.findings.clone(),
        renewed: 0,
    };
    let board = board(&played, &LineRoles::of(&cue.score));
    let seen = Seen { cue, played: &played, performed, checked, sounded, board };
    let halls = ripieno_cue::cue_halls(cue)?;
    let sections = [
        head::head(&seen),
        head::hits(&seen),
        board::board(&seen),
        board::arc(&seen),
        story_section(&seen),
        chairs::chairs(&seen),
        chairs::patch_list(&seen),
        rooms::routing(&seen),
        rooms::rooms(&halls),
        sound::loudness(&seen),
        findings::findings(&seen),
    ];
    Ok(format!(
        r#"<!doctype html>
<html lang="en" data-light="day">
<head>
<meta charset="utf-8">
<meta name="viewport" content="width=device-width, initial-scale=1">
<title>{title}: report</title>
<style>
{pictures}{own}</style>
</head>
<body>
{sections}
</body>
</html>
"#,
        title = escape(title(cue)),
        pictures = ripieno_picture::STYLE,
        own = include_str!("../data/report.css"),
        sections = sections.concat(),
    ))
}

pub(crate) fn title(cue: &Cue) -> &str {
    if cue.plan.title.is_empty() { "Untitled" } else { &cue.plan.title }
}

/// `bar 4`, `bars 4 to 8`.
pub(crate) fn bars(from: i32, to: i32) -> String {
    if from == to { format!("bar {from}") } else { format!("bars {from} to {to}") }
}

fn story_section(seen: &Seen<'_>) -> String {
    let mut out = String::from("<section class=\"story\"><h2>Passage by passage</h2>");
    for passage in story::story(&seen.board, &seen.cue.plan, seen.checked) {
        out.push_str(&format!(
            "<article><h3>{}</h3><p class=\"quiet\">{}</p><p>{}</p></article>",
            escape(&passage.name),
            escape(&passage.place),
            escape(&passage.sentences.join(" ")),
        ));
    }
    out + "</section>"
}
