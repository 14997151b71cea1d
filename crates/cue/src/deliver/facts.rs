//! What is to be said about a performed cue: who plays where and what, who has the tune when, patches, ways.

use crate::render::{halls, place};
use crate::view::LineRoles;
use crate::{Checked, Cue, Performed};
use ripieno_delivery::breakdown::{Scene, Seat};
use ripieno_delivery::sheets::{Patches, Route};
use ripieno_delivery::tune::Sounding;
use ripieno_music::Role;
use ripieno_plan::{ChairPlan, EqKind, MICROPHONES, Origin, PassagePlan, PatchCard, Placing};
use std::collections::{BTreeMap, BTreeSet};

/// The cue's title.
pub fn title(cue: &Cue) -> &str {
    if cue.plan.title.is_empty() { "Untitled" } else { &cue.plan.title }
}

/// A chair's name as printed.
pub fn printed<'a>(cue: &'a Cue, chair: &'a str) -> &'a str {
    let plan = cue.template.chairs.iter().find(|c| c.id == chair);
    plan.map_or(chair, |plan| name(plan))
}

fn name(chair: &ChairPlan) -> &str {
    match &chair.name {
        Some(name) => name,
        None => &chair.id,
    }
}

/// What a chair does in a passage, by the line that it plays; `None` where the plan names none.
struct Roles {
    lines: LineRoles,
    /// Whether any line of the plan is a tune.
    any_tune: bool,
}

impl Roles {
    fn of(cue: &Cue, performed: &Performed) -> Self {
        let lines = LineRoles::of(&cue.score);
        let mut roles = Self { lines, any_tune: false };
        roles.any_tune = performed.parts.iter().any(|part| {
            cue.plan
                .passages
                .iter()
                .any(|p| roles.by_line(cue, performed, &part.chair, p) == Some(Role::Tune))
        });
        roles
    }

    fn by_line(&self, cue: &Cue, performed: &Performed, chair: &str, passage: &PassagePlan) -> Option<Role> {
        let part = performed.parts.iter().find(|p| p.chair == chair)?;
        let line = part.cells.iter().find(|c| c.passage == passage.name)?.line.as_deref()?;
        Some(self.lines.role(&cue.plan, line, passage.from_bar, passage.to_bar))
    }

    fn role(
        &self,
        cue: &Cue,
        performed: &Performed,
        checked: &Checked,
        chair: &str,
        passage: &PassagePlan,
    ) -> Role {
        match self.by_line(cue, performed, chair, passage) {
            Some(role) if self.any_tune => role,
            by_line => read(checked, chair, passage).or(by_line).unwrap_or(Role::Silence),
        }
    }
}

/// What the read-through found that a chair does, for most bars of a passage.
fn read(checked: &Checked, chair: &str, passage: &PassagePlan) -> Option<Role> {
    let desk = checked.chairs.iter().position(|c| c == chair)?;
    let mut bars: BTreeMap<Role, i32> = BTreeMap::new();
    for found in &checked.reading.passages {
        let shared = found.to_bar.min(passage.to_bar) - found.from_bar.max(passage.from_bar) + 1;
        if let (1.., Some(role)) = (shared, found.roles.get(desk)) {
            *bars.entry(role.role).or_default() += shared;
        }
    }
    bars.remove(&Role::Silence);
    bars.into_iter().max_by_key(|(role, bars)| (*bars, std::cmp::Reverse(*role))).map(|(role, _)| role)
}

fn inside(passage: &PassagePlan, bar: i32) -> bool {
    (passage.from_bar..=passage.to_bar).contains(&bar)
}

/// How a cue is cast.
pub struct Casting {
    /// The passages, with those who play in them.
    pub scenes: Vec<Scene>,
    /// The notes of every chair that has the tune somewhere, and which of them are the tune.
    pub tune: Vec<(String, Vec<Sounding>)>,
}

impl Casting {
    /// Reads it.
    pub fn of(cue: &Cue, performed: &Performed, checked: &Checked) -> Self {
        let roles = Roles::of(cue, performed);
        Self { scenes: scenes(cue, performed, checked, &roles), tune: tune(cue, performed, checked, &roles) }
    }
}

fn scenes(cue: &Cue, performed: &Performed, checked: &Checked, roles: &Roles) -> Vec<Scene> {
    let mut played: BTreeSet<&str> = BTreeSet::new();
    let mut out = Vec::new();
    for passage in &cue.plan.passages {
        let mut seats = Vec::new();
        for chair in &performed.performance.chairs {
            let plan = cue.template.chairs.iter().find(|c| c.id == chair.chair);
            let plays = chair.gestures.iter().any(|g| inside(passage, g.place.bar));
            let (Some(plan), true) = (plan, plays) else { continue };
            let part = performed.parts.iter().find(|p| p.chair == chair.chair);
            let cell = part.and_then(|p| p.cells.iter().find(|c| c.passage == passage.name));
            let family = place::family(plan);
            let unpitched = ripieno_instruments::by_id(&plan.instrument).is_none_or(|i| i.unpitched);
            seats.push(Seat {
                chair: chair.chair.clone(),
                name: name(plan).to_string(),
                family,
                role: roles.role(cue, performed, checked, &chair.chair, passage),
                with: cell.and_then(|c| c.with.clone()),
                tuned: family == "percussion" && !unpitched,
                new: !played.contains(chair.chair.as_str()),
            });
        }
        played.extend(
            performed
                .performance
                .chairs
                .iter()
                .filter(|c| seats.iter().any(|s| s.chair == c.chair))
                .map(|c| c.chair.as_str()),
        );
        out.push(Scene {
            name: passage.name.clone(),
            from_bar: passage.from_bar,
            to_bar: passage.to_bar,
            seats,
        });
    }
    out
}

fn tune(cue: &Cue, performed: &Performed, checked: &Checked, roles: &Roles) -> Vec<(String, Vec<Sounding>)> {
    let mut out = Vec::new();
    for chair in &performed.performance.chairs {
        let mine: Vec<&PassagePlan> = cue
            .plan
            .passages
            .iter()
            .filter(|p| roles.role(cue, performed, checked, &chair.chair, p) == Role::Tune)
            .collect();
        if mine.is_empty() {
            continue;
        }
        let note =
            |g: &ripieno_music::Gesture| (g.onset.0, g.end.0, mine.iter().any(|p| inside(p, g.place.bar)));
        out.push((chair.chair.clone(), chair.gestures.iter().map(note).collect()));
    }
    out
}

/// The patch list.
pub fn patches(cue: &Cue, performed: &Performed) -> Vec<Patches> {
    let mut out = Vec::new();
    for track in &performed.patches.tracks {
        let plan = cue.template.chairs.iter().find(|c| c.id == track.chair);
        let patch = match &track.patch {
            none if none == PatchCard::NO_CARD => plan.map_or_else(String::new, comes_from),
            patch => patch.clone(),
        };
        let mut used: Vec<&(String, usize, f64)> = track.used.iter().collect();
        used.sort_by_key(|u| std::cmp::Reverse(u.1));
        out.push(Patches {
            chair: printed(cue, &track.chair).to_string(),
            patch,
            used: used.iter().map(|u| u.0.clone()).collect(),
        });
    }
    out
}

fn comes_from(chair: &ChairPlan) -> String {
    match &chair.origin {
        Origin::House if chair.outside => "from outside".into(),
        Origin::House => "house orchestra".into(),
        Origin::Print { path, .. } => format!("print {path}"),
        Origin::Font(font) => {
            format!("font {}, bank {}, program {}", font.file, font.preset.0, font.preset.1)
        }
    }
}

/// Where the sound of every chair goes.
pub fn routes(cue: &Cue) -> Vec<Route> {
    let stage = &cue.template.stage;
    let route = |chair: &ChairPlan| {
        let placing = place::placing(&cue.template, chair);
        let dry = placing.dry == Some(true);
        let hall = halls::name(&placing, stage).to_string();
        let common =
            stage.common.as_ref().filter(|c| !dry && placing.common != Some(false) && c.name != hall);
        Route {
            chair: chair.id.clone(),
            name: name(chair).to_string(),
            family: place::family(chair).to_string(),
            from: comes_from(chair),
            hall: Some(hall).filter(|_| !dry),
            send_db: placing.send_db.unwrap_or(0.0),
            common_db: common.map(|_| placing.common_db.unwrap_or(stage.common_db)),
            gain_db: cue.template.mix.gain_db + placing.gain_db.unwrap_or(0.0),
            microphones: microphones(&placing),
            equaliser: equaliser(&placing),
        }
    };
    cue.template.chairs.iter().map(route).collect()
}

fn microphones(placing: &Placing) -> String {
    let named = MICROPHONES.iter().zip(placing.microphones);
    let words =
        named.filter_map(|(name, db)| Some(format!("{} {:.1} dB", name.trim_end_matches("-db"), db?)));
    words.collect::<Vec<_>>().join(", ")
}

fn equaliser(placing: &Placing) -> String {
    let word = |kind: EqKind| EqKind::ALL.iter().find(|(_, k)| *k == kind).map_or("", |(word, _)| word);
    let bands = placing.eq.iter().flatten().map(|b| match b.kind {
        EqKind::LowPass | EqKind::HighPass => format!("{} {} Hz, Q {}", word(b.kind), b.hertz, b.q),
        kind => format!("{} {} Hz {:+.1} dB, Q {}", word(kind), b.hertz, b.db, b.q),
    });
    bands.collect::<Vec<_>>().join("; ")
}
