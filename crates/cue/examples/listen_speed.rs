//! How quick listening is: from play to sound, from a changed cell to its sound, from one choice to another, and what a second of a
//! chair costs. `listen_speed CUE [THREADS]`; the cue is copied and left as it is. Times are wall times on a machine with others on it.

use ripieno_cue::listen::{Ask, Block, Choice, Listener, Side, What};
use ripieno_cue::{Cue, CueError, PerformOptions, Performed};
use std::path::Path;
use std::sync::Arc;
use std::time::{Duration, Instant};

const LONG: Duration = Duration::from_secs(600);

/// Seconds of the block that the page asks for first.
const FIRST: f64 = 0.25;

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let mut words = std::env::args().skip(1);
    let cue = words.next().ok_or("name a cue: listen_speed CUE [THREADS]")?;
    let threads: usize = words.next().map_or(Ok(2), |w| w.parse())?;
    let aside = tempfile::tempdir()?;
    copy(Path::new(&cue), aside.path())?;
    let folder = aside.path();

    let (cue, performed) = opened(folder)?;
    let began = Instant::now();
    let listener = Listener::open(Arc::clone(&cue), Arc::clone(&performed), threads)?;
    println!("opened in {} ms", began.elapsed().as_millis());
    let program = listener.program(Side::Now).ok_or("nothing to listen to")?;
    let (rate, frames) = (f64::from(program.grid.rate), program.grid.frames as i64);
    let seconds = frames as f64 / rate;
    println!("{} chairs, {seconds:.0} s, {} Hz, {threads} workers", program.chairs.len(), program.grid.rate);

    let places = [0.5, 0.13, 0.8, 0.31, 0.66].map(|share| (share * frames as f64) as i64);
    let mut cold = Vec::new();
    for (i, from) in places.iter().enumerate() {
        // At once: what is there after 250 ms.
        let ask = Ask { from: *from, frames: (FIRST * rate) as usize, ..Ask::default() };
        let began = Instant::now();
        let soon = listener.block(&Ask { patience: Duration::from_millis(250), ..ask.clone() })?;
        let first = began.elapsed();
        let block = listener.block(&Ask { patience: LONG, ..ask })?;
        let all = began.elapsed();
        println!(
            "cold, place {}: after {} ms all but {} chairs, after {} ms all",
            i + 1,
            first.as_millis(),
            soon.missing.len(),
            all.as_millis()
        );
        heard(&block)?;
        cold.push(all);
    }
    println!("cold, play to all chairs: {}", spread(&mut cold));

    let began = Instant::now();
    let before = listener.rendered();
    if !listener.finish(LONG) {
        return Err("it was not rendered in ten minutes".into());
    }
    let took = began.elapsed().as_secs_f64();
    let made = (listener.rendered() - before) as f64 * program.grid.stretch as f64 / rate;
    println!(
        "rest rendered: {made:.0} chair-seconds in {took:.1} s: {:.2} ms of wall a chair-second, {:.1} times real time",
        1000.0 * took / made.max(1e-9),
        seconds / (took * seconds * program.chairs.len() as f64 / made.max(1e-9))
    );

    let play = |choice: &Choice, from: i64| -> Result<Duration, CueError> {
        let began = Instant::now();
        let ask = Ask {
            choice: choice.clone(),
            from,
            frames: (FIRST * rate) as usize,
            patience: LONG,
            ..Ask::default()
        };
        listener.block(&ask)?;
        Ok(began.elapsed())
    };
    let all = Choice::default();
    let mut warm = (0..40).map(|i| play(&all, i * frames / 41)).collect::<Result<Vec<_>, _>>()?;
    println!("warm, play to sound: {}", spread(&mut warm));
    let mut choices: Vec<Choice> = program
        .chairs
        .iter()
        .map(|(id, _)| Choice { what: What::Chairs(vec![id.clone()]), except: true, others_db: None })
        .collect();
    choices.extend(
        cue.plan.lines.iter().map(|l| Choice { what: What::Line(l.name.clone()), ..Choice::default() }),
    );
    let mut switched = Vec::new();
    for (i, choice) in choices.iter().enumerate() {
        let from = (i + 1) as i64 * frames / (choices.len() + 2) as i64;
        play(&all, from)?;
        switched.push(play(choice, from + 4800)?);
    }
    println!("switching, {} choices: {}", choices.len(), spread(&mut switched));

    // A cell changes while it is heard: its place is where the passage begins.
    let text = std::fs::read_to_string(&cue.plan_path)?;
    let mut changed = Vec::new();
    let mut touched = Vec::new();
    let passages = &cue.plan.passages;
    for passage in passages.iter().step_by((passages.len() / 6).max(1)).take(6) {
        let Some(cell) = passage.cells.iter().find(|c| !c.text.contains("tacet") && !c.text.is_empty())
        else {
            continue;
        };
        let Some(from) = listener.frame_of_bar(Side::Now, passage.from_bar, 0) else { continue };
        let old = format!("\"{}\"", cell.text);
        let at = text.match_indices(&old).map(|m| m.0).find(|at| text[..*at].contains(&passage.name));
        let Some(at) = at else { continue };
        let new = format!("{}\"{}, 8va\"{}", &text[..at], cell.text, &text[at + old.len()..]);
        let began = Instant::now();
        let Ok(other) = cue.with_plan(&new) else { continue };
        let again = ripieno_cue::perform(&other, PerformOptions::default());
        let performed_after = began.elapsed();
        let chairs = listener.replace(Arc::new(other), Arc::new(again))?;
        let replaced_after = began.elapsed();
        let before = listener.rendered();
        let block = listener.block(&Ask {
            from,
            frames: (FIRST * rate) as usize,
            patience: LONG,
            ..Ask::default()
        })?;
        let all = began.elapsed();
        heard(&block)?;
        listener.finish(LONG);
        touched.push(listener.rendered() - before);
        println!(
            "cell {} in {}: performed after {} ms, ready to be rendered after {} ms, heard after {} ms ({chairs:?} changed)",
            cell.chair,
            passage.name,
            performed_after.as_millis(),
            replaced_after.as_millis(),
            all.as_millis()
        );
        changed.push(all);
        listener.replace(Arc::clone(&cue), Arc::clone(&performed))?;
        listener.finish(LONG);
    }
    println!("changed cell to its sound: {}", spread(&mut changed));
    println!("stretches rendered for a cell: {touched:?} of {} a chair", program.grid.count());
    println!(
        "level: gain {:.1} dB, estimate {:?} LUFS, measured {:?} LUFS at that gain",
        program.gain_db,
        ripieno_cue::listen::estimated_loudness(&cue, &performed),
        listener.loudness(Side::Now, &all, (0, frames), LONG)?
    );
    Ok(())
}

fn opened(folder: &Path) -> Result<(Arc<Cue>, Arc<Performed>), CueError> {
    let cue = Cue::open(folder)?;
    let performed = ripieno_cue::perform(&cue, PerformOptions::default());
    Ok((Arc::new(cue), Arc::new(performed)))
}

fn heard(block: &Block) -> Result<(), String> {
    if block.missing.is_empty() { Ok(()) } else { Err(format!("still missing: {:?}", block.missing)) }
}

fn spread(times: &mut [Duration]) -> String {
    times.sort_unstable();
    let ms = |i: usize| times.get(i).map_or(0.0, |t| 1000.0 * t.as_secs_f64());
    format!(
        "median {:.0} ms, worst {:.0} ms of {}",
        ms(times.len() / 2),
        ms(times.len().saturating_sub(1)),
        times.len()
    )
}

/// Everything but what is rendered.
fn copy(from: &Path, to: &Path) -> std::io::Result<()> {
    std::fs::create_dir_all(to)?;
    for entry in std::fs::read_dir(from)?.flatten() {
        let name = entry.file_name();
        let skip = [".ripieno", "stems", "families", "delivery"].iter().any(|s| name.to_string_lossy() == *s);
        if entry.path().is_dir() {
            if !skip {
                copy(&entry.path(), &to.join(name))?;
            }
        } else if !name.to_string_lossy().ends_with(".wav") || entry.metadata()?.len() < 1 << 22 {
            std::fs::copy(entry.path(), to.join(name))?;
        }
    }
    Ok(())
}
