//! Who belongs together: the tune with all that double it, and other lines, by passage.

use super::balance::Balance;
use super::slots::Sound;
use super::unmarked::Unmarked;
use crate::Table;
use ripieno_music::{Reading, Role};
use ripieno_units::Beats;
use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;

/// Notes that begin within so many seconds are struck together: players stray by some 30 ms (methods 1.4, asynchrony).
const TOGETHER: f64 = 0.060;
/// And one sound for the ear where they stay so for so many seconds: less is a chord that touches the line in passing. Own choice.
const HELD_WITH: f64 = 4.0;

/// A doubling that has less of its notes with its leader does something else.
const WITH: f64 = 0.5;

/// Which note of a chair that sounds several at once is its line.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Edge {
    /// The highest.
    Top,
    /// The lowest.
    Bottom,
}

/// A line and who plays it.
#[derive(Clone, Debug, PartialEq)]
pub struct Group {
    /// The desk that has it.
    pub lead: usize,
    /// Desks that play it too, in unison or octaves.
    pub with: Vec<usize>,
    /// Its note where the leader has several.
    pub edge: Edge,
}

impl Group {
    /// One of those who have it?
    pub fn holds(&self, desk: usize) -> bool {
        desk == self.lead || self.with.contains(&desk)
    }

    /// Desks that are not of the group and have a note of the line in unison, struck together with it.
    fn beside(&self, list: &[Sound]) -> BTreeSet<usize> {
        let members = self.members(list);
        let lead = list.iter().zip(&members).filter(|(s, m)| **m && usize::from(s.desk) == self.lead);
        let line: Vec<&Sound> = lead.map(|l| l.0).filter(|s| s.key > 0).collect();
        let one = |s: &&Sound| {
            let begun = |s: &Sound| s.from - s.age;
            line.iter().any(|l| l.key == s.key && (begun(l) - begun(s)).abs() < TOGETHER)
        };
        list.iter().filter(one).map(|s| usize::from(s.desk)).filter(|desk| !self.holds(*desk)).collect()
    }

    /// Which sounds of a slot are the line: the leader's outer notes, and whatever the others have of the same names.
    pub fn members(&self, list: &[Sound]) -> Vec<bool> {
        let lead = |s: &&Sound| usize::from(s.desk) == self.lead;
        let own: Vec<&Sound> = list.iter().filter(lead).collect();
        let outer = |s: &Sound| {
            !own.iter().any(|o| {
                let overlap = o.to.min(s.to) - o.from.max(s.from);
                let beyond = if self.edge == Edge::Top { o.key > s.key } else { o.key < s.key };
                beyond && overlap > 0.5 * (s.to - s.from)
            })
        };
        let mut names = 0_u16;
        for sound in own.iter().filter(|s| s.key > 0 && outer(s)) {
            names |= 1 << (sound.key % 12);
        }
        list.iter()
            .map(|s| {
                let desk = usize::from(s.desk);
                if desk == self.lead && (s.key == 0 || outer(s)) {
                    return true;
                }
                self.holds(desk) && s.key > 0 && names & (1 << (s.key % 12)) != 0
            })
            .collect()
    }
}

/// A line through one passage.
#[derive(Clone, Debug)]
pub struct Stretch {
    /// Index of the passage in [`Passages`].
    pub passage: usize,
    /// Slots in which it sounds, with those who play it there.
    pub slots: Vec<(usize, Arc<Group>)>,
}

impl Stretch {
    /// Takes in those who hold the line's own note with it for long, though they double it nowhere else: what is one sound
    /// covers nothing.
    fn with_held(mut self, balance: &Balance<'_>) -> Self {
        let beside: Vec<BTreeSet<usize>> =
            self.slots.iter().map(|(k, group)| group.beside(&balance.sounds.slots[*k])).collect();
        let desks: BTreeSet<usize> = beside.iter().flatten().copied().collect();
        for desk in desks {
            let mut i = 0;
            while i < self.slots.len() {
                let mut end = i;
                while end < self.slots.len()
                    && beside[end].contains(&desk)
                    && self.slots[end].0 == self.slots[i].0 + (end - i)
                {
                    end += 1;
                }
                let seconds: f64 = self.slots[i..end].iter().map(|s| balance.slots[s.0].length()).sum();
                if seconds >= HELD_WITH {
                    for (_, group) in &mut self.slots[i..end] {
                        let mut joined = (**group).clone();
                        joined.with.push(desk);
                        joined.with.sort_unstable();
                        *group = Arc::new(joined);
                    }
                }
                i = end.max(i + 1);
            }
        }
        self
    }

    /// The desk that has it.
    pub fn lead(&self) -> usize {
        self.slots.first().map_or(0, |s| s.1.lead)
    }

    /// Everyone who plays it anywhere in it.
    pub fn everyone(&self) -> Vec<usize> {
        let mut all: Vec<usize> = vec![self.lead()];
        for (_, group) in &self.slots {
            all.extend(group.with.iter().copied());
        }
        all.sort_unstable();
        all.dedup();
        all
    }
}

/// A passage by its bars.
#[derive(Clone, Debug, PartialEq)]
pub struct Span {
    /// Its name.
    pub name: String,
    /// First bar.
    pub from_bar: i32,
    /// Last bar, inclusive.
    pub to_bar: i32,
}

/// The passages of the plan; where it has none, those that were found.
pub fn passages(table: &Table<'_>, reading: &Reading) -> Vec<Span> {
    if table.plan.passages.is_empty() {
        let found = reading.passages.iter();
        return found
            .map(|p| Span { name: p.name.clone(), from_bar: p.from_bar, to_bar: p.to_bar })
            .collect();
    }
    let planned = table.plan.passages.iter();
    planned.map(|p| Span { name: p.name.clone(), from_bar: p.from_bar, to_bar: p.to_bar }).collect()
}

/// Lines of the cue.
#[derive(Debug)]
pub struct Lines<'a> {
    reading: &'a Reading,
    /// Passages, in order.
    pub passages: Vec<Span>,
    /// For each slot, the passage that it lies in.
    pub passage_of: Vec<Option<usize>>,
    /// For each slot, whether balance is judged there.
    judged: Vec<bool>,
    /// For each desk, the lines of its cells.
    cells: Vec<Vec<(Beats, Beats, &'a str)>>,
    /// For each of these, what its name says that it is.
    roles: Vec<Vec<Option<Role>>>,
}

impl<'a> Lines<'a> {
    /// Of a cue, with the stretches in which nothing is said of balance.
    pub fn new(balance: &Balance<'a>, reading: &'a Reading, unmarked: &[Unmarked]) -> Self {
        let passages = passages(balance.table, reading);
        let passage_of = (0..balance.slots.len())
            .map(|k| {
                let bar = balance.bar(k);
                passages.iter().position(|p| p.from_bar <= bar && bar <= p.to_bar)
            })
            .collect();
        let judged = (0..balance.slots.len())
            .map(|k| {
                let bar = balance.bar(k);
                !unmarked.iter().any(|u| u.from_bar <= bar && bar <= u.to_bar)
            })
            .collect();
        let cells = balance
            .table
            .desks
            .iter()
            .map(|d| {
                let cells = d.part.cells.iter();
                cells.filter_map(|c| Some((c.from, c.to, c.line.as_deref()?))).collect()
            })
            .collect::<Vec<Vec<(Beats, Beats, &str)>>>();
        let mut known: BTreeMap<&str, Option<Role>> = BTreeMap::new();
        let mut role =
            |cell: &(Beats, Beats, &'a str)| *known.entry(cell.2).or_insert_with(|| Role::of_line(cell.2));
        let roles = cells.iter().map(|all| all.iter().map(&mut role).collect()).collect();
        Self { reading, passages, passage_of, judged, cells, roles }
    }

    fn line(&self, desk: usize, at: Beats) -> Option<&'a str> {
        self.cells.get(desk)?.iter().find(|c| c.0 <= at && at < c.1).map(|c| c.2)
    }

    /// What the plan calls the line that a desk has, where its name says that.
    fn named(&self, desk: usize, at: Beats) -> Option<Role> {
        let roles = self.roles.get(desk)?;
        // Most plans name no line so that it says what it is.
        roles.iter().any(Option::is_some).then_some(())?;
        let cell = self.cells.get(desk)?.iter().position(|c| c.0 <= at && at < c.1)?;
        roles.get(cell).copied().flatten()
    }

    /// Has a desk a line of its own, tune, counter-melody or bass, in some of these slots? Nobody leaves that out for another's sake.
    pub fn carries(&self, balance: &Balance<'_>, desk: usize, slots: &[(usize, Arc<Group>)]) -> bool {
        let own = |role| matches!(role, Some(Role::Tune | Role::Counter | Role::Bass));
        slots.iter().any(|(k, _)| own(self.role(balance, desk, *k)))
    }

    /// What a desk does in a slot: by the name of its line, else as it was found.
    pub fn role(&self, balance: &Balance<'_>, desk: usize, k: usize) -> Option<Role> {
        let bar = balance.bar(k);
        let found = || {
            let here = self.reading.passages.iter().find(|p| p.from_bar <= bar && bar <= p.to_bar)?;
            here.roles.get(desk).map(|r| r.role)
        };
        self.named(desk, balance.slots[k].middle).or_else(found)
    }

    /// Is balance judged in a slot?
    pub fn judged(&self, k: usize) -> bool {
        self.judged.get(k).copied().unwrap_or(true)
    }

    /// The desks that have the tune of a stretch's passage for most of it, whoever has it in the stretch.
    pub fn led_by(&self, balance: &Balance<'_>, stretch: &Stretch) -> BTreeSet<usize> {
        let bars = stretch.slots.iter().map(|(k, _)| balance.bar(*k));
        let (Some(from), Some(to)) = (bars.clone().min(), bars.max()) else { return BTreeSet::new() };
        let here = self.reading.passages.iter().filter(|p| p.from_bar <= to && from <= p.to_bar);
        let tune = here.flat_map(|p| p.roles.iter().enumerate().filter(|(_, r)| r.role == Role::Tune));
        tune.map(|(desk, _)| desk).filter(|desk| *desk != stretch.lead()).collect()
    }

    /// Who plays with a desk in a bar, at a time.
    pub fn group(&self, lead: usize, bar: i32, at: Beats, edge: Edge) -> Group {
        let active = || {
            self.reading.doublings.iter().filter(move |d| {
                d.from_bar <= bar && bar <= d.to_bar && d.semitones % 12 == 0 && d.share >= WITH
            })
        };
        let leader = active().find(|d| d.track == lead).map_or(lead, |d| d.of);
        let mut with: Vec<usize> = active().filter(|d| d.of == leader).map(|d| d.track).collect();
        with.push(leader);
        if let Some(line) = self.line(lead, at) {
            with.extend((0..self.cells.len()).filter(|d| self.line(*d, at) == Some(line)));
        }
        with.sort_unstable();
        with.dedup();
        with.retain(|d| *d != lead && *d < self.cells.len());
        Group { lead, with, edge }
    }

    /// The tune, by passage and by who has it: a line that the plan calls so, else the one that was found. Where a passage has
    /// a line of such a name no other is its tune, and what the plan calls a chord, a bass or a figure is none.
    pub fn tune(&self, balance: &Balance<'_>) -> Vec<Stretch> {
        let named: Vec<Option<usize>> = (balance.slots.iter().zip(&balance.sounds.slots))
            .map(|(slot, sounds)| {
                let desks = sounds.iter().map(|s| usize::from(s.desk));
                desks.filter(|desk| self.named(*desk, slot.middle) == Some(Role::Tune)).min()
            })
            .collect();
        let of_names: BTreeSet<usize> =
            (0..named.len()).filter(|k| named[*k].is_some()).filter_map(|k| self.passage_of[k]).collect();
        let mut spans = self.reading.tune.iter().filter(|s| s.track < self.cells.len()).peekable();
        let mut found: BTreeMap<(usize, usize), Stretch> = BTreeMap::new();
        for (k, slot) in balance.slots.iter().enumerate() {
            while spans.peek().is_some_and(|s| s.to <= slot.middle) {
                spans.next();
            }
            let read = spans.peek().filter(|s| s.from <= slot.middle).map(|s| s.track);
            let role = |desk: usize| self.named(desk, slot.middle);
            let lead = match (read, named[k]) {
                (Some(desk), Some(_)) if role(desk) == Some(Role::Tune) => desk,
                (_, Some(desk)) => desk,
                (Some(desk), None) if role(desk).is_none() => desk,
                _ => continue,
            };
            if named[k].is_some() || self.passage_of[k].is_none_or(|p| !of_names.contains(&p)) {
                self.put(&mut found, balance, k, lead, Edge::Top);
            }
        }
        found.into_values().map(|s| s.with_held(balance)).collect()
    }

    /// Lines with a role, by passage; those that double each other as one.
    pub fn with_role(&self, balance: &Balance<'_>, role: Role) -> Vec<Stretch> {
        let edge = if role == Role::Bass { Edge::Bottom } else { Edge::Top };
        let mut found: BTreeMap<(usize, usize), Stretch> = BTreeMap::new();
        let mut reading = self.reading.passages.iter().peekable();
        for (k, slot) in balance.slots.iter().enumerate() {
            let bar = balance.bar(k);
            while reading.peek().is_some_and(|p| p.to_bar < bar) {
                reading.next();
            }
            let Some(passage) = reading.peek().filter(|p| p.from_bar <= bar) else { continue };
            let mut taken: Vec<usize> = Vec::new();
            for (desk, found_role) in passage.roles.iter().enumerate().take(self.cells.len()) {
                let is = self.named(desk, slot.middle).unwrap_or(found_role.role);
                if is != role || taken.contains(&desk) {
                    continue;
                }
                let group = self.group(desk, bar, slot.middle, edge);
                taken.extend(group.with.iter().copied());
                self.put(&mut found, balance, k, desk, edge);
            }
        }
        found.into_values().map(|s| s.with_held(balance)).collect()
    }

    fn put(
        &self,
        into: &mut BTreeMap<(usize, usize), Stretch>,
        balance: &Balance<'_>,
        k: usize,
        lead: usize,
        edge: Edge,
    ) {
        let Some(passage) = self.passage_of.get(k).copied().flatten().filter(|_| self.judged(k)) else {
            return;
        };
        if !balance.sounds.slots[k].iter().any(|s| usize::from(s.desk) == lead) {
            return;
        }
        let stretch = into.entry((passage, lead)).or_insert_with(|| Stretch { passage, slots: Vec::new() });
        let group = self.group(lead, balance.bar(k), balance.slots[k].middle, edge);
        let group = match stretch.slots.last() {
            Some((_, last)) if **last == group => last.clone(),
            _ => Arc::new(group),
        };
        stretch.slots.push((k, group));
    }
}
