//! Prints what harps and timpani of a score (MusicXML or MIDI) or of a cue's folder meet, and their charts:
//! `cargo run --release -p ripieno-readthrough --example pedals FILE [free]`.

#[allow(dead_code)] // the tests use more of it
#[path = "../tests/pedals/round.rs"]
mod round;

use ripieno_plan::Kit;
use ripieno_readthrough::solve;
use std::path::Path;
use std::time::Instant;

fn main() {
    let mut words = std::env::args().skip(1);
    let Some(path) = words.next() else {
        eprintln!("name a score or the folder of a cue");
        return;
    };
    let free = words.next().is_some_and(|w| w == "free");
    let path = Path::new(&path);
    let found = if path.is_dir() {
        round::Round::cue(path)
    } else {
        let score = std::fs::read(path).ok().and_then(|b| ripieno_formats::read_score(&b).ok());
        score.map(|s| round::Round::score(&s))
    };
    let Some(mut found) = found else {
        eprintln!("{}: no score and no cue", path.display());
        return;
    };
    if free {
        let chairs: Vec<String> = found.table().desks.iter().map(|d| d.id().to_string()).collect();
        for chair in chairs {
            found = found.with_kit(Kit { chair, free_spelling: Some(true), ..Kit::default() });
        }
    }
    let table = found.table();
    for desk in &table.desks {
        let notes = desk.part.content.notes.len();
        println!("{}: {} notes in {} bars", desk.id(), notes, table.timeline.bars.len());
    }
    for desk in table.desks.iter().filter(|d| d.instrument.id == "harp") {
        for free in [false, true] {
            let facts = ripieno_instruments::harp();
            let part = solve::harp_events::plucked(&table, desk, free, facts);
            let begun = Instant::now();
            let s = solve::harp_pedals::solve(&part.events, [solve::harp_pedals::UNSET; 7], facts);
            println!(
                "{} {}: {} events, {} changes, cost {:.2}, narrowed {}, in {:.1?}",
                desk.id(),
                if free { "freely" } else { "by letter" },
                part.events.len(),
                s.moves.len(),
                s.cost,
                s.narrowed,
                begun.elapsed()
            );
        }
    }
    let begun = Instant::now();
    let (findings, charts) = solve::read(&table);
    let checked = begun.elapsed();
    for f in &findings {
        println!(
            "{:10} {:18} {} {}.{:.2}-{}: {}. {}.{}",
            f.severity.word(),
            f.rule,
            f.chair,
            f.bar,
            f.beat,
            f.to_bar,
            f.message,
            f.remedy,
            f.change.as_ref().map_or_else(String::new, |c| format!(" [{c}]"))
        );
    }
    println!("checked and charted in {checked:.1?}");
    for chart in &charts.pedals {
        println!("{}\n  {}", chart.chair, chart.lines().join("\n  "));
    }
    for chart in &charts.tunings {
        println!("{}\n  {}", chart.chair, chart.lines().join("\n  "));
    }
}
