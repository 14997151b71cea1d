//! What a piece and a line are in the habit of: how often their beats are divided in which way.
//!
//! A piece without triplets has none where a note comes a little early. What was found in one round is the prior of the next,
//! the line's own over the piece's over the table's (counts with pseudo-counts, as for a Dirichlet prior).

use super::grid::{Costs, SUBDIVISIONS, Written, table};
use ripieno_units::math;
use std::collections::BTreeMap;

/// So many beats the table is worth against those of the piece.
const TABLE_BEATS: f64 = 40.0;
/// And so many the piece against those of the line.
const PIECE_BEATS: f64 = 40.0;
/// What habit adds or takes away at most, in nats.
const MOST: f64 = 4.0;

/// Beats by the number of their parts.
type Counts = BTreeMap<u8, f64>;

/// What divisions cost each line.
pub(super) fn learned(lines: &[&[Written]]) -> Vec<Costs> {
    let own: Vec<Counts> = lines.iter().map(|l| counted(l)).collect();
    let mut piece = Counts::new();
    for (parts, count) in own.iter().flatten() {
        *piece.entry(*parts).or_default() += count;
    }
    let mut plain = Counts::new();
    for one in SUBDIVISIONS {
        *plain.entry(one.parts).or_default() += math::exp(-one.cost);
    }
    let plain = shares(&Counts::new(), &plain, 1.0);
    let piece = shares(&piece, &plain, TABLE_BEATS);
    own.iter()
        .map(|counts| {
            let line = shares(counts, &piece, PIECE_BEATS);
            let mut costs = table();
            for (cost, one) in costs.iter_mut().zip(SUBDIVISIONS) {
                let share = |of: &Counts| of.get(&one.parts).copied().unwrap_or(1e-6).max(1e-6);
                let habit = -math::ln(share(&line) / share(&plain));
                *cost = (*cost + habit.clamp(-MOST, MOST)).max(0.0);
            }
            costs
        })
        .collect()
}

/// Shares out of counts and what is thought before, which is worth so many.
fn shares(counts: &Counts, before: &Counts, worth: f64) -> Counts {
    let all = counts.values().sum::<f64>() + worth * before.values().sum::<f64>();
    before
        .iter()
        .map(|(parts, share)| {
            (*parts, (counts.get(parts).copied().unwrap_or(0.0) + worth * share) / all.max(1e-9))
        })
        .collect()
}

/// The beats of a line by the least number of parts that has all its places.
fn counted(line: &[Written]) -> Counts {
    let mut beats: BTreeMap<usize, u32> = BTreeMap::new();
    for written in line {
        let Written::At((beat, _, parts)) = written else { continue };
        let so_far = beats.entry(*beat).or_insert(1);
        *so_far = common(*so_far, u32::from((*parts).max(1)));
    }
    let mut counts = Counts::new();
    for parts in beats.values().filter_map(|p| u8::try_from(*p).ok()) {
        *counts.entry(parts).or_default() += 1.0;
    }
    counts
}

/// The least common multiple.
fn common(a: u32, b: u32) -> u32 {
    let (mut x, mut y) = (a, b);
    while y > 0 {
        (x, y) = (y, x % y);
    }
    (a / x.max(1)).saturating_mul(b)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_a_piece_does_costs_less_and_what_it_never_does_more() {
        let sixteenths: Vec<Written> =
            (0..200).flat_map(|b| (0..4u8).map(move |k| Written::At((b, k, 4)))).collect();
        let costs = &learned(&[&sixteenths])[0];
        let cost = |parts: u8, of: &Costs| {
            SUBDIVISIONS.iter().zip(of).find(|(s, _)| s.parts == parts).map_or(0.0, |(_, c)| *c)
        };
        assert!(cost(4, costs) < cost(4, &table()));
        assert!(cost(3, costs) > cost(3, &table()) + 1.0);
        let nothing = learned(&[&[]]);
        assert!(nothing[0].iter().zip(table()).all(|(a, b)| (a - b).abs() < 1e-9));
    }
}
