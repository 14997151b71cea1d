//! The words that a cell may use, for completion and for those who choose instead of typing.

use crate::open::Shown;
use ripieno_cue::CellWords;
use serde::Serialize;

/// The words of a cue.
#[derive(Serialize)]
pub struct Words {
    /// Lines, with the voices of those that have some.
    lines: Vec<Word>,
    /// Chairs, for `col`.
    chairs: Vec<Word>,
    octaves: Vec<&'static str>,
    dynamics: Vec<&'static str>,
    marks: Vec<String>,
    /// Names that only the cue's own patch cards have.
    articulations: Vec<String>,
}

/// A word and what it means.
#[derive(Serialize)]
struct Word {
    word: String,
    says: String,
}

/// All words that the cells of a cue may use.
pub fn words(shown: &Shown) -> impl Serialize + use<> {
    let cue = &shown.played.cue;
    let mut lines = Vec::new();
    for line in &cue.plan.lines {
        let says = format!("line of {}", line.track);
        lines.push(Word { word: line.name.clone(), says: says.clone() });
        let voices = line.voices.unwrap_or(0);
        let voice = |i: u8| match i {
            1 => "top".to_string(),
            i if i == voices => "bottom".to_string(),
            i => i.to_string(),
        };
        lines.extend(
            (1..=voices).map(|i| Word { word: format!("{}.{}", line.name, voice(i)), says: says.clone() }),
        );
    }
    lines.push(Word { word: "as written".into(), says: "the chair's own track".into() });
    lines.push(Word { word: "tacet".into(), says: "silent".into() });
    let chairs =
        shown.board.rows.iter().map(|row| Word { word: row.chair.clone(), says: row.name.clone() }).collect();
    let marks: Vec<String> = CellWords::vocabulary().map(str::to_string).collect();
    let mut articulations: Vec<String> = cue
        .cards
        .values()
        .flatten()
        .flat_map(|card| card.articulations.iter().map(|a| a.name.clone()))
        .filter(|name| !marks.contains(name))
        .collect();
    articulations.sort();
    articulations.dedup();
    Words {
        lines,
        chairs,
        octaves: vec!["8va", "8vb", "15ma", "15mb"],
        dynamics: vec!["ppp", "pp", "p", "mp", "mf", "f", "ff", "fff", "sfz", "fp", "<", ">", "niente"],
        marks,
        articulations,
    }
}
