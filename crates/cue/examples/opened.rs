//! An opened cell inside a small page, for looking: `cargo run -p ripieno-cue --example opened -- CUE CHAIR PASSAGE > cell.html`.
//! Without a passage all passages of the chair, without a chair all chairs.

use ripieno_cue::view::opened;
use ripieno_cue::{Cue, PerformOptions, check, perform};
use ripieno_picture::staff;

fn main() {
    let words: Vec<String> = std::env::args().skip(1).collect();
    let Some(path) = words.first() else {
        eprintln!("Name a cue: opened CUE [CHAIR [PASSAGE]]");
        std::process::exit(2);
    };
    let cue = match Cue::open(std::path::Path::new(path)) {
        Ok(cue) => cue,
        Err(error) => {
            eprintln!("{error}");
            std::process::exit(2);
        }
    };
    let performed = perform(&cue, PerformOptions::default());
    let checked = check(&cue, &performed);
    println!("<!doctype html><meta charset=\"utf-8\"><title>Opened</title><style>{}", ripieno_picture::STYLE);
    println!("body {{ background: var(--paper); color: var(--ink); font-family: var(--serif) }}</style>");
    for chair in cue.template.chairs.iter().filter(|c| words.get(1).is_none_or(|w| *w == c.id || w == "-")) {
        for passage in cue.plan.passages.iter().filter(|p| words.get(2).is_none_or(|w| *w == p.name)) {
            let Some(cell) = opened(&cue, &performed, Some(&checked), &chair.id, &passage.name) else {
                continue;
            };
            if cell.notes.is_empty() && words.len() < 3 {
                continue;
            }
            println!("<h4>{}</h4>", ripieno_picture::svg::escape(&cell.title));
            println!("{}", staff::draw(&cell, staff::natural_scale(&cell)));
            println!("<p>{}</p><details><summary>in words</summary><ul>", cell.caption);
            for bar in staff::in_words(&cell) {
                println!("<li>Bar {}: {}</li>", bar.bar, ripieno_picture::svg::escape(&bar.text));
            }
            println!("</ul></details>");
        }
    }
}
