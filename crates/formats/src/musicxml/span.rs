//! What reaches over bars, joined in playing order: slurs, hairpins, pedals.

use super::sheet::{RawKind, RawSlur};
use super::warn::Doubts;
use ripieno_music::{Direction, DirectionKind, Dynamic, Note, NoteKind};
use ripieno_units::Beats;
use std::collections::{BTreeMap, VecDeque};

/// How long a `cresc.` in words, or a hairpin without an end, goes on at most to a mark that may be its goal; and how long to
/// the louder (or softer) level that it plainly leads to, crotchets.
const LONGEST_GRADUAL: i64 = 64;
const LONGEST_TO_GOAL: i64 = 128;
/// How long one lasts that leads nowhere, crotchets: players rise by about a step within two bars and stay there (common practice, no
/// source).
const OPEN_GRADUAL: i64 = 8;

/// More slurs of one number, or more hairpins in words, are never open at once.
const MOST_OPEN: usize = 256;

/// An end of a slur in playing order.
pub(super) struct SlurEnd {
    pub at: Beats,
    /// Index of the played bar: ranks count within it.
    pub bar: usize,
    pub slur: RawSlur,
}

/// Pairs the ends of slurs and marks the notes under them. `notes` are sorted.
pub(super) fn slurs(notes: &mut [Note], mut ends: Vec<SlurEnd>, part: &str, doubts: &mut Doubts) {
    // Grace notes come before their note and in their own order; at a note what ends goes before what begins.
    ends.sort_by_key(|e| {
        let row = if e.slur.grace { e.slur.rank } else { 0 };
        (e.at, e.bar, !e.slur.grace, row, e.slur.starts, e.slur.rank)
    });
    let mut open: BTreeMap<u8, Vec<SlurEnd>> = BTreeMap::new();
    let mut pairs: BTreeMap<u16, Vec<(Beats, Beats)>> = BTreeMap::new();
    let mut lone = 0;
    for end in ends {
        let number = end.slur.number;
        if end.slur.starts {
            let list = open.entry(number).or_default();
            if list.len() >= MOST_OPEN {
                list.remove(0);
                lone += 1;
            }
            list.push(end);
            continue;
        }
        let list = open.entry(number).or_default();
        let begun = |s: &SlurEnd| s.at < end.at || s.slur.grace;
        let found = list
            .iter()
            .rposition(|s| s.slur.voice == end.slur.voice && begun(s))
            .or_else(|| list.iter().rposition(begun));
        match found {
            Some(i) => {
                let start = list.remove(i);
                if start.at < end.at {
                    pairs.entry(start.slur.voice).or_default().push((start.at, end.at));
                }
                if start.slur.voice != end.slur.voice {
                    pairs.entry(end.slur.voice).or_default().push((end.at, end.at));
                }
            }
            None => lone += 1,
        }
    }
    lone += open.values().map(Vec::len).sum::<usize>();
    if lone > 0 {
        let message = match lone {
            1 => "a slur has only one end and is passed over".to_owned(),
            n => format!("{n} slurs have only one end and are passed over"),
        };
        doubts.add(part, message);
    }
    mark(notes, pairs);
}

fn mark(notes: &mut [Note], mut pairs: BTreeMap<u16, Vec<(Beats, Beats)>>) {
    let mut voices: BTreeMap<u16, Vec<usize>> = BTreeMap::new();
    for (i, note) in notes.iter().enumerate() {
        voices.entry(note.voice).or_default().push(i);
    }
    for (voice, members) in voices {
        let Some(slurs) = pairs.get_mut(&voice) else { continue };
        slurs.sort_unstable();
        // A pair of notes is joined when some slur that begins before the second reaches it, and begins before the first
        // has ended.
        let mut begin = 0;
        let mut reach: VecDeque<(Beats, Beats)> = VecDeque::new();
        let groups: Vec<&[usize]> = members.chunk_by(|a, b| notes[*a].at == notes[*b].at).collect();
        let mut joins: Vec<(usize, bool, bool)> = Vec::new();
        for (g, group) in groups.iter().enumerate() {
            let at = notes[group[0]].at;
            while begin < slurs.len() && slurs[begin].0 < at {
                // One that ends no later than another that began before it says nothing new.
                if reach.back().is_none_or(|last| last.1 < slurs[begin].1) {
                    reach.push_back(slurs[begin]);
                }
                begin += 1;
            }
            while reach.front().is_some_and(|s| s.1 < at) {
                reach.pop_front();
            }
            let before = g.checked_sub(1).map(|b| groups[b]);
            let ended = before.and_then(|b| b.iter().map(|i| notes[*i].end()).max());
            if let (Some(before), Some(ended)) = (before, ended)
                && reach.front().is_some_and(|s| ended > s.0)
            {
                joins.extend(before.iter().map(|i| (*i, false, true)));
                joins.extend(group.iter().map(|i| (*i, true, false)));
            }
            // A slur that came over from another voice ends here.
            if slurs.iter().skip(begin).take_while(|s| s.0 == at).any(|s| s.1 == at) {
                joins.extend(group.iter().map(|i| (*i, true, false)));
            }
        }
        for (i, slurred, slurs_on) in joins {
            notes[i].slurred |= slurred;
            notes[i].slurs_on |= slurs_on;
        }
    }
}

/// A direction in playing order, before it is joined.
pub(super) struct Placed {
    pub at: Beats,
    pub staff: Option<u8>,
    pub kind: RawKind,
}

/// Pairs hairpins and pedals. `placed` are in order of place; `end` is the end of the piece.
pub(super) fn directions(placed: Vec<Placed>, end: Beats, part: &str, doubts: &mut Doubts) -> Vec<Direction> {
    let mut out: Vec<Direction> = Vec::new();
    let mut wedges: Vec<(usize, u8)> = Vec::new();
    let mut graduals: Vec<(usize, Option<u8>)> = Vec::new();
    let mut pedal: BTreeMap<Option<u8>, usize> = BTreeMap::new();
    let mut unclosed = 0;
    // A span is written when it begins, with the end of the piece, and cut when its end comes.
    let close = |out: &mut Vec<Direction>, index: usize, at: Beats, nothing: bool| {
        if let Some(DirectionKind::Hairpin { to, niente, .. }) = out.get_mut(index).map(|d| &mut d.kind) {
            *to = at;
            *niente |= nothing;
        } else if let Some(DirectionKind::Pedal { to }) = out.get_mut(index).map(|d| &mut d.kind) {
            *to = at;
        }
    };
    let same = |a: Option<u8>, b: Option<u8>| a.is_none() || b.is_none() || a == b;
    for one in placed {
        let Placed { at, staff, kind } = one;
        // A new level or hairpin ends a gradual change in words.
        let ends_gradual =
            matches!(kind, RawKind::Dynamic(_) | RawKind::WedgeStart { .. } | RawKind::Gradual { .. });
        if ends_gradual {
            graduals.retain(|(i, _)| {
                let ends = same(out[*i].staff, staff) && out[*i].at < at;
                if ends {
                    let goal = if let RawKind::Dynamic(mark) = kind { Some(mark) } else { None };
                    let to = led_to(&out, *i, at, goal);
                    close(&mut out, *i, to, false);
                }
                !ends
            });
        }
        let mut push = |kind: DirectionKind| out.push(Direction { at, staff, voice: None, kind });
        match kind {
            RawKind::Dynamic(d) => push(DirectionKind::Dynamic(d)),
            RawKind::Playing(p) => push(DirectionKind::Playing(p)),
            RawKind::Words(w) => push(DirectionKind::Words(w)),
            RawKind::WedgeStart { number, louder, niente } => {
                push(DirectionKind::Hairpin { louder, to: end, niente });
                let this = out.len() - 1;
                // The same number again on the same staff: the one before ended without a sign.
                wedges.retain(|(i, n)| {
                    let ends = *n == number && out[*i].staff == staff;
                    if ends {
                        unclosed += 1;
                        close(&mut out, *i, at, false);
                    }
                    !ends
                });
                wedges.push((this, number));
            }
            RawKind::WedgeStop { number, niente } => {
                let found = wedges
                    .iter()
                    .rposition(|(i, n)| *n == number && out[*i].staff == staff)
                    .or_else(|| wedges.iter().rposition(|(_, n)| *n == number))
                    .or_else(|| wedges.len().checked_sub(1));
                match found {
                    Some(w) => {
                        let (i, _) = wedges.remove(w);
                        close(&mut out, i, at, niente);
                    }
                    None => unclosed += 1,
                }
            }
            RawKind::Gradual { louder, niente, dashes } => {
                push(DirectionKind::Hairpin { louder, to: end, niente });
                if graduals.len() >= MOST_OPEN {
                    graduals.remove(0);
                }
                graduals.push((out.len() - 1, dashes));
            }
            RawKind::DashesStop(number) => {
                if let Some(g) = graduals.iter().rposition(|(i, d)| *d == Some(number) && out[*i].at < at) {
                    let (i, _) = graduals.remove(g);
                    close(&mut out, i, at, false);
                }
            }
            RawKind::PedalStart | RawKind::PedalChange | RawKind::PedalStop => {
                let held = pedal.remove(&staff).or_else(|| pedal.pop_first().map(|p| p.1));
                if let Some(i) = held {
                    close(&mut out, i, at, false);
                }
                if !matches!(kind, RawKind::PedalStop) {
                    out.push(Direction { at, staff, voice: None, kind: DirectionKind::Pedal { to: end } });
                    pedal.insert(staff, out.len() - 1);
                }
            }
            RawKind::Ornament(_) => {}
        }
    }
    // What nothing ends any more.
    for (i, _) in graduals {
        let to = led_to(&out, i, end, None);
        close(&mut out, i, to, false);
    }
    unclosed += wedges.len();
    // A hairpin that nothing ends reaches to the next level.
    for (i, _) in wedges {
        let (from, staff) = (out[i].at, out[i].staff);
        let next = out[i..].iter().find_map(|d| match d.kind {
            DirectionKind::Dynamic(mark) if d.at > from && same(d.staff, staff) => Some((d.at, mark)),
            _ => None,
        });
        let to = led_to(&out, i, next.map_or(end, |n| n.0), next.map(|n| n.1));
        close(&mut out, i, to, false);
    }
    if unclosed > 0 {
        let message = match unclosed {
            1 => "a hairpin has only one end; it reaches to the next level".to_owned(),
            n => format!("{n} hairpins have only one end; they reach to the next level"),
        };
        doubts.add(part, message);
    }
    out.retain(|d| match d.kind {
        DirectionKind::Hairpin { to, .. } | DirectionKind::Pedal { to } => to > d.at,
        _ => true,
    });
    out.sort_by_key(|d| d.at);
    out
}

/// Where a gradual change without an end of its own is over, if what comes next stands at `at`: there, if that is near, or is the level
/// that it leads to; else it has led a step on and is forgotten.
fn led_to(out: &[Direction], index: usize, at: Beats, goal: Option<Dynamic>) -> Beats {
    let Some(Direction { at: from, staff, kind: DirectionKind::Hairpin { louder, .. }, .. }) = out.get(index)
    else {
        return at;
    };
    let level = |d: &Direction| match d.kind {
        DirectionKind::Dynamic(mark) if staff.is_none() || d.staff.is_none() || d.staff == *staff => {
            mark.level()
        }
        _ => None,
    };
    // Without a mark before it, it begins at mf.
    let before = out[..index].iter().rev().find_map(level).map_or(0.0, |l| l.0);
    let leads = goal.and_then(Dynamic::level).is_some_and(|l| (l.0 > before) == *louder && l.0 != before);
    let within = |crotchets: i64| at <= *from + Beats::whole(crotchets);
    if within(LONGEST_GRADUAL) || (leads && within(LONGEST_TO_GOAL)) {
        at
    } else {
        *from + Beats::whole(OPEN_GRADUAL)
    }
}

/// What ties compare: pitch, or the line on which a stroke is written.
pub(super) fn tie_key(note: &Note) -> (i16, i16) {
    match &note.kind {
        NoteKind::Pitched(p) => (p.key, p.cents),
        NoteKind::Unpitched { .. } => (i16::MIN, note.written.map_or(0, |w| w.pitch().key)),
    }
}
