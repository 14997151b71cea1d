//! Music that is played every day: what was written for an instrument can be played on it.

use crate::bench::Cue;
use ripieno_casting::{DraftOptions, draft};
use ripieno_music::{Finding, Severity};
use ripieno_plan::{Plan, Template};
use std::path::Path;

/// The findings of a score, every chair as written.
fn read(path: &Path) -> Vec<Finding> {
    let bytes = std::fs::read(path).unwrap();
    let score = ripieno_formats::musicxml::read(&bytes).unwrap();
    let draft = draft(
        &score,
        &ripieno_music::Reading::default(),
        &DraftOptions {
            music: "score.mxl".into(),
            template: "template.toml".into(),
            title: None,
            within: None,
        },
    );
    let (plan, _) = Plan::parse("cue.toml", &draft.cue);
    let (template, _) = Template::parse("template.toml", &draft.template);
    Cue { score, plan, template }.findings()
}

/// A score named by `RIPIENO_SCORES` (paths with `:` between) is listed; for looking, not for judging.
#[test]
fn scores_that_are_named() {
    let Ok(paths) = std::env::var("RIPIENO_SCORES") else { return };
    for path in paths.split(':') {
        let found = read(Path::new(path));
        list(path, &found);
    }
}

/// The demo cue, which is written for living players: nothing in it is impossible.
#[test]
fn the_demo_can_be_played() {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../demo/night-ferry");
    let text = |name: &str| std::fs::read_to_string(folder.join(name)).unwrap();
    let (plan, _) = Plan::parse("cue.toml", &text("cue.toml"));
    let (template, _) = Template::parse("template.toml", &text(&plan.template));
    let score = ripieno_formats::read_score(&std::fs::read(folder.join(&plan.music)).unwrap()).unwrap();
    let found = Cue { score, plan, template }.findings();
    list("demo", &found);
    let mine = |f: &&Finding| ripieno_readthrough::playable::RULES.iter().any(|r| r.name == f.rule);
    let impossible: Vec<_> =
        found.iter().filter(mine).filter(|f| f.severity == Severity::Impossible).collect();
    assert!(impossible.is_empty(), "{impossible:#?}");
    assert!(found.len() < 60, "{} findings drown the reader", found.len());
}

fn list(name: &str, found: &[Finding]) {
    let count = |s| found.iter().filter(|f| f.severity == s).count();
    println!(
        "{name}: {} impossible, {} hard, {} advice",
        count(Severity::Impossible),
        count(Severity::Hard),
        count(Severity::Advice)
    );
    for f in found {
        println!(
            "  {:10} {:16} {} {}-{}: {}. {}.",
            f.severity.word(),
            f.rule,
            f.chair,
            f.bar,
            f.to_bar,
            f.message,
            f.remedy
        );
    }
}
