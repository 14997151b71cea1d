//! What is to be said of the cue's files: what cannot be read, and what can hardly be meant.

use crate::fragments::Fragments;
use crate::open::Shown;
use ripieno_cue::view::Warned;
use ripieno_cue::{counted, sentence};
use ripieno_picture::svg::escape;
use std::collections::BTreeMap;
use std::fmt::Write as _;

/// So many can be read without a list that scrolls.
const FEW: usize = 3;

/// Both, as every view has them under its head.
pub fn of_files(fragments: &Fragments) -> String {
    format!(r#"<div class="of-files">{}{}</div>"#, fragments.get("trouble"), fragments.get("warnings"))
}

/// What is wrong with the files on the disk.
pub fn trouble(shown: &Shown) -> String {
    match &shown.trouble {
        Some(trouble) => {
            let (head, more) = trouble.split_once('\n').unwrap_or((trouble, ""));
            let more = if more.is_empty() { String::new() } else { format!("<pre>{}</pre>", escape(more)) };
            let names: Vec<String> = shown
                .gone
                .iter()
                .filter_map(|p| p.file_name())
                .map(|n| n.to_string_lossy().into_owned())
                .collect();
            let put = match names.is_empty() {
                true => String::new(),
                false => format!(
                    r#"<p><button type="button" id="put-back" title="write down again what the page holds of it; a file that has come back meanwhile stays as it is">put {} back as it was last</button></p>"#,
                    escape(&names.join(" and "))
                ),
            };
            format!(r#"<div id="trouble" role="alert"><b>{}</b>{more}{put}</div>"#, escape(head))
        }
        None => r#"<div id="trouble" role="alert"></div>"#.into(),
    }
}

/// What the files say that can hardly be meant: where, what, what to do. What stands in a cell leads there.
pub fn warnings(id: &str, shown: &Shown) -> String {
    let all = &shown.warnings;
    if all.is_empty() {
        return r#"<section id="warnings" hidden><details open></details></section>"#.into();
    }
    let mut files: Vec<&str> = all.iter().map(|w| w.file.as_str()).collect();
    files.dedup();
    let focus = if all.len() > FEW { r#" tabindex="0""# } else { "" };
    let mut out = format!(
        r#"<section id="warnings" aria-label="what to look at in the cue's files"><details open><summary>{} to look at in {}</summary><ul{focus}>"#,
        counted(all.len(), "thing"),
        escape(&files.join(", ")),
    );
    for one in all {
        let place = match one.place {
            Some((line, column)) => format!("{}, line {line}, column {column}", one.file),
            None => one.file.clone(),
        };
        let place = match cell_of(shown, one) {
            Some((row, column)) => format!(
                r##"<a class="to-cell" href="/cue/{}/#cell-{row}-{column}" title="show the cell">{}</a>"##,
                escape(id),
                escape(&place)
            ),
            None => format!("<b>{}</b>", escape(&place)),
        };
        let help = if one.help.is_empty() {
            String::new()
        } else {
            format!(" <i>{}</i>", escape(&sentence(&one.help)))
        };
        let _ = write!(out, r#"<li>{place} <span>{}</span>{help}</li>"#, escape(&sentence(&one.message)));
    }
    out + "</ul></details></section>"
}

/// What is to be said of cells, by passage and chair.
pub fn by_cell(shown: &Shown) -> BTreeMap<(&str, &str), String> {
    let mut all: BTreeMap<(&str, &str), String> = BTreeMap::new();
    for one in &shown.warnings {
        if let Some((passage, chair)) = &one.cell {
            let said = all.entry((passage, chair)).or_default();
            if !said.is_empty() {
                said.push(' ');
            }
            said.push_str(&sentence(&one.message));
        }
    }
    all
}

fn cell_of(shown: &Shown, one: &Warned) -> Option<(usize, usize)> {
    let (passage, chair) = one.cell.as_ref()?;
    let row = shown.board.rows.iter().position(|r| r.chair == *chair)?;
    Some((row, shown.board.columns.iter().position(|c| c.name == *passage)?))
}
