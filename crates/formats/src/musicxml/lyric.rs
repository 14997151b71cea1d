//! `lyric`: syllables of all verses of a note.

use super::xml::text;
use super::xml::{children, has};
use ripieno_music::{Syllable, SyllablePlace};
use roxmltree::Node;

/// The syllables of a note, one a verse at most, by verse.
pub(super) fn read(note: Node<'_, '_>) -> Vec<Syllable> {
    let mut found: Vec<Syllable> = Vec::new();
    for lyric in children(note, "lyric") {
        if let Some(one) = syllable(lyric)
            && !found.iter().any(|s| s.verse == one.verse)
        {
            found.push(one);
        }
    }
    found.sort_by_key(|s| s.verse);
    found
}

fn syllable(lyric: Node<'_, '_>) -> Option<Syllable> {
    use SyllablePlace::{Begin, End, Middle, Single};
    let mut out = String::new();
    let (mut first, mut last) = (None, None);
    let mut elided = false;
    for item in lyric.children().filter(Node::is_element) {
        match item.tag_name().name() {
            "syllabic" => {
                let place = match text(item) {
                    "begin" => Begin,
                    "middle" => Middle,
                    "end" => End,
                    _ => Single,
                };
                first = first.or(Some(place));
                last = Some(place);
            }
            "elision" => elided = true,
            "text" => {
                let piece = item.text().unwrap_or("").trim().trim_matches('-');
                if !out.is_empty() && !piece.is_empty() {
                    out.push_str(if elided { "\u{203f}" } else { "" });
                }
                out.push_str(piece);
                elided = false;
            }
            _ => {}
        }
    }
    if out.is_empty() {
        return None;
    }
    // Two syllables on one note: it begins as the first begins and ends as the last ends.
    let opens = matches!(first, Some(Begin | Single) | None);
    let closes = matches!(last, Some(End | Single) | None);
    let place = match (opens, closes) {
        (true, true) => Single,
        (true, false) => Begin,
        (false, true) => End,
        (false, false) => Middle,
    };
    let number = lyric.attribute("number").unwrap_or("1");
    let digits: String =
        number.chars().skip_while(|c| !c.is_ascii_digit()).take_while(char::is_ascii_digit).collect();
    let extends = has(lyric, "extend")
        && !children(lyric, "extend").any(|e| matches!(e.attribute("type"), Some("stop" | "continue")));
    Some(Syllable { text: out, place, extends, verse: digits.parse().ok().filter(|v| *v > 0).unwrap_or(1) })
}
