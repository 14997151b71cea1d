//! `ripieno deliver`: one cue or several, one after the other, with one look at the progress.

use crate::show;
use ripieno_cue::{
    Cue, CueError, DeliverOptions, DeliverPlan, Delivered, PerformOptions, Performed, Sounded, Watch,
};
use std::path::{Path, PathBuf};
use std::process::ExitCode;
use std::time::Instant;

/// What the words after the command say.
pub struct Wanted {
    pub cues: Vec<PathBuf>,
    pub output: Option<PathBuf>,
    pub choice: DeliverPlan,
    pub times: bool,
}

pub fn deliver(wanted: &Wanted) -> Result<ExitCode, CueError> {
    let progress = show::Progress::new("delivering");
    if let [cue] = &wanted.cues[..] {
        let delivered = one(cue, wanted.output.as_deref(), wanted, &progress);
        progress.finish(delivered.is_ok());
        let delivered = delivered?;
        told(&delivered);
        if wanted.times {
            show::print(&times(&progress));
        }
        return Ok(ExitCode::SUCCESS);
    }
    let mut lines = Vec::new();
    let mut failed = 0;
    for cue in &wanted.cues {
        let output = wanted.output.as_ref().map(|into| into.join(name(cue)));
        show::say(&format!("{}:", cue.display()));
        let begun = Instant::now();
        let (how, what) = match one(cue, output.as_deref(), wanted, &progress) {
            Ok(delivered) => {
                remarks(&delivered);
                ("delivered", format!("{} files in {}", delivered.files.len(), delivered.folder.display()))
            }
            Err(error) => {
                failed += 1;
                show::complain(&error.to_string());
                let said = error.to_string();
                ("failed", said.lines().next().unwrap_or_default().to_string())
            }
        };
        lines.push((cue.display().to_string(), how, begun.elapsed().as_secs_f64(), what));
        if progress.stopped() {
            break;
        }
    }
    progress.finish(failed == 0);
    let width = lines.iter().map(|l| l.0.chars().count()).max().unwrap_or(0);
    for (cue, how, seconds, what) in &lines {
        show::print(&format!("{cue:width$}  {how:9}  {seconds:7.1} s  {what}\n"));
    }
    for cue in wanted.cues.iter().skip(lines.len()) {
        show::print(&format!("{:width$}  not begun\n", cue.display().to_string()));
    }
    if wanted.times {
        show::print(&times(&progress));
    }
    Ok(if failed > 0 || lines.len() < wanted.cues.len() { ExitCode::FAILURE } else { ExitCode::SUCCESS })
}

/// The name of a cue's folder.
fn name(cue: &Path) -> PathBuf {
    let folder = if cue.extension().is_some_and(|e| e == "toml") { cue.parent().unwrap_or(cue) } else { cue };
    let whole = folder.canonicalize().unwrap_or_else(|_| folder.to_path_buf());
    whole.file_name().map_or_else(|| PathBuf::from("cue"), PathBuf::from)
}

fn one(
    path: &Path,
    output: Option<&Path>,
    wanted: &Wanted,
    progress: &show::Progress,
) -> Result<Delivered, CueError> {
    progress.step("performing");
    let cue = Cue::open(path)?;
    for warning in &cue.warnings {
        show::say(&warning.to_string());
    }
    let performed = ripieno_cue::perform(&cue, PerformOptions::default());
    let options = DeliverOptions {
        into: output.map(Path::to_path_buf).unwrap_or_default(),
        choice: wanted.choice.clone(),
        start: None,
    };
    run(&cue, &performed, &options, progress)
}

/// Reads a performed cue through, writes its documents, delivers it.
pub fn run(
    cue: &Cue,
    performed: &Performed,
    options: &DeliverOptions,
    progress: &show::Progress,
) -> Result<Delivered, CueError> {
    progress.step("reading through");
    let checked = ripieno_cue::check(cue, performed);
    let documents = |sounded: &Sounded| ripieno_report::documents(cue, performed, &checked, sounded);
    ripieno_cue::deliver(cue, performed, &checked, options, &documents, progress)
}

fn remarks(delivered: &Delivered) {
    for remark in &delivered.remarks {
        show::say(remark);
    }
}

fn told(delivered: &Delivered) {
    remarks(delivered);
    for line in &delivered.summary {
        show::print(&format!("{line}\n"));
    }
    show::print(&format!("{}\n", delivered.work));
    show::print(&format!("Delivered: {}\n", delivered.folder.display()));
}

fn times(progress: &show::Progress) -> String {
    let steps = progress.times();
    let total: f64 = steps.iter().map(|(_, seconds)| seconds).sum();
    let line = |(name, seconds): &(String, f64)| format!("{name:20}{seconds:8.2} s\n");
    steps.iter().map(line).collect::<String>() + &line(&("in all".into(), total))
}
