//! How long each step of reading a piece takes: `read_speed FILE`. Best of three, in seconds.

use ripieno_casting::{DraftOptions, draft};
use ripieno_plan::Purpose;
use std::path::Path;
use std::time::Instant;

fn best<T>(what: &str, work: impl Fn() -> T) -> T {
    let mut least = f64::INFINITY;
    let mut last = None;
    for _ in 0..3 {
        let start = Instant::now();
        last = Some(work());
        least = least.min(start.elapsed().as_secs_f64());
    }
    println!("{what:<28} {least:.3} s");
    last.unwrap_or_else(|| unreachable!("it ran three times"))
}

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let path = std::env::args().nth(1).ok_or("read_speed FILE")?;
    let path = Path::new(&path);
    let score = best("the file", || ripieno_cue::read_music(path))?;
    let reading = best("discovery", || ripieno_discovery::read(&score));
    best("  doublings", || ripieno_discovery::doublings::find(&score));
    best("  passages", || ripieno_discovery::passages::find(&score));
    best("the plan", || draft(&score, &reading, &DraftOptions::default()));
    let read = best("all of `ripieno read`", || ripieno_cue::read(path, None, Purpose::default()))?;
    best("  performed", || ripieno_cue::perform(&read.cue, ripieno_cue::PerformOptions::default()));
    let whole = best("  discovery and read through", || ripieno_cue::check(&read.cue, &read.performed));
    best("read through, discovery apart", || {
        ripieno_cue::check_as_read(&read.cue, &read.performed, &whole.reading)
    });
    println!("{} findings", read.checked.findings.len() + read.checked.folded.len());
    Ok(())
}
