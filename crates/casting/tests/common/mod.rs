//! Small scores and plans, built by hand.
#![allow(dead_code)] // each test file uses its share

use ripieno_music::{Dynamic, Metre, Note, Part, Playing, Score, Timeline, Track};
use ripieno_plan::{
    CellMark, CellWords, ChairPlan, DynamicStep, LineDef, LineVoice, PassagePlan, PlaceWord, PlacedCell,
    Plan, Source, Span, Template, Turn,
};
use ripieno_units::Beats;

/// Bars of 4/4.
pub fn score(bars: usize, tracks: &[(&str, Vec<Note>)]) -> Score {
    Score {
        title: None,
        composer: None,
        timeline: Timeline::regular(bars, Metre { beats: 4, unit: 4 }, 96.0),
        tracks: tracks
            .iter()
            .enumerate()
            .map(|(i, (name, notes))| {
                let mut track =
                    Track { id: format!("P{}", i + 1), name: (*name).to_owned(), ..Track::default() };
                track.content.notes = notes.clone();
                track.content.sort();
                track
            })
            .collect(),
        warnings: Vec::new(),
    }
}

/// One note a beat.
pub fn crotchets(keys: &[i16]) -> Vec<Note> {
    keys.iter().enumerate().map(|(i, k)| Note::plain(Beats::whole(i as i64), Beats::whole(1), *k)).collect()
}

pub fn note(at: (i64, i64), length: (i64, i64), key: i16) -> Note {
    Note::plain(Beats::new(at.0, at.1), Beats::new(length.0, length.1), key)
}

pub fn slur(notes: &mut [Note]) {
    let last = notes.len() - 1;
    for (i, n) in notes.iter_mut().enumerate() {
        n.slurred |= i > 0;
        n.slurs_on |= i < last;
    }
}

pub fn turn(source: Source, octave: i16) -> Turn {
    Turn { source, octave, from: None, to: None, span: Span::default() }
}

pub fn line(name: &str) -> Turn {
    turn(Source::Line { name: name.into(), voice: LineVoice::All }, 0)
}

pub fn voice(name: &str, voice: LineVoice) -> Turn {
    turn(Source::Line { name: name.into(), voice }, 0)
}

pub fn col(chair: &str, octave: i16) -> Turn {
    turn(Source::Col { chair: chair.into() }, octave)
}

pub fn as_written() -> Turn {
    turn(Source::AsWritten, 0)
}

pub fn place(bar: i32, beat: f64) -> Option<PlaceWord> {
    Some(PlaceWord { bar, beat: Some(beat) })
}

pub fn playing(word: Playing) -> CellMark {
    CellMark::Playing(word)
}

pub fn level(dynamic: Dynamic) -> CellMark {
    CellMark::Dynamics(vec![DynamicStep { hairpin: None, dynamic, at: None }])
}

pub fn cell(chair: &str, turns: Vec<Turn>, marks: Vec<CellMark>) -> PlacedCell {
    divided(chair, vec![turns], marks)
}

pub fn divided(chair: &str, divisions: Vec<Vec<Turn>>, marks: Vec<CellMark>) -> PlacedCell {
    PlacedCell {
        chair: chair.into(),
        text: String::new(),
        words: CellWords { divisions, marks },
        span: Span::default(),
    }
}

pub fn passage(name: &str, from_bar: i32, to_bar: i32, cells: Vec<PlacedCell>) -> PassagePlan {
    PassagePlan { name: name.into(), from_bar, to_bar, cells, ..PassagePlan::default() }
}

pub fn plan(lines: &[(&str, &str)], passages: Vec<PassagePlan>) -> Plan {
    Plan {
        lines: lines
            .iter()
            .map(|(name, track)| LineDef {
                name: (*name).into(),
                track: (*track).into(),
                ..LineDef::default()
            })
            .collect(),
        passages,
        ..Plan::default()
    }
}

pub fn template(chairs: &[(&str, &str)]) -> Template {
    Template {
        chairs: chairs
            .iter()
            .map(|(id, instrument)| ChairPlan {
                id: (*id).into(),
                instrument: (*instrument).into(),
                players: 1,
                ..ChairPlan::default()
            })
            .collect(),
        ..Template::default()
    }
}

pub fn part<'a>(parts: &'a [Part], chair: &str) -> &'a Part {
    parts.iter().find(|p| p.chair == chair).unwrap_or_else(|| panic!("{chair} does not play"))
}

/// Onset in quarters and key.
pub fn played(part: &Part) -> Vec<(f64, i16)> {
    part.content.notes.iter().map(|n| (n.at.quarters(), n.pitch().map_or(-1, |p| p.key))).collect()
}

pub fn keys(part: &Part) -> Vec<i16> {
    played(part).into_iter().map(|p| p.1).collect()
}
