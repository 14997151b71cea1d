//! The small files: MIDI, sheets, documents, and a copy of the plan with all that it names.

use super::{Session, facts};
use crate::{CueError, folder};
use ripieno_delivery::{midi, names, sheets};
use ripieno_formats::midi::write;
use ripieno_music::Part;
use std::path::{Component, Path};

/// A small file.
pub struct Text {
    /// Where, in the delivered folder.
    pub path: String,
    pub kind: &'static str,
    pub what: String,
    pub bytes: Vec<u8>,
}

impl Text {
    pub fn new(path: &str, kind: &'static str, what: &str, bytes: impl Into<Vec<u8>>) -> Self {
        Self { path: path.into(), kind, what: what.into(), bytes: bytes.into() }
    }
}

/// All of them.
pub fn all(session: &Session<'_>, documents: &[(String, Vec<u8>)]) -> Result<Vec<Text>, CueError> {
    let (cue, title) = (session.cue, facts::title(session.cue));
    let mut out = Vec::new();
    if session.choice.midi.unwrap_or(true) {
        out.extend(midi_files(session));
    }
    let patches = sheets::patch_list(title, &facts::patches(cue, session.performed));
    out.push(Text::new("patches.txt", "sheet", "the patch list, to paste", patches));
    let routes = facts::routes(cue);
    let common = cue.template.stage.common.as_ref().map(|c| c.name.as_str());
    let text = sheets::routing_text(title, common, &routes);
    out.push(Text::new("routing.txt", "sheet", "who goes to which hall", text));
    let csv = sheets::routing_csv(&routes);
    out.push(Text::new("routing.csv", "sheet", "the same as a table", csv));
    for (name, bytes) in documents {
        let path = name.split(['/', '\\']).map(names::safe).collect::<Vec<_>>().join("/");
        out.push(Text::new(&path, "document", "", bytes.clone()));
    }
    out.extend(plan(session)?);
    Ok(out)
}

fn midi_files(session: &Session<'_>) -> Vec<Text> {
    let performed = session.performed;
    let file = &performed.patches.file;
    let owners: Vec<&str> = performed.patches.tracks.iter().map(|t| t.chair.as_str()).collect();
    let lead = performed.patches.lead_in_bars;
    let timeline = &performed.performance.timeline;
    let bar = timeline.bar_at(ripieno_units::Beats::ZERO).metre.bar();
    let shift = i64::from(lead) * bar.ticks(file.ticks_per_quarter.into());
    let mut out = vec![
        Text::new("midi/performed.mid", "midi", "as performed for the patches", write(file)),
        Text::new(
            "midi/tempo map.mid",
            "midi",
            "tempo, metre, keys and markers alone",
            write(&midi::tempo_map(file)),
        ),
    ];
    let parts: Vec<(&str, &Part)> = performed
        .performance
        .chairs
        .iter()
        .filter_map(|c| performed.parts.iter().find(|p| p.chair == c.chair))
        .map(|part| (facts::printed(session.cue, &part.chair), part))
        .collect();
    let stroke = |id: &str| ripieno_instruments::by_id(id).and_then(|i| i.gm_key);
    let plain = midi::plain(file, &parts, shift, &stroke);
    let what = "the notes as written, on the grid, without calls and controllers";
    out.push(Text::new("midi/plain.mid", "midi", what, write(&plain)));
    for (chair, file) in midi::by_chair(file, &owners) {
        let path = format!("midi/chairs/{}.mid", names::safe(chair));
        out.push(Text::new(&path, "midi", &format!("{chair}, as performed"), write(&file)));
    }
    out
}

/// The plan with all that it names: from it the version can be told, and made again.
fn plan(session: &Session<'_>) -> Result<Vec<Text>, CueError> {
    let cue = session.cue;
    let mut files = vec![cue.plan_path.clone(), cue.template_path.clone(), cue.folder.join(&cue.plan.music)];
    let beside = cue.beside_template();
    files.extend(cue.template.chairs.iter().flat_map(|c| &c.cards).map(|card| beside.join(card)));
    files.sort();
    files.dedup();
    let mut out = Vec::new();
    for path in files {
        let bytes = folder::read(&path, "It was there when the cue was opened; deliver again.")?;
        let path = format!("plan/{}", inside(&cue.folder, &path));
        out.push(Text::new(&path, "plan", "as it was when this was delivered", bytes));
    }
    Ok(out)
}

/// A file's path in the cue's folder; of what lies elsewhere its name, in a folder of its own.
fn inside(folder: &Path, file: &Path) -> String {
    let words = |path: &Path| {
        let normal = |c: Component<'_>| match c {
            Component::Normal(word) => Some(Some(names::safe(&word.to_string_lossy()))),
            Component::CurDir => Some(None),
            _ => None,
        };
        path.components().map(normal).collect::<Option<Vec<_>>>()
    };
    let found = file.strip_prefix(folder).ok().and_then(words);
    match found {
        Some(words) => words.into_iter().flatten().collect::<Vec<_>>().join("/"),
        None => {
            let name = file.file_name().map_or_else(String::new, |n| n.to_string_lossy().into_owned());
            format!("from elsewhere/{}", names::safe(&name))
        }
    }
}
