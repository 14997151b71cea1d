//! Doublings: those that add nothing, and equal colours an octave apart.

use super::balance::{Balance, Mods};
use super::cells;
use super::covered::list;
use super::ear::LEVEL_STEP;
use super::lines::{Edge, Lines};
use super::slots::Voice;
use crate::phrase::may_move;
use crate::{Desk, Found};
use rayon::prelude::*;
use ripieno_hearing::partial_loudness;
use ripieno_instruments::Family;
use ripieno_music::{Doubling, Finding, Role, Severity};
use std::collections::BTreeSet;

/// A doubling adds nothing if without it the line is as loud within this share ...
const SAME: f64 = 0.03;
/// ... and no band of it loses more than this factor of its power (1.5 dB): no colour of its own either ...
const BAND: f64 = 1.41;
/// ... among bands that are not this much weaker than the strongest (30 dB).
const WEAK: f64 = 1e-3;
/// Places looked at in a passage; findings in a passage, at most.
const LOOKED_AT: usize = 4;
const MOST: usize = 2;
/// Shorter doublings are touches of colour.
const LEAST_SECONDS: f64 = 4.0;
/// Two in octaves beat where so many of the lowest partials of the upper meet one of the lower that is as strong within so many
/// dB: of one instrument; of two.
const MEET_SAME: (usize, f64) = (2, 8.0);
const MEET_OTHER: (usize, f64) = (4, 3.0);
const PARTIALS: usize = 5;
/// Levels that count as equal, dB.
const EQUAL: f64 = 3.0;

/// Both.
pub fn check(balance: &Balance<'_>, lines: &Lines<'_>, doublings: &[Doubling]) -> Vec<Finding> {
    let mut out = Vec::new();
    for (passage, span) in lines.passages.iter().enumerate() {
        let slots: Vec<usize> = (0..balance.slots.len())
            .filter(|k| lines.passage_of.get(*k) == Some(&Some(passage)) && lines.judged(*k))
            .collect();
        let here: Vec<&Doubling> = doublings
            .iter()
            .filter(|d| d.from_bar <= span.to_bar && span.from_bar <= d.to_bar)
            .filter(|d| d.share >= 0.8 && d.semitones % 12 == 0)
            .filter(|d| d.track.max(d.of) < balance.table.desks.len())
            .collect();
        let judged: Vec<Option<(f64, &Doubling, Finding)>> = here
            .par_iter()
            .map(|d| Some((idle(balance, lines, d, &slots)?, *d)).map(|((m, f), d)| (m, d, f)))
            .collect();
        let mut idle: Vec<(f64, &Doubling, Finding)> = judged.into_iter().flatten().collect();
        idle.sort_by(|a, b| a.0.total_cmp(&b.0).then(a.1.track.cmp(&b.1.track)));
        // One of a line: each was tried with all the others playing. Where another would be as idle without it, the line is a
        // tutti, in which no single player is heard and all are meant.
        let mut told = BTreeSet::new();
        let spare = |this: &Doubling| {
            let others = here.iter().filter(|d| d.of == this.of && d.track != this.track);
            others.into_iter().all(|d| {
                let common = both(balance, d, &slots);
                !wanted(balance, lines, d, &common)
                    || share_lost(balance, lines, d, &common, &[this.track]).is_none()
            })
        };
        idle.retain(|i| told.insert(i.1.of) && spare(i.1));
        out.extend(idle.into_iter().take(MOST).map(|i| i.2));
        let mut seen = BTreeSet::new();
        for doubling in here.iter().filter(|d| d.semitones.abs() == 12) {
            if seen.insert(doubling.track.min(doubling.of)) && seen.len() <= MOST {
                out.extend(octaves(balance, lines, doubling, &slots));
            }
        }
    }
    out
}

/// Slots in which both sound within the bars of the doubling.
fn both(balance: &Balance<'_>, doubling: &Doubling, slots: &[usize]) -> Vec<usize> {
    let sounds =
        |k: &usize, desk: usize| balance.sounds.slots[*k].iter().any(|s| usize::from(s.desk) == desk);
    slots
        .iter()
        .copied()
        .filter(|k| (doubling.from_bar..=doubling.to_bar).contains(&balance.bar(*k)))
        .filter(|k| sounds(k, doubling.track) && sounds(k, doubling.of))
        .collect()
}

fn seconds(balance: &Balance<'_>, slots: &[usize]) -> f64 {
    slots.iter().map(|k| balance.slots[*k].length()).sum()
}

fn desks<'a, 'b>(balance: &'b Balance<'a>, doubling: &Doubling) -> Option<(&'b Desk<'a>, &'b Desk<'a>)> {
    Some((balance.table.desks.get(doubling.track)?, balance.table.desks.get(doubling.of)?))
}

fn idle(
    balance: &Balance<'_>,
    lines: &Lines<'_>,
    doubling: &Doubling,
    slots: &[usize],
) -> Option<(f64, Finding)> {
    let common = both(balance, doubling, slots);
    if !wanted(balance, lines, doubling, &common) {
        return None;
    }
    let most = share_lost(balance, lines, doubling, &common, &[])?;
    let (track, of) = desks(balance, doubling)?;
    let (first, last) = (*common.first()?, *common.last()?);
    let bar = balance.bar(first);
    // With those whose notes are nearest, which is where it is not missed.
    let middle = *common.get(common.len() / 2)?;
    let group = lines.group(doubling.of, balance.bar(middle), balance.slots.get(middle)?.middle, Edge::Top);
    let key = |desk: usize| {
        let sounds = balance.sounds.slots[middle].iter();
        sounds.filter(|s| usize::from(s.desk) == desk).map(|s| i16::from(s.key)).max()
    };
    let own = key(doubling.track).unwrap_or(0);
    let mut others: Vec<(i16, usize)> = [doubling.of]
        .iter()
        .chain(group.with.iter().filter(|d| **d != doubling.track && **d != doubling.of))
        .filter_map(|d| Some(((key(*d)? - own).abs(), *d)))
        .collect();
    others.sort_by_key(|o| o.0);
    let name = |d: usize| Some(balance.table.desks.get(d)?.name().to_string());
    let mut others: Vec<String> = others.into_iter().filter_map(|o| name(o.1)).collect();
    if others.is_empty() {
        others.push(of.name().to_string());
    }
    let line = list(&others, 3);
    let message = format!(
        "by estimate {} adds nothing to {line}: without it the line is as loud within {:.1} % and no part of its spectrum changes",
        track.name(),
        100.0 * most
    );
    let table = balance.table;
    let free = cells::followers(table, doubling.track, bar).is_empty();
    let whole =
        table.passage_at(bar).is_some_and(|p| doubling.from_bar <= p.from_bar && p.to_bar <= doubling.to_bar);
    let change = (free && whole && table.cell_at(track.id(), bar).is_some())
        .then(|| table.cell_change(track.id(), bar, "tacet".to_string()))
        .flatten();
    let at = table.place(ripieno_units::Seconds(balance.slots[first].from + 1e-6));
    let found = Found::new("doubling-idle", Severity::Advice, track.id(), at)
        .to(balance.bar(last))
        .says(message)
        .remedy(format!("let {} rest and keep it fresh, or give it another octave", track.name()))
        .change(change);
    Some((most, found.done()))
}

/// Is it asked at all whether a doubling adds something?
fn wanted(balance: &Balance<'_>, lines: &Lines<'_>, doubling: &Doubling, common: &[usize]) -> bool {
    // A voice among instruments is heard for its words, however loud.
    let voice = |d: usize| balance.table.desks.get(d).is_some_and(|d| d.instrument.family == Family::Voices);
    if voice(doubling.track) && !voice(doubling.of) {
        return false;
    }
    // The bass carries all that stands on it: nobody who has it is asked to rest.
    let bass = |k: &usize| lines.role(balance, doubling.track, *k) == Some(Role::Bass);
    if common.iter().any(bass) || seconds(balance, common) < LEAST_SECONDS {
        return false;
    }
    // Plucked beside bowed gives each note an edge that no steady spectrum shows.
    let plucks = |desk: usize| {
        let sounds = common.iter().flat_map(|k| &balance.sounds.slots[*k]);
        let own = sounds.filter(|s| usize::from(s.desk) == desk);
        own.fold((0, 0), |(all, plucked), s| (all + 1, plucked + usize::from(s.plucked)))
    };
    let ((all, own), (of_all, of)) = (plucks(doubling.track), plucks(doubling.of));
    (2 * own > all) == (2 * of > of_all)
}

/// How much of a line's loudness goes at the most without a doubling, while some are out already; `None` where it is missed.
fn share_lost(
    balance: &Balance<'_>,
    lines: &Lines<'_>,
    doubling: &Doubling,
    common: &[usize],
    gone: &[usize],
) -> Option<f64> {
    let scale = &balance.ear.scale;
    let step = common.len().div_ceil(LOOKED_AT).max(1);
    let before = Mods { out: gone.iter().copied().collect(), ..Mods::default() };
    let mut without = before.clone();
    without.out.insert(doubling.track);
    let mut most = 0.0_f64;
    for &k in common.iter().step_by(step) {
        let slot = balance.slots.get(k)?;
        let group = lines.group(doubling.of, balance.bar(k), slot.middle, Edge::Top);
        let (signal, masker) = balance.mixture(k, &group, &before)?;
        let (less, others) = balance.mixture(k, &group, &without)?;
        let strongest = signal.bands().iter().copied().fold(0.0, f64::max);
        let coloured = signal
            .bands()
            .iter()
            .zip(less.bands())
            .any(|(with, without)| *with > WEAK * strongest && *with > BAND * without);
        let all = partial_loudness(scale, &signal, &masker);
        let rest = partial_loudness(scale, &less, &others);
        let change = if all > 0.0 { (all - rest).abs() / all } else { 0.0 };
        if coloured || change >= SAME {
            return None;
        }
        most = most.max(change);
    }
    Some(most)
}

fn octaves(
    balance: &Balance<'_>,
    lines: &Lines<'_>,
    doubling: &Doubling,
    slots: &[usize],
) -> Option<Finding> {
    let (track, of) = desks(balance, doubling)?;
    let wind = |d: &Desk<'_>| matches!(d.instrument.family, Family::Woodwind | Family::Brass);
    let common = both(balance, doubling, slots);
    if !wind(track) || !wind(of) || seconds(balance, &common) < LEAST_SECONDS {
        return None;
    }
    let middle = *common.get(common.len() / 2)?;
    let slot = balance.slots.get(middle)?;
    let group = lines.group(doubling.of, balance.bar(middle), slot.middle, Edge::Top);
    let bowed =
        |d: &usize| balance.table.desks.get(*d).is_some_and(|d| d.instrument.family == Family::Strings);
    // Strings that double both cover the beating; so does any third player.
    if group.with.iter().chain([&group.lead]).any(bowed) || group.with.len() > 1 {
        return None;
    }
    let list = &balance.sounds.slots[middle];
    let of_desk = |desk: usize| list.iter().find(|s| usize::from(s.desk) == desk);
    let (a, b) = (of_desk(doubling.track)?, of_desk(doubling.of)?);
    let (low, high) = if a.key < b.key { (a, b) } else { (b, a) };
    let loudness = (low.level + low.gain - high.level - high.gain).abs();
    // Players who share a line among several blur its pitch.
    if high.key - low.key != 12 || loudness > EQUAL || low.players.max(high.players) > 1 {
        return None;
    }
    let same = track.instrument.id == of.instrument.id;
    let (needed, within) = if same { MEET_SAME } else { MEET_OTHER };
    let partial = |voice: Voice, level: f64, gain: f64, hertz: f64| {
        let step = (level / LEVEL_STEP).round();
        let told = balance.ear.spectrum(voice, step as i16);
        let near = told.components.iter().filter(|p| (p.0 / hertz - 1.0).abs() < 0.02);
        near.map(|p| p.1 + gain + level - step * LEVEL_STEP).fold(f64::NEG_INFINITY, f64::max)
    };
    let ground = 440.0 * ripieno_units::math::exp2((f64::from(high.key) - 69.0) / 12.0);
    let met = (1..=PARTIALS)
        .filter(|n| {
            let hertz = ground * *n as f64;
            let up = partial(high.voice, high.level, high.gain, hertz);
            let down = partial(low.voice, low.level, low.gain, hertz);
            up.is_finite() && down.is_finite() && (up - down).abs() <= within
        })
        .count();
    if met < needed {
        return None;
    }
    let table = balance.table;
    let (first, last) = (*common.first()?, *common.last()?);
    let bar = balance.bar(first);
    let colours = if same { "two of one colour" } else { "two colours" };
    let message = format!(
        "by estimate {} and {} beat: {colours} in octaves, as loud as each other, and {met} of the first {PARTIALS} partials of the upper meet one as strong of the lower",
        track.name(),
        of.name()
    );
    // Together in unison, where the range allows it.
    let semitones = -doubling.semitones;
    let range = track.instrument.comfortable;
    let keys = common.iter().flat_map(|k| &balance.sounds.slots[*k]);
    let mut keys = keys.filter(|s| usize::from(s.desk) == doubling.track);
    let fits = range.is_some_and(|r| keys.all(|s| r.holds(i16::from(s.key) + semitones)))
        && may_move(table, track, bar);
    let text = table.cell_at(track.id(), bar).and_then(|t| cells::with_octave(t, semitones));
    let remedy = if fits {
        format!("{} in unison with {}, or strings that double both", track.name(), of.name())
    } else {
        "strings that double both, or one of the two out".to_string()
    };
    let change = text.filter(|_| fits).and_then(|t| table.cell_change(track.id(), bar, t));
    let at = table.place(ripieno_units::Seconds(balance.slots[first].from + 1e-6));
    let found = Found::new("octave-beat", Severity::Advice, track.id(), at);
    Some(found.to(balance.bar(last)).says(message).remedy(remedy).change(change).done())
}
