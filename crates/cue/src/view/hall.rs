//! The stage as it is seated: who sits where, which halls they are sent to, and what differs from their family.

use super::Sitting;
use crate::acoustics::HallReport;
use crate::render::halls;
use crate::render::place::{everybody, family, placing, usual};
use crate::workbench::Played;
use crate::{Cue, Measures};
use ripieno_instruments::Family;
use ripieno_picture::bands::Curve;
use ripieno_picture::hall::{Plan, Seat};
use ripieno_plan::{ChairPlan, FAMILIES, Placing, Template};
use std::collections::BTreeSet;

/// The stage of a cue.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Stage {
    /// The plan, ready to be drawn.
    pub plan: Plan,
    /// The seating scheme.
    pub seating: String,
    /// All seatings that may be named.
    pub seatings: Vec<String>,
    /// Where families without a hall of their own are sent.
    pub hall: String,
    /// The common hall, and what is sent to it if nothing else is said, dB.
    pub common: Option<(String, f64)>,
    /// Halls that may be named: the template's own, then those that are built in.
    pub known: Vec<String>,
    /// Chairs whose seat the template says, so that it can be taken back to where the seating has them.
    pub placed: Vec<String>,
    /// Families that have chairs, in score order, each with its chairs.
    pub families: Vec<FamilySends>,
}

/// A family's sends, and its chairs'.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct FamilySends {
    /// The family, as the template names it.
    pub family: &'static str,
    /// Its own.
    pub sends: Sends,
    /// Its chairs.
    pub chairs: Vec<Sends>,
}

/// Where the sound of a family or a chair goes.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Sends {
    /// `family` or `chair`, and which.
    pub path: [String; 2],
    /// Its name.
    pub name: String,
    /// Its hall in effect.
    pub hall: String,
    /// Sent to its hall, dB; 0 is what the room would give.
    pub send_db: f64,
    /// Sent to the common hall, dB; none if nothing is.
    pub common_db: Option<f64>,
    /// No hall and no distance.
    pub dry: bool,
    /// Of these four, those that the template says for it itself.
    pub own: [bool; 4],
    /// The keys that the template says for it itself, to be taken out where its family's are to hold again.
    pub said: Vec<&'static str>,
    /// What differs from its family, in words.
    pub exception: Option<String>,
}

/// The stage as it is.
pub fn stage(played: &Played) -> Stage {
    let template = &played.cue.template;
    let stage = &template.stage;
    let sent: Vec<Placing> = template.chairs.iter().map(|c| placing(template, c)).collect();
    let mut halls: Vec<String> = vec![stage.hall.name.clone()];
    for placing in &sent {
        let name = halls::name(placing, stage);
        if placing.dry != Some(true) && !halls.iter().any(|h| h == name) {
            halls.push(name.to_string());
        }
    }
    let playing: BTreeSet<&str> = played.performance.chairs.iter().map(|c| c.chair.as_str()).collect();
    let mut families: Vec<FamilySends> = Vec::new();
    for family_name in FAMILIES {
        let own = stage.families.iter().find(|(f, _)| f == family_name).map(|(_, p)| p.clone());
        let own = own.unwrap_or_default();
        let of_family: Vec<Sends> = template
            .chairs
            .iter()
            .filter(|c| family(c) == family_name)
            .map(|c| sends(template, ["chair", &c.id], &name(c), &c.placing, Some(&own)))
            .collect();
        if !of_family.is_empty() {
            families.push(FamilySends {
                family: family_name,
                sends: sends(template, ["family", family_name], family_name, &own, None),
                chairs: of_family,
            });
        }
    }
    let exception = |id: &str| {
        families.iter().flat_map(|f| &f.chairs).find(|s| s.path[1] == id).and_then(|s| s.exception.clone())
    };
    let seats = template
        .chairs
        .iter()
        .zip(&sent)
        .zip(everybody(template))
        .map(|((chair, placing), at)| {
            let dry = placing.dry == Some(true);
            let hall = halls::name(placing, stage);
            let exception = exception(&chair.id);
            let strings = family(chair) == "strings"
                && ripieno_instruments::by_id(&chair.instrument).is_some_and(|i| i.family == Family::Strings);
            Seat {
                id: chair.id.clone(),
                name: name(chair),
                x: at.position.x,
                y: at.position.y,
                half_width: at.half_width,
                players: chair.players,
                desks: strings && chair.players > 2,
                hall: if dry { None } else { halls.iter().position(|h| h == hall) },
                silent: !playing.contains(chair.id.as_str()),
                told: told(
                    chair,
                    at.position.x,
                    at.position.y,
                    if dry { "dry" } else { hall },
                    exception.as_deref(),
                ),
                exception,
            }
        })
        .collect();
    let own = stage.halls.iter().map(|h| h.name.clone());
    let built_in = ripieno_hall::halls().iter().map(|h| h.id.clone());
    Stage {
        plan: Plan { seats, halls },
        seating: stage.seating.name.clone(),
        seatings: ripieno_instruments::seatings().map(str::to_string).collect(),
        hall: stage.hall.name.clone(),
        common: stage.common.as_ref().map(|c| (c.name.clone(), stage.common_db)),
        known: own.chain(built_in).collect(),
        placed: template.chairs.iter().filter(|c| c.seat.is_some()).map(|c| c.id.clone()).collect(),
        families,
    }
}

fn name(chair: &ChairPlan) -> String {
    chair.name.clone().unwrap_or_else(|| {
        ripieno_instruments::by_id(&chair.instrument)
            .map_or_else(|| chair.id.clone(), |i| i.name().to_string())
    })
}

fn told(chair: &ChairPlan, x: f64, y: f64, hall: &str, exception: Option<&str>) -> String {
    let side = match x {
        x if x <= -0.05 => format!("{:.1} m to the left", -x),
        x if x >= 0.05 => format!("{x:.1} m to the right"),
        _ => "in the middle".into(),
    };
    let players = if chair.players == 1 { "1 player".into() } else { format!("{} players", chair.players) };
    let more = exception.map_or(String::new(), |e| format!("; other than its family: {e}"));
    format!("{}, {players}, {y:.1} m upstage, {side}; {hall}{more}", name(chair))
}

fn sends(template: &Template, path: [&str; 2], name: &str, own: &Placing, family: Option<&Placing>) -> Sends {
    let stage = &template.stage;
    let usual = Placing::default();
    let all = own.or(family.unwrap_or(&usual));
    let hall = halls::name(&all, stage).to_string();
    // Whoever is sent to the common hall as its own is not sent there twice.
    let common = stage.common.as_ref().filter(|c| all.common != Some(false) && c.name != hall);
    let common_db = common.map(|_| all.common_db.unwrap_or(stage.common_db));
    let send_db = all.send_db.unwrap_or(0.0);
    let dry = all.dry == Some(true);
    let exception = family.and_then(|family| {
        let theirs = sends(template, path, name, family, None);
        let mut words = Vec::new();
        if dry != theirs.dry {
            words.push(if dry { "dry".to_string() } else { "not dry".to_string() });
        }
        if hall != theirs.hall {
            words.push(format!("to {hall}, not to {}", theirs.hall));
        }
        let more = |a: f64, b: f64| match a - b {
            d if d > 0.0 => format!("{} dB more", short(d)),
            d => format!("{} dB less", short(-d)),
        };
        if (send_db - theirs.send_db).abs() > 0.005 {
            words.push(format!("{} to its hall", more(send_db, theirs.send_db)));
        }
        match (common_db, theirs.common_db) {
            (None, Some(_)) if hall == theirs.hall => words.push("nothing to the common hall".into()),
            (Some(a), Some(b)) if (a - b).abs() > 0.005 => {
                words.push(format!("{} to the common hall", more(a, b)));
            }
            (Some(a), None) if hall == theirs.hall => {
                words.push(format!("to the common hall, {} dB", short(a)));
            }
            _ => {}
        }
        (!words.is_empty()).then(|| words.join("; "))
    });
    Sends {
        path: path.map(str::to_string),
        name: name.to_string(),
        hall,
        send_db,
        common_db,
        dry,
        own: [
            own.hall.is_some(),
            own.send_db.is_some(),
            own.common_db.is_some() || own.common.is_some(),
            own.dry.is_some(),
        ],
        said: [
            ("hall", own.hall.is_some()),
            ("send-db", own.send_db.is_some()),
            ("common-db", own.common_db.is_some()),
            ("common", own.common.is_some()),
            ("dry", own.dry.is_some()),
        ]
        .into_iter()
        .filter_map(|(key, said)| said.then_some(key))
        .collect(),
        exception,
    }
}

/// A number without needless zeros, to a hundredth.
fn short(value: f64) -> String {
    let text = format!("{value:.2}");
    text.trim_end_matches('0').trim_end_matches('.').to_string()
}

/// Who sits where, for seats that are said in words.
pub fn sitting(cue: &Cue) -> Vec<Sitting> {
    let chairs = cue.template.chairs.iter().zip(everybody(&cue.template));
    chairs
        .map(|(chair, at)| Sitting {
            id: chair.id.clone(),
            name: name(chair),
            x: at.position.x,
            y: at.position.y,
            half_width: at.half_width,
        })
        .collect()
}

/// Where the seating would put a chair that has no seat of its own.
pub fn usual_seat(cue: &Cue, chair: &str) -> Option<(f64, f64)> {
    let at = cue.template.chairs.iter().position(|c| c.id == chair)?;
    usual(&cue.template)[at].map(|s| (s.x, s.y))
}

/// What the template has to say for a chair to sit there: its own width stays. Centimetres.
pub fn seat_numbers(cue: &Cue, chair: &str, x: f64, y: f64) -> Option<Vec<f64>> {
    let chair = cue.template.chairs.iter().find(|c| c.id == chair)?;
    let round = |v: f64| (v * 100.0).round() / 100.0 + 0.0;
    let mut numbers = vec![round(x), round(y)];
    numbers.extend(chair.seat.and_then(|s| s.width));
    Some(numbers)
}

/// A hall's reverberation as a curve: T30, or T20 where it does not fall so far, or EDT.
pub fn curve(report: &HallReport) -> Curve {
    let time = |m: &Measures| m.t30.or(m.t20).or(m.edt).map(|s| (m.hertz, s.0));
    let octaves = [63.0, 125.0, 250.0, 500.0, 1000.0, 2000.0, 4000.0, 8000.0];
    Curve {
        name: report.name.clone(),
        measured: report.measures.iter().filter_map(time).collect(),
        wanted: report.wanted.iter().flat_map(|w| octaves.into_iter().zip(*w)).collect(),
    }
}
