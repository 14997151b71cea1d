//! Finding the written place of every onset of a track: a most likely path through the subdivisions of the beats.
//!
//! Each onset may lie on any place of any subdivision of its beat; a path pays for the distance from what was played (a normal
//! deviation), for each place by how far down it lies in the beat, and for each beat by how unusual its subdivision is. The
//! cheapest path is found by dynamic programming (after Cemgil, Desain and Kappen 2000, Rhythm quantization for
//! transcription: likelihood of the performance times a prior on notations; the prior's figures here are proposals).

use super::{graces, turns};
use ripieno_music::{OrnamentKind, Timeline};
use ripieno_units::Beats;
use std::collections::BTreeMap;

/// A way to divide a beat.
#[derive(Clone, Copy, Debug)]
pub(super) struct Division {
    /// Into how many places.
    pub parts: u8,
    /// What it costs a beat to be so divided, in nats.
    pub cost: f64,
    /// Each place has its note, but perhaps the first. Such a beat is told by its number of notes: its notes pay nothing for
    /// their places, and where other tracks have theirs is no evidence against it.
    full: bool,
}

const fn part(parts: u8, cost: f64) -> Division {
    Division { parts, cost, full: false }
}

const fn full(parts: u8, cost: f64) -> Division {
    Division { parts, cost, full: true }
}

/// Subdivisions of a beat: proposals, in the order of how common they are. In full stand those that no halving of the beat
/// gives: a note left out, and they look like a pattern of common places.
pub(super) const SUBDIVISIONS: [Division; 16] = [
    part(1, 0.0),
    part(2, 0.3),
    part(4, 0.7),
    part(3, 1.5),
    part(6, 2.2),
    part(8, 3.6),
    part(12, 5.0),
    part(5, 5.5),
    part(16, 6.0),
    part(7, 6.5),
    part(9, 7.0),
    part(24, 8.0),
    full(6, 3.5),
    full(5, 5.5),
    full(7, 6.5),
    full(9, 7.5),
];
/// What each of [`SUBDIVISIONS`] costs a line.
pub(super) type Costs = [f64; SUBDIVISIONS.len()];

/// Their costs before anything is known of a piece.
pub(super) fn table() -> Costs {
    SUBDIVISIONS.map(|s| s.cost)
}

/// What an onset pays by the denominator of its place in the beat, in nats.
const PLACES: [(u8, f64); 12] = [
    (1, 0.0),
    (2, 0.4),
    (4, 1.0),
    (3, 1.2),
    (6, 2.4),
    (8, 1.9),
    (12, 2.8),
    (5, 2.2),
    (16, 3.2),
    (7, 2.6),
    (9, 3.0),
    (24, 4.0),
];
/// A beat divided as the one before it pays this share.
const AS_BEFORE: f64 = 0.4;
/// What it costs, in nats, that a full beat begins with a rest or a held note.
const FIRST_MISSING: f64 = 2.0;
/// Grace notes before one note.
const MOST_GRACES: usize = 6;
/// Beyond so many deviations the cost grows straight: a slip is a slip.
const KNEE: f64 = 3.0;
/// Two notes at one place lie no further apart, in seconds: a loosely struck chord.
const CHORD: f64 = 0.070;
/// What it costs that notes which follow each other are written as a chord, in nats.
const NO_CHORD: f64 = 9.0;
/// What no notation should have: a key twice at one place, a note before the one that was played before it. Not infinite, so
/// that there is always a path.
const WRONG: f64 = 80.0;

/// An onset as played.
#[derive(Clone, Copy, Debug)]
pub(super) struct Onset {
    /// In seconds.
    pub on: f64,
    /// Its end, in seconds.
    pub end: f64,
    /// Its key, to tell a chord from a repetition.
    pub key: i16,
}

/// A beat of the score.
#[derive(Clone, Copy, Debug)]
pub(super) struct Beat {
    pub at: Beats,
    pub length: Beats,
    pub from: f64,
    pub to: f64,
}

/// A written place: index of the beat, numerator and denominator in lowest terms.
pub(super) type Spot = (usize, u8, u8);

/// Where an onset is written.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum Written {
    /// At a place.
    At(Spot),
    /// A grace note of the next note that is none.
    Grace,
    /// A stroke of the ornament of the note at the last place.
    Stroke(OrnamentKind),
}

/// What other tracks have: how many onsets at a place.
pub(super) type Company = BTreeMap<Spot, u32>;

/// The beats of a timeline: its metre's lower number, a quarter at the longest.
pub(super) fn beats(timeline: &Timeline) -> Vec<Beat> {
    let clock = timeline.clock();
    let mut all = Vec::new();
    for bar in &timeline.bars {
        let unit = bar.metre.beat().min(Beats::whole(1)).max(Beats::new(1, 16));
        let mut at = bar.at;
        let end = bar.at + bar.length;
        while at < end {
            let length = unit.min(end - at);
            let (from, to) = (clock.seconds(at).0, clock.seconds(at + length).0);
            all.push(Beat { at, length, from, to: to.max(from + 1e-6) });
            at += length;
        }
    }
    all
}

impl Beat {
    pub fn place(&self, spot: Spot) -> Beats {
        self.at + self.length.scaled(i64::from(spot.1), i64::from(spot.2.max(1)))
    }

    fn seconds(&self, k: u8, s: u8) -> f64 {
        self.from + (self.to - self.from) * f64::from(k) / f64::from(s)
    }
}

fn lowest(k: u8, s: u8) -> (u8, u8) {
    let (mut a, mut b) = (k, s);
    while b > 0 {
        (a, b) = (b, a % b);
    }
    if k == 0 { (0, 1) } else { (k / a.max(1), s / a.max(1)) }
}

/// A place that an onset may have, under a subdivision of its beat.
#[derive(Clone, Copy, Debug)]
struct Candidate {
    beat: usize,
    k: u8,
    /// Index in [`SUBDIVISIONS`].
    sub: usize,
    cost: f64,
}

impl Candidate {
    fn order(&self) -> (usize, u32) {
        // A common denominator of all subdivisions: 16 * 9 * 5 * 7.
        (self.beat, u32::from(self.k) * 5040 / u32::from(SUBDIVISIONS[self.sub].parts))
    }

    /// May the next onset lie in another beat?
    fn may_leave(&self) -> bool {
        let Division { parts, full, .. } = SUBDIVISIONS[self.sub];
        !full || self.k + 1 == parts
    }
}

/// The cheapest way to a candidate: from which onset and which of its candidates, and the turn whose strokes lie between.
#[derive(Clone, Copy, Debug)]
struct Step {
    cost: f64,
    before: usize,
    its: usize,
    turn: Option<OrnamentKind>,
}

/// Before the first onset.
const START: usize = usize::MAX;

/// Finds the written places of onsets (in order of time). `spread` is the players' deviation in seconds; `company` what is
/// known of other tracks, `habit` what divisions cost this line.
pub(super) fn places(
    onsets: &[Onset],
    beats: &[Beat],
    spread: f64,
    company: &Company,
    habit: &Costs,
) -> Vec<Written> {
    if onsets.is_empty() || beats.is_empty() {
        return Vec::new();
    }
    let costs = beat_costs(beats.len(), company, habit);
    let candidates: Vec<Vec<Candidate>> =
        onsets.iter().map(|o| candidates(o, beats, spread, company)).collect();
    // Cheapest cost of a path that ends in candidate `c` of onset `i`, with the onset and candidate before it.
    let mut paths: Vec<Vec<Step>> = Vec::with_capacity(onsets.len());
    let turned: Vec<Option<turns::Turn>> = (0..onsets.len()).map(|i| turns::from(onsets, i)).collect();
    for i in 0..onsets.len() {
        let haste = graces::haste(onsets, i);
        let graced: Vec<f64> = (0..=MOST_GRACES.min(i))
            .take_while(|n| *n == 0 || graces::may_be(onsets, i - n, i))
            .map(|n| graces::cost(onsets, i - n, i))
            .collect();
        let mut row = Vec::with_capacity(candidates[i].len());
        for here in &candidates[i] {
            let mut best = Step { cost: f64::INFINITY, before: START, its: 0, turn: None };
            for (skipped, graces) in graced.iter().copied().enumerate() {
                if skipped == i {
                    let cost = graces + entering(here, None, &costs);
                    best = if cost < best.cost { Step { cost, ..best } } else { best };
                    break;
                }
                let before = i - skipped - 1;
                for (c, there) in candidates[before].iter().enumerate() {
                    let so_far = paths[before][c].cost + graces;
                    if so_far >= best.cost {
                        continue;
                    }
                    let cost = so_far + follow(there, here, &onsets[before], &onsets[i], skipped > 0, &costs);
                    if cost < best.cost {
                        best = Step { cost, before, its: c, turn: None };
                    }
                }
            }
            // Or the notes just before it are strokes of a turn.
            for before in i.saturating_sub(turns::MOST + 1)..i {
                let Some(turn) = turned[before].filter(|t| before + t.strokes + 1 == i) else { continue };
                for (c, there) in candidates[before].iter().enumerate() {
                    let cost = paths[before][c].cost
                        + turn.cost
                        + follow(there, here, &onsets[before], &onsets[i], true, &costs);
                    if cost < best.cost {
                        best = Step { cost, before, its: c, turn: Some(turn.kind) };
                    }
                }
            }
            row.push(Step { cost: best.cost + here.cost + haste, ..best });
        }
        paths.push(row);
    }
    let mut written = vec![Written::Grace; onsets.len()];
    // The last onset has a place of its own, and a full beat is full.
    let last = onsets.len() - 1;
    for (path, candidate) in paths[last].iter_mut().zip(&candidates[last]) {
        path.cost += if candidate.may_leave() { 0.0 } else { WRONG };
    }
    let mut at = cheapest(&paths[last]).map(|c| (last, c));
    while let Some((i, c)) = at {
        let one = candidates[i][c];
        let (k, s) = lowest(one.k, SUBDIVISIONS[one.sub].parts);
        written[i] = Written::At((one.beat, k, s));
        let Step { before, its, turn, .. } = paths[i][c];
        if let Some(kind) = turn {
            written[before + 1..i].fill(Written::Stroke(kind));
        }
        at = (before != START).then_some((before, its));
    }
    written
}

fn cheapest(row: &[Step]) -> Option<usize> {
    (0..row.len()).min_by(|a, b| row[*a].cost.total_cmp(&row[*b].cost))
}

/// For each beat and subdivision what it costs, less where other tracks divide it so.
fn beat_costs(count: usize, company: &Company, habit: &Costs) -> Vec<Costs> {
    let mut costs = vec![*habit; count];
    for (spot, others) in company {
        let Some(row) = costs.get_mut(spot.0).filter(|_| spot.2 > 1) else { continue };
        for (i, division) in SUBDIVISIONS.iter().enumerate() {
            if division.parts.is_multiple_of(spot.2) {
                let share = if division.parts == spot.2 { 1.0 } else { 0.5 };
                row[i] = row[i].min(habit[i] / (1.0 + share * f64::from((*others).min(4))));
            }
        }
    }
    costs
}

fn candidates(onset: &Onset, beats: &[Beat], spread: f64, company: &Company) -> Vec<Candidate> {
    let b = beats.partition_point(|b| b.from <= onset.on).saturating_sub(1);
    let mut found: Vec<Candidate> = Vec::new();
    let mut push = |beat: usize, k: u8, sub: usize| {
        let Some(one) = beats.get(beat) else { return };
        if found.iter().any(|f| (f.beat, f.k, f.sub) == (beat, k, sub)) {
            return;
        }
        let Division { parts: s, full, .. } = SUBDIVISIONS[sub];
        let deviation = (onset.on - one.seconds(k, s)).abs() / spread;
        let away = if deviation <= KNEE {
            0.5 * deviation * deviation
        } else {
            KNEE * deviation - 0.5 * KNEE * KNEE
        };
        let spot = lowest(k, s);
        let place = PLACES.iter().find(|p| p.0 == spot.1).map_or(5.0, |p| p.1);
        let place = if full { 0.0 } else { place };
        let others = if full { around(company, beat, k, s) } else { at(company, (beat, spot.0, spot.1)) };
        let place = place - LIKE_OTHERS * ripieno_units::math::log10(1.0 + f64::from(others.min(9)));
        found.push(Candidate { beat, k, sub, cost: away + place });
    };
    let here = &beats[b];
    let fraction = (onset.on - here.from) / (here.to - here.from);
    for (sub, Division { parts: s, .. }) in SUBDIVISIONS.iter().enumerate() {
        let step = (here.to - here.from) / f64::from(*s);
        // Finer than two deviations nothing can be told.
        if *s > 1 && step < 1.5 * spread {
            continue;
        }
        let below = (fraction * f64::from(*s)).floor().clamp(-1.0, f64::from(*s)) as i32;
        for k in [below, below + 1] {
            if k >= i32::from(*s) {
                push(b + 1, 0, sub);
            } else if k >= 0 {
                push(b, k as u8, sub);
            }
        }
        // The end of the beat before, for what comes late.
        if fraction < 0.25 && b > 0 && *s > 1 {
            push(b - 1, s - 1, sub);
        }
    }
    found
}

fn at(company: &Company, spot: Spot) -> u32 {
    company.get(&spot).copied().unwrap_or(0)
}

/// The most onsets of other tracks at one place that is nearer to `k/s` of a beat than to its neighbours.
fn around(company: &Company, beat: usize, k: u8, s: u8) -> u32 {
    let near = |spot: &Spot| {
        let (a, b) = (i32::from(spot.1) * i32::from(s), i32::from(k) * i32::from(spot.2));
        2 * (a - b).abs() <= i32::from(spot.2)
    };
    let all = company.range((beat, 0, 0)..=(beat, u8::MAX, u8::MAX));
    all.filter(|(spot, _)| near(spot)).map(|(_, others)| *others).max().unwrap_or(0)
}

/// What a place gains, in nats for a tenfold number, from onsets of other tracks at it.
const LIKE_OTHERS: f64 = 2.5;

/// What it costs to enter the beat of a candidate with its subdivision.
fn entering(here: &Candidate, before: Option<&Candidate>, costs: &[Costs]) -> f64 {
    let parts = |c: &Candidate| SUBDIVISIONS[c.sub].parts;
    let missing = match (SUBDIVISIONS[here.sub].full, here.k) {
        (false, _) | (true, 0) => 0.0,
        (true, 1) => FIRST_MISSING,
        (true, _) => return f64::INFINITY,
    };
    let plain = costs.get(here.beat).map_or(0.0, |row| row[here.sub]) + missing;
    let same = before.is_some_and(|b| parts(b) == parts(here) && here.beat - b.beat <= 2);
    if same { plain * AS_BEFORE } else { plain }
}

fn follow(
    there: &Candidate,
    here: &Candidate,
    first: &Onset,
    second: &Onset,
    graces_between: bool,
    costs: &[Costs],
) -> f64 {
    if there.beat == here.beat {
        if there.sub != here.sub || here.k < there.k {
            return f64::INFINITY;
        }
        if here.k == there.k {
            return together(first, second, graces_between);
        }
        let skips = SUBDIVISIONS[here.sub].full && here.k > there.k + 1;
        return if skips { f64::INFINITY } else { 0.0 };
    }
    if here.order() < there.order() || !there.may_leave() {
        return f64::INFINITY;
    }
    entering(here, Some(there), costs)
}

/// What it costs to write two onsets as one chord.
fn together(first: &Onset, second: &Onset, graces_between: bool) -> f64 {
    let apart = second.on - first.on;
    if first.key == second.key && apart <= 0.012 {
        return 0.0;
    }
    if graces_between || first.key == second.key || apart > CHORD {
        return WRONG;
    }
    let shared = first.end.min(second.end) - second.on;
    let shorter = (first.end - first.on).min(second.end - second.on).max(0.010);
    if apart <= 0.012 || shared >= 0.5 * shorter { 0.0 } else { NO_CHORD * apart / CHORD }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn beats(count: usize) -> Vec<Beat> {
        let one = |i: usize| Beat {
            at: Beats::whole(i as i64),
            length: Beats::whole(1),
            from: 0.375 * i as f64,
            to: 0.375 * (i + 1) as f64,
        };
        (0..count).map(one).collect()
    }

    /// Fives in full, the first of each a little early, while all others have sixteenths.
    #[test]
    fn full_fives_are_told_by_their_number_of_notes() {
        let mut onsets = Vec::new();
        for beat in 0..8 {
            for (k, off) in [-0.020, -0.004, 0.003, 0.001, 0.004].into_iter().enumerate() {
                let on = 0.375 * f64::from(beat) + 0.075 * k as f64 + off;
                onsets.push(Onset { on, end: on + 0.080, key: 55 + k as i16 });
            }
        }
        let company: Company =
            (0..8usize).flat_map(|b| [(0, 1), (1, 4), (1, 2), (3, 4)].map(|(k, s)| ((b, k, s), 7))).collect();
        for spread in [0.005, 0.008, 0.012, 0.020] {
            for company in [&Company::new(), &company] {
                let found = places(&onsets, &beats(8), spread, company, &table());
                for (i, written) in found.iter().enumerate() {
                    let spot = if i % 5 == 0 { (i / 5, 0, 1) } else { (i / 5, (i % 5) as u8, 5) };
                    assert_eq!(*written, Written::At(spot), "note {i} at a spread of {spread}");
                }
            }
        }
    }

    /// A run of six sevenths after a rest, the next beat long: no group of grace notes is of so many notes.
    #[test]
    fn a_full_beat_may_begin_with_a_rest() {
        let mut onsets = vec![Onset { on: 0.0, end: 0.3, key: 60 }];
        for (k, off) in [0.004, -0.003, 0.002, 0.005, -0.004, 0.001].into_iter().enumerate() {
            let on = 0.375 + 0.375 * (k + 1) as f64 / 7.0 + off;
            onsets.push(Onset { on, end: on + 0.05, key: 62 + k as i16 });
        }
        onsets.push(Onset { on: 0.752, end: 1.4, key: 70 });
        let found = places(&onsets, &beats(4), 0.008, &Company::new(), &table());
        let spots: Vec<Written> = (1..7).map(|k| Written::At((1, k, 7))).collect();
        assert_eq!(found[1..7], spots);
    }

    /// A quick note by itself before the beat is a grace note; a sixteenth is not.
    #[test]
    fn a_quick_note_by_itself_is_a_grace_note() {
        let note = |on: f64, end: f64, key| Onset { on, end, key };
        let graced = [note(0.0, 0.3, 60), note(0.690, 0.750, 62), note(0.752, 1.1, 64), note(1.127, 1.4, 65)];
        let found = places(&graced, &beats(4), 0.010, &Company::new(), &table());
        assert_eq!(found[1], Written::Grace);
        assert_eq!(found[2], Written::At((2, 0, 1)));
        let counted =
            [note(0.0, 0.3, 60), note(0.656, 0.745, 62), note(0.752, 1.1, 64), note(1.127, 1.4, 65)];
        let found = places(&counted, &beats(4), 0.010, &Company::new(), &table());
        assert_eq!(found[1], Written::At((1, 3, 4)));
    }

    /// In a slow tempo a thirty-second is a little longer than a grace note.
    #[test]
    fn a_slow_thirty_second_before_the_beat_is_counted() {
        let beats: Vec<Beat> =
            beats(4).iter().map(|b| Beat { from: 2.24 * b.from, to: 2.24 * b.to, ..*b }).collect();
        let note = |on: f64, end: f64, key| Onset { on, end, key };
        let dotted = [note(0.0, 0.72, 62), note(0.735, 0.83, 62), note(0.840, 1.6, 69), note(1.68, 2.4, 69)];
        let found = places(&dotted, &beats, 0.010, &Company::new(), &table());
        assert_eq!(found[1], Written::At((0, 7, 8)));
    }

    /// In a run a late note is a late note: without it the run would have a hole.
    #[test]
    fn a_late_note_of_a_run_is_no_grace_note() {
        let strays = [0.006, -0.005, 0.003, -0.004, 0.001];
        let onsets: Vec<Onset> = (0..24)
            .map(|i| {
                let stray = if i == 10 { 0.027 } else { strays[i % strays.len()] };
                let on = 0.09375 * i as f64 + stray;
                Onset { on, end: on + 0.085, key: 50 + (i % 4) as i16 }
            })
            .collect();
        let found = places(&onsets, &beats(8), 0.010, &Company::new(), &table());
        for (i, written) in found.iter().enumerate() {
            let (k, s) = lowest((i % 4) as u8, 4);
            assert_eq!(*written, Written::At((i / 4, k, s)), "note {i}");
        }
    }

    #[test]
    fn nothing_is_found_in_nothing() {
        assert!(places(&[], &beats(2), 0.010, &Company::new(), &table()).is_empty());
        assert!(
            places(&[Onset { on: 0.0, end: 0.1, key: 60 }], &[], 0.010, &Company::new(), &table()).is_empty()
        );
    }
}
