//! Prints the music of a file again: `reprint FILE [--transposed] > score.musicxml`. Names choose the instruments.

use ripieno_instruments::{Query, recognise};
use ripieno_music::Part;
use ripieno_notation::{Piece, Pitched, Player, score};

fn main() {
    let words: Vec<String> = std::env::args().skip(1).collect();
    let Some(bytes) = words.first().and_then(|p| std::fs::read(p).ok()) else {
        eprintln!("usage: reprint FILE [--transposed]");
        std::process::exit(2);
    };
    let music = match ripieno_formats::read_score(&bytes) {
        Ok(music) => music,
        Err(error) => {
            eprintln!("{error}");
            std::process::exit(1);
        }
    };
    let parts: Vec<Part> = music
        .tracks
        .iter()
        .map(|t| Part { chair: t.id.clone(), content: t.content.clone(), cells: Vec::new() })
        .collect();
    let players = music
        .tracks
        .iter()
        .zip(&parts)
        .filter_map(|(track, part)| {
            let found = recognise(&Query { name: &track.name, ..Query::default() }).map(|g| g.instrument);
            let instrument = found.or_else(|| ripieno_instruments::by_id("piano"))?;
            let short = track.abbreviation.clone().unwrap_or_default();
            Some(Player { part, instrument, name: track.name.clone(), short, words: Vec::new() })
        })
        .collect();
    let transposed = words.iter().any(|w| w == "--transposed");
    let piece = Piece {
        title: music.title.clone().unwrap_or_default(),
        composer: music.composer.clone(),
        date: None,
        about: String::new(),
        timeline: &music.timeline,
        marks: Vec::new(),
        players,
        pitched: if transposed { Pitched::Transposed } else { Pitched::Concert },
    };
    print!("{}", score(&piece));
}
