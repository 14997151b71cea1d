//! A table for harps and timpani only: parts of a score as they stand, or of a cue as cast.

use ripieno_casting::cast;
use ripieno_music::{ChairPerformance, Curve, Part, Score, Timeline};
use ripieno_plan::{ChairPlan, Kit, Plan, Template};
use ripieno_readthrough::{Desk, Room, Table};
use std::path::Path;

/// What a table borrows.
pub struct Round {
    pub timeline: Timeline,
    pub plan: Plan,
    chairs: Vec<ChairPlan>,
    parts: Vec<Part>,
    performances: Vec<ChairPerformance>,
}

impl Round {
    fn of(timeline: Timeline, plan: Plan, seated: Vec<(ChairPlan, Part)>) -> Self {
        let performances = seated
            .iter()
            .map(|(chair, _)| ChairPerformance {
                chair: chair.id.clone(),
                instrument: chair.instrument.clone(),
                players: 1,
                gestures: Vec::new(),
                level: Curve::flat(0.0),
                kept: Vec::new(),
                pedal: Vec::new(),
                sticks: Curve::flat(0.0),
            })
            .collect();
        let (chairs, parts) = seated.into_iter().unzip();
        Self { timeline, plan, chairs, parts, performances }
    }

    /// One chair with these notes.
    pub fn one(instrument: &str, timeline: Timeline, notes: Vec<ripieno_music::Note>) -> Self {
        let mut part = Part { chair: instrument.to_string(), ..Part::default() };
        part.content.notes = notes;
        part.content.sort();
        Self::of(timeline, Plan::default(), vec![(chair(instrument, instrument), part)])
    }

    /// Every harp and every timpani of a score, each part as it stands.
    pub fn score(score: &Score) -> Self {
        let mut seated = Vec::new();
        for track in &score.tracks {
            let name = track.name.to_lowercase();
            let harp = ["harp", "arpa", "harfe"].iter().any(|w| name.contains(w));
            let drum = ["timp", "pauk", "timb"].iter().any(|w| name.contains(w));
            if harp || drum {
                let id = track.id.to_lowercase();
                let part = Part { chair: id.clone(), content: track.content.clone(), ..Part::default() };
                seated.push((chair(&id, if harp { "harp" } else { "timpani" }), part));
            }
        }
        Self::of(score.timeline.clone(), Plan::default(), seated)
    }

    /// The harps and timpani of a cue.
    pub fn cue(folder: &Path) -> Option<Self> {
        let plan = std::fs::read_to_string(folder.join("cue.toml")).ok()?;
        let (plan, _) = Plan::parse("cue.toml", &plan);
        let template = std::fs::read_to_string(folder.join("template.toml")).ok()?;
        let (template, _) = Template::parse("template.toml", &template);
        let score = ripieno_formats::read_score(&std::fs::read(folder.join(&plan.music)).ok()?).ok()?;
        let (parts, _) = cast(&score, &plan, &template);
        let seated = parts
            .into_iter()
            .filter_map(|p| Some((template.chairs.iter().find(|c| c.id == p.chair)?.clone(), p)))
            .filter(|(c, _)| ["harp", "timpani"].contains(&c.instrument.as_str()))
            .collect();
        Some(Self::of(score.timeline, plan, seated))
    }

    /// With what a player brings.
    pub fn with_kit(mut self, kit: Kit) -> Self {
        self.plan.kits.retain(|k| k.chair != kit.chair);
        self.plan.kits.push(kit);
        self
    }

    pub fn table(&self) -> Table<'_> {
        let desks = self.chairs.iter().zip(&self.parts).zip(&self.performances);
        let desks = desks.filter_map(|((chair, part), performance)| {
            Some(Desk {
                chair,
                instrument: ripieno_instruments::by_id(&chair.instrument)?,
                players: 1,
                part,
                performance,
                kit: self.plan.kits.iter().find(|k| k.chair == chair.id),
                room: Room::default(),
            })
        });
        let desks = desks.collect();
        Table { timeline: &self.timeline, clock: self.timeline.clock(), plan: &self.plan, desks }
    }
}

fn chair(id: &str, instrument: &str) -> ChairPlan {
    ChairPlan { id: id.into(), instrument: instrument.into(), players: 1, ..ChairPlan::default() }
}
