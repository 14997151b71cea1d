//! Remedies tried on a covered line, from the smallest: thinner round it, another register, louder, doubled.

use super::balance::{Balance, Mixture, Mods};
use super::cells;
use super::covered::{Fares, as_played, list};
use super::lines::{Edge, Lines, Stretch};
use crate::phrase::may_move;
use ripieno_instruments::{natural_of, whistle_of};
use ripieno_music::{Change, Edit};
use std::collections::BTreeSet;

/// A remedy with what it does.
#[derive(Clone, Debug)]
pub struct Tried {
    /// What to do, in words.
    pub words: String,
    /// Share that is then heard where it was bad before.
    pub share: f64,
    /// Nothing is left of the finding.
    pub works: bool,
    /// The exact change, where there is one.
    pub change: Option<Change>,
}

/// A remedy before it is tried.
#[derive(Clone, Debug, Default)]
struct Trial {
    words: Vec<String>,
    mods: Mods,
    /// Cells by chair; empty and not `exact` where it cannot be said in cells.
    cells: Vec<(String, String)>,
    exact: bool,
}

/// Resting chairs are tried for a doubling at so many places of the line, and so many in full.
const PROBES: usize = 3;
const DOUBLINGS: usize = 2;

/// Where no more parts sound than this, none is asked to rest: each has a voice of the harmony.
const FEW_PARTS: usize = 4;

/// A remedy that changes more cells than this is another orchestration.
const MOST_CELLS: usize = 4;

/// Everything that the search needs.
struct Search<'a, 'b> {
    balance: &'b Balance<'a>,
    stretch: &'b Stretch,
    /// Its slots as they are played.
    played: &'b [Option<Mixture>],
    /// A bar of the passage.
    bar: i32,
    passage: String,
}

/// Tries remedies in order; stops at the first that works. All that were tried, in order.
pub fn try_all(
    balance: &Balance<'_>,
    lines: &Lines<'_>,
    stretch: &Stretch,
    coverers: &[(usize, f64)],
    bad: &[usize],
    works: &dyn Fn(&Fares) -> bool,
) -> Vec<Tried> {
    let Some(span) = lines.passages.get(stretch.passage) else { return Vec::new() };
    let played = as_played(balance, stretch);
    let search = Search { balance, stretch, played: &played, bar: span.from_bar, passage: span.name.clone() };
    let mut out: Vec<Tried> = Vec::new();
    let ranked: Vec<usize> = coverers.iter().map(|c| c.0).collect();
    let mut sounding: BTreeSet<usize> = BTreeSet::new();
    for (k, _) in &stretch.slots {
        sounding.extend(balance.sounds.slots[*k].iter().map(|s| usize::from(s.desk)));
    }
    // Of few parts each is needed.
    let can_rest =
        |desk: &usize| sounding.len() > FEW_PARTS && !lines.carries(balance, *desk, &stretch.slots);
    let idle: Vec<usize> = ranked.iter().copied().filter(can_rest).collect();
    for trial in search.trials(&ranked, &idle, bad) {
        let fares = Fares::changed(balance, stretch, &played, &trial.mods);
        let tried = Tried {
            words: trial.words.join(", "),
            share: fares.share(bad),
            works: works(&fares),
            change: search.change(&trial),
        };
        let done = tried.works;
        out.push(tried);
        if done {
            break;
        }
    }
    out
}

impl Search<'_, '_> {
    /// From the smallest to the greatest.
    fn trials(&self, coverers: &[usize], can_rest: &[usize], bad: &[usize]) -> Vec<Trial> {
        let first = |n: usize| &coverers[..n.min(coverers.len())];
        let mut trials: Vec<Option<Trial>> = vec![self.moved(first(1), -1)];
        for n in [2, 3].into_iter().filter(|n| *n <= coverers.len()) {
            trials.push(self.moved(first(n), -1));
        }
        trials.push(self.octave_up());
        let louder = self.moved(&self.players_of_the_line(), 1);
        trials.push(louder.clone());
        trials.push(both(self.moved(first(3), -1), louder.clone()));
        trials.extend(self.doublings(bad).into_iter().map(Some));
        if let Some(one) = can_rest.first() {
            trials.push(self.without(&[*one]));
        }
        if coverers.len() >= 4 {
            trials.push(both(self.moved(first(4), -1), louder.clone()));
        }
        if can_rest.len() > 1 {
            trials.push(self.without(&can_rest[..2]));
        }
        trials.push(both(self.moved(first(4), -2), louder));
        trials.into_iter().flatten().filter(|t| t.cells.len() <= MOST_CELLS && t.words.len() <= 2).collect()
    }

    fn name(&self, desk: usize) -> String {
        self.balance.table.desks.get(desk).map_or(String::new(), |d| d.name().to_string())
    }

    fn cell(&self, desk: usize) -> Option<&str> {
        let table = self.balance.table;
        table.cell_at(table.desks.get(desk)?.id(), self.bar)
    }

    /// Those whose own dynamics make the line louder: the rest follow.
    fn players_of_the_line(&self) -> Vec<usize> {
        self.stretch.everyone()
    }

    /// Mean level of a desk in the passage, dB re mf, and the most that it strays from it.
    fn level(&self, desk: usize) -> (f64, f64) {
        let mut levels: Vec<f64> = Vec::new();
        for (k, _) in &self.stretch.slots {
            let own = self.balance.sounds.slots[*k].iter().filter(|s| usize::from(s.desk) == desk);
            levels.extend(own.map(|s| s.level));
        }
        if levels.is_empty() {
            return (0.0, 0.0);
        }
        let mean = levels.iter().sum::<f64>() / levels.len() as f64;
        (mean, levels.iter().map(|l| (l - mean).abs()).fold(0.0, f64::max))
    }

    /// Softer or louder by marks. Chairs that play `col` and have no dynamics of their own go along.
    fn moved(&self, desks: &[usize], steps: i32) -> Option<Trial> {
        let mut trial = Trial { exact: true, ..Trial::default() };
        let mut all: BTreeSet<usize> = desks.iter().copied().collect();
        let mut named: Vec<String> = Vec::new();
        for &desk in desks {
            // Who plays something else as well keeps its own level there: it is not counted on.
            let followers = cells::whole_followers(self.balance.table, desk, self.bar);
            let silent = |d: &usize| self.cell(*d).is_some_and(|t| !cells::sets_dynamics(t));
            // One that follows another of those that are moved goes along by itself.
            all.extend(followers.into_iter().filter(silent));
        }
        let led = |desk: usize| {
            self.cell(desk).is_some_and(|t| !cells::sets_dynamics(t))
                && desks
                    .iter()
                    .any(|d| cells::whole_followers(self.balance.table, *d, self.bar).contains(&desk))
        };
        for &desk in desks {
            if led(desk) {
                continue;
            }
            let (level, strays) = self.level(desk);
            // Nobody plays softer than ppp, and a line at ff is not asked for more.
            if (steps < 0 && level < -15.0) || (steps > 0 && level > 10.0) {
                if steps > 0 {
                    continue;
                }
                return None;
            }
            match self.cell(desk).and_then(|t| Some((t, cells::with_steps(t, steps, level)?))) {
                Some((text, (after, words))) => {
                    // A mark in place of written-out dynamics that move would flatten them.
                    trial.exact &= cells::sets_dynamics(text) || strays < 4.0;
                    trial.cells.push((self.balance.table.desks.get(desk)?.id().to_string(), after));
                    named.push(format!("{} {words}", self.name(desk)));
                }
                None => {
                    trial.exact = false;
                    let mark = |l: f64| cells::nearest(l).word();
                    let after = level + cells::STEP * f64::from(steps);
                    named.push(format!(
                        "{} {} instead of about {}",
                        self.name(desk),
                        mark(after),
                        mark(level)
                    ));
                }
            }
        }
        if named.is_empty() {
            return None;
        }
        trial.words = vec![list(&named, 12)];
        trial.mods.shift = all.into_iter().map(|d| (d, cells::STEP * f64::from(steps))).collect();
        Some(trial)
    }

    /// The keys that a desk plays in the stretch, lowest and highest.
    fn span(&self, desk: usize) -> Option<(i16, i16)> {
        let mut span: Option<(i16, i16)> = None;
        for (k, _) in &self.stretch.slots {
            for sound in
                self.balance.sounds.slots[*k].iter().filter(|s| usize::from(s.desk) == desk && s.key > 0)
            {
                let key = i16::from(sound.key);
                let (low, high) = span.unwrap_or((key, key));
                span = Some((low.min(key), high.max(key)));
            }
        }
        span
    }

    fn fits(&self, desk: usize, span: (i16, i16), semitones: i16) -> bool {
        let range = self.balance.table.desks.get(desk).and_then(|d| d.instrument.comfortable);
        range.is_some_and(|r| r.holds(span.0 + semitones) && r.holds(span.1 + semitones))
    }

    /// A line goes to another octave where it breathes, not in the middle of a run.
    fn may_move(&self, desk: usize) -> bool {
        let table = self.balance.table;
        table.desks.get(desk).is_some_and(|d| may_move(table, d, self.bar))
    }

    /// The line an octave up where its leader has it in comfort.
    fn octave_up(&self) -> Option<Trial> {
        let lead = self.stretch.lead();
        if self.stretch.slots.first().is_some_and(|s| s.1.edge == Edge::Bottom) {
            return None;
        }
        if !self.fits(lead, self.span(lead)?, 12) || !self.may_move(lead) {
            return None;
        }
        let mut trial =
            Trial { words: vec![format!("{} an octave up", self.name(lead))], ..Trial::default() };
        trial.mods.octave.insert(lead, 12);
        for follower in cells::followers(self.balance.table, lead, self.bar) {
            // Those who follow must reach it too.
            if !self.fits(follower, self.span(follower)?, 12) || !self.may_move(follower) {
                return None;
            }
            trial.mods.octave.insert(follower, 12);
        }
        if let Some(text) = self.cell(lead).and_then(|t| cells::with_octave(t, 12)) {
            trial.cells.push((self.balance.table.desks.get(lead)?.id().to_string(), text));
            // Who plays something else as well does not move with it there.
            trial.exact = cells::whole_followers(self.balance.table, lead, self.bar).len() + 1
                == trial.mods.octave.len();
        }
        Some(trial)
    }

    /// Chairs out.
    fn without(&self, desks: &[usize]) -> Option<Trial> {
        let mut trial = Trial { exact: true, ..Trial::default() };
        let names: Vec<String> = desks.iter().map(|d| self.name(*d)).collect();
        trial.words = vec![format!("without {}", list(&names, 12))];
        for &desk in desks {
            trial.mods.out.insert(desk);
            trial.exact &= self.cell(desk).is_some()
                && cells::followers(self.balance.table, desk, self.bar).iter().all(|f| desks.contains(f));
            trial.cells.push((self.balance.table.desks.get(desk)?.id().to_string(), "tacet".to_string()));
        }
        Some(trial)
    }

    /// Resting chairs that could play along, the most helpful first.
    fn doublings(&self, bad: &[usize]) -> Vec<Trial> {
        let table = self.balance.table;
        let lead = self.stretch.lead();
        let Some(span) = self.span(lead) else { return Vec::new() };
        let (level, _) = self.level(lead);
        let mut busy: BTreeSet<usize> = BTreeSet::new();
        for (k, slot) in self.balance.slots.iter().enumerate() {
            let number = table.timeline.bars.get(slot.bar).map_or(0, |b| b.number);
            let passage = table.passage_at(number).map(|p| p.name.as_str());
            if passage == Some(self.passage.as_str()) || self.stretch.slots.iter().any(|s| s.0 == k) {
                busy.extend(self.balance.sounds.slots[k].iter().map(|s| usize::from(s.desk)));
            }
        }
        let step = bad.len().div_ceil(PROBES).max(1);
        let slots = self.stretch.slots.iter().zip(self.played);
        let slots: Vec<_> =
            slots.filter_map(|((k, group), base)| Some((*k, group, base.as_ref()?))).collect();
        let probe = |k: &usize| slots.iter().find(|s| s.0 == *k).copied();
        let probes: Vec<_> = bad.iter().step_by(step).filter_map(probe).collect();
        let mut candidates: Vec<(f64, usize, i16)> = Vec::new();
        for (desk, d) in table.desks.iter().enumerate().filter(|(i, _)| !busy.contains(i)) {
            // What has only some notes (natural brass, whistles) is no help for a line.
            if d.instrument.unpitched || d.instrument.decays || has_some(&d.instrument.id) {
                continue;
            }
            for semitones in [0, 12] {
                if !self.fits(desk, span, semitones) {
                    continue;
                }
                let mods = Mods { join: vec![(desk, semitones, level)], ..Mods::default() };
                let heard = probes
                    .iter()
                    .filter_map(|(k, group, base)| self.balance.heard_changed(*k, group, base, &mods));
                candidates.push((heard.map(|h| h.share).sum(), desk, semitones));
            }
        }
        candidates.sort_by(|a, b| b.0.total_cmp(&a.0).then((a.1, a.2).cmp(&(b.1, b.2))));
        let lead_id = table.desks.get(lead).map_or("", |d| d.id());
        let one = |desk: usize, semitones: i16, louder: i32| {
            let octave = if semitones == 0 { "in unison" } else { "an octave above" };
            let mark = cells::nearest(level + cells::STEP * f64::from(louder));
            let at = mark.level().map_or(level, |l| l.0);
            let (said, own) = match louder {
                0 => (String::new(), String::new()),
                _ => (format!(" at {}", mark.word()), format!(", {}", mark.word())),
            };
            let mut trial = Trial {
                words: vec![format!("{} with {} {octave}{said}", self.name(desk), self.name(lead))],
                exact: self.cell(lead).is_some(),
                ..Trial::default()
            };
            trial.mods.join.push((desk, semitones, if louder == 0 { level } else { at }));
            let way = if semitones == 0 { "" } else { " 8va" };
            trial.cells.push((table.desks.get(desk)?.id().to_string(), format!("col {lead_id}{way}{own}")));
            Some(trial)
        };
        let mut made: Vec<Trial> =
            candidates.iter().take(DOUBLINGS).filter_map(|(_, desk, way)| one(*desk, *way, 0)).collect();
        // Several of those who rest, each where it helps most: as the line is marked, then louder.
        let mut players: Vec<(usize, i16)> = Vec::new();
        for (_, desk, way) in &candidates {
            if players.iter().all(|p| p.0 != *desk) {
                players.push((*desk, *way));
            }
        }
        for louder in [0, 1, 2].into_iter().filter(|n| *n < 1 || level + cells::STEP * f64::from(*n) < 10.0) {
            for n in [1, 2, 3].into_iter().filter(|n| (*n > 1 || louder > 0) && *n <= players.len()) {
                let trials: Vec<Trial> =
                    players[..n].iter().filter_map(|(desk, way)| one(*desk, *way, louder)).collect();
                made.extend(trials.into_iter().reduce(|mut all, next| {
                    all.words = vec![[all.words, next.words].concat().join(" and ")];
                    all.cells.extend(next.cells);
                    all.exact &= next.exact;
                    all.mods.join.extend(next.mods.join);
                    all
                }));
            }
        }
        made
    }

    fn change(&self, trial: &Trial) -> Option<Change> {
        if !trial.exact || trial.cells.is_empty() || self.balance.table.passage_at(self.bar).is_none() {
            return None;
        }
        let edits = trial.cells.iter().map(|(chair, text)| Edit::Cell {
            passage: self.passage.clone(),
            chair: chair.clone(),
            text: text.clone(),
        });
        Some(Change { edits: edits.collect() })
    }
}

/// Has not every note of its range.
fn has_some(instrument: &str) -> bool {
    natural_of(instrument).is_some() || whistle_of(instrument).is_some()
}

/// One with the other.
fn both(a: Option<Trial>, b: Option<Trial>) -> Option<Trial> {
    let (mut a, b) = (a?, b?);
    a.words.extend(b.words);
    a.cells.extend(b.cells);
    a.exact &= b.exact;
    a.mods.shift.extend(b.mods.shift);
    Some(a)
}
