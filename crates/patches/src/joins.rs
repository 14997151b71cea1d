//! Which notes of a played chair were joined to the one before, and so which delay each had.
//!
//! No MIDI file says it. The most likely answers are sought together, over the notes in the order in which they would then be
//! heard: each pays for how it meets the notes before it (as a joined note must, or as any other may), for how unusual a join is by
//! its name, for how likely a note is at that time, and for a step that the run it stands in does not have.

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
    /// What its velocity costs, in nats, where it has its own attack and where it is joined.
    pub velocity: [f64; 2],
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
/// What is sent further apart than this, in seconds, was not meant as one chord; delays that differ by less are alike.
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

/// What it costs, in nats, that two notes of one articulation, sent one after the other, are heard as one chord.
const CROWDED: f64 = 5.0;
/// The variance of melodic steps, in square semitones (Temperley 2008, A probabilistic model of melody perception; from memory).
const LEAP: f64 = 7.2;
/// After a step of so many semitones at most, a note at most so far away lies further on in the same direction in this share of
/// cases, and not back (of quick notes in sixteen scores 0.71, of all 0.64).
const STEPS: (f64, f64) = (2.0, 4.0);
const ONWARD: f64 = 0.7;
/// A stroke shorter than this, in seconds, stands in an ornament or a run; what it costs, in nats, that nothing begins where it
/// ends.
const STUB: (f64, f64) = (0.042, 1.5);
/// What it costs, in nats, that a note was sent with the one before it for want of time.
const HURRY: f64 = 3.0;
/// What it costs, in nats, that a note was joined that never is: a plucked one.
const NEVER: f64 = 30.0;

/// So many paths are followed, none that costs so many nats more than the cheapest.
const MOST: usize = 24;
const MARGIN: f64 = 14.0;
/// Paths whose last notes are the same go on alike.
const MEMORY: usize = 8;

/// How a note began.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Way {
    /// With its own attack.
    Plain,
    /// Joined to a note before it.
    Joined,
    /// Joined, and sent as soon as the note before it, since its delay left no time: heard somewhere between that note and
    /// its own time.
    Hurried,
}

/// How a note began, and when it is heard and ends, in seconds.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Begun {
    pub way: Way,
    pub heard: f64,
    pub end: f64,
}

/// A note on a path.
#[derive(Clone, Copy, Debug)]
struct Place {
    /// Its index.
    note: usize,
    begun: Begun,
}

/// One way to read the notes so far.
#[derive(Clone, Debug)]
struct Path {
    /// In nats.
    cost: f64,
    /// The last notes, in the order in which they are heard.
    recent: Vec<Place>,
    /// How many of them are judged: what is sent later is heard later than these.
    judged: usize,
    /// Index of its last answer.
    last: usize,
}

/// Do the notes come in this order, as far as their delays and their players say? A note-on apart from another by less than
/// players stray says nothing of which came first.
fn leads(one: &Sounding, one_at: f64, next: &Sounding, next_at: f64) -> bool {
    if next.one_voice {
        // A patch of one voice is sent its notes in their order.
        one.on + TOGETHER < next.on && (next.on - one.on > AT_ONCE || one_at < next_at + AT_ONCE)
            || (next.on - one.on).abs() < AT_ONCE && one_at + AT_ONCE < next_at
    } else {
        one_at + TOGETHER < next_at
    }
}

/// The mean of the two delays that a note may have had.
fn mean(note: &Sounding) -> f64 {
    0.5 * (note.delays[0] + note.delays[1])
}

/// How every note began (`notes` in the order of their note-ons): `spread` is the players' deviation in seconds, `likely` gives
/// nats for a note that is heard at a time in seconds.
///
/// A beam search: notes are taken as they were sent, and each is judged once all that is heard before it is known.
pub(crate) fn begun(notes: &[Sounding], spread: f64, likely: &dyn Fn(f64) -> f64) -> Vec<Begun> {
    let mut soonest = vec![f64::INFINITY; notes.len() + 1];
    for (i, note) in notes.iter().enumerate().rev() {
        soonest[i] = soonest[i + 1].min(note.on + note.delays[0].min(note.delays[1]));
    }
    let mut answers: Vec<(usize, Begun)> = Vec::with_capacity(4 * notes.len());
    let mut paths = vec![Path { cost: 0.0, recent: Vec::new(), judged: 0, last: usize::MAX }];
    for (i, note) in notes.iter().enumerate() {
        for path in &mut paths {
            judge(notes, path, soonest[i], spread);
        }
        let at = [0, 1].map(|d| -likely(note.on + note.delays[d]));
        let alike = (note.delays[0] - note.delays[1]).abs() < 1e-6;
        let mut next: Vec<Path> = Vec::with_capacity(2 * paths.len());
        for path in &paths {
            let mut go = |begun: Begun, cost: f64| {
                let mut path = path.clone();
                let place = path.judged
                    + path.recent[path.judged..].iter().take_while(|p| p.begun.heard <= begun.heard).count();
                path.recent.insert(place, Place { note: i, begun });
                path.cost += cost;
                answers.push((path.last, begun));
                path.last = answers.len() - 1;
                next.push(path);
            };
            for (way, d) in [(Way::Plain, 0), (Way::Joined, 1)] {
                let delay = note.delays[d];
                let begun = Begun { way, heard: note.on + delay, end: note.off + delay };
                go(begun, note.velocity[d] + if alike { 0.0 } else { at[d] });
            }
            if let Some((begun, cost)) = hurried(notes, path, i, spread) {
                go(begun, cost + note.velocity[1] - likely(begun.heard));
            }
        }
        paths = thinned(next);
    }
    for path in &mut paths {
        judge(notes, path, f64::INFINITY, spread);
    }
    let best = paths.iter().min_by(|a, b| a.cost.total_cmp(&b.cost));
    let mut found = Vec::with_capacity(notes.len());
    let mut at = best.map_or(usize::MAX, |p| p.last);
    while let Some((before, begun)) = answers.get(at) {
        found.push(*begun);
        at = *before;
    }
    found.reverse();
    found
}

/// The cheapest paths, of those that end alike the cheapest alone.
fn thinned(mut paths: Vec<Path>) -> Vec<Path> {
    paths.sort_by(|a, b| a.cost.total_cmp(&b.cost));
    let Some(least) = paths.first().map(|p| p.cost) else { return paths };
    let mut kept: Vec<Path> = Vec::with_capacity(MOST);
    for mut path in paths {
        if kept.len() == MOST || path.cost > least + MARGIN {
            break;
        }
        let same = |a: &Path| {
            let tail = |p: &Path| p.recent.len().saturating_sub(MEMORY).min(p.judged);
            let (a, b) = (&a.recent[tail(a)..], &path.recent[tail(&path)..]);
            a.len() == b.len()
                && a.iter().zip(b).all(|(a, b)| {
                    a.note == b.note
                        && (a.begun.heard - b.begun.heard).abs() < 1e-6
                        && a.begun.way == b.begun.way
                })
        };
        if !kept.iter().any(same) {
            path.cost -= least;
            kept.push(path);
        }
    }
    kept
}

/// Judges the notes of a path that are heard before a time: nothing more comes before them.
fn judge(notes: &[Sounding], path: &mut Path, until: f64, spread: f64) {
    while let Some(here) = path.recent.get(path.judged).filter(|p| p.begun.heard < until).copied() {
        let before = &path.recent[..path.judged];
        path.cost += step(notes, before, &here, spread)
            + leap(notes, before, &here)
            + stub(before, &here)
            + meeting(notes, &path.recent, path.judged, spread);
        path.judged += 1;
    }
    let old = path.judged.saturating_sub(REACH);
    path.recent.drain(..old);
    path.judged -= old;
}

/// Note `i` as one whose delay left no time: it was sent with the note that it is joined to, which players may have put after it,
/// and takes over where that one ends. With what that costs, in nats.
fn hurried(notes: &[Sounding], path: &Path, i: usize, spread: f64) -> Option<(Begun, f64)> {
    let note = &notes[i];
    let near = AT_ONCE.max(2.0 * spread);
    let latest = note.on + note.delays[1];
    let behind = |lead: &Sounding, at: f64, lead_end: f64| {
        let end = note.off + note.delays[1];
        let heard = if note.one_voice { 0.5 * (at + end) } else { lead_end };
        let fits = (note.on - lead.on).abs() < near
            && lead.key != note.key
            && at + TOGETHER < heard
            && heard + TOGETHER < end.min(latest - APART);
        let z = (note.on - lead.on) / (MEETING * spread);
        // It meets by how they were sent, not by how it is heard.
        let met = 0.5 * z * z + math::ln(MEETING * spread * 2.507);
        fits.then_some((Begun { way: Way::Hurried, heard, end }, HURRY + note.join + met))
    };
    let sent = path.recent.iter().rev().find_map(|p| behind(&notes[p.note], p.begun.heard, p.begun.end));
    let to_come = || {
        let all = notes[i + 1..].iter().take_while(|n| n.on - note.on < near);
        all.filter_map(|n| behind(n, n.on + n.delays[0], n.off + n.delays[0])).next()
    };
    sent.or_else(to_come)
}

/// What it costs, in nats, that the step to a note is as long as the one before it, or another: below zero where it is as long.
/// A note of a run that is taken for late makes three steps uneven.
fn step(notes: &[Sounding], before: &[Place], here: &Place, spread: f64) -> f64 {
    let note = &notes[here.note];
    let heard = here.begun.heard;
    let crowds = |p: &Place| {
        let b = &notes[p.note];
        (note.on - b.on).abs() > APART
            && (mean(note) - mean(b)).abs() < APART
            && heard - p.begun.heard <= STRUCK
            && here.begun.way != Way::Hurried
    };
    let crowded = if before.iter().rev().take(2).any(crowds) { CROWDED } else { 0.0 };
    let mut times = before.iter().rev().map(|p| p.begun.heard);
    let Some(last) = times.find(|at| heard - at > STRUCK) else { return crowded };
    let Some(first) = times.find(|at| last - at > STRUCK) else { return crowded };
    let (before, now) = (last - first, heard - last);
    if before > RUN_STEP {
        return crowded;
    }
    // Of three onsets that stray by themselves, the middle one twice.
    let stray = spread * 2.45;
    crowded - math::ln(1.0 - GOES_ON + GOES_ON * before * normal((now - before) / stray, stray))
}

/// What it costs, in nats, that a note follows those heard before it: lines move by small steps, and go on as they went.
fn leap(notes: &[Sounding], before: &[Place], here: &Place) -> f64 {
    let key = |p: &Place| f64::from(notes[p.note].key);
    let apart = |p: &&Place, from: f64| from - p.begun.heard > TOGETHER;
    let mut earlier = before.iter().rev();
    let Some(last) = earlier.find(|p| apart(p, here.begun.heard)) else { return 0.0 };
    let by = key(here) - key(last);
    // Half of what the law would charge: chairs also play chords and broken chords.
    let far = math::ln(1.0 + by * by / (3.0 * LEAP));
    let Some(first) = earlier.find(|p| apart(p, last.begun.heard)) else { return far };
    let was = key(last) - key(first);
    let steps = was != 0.0 && by != 0.0 && was.abs() <= STEPS.0 && by.abs() <= STEPS.1;
    let share = if was * by > 0.0 { ONWARD } else { 1.0 - ONWARD };
    if steps { far - math::ln(2.0 * share) } else { far }
}

/// What it costs, in nats, that the note heard before this one is too short to stand by itself.
fn stub(before: &[Place], here: &Place) -> f64 {
    let heard = here.begun.heard;
    let last = before.iter().rev().map(|p| p.begun).find(|b| heard - b.heard > TOGETHER);
    let alone = |b: Begun| b.end - b.heard < STUB.0 && (heard - b.end).abs() > APART;
    if last.is_some_and(alone) { STUB.1 } else { 0.0 }
}

/// What it costs, in nats, that the note at `at` meets those before it as it does.
fn meeting(notes: &[Sounding], recent: &[Place], at: usize, spread: f64) -> f64 {
    let here = &recent[at];
    let (note, heard) = (&notes[here.note], here.begun.heard);
    let spread = MEETING * spread;
    let delay = heard - note.on;
    let precedes = |p: &&Place| p.note != here.note && leads(&notes[p.note], p.begun.heard, note, heard);
    // Of one voice: the last that was sent.
    let only = note
        .one_voice
        .then(|| recent.iter().filter(precedes).max_by(|a, b| notes[a.note].on.total_cmp(&notes[b.note].on)));
    let befores = || {
        let all = recent[..at].iter().rev().filter(precedes).take(if note.one_voice { 0 } else { REACH });
        all.chain(only.flatten())
    };
    match here.begun.way {
        Way::Hurried => {
            // Behind a note that did not turn out as it was taken for.
            let led = |p: &Place| note.one_voice || (p.begun.end - heard).abs() < TOGETHER;
            if recent[..at].iter().any(led) { 0.0 } else { 8.0 }
        }
        Way::Joined => {
            // Those joined before it, but for notes of its own chord.
            let joins = || {
                let all = recent[..at].iter().filter(|p| p.begun.way == Way::Joined).map(|p| p.begun.heard);
                all.filter(|at| (heard - at).abs() > AT_ONCE)
            };
            let exact = |p: &Place| {
                let b = &notes[p.note];
                let end = p.begun.end;
                let away = if note.one_voice && b.one_voice {
                    b.off - (note.on + note.overlap)
                } else {
                    end - heard
                };
                let z = away / spread;
                let turned = if heard < p.begun.heard { TURNED } else { 0.0 };
                let led = !note.one_voice && joins().any(|at| (at - end).abs() < 2.0 * spread);
                let taken = if led { TAKEN } else { 0.0 };
                let anew = if b.key == note.key && note.bound { ANEW } else { 0.0 };
                turned
                    + anew
                    + taken
                    + 0.5 * (FREEDOM + 1.0) * math::ln(1.0 + z * z / FREEDOM)
                    + math::ln(spread * 2.67)
            };
            let best = befores().map(exact).fold(f64::INFINITY, f64::min);
            // Joined to nothing: slower than any note is held over.
            note.join + if best.is_finite() { best } else { 8.0 }
        }
        Way::Plain => {
            let density = |p: &Place| {
                let b = &notes[p.note];
                let gap = heard - p.begun.end;
                let z = gap / spread;
                let wide = if gap >= 0.0 { (GAPS, gap) } else { (HELD_OVER, -gap) };
                let ((share, mean), gap) = wide;
                let mut density =
                    share / mean * math::exp(-(gap / mean).min(6.0)) + ABUTTING * normal(z, spread);
                // A patch of one voice: where the next speaks later, it ends what should still sound, and both meet as sent.
                let later = delay - (p.begun.heard - b.on);
                if note.one_voice && later > 0.0 {
                    let cut = GAPS.0 * (1.0 - math::exp(-later / GAPS.1));
                    density += cut * normal((note.on - b.off) / spread, spread);
                }
                let turned = if note.one_voice && heard < p.begun.heard { TURNED } else { 0.0 };
                turned - math::ln(density.max(1e-9))
            };
            let nearest = befores().map(density).fold(f64::INFINITY, f64::min);
            let plain = -math::ln((1.0 - math::exp(-note.join)).max(0.02));
            plain + if nearest.is_finite() { nearest } else { 0.0 }
        }
    }
}

/// The normal density at `z` deviations, for a deviation of `spread`.
fn normal(z: f64, spread: f64) -> f64 {
    math::exp(-0.5 * (z * z).min(80.0)) / (spread * 2.507)
}

/// What a join costs by the name of the note's articulation, in nats (proposals): notes that begin anew by their nature are
/// hardly ever joined, plucked ones never (common practice, no source).
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
        named::ROLL,
    ];
    if matches!(name, named::PIZZICATO | named::SNAP_PIZZICATO) {
        NEVER
    } else if name == named::LEGATO {
        0.2
    } else if anew.contains(&name) {
        3.0
    } else {
        0.9
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn note(key: u8, on: f64, off: f64) -> Sounding {
        Sounding {
            key,
            on,
            off,
            delays: [0.017, 0.140],
            one_voice: false,
            overlap: 0.0,
            velocity: [0.0; 2],
            bound: true,
            join: by_name(named::LEGATO),
        }
    }

    /// Slurred fives of 75 ms on a delay of 140: the second of each was sent with the first.
    #[test]
    fn a_note_whose_delay_left_no_time_lies_between_its_neighbours() {
        let strays = [0.002, -0.003, 0.001, 0.004, -0.002, 0.000, -0.004, 0.003];
        let mut notes = Vec::new();
        for group in 0..4 {
            let start = 1.0 + 0.375 * f64::from(group);
            for k in 0..5u8 {
                let heard = start + 0.075 * f64::from(k);
                let delay = if k == 0 { 0.017 } else { 0.140 };
                let on = (heard - delay).max(start - 0.016) + strays[notes.len() % strays.len()];
                notes.push(note(53 + 2 * k, on, heard + 0.075 - delay + strays[(3 + notes.len()) % 8]));
            }
        }
        notes.sort_by(|a, b| a.on.total_cmp(&b.on));
        let found = begun(&notes, 0.010, &|_| 0.0);
        for (note, begun) in notes.iter().zip(&found) {
            let k = f64::from((note.key - 53) / 2);
            let place = (begun.heard - 1.0 - 0.075 * k) / 0.375;
            assert!((place - place.round()).abs() < 0.05, "{note:?} {begun:?}");
        }
    }

    /// Two slurred notes of a rising line, sent at one time: nothing but the line tells their order.
    #[test]
    fn a_line_goes_on_as_it_went() {
        let mut notes = Vec::new();
        for group in 0..4 {
            let start = 1.0 + 0.492 * f64::from(group);
            for k in 0..4u8 {
                let heard = start + 0.123 * f64::from(k);
                let delay = if k % 2 == 0 { 0.017 } else { 0.140 };
                // The second pair of each group goes on from the first; both are sent at once.
                notes.push(note(60 + k + 12 * (group % 2) as u8, heard - delay, heard + 0.123 - delay));
            }
        }
        notes.sort_by(|a, b| a.on.total_cmp(&b.on));
        let found = begun(&notes, 0.010, &|_| 0.0);
        for (note, begun) in notes.iter().zip(&found) {
            let late = f64::from((note.key - 60) % 12) * 0.123;
            let place = (begun.heard - 1.0 - late) / 0.492;
            assert!((place - place.round()).abs() < 0.05, "{note:?} {begun:?}");
        }
    }

    #[test]
    fn plucked_notes_are_never_joined() {
        // Each second one would end the first exactly if it were joined.
        let plucked = |i: u8| {
            let on = 1.0 + f64::from(i / 2) + if i.is_multiple_of(2) { 0.0 } else { 0.127 };
            Sounding { join: by_name(named::PIZZICATO), bound: false, ..note(60 + i, on, on + 0.25) }
        };
        let notes: Vec<Sounding> = (0..8).map(plucked).collect();
        assert!(begun(&notes, 0.010, &|_| 0.0).iter().all(|b| b.way == Way::Plain));
    }
}
