//! Prints what is found in a music file: `reading FILE`. One JSON document: bars, tracks, passages, tune.
//! The cross-checks use it; it is no part of the program.

use ripieno_music::Reading;

fn text(s: &str) -> String {
    let mut out = String::from("\"");
    for c in s.chars() {
        match c {
            '"' | '\\' => out.extend(['\\', c]),
            c if (c as u32) < 32 => out.push(' '),
            c => out.push(c),
        }
    }
    out.push('"');
    out
}

fn list(items: impl Iterator<Item = String>) -> String {
    format!("[{}]", items.collect::<Vec<_>>().join(","))
}

fn main() {
    let Some(path) = std::env::args().nth(1) else {
        eprintln!("reading FILE");
        std::process::exit(2);
    };
    let score = match std::fs::read(&path)
        .map_err(|e| e.to_string())
        .and_then(|bytes| ripieno_formats::read_score(&bytes).map_err(|e| e.to_string()))
    {
        Ok(score) => score,
        Err(e) => {
            eprintln!("{path}: {e}");
            std::process::exit(2);
        }
    };
    let started = std::time::Instant::now();
    let Reading { passages, tune, .. } = ripieno_discovery::read(&score);
    let seconds = started.elapsed().as_secs_f64();
    let bars =
        list(score.timeline.bars.iter().map(|b| {
            format!("[{},{},{},{}]", b.number, b.at.quarters(), b.length.quarters(), text(&b.printed))
        }));
    let tracks = list(score.tracks.iter().map(|t| {
        let notes = list(t.content.notes.iter().map(|n| {
            let key = n.pitch().map_or("null".to_owned(), |p| p.key.to_string());
            format!("[{},{},{key}]", n.at.quarters(), n.length.quarters())
        }));
        format!(
            "{{\"id\":{},\"name\":{},\"staves\":{},\"notes\":{notes}}}",
            text(&t.id),
            text(&t.name),
            t.content.notes.iter().map(|n| n.staff).max().unwrap_or(1)
        )
    }));
    let passages = list(passages.iter().map(|p| {
        let roles = list(p.roles.iter().map(|r| {
            let chord = r.chord.map_or("null".to_owned(), |c| format!("[{},{}]", c.voice, c.of));
            format!("[{},{chord}]", text(r.role.word()))
        }));
        format!(
            "{{\"name\":{},\"from_bar\":{},\"to_bar\":{},\"because\":{},\"roles\":{roles}}}",
            text(&p.name),
            p.from_bar,
            p.to_bar,
            list(p.because.iter().map(|b| text(b)))
        )
    }));
    let tune = list(tune.iter().map(|s| format!("[{},{},{}]", s.from.quarters(), s.to.quarters(), s.track)));
    println!(
        "{{\"seconds\":{seconds},\"bars\":{bars},\"tracks\":{tracks},\"passages\":{passages},\"tune\":{tune}}}"
    );
}
