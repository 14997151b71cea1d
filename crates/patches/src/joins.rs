//! Which notes of a played chair were joined to the one before, and so which delay each had.
//!
//! No MIDI file says it. A most likely chain of the two answers is sought over the notes in the order in which they follow each other: each
//! pays for how it meets the note before it (as a joined note must, or as any other may), for how unusual a join is by its
//! name, and for how likely a note is at the time at which it would then be heard.

use ripieno_music::named;
use ripieno_units::math;

/// A sounding note with the two delays that it may have had.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Sounding {
    /// Its key.
    pub key: u8,
    /// Its note-on and note-off as sent, in seconds.
    pub on: f64,
    pub off: f64,
    /// The delay with its own attack and joined, in seconds.
    pub delays: [f64; 2],
    /// Its patch has one voice.
    pub one_voice: bool,
    /// How far the note before it is held into it, in seconds.
    pub overlap: f64,
    /// It is legato: one stroke binds it to another key.
    pub bound: bool,
    /// What it costs that a note of this name was joined, in nats, at its evidence's mean.
    pub join: f64,
}

/// Notes before one that may lead into it.
const REACH: usize = 12;
/// Notes begin together that begin within this, in seconds.
const TOGETHER: f64 = 0.004;
/// And two that were sent at one time stray from each other by less than this.
const AT_ONCE: f64 = 0.015;
/// Where two notes' delays differ by less than this, in seconds, they follow each other as they were sent.
const APART: f64 = 0.030;
/// A meeting strays more than an onset: both notes and a release take part.
const MEETING: f64 = 1.5;
/// Degrees of freedom of the distance from an exact meeting: a slip is a slip.
const FREEDOM: f64 = 4.0;
/// Density of the gap after a note that is not joined, in 1/s: share and mean length of gaps, of notes held over.
const GAPS: (f64, f64) = (0.55, 0.150);
const HELD_OVER: (f64, f64) = (0.20, 0.300);
/// And the share that ends where the next begins without being joined.
const ABUTTING: f64 = 0.25;
/// What it costs that a bound note repeats the key of the one before and is joined to it, in nats: a key that is struck anew.
const ANEW: f64 = 4.0;
/// What it costs that a note of one voice is heard before the one before it, in nats.
const TURNED: f64 = 6.0;
/// What it costs, in nats, that a note is joined to one that has led into another already, at another time.
const TAKEN: f64 = 4.0;

/// Steps of a run are no longer than this, in seconds.
const RUN_STEP: f64 = 0.3;
/// How often a step that follows one of a run is as long as that one.
const GOES_ON: f64 = 0.5;
/// Onsets no further apart than this, in seconds, are one chord of a run.
const STRUCK: f64 = 0.020;

/// What it costs, in nats, that two notes of one articulation, sent one after the other, are heard as one chord or turned.
const CROWDED: f64 = 5.0;

/// The order in which notes follow each other: that in which they are heard, as near as their delays say. A quick note that
/// speaks late is sent before the one that it follows. A patch of one voice is sent its notes in their order, where players
/// have not turned two that were sent at one time.
pub(crate) fn order(notes: &[Sounding]) -> Vec<usize> {
    let turned = |one: &Sounding, next: &Sounding| {
        let at_once = next.on - one.on < AT_ONCE;
        (at_once || !(one.one_voice || next.one_voice))
            && (mean(one) - mean(next)).abs() >= APART
            && next.on + mean(next) + AT_ONCE < one.on + mean(one)
    };
    let mut order: Vec<usize> = (0..notes.len()).collect();
    order.sort_by(|a, b| notes[*a].on.total_cmp(&notes[*b].on));
    for i in 1..order.len() {
        let mut at = i;
        while at > 0 && turned(&notes[order[at - 1]], &notes[order[at]]) {
            order.swap(at - 1, at);
            at -= 1;
        }
    }
    order
}

/// Does a note lead into another, or the other into it?
pub(crate) fn precedes(one: &Sounding, delay: f64, next: &Sounding, its_delay: f64) -> bool {
    let (heard, its) = (one.on + delay, next.on + its_delay);
    if next.one_voice {
        one.on + TOGETHER < next.on && (next.on - one.on > AT_ONCE || heard < its + AT_ONCE)
            || (next.on - one.on).abs() < AT_ONCE && heard + AT_ONCE < its
    } else if (mean(one) - mean(next)).abs() < APART {
        one.on + TOGETHER < next.on
    } else {
        one.on + mean(one) + TOGETHER < next.on + mean(next)
    }
}

/// The mean of the two delays that a note may have had.
fn mean(note: &Sounding) -> f64 {
    0.5 * (note.delays[0] + note.delays[1])
}

/// Joined or not, for every note: `spread` is the players' deviation in seconds, `likely` gives nats for a note that is heard at
/// a time in seconds.
pub(crate) fn joined(notes: &[Sounding], spread: f64, likely: &dyn Fn(f64) -> f64) -> Vec<bool> {
    // Cheapest cost with the last note plain or joined, and the answer of the note before it.
    let mut costs = [0.0f64; 2];
    let mut from: Vec<[usize; 2]> = Vec::with_capacity(notes.len());
    for (i, note) in notes.iter().enumerate() {
        let at = note.delays.map(|d| -likely(note.on + d));
        let alike = (note.delays[0] - note.delays[1]).abs() < 1e-6;
        let mut now = [f64::INFINITY; 2];
        let mut back = [0usize; 2];
        let befores = if i == 0 { 0..1 } else { 0..2 };
        for before in befores {
            let trace = trace(&from, i, before);
            for (state, cost) in now.iter_mut().enumerate() {
                let total = costs[before]
                    + if alike { 0.0 } else { at[state] }
                    + step(notes, i, state, &trace, spread)
                    + meeting(notes, i, state, &trace, spread);
                if total < *cost {
                    (*cost, back[state]) = (total, before);
                }
            }
        }
        from.push(back);
        let least = now[0].min(now[1]);
        costs = now.map(|c| c - least);
    }
    let mut answers = vec![false; notes.len()];
    let mut state = usize::from(costs[1] < costs[0]);
    for i in (0..notes.len()).rev() {
        answers[i] = state == 1;
        state = from[i][state];
    }
    answers
}

/// The answers of the notes before note `i` on the best way to `last` of note `i - 1`, the nearest first.
fn trace(from: &[[usize; 2]], i: usize, last: usize) -> [usize; REACH] {
    let mut found = [0; REACH];
    let mut state = last;
    for (back, one) in found.iter_mut().enumerate().take(i) {
        *one = state;
        state = from[i - 1 - back][state];
    }
    found
}

/// What it costs, in nats, that the step to note `i` is as long as the one before it, or another: below zero where it is as long.
/// A note of a run that is taken for late makes three steps uneven.
fn step(notes: &[Sounding], i: usize, state: usize, trace: &[usize; REACH], spread: f64) -> f64 {
    let note = &notes[i];
    let heard = note.on + note.delays[state];
    let befores = || notes[..i].iter().rev().zip(trace).map(|(b, its)| (b, b.on + b.delays[*its]));
    let crowds = |(b, at): (&Sounding, f64)| {
        heard - at <= STRUCK && note.on - b.on > APART && (mean(note) - mean(b)).abs() < APART
    };
    let crowded = if befores().take(2).any(crowds) { CROWDED } else { 0.0 };
    let mut times = befores().map(|(_, at)| at);
    let Some(last) = times.find(|at| (heard - at).abs() > STRUCK) else { return crowded };
    let Some(first) = times.find(|at| last - at > STRUCK) else { return crowded };
    let (before, now) = (last - first, heard - last);
    if before > RUN_STEP {
        return crowded;
    }
    // Of three onsets that stray by themselves, the middle one twice.
    let stray = spread * 2.45;
    crowded - math::ln(1.0 - GOES_ON + GOES_ON * before * normal((now - before) / stray, stray))
}

/// What it costs, in nats, that note `i` meets those before it as it does.
fn meeting(notes: &[Sounding], i: usize, state: usize, trace: &[usize; REACH], spread: f64) -> f64 {
    let note = &notes[i];
    let spread = MEETING * spread;
    let heard = note.on + note.delays[state];
    let delay = note.delays[state];
    let befores = || {
        let all = notes[..i].iter().rev().zip(trace.iter());
        let all = all.filter(move |(b, s)| precedes(b, b.delays[**s], note, delay));
        all.take(if note.one_voice { 1 } else { REACH })
    };
    if state == 1 {
        // Those joined before it, but for notes of its own chord.
        let joins = || {
            let all = notes[..i].iter().rev().zip(trace).filter(|(_, its)| **its == 1);
            all.map(|(b, _)| b.on + b.delays[1]).filter(|at| (heard - at).abs() > AT_ONCE)
        };
        let exact = |(b, s): (&Sounding, &usize)| {
            let away = if note.one_voice && b.one_voice {
                b.off - (note.on + note.overlap)
            } else {
                b.off + b.delays[*s] - heard
            };
            let z = away / spread;
            let turned = if heard < b.on + b.delays[*s] { TURNED } else { 0.0 };
            let end = b.off + b.delays[*s];
            let taken = if !note.one_voice && joins().any(|at| (at - end).abs() < 2.0 * spread) {
                TAKEN
            } else {
                0.0
            };
            let anew = if b.key == note.key && note.bound { ANEW } else { 0.0 };
            turned
                + anew
                + taken
                + 0.5 * (FREEDOM + 1.0) * math::ln(1.0 + z * z / FREEDOM)
                + math::ln(spread * 2.67)
        };
        let best = befores().map(exact).fold(f64::INFINITY, f64::min);
        // Joined to nothing: slower than any note is held over.
        return note.join + if best.is_finite() { best } else { 8.0 };
    }
    let density = |(b, s): (&Sounding, &usize)| {
        let gap = heard - (b.off + b.delays[*s]);
        let z = gap / spread;
        let wide = if gap >= 0.0 { (GAPS, gap) } else { (HELD_OVER, -gap) };
        let ((share, mean), gap) = wide;
        let mut density = share / mean * math::exp(-(gap / mean).min(6.0)) + ABUTTING * normal(z, spread);
        // A patch of one voice: where the next speaks later, it ends what should still sound, and both meet as sent.
        let later = note.delays[state] - b.delays[*s];
        if note.one_voice && later > 0.0 {
            let cut = GAPS.0 * (1.0 - math::exp(-later / GAPS.1));
            density += cut * normal((note.on - b.off) / spread, spread);
        }
        let turned = if note.one_voice && heard < b.on + b.delays[*s] { TURNED } else { 0.0 };
        turned - math::ln(density.max(1e-9))
    };
    let nearest = befores().map(density).fold(f64::INFINITY, f64::min);
    let plain = -math::ln((1.0 - math::exp(-note.join)).max(0.02));
    plain + if nearest.is_finite() { nearest } else { 0.0 }
}

/// The normal density at `z` deviations, for a deviation of `spread`.
fn normal(z: f64, spread: f64) -> f64 {
    math::exp(-0.5 * (z * z).min(80.0)) / (spread * 2.507)
}

/// What a join costs by the name of the note's articulation, in nats (proposals): notes that begin anew by their nature are
/// hardly ever joined (common practice, no source).
pub(crate) fn by_name(name: &str) -> f64 {
    let anew = [
        named::SUSTAIN,
        named::DETACHE,
        named::STACCATO,
        named::STACCATISSIMO,
        named::SPICCATO,
        named::MARCATO,
        named::ACCENT,
        named::TREMOLO,
        named::PIZZICATO,
        named::SNAP_PIZZICATO,
        named::ROLL,
    ];
    if name == named::LEGATO {
        0.2
    } else if anew.contains(&name) {
        3.0
    } else {
        0.9
    }
}
