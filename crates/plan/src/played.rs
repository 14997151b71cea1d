//! `[source]`: how a source that was played is to be read.

use crate::Span;
use crate::toml::{File, key_span, span_of};
use ripieno_music::parse_key;
use toml_edit::TableLike;

/// `[source]`. The default reads the music as it is written.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct SourcePlan {
    /// `played`: notes are given notated places beside the played ones.
    pub played: bool,
    /// `lead-in`: bars of the file before bar 1.
    pub lead_in: u32,
    /// `[source.tracks]`.
    pub tracks: Vec<SourceTrack>,
}

impl SourcePlan {
    /// Does it say nothing?
    pub fn is_empty(&self) -> bool {
        *self == Self::default()
    }
}

/// `"VN1 leg" = { chair = "violins-1", card = 1, playing = "legato", delay-ms = 120, switches = { "C0" = "legato" } }`.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct SourceTrack {
    /// Name of the track in the file, or its id.
    pub track: String,
    /// The chair that plays it; several tracks may name one. Without it the track stays by itself.
    pub chair: Option<String>,
    /// `card`: number of the chair's card that it was played on, from 1; 0 for none.
    pub card: usize,
    /// `playing`: the articulation of its notes until a call says another.
    pub playing: Option<String>,
    /// `delay-ms`: how much later than its notes it is heard, where no card says it.
    pub delay_ms: f64,
    /// `switches`: keys that are not heard, with the articulation that they call; `?` calls none that is known.
    pub switches: Vec<(u8, Option<String>)>,
    /// Where it stands in the file.
    pub span: Span,
}

pub(crate) fn read(file: &mut File<'_>, table: &dyn TableLike) -> SourcePlan {
    file.only(table, &["played", "lead-in", "tracks"], "[source]");
    let mut plan = SourcePlan {
        played: file.boolean(table, "played").unwrap_or(false),
        lead_in: file.whole(table, "lead-in", 0, 1000).and_then(|bars| u32::try_from(bars).ok()).unwrap_or(0),
        tracks: Vec::new(),
    };
    let Some(tracks) = table.get("tracks").and_then(|_| file.table(table, "tracks")) else { return plan };
    for (name, item) in tracks.iter() {
        let at = key_span(tracks, name, item);
        let Some(one) = item.as_table_like() else {
            file.error(
                at,
                format!("`source.tracks.\"{name}\"` is no table"),
                "write \"VN1 leg\" = { chair = \"violins-1\" }",
            );
            continue;
        };
        file.only(one, &["chair", "card", "playing", "delay-ms", "switches"], "a track of the source");
        plan.tracks.push(SourceTrack {
            track: name.to_string(),
            chair: file.string(one, "chair"),
            card: file.whole(one, "card", 0, 99).and_then(|n| usize::try_from(n).ok()).unwrap_or(0),
            playing: file.string(one, "playing"),
            delay_ms: file.number(one, "delay-ms", -1000.0, 1000.0).unwrap_or(0.0),
            switches: switches(file, one),
            span: Span { start: at.start, end: at.end },
        });
    }
    plan
}

/// `["C0", "C#0"]`, or `{ "C0" = "legato", "C#0" = "?" }`; octaves with middle C as C4.
fn switches(file: &mut File<'_>, table: &dyn TableLike) -> Vec<(u8, Option<String>)> {
    let Some(item) = table.get("switches") else { return Vec::new() };
    let mut wanted: Vec<(String, Option<String>, std::ops::Range<usize>)> = Vec::new();
    if let Some(named) = item.as_table_like() {
        for (key, value) in named.iter() {
            let at = key_span(named, key, value);
            match value.as_str() {
                Some(text) => wanted.push((key.to_string(), Some(text.to_string()), at)),
                None => file.error(
                    at,
                    format!("switch `{key}` calls no articulation"),
                    "write \"C0\" = \"legato\", or \"?\"",
                ),
            }
        }
    } else if item.is_array() {
        wanted = file.strings(table, "switches").into_iter().map(|(key, at)| (key, None, at)).collect();
    } else {
        file.error(
            span_of(item),
            "`switches` is no list of keys",
            "write [\"C0\", \"C#0\"] or { \"C0\" = \"legato\" }",
        );
    }
    let mut out = Vec::new();
    for (key, name, at) in wanted {
        match parse_key(&key, 4) {
            Some(number) => {
                let name = name.filter(|n| !n.trim().is_empty() && n.trim() != "?");
                out.push((number, name));
            }
            None => file.error(
                at,
                format!("`{key}` is no key"),
                "write a letter and an octave, middle C as C4: \"C0\"",
            ),
        }
    }
    out
}
