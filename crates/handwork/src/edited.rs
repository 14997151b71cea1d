//! A file that came back, on the ticks of what was written: another division, another start, tracks in any order and any number.

use crate::{Control, TICKS, Written};
use ripieno_formats::midi::{MidiEvent, MidiEvents, Tick};
use std::collections::{BTreeMap, BTreeSet};

/// One track of the file.
#[derive(Clone, Debug, Default)]
pub(crate) struct Strip {
    pub name: String,
    /// Tick, channel, key, velocity.
    pub ons: Vec<(i64, u8, u8, u8)>,
    /// Tick, channel, key.
    pub offs: Vec<(i64, u8, u8)>,
    pub controls: Vec<(i64, u8, Control, Vec<u8>)>,
    /// Indices of the written tracks that it holds.
    pub holds: Vec<usize>,
}

/// The file's tracks, and how far apart two times may be that are the same: one tick of the coarser division.
pub(crate) fn read(file: &MidiEvents, written: &Written) -> (Vec<Strip>, i64) {
    let (place, tolerance): (Box<dyn Fn(u64) -> i64>, i64) = match file.tick {
        Tick::OfQuarter(n) => {
            let n = i128::from(n.max(1));
            let to = move |t: u64| ((i128::from(t) * i128::from(TICKS) * 2 + n) / (2 * n)) as i64;
            (Box::new(to), ((i128::from(TICKS) + n - 1) / n).max(1) as i64)
        }
        Tick::OfSecond(num, den) => {
            let second = f64::from(num) / f64::from(den);
            let tempi = written.tempi.clone();
            let lead = written.lead;
            let to = move |t: u64| {
                let (mut left, mut now, mut micros) = (t as f64 * second, -lead, 500_000u32);
                for (at, next) in &tempi {
                    let span = (at - now).max(0) as f64 * f64::from(micros) / 1e6 / TICKS as f64;
                    if span > left {
                        break;
                    }
                    (left, now, micros) = (left - span, now.max(*at), *next);
                }
                now + lead + (left * 1e6 * TICKS as f64 / f64::from(micros.max(1))).round() as i64
            };
            let fastest = written.tempi.iter().map(|t| t.1).min().unwrap_or(500_000).max(1);
            (Box::new(to), ((second * 1e6 * TICKS as f64 / f64::from(fastest)).ceil() as i64).max(1))
        }
    };
    let mut strips: Vec<Strip> = Vec::new();
    for track in &file.tracks {
        let mut strip = Strip { name: track.name.clone(), ..Strip::default() };
        for (tick, event) in &track.events {
            let at = place(*tick) - written.lead;
            match *event {
                MidiEvent::NoteOn { channel, key, velocity } => strip.ons.push((at, channel, key, velocity)),
                MidiEvent::NoteOff { channel, key, .. } => strip.offs.push((at, channel, key)),
                _ => strip.controls.extend(Control::of(event).map(|(c, control, v)| (at, c, control, v))),
            }
        }
        if !(strip.ons.is_empty() && strip.controls.is_empty()) {
            strips.push(strip);
        }
    }
    let step = match file.tick {
        Tick::OfQuarter(n) => TICKS as f64 / f64::from(n.max(1)),
        Tick::OfSecond(..) => 1.0,
    };
    let off = offset(&strips, written, tolerance);
    // A file is moved by whole ticks of its own.
    let off = ((off as f64 / step).round() * step).round() as i64;
    for strip in &mut strips {
        strip.ons.iter_mut().for_each(|e| e.0 -= off);
        strip.offs.iter_mut().for_each(|e| e.0 -= off);
        strip.controls.iter_mut().for_each(|e| e.0 -= off);
    }
    (strips, tolerance)
}

/// By how much most notes stand later than they were written.
fn offset(strips: &[Strip], written: &Written, tolerance: i64) -> i64 {
    // So many notes of the file vote: enough to outvote every edit.
    const VOTERS: usize = 1500;
    // One in so many must agree.
    const LEAST: usize = 5;
    let mut keys: BTreeMap<u8, Vec<i64>> = BTreeMap::new();
    for note in written.tracks.iter().flat_map(|t| &t.notes).filter(|n| n.sent) {
        keys.entry(note.now.key).or_default().push(note.now.on);
    }
    let all: usize = strips.iter().map(|s| s.ons.len()).sum();
    let mut votes: BTreeMap<i64, usize> = BTreeMap::new();
    for (on, _, key, _) in strips.iter().flat_map(|s| &s.ons).step_by(all / VOTERS + 1) {
        for at in keys.get(key).into_iter().flatten() {
            *votes.entry(on - at).or_default() += 1;
        }
    }
    let list: Vec<(i64, usize)> = votes.into_iter().collect();
    // The most votes within one tolerance either way; of equals the one nearest to where it was.
    let (mut best, mut from, mut to, mut sum) = ((0usize, 0i64, 0i64), 0, 0, 0);
    for i in 0..list.len() {
        while to < list.len() && list[to].0 <= list[i].0 + tolerance {
            sum += list[to].1;
            to += 1;
        }
        while list[from].0 < list[i].0 - tolerance {
            sum -= list[from].1;
            from += 1;
        }
        if sum > best.0 || (sum == best.0 && list[i].0.abs() < best.1.abs()) {
            best = (sum, list[i].0, 0);
        }
    }
    // Notes that were all transposed have no such time: what few of them say by chance moves nothing.
    if best.0 * LEAST < all.div_ceil(all / VOTERS + 1) {
        return 0;
    }
    let near: Vec<&(i64, usize)> = list.iter().filter(|v| (v.0 - best.1).abs() <= tolerance).collect();
    let weight: usize = near.iter().map(|v| v.1).sum();
    let mut passed = 0;
    for vote in near {
        passed += vote.1;
        if passed * 2 >= weight {
            return vote.0;
        }
    }
    0
}

/// Says which written tracks each track of the file holds, by content, by name only where content does not tell. Gives the
/// written tracks that are nowhere.
pub(crate) fn hold(strips: &mut [Strip], written: &Written, tolerance: i64) -> Vec<usize> {
    let sets: Vec<Vec<(u8, i64)>> = written
        .tracks
        .iter()
        .map(|t| {
            let mut all: Vec<_> = t.notes.iter().filter(|n| n.sent).map(|n| (n.now.key, n.now.on)).collect();
            all.sort_unstable();
            all
        })
        .collect();
    let mut open: Vec<Vec<(u8, i64)>> = strips
        .iter()
        .map(|s| {
            let mut all: Vec<_> = s.ons.iter().map(|o| (o.2, o.0)).collect();
            all.sort_unstable();
            all
        })
        .collect();
    let mut pairs: Vec<(f64, bool, usize, usize)> = Vec::new();
    for (w, set) in sets.iter().enumerate() {
        for (s, strip) in strips.iter().enumerate() {
            let same = strip.name == written.tracks[w].name;
            let share =
                common(set, &open[s], tolerance).len() as f64 / set.len().max(open[s].len()).max(1) as f64;
            if share >= 0.5 || (same && share >= 0.1) {
                pairs.push((share, same, w, s));
            }
        }
    }
    pairs.sort_by(|a, b| {
        b.0.total_cmp(&a.0).then(b.1.cmp(&a.1)).then(a.2.abs_diff(a.3).cmp(&b.2.abs_diff(b.3)))
    });
    let mut placed = BTreeSet::new();
    for (_, _, w, s) in pairs {
        if strips[s].holds.is_empty() && placed.insert(w) {
            strips[s].holds.push(w);
            claim(&sets[w], &mut open[s], tolerance);
        }
    }
    let mut rest: Vec<usize> = (0..sets.len()).filter(|w| !placed.contains(w)).collect();
    rest.sort_by_key(|w| std::cmp::Reverse(sets[*w].len()));
    rest.retain(|w| {
        let share =
            |s: usize| common(&sets[*w], &open[s], tolerance).len() as f64 / sets[*w].len().max(1) as f64;
        let best = (0..strips.len()).max_by(|a, b| share(*a).total_cmp(&share(*b)));
        let named = (0..strips.len())
            .find(|s| strips[*s].holds.is_empty() && strips[*s].name == written.tracks[*w].name);
        match best.filter(|s| share(*s) >= 0.5).or(named) {
            Some(s) => {
                strips[s].holds.push(*w);
                claim(&sets[*w], &mut open[s], tolerance);
                false
            }
            None => true,
        }
    });
    rest
}

fn claim(set: &[(u8, i64)], open: &mut Vec<(u8, i64)>, tolerance: i64) {
    let taken: BTreeSet<usize> = common(set, open, tolerance).into_iter().map(|p| p.1).collect();
    let mut i = 0;
    open.retain(|_| {
        i += 1;
        !taken.contains(&(i - 1))
    });
}

/// Pairs of equal keys whose times are within the tolerance; both lists in order. As many as there can be: on a line the first
/// that fits is the best.
pub(crate) fn common<K: Ord>(a: &[(K, i64)], b: &[(K, i64)], tolerance: i64) -> Vec<(usize, usize)> {
    let (mut i, mut j) = (0, 0);
    let mut out = Vec::new();
    while i < a.len() && j < b.len() {
        let (x, y) = (&a[i], &b[j]);
        if x.0 == y.0 && (x.1 - y.1).abs() <= tolerance {
            out.push((i, j));
            (i, j) = (i + 1, j + 1);
        } else if (&x.0, x.1) < (&y.0, y.1) {
            i += 1;
        } else {
            j += 1;
        }
    }
    out
}
