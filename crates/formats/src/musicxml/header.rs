//! What stands before the music: titles and the list of parts.

use super::sheet::Sheet;
use super::warn::Doubts;
use super::xml::{child, child_text, children, has, text};
use roxmltree::Node;
use std::collections::BTreeMap;

/// One entry of the part list.
#[derive(Clone, Debug, Default)]
pub(super) struct PartInfo {
    pub id: String,
    pub name: String,
    pub abbreviation: Option<String>,
    pub instrument: Option<String>,
    /// From 0.
    pub program: Option<u8>,
    /// On the percussion channel.
    pub percussion: bool,
    /// Names of its instruments by id: the strokes of a percussion staff.
    pub strokes: BTreeMap<String, String>,
}

/// Title and composer.
pub(super) fn title(root: Node<'_, '_>, sheet: &mut Sheet) {
    let work = child(root, "work").and_then(|w| child_text(w, "work-title"));
    let movement = child_text(root, "movement-title");
    let credit = |kind: &str| {
        children(root, "credit")
            .find(|c| child_text(*c, "credit-type") == Some(kind))
            .and_then(|c| child_text(c, "credit-words"))
    };
    sheet.title = match (work, movement) {
        (Some(w), Some(m)) if w != m => Some(format!("{}: {}", spaced(w), spaced(m))),
        (Some(one), _) | (None, Some(one)) => Some(spaced(one)),
        (None, None) => credit("title").map(spaced),
    };
    let creators = || child(root, "identification").into_iter().flat_map(|i| children(i, "creator"));
    sheet.composer = creators()
        .find(|c| c.attribute("type") == Some("composer"))
        .or_else(|| creators().find(|c| c.attribute("type").is_none()))
        .map(text)
        .filter(|t| !t.is_empty())
        .or_else(|| credit("composer"))
        .map(spaced);
}

/// Line breaks and runs of blanks become one blank.
pub(super) fn spaced(text: &str) -> String {
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}

/// The part list.
pub(super) fn parts(root: Node<'_, '_>, doubts: &mut Doubts) -> Vec<PartInfo> {
    let mut infos: Vec<PartInfo> = Vec::new();
    let mut known = std::collections::BTreeSet::new();
    for list in children(root, "part-list") {
        for part in children(list, "score-part") {
            let id = part.attribute("id").map_or_else(|| format!("part-{}", infos.len() + 1), str::to_owned);
            if known.insert(id.clone()) {
                infos.push(info(part, id, doubts));
            } else {
                doubts.add(format!("part {id}"), "stands twice in the part list; the first entry holds");
            }
        }
    }
    infos
}

/// Name as shown: its display form where the plain one is empty.
fn name(part: Node<'_, '_>, plain: &str, display: &str) -> Option<String> {
    let shown = || {
        let pieces = children(child(part, display)?, "display-text").map(text).collect::<Vec<_>>();
        Some(spaced(&pieces.join(" "))).filter(|s| !s.is_empty())
    };
    child_text(part, plain).map(spaced).filter(|s| !s.is_empty()).or_else(shown)
}

fn info(part: Node<'_, '_>, id: String, doubts: &mut Doubts) -> PartInfo {
    let mut info = PartInfo {
        name: name(part, "part-name", "part-name-display").unwrap_or_default(),
        abbreviation: name(part, "part-abbreviation", "part-abbreviation-display"),
        ..PartInfo::default()
    };
    let mut first = None;
    for instrument in children(part, "score-instrument") {
        let named = child_text(instrument, "instrument-name").map(spaced).unwrap_or_default();
        let sound = child_text(instrument, "instrument-sound");
        if first.is_none() {
            let both: Vec<&str> =
                [Some(named.as_str()), sound].into_iter().flatten().filter(|s| !s.is_empty()).collect();
            first = Some(both.join(" ")).filter(|s| !s.is_empty());
        }
        let stroke = if named.is_empty() { sound.unwrap_or("").to_owned() } else { named };
        if let Some(key) = instrument.attribute("id") {
            info.strokes.insert(key.to_owned(), stroke);
        }
    }
    info.instrument = first;
    if info.name.is_empty() {
        // Some writers leave the name out and tell the instrument alone.
        info.name = info.strokes.values().next().cloned().unwrap_or_default();
    }
    let mut midi = children(part, "midi-instrument").peekable();
    let several = part.children().filter(|n| n.tag_name().name() == "midi-instrument").count() > 1;
    if let Some(first) = midi.peek().copied() {
        info.percussion =
            child_text(first, "midi-channel") == Some("10") || (several && has(first, "midi-unpitched"));
        match child_text(first, "midi-program").map(str::parse::<i32>) {
            Some(Ok(n @ 1..=128)) => info.program = Some((n - 1) as u8),
            Some(_) => doubts.add(
                format!("part {id}"),
                "gives a MIDI program outside 1 to 128; it is read as if none were given",
            ),
            None => {}
        }
    }
    info.id = id;
    info
}
