//! The head of a document: title, names, instruments.

use crate::percussion;
use crate::piece::{Piece, Player};
use crate::xml::Xml;
use ripieno_instruments::Family;
use ripieno_music::NoteKind;

/// Strokes of a player in order of name, with their place on the staff.
pub(crate) fn strokes(player: &Player<'_>) -> Vec<(String, ripieno_music::Spelling)> {
    let mut names: Vec<String> = Vec::new();
    for note in &player.part.content.notes {
        if let NoteKind::Unpitched { stroke } = &note.kind
            && !names.contains(stroke)
        {
            names.push(stroke.clone());
        }
    }
    names.sort();
    let places = percussion::places(&names);
    names.into_iter().zip(places).collect()
}

/// Title, composer, dates, part list. `for_player` is the part's name where it is a part.
pub(crate) fn write(xml: &mut Xml, piece: &Piece<'_>, players: &[&Player<'_>], for_player: Option<&str>) {
    let title = if piece.title.trim().is_empty() { "Untitled" } else { piece.title.trim() };
    xml.open("work", &[]);
    xml.text("work-title", title);
    xml.close();
    xml.text("movement-title", title);
    xml.open("identification", &[]);
    if let Some(composer) = &piece.composer {
        xml.text_with("creator", &[("type", "composer")], composer);
    }
    xml.open("encoding", &[]);
    if let Some(date) = &piece.date {
        xml.text("encoding-date", date);
    }
    xml.text("software", "Ripieno");
    for (element, kind) in [("accidental", "yes"), ("beam", "yes"), ("stem", "no")] {
        xml.empty("supports", &[("element", element), ("type", kind)]);
    }
    xml.close();
    xml.close();
    let credit = |xml: &mut Xml, kind: &str, words: &str, justify: &str| {
        xml.open("credit", &[("page", "1")]);
        xml.text("credit-type", kind);
        xml.text_with("credit-words", &[("justify", justify)], words);
        xml.close();
    };
    credit(xml, "title", title, "center");
    if !piece.about.is_empty() {
        credit(xml, "subtitle", &piece.about, "center");
    }
    if let Some(composer) = &piece.composer {
        credit(xml, "composer", composer, "right");
    }
    if let Some(name) = for_player {
        credit(xml, "part name", name, "left");
    }
    xml.open("part-list", &[]);
    let mut group: Option<Family> = None;
    let mut number = 0u32;
    for (i, player) in players.iter().enumerate() {
        let family = player.instrument.family;
        if group != Some(family) {
            if group.take().is_some() {
                xml.empty("part-group", &[("type", "stop"), ("number", &number.to_string())]);
            }
            if players.get(i + 1).is_some_and(|p| p.instrument.family == family) {
                number += 1;
                xml.open("part-group", &[("type", "start"), ("number", &number.to_string())]);
                xml.text("group-symbol", "bracket");
                // Barlines do not run through the words of voices.
                xml.text("group-barline", if family == Family::Voices { "no" } else { "yes" });
                xml.close();
                group = Some(family);
            }
        }
        score_part(xml, player, i);
    }
    if group.is_some() {
        xml.empty("part-group", &[("type", "stop"), ("number", &number.to_string())]);
    }
    xml.close();
}

fn score_part(xml: &mut Xml, player: &Player<'_>, index: usize) {
    let id = format!("P{}", index + 1);
    let instrument = player.instrument;
    xml.open("score-part", &[("id", &id)]);
    xml.text("part-name", &player.name);
    xml.text("part-abbreviation", &player.short);
    let strokes = strokes(player);
    // Channel 10 is for percussion (General MIDI); beyond sixteen they are used again.
    let channel = 1 + index % 15;
    let channel = if strokes.is_empty() { channel + usize::from(channel >= 10) } else { 10 };
    let known: Vec<(String, Option<&ripieno_instruments::Instrument>)> = if strokes.is_empty() {
        vec![(instrument.name().to_string(), Some(instrument))]
    } else {
        strokes
            .iter()
            .map(|(stroke, _)| {
                let known = ripieno_instruments::by_id(stroke);
                (known.map_or(stroke.as_str(), |i| i.name()).to_string(), known)
            })
            .collect()
    };
    for (k, (name, known)) in known.iter().enumerate() {
        xml.open("score-instrument", &[("id", &format!("{id}-I{}", k + 1))]);
        xml.text("instrument-name", name);
        if let Some(sound) = known.and_then(|i| i.sounds.first()) {
            xml.text("instrument-sound", sound);
        }
        xml.close();
    }
    for (k, (_, known)) in known.iter().enumerate() {
        xml.open("midi-instrument", &[("id", &format!("{id}-I{}", k + 1))]);
        xml.text("midi-channel", channel);
        if let (Some(program), true) = (known.and_then(|i| i.programs.first()), strokes.is_empty()) {
            xml.text("midi-program", u16::from(*program) + 1);
        }
        if let (Some(key), false) = (known.and_then(|i| i.gm_key), strokes.is_empty()) {
            xml.text("midi-unpitched", u16::from(key) + 1);
        }
        xml.close();
    }
    xml.close();
}
