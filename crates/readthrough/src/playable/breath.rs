//! `breath`: held notes and phrases longer than a breath, of players who are alone on their part, and where to breathe.
//!
//! Sections, doubled winds and choirs breathe in turn and are not asked. Rests and the ends of slurs are where every player
//! breathes without being told; only what those do not settle is a finding. It is a finding about all the playing since the
//! lungs were last full: the few notes at which the air is gone are seldom what used it up.

use super::breath_air::{FULL, takes};
use super::breath_places::{Bass, Kind, SAME_HARMONY, Spot, hear_harmony, spots};
use super::breath_remedy::{Turns, breathe, change, softer};
use super::breath_search::{Step, search, search_within, since_full};
use super::range::capital;
use super::sheet::{Sheet, level_of, pitch_name, said};
use crate::Found;
use ripieno_instruments::Breath;
use ripieno_music::{Finding, Severity};
use ripieno_units::{Beats, Seconds};
use std::cmp::Ordering;

/// A held note so many times as long as a full breath cannot be played. The table's share of air for each instrument is an
/// estimate, so that less than this may be one player's art.
const BEYOND: f64 = 2.0;
/// Up to here a note is not said to be so many times as long.
const BARELY: f64 = 1.15;
/// What is said after a remedy that the player can judge better.
const CARE: &str = "lungs differ, so ask the player";
/// A player who is short of air by a twentieth makes it last: the table's figures are estimates. What is offered does without.
const STRETCH: f64 = 1.05;
/// Between notes of so many seconds or more there is time for a full breath, seconds (common practice, no source).
const ROOMY: f64 = 1.0;
/// So much of each breath is used where that is possible with breaths that cost hardly more (three fifths is a comfortable phrase: common
/// practice).
const SPARING: [f64; 3] = [0.6, 0.75, 0.9];
/// Unasked breaths between those that are asked for are named as well, up to so many.
const NAMED_UNASKED: usize = 3;

pub(crate) fn check(sheet: &Sheet<'_>, out: &mut Vec<Finding>) {
    let Some(breath) = sheet.desk.instrument.breath.as_ref() else { return };
    // One line: of notes that begin together the longest, none over the next.
    let mut line: Vec<usize> = Vec::new();
    for (i, read) in sheet.notes.iter().enumerate() {
        match line.last().copied() {
            Some(last) if read.from - sheet.notes[last].from < 0.02 => {
                if read.to > sheet.notes[last].to {
                    line.pop();
                    line.push(i);
                }
            }
            _ => line.push(i),
        }
    }
    let mut from = 0;
    for k in 0..line.len() {
        let here = &sheet.notes[line[k]];
        let next = line.get(k + 1).map(|n| &sheet.notes[*n]);
        // What follows a full breath, or a note that others play as well, stands by itself.
        let parted = next.is_none_or(|n| n.from - here.to >= FULL || sheet.alone(n) != sheet.alone(here));
        if parted {
            if sheet.alone(here) {
                phrase(sheet, breath, &line[from..=k], out);
            }
            from = k + 1;
        }
    }
}

/// A line from full lungs to the next rest that fills them.
fn phrase(sheet: &Sheet<'_>, breath: &Breath, line: &[usize], out: &mut Vec<Finding>) {
    let mut spots = spots(sheet, breath, line);
    // Between long separate notes everybody breathes, and takes the time for it, without being told.
    let untold = |s: &Spot| {
        let next = line.iter().position(|i| *i == s.note).and_then(|k| line.get(k + 1));
        let long = |n: usize| sheet.notes[n].seconds() >= ROOMY;
        s.kind == Kind::Unasked || (s.kind == Kind::Longer && long(s.note) && next.is_some_and(|n| long(*n)))
    };
    let silent = |s: &Spot| if untold(s) { s.step } else { Step { fills: 0.0, ..s.step } };
    let unasked: Vec<Step> = spots.iter().map(silent).collect();
    let Err(stuck) = search(&unasked) else { return };
    let lenient: Vec<Step> =
        unasked.iter().map(|s| Step { takes: s.takes / STRETCH, saves: s.saves / STRETCH, ..*s }).collect();
    if search(&lenient).is_ok() {
        return;
    }
    hear_harmony(sheet.bass.get_or_init(|| Bass::of(sheet.table)), &mut spots);
    let short = Short::of(&spots, &unasked, stuck);
    // Up to where the lungs were last full nothing need be told.
    let full = stuck + 1 - short.spots.len();
    let after: Vec<Step> =
        spots.iter().enumerate().map(|(i, s)| if i < full { silent(s) } else { s.step }).collect();
    let all = || spots.iter().map(|s| s.step).collect::<Vec<_>>();
    let Some(at) = best(&after).or_else(|| best(&all())) else {
        out.push(nowhere(sheet, &short).done());
        return;
    };
    let taken: Vec<Spot> = at.iter().map(|i| spots[*i]).collect();
    let asked: Vec<Spot> = taken.iter().copied().filter(|s| !untold(s)).collect();
    if asked.is_empty() {
        return;
    }
    let mut held: Vec<usize> = asked.iter().filter(|s| s.kind == Kind::InNote).map(|s| s.note).collect();
    held.dedup();
    // The notes that are too long by themselves are what is the matter, wherever the air is gone.
    held.retain(|n| takes(sheet, breath, sheet.notes[*n].from, sheet.notes[*n].to, 0.0) > 1.0);
    let finding = if held.is_empty() {
        run(sheet, breath, &short, again(sheet, &spots, &unasked, &at), &asked)
    } else {
        let told: Vec<Spot> =
            taken.iter().copied().filter(|s| s.kind == Kind::Unasked || !untold(s)).collect();
        long(sheet, breath, &held, &told)
    };
    out.push(finding.change(change(sheet, &asked)).done());
}

/// The cheapest breaths; or such as cost no more than these and a change of harmony, and leave some air in the lungs.
fn best(steps: &[Step]) -> Option<Vec<usize>> {
    let cheapest = search(steps).ok()?;
    let sparing = SPARING.iter().find_map(|part| {
        let less: Vec<Step> =
            steps.iter().map(|s| Step { takes: s.takes / part, saves: s.saves / part, ..*s }).collect();
        search_within(&less, cheapest.cost.saturating_add(SAME_HARMONY)).ok()
    });
    Some(sparing.unwrap_or(cheapest).at)
}

/// The last bar in which the air runs out: where it would without the last of the breaths that are asked for.
fn again(sheet: &Sheet<'_>, spots: &[Spot], unasked: &[Step], at: &[usize]) -> Option<i32> {
    let asked: Vec<usize> = at.iter().copied().filter(|i| spots[*i].kind != Kind::Unasked).collect();
    let (_, before) = asked.split_last()?;
    let mut steps = unasked.to_vec();
    before.iter().for_each(|i| steps[*i] = spots[*i].step);
    let stuck = search(&steps).err()?;
    Some(sheet.table.place(Seconds(Short::of(spots, &steps, stuck).gone)).bar)
}

/// Held notes that are longer than a full breath.
fn long(sheet: &Sheet<'_>, breath: &Breath, held: &[usize], taken: &[Spot]) -> Found {
    let air = |n: usize| takes(sheet, breath, sheet.notes[n].from, sheet.notes[n].to, 0.0);
    let (first, last) = (&sheet.notes[held[0]], &sheet.notes[held[held.len() - 1]]);
    let worst = held.iter().map(|n| air(*n)).fold(0.0, f64::max);
    let about = format!("a full breath lasts there (about {})", said(first.seconds() / air(held[0])));
    let key = |n: usize| sheet.notes[n].key.map_or("a note".to_string(), pitch_name);
    let others: Vec<String> =
        held[1..].iter().take(3).map(|n| format!("{} in bar {}", key(*n), sheet.bar(*n))).collect();
    let message = format!(
        "{} is held for {} at {}, {} {about}{}",
        key(held[0]),
        said(first.seconds()),
        first.mark(),
        times(air(held[0])),
        match (held.len(), others.as_slice()) {
            (1, _) => String::new(),
            (2, _) => format!("; {} is too long as well", others[0]),
            (n @ 3..=4, _) => format!("; {} are too long as well", others[..n - 1].join(" and ")),
            (n, _) =>
                format!("; {} other notes up to bar {} are too long as well", n - 1, sheet.bar(held[n - 1])),
        }
    );
    let asked = |s: &&Spot| s.kind != Kind::Unasked;
    let inner: Vec<&Spot> = taken.iter().filter(asked).collect();
    let (from, to) = (inner[0].at.min(first.note.at), inner[inner.len() - 1].at.max(last.note.end()));
    // A player who is told where to break the note wants to know that the change of note is a breath too.
    let (first_asked, last_asked) = (inner[0].at, inner[inner.len() - 1].at);
    let mut near: Vec<Spot> =
        taken.iter().copied().filter(|s| s.at >= first_asked && s.at <= last_asked).collect();
    near.retain(|s| s.kind != Kind::Unasked || inner.iter().all(|i| i.at != s.at));
    let told: Vec<Spot> =
        if near.len() - inner.len() <= NAMED_UNASKED { near } else { inner.iter().map(|s| **s).collect() };
    let turns = Turns::of(sheet, first.note.at, last.note.end());
    let severity = match () {
        () if turns.settles() => Severity::Advice,
        () if worst > BEYOND => Severity::Impossible,
        () => Severity::Hard,
    };
    let mut ways = vec![breathe(sheet, &told, false)];
    match turns {
        Turns::Nobody => ways.push(turns.said()),
        _ => ways.insert(0, turns.said()),
    }
    ways.extend(softer(sheet, breath, first));
    let care = if severity == Severity::Impossible { "lungs differ, but not by so much" } else { CARE };
    Found::new("breath", severity, sheet.desk.id(), sheet.place(from))
        .to(last_bar(sheet, to).max(sheet.place(inner[inner.len() - 1].at).bar))
        .says(capital(&message))
        .remedy(capital(&format!("{}; {care}", ways.join("; or "))))
}

/// Playing without the time for a full breath.
fn run(sheet: &Sheet<'_>, breath: &Breath, short: &Short<'_>, again: Option<i32>, asked: &[Spot]) -> Found {
    let turns = short.turns(sheet);
    // Where only ends of slurs are asked to give more time, a comma in the part is all.
    let dear = asked.iter().any(|s| s.kind > Kind::Clipped);
    let severity = if dear && !turns.settles() { Severity::Hard } else { Severity::Advice };
    let mut ways = [breathe(sheet, asked, true), turns.said()];
    if turns.settles() {
        ways.reverse();
    }
    let remedy = format!("{}; {CARE}", ways.join("; or "));
    // The note before the last place may be left early enough for the air to last to the barline.
    let found = short.found(sheet, severity, again);
    let to = asked.last().map_or(i32::MIN, |s| sheet.place(s.at).bar);
    // What is one slur from its first note to where it has to be parted is what is the matter, however much was played before it.
    if let Some(slur) = asked.first().filter(|s| matches!(s.kind, Kind::InSlur | Kind::SnatchedInSlur))
        && let Some(slurred) = slur_round(sheet, breath, slur)
        && slurred.air > 1.0
        && asked.iter().all(|s| s.at >= sheet.notes[slurred.first].note.at)
    {
        let message = format!(
            "a slur of {} at {} in {} is {} a full breath lasts there (about {})",
            said(slurred.seconds),
            sheet.notes[slurred.first].mark(),
            bars(sheet.bar(slurred.first), slurred.to_bar),
            times(slurred.air),
            said(slurred.seconds / slurred.air),
        );
        let at = sheet.place(sheet.notes[slurred.first].note.at);
        return Found::new("breath", severity, sheet.desk.id(), at)
            .to(slurred.to_bar.max(to))
            .says(capital(&message))
            .remedy(capital(&remedy));
    }
    found.at_least_to(to).remedy(capital(&remedy))
}

/// A slur, as one stretch of playing.
struct Slurred {
    /// Index of its first note.
    first: usize,
    to_bar: i32,
    seconds: f64,
    /// Full breaths that it takes.
    air: f64,
}

/// The slur that a place lies in, where nothing rests within it.
fn slur_round(sheet: &Sheet<'_>, breath: &Breath, spot: &Spot) -> Option<Slurred> {
    let voice = sheet.voices.iter().find(|v| v.contains(&spot.note))?;
    let k = voice.iter().position(|i| *i == spot.note)?;
    let joined = |a: usize, b: usize| {
        let (a, b) = (&sheet.notes[a], &sheet.notes[b]);
        a.note.slurs_on && b.note.slurred && b.from - a.to < FULL
    };
    let before = voice[..k].iter().rev().scan(spot.note, |next, i| {
        let on = joined(*i, *next);
        *next = *i;
        on.then_some(*i)
    });
    let first = before.last().unwrap_or(spot.note);
    let after = voice[k + 1..].iter().scan(spot.note, |last, i| {
        let on = joined(*last, *i);
        *last = *i;
        on.then_some(*i)
    });
    let last = after.last().unwrap_or(spot.note);
    let (from, to) = (sheet.notes[first].from, sheet.notes[last].to);
    let to_bar = last_bar(sheet, sheet.notes[last].note.end());
    (first != last).then(|| Slurred {
        first,
        to_bar,
        seconds: to - from,
        air: takes(sheet, breath, from, to, 0.0),
    })
}

/// Not even commas help: only another player does, or fewer notes.
fn nowhere(sheet: &Sheet<'_>, short: &Short<'_>) -> Found {
    let remedy =
        format!("Write shorter notes or rests, or softer ones; or {}; {CARE}", short.turns(sheet).said());
    short.found(sheet, Severity::Hard, None).remedy(remedy)
}

/// Where the air runs out with nothing but the breaths that everybody takes.
struct Short<'s> {
    /// From where the lungs were last full to the place at which the air is gone.
    spots: &'s [Spot],
    /// When it is gone, seconds.
    gone: f64,
    /// There was time for quick breaths on the way.
    quick: bool,
    /// If it is one slur or note from full lungs on: the last place of it, and the breaths that it takes.
    slur: Option<(Spot, f64)>,
}

impl<'s> Short<'s> {
    fn of(spots: &'s [Spot], unasked: &[Step], stuck: usize) -> Self {
        let (first, air) = since_full(unasked, stuck);
        let last = &spots[stuck];
        let share = (air / last.step.takes.max(1e-9)).min(1.0);
        let bound = spots[first..].iter().take_while(|s| s.bound).count();
        let slur = spots.get(first + bound).or(spots.last()).filter(|_| first + bound >= stuck);
        Self {
            spots: &spots[first..=stuck],
            gone: last.from + share * (last.to - last.from),
            quick: unasked[first..stuck].iter().any(|s| s.fills > 0.0),
            slur: slur.map(|s| (*s, spots[first..].iter().take(bound + 1).map(|s| s.step.takes).sum())),
        }
    }

    /// When the lungs were last full, seconds.
    fn from(&self) -> f64 {
        self.spots[0].from
    }

    fn turns(&self, sheet: &Sheet<'_>) -> Turns {
        let (first, last) = (&self.spots[0], &self.spots[self.spots.len() - 1]);
        Turns::of(sheet, sheet.notes[first.note].note.at, sheet.notes[last.note].note.end())
    }

    /// The finding but for its remedy; `again` is the last bar in which the air runs out.
    fn found(&self, sheet: &Sheet<'_>, severity: Severity, again: Option<i32>) -> Found {
        let at = sheet.table.place(Seconds(self.from()));
        let gone = sheet.table.place(Seconds(self.gone)).bar.max(at.bar);
        let (message, to) = match &self.slur {
            Some((end, air)) => {
                let seconds = end.to - self.from();
                let to = last_bar(sheet, sheet.notes[end.note].note.end());
                let message = format!(
                    "a slur of {} {} in {} is {} a full breath lasts there (about {})",
                    said(seconds),
                    self.level(sheet),
                    bars(at.bar, to),
                    times(*air),
                    said(seconds / air)
                );
                (message, to)
            }
            None => {
                let many = gone > at.bar;
                let how = match (self.quick, many) {
                    (true, true) => "have no rest for a full breath: with quick ones the air is gone",
                    (true, false) => "has no rest for a full breath: with quick ones the air is gone",
                    (false, true) => "leave no time for a breath: the air of a full one is gone",
                    (false, false) => "leaves no time for a breath: the air of a full one is gone",
                };
                let message = format!(
                    "{} ({} {}) {how} in bar {gone}",
                    bars(at.bar, gone),
                    said(self.gone - self.from()),
                    self.level(sheet),
                );
                (message, gone)
            }
        };
        let again = again.filter(|bar| *bar > to);
        let more = again.map_or(String::new(), |bar| format!(", and again by bar {bar}"));
        Found::new("breath", severity, sheet.desk.id(), at)
            .to(again.unwrap_or(to))
            .says(capital(&format!("{message}{more}")))
    }

    /// `at ff`, `between p and f`.
    fn level(&self, sheet: &Sheet<'_>) -> String {
        let marks = self.spots.iter().map(|s| sheet.notes[s.note].mark());
        let by_level = |a: &&str, b: &&str| level_of(a).partial_cmp(&level_of(b)).unwrap_or(Ordering::Equal);
        let soft = marks.clone().min_by(by_level).unwrap_or("mf");
        match marks.max_by(by_level).unwrap_or("mf") {
            loud if loud == soft => format!("at {loud}"),
            loud => format!("between {soft} and {loud}"),
        }
    }
}

/// `bar 171`, `bars 85 to 86`.
fn bars(from: i32, to: i32) -> String {
    if to > from { format!("bars {from} to {to}") } else { format!("bar {from}") }
}

/// `2.3 times as long as`.
fn times(air: f64) -> String {
    if air < BARELY { "a little longer than".to_string() } else { format!("{air:.1} times as long as") }
}

/// The bar in which what ends here is last heard.
fn last_bar(sheet: &Sheet<'_>, end: Beats) -> i32 {
    sheet.place(end - Beats::new(1, 1000)).bar
}
