//! Is a line covered, and by whom.

use super::balance::{Balance, Mixture, Mods};
use super::lines::{Lines, Stretch};
use super::remedies::{self, Tried};
use super::slots::Sound;
use crate::Found;
use rayon::prelude::*;
use ripieno_hearing::{Heard, Pattern, Verdict, partial_loudness};
use ripieno_music::{Finding, Role, Severity};
use std::collections::{BTreeMap, BTreeSet};

/// What is asked of a line. Shares are of the time in which it sounds; seconds keep what passes by out.
#[derive(Clone, Copy, Debug)]
struct Asks {
    rule: &'static str,
    severity: Severity,
    /// Counts slots of this verdict and worse.
    verdict: Verdict,
    share: f64,
    seconds: f64,
    /// So long in one go is too long, whatever the share.
    run: f64,
    /// Bands in which it stands out, at most, for a slot to count: a bass is heard by its lowest partials alone.
    bands: usize,
}

impl Asks {
    fn counts(&self, heard: &Heard) -> bool {
        heard.verdict() <= self.verdict && heard.best_bands <= self.bands
    }
}

/// Advice, as all that is estimated: the powers of flutes and bassoons lie below what Rimsky-Korsakov's equivalences ask. Own
/// choice, held against scores whose main melodies listeners have annotated: those melodies are heard, so of their time little
/// may lie in a finding, and much of it where the same lines are marked pp beside ff (tests/cross/covered.py).
const TUNE: Asks = Asks {
    rule: "tune-covered",
    severity: Severity::Advice,
    verdict: Verdict::Covered,
    share: 0.4,
    seconds: 2.0,
    run: 5.0,
    bands: usize::MAX,
};
/// At risk for half of its time, or for a long phrase. Own choice, held against the same.
const RISK: Asks = Asks {
    rule: "tune-at-risk",
    severity: Severity::Advice,
    verdict: Verdict::AtRisk,
    share: 0.5,
    seconds: 3.0,
    run: 8.0,
    bands: usize::MAX,
};
/// Other lines may go under for a while: more than half of their time counts. Own choice.
const LINE: Asks = Asks {
    rule: "line-lost",
    severity: Severity::Advice,
    verdict: Verdict::Covered,
    share: 0.6,
    seconds: 4.0,
    run: f64::INFINITY,
    bands: 0,
};
/// Findings of one rule in a passage, at most: the worst.
const MOST: usize = 2;

/// How a line fares, slot by slot.
#[derive(Clone, Debug, Default)]
pub struct Fares {
    /// Slot, seconds, how it is heard.
    pub slots: Vec<(usize, f64, Heard)>,
}

impl Fares {
    /// Judges a stretch with some changes.
    pub fn of(balance: &Balance<'_>, stretch: &Stretch, mods: &Mods) -> Self {
        let judged: Vec<Option<(usize, f64, Heard)>> = stretch
            .slots
            .par_iter()
            .map(|(k, group)| Some((*k, balance.slots[*k].length(), balance.heard(*k, group, mods)?)))
            .collect();
        Self { slots: judged.into_iter().flatten().collect() }
    }

    /// The same, by what the changes touch in the mixtures as they are played ([`as_played`]).
    pub fn changed(
        balance: &Balance<'_>,
        stretch: &Stretch,
        played: &[Option<Mixture>],
        mods: &Mods,
    ) -> Self {
        let judged: Vec<Option<(usize, f64, Heard)>> = stretch
            .slots
            .par_iter()
            .zip(played)
            .map(|((k, group), base)| {
                let heard = balance.heard_changed(*k, group, base.as_ref()?, mods)?;
                Some((*k, balance.slots[*k].length(), heard))
            })
            .collect();
        Self { slots: judged.into_iter().flatten().collect() }
    }

    fn seconds(&self) -> f64 {
        self.slots.iter().map(|s| s.1).sum()
    }

    /// Slots that are so bad.
    fn bad(&self, asks: &Asks) -> Vec<usize> {
        self.slots.iter().filter(|s| asks.counts(&s.2)).map(|s| s.0).collect()
    }

    /// Whether it falls short of what is asked; by how many seconds it is bad.
    fn fails(&self, asks: &Asks) -> Option<f64> {
        let (mut bad, mut run, mut longest, mut last) = (0.0, 0.0, 0.0_f64, usize::MAX);
        for (k, seconds, heard) in &self.slots {
            if asks.counts(heard) {
                run = if last.wrapping_add(1) == *k { run + seconds } else { *seconds };
                bad += seconds;
                longest = longest.max(run);
                last = *k;
            }
        }
        let much = bad >= asks.share * self.seconds() && bad >= asks.seconds;
        (bad > 0.0 && (much || longest >= asks.run)).then_some(bad)
    }

    /// Mean share that is heard over these slots.
    pub fn share(&self, among: &[usize]) -> f64 {
        let (mut sum, mut seconds) = (0.0, 0.0);
        for (k, length, heard) in &self.slots {
            if among.contains(k) {
                sum += heard.share * length;
                seconds += length;
            }
        }
        if seconds > 0.0 { sum / seconds } else { 1.0 }
    }
}

/// A stretch as it is played, slot by slot.
pub fn as_played(balance: &Balance<'_>, stretch: &Stretch) -> Vec<Option<Mixture>> {
    stretch.slots.par_iter().map(|(k, group)| balance.as_played(*k, group)).collect()
}

/// The tune and other lines of the whole cue.
pub fn check(balance: &Balance<'_>, lines: &Lines<'_>) -> Vec<Finding> {
    let mut out: Vec<Judged> = Vec::new();
    let tune = lines.tune(balance);
    let judged: Vec<(&Stretch, Fares)> =
        tune.iter().map(|s| (s, Fares::of(balance, s, &Mods::default()))).collect();
    for asks in [&TUNE, &RISK] {
        let failing = judged.iter().filter(|(_, f)| asks.rule == TUNE.rule || f.fails(&TUNE).is_none());
        out.extend(worst(balance, lines, failing, asks, "the tune"));
    }
    for (role, name) in [(Role::Counter, "the counter-melody"), (Role::Bass, "the bass")] {
        let found = lines.with_role(balance, role);
        let judged: Vec<(&Stretch, Fares)> =
            found.iter().map(|s| (s, Fares::of(balance, s, &Mods::default()))).collect();
        out.extend(worst(balance, lines, judged.iter(), &LINE, name));
    }
    // A chair that has the tune for a moment and another line round it is one line that is lost: told once, by what is longer.
    out.sort_by(|a, b| b.bad.total_cmp(&a.bad));
    let mut told = BTreeSet::new();
    out.retain(|j| told.insert((j.passage, j.lead)));
    out.into_iter().map(|j| j.finding).collect()
}

/// A finding with the line that it speaks of.
struct Judged {
    passage: usize,
    lead: usize,
    /// Seconds in which it is covered.
    bad: f64,
    finding: Finding,
}

/// The worst of each passage.
fn worst<'s>(
    balance: &Balance<'_>,
    lines: &Lines<'_>,
    judged: impl Iterator<Item = &'s (&'s Stretch, Fares)>,
    asks: &Asks,
    line: &str,
) -> Vec<Judged> {
    let mut by_passage: BTreeMap<usize, Vec<(f64, &Stretch, &Fares)>> = BTreeMap::new();
    for (stretch, fares) in judged {
        if let Some(bad) = fares.fails(asks) {
            by_passage.entry(stretch.passage).or_default().push((bad, stretch, fares));
        }
    }
    let mut out = Vec::new();
    for mut failing in by_passage.into_values() {
        failing.sort_by(|a, b| b.0.total_cmp(&a.0));
        for (bad, stretch, fares) in failing.into_iter().take(MOST) {
            let finding = finding(balance, lines, stretch, fares, asks, line);
            let (passage, lead) = (stretch.passage, stretch.lead());
            out.extend(finding.map(|finding| Judged { passage, lead, bad, finding }));
        }
    }
    out
}

fn finding(
    balance: &Balance<'_>,
    lines: &Lines<'_>,
    stretch: &Stretch,
    fares: &Fares,
    asks: &Asks,
    line: &str,
) -> Option<Finding> {
    let bad = fares.bad(asks);
    let (first, last) = (*bad.first()?, *bad.last()?);
    let table = balance.table;
    let lead = table.desks.get(stretch.lead())?;
    let coverers = coverers(balance, stretch, &bad);
    // A player alone balances his own hands.
    let polyphonic = |k: &usize| {
        let sounds = &balance.sounds.slots[*k];
        let group = stretch.slots.iter().find(|s| s.0 == *k).map(|s| s.1.members(sounds));
        let of_lead = |s: &&(&Sound, bool)| usize::from(s.0.desk) == stretch.lead() && !s.1;
        group.is_some_and(|members| sounds.iter().zip(members).any(|s| of_lead(&&s)))
    };
    if coverers.is_empty() && bad.iter().any(polyphonic) {
        return None;
    }
    let share = fares.share(&bad);
    let seconds: f64 = fares.slots.iter().filter(|s| bad.contains(&s.0)).map(|s| s.1).sum();
    let name = |d: &usize| table.desks.get(*d).map_or("", |d| d.name()).to_string();
    // Who has it for most of that time; one that covers it is not among them.
    let with = |d: &&usize| {
        let there =
            stretch.slots.iter().filter(|(k, group)| bad.contains(k) && group.with.contains(*d)).count();
        **d != stretch.lead() && 2 * there >= bad.len() && !coverers.iter().take(3).any(|c| c.0 == **d)
    };
    let everyone = stretch.everyone();
    let others: Vec<String> = everyone.iter().filter(with).map(name).collect();
    let with = if others.is_empty() { String::new() } else { format!(" with {}", list(&others, 3)) };
    let by: Vec<String> = coverers.iter().take(3).map(|(d, _)| name(d)).collect();
    let by = if by.is_empty() { "what the hall still holds".to_string() } else { list(&by, 3) };
    let state = if asks.verdict == Verdict::Covered { "covered" } else { "at risk" };
    let message = format!(
        "by estimate {line} ({}{with}) is {state} for {seconds:.0} s of {:.0}: {:.0} % of it is heard beside {by}",
        lead.name(),
        fares.seconds(),
        100.0 * share,
    );
    let works = |fares: &Fares| fares.fails(asks).is_none();
    let tried = remedies::try_all(balance, lines, stretch, &coverers, &bad, &works);
    let (remedy, change) = said(&tried, share);
    let at = table.place(ripieno_units::Seconds(balance.slots[first].from + 1e-6));
    let found = Found::new(asks.rule, asks.severity, lead.id(), at);
    Some(found.to(balance.bar(last)).says(message).remedy(remedy).change(change).done())
}

/// A remedy lets so much more of a line be heard: one that only tips a bound is none. Own choice.
const HEARD_MORE: f64 = 0.05;

/// What works, or the best of what was tried, each with its effect.
fn said(tried: &[Tried], before: f64) -> (String, Option<ripieno_music::Change>) {
    let effect =
        |t: &Tried| format!("{} (heard {:.0} %, then {:.0} %)", t.words, 100.0 * before, 100.0 * t.share);
    let others = |but: usize| {
        // What does not help is not worth a line.
        let helps = |(i, t): &(usize, &Tried)| *i != but && t.share >= before + HEARD_MORE;
        let rest: Vec<String> =
            tried.iter().enumerate().filter(helps).map(|(_, t)| effect(t)).take(1).collect();
        if rest.is_empty() { String::new() } else { format!("; also tried: {}", rest.join(", ")) }
    };
    if let Some(best) = tried.iter().position(|t| t.works && t.share >= before + HEARD_MORE) {
        return (format!("{}{}", effect(&tried[best]), others(best)), tried[best].change.clone());
    }
    let best = tried.iter().enumerate().max_by(|a, b| a.1.share.total_cmp(&b.1.share));
    match best {
        Some((i, best)) if best.share >= before + HEARD_MORE => {
            (format!("nothing tried is enough by itself; the best is {}{}", effect(best), others(i)), None)
        }
        _ => ("no remedy found".to_string(), None),
    }
}

/// Names, with "and" before the last, and how many more.
pub fn list(names: &[String], most: usize) -> String {
    let shown = names.len().min(most);
    let more = names.len() - shown;
    let mut text = String::new();
    for (i, name) in names.iter().take(shown).enumerate() {
        let last = i + 1 == shown && more == 0;
        text.push_str(if i == 0 {
            ""
        } else if last {
            " and "
        } else {
            ", "
        });
        text.push_str(name);
    }
    if more > 0 {
        text.push_str(&format!(" and {more} more"));
    }
    text
}

/// Slots looked at to rank those who cover: spread evenly.
const LOOKED_AT: usize = 8;

/// Desks that cover a line, by how much of its loudness comes back without each: most first.
pub fn coverers(balance: &Balance<'_>, stretch: &Stretch, bad: &[usize]) -> Vec<(usize, f64)> {
    let step = bad.len().div_ceil(LOOKED_AT).max(1);
    let looked: Vec<usize> = bad.iter().copied().step_by(step).collect();
    let scale = &balance.ear.scale;
    let gains: Vec<BTreeMap<usize, f64>> = looked
        .par_iter()
        .map(|k| {
            let mut gains = BTreeMap::new();
            let Some((_, group)) = stretch.slots.iter().find(|s| s.0 == *k) else { return gains };
            let Some((signal, masker)) = balance.mixture(*k, group, &Mods::default()) else { return gains };
            let all = partial_loudness(scale, &signal, &masker);
            let mut by_desk: BTreeMap<usize, Pattern> = BTreeMap::new();
            let sounds = &balance.sounds.slots[*k];
            let members = group.members(sounds);
            let beside =
                sounds.iter().zip(members).filter(|(s, of_it)| !of_it && !group.holds(s.desk.into()));
            for (sound, _) in beside {
                let (pattern, power) = balance.ear.pattern(sound, 0.0);
                let share = (sound.to - sound.from) / balance.slots[*k].length();
                let own = by_desk.entry(sound.desk.into()).or_insert_with(|| Pattern::zero(scale));
                own.add_scaled(&pattern, power * share);
            }
            for (desk, own) in by_desk {
                let mut left = masker.clone();
                left.subtract(&own);
                let gain = partial_loudness(scale, &signal, &left) - all;
                gains.insert(desk, gain);
            }
            gains
        })
        .collect();
    let mut sums: BTreeMap<usize, f64> = BTreeMap::new();
    for (desk, gain) in gains.into_iter().flatten() {
        *sums.entry(desk).or_default() += gain;
    }
    let mut out: Vec<(usize, f64)> = sums.into_iter().filter(|s| s.1 > 1e-6).collect();
    out.sort_by(|a, b| b.1.total_cmp(&a.1).then(a.0.cmp(&b.0)));
    out
}
