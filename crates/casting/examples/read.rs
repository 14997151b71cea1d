//! Prints what is read in a music file, as `ripieno read FILE --json` does, for checks without the whole program:
//! `cargo run -p ripieno-casting --example read -- FILE`. Beside the contract's fields: `first_bar`, and for each doubling
//! `exact` and `simplified`.

use ripieno_casting::chairs_of;
use std::fmt::Write as _;
use std::io::Write as _;
use std::process::ExitCode;

fn main() -> ExitCode {
    let Some(path) = std::env::args().nth(1) else {
        eprintln!("read FILE");
        return ExitCode::from(2);
    };
    let score = std::fs::read(&path)
        .map_err(|e| e.to_string())
        .and_then(|bytes| ripieno_formats::read_score(&bytes).map_err(|e| e.to_string()));
    let score = match score {
        Ok(score) => score,
        Err(e) => {
            eprintln!("{path}: {e}");
            return ExitCode::from(2);
        }
    };
    let started = std::time::Instant::now();
    let reading = ripieno_discovery::read(&score);
    let took = started.elapsed();
    let chairs = chairs_of(&score);
    let chair = |track: usize| chairs.iter().find(|c| c.track == track).map_or("", |c| c.id.as_str());
    let mut out = format!(
        "{{\"bars\":{},\"first_bar\":{},\"read_ms\":{},\"lines\":[",
        score.timeline.bars.len(),
        score.timeline.bars.first().map_or(1, |b| b.number),
        took.as_secs_f64() * 1000.0
    );
    let lines = chairs.iter().map(|c| format!("{{\"id\":\"{0}\",\"chair\":\"{0}\"}}", c.id));
    out.push_str(&lines.collect::<Vec<_>>().join(","));
    out.push_str("],\"doublings\":[");
    for (i, d) in reading.doublings.iter().enumerate() {
        let _ = write!(
            out,
            "{}\n{{\"chair\":\"{}\",\"of\":\"{}\",\"semitones\":{},\"from_bar\":{},\"to_bar\":{},\"share\":{},\
             \"exact\":{},\"simplified\":\"{}\"}}",
            if i > 0 { "," } else { "" },
            chair(d.track),
            chair(d.of),
            d.semitones,
            d.from_bar,
            d.to_bar,
            d.share,
            d.exact,
            d.simplified.as_deref().unwrap_or("")
        );
    }
    out.push_str("]}\n");
    // A closed pipe is no trouble of ours.
    drop(std::io::stdout().write_all(out.as_bytes()));
    ExitCode::SUCCESS
}
