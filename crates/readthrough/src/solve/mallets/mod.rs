//! Sticks on bars, bells and drums: how many, and whether two hands can.

mod drums;
mod sticking;

pub use sticking::{
    BEYOND_EASE, CANNOT, CROSSED, CROSSED_BY, Hand, Hands, IDLE, LEFT_FIRST, Limits, MOVE, REPEAT, Sticking,
    Strike, Trouble, shares, sticking, strike_cost,
};

use super::events::{Event, Words, events};
use super::spots::{Spot, gather, interval, list, name, names, number};
use crate::rules::{Concern, Rule};
use crate::{Desk, Table};
use ripieno_instruments::{Sticks, sticks_of};
use ripieno_music::{Change, DirectionKind, Edit, Finding, Playing, Severity};
use ripieno_units::Beats;

const SOURCE: &str = "strokes a second: common practice, no source; one hand 90 to 120 ms, reach and speed of hands: own proposal";

/// The rules of this module.
pub const RULES: &[Rule] = &[
    Rule {
        name: "sticks-count",
        concern: Concern::Living,
        asks: "are there as many sticks as notes at once",
        source: SOURCE,
    },
    Rule {
        name: "sticks-speed",
        concern: Concern::Living,
        asks: "do two hands get from bar to bar in time, by the best sticking",
        source: SOURCE,
    },
    Rule {
        name: "bells-two",
        concern: Concern::Living,
        asks: "are two hammers enough for tubular bells, and within reach",
        source: "two hammers, an octave at ease: common practice, no source",
    },
];

/// So much quicker than the limit and nobody can.
const FAR_BEYOND: f64 = 1.5;

/// Every desk with bars, or with strokes without pitch.
pub fn check(table: &Table<'_>) -> Vec<Finding> {
    table
        .desks
        .iter()
        .flat_map(|desk| match sticks_of(&desk.instrument.id) {
            Some(sticks) => bars(table, desk, sticks),
            None => drums::check(table, desk),
        })
        .collect()
}

fn bars(table: &Table<'_>, desk: &Desk<'_>, sticks: &Sticks) -> Vec<Finding> {
    let all = events(desk.part, table.timeline, &table.clock);
    let mallets = desk.kit.and_then(|k| k.mallets).unwrap_or(2).clamp(1, 6);
    let limits = Limits::new(sticks, desk.instrument.repetition.single, mallets);
    let rolls = Rolls::of(desk);
    let mut words = Words::of(desk.part);
    let (mut counts, mut speeds) = (Vec::new(), Vec::new());
    let mut strikes: Vec<Strike> = Vec::new();
    let mut from: Vec<usize> = Vec::new();
    // Both hands are busy with a roll until then.
    let mut rolling: Option<(f64, usize)> = None;
    for (i, event) in all.iter().enumerate() {
        if words.at(event.at).players.unwrap_or(desk.players).min(desk.players.max(1)) > 1 {
            continue; // several players share it
        }
        let keys: Vec<u8> = event.new.iter().map(|n| n.key).collect();
        let rolled = event.new.iter().any(|n| rolls.rolled(desk, n.note));
        let strike = Strike {
            at: event.seconds,
            places: keys.iter().map(|k| sticks.place(*k)).collect(),
            roll_to: rolled.then_some(event.end),
        };
        if let Some((end, roll)) = rolling
            && event.seconds < end - 0.05
        {
            counts.push(in_a_roll(desk, event, &all[roll], &keys));
            continue;
        }
        rolling = rolled.then_some((event.end, i));
        if shares(&limits, &strike).is_empty() {
            if !event.broken {
                counts.push(too_many(desk, sticks, event, &strike, &keys, mallets));
            }
            continue;
        }
        strikes.push(strike);
        from.push(i);
    }
    let found = sticking(&limits, &strikes);
    for (n, trouble, hand) in &found.troubled {
        let (event, before) = (&all[from[*n]], &all[from[hand.strike]]);
        speeds.push(too_fast(desk, sticks, event, before, &strikes[*n], *hand, *trouble, &limits));
    }
    let rate = desk.instrument.repetition.single;
    for (n, pair) in strikes.windows(2).enumerate() {
        let gap = pair[1].at - pair[0].roll_to.map_or(pair[0].at, |end| (end - 1.0 / rate).max(pair[0].at));
        // What one hand cannot do is told already.
        if gap < 1.0 / rate - 1e-3 && !found.troubled.iter().any(|t| t.0 == n + 1) {
            speeds.push(too_many_a_second(desk, &all[from[n + 1]], gap.max(1e-3), rate));
        }
    }
    speeds.sort_by(|a, b| {
        (a.at.bar, a.at.beat).partial_cmp(&(b.at.bar, b.at.beat)).unwrap_or(std::cmp::Ordering::Equal)
    });
    let bells = desk.instrument.id == "tubular-bells";
    let mut findings = gather(if bells { "bells-two" } else { "sticks-count" }, desk.id(), &counts);
    let (reach, speed): (Vec<Spot>, Vec<Spot>) =
        speeds.into_iter().partition(|s| bells && s.says.contains("apart"));
    findings.extend(gather("bells-two", desk.id(), &reach));
    findings.extend(gather("sticks-speed", desk.id(), &speed));
    findings
}

/// More bars at once than sticks.
fn too_many(
    desk: &Desk<'_>,
    sticks: &Sticks,
    event: &Event,
    strike: &Strike,
    keys: &[u8],
    mallets: u8,
) -> Spot {
    let hammers = desk.instrument.id == "tubular-bells";
    let four = Limits::new(sticks, desk.instrument.repetition.single, 4);
    let solved = mallets < 4 && !shares(&four, strike).is_empty();
    let usual = desk.instrument.polyphony.notes >= 4;
    let what = if hammers { "hammers" } else { "sticks" };
    let held = usize::from(mallets) >= keys.len();
    let says = if held {
        format!(
            "{}: {} lie too far apart for {} sticks, two in a hand",
            desk.name(),
            names(keys),
            number(mallets.into())
        )
    } else {
        format!(
            "{}: {} are {} notes for {} {what}",
            desk.name(),
            names(keys),
            number(keys.len() as u16),
            number(mallets.into())
        )
    };
    let (severity, remedy, change) = if solved {
        let edit = Edit::Kit { chair: desk.id().to_string(), key: "mallets".into(), value: "4".into() };
        let severity = if usual { Severity::Advice } else { Severity::Hard };
        (severity, "Ask for four sticks".to_string(), Some(Change { edits: vec![edit] }))
    } else {
        let keep = [keys.first(), keys.last()].into_iter().flatten().map(|k| name(*k)).collect::<Vec<_>>();
        (Severity::Impossible, format!("Keep {}, or give the others to a second player", list(&keep)), None)
    };
    Spot { at: event.place, severity, says, remedy, change }
}

fn in_a_roll(desk: &Desk<'_>, event: &Event, roll: &Event, keys: &[u8]) -> Spot {
    let rolled: Vec<u8> = roll.new.iter().map(|n| n.key).collect();
    Spot {
        at: event.place,
        severity: Severity::Hard,
        says: format!(
            "{}: both hands roll {} while {} is to be struck",
            desk.name(),
            names(&rolled),
            names(keys)
        ),
        remedy: "End the roll before it, or give the stroke to a second player".into(),
        change: None,
    }
}

/// More strokes a second than two hands in turn.
fn too_many_a_second(desk: &Desk<'_>, event: &Event, gap: f64, rate: f64) -> Spot {
    Spot {
        at: event.place,
        severity: if gap * FAR_BEYOND < 1.0 / rate { Severity::Impossible } else { Severity::Hard },
        says: format!(
            "{}: {:.0} strokes a second; two hands in turn reach about {rate:.0}",
            desk.name(),
            1.0 / gap
        ),
        remedy: "Thin it out, slow it down, or share it between two players".into(),
        change: None,
    }
}

#[allow(clippy::too_many_arguments)]
fn too_fast(
    desk: &Desk<'_>,
    sticks: &Sticks,
    event: &Event,
    before: &Event,
    strike: &Strike,
    hand: Hand,
    trouble: Trouble,
    limits: &Limits,
) -> Spot {
    let gap = (strike.at - hand.at).max(1e-3);
    let nearest = |event: &Event| {
        let by = |k: u8| (sticks.place(k) - hand.place).abs();
        event.new.iter().map(|n| n.key).min_by(|a, b| by(*a).total_cmp(&by(*b))).unwrap_or(0)
    };
    let keys: Vec<u8> = event.new.iter().map(|n| n.key).collect();
    let (severity, says, remedy) = match trouble {
        Trouble::Repeat => {
            let rate = desk.instrument.repetition.single;
            let far = gap * FAR_BEYOND < limits.repeat.1;
            (
                if far { Severity::Impossible } else { Severity::Hard },
                format!(
                    "{}: by the best sticking one hand strikes {} and again {} after {:.0} ms; {:.0} ms is about the least, two \
                     hands in turn reach {rate:.0} strokes a second",
                    desk.name(),
                    name(nearest(before)),
                    names(&keys),
                    1000.0 * gap,
                    1000.0 * limits.repeat.1
                ),
                "Thin it out, slow it down, or share it between two players".to_string(),
            )
        }
        Trouble::Travel => {
            let to = strike.places.iter().map(|p| (p - hand.place).abs()).fold(f64::INFINITY, f64::min);
            (
                Severity::Hard,
                format!(
                    "{}: by the best sticking a hand has {:.0} ms for {to:.0} mm from {} to {}",
                    desk.name(),
                    1000.0 * gap,
                    name(nearest(before)),
                    names(&keys)
                ),
                "Move one of them an octave nearer, or share it between two players".to_string(),
            )
        }
        Trouble::Reach => {
            let (low, high) = (keys.first().copied().unwrap_or(0), keys.last().copied().unwrap_or(0));
            (
                Severity::Hard,
                format!(
                    "{}: {} are {} apart, {:.0} mm, and both hands reach about {:.0} mm at once",
                    desk.name(),
                    names(&keys),
                    interval(high - low),
                    sticks.place(high) - sticks.place(low),
                    limits.reach
                ),
                format!("Move {} an octave down, or {} an octave up", name(high), name(low)),
            )
        }
    };
    Spot { at: event.place, severity, says, remedy, change: None }
}

/// Which notes are rolled: by their signs, or by word.
struct Rolls {
    words: Vec<(Beats, bool)>,
}

impl Rolls {
    fn of(desk: &Desk<'_>) -> Self {
        let words = desk.part.content.directions.iter().filter_map(|d| match d.kind {
            DirectionKind::Playing(Playing::Roll | Playing::Trem(true)) => Some((d.at, true)),
            DirectionKind::Playing(Playing::Strokes | Playing::Trem(false) | Playing::Ord) => {
                Some((d.at, false))
            }
            _ => None,
        });
        Self { words: words.collect() }
    }

    /// Three beams and more, or none counted, are a roll; by word what lasts a crotchet and more.
    fn rolled(&self, desk: &Desk<'_>, index: usize) -> bool {
        let Some(note) = desk.part.content.notes.get(index) else { return false };
        let by_word =
            self.words[..self.words.partition_point(|w| w.0 <= note.at)].last().is_some_and(|w| w.1);
        note.tremolo.is_some_and(|t| t.strokes == 0 || t.strokes >= 3)
            || by_word && note.length >= Beats::whole(1)
    }
}
