//! The harp: can the feet set what is written, and the hands take it?

use super::charts::{self, PedalChange, PedalChart, pedal, pedal_said, place_words, written_place};
use super::harp_events::{Plucked, plucked, signature};
use super::harp_pedals::{PedalMove, Setting, Solution, UNSET, solve};
use crate::rules::{Concern, Rule};
use crate::{Desk, Found, Table};
use ripieno_instruments::{HarpFacts, harp};
use ripieno_music::{Change, Edit, Finding, Place, Severity};
use std::cell::OnceCell;

const PEDALS: &str = "harpinsideout.com, For Composers; seconds for a pedal: common practice, no source";

/// The rules of this file.
pub const RULES: &[Rule] = &[
    Rule {
        name: "harp-pedals",
        concern: Concern::Living,
        asks: "every pedal can be set in time: two feet, one pedal each at a time, 0.2 s at the least",
        source: PEDALS,
    },
    Rule {
        name: "harp-pedals-quick",
        concern: Concern::Living,
        asks: "half a second for each pedal",
        source: PEDALS,
    },
    Rule {
        name: "harp-buzz",
        concern: Concern::Living,
        asks: "no string still rings when its pedal moves",
        source: "common practice, no source",
    },
    Rule {
        name: "harp-fixed-strings",
        concern: Concern::Notes,
        asks: "C1, D1 and G7 have no pedal: one tuning for the whole piece",
        source: "from memory: varies by instrument and maker",
    },
    Rule {
        name: "harp-span",
        concern: Concern::Living,
        asks: "a chord lies in two hands of four fingers, each up to a tenth",
        source: "harpinsideout.com, For Composers",
    },
    Rule {
        name: "harp-repeat",
        concern: Concern::Living,
        asks: "one string four times a second, eight on an enharmonic pair",
        source: "common practice, no source",
    },
];

/// Findings in one bar are told together, and so are those of bars so close to each other.
const BARS_TOGETHER: i32 = 1;
/// Events before and after a place that a trial looks at: what lies further off has time of its own.
const TRIAL: (usize, usize) = (24, 16);
/// So many places of a part are given a tried remedy; a part with more wants another instrument.
const TRIALS: usize = 8;

/// A harp part with its way through the pedals.
pub(super) struct Played<'a> {
    pub table: &'a Table<'a>,
    pub desk: &'a Desk<'a>,
    pub facts: &'static HarpFacts,
    pub plucked: Plucked,
    pub solution: Solution,
    freely: OnceCell<Option<Box<Played<'a>>>>,
}

fn play<'a>(table: &'a Table<'a>, desk: &'a Desk<'a>, free: bool) -> Played<'a> {
    let facts = harp();
    let plucked = plucked(table, desk, free, facts);
    let mut solution = solve(&plucked.events, [UNSET; 7], facts);
    if free && solution.narrowed {
        // What is written is one of the free ways, and a good one as a rule.
        let written = super::harp_events::plucked(table, desk, false, facts);
        let by_letter = solve(&written.events, [UNSET; 7], facts);
        if by_letter.clashes.is_empty() && by_letter.cost < solution.cost {
            solution = Solution { narrowed: true, ..by_letter };
        }
    }
    Played { table, desk, facts, plucked, solution, freely: OnceCell::new() }
}

fn free(desk: &Desk<'_>) -> bool {
    desk.kit.and_then(|k| k.free_spelling).unwrap_or(false)
}

fn is_harp(desk: &Desk<'_>) -> bool {
    desk.instrument.id == "harp"
}

/// The pedals of a harp; `None` for another instrument, or one that plays nothing.
pub fn chart(table: &Table<'_>, desk: &Desk<'_>) -> Option<PedalChart> {
    is_harp(desk).then(|| charted(&play(table, desk, free(desk))))?
}

fn charted(played: &Played<'_>) -> Option<PedalChart> {
    if played.plucked.events.is_empty() {
        return None;
    }
    let (table, desk) = (played.table, played.desk);
    let start = played.start();
    let mut moves: Vec<(f64, Place, &PedalMove)> = played
        .solution
        .moves
        .iter()
        .map(|m| {
            let due = played.plucked.events[m.event].at;
            match &m.timed {
                Some(t) => (t.latest, written_place(table, t.earliest, t.latest), m),
                None => (due, played.place(m.event), m),
            }
        })
        .collect();
    moves.sort_by(|a, b| {
        (a.1.bar.cmp(&b.1.bar)).then(a.1.beat.total_cmp(&b.1.beat)).then(a.0.total_cmp(&b.0))
    });
    let mut setting = start;
    let mut changes: Vec<PedalChange> = Vec::new();
    for (_, at, one) in moves {
        setting[usize::from(one.letter)] = one.to;
        let in_time = one.timed.is_some();
        match changes.last_mut() {
            Some(last) if last.at == at && last.in_time == in_time => {
                last.pedals.push((one.letter, one.to));
                last.setting = setting;
            }
            _ => changes.push(PedalChange { at, pedals: vec![(one.letter, one.to)], setting, in_time }),
        }
    }
    let fixed = played.facts.fixed.iter().copied().zip(played.plucked.fixed.iter().copied()).collect();
    Some(PedalChart { chair: desk.id().to_string(), start, fixed, changes })
}

/// What a harp meets, with its chart; nothing for another instrument.
pub fn check(table: &Table<'_>, desk: &Desk<'_>) -> (Vec<Finding>, Option<PedalChart>) {
    let mut findings = Vec::new();
    if !is_harp(desk) {
        return (findings, None);
    }
    let played = play(table, desk, free(desk));
    played.feet(&mut findings);
    played.fixed_strings(&mut findings);
    super::harp_chords::check(&played, &mut findings);
    (findings, charted(&played))
}

/// An event with what is wrong in it: a move, or two jobs of a foot that clash.
type Trouble = (usize, Option<usize>, Option<(usize, usize)>);

/// Events of one finding: the first and the last, and what is said of them.
#[derive(Default)]
struct Group {
    events: Vec<usize>,
    moves: Vec<usize>,
    clashes: Vec<(usize, usize)>,
}

impl<'a> Played<'a> {
    /// The same part with every letter free, where that is something else. Solved once, and only if it is asked for.
    pub fn freely(&self) -> Option<&Played<'a>> {
        let solved = self.freely.get_or_init(|| {
            let other = self.plucked.by_letter && !free(self.desk);
            other.then(|| Box::new(play(self.table, self.desk, true)))
        });
        solved.as_deref()
    }

    pub fn place(&self, event: usize) -> Place {
        self.table.timeline.place(self.plucked.places[event])
    }

    /// The setting before the first note: as the first notes want it, else as the key signature has it.
    fn start(&self) -> Setting {
        let first = self.plucked.places.first().copied().unwrap_or_default();
        let key = signature(self.table.timeline, first);
        let initial = self.solution.initial;
        std::array::from_fn(|l| if initial[l] == UNSET { key[l] } else { initial[l] })
    }

    fn feet(&self, findings: &mut Vec<Finding>) {
        let moves = &self.solution.moves;
        let late = (0..moves.len()).filter(|m| moves[*m].timed.is_none());
        let troubles = late.map(|m| (moves[m].event, Some(m), None));
        let clashes = self.solution.clashes.iter().map(|c| (c.0, None, Some(*c)));
        let groups = self.groups(troubles.chain(clashes).collect());
        let quick = (0..moves.len()).filter(|m| self.time_for(&moves[*m]).is_some());
        let quick = self.groups(quick.map(|m| (moves[m].event, Some(m), None)).collect());
        let buzz = (0..moves.len()).filter(|m| moves[*m].buzz);
        let buzz = self.groups(buzz.map(|m| (moves[m].event, Some(m), None)).collect());
        for (index, group) in groups.iter().enumerate() {
            findings.push(self.late(group, index < TRIALS));
        }
        findings.extend(quick.iter().map(|g| self.quick(g)));
        findings.extend(buzz.iter().map(|g| self.buzz(g)));
    }

    fn groups(&self, mut troubles: Vec<Trouble>) -> Vec<Group> {
        troubles.sort();
        let mut groups: Vec<Group> = Vec::new();
        for (event, one, clash) in troubles {
            let bar = self.place(event).bar;
            let near = groups
                .last()
                .and_then(|g| g.events.last())
                .is_some_and(|e| bar - self.place(*e).bar <= BARS_TOGETHER);
            if !near {
                groups.push(Group::default());
            }
            if let Some(group) = groups.last_mut() {
                group.events.push(event);
                group.moves.extend(one);
                group.clashes.extend(clash);
            }
        }
        groups
    }

    fn found(&self, rule: &'static str, severity: Severity, group: &Group) -> Found {
        let (first, last) = (group.events[0], group.events[group.events.len() - 1]);
        Found::new(rule, severity, self.desk.id(), self.place(first)).to(self.place(last).bar)
    }

    /// Seconds for a change that is quicker than at ease.
    fn time_for(&self, one: &PedalMove) -> Option<f64> {
        let timed = one.timed?;
        let room = timed.until - timed.earliest;
        (timed.job.takes < self.facts.comfortable && room < self.facts.comfortable).then_some(room)
    }

    fn late(&self, group: &Group, tried: bool) -> Finding {
        let message = match (group.moves.first(), group.clashes.first()) {
            (Some(m), clash) if clash.is_none_or(|c| self.solution.moves[*m].event <= c.0) => {
                self.why_late(&self.solution.moves[*m])
            }
            (_, Some(clash)) => self.why_clash(*clash),
            _ => String::new(),
        };
        let more = group.events.len() - 1;
        let message = match more {
            0 => message,
            1 => format!("{message}; one more like it up to bar {}", self.place(group.events[1]).bar),
            _ => format!("{message}; {more} more like it up to bar {}", self.place(group.events[more]).bar),
        };
        let message = message + charts::cut_words(self.solution.narrowed);
        let found = self.found("harp-pedals", Severity::Impossible, group).says(message);
        if self.freely().is_some_and(|f| f.is_clean(self, group, |m| m.timed.is_none())) {
            return found.remedy(RESPELL).change(Some(self.respelling())).done();
        }
        if tried && let Some(remedy) = self.without(group) {
            return found.remedy(remedy).done();
        }
        found.done()
    }

    fn why_late(&self, one: &PedalMove) -> String {
        let wanted = pedal_said(one.letter, one.to);
        let place = place_words(self.place(one.event));
        let due = self.plucked.events[one.event].at;
        let before = one.after.map(|e| (e, due - self.plucked.events[e].at));
        if let Some((_, gap)) = before
            && gap < self.facts.least
        {
            return format!(
                "{wanted} is needed in {place}, {gap:.2} s after {}; a pedal takes {} s at the least",
                pedal_said(one.letter, one.from),
                self.facts.least
            );
        }
        let left = self.facts.order.iter().take(self.facts.left).any(|l| *l == one.letter);
        let foot = if left { "left" } else { "right" };
        let since = before.map_or_else(String::new, |(event, gap)| {
            format!(
                ": {} is plucked in {}, {gap:.2} s before, and the foot has other pedals to set",
                pedal_said(one.letter, one.from),
                place_words(self.place(event))
            )
        });
        format!("the {foot} foot has no time to set {wanted} for {place}{since}")
    }

    fn why_clash(&self, (event, need): (usize, usize)) -> String {
        let needs = &self.plucked.events[event].needs;
        let (letter, position) = needs[need].options[0];
        let wanted = pedal_said(letter, position);
        let place = place_words(self.place(event));
        let against = needs
            .iter()
            .find(|n| n.options.len() == 1 && n.options[0].0 == letter && n.options[0].1 != position);
        match against {
            Some(other) if needs[need].options.len() == 1 => {
                format!(
                    "{} and {wanted} together in {place}: one string cannot be both",
                    pedal_said(letter, other.options[0].1)
                )
            }
            _ => format!("the notes of {place} do not fit on seven strings: {wanted} is left over"),
        }
    }

    /// Nothing of that kind is the matter where `other` has this group.
    fn is_clean(&self, other: &Played<'_>, group: &Group, bad: impl Fn(&PedalMove) -> bool) -> bool {
        let from = other.plucked.events[group.events[0]].at - 1.0;
        let to = other.plucked.events[group.events[group.events.len() - 1]].at + 1.0;
        let within = |event: usize| (from..=to).contains(&self.plucked.events[event].at);
        !self.solution.moves.iter().any(|m| within(m.event) && (bad(m) || m.timed.is_none()))
            && !self.solution.clashes.iter().any(|c| within(c.0))
    }

    pub fn respelling(&self) -> Change {
        let chair = self.desk.id().to_string();
        Change { edits: vec![Edit::Kit { chair, key: "spelling".into(), value: "\"free\"".into() }] }
    }

    /// Leaving out what comes too late, or giving it to another harp: if the rest can be played then.
    fn without(&self, group: &Group) -> Option<String> {
        let first = group.events[0].saturating_sub(TRIAL.0);
        let end = (group.events[group.events.len() - 1] + TRIAL.1).min(self.plucked.events.len());
        let mut events = self.plucked.events[first..end].to_vec();
        let mut names: Vec<String> = Vec::new();
        let mut last_place = None;
        let mut drop =
            |event: usize, letter: u8, position: i8, events: &mut Vec<super::harp_pedals::Event>| {
                let place = self.place(event);
                if last_place != Some(place) {
                    names.push(format!("{} in {}", pedal_said(letter, position), place_words(place)));
                } else if let Some(name) = names.last_mut() {
                    *name = format!("{} and {name}", pedal_said(letter, position));
                }
                last_place = Some(place);
                events[event - first].needs.retain(|n| !n.options.contains(&(letter, position)));
            };
        let moves = &self.solution.moves;
        let mut drops: Vec<(usize, u8, i8)> =
            group.moves.iter().map(|m| (moves[*m].event, moves[*m].letter, moves[*m].to)).collect();
        drops.extend(group.clashes.iter().map(|(event, need)| {
            let (letter, position) = self.plucked.events[*event].needs[*need].options[0];
            (*event, letter, position)
        }));
        drops.sort_unstable();
        drops.dedup();
        for (event, letter, position) in drops {
            drop(event, letter, position, &mut events);
        }
        for event in &mut events {
            // A repetition of what is left out is none.
            event.needs.iter_mut().for_each(|n| n.again = None);
        }
        let trial = solve(&events, self.setting_before(first), self.facts);
        if !trial.clashes.is_empty() || trial.moves.iter().any(|m| m.timed.is_none()) {
            return None;
        }
        let shown = 3;
        let mut list = names.iter().take(shown).cloned().collect::<Vec<_>>().join(", ");
        if names.len() > shown {
            list.push_str(&format!(" and {} more", names.len() - shown));
        }
        Some(format!("leave out {list}, or give it to a second harp"))
    }

    /// The setting before an event, as the way through has it.
    fn setting_before(&self, event: usize) -> Setting {
        let mut setting = self.solution.initial;
        for one in self.solution.moves.iter().filter(|m| m.event < event) {
            setting[usize::from(one.letter)] = one.to;
        }
        setting
    }

    fn list(&self, group: &Group) -> String {
        let mut names: Vec<String> = group
            .moves
            .iter()
            .map(|m| pedal_said(self.solution.moves[*m].letter, self.solution.moves[*m].to))
            .collect();
        names.dedup();
        names.join(", ")
    }

    fn quick(&self, group: &Group) -> Finding {
        let times = group.moves.iter().filter_map(|m| Some((self.time_for(&self.solution.moves[*m])?, *m)));
        let shortest = times.min_by(|a, b| a.0.total_cmp(&b.0)).map_or((0.0, 0), |t| t);
        let one = &self.solution.moves[shortest.1];
        let severity = if shortest.0 < self.facts.quick { Severity::Hard } else { Severity::Advice };
        let found = self.found("harp-pedals-quick", severity, group).says(format!(
            "{} between notes: {:.2} s for {} in {}; at ease a pedal takes {} s",
            self.list(group),
            shortest.0,
            pedal_said(one.letter, one.to),
            place_words(self.place(one.event)),
            self.facts.comfortable
        ));
        if self.freely().is_some_and(|f| f.is_clean(self, group, |m| f.time_for(m).is_some())) {
            return found.remedy(RESPELL).change(Some(self.respelling())).done();
        }
        let bar = self.place(one.event).bar;
        found.remedy(format!("leave a rest before it in bar {bar}, or let a second harp play it")).done()
    }

    fn buzz(&self, group: &Group) -> Finding {
        let one = &self.solution.moves[group.moves[0]];
        let since = one.after.map_or_else(String::new, |event| {
            let gap = self.plucked.events[one.event].at - self.plucked.events[event].at;
            format!(", {gap:.2} s after {}", pedal_said(one.letter, one.from))
        });
        let found = self.found("harp-buzz", Severity::Advice, group).says(format!(
            "{} while the string rings: {} in {}{since}",
            self.list(group),
            pedal_said(one.letter, one.to),
            place_words(self.place(one.event))
        ));
        if self.freely().is_some_and(|f| f.is_clean(self, group, |m| m.buzz)) {
            return found.remedy(RESPELL).change(Some(self.respelling())).done();
        }
        found
            .remedy("have the string damped before the pedal moves, or leave a short rest before the change")
            .done()
    }

    fn fixed_strings(&self, findings: &mut Vec<Finding>) {
        for note in &self.plucked.without_string {
            let Some(note) = self.desk.part.content.notes.get(*note) else { continue };
            let Some(key) = note.pitch().map(|p| p.key) else { continue };
            let tuned: Vec<String> = self
                .facts
                .fixed
                .iter()
                .zip(&self.plucked.fixed)
                .filter(|(k, _)| (**k - key).abs() <= 2)
                .map(|(k, p)| format!("{}{}", pedal(charts::letter_of(*k), *p), k.div_euclid(12) - 1))
                .collect();
            findings.push(
                Found::new(
                    "harp-fixed-strings",
                    Severity::Impossible,
                    self.desk.id(),
                    self.table.timeline.place(note.at),
                )
                .says(match &tuned[..] {
                    [one] => format!(
                        "no string for {}: the string here has no pedal and is tuned to {one} for the other notes",
                        key_name(key)
                    ),
                    _ => format!(
                        "no string for {}: the strings here have no pedals and are tuned to {}",
                        key_name(key),
                        tuned.join(" and ")
                    ),
                })
                .remedy("write it an octave nearer the middle")
                .done(),
            );
        }
    }
}

pub(super) const RESPELL: &str = "let the harpist respell it";

pub(super) use ripieno_music::key_name;
