//! The sum of it all at the listener, and what is left of some chairs beside the others; with changes tried.

use super::ear::Ear;
use super::slots::{Slot, Sound, Sounds, mean_decay, slots, sounds};
use super::{Spectra, lines::Group};
use crate::Table;
use rayon::prelude::*;
use ripieno_hearing::{Heard, Pattern, heard};
use ripieno_units::math::pow;
use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;

/// Reverberation that has fallen by this many dB no longer masks what matters.
const FORGOTTEN: f64 = 30.0;
/// Less than this of a slot, in seconds, is no note to be judged.
const BRIEF: f64 = 0.05;

/// Changes to try, by desk.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Mods {
    /// Louder or softer by so many dB.
    pub shift: BTreeMap<usize, f64>,
    /// Silent.
    pub out: BTreeSet<usize>,
    /// Moved by semitones.
    pub octave: BTreeMap<usize, i16>,
    /// Desks that rest and now play with the group, at so many semitones from its leader, at a level in dB re mf.
    pub join: Vec<(usize, i16, f64)>,
}

impl Mods {
    /// The part of a desk's power that is gone.
    fn less(&self, desk: usize) -> f64 {
        if self.out.contains(&desk) {
            1.0
        } else {
            self.shift.get(&desk).map_or(0.0, |shift| 1.0 - pow(10.0, shift / 10.0))
        }
    }

    fn touches(&self, desk: usize) -> bool {
        self.out.contains(&desk) || self.shift.contains_key(&desk) || self.octave.contains_key(&desk)
    }
}

/// The group and everything else in a slot as it is played: what changes are tried on.
#[derive(Clone, Debug)]
pub struct Mixture {
    signal: Pattern,
    masker: Pattern,
    members: Vec<bool>,
    spans: Vec<(f64, f64)>,
    seconds: f64,
}

impl Mixture {
    /// Part of the group's time in which a sound sounds.
    fn share(&self, sound: &Sound) -> f64 {
        share(sound, &self.spans, self.seconds)
    }
}

/// All that is heard.
#[derive(Debug)]
pub struct Balance<'a> {
    /// Who plays.
    pub table: &'a Table<'a>,
    /// When.
    pub slots: Vec<Slot>,
    /// What.
    pub sounds: Sounds,
    /// By whom it is heard.
    pub ear: Ear<'a>,
    /// Everything that sounds in each slot, its reverberation included.
    pub totals: Vec<Pattern>,
    /// The pattern of each sound as it is played, slot by slot, and the power to multiply it with.
    told: Vec<Vec<(Arc<Pattern>, f64)>>,
    /// Reverberation of what was before, at the start of each slot.
    state: Vec<Pattern>,
    /// Its time in seconds; 0 for none.
    reverberation: f64,
    /// What is left of it after each slot, and on average within it.
    decays: Vec<(f64, f64)>,
    /// Part of the sound of each desk that comes late.
    lates: Vec<f64>,
}

impl<'a> Balance<'a> {
    /// Listens to the whole cue once.
    pub fn new(table: &'a Table<'a>, spectra: &'a dyn Spectra) -> Self {
        let slots = slots(table);
        let sounds = sounds(table, &slots);
        let ear = Ear::new(table, spectra, &sounds);
        let told = sounds.slots.par_iter().map(|s| s.iter().map(|s| ear.pattern(s, 0.0)).collect()).collect();
        let times: Vec<f64> =
            table.desks.iter().map(|d| d.room.reverberation).filter(|t| t.is_finite() && *t > 0.05).collect();
        let reverberation =
            if times.is_empty() { 0.0 } else { times.iter().sum::<f64>() / times.len() as f64 };
        let decays = slots.iter().map(|s| decay(reverberation, s.length())).collect();
        let lates = table.desks.iter().map(|d| late(reverberation, d.room.late_db)).collect();
        let (totals, state) = (Vec::new(), Vec::new());
        let mut balance =
            Self { table, slots, sounds, ear, totals, told, state, reverberation, decays, lates };
        let parts: Vec<(Pattern, Pattern)> =
            (0..balance.slots.len()).into_par_iter().map(|k| balance.dry_and_wet(k)).collect();
        let mut state = Pattern::zero(&balance.ear.scale);
        for (k, (mut dry, wet)) in parts.into_iter().enumerate() {
            balance.state.push(state.clone());
            let (after, mean) = balance.decays[k];
            dry.add_scaled(&state, mean);
            balance.totals.push(dry);
            let mut next = Pattern::zero(&balance.ear.scale);
            next.add_scaled(&state, after);
            next.add_scaled(&wet, 1.0 - after);
            state = next;
        }
        balance
    }

    fn late(&self, desk: usize) -> f64 {
        self.lates.get(desk).copied().unwrap_or(0.0)
    }

    /// Mean over the slot of what comes at once, and of what will reverberate.
    fn dry_and_wet(&self, k: usize) -> (Pattern, Pattern) {
        let (mut dry, mut wet) = (Pattern::zero(&self.ear.scale), Pattern::zero(&self.ear.scale));
        let (_, mean) = self.decays[k];
        let length = self.slots[k].length();
        for (sound, (pattern, power)) in self.sounds.slots[k].iter().zip(&self.told[k]) {
            let power = power * (sound.to - sound.from) / length;
            let late = self.late(sound.desk.into());
            dry.add_scaled(pattern, power * (1.0 - late * mean));
            wet.add_scaled(pattern, power * late);
        }
        (dry, wet)
    }

    /// The sound as changed, with the shift of its level; `None` where it is silent.
    pub fn altered(&self, sound: &Sound, mods: &Mods) -> Option<(Sound, f64)> {
        let desk = usize::from(sound.desk);
        if mods.out.contains(&desk) {
            return None;
        }
        let mut sound = *sound;
        if let Some(semitones) = mods.octave.get(&desk).filter(|_| sound.key > 0) {
            let key = (i16::from(sound.key) + semitones).clamp(1, 127) as u8;
            (sound.key, sound.voice.key) = (key, key);
        }
        Some((sound, mods.shift.get(&desk).copied().unwrap_or(0.0)))
    }

    /// The group and everything else as they are played in slot `k`.
    pub fn as_played(&self, k: usize, group: &Group) -> Option<Mixture> {
        self.whole(k, group, &Mods::default())
    }

    /// The group and everything else, averaged over the time in which the group sounds in slot `k`.
    pub fn mixture(&self, k: usize, group: &Group, mods: &Mods) -> Option<(Pattern, Pattern)> {
        self.whole(k, group, mods).map(|m| (m.signal, m.masker))
    }

    /// What a mixture becomes by changes: the same as [`Self::mixture`], by what is touched alone.
    pub(super) fn changed(
        &self,
        k: usize,
        group: &Group,
        base: &Mixture,
        mods: &Mods,
    ) -> Option<(Pattern, Pattern)> {
        if mods.out.iter().any(|desk| group.holds(*desk)) {
            // The group sounds for another time.
            return self.mixture(k, group, mods);
        }
        let (_, mean) = self.decays[k];
        let (mut signal, mut masker) = (base.signal.clone(), base.masker.clone());
        let mut gone = Pattern::zero(&self.ear.scale);
        let list = self.sounds.slots[k].iter().zip(&base.members).zip(&self.told[k]);
        for ((sound, member), told) in list.filter(|((s, _), _)| mods.touches(s.desk.into())) {
            let share = base.share(sound);
            if share <= 0.0 {
                continue;
            }
            let now = self.altered(sound, mods).map(|(sound, shift)| self.ear.pattern(&sound, shift));
            if *member {
                let mut before = Pattern::zero(&self.ear.scale);
                before.add_scaled(&told.0, told.1 * share);
                signal.subtract(&before);
                if let Some((pattern, power)) = now {
                    signal.add_scaled(&pattern, power * share);
                }
            } else {
                let early = share * (1.0 - self.late(sound.desk.into()) * mean);
                gone.add_scaled(&told.0, told.1 * early);
                if let Some((pattern, power)) = now {
                    masker.add_scaled(&pattern, power * early);
                }
            }
        }
        self.join(k, group, mods, base.seconds, &mut signal);
        let less = |desk: usize| if group.holds(desk) { 0.0 } else { mods.less(desk) };
        if let Some(own) = self.reverberation_of(k, less) {
            gone.add_scaled(&own, mean);
        }
        masker.subtract(&gone);
        Some((signal, masker))
    }

    fn whole(&self, k: usize, group: &Group, mods: &Mods) -> Option<Mixture> {
        let list = self.sounds.slots.get(k)?;
        let members = group.members(list);
        let spans: Vec<(f64, f64)> = list
            .iter()
            .zip(&members)
            .filter(|(s, m)| **m && !mods.out.contains(&usize::from(s.desk)))
            .map(|(s, _)| (s.from, s.to))
            .collect();
        let spans = union(spans);
        let seconds: f64 = spans.iter().map(|s| s.1 - s.0).sum();
        if seconds < BRIEF {
            return None;
        }
        let (_, mean) = self.decays[k];
        let (mut signal, mut masker) = (Pattern::zero(&self.ear.scale), Pattern::zero(&self.ear.scale));
        for ((sound, member), told) in list.iter().zip(&members).zip(&self.told[k]) {
            let share = share(sound, &spans, seconds);
            if share <= 0.0 {
                continue;
            }
            let changed;
            let (pattern, power) = if mods.touches(sound.desk.into()) {
                let Some((sound, shift)) = self.altered(sound, mods) else { continue };
                changed = self.ear.pattern(&sound, shift);
                &changed
            } else {
                told
            };
            if *member {
                signal.add_scaled(pattern, power * share);
            } else {
                let late = self.late(sound.desk.into());
                masker.add_scaled(pattern, power * share * (1.0 - late * mean));
            }
        }
        self.join(k, group, mods, seconds, &mut signal);
        masker.add_scaled(&self.state[k], mean);
        let own = self.reverberation_of(k, |desk| if group.holds(desk) { 1.0 } else { mods.less(desk) });
        if let Some(own) = own {
            let mut part = Pattern::zero(&self.ear.scale);
            part.add_scaled(&own, mean);
            masker.subtract(&part);
        }
        Some(Mixture { signal, masker, members, spans, seconds })
    }

    /// Adds what resting desks would play with the group.
    fn join(&self, k: usize, group: &Group, mods: &Mods, seconds: f64, signal: &mut Pattern) {
        for &(desk, semitones, level) in &mods.join {
            for sound in self.joined(k, group, desk, semitones, level) {
                let (pattern, power) = self.ear.pattern(&sound, 0.0);
                signal.add_scaled(&pattern, power * (sound.to - sound.from) / seconds);
            }
        }
    }

    /// What a resting desk would play with the group.
    fn joined(&self, k: usize, group: &Group, desk: usize, semitones: i16, level: f64) -> Vec<Sound> {
        let Some(d) = self.table.desks.get(desk) else { return Vec::new() };
        let first = self.table.desks.iter().position(|o| o.instrument.id == d.instrument.id).unwrap_or(desk);
        let list = &self.sounds.slots[k];
        let members = group.members(list);
        let lead = list.iter().zip(members).filter(|(s, m)| *m && usize::from(s.desk) == group.lead);
        let mut out = Vec::new();
        for (sound, _) in lead {
            let key = (i16::from(sound.key) + semitones).clamp(1, 127) as u8;
            let mut joined = *sound;
            joined.desk = u16::try_from(desk).unwrap_or(0);
            joined.key = key;
            joined.voice.instrument = u16::try_from(first).unwrap_or(0);
            (joined.voice.key, joined.voice.stroke, joined.voice.colour) = (key, 0, None);
            joined.level = level;
            joined.players = d.players;
            joined.gain = 10.0 * ripieno_units::math::log10(f64::from(d.players.max(1)));
            joined.plucked = false;
            out.push(joined);
        }
        out
    }

    /// Reverberation at the start of slot `k` of what some desks played before, each times its share.
    fn reverberation_of(&self, k: usize, share: impl Fn(usize) -> f64) -> Option<Pattern> {
        if self.reverberation <= 0.0 {
            return None;
        }
        let shares: Vec<f64> = (0..self.table.desks.len()).map(|d| share(d) * self.late(d)).collect();
        let mut out = Pattern::zero(&self.ear.scale);
        let mut left = 1.0;
        let forgotten = pow(10.0, -FORGOTTEN / 10.0);
        for j in (0..k).rev() {
            let (after, _) = self.decays[j];
            for (sound, (pattern, power)) in self.sounds.slots[j].iter().zip(&self.told[j]) {
                let share = shares.get(usize::from(sound.desk)).copied().unwrap_or(0.0);
                if share.abs() < 1e-12 {
                    continue;
                }
                let part = (sound.to - sound.from) / self.slots[j].length();
                out.add_scaled(pattern, share * power * part * (1.0 - after) * left);
            }
            left *= after;
            if left < forgotten {
                break;
            }
        }
        Some(out)
    }

    /// How the group is heard in slot `k`; `None` where it does not sound.
    pub fn heard(&self, k: usize, group: &Group, mods: &Mods) -> Option<Heard> {
        let (signal, masker) = self.mixture(k, group, mods)?;
        Some(heard(&self.ear.scale, &signal, &masker))
    }

    /// The same by what the changes touch in the mixture as it is played.
    pub fn heard_changed(&self, k: usize, group: &Group, base: &Mixture, mods: &Mods) -> Option<Heard> {
        let (signal, masker) = self.changed(k, group, base, mods)?;
        Some(heard(&self.ear.scale, &signal, &masker))
    }

    /// Number of the bar that a slot lies in.
    pub fn bar(&self, k: usize) -> i32 {
        self.slots.get(k).and_then(|s| self.table.timeline.bars.get(s.bar)).map_or(0, |b| b.number)
    }
}

/// Part of the time of some spans in which a sound sounds.
fn share(sound: &Sound, spans: &[(f64, f64)], seconds: f64) -> f64 {
    spans.iter().map(|s| (sound.to.min(s.1) - sound.from.max(s.0)).max(0.0)).sum::<f64>() / seconds
}

/// What is left of reverberation after so many seconds, and on average within them.
fn decay(reverberation: f64, length: f64) -> (f64, f64) {
    if reverberation <= 0.0 {
        return (0.0, 0.0);
    }
    (pow(10.0, -6.0 * length / reverberation), mean_decay(reverberation, 0.0, length))
}

/// Part of a desk's sound that comes late, of so many dB.
fn late(reverberation: f64, decibels: f64) -> f64 {
    if reverberation <= 0.0 || !decibels.is_finite() {
        return 0.0;
    }
    pow(10.0, decibels / 10.0).min(1.0)
}

/// Spans in order, those that touch as one.
fn union(mut spans: Vec<(f64, f64)>) -> Vec<(f64, f64)> {
    spans.sort_by(|a, b| a.0.total_cmp(&b.0));
    let mut out: Vec<(f64, f64)> = Vec::with_capacity(spans.len());
    for span in spans {
        match out.last_mut() {
            Some(last) if span.0 <= last.1 => last.1 = last.1.max(span.1),
            _ => out.push(span),
        }
    }
    out
}
