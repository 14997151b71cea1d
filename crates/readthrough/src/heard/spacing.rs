//! How notes lie: mud below, holes in the middle, the tune crossed by its own colour.

use super::balance::{Balance, Mods};
use super::cells;
use super::covered::list;
use super::ear::LEVEL_STEP;
use super::lines::{Lines, Stretch};
use super::slots::{Sound, Voice};
use crate::Found;
use crate::phrase::may_move;
use ripieno_hearing::roughness;
use ripieno_music::{Change, Finding, Severity, key_name};
use ripieno_units::quick;
use std::cell::RefCell;
use std::collections::{BTreeMap, BTreeSet};
use std::rc::Rc;

/// Where the low-interval limit for thirds lies, as a root (C3), and how wide the third is: two notes that are rougher than the
/// same two sounds would be as that third are muddy (limits after Piston and Adler, from memory: instruments note 10.2).
const LIMIT: (u8, u8) = (48, 4);
/// Rougher by this factor: the limit is said as C3 to E3.
const ROUGHER: f64 = 1.15;
/// Intervals that are meant: from a minor third (seconds are dissonant anywhere) to a major sixth.
const INTERVALS: std::ops::RangeInclusive<u8> = 3..=9;
/// A note this much weaker than the other, dB, does not muddy it.
const WEAKER: f64 = 15.0;
/// Passages are muddy, or have a hole, from so many seconds and this share of their time (own choice).
const MUDDY: (f64, f64) = (2.0, 0.2);
const HOLLOW: (f64, f64) = (4.0, 0.4);
/// "No wide empty interval between outer and inner parts in forte", the bass rarely more than an octave from the next part
/// (Rimsky-Korsakov): more than an octave and a fifth over the bass, more than an octave and a fourth above.
const GAP_OVER_BASS: u8 = 19;
const GAP: u8 = 17;
/// From mf on towards f, dB re mf.
const LOUD: f64 = 2.5;
/// A crossing is heard if the chair above is at most so much softer than the tune, dB, for this share of its time.
const CROSSING: (f64, f64, f64) = (3.0, 0.25, 2.0);

/// Seconds by what is found: the chairs and keys that make it.
type Places = BTreeMap<(usize, usize, u8, u8), f64>;

/// Two voices at levels in steps, and dB from the lower to the higher.
type Pair = (Voice, Voice, (i16, i16), i32);

/// Frequency in hertz and dB.
type Partials = Rc<[(f64, f64)]>;

/// Roughness is asked for the same pairs again and again.
pub struct Spacing<'a, 'b> {
    balance: &'b Balance<'a>,
    rough: RefCell<BTreeMap<Pair, bool>>,
    partials: RefCell<BTreeMap<(Voice, i16), Partials>>,
}

/// Mud and holes of every passage, crossings of the tune.
pub fn check(balance: &Balance<'_>, lines: &Lines<'_>) -> Vec<Finding> {
    let spacing =
        Spacing { balance, rough: RefCell::new(BTreeMap::new()), partials: RefCell::new(BTreeMap::new()) };
    let tune = lines.tune(balance);
    let mut by_passage: Vec<Vec<usize>> = vec![Vec::new(); lines.passages.len()];
    for (k, passage) in lines.passage_of.iter().enumerate() {
        if let Some(list) = passage.and_then(|p| by_passage.get_mut(p)) {
            list.push(k);
        }
    }
    let mut out = Vec::new();
    for (passage, slots) in by_passage.iter().enumerate() {
        let tunes: Vec<usize> =
            tune.iter().filter(|s| s.passage == passage).flat_map(|s| s.everyone()).collect();
        out.extend(spacing.mud(slots, &tunes));
        out.extend(spacing.hole(slots, &tunes));
    }
    for stretch in &tune {
        out.extend(spacing.crossing(stretch, lines));
    }
    out
}

impl Spacing<'_, '_> {
    fn seconds(&self, slots: &[usize]) -> f64 {
        let sounding = slots.iter().filter(|k| !self.balance.sounds.slots[**k].is_empty());
        sounding.map(|k| self.balance.slots[*k].length()).sum()
    }

    /// Distinct keys of a slot from low to high, each with its strongest sound, as changed.
    fn chord(&self, k: usize, mods: &Mods) -> Vec<Sound> {
        let mut by_key: BTreeMap<u8, Sound> = BTreeMap::new();
        for sound in &self.balance.sounds.slots[k] {
            let Some((mut sound, shift)) = self.balance.altered(sound, mods) else { continue };
            sound.level += shift;
            if sound.key == 0 {
                continue;
            }
            let strength = |s: &Sound| s.level + s.gain;
            let kept = by_key.entry(sound.key).or_insert(sound);
            if strength(&sound) > strength(kept) {
                *kept = sound;
            }
        }
        by_key.into_values().collect()
    }

    /// The partials that count of a voice at a level in steps: those that stand above the faint ones.
    fn partials(&self, voice: Voice, step: i16) -> Partials {
        if let Some(found) = self.partials.borrow().get(&(voice, step)) {
            return found.clone();
        }
        let told = self.balance.ear.spectrum(voice, step);
        let loudest = told.components.iter().map(|p| p.1).fold(f64::MIN, f64::max);
        let parts: Partials = told.components.iter().copied().filter(|p| p.1 > loudest - 40.0).collect();
        self.partials.borrow_mut().insert((voice, step), parts.clone());
        parts
    }

    fn is_rough(&self, low: &Sound, high: &Sound) -> bool {
        let step = |sound: &Sound| (sound.level / LEVEL_STEP).round() as i16;
        let steps = (step(low), step(high));
        let difference = (high.level + high.gain - low.level - low.gain).round() as i32;
        let key = (low.voice, high.voice, steps, difference);
        if let Some(found) = self.rough.borrow().get(&key) {
            return *found;
        }
        // The spectra are told at whole steps; the lower sound stays at its own, the higher stands beside it as played.
        let raised = f64::from(difference) - LEVEL_STEP * f64::from(steps.1 - steps.0);
        let pair = |low_key: u8, high_key: u8| {
            let a = self.partials(Voice { key: low_key, ..low.voice }, steps.0);
            let b = self.partials(Voice { key: high_key, ..high.voice }, steps.1);
            (a, b.iter().map(|p| (p.0, p.1 + raised)).collect::<Vec<_>>())
        };
        let power = |parts: &[(f64, f64)]| parts.iter().map(|p| quick::ratio(p.1)).sum::<f64>().max(1e-30);
        let (a, b) = pair(low.key, high.key);
        let weaker = quick::decibels(power(&a) / power(&b)).abs();
        let found = weaker <= WEAKER && {
            // Thirds below the limit are said by the rule itself, whatever the spectra.
            let third = low.key < LIMIT.0 && (3..=LIMIT.1).contains(&(high.key.saturating_sub(low.key)));
            third || {
                let here = roughness(&a, &b);
                let (a, b) = pair(LIMIT.0, LIMIT.0 + LIMIT.1);
                here > 0.05 && here > ROUGHER * roughness(&a, &b)
            }
        };
        self.rough.borrow_mut().insert(key, found);
        found
    }

    fn muddy(&self, slots: &[usize], mods: &Mods) -> Places {
        let mut out = Places::new();
        for &k in slots {
            let chord = self.chord(k, mods);
            for pair in chord.windows(2) {
                let [low, high] = pair else { continue };
                if low.key >= LIMIT.0 + LIMIT.1 || !INTERVALS.contains(&(high.key - low.key)) {
                    continue;
                }
                let together = (low.to.min(high.to) - low.from.max(high.from)).max(0.0);
                if together > 0.1 && self.is_rough(low, high) {
                    let place = (low.desk.into(), high.desk.into(), low.key, high.key);
                    *out.entry(place).or_default() += together;
                }
            }
        }
        out
    }

    fn mud(&self, slots: &[usize], tunes: &[usize]) -> Option<Finding> {
        let all = self.seconds(slots);
        let bad = |places: &Places| {
            let sum: f64 = places.values().sum();
            sum >= MUDDY.0 && sum >= MUDDY.1 * all
        };
        let places = self.muddy(slots, &Mods::default());
        if !bad(&places) {
            return None;
        }
        let (place, _) = places.iter().max_by(|a, b| a.1.total_cmp(b.1))?;
        let (low, high, below, above) = *place;
        let table = self.balance.table;
        let name = |d: usize| table.desks.get(d).map_or("", |d| d.name()).to_string();
        let who = if low == high { name(low) } else { format!("{} and {}", name(low), name(high)) };
        let message = format!(
            "by estimate the low register is muddy for {:.0} s of {all:.0}: most of all {who} on {} and {}, rougher than the same two as a third on C3",
            places.values().sum::<f64>(),
            key_name(i16::from(below)),
            key_name(i16::from(above))
        );
        let mut options = vec![(high, 12), (low, -12)];
        options.extend(places.keys().flat_map(|p| [(p.1, 12), (p.0, -12)]));
        options.retain(|o| o.1 < 0 || !tunes.contains(&o.0));
        let fixed = |mods: &Mods| !bad(&self.muddy(slots, mods));
        self.finding("mud", Severity::Advice, slots, low, message, &options, &fixed)
    }

    fn hollow(&self, slots: &[usize], mods: &Mods) -> Places {
        let mut out = Places::new();
        for &k in slots {
            let list = &self.balance.sounds.slots[k];
            let pitched = list.iter().filter(|s| s.key > 0);
            let (mut levels, mut n, mut desks) = (0.0, 0.0, 0_u32);
            let mut last = u16::MAX;
            for sound in pitched {
                (levels, n) = (levels + sound.level, n + 1.0);
                desks += u32::from(sound.desk != last);
                last = sound.desk;
            }
            if desks < 4 || levels / n < LOUD {
                continue;
            }
            let chord = self.chord(k, mods);
            for (i, pair) in chord.windows(2).enumerate() {
                let [low, high] = pair else { continue };
                if high.key - low.key > if i == 0 { GAP_OVER_BASS } else { GAP } {
                    let place = (low.desk.into(), high.desk.into(), low.key, high.key);
                    *out.entry(place).or_default() += self.balance.slots[k].length();
                    break;
                }
            }
        }
        out
    }

    fn hole(&self, slots: &[usize], tunes: &[usize]) -> Option<Finding> {
        let all = self.seconds(slots);
        let bad = |places: &Places| {
            let sum: f64 = places.values().sum();
            sum >= HOLLOW.0 && sum >= HOLLOW.1 * all
        };
        let places = self.hollow(slots, &Mods::default());
        if !bad(&places) {
            return None;
        }
        let (place, _) = places.iter().max_by(|a, b| a.1.total_cmp(b.1))?;
        let (low, high, below, above) = *place;
        let table = self.balance.table;
        let name = |d: usize| table.desks.get(d).map_or("", |d| d.name()).to_string();
        let message = format!(
            "by estimate there is a hole for {:.0} s of {all:.0}, and it is loud: most of all nobody plays between {} ({}) and {} ({})",
            places.values().sum::<f64>(),
            key_name(i16::from(below)),
            name(low),
            key_name(i16::from(above)),
            name(high)
        );
        let mut playing: Vec<usize> =
            slots.iter().flat_map(|k| &self.balance.sounds.slots[*k]).map(|s| s.desk.into()).collect();
        playing.sort_unstable();
        playing.dedup();
        // Whoever has the bass stays, and so does the tune.
        playing.retain(|d| *d != low && !tunes.contains(d));
        let options: Vec<(usize, i16)> = playing.iter().flat_map(|d| [(*d, -12), (*d, 12)]).collect();
        let muddy: f64 = self.muddy(slots, &Mods::default()).values().sum();
        let fixed = |mods: &Mods| {
            !bad(&self.hollow(slots, mods))
                && self.muddy(slots, mods).values().sum::<f64>() <= muddy + MUDDY.0
        };
        self.finding("hole", Severity::Advice, slots, high, message, &options, &fixed)
    }

    /// Tries octaves in order and says what helps.
    #[allow(clippy::too_many_arguments)] // what a finding is made of
    fn finding(
        &self,
        rule: &'static str,
        severity: Severity,
        slots: &[usize],
        desk: usize,
        message: String,
        options: &[(usize, i16)],
        fixed: &dyn Fn(&Mods) -> bool,
    ) -> Option<Finding> {
        let table = self.balance.table;
        let (first, last) = (*slots.first()?, *slots.last()?);
        let at = table.place(ripieno_units::Seconds(self.balance.slots[first].from + 1e-6));
        let chair = table.desks.get(desk)?;
        let found = Found::new(rule, severity, chair.id(), at).to(self.balance.bar(last)).says(message);
        let mut seen: Vec<(usize, i16)> = Vec::new();
        for &(desk, semitones) in options {
            if seen.contains(&(desk, semitones)) || seen.len() >= 16 {
                continue;
            }
            seen.push((desk, semitones));
            if let Some((words, change)) = self.octave(slots, desk, semitones, fixed) {
                return Some(found.remedy(words).change(change).done());
            }
        }
        Some(found.done())
    }

    /// An octave for one chair and those who follow it, if it helps and all stay in comfort.
    fn octave(
        &self,
        slots: &[usize],
        desk: usize,
        semitones: i16,
        fixed: &dyn Fn(&Mods) -> bool,
    ) -> Option<(String, Option<Change>)> {
        let table = self.balance.table;
        let bar = self.balance.bar(*slots.first()?);
        let followers = cells::followers(table, desk, bar);
        let mut mods = Mods::default();
        for &moved in followers.iter().chain([&desk]) {
            let player = table.desks.get(moved)?;
            let range = player.instrument.comfortable?;
            if !may_move(table, player, bar) {
                return None;
            }
            let keys = slots.iter().flat_map(|k| &self.balance.sounds.slots[*k]);
            let mut keys = keys.filter(|s| usize::from(s.desk) == moved && s.key > 0);
            if !keys.all(|s| range.holds(i16::from(s.key) + semitones)) {
                return None;
            }
            mods.octave.insert(moved, semitones);
        }
        if !fixed(&mods) {
            return None;
        }
        let mut names = vec![table.desks.get(desk)?.name().to_string()];
        names.extend(followers.iter().filter_map(|f| table.desks.get(*f)).map(|d| d.name().to_string()));
        let way = if semitones > 0 { "up" } else { "down" };
        let id = table.desks.get(desk)?.id();
        // Who plays something else as well does not move with it there: what comes of that is not known.
        let whole = cells::whole_followers(table, desk, bar).len() == followers.len();
        let text = table.cell_at(id, bar).filter(|_| whole).and_then(|t| cells::with_octave(t, semitones));
        let change = text.and_then(|text| table.cell_change(id, bar, text));
        Some((format!("{} an octave {way}, which settles it", list(&names, 4)), change))
    }

    /// Seconds in which a desk of the tune's colour lies above it, and is not much softer. Who leads the passage crosses nobody.
    fn crossed(&self, stretch: &Stretch, leads: &BTreeSet<usize>, mods: &Mods) -> Places {
        let table = self.balance.table;
        let mut out = Places::new();
        let Some(lead) = table.desks.get(stretch.lead()) else { return out };
        for (k, group) in &stretch.slots {
            let list = &self.balance.sounds.slots[*k];
            let members = group.members(list);
            let mut tune: Option<Sound> = None;
            for (sound, _) in list.iter().zip(&members).filter(|(_, m)| **m) {
                if let Some((sound, _)) = self.balance.altered(sound, mods)
                    && tune.is_none_or(|t| sound.key > t.key)
                {
                    tune = Some(sound);
                }
            }
            let Some(tune) = tune.filter(|t| t.key > 0) else { continue };
            for sound in list.iter().filter(|s| !group.holds(s.desk.into())) {
                let desk = usize::from(sound.desk);
                if leads.contains(&desk) {
                    continue;
                }
                if table.desks.get(desk).is_none_or(|d| d.instrument.id != lead.instrument.id) {
                    continue;
                }
                let Some((sound, _)) = self.balance.altered(sound, mods) else { continue };
                let softer = tune.level + tune.gain - sound.level - sound.gain;
                if sound.key > tune.key && softer <= CROSSING.0 && tune.voice.colour == sound.voice.colour {
                    let place = (stretch.lead(), desk, 0, 0);
                    *out.entry(place).or_default() +=
                        (sound.to.min(tune.to) - sound.from.max(tune.from)).max(0.0);
                }
            }
        }
        out
    }

    fn crossing(&self, stretch: &Stretch, lines: &Lines<'_>) -> Option<Finding> {
        let leads = lines.led_by(self.balance, stretch);
        let slots: Vec<usize> = stretch.slots.iter().map(|s| s.0).collect();
        let all = self.seconds(&slots);
        let bad = |places: &Places| {
            places.values().any(|seconds| *seconds >= CROSSING.2 && *seconds >= CROSSING.1 * all)
        };
        let places = self.crossed(stretch, &leads, &Mods::default());
        if !bad(&places) {
            return None;
        }
        let ((lead, above, _, _), seconds) = places.iter().max_by(|a, b| a.1.total_cmp(b.1))?;
        let table = self.balance.table;
        let name = |d: usize| table.desks.get(d).map_or("", |d| d.name()).to_string();
        let message = format!(
            "by estimate {} is heard as the tune for {seconds:.0} s of {all:.0}: it lies above {} in the same colour and is as loud",
            name(*above),
            name(*lead)
        );
        let fixed = |mods: &Mods| !bad(&self.crossed(stretch, &leads, mods));
        let options = [(*above, -12), (*lead, 12)];
        self.finding("crossing", Severity::Advice, &slots, *above, message, &options, &fixed)
    }
}
