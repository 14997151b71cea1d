//! Scores of the repertory: what was written by people who played is not impossible.

use crate::common::World;
use ripieno_casting::{DraftOptions, cast, draft};
use ripieno_instruments::keyboard_of;
use ripieno_music::{Finding, Note, Severity};
use ripieno_plan::{Plan, Template};
use ripieno_readthrough::solve::{
    self,
    hands::{KEPT, asked, split, split_keeping},
};
use std::path::{Path, PathBuf};

/// The scores that may lie beside the clone (`true`), and those of a folder that `RIPIENO_CORPUS` names.
fn scores() -> Vec<(PathBuf, bool)> {
    let beside = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../../shared/scores");
    let corpus = std::env::var_os("RIPIENO_CORPUS").map(PathBuf::from);
    let mut all = Vec::new();
    for (folder, is_beside) in [(Some(beside), true), (corpus, false)] {
        let mut found = Vec::new();
        if let Some(folder) = folder {
            collect(&folder, &mut found);
        }
        found.sort();
        all.extend(found.into_iter().map(|path| (path, is_beside)));
    }
    all
}

fn collect(folder: &Path, found: &mut Vec<PathBuf>) {
    for entry in std::fs::read_dir(folder).into_iter().flatten().flatten() {
        let path = entry.path();
        if path.is_dir() {
            collect(&path, found);
        } else if path.extension().is_some_and(|e| e == "mxl" || e == "musicxml" || e == "xml") {
            found.push(path);
        }
    }
}

fn world(path: &Path) -> Option<World> {
    let bytes = std::fs::read(path).ok()?;
    let score = ripieno_formats::musicxml::read(&bytes).ok()?;
    let options =
        DraftOptions { title: None, music: "music".into(), template: "template.toml".into(), within: None };
    let draft = draft(&score, &ripieno_music::Reading::default(), &options);
    let (template, _) = Template::parse("template.toml", &draft.template);
    let (plan, _) = Plan::parse("cue.toml", &draft.cue);
    let (parts, _) = cast(&score, &plan, &template);
    let chairs = parts
        .iter()
        .filter_map(|p| template.chairs.iter().find(|c| c.id == p.chair).cloned())
        .collect::<Vec<_>>();
    (chairs.len() == parts.len()).then(|| World::of(score.timeline, chairs, parts))
}

fn show(path: &Path, findings: &[Finding]) {
    for f in findings {
        println!(
            "{}: {} {} {} {}.{:.2}-{}: {}. {}.",
            path.components()
                .rev()
                .take(2)
                .map(|c| c.as_os_str().to_string_lossy())
                .collect::<Vec<_>>()
                .join(" of "),
            f.rule,
            f.severity.word(),
            f.chair,
            f.bar,
            f.beat,
            f.to_bar,
            f.message,
            f.remedy
        );
    }
}

#[test]
fn the_repertory_can_be_played() {
    let (mut chords, mut hard) = (0, 0);
    let mut exact = Vec::new();
    let (mut ours, mut theirs) = (Vec::new(), Vec::new());
    for (path, beside) in scores() {
        let Some(world) = world(&path) else { continue };
        let found = world.found(solve::check);
        show(&path, &found);
        for part in &world.parts {
            let together = |w: &&[Note]| w[0].at == w[1].at && w[0].voice == w[1].voice;
            chords += part.content.notes.windows(2).filter(together).count();
        }
        for desk in &world.table().desks {
            if let Some(keyboard) = keyboard_of(&desk.instrument.id) {
                let tasks = asked(&world.table(), desk);
                let quick = split(keyboard, &tasks);
                exact.push(quick.exact);
                if beside {
                    // Sixteen times as many states find nothing better.
                    let slow = split_keeping(keyboard, &tasks, 16 * KEPT);
                    println!(
                        "{}: {} onsets, {:.3} {:.3} {}",
                        desk.id(),
                        tasks.len(),
                        quick.cost,
                        slow.cost,
                        slow.exact
                    );
                    assert!(quick.cost - slow.cost < 1e-9, "{}", path.display());
                }
            }
        }
        hard += found.iter().filter(|f| f.severity == Severity::Hard).count();
        // Harps and timpani have tests of their own.
        let ours_alone = |rule: &str| !rule.starts_with("harp") && !rule.starts_with("timpani");
        let impossible = found.iter().filter(|f| f.severity == Severity::Impossible && ours_alone(f.rule));
        let list = if beside { &mut ours } else { &mut theirs };
        list.extend(impossible.map(|f| format!("{}: {}", path.display(), f.message)));
    }
    println!("{chords} notes in chords, {hard} hard stretches, {} impossible", ours.len() + theirs.len());
    let whole = exact.iter().filter(|e| **e).count();
    println!("{whole} of {} keyboard parts split without dropping a state", exact.len());
    assert!(ours.is_empty(), "{ours:#?}");
    // A large corpus has slips of those who typed it in: a few that are truly impossible as they stand.
    assert!(theirs.len() * 1000 <= chords, "{theirs:#?}");
}
