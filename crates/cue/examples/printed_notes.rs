//! Prints what the chairs of a cue play, as JSON, for comparing with what is printed: `printed_notes CUE`.
//!
//! `{"CHAIR": [["onset", "length", midi], …]}`: quarters from the start of the first bar, exact fractions; -1 for a stroke without
//! pitch. A tremolo between two notes is the two notes that are written, each with half the length.

use ripieno_cue::{Cue, PerformOptions, perform};
use std::path::Path;

fn main() {
    let Some(folder) = std::env::args().nth(1) else {
        eprintln!("usage: printed_notes CUE");
        std::process::exit(2);
    };
    let cue = match Cue::open(Path::new(&folder)) {
        Ok(cue) => cue,
        Err(error) => {
            eprintln!("{error}");
            std::process::exit(1);
        }
    };
    let start = cue.score.timeline.start();
    let performed = perform(&cue, PerformOptions::default());
    let mut chairs = Vec::new();
    for part in performed.parts.iter().filter(|p| !p.content.notes.is_empty()) {
        let mut rows = Vec::new();
        for note in &part.content.notes {
            let midi = note.pitch().map_or(-1.0, |p| p.semitones());
            let at = note.at - start;
            match note.tremolo.and_then(|t| t.with) {
                None => rows.push(format!("[\"{at}\",\"{}\",{midi}]", note.length)),
                Some(other) => {
                    let half = note.length.scaled(1, 2);
                    rows.push(format!("[\"{at}\",\"{half}\",{midi}]"));
                    rows.push(format!("[\"{}\",\"{half}\",{}]", at + half, other.semitones()));
                }
            }
        }
        chairs.push(format!("\"{}\":[{}]", part.chair, rows.join(",")));
    }
    println!("{{{}}}", chairs.join(",\n"));
}
