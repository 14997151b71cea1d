//! Writes the marks of one track.

use crate::adopt::{Adopted, JOINED};
use crate::{Anchor, Axis, Control, Mark, What, Who, WrittenNote, WrittenTrack, beats_of, ticks_of};
use ripieno_formats::midi::MidiEvent;
use std::collections::{BTreeMap, BTreeSet};

/// What is told, by tick.
type Line = BTreeMap<i64, Vec<Vec<u8>>>;
/// A stretch that differs: from, to (or to the end), and what is told in it.
type Stretch = (i64, Option<i64>, Vec<(i64, Vec<u8>)>);

pub(crate) struct Pen<'a> {
    pub axis: &'a Axis,
    pub lead: i64,
    pub out: &'a mut Adopted,
}

impl Pen<'_> {
    /// One mark in place of others; the first of those gives its number. Gives the number.
    fn put(
        &mut self,
        track: &WrittenTrack,
        anchor: Anchor,
        what: What,
        replaces: &dyn Fn(&Mark) -> bool,
    ) -> u32 {
        let marks = &mut self.out.marks;
        let at = marks.iter().position(replaces);
        let id = match at {
            Some(at) => marks[at].id,
            None => 1 + marks.iter().map(|m| m.id).max().unwrap_or(0),
        };
        let mark = Mark { id, chair: track.chair.clone(), card: track.card, anchor, what };
        // The same once more is no change.
        self.out.changed += usize::from(at.is_none_or(|at| marks[at] != mark));
        marks.retain(|m| !replaces(m) || m.id == id);
        match marks.iter_mut().find(|m| m.id == id) {
            Some(old) => *old = mark,
            None => marks.push(mark),
        }
        id
    }

    fn rub_out(&mut self, which: &dyn Fn(&Mark) -> bool) {
        let before = self.out.marks.len();
        self.out.marks.retain(|m| !which(m));
        self.out.changed += usize::from(self.out.marks.len() != before);
    }

    /// One note that may have changed. Gives the number of its mark where it is one that was added.
    pub fn note(
        &mut self,
        track: &WrittenTrack,
        i: usize,
        before: Option<&WrittenNote>,
        was: Option<String>,
        is: Option<String>,
    ) -> Option<u32> {
        let after = &track.notes[i];
        let now = after.now;
        let (chair, card) = (track.chair.as_str(), track.card);
        let added = || What::Added {
            key: now.key,
            length: beats_of(now.off - now.on),
            velocity: now.velocity,
            channel: now.channel,
            articulation: is.clone(),
        };
        let place = self.axis.anchor(beats_of(now.on));
        let Some(before) = before else {
            if after.who == Who::Call {
                return None;
            }
            // The same note may have been taken from an earlier file.
            let there = place.clone();
            let known = |m: &Mark| {
                (m.chair.as_str(), m.card, &m.anchor) == (chair, card, &there)
                    && matches!(m.what, What::Added { key, channel, .. } if (key, channel) == (now.key, now.channel))
            };
            return Some(self.put(track, place, added(), &known));
        };
        let same = before.now == after.now && before.sent == after.sent;
        match after.who {
            Who::Call => {}
            Who::Added(id) if !same || (after.sent && was != is) => {
                let old = |m: &Mark| m.id == id && matches!(m.what, What::Added { .. });
                if after.sent {
                    return Some(self.put(track, place, added(), &old));
                }
                self.rub_out(&old);
            }
            Who::Added(_) => {}
            Who::Computed(name) => {
                let anchor = self.axis.anchor(name.at);
                let (passage, at) = (anchor.passage.clone(), anchor.at);
                let mine = |m: &Mark| {
                    (m.chair.as_str(), m.card, &m.anchor.passage, m.anchor.at) == (chair, card, &passage, at)
                        && m.what.note() == Some((name.key, name.ordinal))
                };
                let (key, ordinal) = (name.key, name.ordinal);
                if !same {
                    let kind = |m: &Mark| mine(m) && !matches!(m.what, What::Played { .. });
                    let c = after.computed;
                    if !after.sent {
                        self.put(track, anchor.clone(), What::Silent { key, ordinal }, &mine);
                    } else if now == c {
                        self.rub_out(&kind);
                    } else {
                        let what = What::Note {
                            key,
                            ordinal,
                            start: beats_of(now.on - c.on),
                            end: beats_of(now.off - c.off),
                            to_key: (now.key != c.key).then_some(now.key),
                            velocity: (now.velocity != c.velocity).then_some(now.velocity),
                            channel: (now.channel != c.channel).then_some(now.channel),
                        };
                        self.put(track, anchor.clone(), what, &kind);
                    }
                }
                // A note that was silent has no articulation of before: what it was computed with counts.
                let was = if before.sent { was } else { Some(after.used.clone()) };
                if let (true, true, Some(articulation)) = (after.sent, was != is, is) {
                    let kind = |m: &Mark| mine(m) && matches!(m.what, What::Played { .. });
                    if articulation == after.used {
                        self.rub_out(&kind);
                    } else {
                        self.put(track, anchor, What::Played { key, ordinal, articulation }, &kind);
                    }
                }
            }
        }
        None
    }

    /// A stretch of a curve that has changed: what of it differs from what was computed becomes marks, in place of those that
    /// lie there.
    pub fn curve(
        &mut self,
        track: &WrittenTrack,
        control: Control,
        channel: u8,
        (from, to): (i64, Option<i64>),
    ) {
        let own = |m: &Mark| {
            m.chair == track.chair
                && m.card == track.card
                && matches!(m.what, What::Curve { control: c, channel: k, .. } if (c, k) == (control, channel))
        };
        let old: Vec<(u32, i64, i64)> = self
            .out
            .marks
            .iter()
            .filter(|m| own(m))
            .filter_map(|m| {
                let from = ticks_of(*self.axis.find(&m.anchor).first()?).max(-self.lead);
                let What::Curve { length, .. } = &m.what else { return None };
                Some((m.id, from, length.map_or(i64::MAX, |l| from + ticks_of(l))))
            })
            .collect();
        let ends: BTreeSet<i64> = old.iter().map(|o| o.2).collect();
        let (computed, now) = (line(&track.computed, control, channel), line(&track.rest, control, channel));
        let differ = stretches(&computed, &now, control, &ends);
        let (mut low, mut high) = (from, to.unwrap_or(i64::MAX));
        loop {
            let reach = (low, high);
            for (_, a, b) in &old {
                if *a <= high && low <= *b {
                    (low, high) = (low.min(*a), high.max(*b));
                }
            }
            for (a, b, _) in &differ {
                let b = b.unwrap_or(i64::MAX);
                if *a < high && low < b {
                    (low, high) = (low.min(*a), high.max(b));
                }
            }
            if reach == (low, high) {
                break;
            }
        }
        let made: Vec<(Anchor, What)> = differ
            .into_iter()
            .filter(|d| low <= d.0 && d.0 < high)
            .map(|(from, to, points)| {
                let what = What::Curve {
                    control,
                    channel,
                    length: to.map(|to| beats_of(to - from)),
                    points: points.into_iter().map(|p| (beats_of(p.0 - from), p.1)).collect(),
                };
                (self.axis.anchor(beats_of(from)), what)
            })
            .collect();
        let within = old.iter().filter(|o| o.1 <= high && low <= o.2).map(|o| o.0);
        let kept = |id: u32, out: &Adopted| {
            out.marks.iter().any(|m| m.id == id && made.iter().any(|w| w.0 == m.anchor && w.1 == m.what))
        };
        let mut left: Vec<u32> = within.filter(|id| !kept(*id, self.out)).collect();
        for (anchor, what) in made {
            if self.out.marks.iter().any(|m| own(m) && m.anchor == anchor && m.what == what) {
                continue;
            }
            let takes = (!left.is_empty()).then(|| left.remove(0));
            self.put(track, anchor, what, &|m| Some(m.id) == takes);
        }
        for id in left {
            self.rub_out(&|m| m.id == id);
        }
    }
}

fn line(events: &[(i64, MidiEvent)], control: Control, channel: u8) -> Line {
    let mut out = Line::new();
    for (at, event) in events {
        if let Some((_, _, value)) = Control::of(event).filter(|e| (e.1, e.0) == (control, channel)) {
            out.entry(*at).or_default().push(value);
        }
    }
    out
}

/// Where two lines differ, joined over up to [`JOINED`]. At one of `ends`, where an earlier mark ended, a value that holds
/// already is no difference: it was written to lead back into what is computed.
fn stretches(computed: &Line, now: &Line, control: Control, ends: &BTreeSet<i64>) -> Vec<Stretch> {
    let ticks: BTreeSet<i64> = computed.keys().chain(now.keys()).copied().collect();
    let (mut was, mut is) = (None, None);
    let (mut odd, mut same) = (Vec::new(), BTreeSet::new());
    for at in ticks {
        let (a, b) = (computed.get(&at), now.get(&at));
        let leads_back = a.is_none()
            && control.holds()
            && ends.contains(&at)
            && b.is_some_and(|b| b.iter().all(|v| Some(v) == was.as_ref() && Some(v) == is.as_ref()));
        if a == b {
            same.insert(at);
        } else if !leads_back {
            odd.push(at);
        }
        was = a.and_then(|v| v.last().cloned()).or(was);
        is = b.and_then(|v| v.last().cloned()).or(is);
    }
    let mut groups: Vec<(i64, i64)> = Vec::new();
    for at in odd {
        match groups.last_mut() {
            Some(last) if at - last.1 <= JOINED => last.1 = at,
            _ => groups.push((at, at)),
        }
    }
    let stretch = |(from, last): (i64, i64)| {
        // To the next event that is as it was computed: from there the computed curve goes on by itself.
        let to = same.range(last + 1..).next().copied();
        let inside = now.range(from..to.unwrap_or(i64::MAX));
        (from, to, inside.flat_map(|(at, list)| list.iter().map(|v| (*at, v.clone()))).collect())
    };
    let mut out: Vec<Stretch> = groups.into_iter().map(stretch).collect();
    // Where nothing between two of them is as computed, they are one.
    out.dedup_by(|b, a| {
        let one = a.1.is_none_or(|to| to > b.0);
        if one {
            a.1 = b.1;
            let past = b.2.iter().filter(|p| a.2.iter().all(|q| q.0 != p.0)).cloned().collect::<Vec<_>>();
            a.2.extend(past);
            a.2.sort_by_key(|p| p.0);
        }
        one
    });
    out
}
