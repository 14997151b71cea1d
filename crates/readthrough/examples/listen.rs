//! Listens to a cue or a score: prints what is found of balance, the arc, and how long it took.
//!
//! `listen CUE-FOLDER` or `listen SCORE`; a score is played by its own instruments as they are written.
#![allow(clippy::unwrap_used, clippy::expect_used)] // an example

use ripieno_music::{Colour, Performance, Score, Track};
use ripieno_plan::{Plan, Template};
use ripieno_readthrough::{Desk, Room, Spectra, Spectrum, Table, heard};
use std::path::Path;
use std::time::Instant;

struct House;

impl Spectra for House {
    fn note(
        &self,
        instrument: &str,
        stroke: Option<&str>,
        key: f64,
        level: f64,
        colour: Option<Colour>,
    ) -> Spectrum {
        let mut asked = ripieno_sound::spectra::Asked::new(instrument, key, level);
        match stroke {
            Some(word @ ("pizzicato" | "snap-pizzicato")) => asked.articulation = word,
            other => asked.stroke = other,
        }
        asked.colour = colour;
        let found = ripieno_sound::spectra::of(&asked);
        Spectrum {
            components: found.components.iter().map(|c| (c.hertz, c.power)).collect(),
            decay: found.decay,
        }
    }
}

fn main() {
    let path = std::env::args().nth(1).expect("a cue or a score");
    let path = Path::new(&path);
    let (score, plan, template) = if path.is_dir() {
        let read = |name: &str| std::fs::read_to_string(path.join(name)).unwrap();
        let (plan, _) = Plan::parse("cue.toml", &read("cue.toml"));
        let (template, _) = Template::parse("template.toml", &read("template.toml"));
        let score = ripieno_formats::read_score(&std::fs::read(path.join(&plan.music)).unwrap()).unwrap();
        (score, plan, template)
    } else {
        let score = ripieno_formats::read_score(&std::fs::read(path).unwrap()).unwrap();
        let reading = ripieno_discovery::read(&score);
        let draft = ripieno_casting::draft::draft(&score, &reading, &Default::default());
        let (plan, _) = Plan::parse("cue.toml", &draft.cue);
        let (template, _) = Template::parse("template.toml", &draft.template);
        (score, plan, template)
    };
    let (parts, _) = ripieno_casting::cast(&score, &plan, &template);
    let performers: Vec<_> = parts
        .iter()
        .filter_map(|part| {
            let chair = template.chairs.iter().find(|c| c.id == part.chair)?;
            let instrument = ripieno_instruments::by_id(&chair.instrument)?;
            Some(ripieno_performance::Performer { part, instrument, players: chair.players.max(1) })
        })
        .collect();
    let performed = ripieno_performance::perform(&score.timeline, &performers, &[], &Default::default());
    let performance: Performance = performed.performance;
    let room = Room { gain_db: -24.0, reverberation: 1.9, late_db: -3.0 };
    let mut desks = Vec::new();
    for performance in &performance.chairs {
        let chair = template.chairs.iter().find(|c| c.id == performance.chair).unwrap();
        let part = parts.iter().find(|p| p.chair == performance.chair).unwrap();
        let instrument = ripieno_instruments::by_id(&chair.instrument).unwrap();
        desks.push(Desk {
            chair,
            instrument,
            players: performance.players,
            part,
            performance,
            kit: None,
            room,
        });
    }
    let cast = Score {
        title: None,
        composer: None,
        timeline: score.timeline.clone(),
        tracks: desks
            .iter()
            .map(|d| Track {
                id: d.id().to_string(),
                name: d.name().to_string(),
                content: d.part.content.clone(),
                ..Track::default()
            })
            .collect(),
        warnings: Vec::new(),
    };
    let start = Instant::now();
    let reading = ripieno_discovery::read(&cast);
    println!("reading {:?}", start.elapsed());
    let table =
        Table { timeline: &performance.timeline, clock: performance.timeline.clock(), plan: &plan, desks };
    let start = Instant::now();
    let (findings, arc) = heard::check(&table, &reading, &House);
    let notes: usize = performance.chairs.iter().map(|c| c.gestures.len()).sum();
    println!(
        "{} chairs, {} bars, {notes} gestures: {:?}",
        table.desks.len(),
        arc.bars.len(),
        start.elapsed()
    );
    for finding in &findings {
        println!(
            "[{}] {} {} {}-{}: {}\n    -> {}{}",
            finding.severity.word(),
            finding.rule,
            finding.chair,
            finding.bar,
            finding.to_bar,
            finding.message,
            finding.remedy,
            finding.change.as_ref().map_or(String::new(), |c| format!("\n    => {c}"))
        );
    }
    for bar in arc.bars.iter().step_by((arc.bars.len() / 40).max(1)) {
        println!(
            "bar {:4} {:6.1} sones {:5.1} phons span {:?} players {:3} bright {:4.1} density {:5.1} reserve {}",
            bar.bar,
            bar.sones,
            bar.phons,
            bar.span,
            bar.players,
            bar.brightness,
            bar.density,
            bar.reserve.len()
        );
    }
    println!("{:?}\n{:?}", arc.families, arc.climax);
}
