//! The differences between what was written and what came back, as marks.

use crate::edited::{self, Strip, common};
use crate::pen::Pen;
use crate::{Control, Mark, NEVER, Sounded, TICKS, Who, Written, WrittenNote, WrittenTrack, assign};
use ripieno_formats::midi::MidiEvents;
use std::collections::{BTreeMap, BTreeSet};

/// Redrawn places of one curve that are nearer to each other are one stretch, in ticks: a quarter note.
pub(crate) const JOINED: i64 = TICKS;
/// A note further off is another note, in ticks.
const FARTHEST: i64 = 2 * TICKS;

/// A note put where a silent one of its key was is that note again, within so many ticks: an eighth note.
const RESTORED: i64 = TICKS / 2;

/// What came of it.
#[derive(Clone, Debug, Default)]
pub struct Adopted {
    /// All marks from now on: those that were, as far as they still hold, and the new ones.
    pub marks: Vec<Mark>,
    /// How many were made or changed.
    pub changed: usize,
    /// How many notes and stretches differ from what was written.
    pub differences: usize,
    /// How many notes lie in tracks that hold no chair of what was written.
    pub strange: usize,
    /// What was not taken, in words.
    pub remarks: Vec<String>,
    /// The file that came back as something that was written: what the next one may have been edited from.
    pub after: Written,
}

/// An event of a track that is no note, on its way.
/// A channel and a key.
type Voice = (u8, u8);

/// A track and a note in it.
type At = (usize, usize);

/// The articulations of a track's notes, by name, from the calls in it.
pub type Names<'a> = &'a dyn Fn(usize, &WrittenTrack) -> Vec<(usize, Option<String>)>;

/// A note that is to be ended: its start, its voice, its velocity, the note that it was, the end that it keeps, its length.
type Open = (i64, Voice, u8, Option<At>, Option<i64>, i64);

type Told = (i64, u8, Control, Vec<u8>);

/// Compares. `used` gives the articulation of each note of a track that is no call, in the order of its note-ons.
pub fn adopt(written: &Written, file: &MidiEvents, marks: &[Mark], used: Names<'_>) -> Adopted {
    let (mut strips, tolerance) = edited::read(file, written);
    let missing = edited::hold(&mut strips, written, tolerance);
    let mut out = Adopted { marks: marks.to_vec(), after: written.clone(), ..Adopted::default() };
    for w in missing {
        let track = &written.tracks[w];
        out.remarks.push(format!("the track {} is not in the file; nothing was taken for it", track.name));
    }
    for strip in &strips {
        if strip.holds.is_empty() {
            out.strange += strip.ons.len();
            out.remarks.push(format!(
                "a track{} with {} notes holds no chair of the cue and was passed over",
                if strip.name.is_empty() { String::new() } else { format!(" \"{}\"", strip.name) },
                strip.ons.len()
            ));
            continue;
        }
        let mut after: Vec<WrittenTrack> = strip.holds.iter().map(|w| written.tracks[*w].clone()).collect();
        notes(&mut after, strip, tolerance);
        let stretches = controls(&mut after, strip, tolerance);
        for (k, mut track) in after.into_iter().enumerate() {
            let before = &written.tracks[strip.holds[k]];
            let (was, is) = (used(strip.holds[k], before), used(strip.holds[k], &track));
            let (was, is): (BTreeMap<_, _>, BTreeMap<_, _>) =
                (was.into_iter().collect(), is.into_iter().collect());
            let of =
                |list: &BTreeMap<usize, Option<String>>, i: usize| list.get(&i).and_then(|name| name.clone());
            let mut pen = Pen { axis: &written.axis, lead: written.lead, out: &mut out };
            for i in 0..track.notes.len() {
                if let Some(id) = pen.note(&track, i, before.notes.get(i), of(&was, i), of(&is, i)) {
                    track.notes[i].who = Who::Added(id);
                }
            }
            for (_, control, channel, from, to) in stretches.iter().filter(|s| s.0 == k) {
                pen.curve(&track, *control, *channel, (*from, *to));
            }
            let differ = |n: &(usize, &WrittenNote)| {
                let old = before.notes.get(n.0);
                old.is_none_or(|o| (o.now, o.sent) != (n.1.now, n.1.sent)) || of(&was, n.0) != of(&is, n.0)
            };
            out.differences += track.notes.iter().enumerate().filter(differ).count();
            out.differences += stretches.iter().filter(|s| s.0 == k).count();
            out.after.tracks[strip.holds[k]] = track;
        }
    }
    out
}

fn notes(tracks: &mut [WrittenTrack], strip: &Strip, tolerance: i64) {
    let mut ons: Vec<(Voice, i64, u8, At)> = Vec::new();
    for (t, track) in tracks.iter().enumerate() {
        for (n, note) in track.notes.iter().enumerate().filter(|n| n.1.sent) {
            ons.push(((note.now.channel, note.now.key), note.now.on, note.now.velocity, (t, n)));
        }
    }
    ons.sort();
    // A track whose one channel became another is the same track.
    let one = |mut list: Vec<u8>| {
        list.sort_unstable();
        list.dedup();
        (list.len() == 1).then(|| list[0])
    };
    let ours = one(ons.iter().map(|o| o.0.0).collect());
    let theirs = one(strip.ons.iter().map(|o| o.1).collect());
    let channel = |c: u8| ours.zip(theirs).filter(|p| p.1 == c).map_or(c, |p| p.0);
    let mut new: Vec<((u8, u8), i64, u8)> =
        strip.ons.iter().map(|o| ((channel(o.1), o.2), o.0, o.3)).collect();
    new.sort();
    let plain = |list: &mut dyn Iterator<Item = ((u8, u8), i64)>| list.collect::<Vec<_>>();
    let (a, b) = (plain(&mut ons.iter().map(|o| (o.0, o.1))), plain(&mut new.iter().map(|o| (o.0, o.1))));
    let mut pairs = common(&a, &b, tolerance);
    // Of notes that lie within the tolerance, those of equal velocity belong together.
    let fits = |i: usize, x: usize| a[i].0 == b[x].0 && (a[i].1 - b[x].1).abs() <= tolerance;
    let wrong = |i: usize, x: usize| usize::from(ons[i].2 != new[x].2);
    for k in (0..pairs.len()).chain(0..pairs.len()) {
        let near = |l: &usize| {
            let (i, j) = (pairs[k].0, pairs[*l].0);
            a[i].0 == a[j].0 && a[j].1 - a[i].1 <= 2 * tolerance
        };
        // Each exchange puts one right at least, wherever in the cluster the other lies.
        for l in (k + 1..pairs.len()).take_while(near).collect::<Vec<_>>() {
            let ((i, x), (j, y)) = (pairs[k], pairs[l]);
            if fits(i, y) && fits(j, x) && wrong(i, y) + wrong(j, x) < wrong(i, x) + wrong(j, y) {
                (pairs[k].1, pairs[l].1) = (y, x);
            }
        }
    }
    // And a note of the same key that was taken away may have stood nearer than the one that is left.
    let paired: BTreeSet<usize> = pairs.iter().map(|p| p.0).collect();
    let mut left: BTreeSet<usize> = (0..ons.len()).filter(|i| !paired.contains(i)).collect();
    for (i, x) in pairs.iter_mut().filter(|p| wrong(p.0, p.1) == 1) {
        if let Some(j) = left.iter().copied().find(|j| fits(*j, *x) && wrong(*j, *x) == 0) {
            left.remove(&j);
            left.insert(std::mem::replace(i, j));
        }
    }
    let mut offs: Vec<(Voice, i64, At)> =
        ons.iter().map(|o| (o.0, tracks[o.3.0].notes[o.3.1].now.off, o.3)).collect();
    offs.sort();
    let mut ends: Vec<((u8, u8), i64)> = strip.offs.iter().map(|o| ((channel(o.1), o.2), o.0)).collect();
    ends.sort();
    let closed = common(&offs.iter().map(|o| (o.0, o.1)).collect::<Vec<_>>(), &ends, tolerance);
    let mut end_kept: BTreeMap<At, i64> = closed.iter().map(|c| (offs[c.0].2, ends[c.1].1)).collect();
    let mut free: Vec<Option<((u8, u8), i64)>> = ends.iter().copied().map(Some).collect();
    closed.iter().for_each(|c| free[c.1] = None);
    let (mut on_kept, mut taken) = (vec![None; ons.len()], vec![false; new.len()]);
    for (i, x) in pairs {
        on_kept[i] = Some(x);
        taken[x] = true;
    }
    let lost: Vec<usize> = (0..ons.len()).filter(|i| on_kept[*i].is_none()).collect();
    let found: Vec<usize> = (0..new.len()).filter(|x| !taken[*x]).collect();
    let is_call = |t: usize, key: u8| tracks[t].call_keys.contains(&key);
    let cost = |l: usize, f: usize| {
        let ((name, on, velocity, (t, n)), (other, at, loud)) = (ons[lost[l]], new[found[f]]);
        let keys = i32::from(name.1.abs_diff(other.1));
        let call = tracks[t].notes[n].who == Who::Call;
        if (on - at).abs() > FARTHEST || keys > 24 || call != is_call(t, other.1) {
            return NEVER;
        }
        let pitch = if keys == 0 { 0.0 } else { 0.15 + f64::from(keys) / 24.0 };
        let apart = (on - at).abs() as f64 / FARTHEST as f64;
        apart
            + pitch
            + 0.3 * f64::from(u8::from(name.0 != other.0))
            + f64::from(velocity.abs_diff(loud)) / 1270.0
    };
    let given = assign(lost.len(), found.len(), &cost);
    // Every note with its new start, its note of before, and the end that it keeps.
    let mut open: Vec<Open> = Vec::new();
    let mut gone = Vec::new();
    for (i, on) in ons.iter().enumerate() {
        let old = tracks[on.3.0].notes[on.3.1].now;
        let new_one =
            on_kept[i].or_else(|| lost.iter().position(|l| *l == i).and_then(|l| given[l]).map(|f| found[f]));
        let Some(x) = new_one else {
            gone.push(on.3);
            continue;
        };
        taken[x] = true;
        let start = if on_kept[i].is_some() { old.on } else { new[x].1 };
        let end = end_kept.remove(&on.3).filter(|_| new[x].0 == on.0 && old.off > start);
        // Moved by little more than the file's own grid, it keeps its length; else it was its beginning that was moved.
        let moved = |end: i64| on_kept[i].is_none() && (end - start - (old.off - old.on)).abs() <= tolerance;
        let end = end.map(|end| if moved(end) { start + old.off - old.on } else { old.off });
        open.push((start, new[x].0, new[x].2, Some(on.3), end, old.off - old.on));
    }
    for x in (0..new.len()).filter(|x| !taken[*x]) {
        open.push((new[x].1, new[x].0, new[x].2, None, None, TICKS / 8));
    }
    open.sort();
    for (on, (channel, key), velocity, old, end, usual) in open {
        let off = end.unwrap_or_else(|| {
            let next = free.iter_mut().find(|f| f.is_some_and(|f| f.0 == (channel, key) && f.1 >= on));
            next.and_then(Option::take).map_or(on + usual, |f| f.1.max(on + 1))
        });
        let now = Sounded { on, key, channel, velocity, off };
        match old {
            Some((t, n)) => tracks[t].notes[n].now = snapped(now, &tracks[t].notes[n], tolerance),
            None => {
                if let Some((t, n)) = silent(tracks, &now) {
                    tracks[t].notes[n].now = snapped(now, &tracks[t].notes[n], tolerance);
                    tracks[t].notes[n].sent = true;
                    continue;
                }
                let near = |track: &WrittenTrack| {
                    let away = |n: &WrittenNote| {
                        (n.now.on - on).abs()
                            + 240 * i64::from(n.now.key.abs_diff(key))
                            + FARTHEST * i64::from(n.now.channel != channel)
                    };
                    track.notes.iter().map(away).min().unwrap_or(i64::MAX)
                };
                let Some(t) = (0..tracks.len()).min_by_key(|t| near(&tracks[*t])) else { continue };
                let who = if tracks[t].call_keys.contains(&key) { Who::Call } else { Who::Added(0) };
                tracks[t].notes.push(WrittenNote {
                    now,
                    computed: now,
                    who,
                    sent: true,
                    used: String::new(),
                });
            }
        }
    }
    for (t, n) in gone {
        tracks[t].notes[n].sent = false;
    }
}

/// A note as it came back; its times as computed where the file could not tell them from those.
fn snapped(mut now: Sounded, note: &WrittenNote, tolerance: i64) -> Sounded {
    if matches!(note.who, Who::Computed(_)) {
        let near = |a: i64, b: i64| if (a - b).abs() <= tolerance { b } else { a };
        now.on = near(now.on, note.computed.on);
        now.off = near(now.off, note.computed.off).max(now.on + 1);
    }
    now
}

/// A note of the music that a mark keeps silent, and that this one is again.
fn silent(tracks: &[WrittenTrack], now: &Sounded) -> Option<(usize, usize)> {
    let all = tracks.iter().enumerate().flat_map(|(t, track)| (0..track.notes.len()).map(move |n| (t, n)));
    let away = |(t, n): &(usize, usize)| {
        let note = &tracks[*t].notes[*n];
        let same = (note.computed.key, note.computed.channel) == (now.key, now.channel);
        let apart = (note.computed.on - now.on).abs();
        (!note.sent && same && matches!(note.who, Who::Computed(_)) && apart <= RESTORED).then_some(apart)
    };
    all.filter_map(|at| Some((away(&at)?, at))).min().map(|found| found.1)
}

/// Puts the file's controllers into the tracks. Gives the stretches that differ: track, control, channel, from, to.
fn controls(
    tracks: &mut [WrittenTrack],
    strip: &Strip,
    tolerance: i64,
) -> Vec<(usize, Control, u8, i64, Option<i64>)> {
    let mut old: Vec<(Told, usize, bool)> = Vec::new();
    for (t, track) in tracks.iter().enumerate() {
        let told = track
            .rest
            .iter()
            .filter_map(|(at, e)| Control::of(e).map(|(c, k, v)| ((*at, c, k, v), t, false)));
        old.extend(told);
    }
    old.sort_by_key(|a| (a.0.2, a.0.1, a.0.0));
    let mut new: Vec<(Told, Option<usize>)> = strip.controls.iter().map(|c| (c.clone(), None)).collect();
    new.sort_by_key(|a| (a.0.2, a.0.1, a.0.0));
    let key = |t: &Told| (t.2, t.1, t.0);
    let mut start = 0;
    for one in &mut old {
        let low = (one.0.2, one.0.1, one.0.0 - tolerance);
        while start < new.len() && key(&new[start].0) < low {
            start += 1;
        }
        let high = (one.0.2, one.0.1, one.0.0 + tolerance);
        let fits = |n: &&mut (Told, Option<usize>)| n.1.is_none() && n.0.3 == one.0.3;
        if let Some(hit) = new[start..].iter_mut().take_while(|n| key(&n.0) <= high).find(fits) {
            hit.1 = Some(one.1);
            hit.0.0 = one.0.0;
            one.2 = true;
        }
    }
    let mut stretches = Vec::new();
    let called: Vec<_> = tracks.iter().map(|t| t.calls.clone()).collect();
    for (t, calls) in called.iter().enumerate() {
        // Residual events of a track that holds several chairs belong where something is missing near by, else to the first.
        let owner = |told: &Told| {
            let gone = old.iter().filter(|o| !o.2 && (o.0.1, o.0.2) == (told.1, told.2));
            let any = old.iter().filter(|o| (o.0.1, o.0.2) == (told.1, told.2));
            let near = |list: &mut dyn Iterator<Item = &(Told, usize, bool)>| {
                list.min_by_key(|o| (o.0.0 - told.0).abs()).map(|o| o.1)
            };
            near(&mut { gone }).or_else(|| near(&mut { any })).unwrap_or(0)
        };
        let mine: Vec<(Told, bool)> = new
            .iter()
            .filter_map(|n| match n.1 {
                Some(of) => (of == t).then(|| (n.0.clone(), true)),
                None => (owner(&n.0) == t).then(|| (n.0.clone(), false)),
            })
            .collect();
        let lost: Vec<&Told> = old.iter().filter(|o| o.1 == t && !o.2).map(|o| &o.0).collect();
        let mut names: Vec<(Control, u8)> = mine.iter().filter(|m| !m.1).map(|m| (m.0.2, m.0.1)).collect();
        names.extend(lost.iter().map(|l| (l.2, l.1)));
        names.sort_unstable();
        names.dedup();
        for (control, channel) in names.into_iter().filter(|n| !calls.contains(&n.0)) {
            let is = |told: &Told| (told.2, told.1) == (control, channel);
            let mut odd: Vec<i64> = mine.iter().filter(|m| !m.1 && is(&m.0)).map(|m| m.0.0).collect();
            odd.extend(lost.iter().filter(|l| is(l)).map(|l| l.0));
            odd.sort_unstable();
            let same: Vec<i64> = mine.iter().filter(|m| m.1 && is(&m.0)).map(|m| m.0.0).collect();
            let mut groups: Vec<(i64, i64)> = Vec::new();
            for at in odd {
                match groups.last_mut() {
                    Some(last) if at - last.1 <= JOINED => last.1 = at,
                    _ => groups.push((at, at)),
                }
            }
            for (from, last) in groups {
                // To the next event that is as it was: from there the computed curve goes on by itself.
                let to = same.iter().copied().filter(|s| *s > last).min();
                stretches.push((t, control, channel, from, to));
            }
        }
        let texts = tracks[t].rest.iter().filter(|e| Control::of(&e.1).is_none()).cloned();
        let mut rest: Vec<_> =
            texts.chain(mine.iter().map(|m| (m.0.0, m.0.2.event(m.0.1, &m.0.3)))).collect();
        rest.sort_by_key(|e| e.0);
        tracks[t].rest = rest;
    }
    stretches
}
