//! Scores of the repertory: what was written by people who played is not impossible.

use crate::common::World;
use ripieno_casting::{DraftOptions, cast, draft};
use ripieno_music::{Finding, Severity};
use ripieno_plan::{Plan, Template};
use ripieno_readthrough::solve;
use std::path::{Path, PathBuf};

/// The folder of scores that may lie beside the clone, and a folder that `RIPIENO_CORPUS` names.
fn scores() -> Vec<PathBuf> {
    let beside = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../../shared/scores");
    let corpus = std::env::var_os("RIPIENO_CORPUS").map(PathBuf::from);
    let mut found = Vec::new();
    for folder in [Some(beside), corpus].into_iter().flatten() {
        collect(&folder, &mut found);
    }
    found.sort();
    found
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
    let options = DraftOptions { title: None, music: "music".into(), template: "template.toml".into() };
    let draft = draft(&score, &options);
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
            path.file_name().unwrap().to_string_lossy(),
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
    let mut impossible = Vec::new();
    for path in scores() {
        let Some(world) = world(&path) else { continue };
        let found = world.found(solve::check);
        show(&path, &found);
        for part in &world.parts {
            chords += part
                .content
                .notes
                .windows(2)
                .filter(|w| w[0].at == w[1].at && w[0].voice == w[1].voice)
                .count();
        }
        hard += found.iter().filter(|f| f.severity == Severity::Hard).count();
        impossible.extend(
            found
                .iter()
                .filter(|f| f.severity == Severity::Impossible)
                .map(|f| format!("{}: {}", path.display(), f.message)),
        );
    }
    println!("{chords} notes in chords, {hard} hard stretches, {} impossible", impossible.len());
    assert!(impossible.is_empty(), "{impossible:#?}");
}
