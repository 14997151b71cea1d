//! How likely a note is heard at a time: by its place in the beat, and by what all lines were found to have there.

use super::grid::{self, Beat, Company, Spot};
use ripieno_music::Timeline;
use ripieno_units::math;
use std::collections::BTreeMap;

/// By the denominator of a place in the beat.
type Shares = [(u8, f64); 8];
/// Shares of notes by the denominator of their place in the beat: proposals, in the order of how common they are.
const SHARES: Shares =
    [(1, 0.40), (2, 0.20), (4, 0.16), (3, 0.11), (6, 0.035), (8, 0.03), (5, 0.02), (12, 0.01)];
/// And of those that lie anywhere: ornaments, slips.
const ANYWHERE: f64 = 0.006;
/// The share of a place that is found with lines only, of the least common denominator.
const SELDOM: f64 = 0.001;
/// So many notes the table of shares is worth against those that a line was found to have.
const TABLE_NOTES: f64 = 60.0;
/// How many times likelier a place is for each other line that has it.
const LIKE_OTHERS: f64 = 2.0;
/// And for each note of its own line in this beat that asks for the same division.
const LIKE_ITSELF: f64 = 3.0;

/// What is known of where notes are heard.
#[derive(Clone, Debug)]
pub struct Ground {
    beats: Vec<Beat>,
    total: Company,
    own: BTreeMap<String, OwnPlaces>,
    /// How far all lines lie behind the beat, in seconds.
    behind: f64,
    shares: BTreeMap<String, Shares>,
    /// The players' deviation, in seconds.
    pub spread: f64,
}

#[derive(Clone, Debug, Default)]
pub(super) struct OwnPlaces {
    pub places: Company,
    /// How far the line lies behind the beat, in seconds.
    pub behind: f64,
}

/// [`SHARES`] as a line was found to keep them: a line without triplets has none where a note comes a little early.
fn shares_of(places: &Company) -> Shares {
    let total: f64 = SHARES.iter().map(|s| s.1).sum();
    let found = |parts: u8| places.keys().filter(|spot| spot.2 == parts).count() as f64;
    let all = places.len() as f64 + TABLE_NOTES;
    SHARES.map(|(parts, share)| (parts, total * (found(parts) + TABLE_NOTES * share / total) / all))
}

impl Ground {
    /// Nothing but beats.
    pub fn bare(timeline: &Timeline) -> Self {
        Self {
            beats: grid::beats(timeline),
            total: Company::new(),
            own: BTreeMap::new(),
            behind: 0.0,
            shares: BTreeMap::new(),
            spread: super::SPREAD,
        }
    }

    pub(super) fn new(beats: Vec<Beat>, own: BTreeMap<String, OwnPlaces>, spread: f64) -> Self {
        let mut total = Company::new();
        for spot in own.values().flat_map(|line| line.places.keys()) {
            *total.entry(*spot).or_default() += 1;
        }
        let shares = own.iter().map(|(id, line)| (id.clone(), shares_of(&line.places))).collect();
        // What all lines share lies in how they were recorded. What one has alone may as well come from a delay taken for another,
        // which must not speak for itself.
        let apart = own.values().filter(|line| !line.places.is_empty()).map(|line| line.behind);
        let behind = apart.min_by(|a, b| a.abs().total_cmp(&b.abs())).unwrap_or(0.0);
        Self { beats, total, own, behind, shares, spread }
    }

    /// How likely a note of the track with this id is heard at a time in seconds: the logarithm of a density in 1/s.
    pub fn likely(&self, id: &str, at: f64) -> f64 {
        let none = OwnPlaces::default();
        let own = self.own.get(id).unwrap_or(&none);
        let at = at - self.behind;
        let b = self.beats.partition_point(|b| b.from <= at).saturating_sub(1);
        let Some(beat) = self.beats.get(b) else { return 0.0 };
        let length = (beat.to - beat.from).max(1e-3);
        let spread = self.spread.max(0.004);
        let (mut sum, mut weights) = (0.0, 0.0);
        let mut offer = |spot: Spot, share: f64, from: f64| {
            let mine = u32::from(own.places.contains_key(&spot));
            let others = self.total.get(&spot).copied().unwrap_or(0).saturating_sub(mine);
            let mut share = share * (1.0 + LIKE_OTHERS * f64::from(others.min(4)));
            if spot.2 > 1 {
                let row = own.places.range((spot.0, 0, 0)..=(spot.0, u8::MAX, u8::MAX));
                let like = row.filter(|(s, _)| s.2 == spot.2 && s.1 != spot.1).count();
                share *= 1.0 + LIKE_ITSELF * like.min(4) as f64;
            }
            let z = (at - from - length * f64::from(spot.1) / f64::from(spot.2)) / spread;
            sum += share * math::exp(-0.5 * (z * z).min(100.0));
            share
        };
        for (parts, share) in self.shares.get(id).copied().unwrap_or(SHARES) {
            let places = (0..parts).filter(|k| coprime(*k, parts));
            let count = places.clone().count().max(1) as f64;
            for k in places {
                weights += offer((b, k, parts), share / count, beat.from);
            }
        }
        let found = self.total.range((b, 0, 0)..=(b, u8::MAX, u8::MAX));
        for (spot, _) in found.filter(|(s, _)| SHARES.iter().all(|p| p.0 != s.2)) {
            weights += offer(*spot, SELDOM, beat.from);
        }
        // The next beat, for what comes early.
        offer((b + 1, 0, 1), SHARES[0].1, beat.to);
        let peak = sum / weights.max(1e-9) / (spread * 2.507);
        math::ln(ANYWHERE / length + (1.0 - ANYWHERE) * peak)
    }
}

fn coprime(a: u8, b: u8) -> bool {
    let (mut a, mut b) = (a, b);
    while b > 0 {
        (a, b) = (b, a % b);
    }
    a == 1
}

#[cfg(test)]
mod tests {
    use super::*;
    use ripieno_music::Metre;

    #[test]
    fn a_lag_of_one_line_alone_is_not_believed() {
        let timeline = Timeline::regular(2, Metre { beats: 4, unit: 4 }, 120.0);
        let line = |behind: f64| {
            let places = (0..8).map(|beat| ((beat, 0, 1), 1)).collect();
            OwnPlaces { places, behind }
        };
        let likeliest = |behinds: [f64; 2]| {
            let own =
                BTreeMap::from([("a".to_string(), line(behinds[0])), ("b".to_string(), line(behinds[1]))]);
            let ground = Ground::new(grid::beats(&timeline), own, 0.008);
            // Around the third beat, at one second.
            let at = |ms: i32| ground.likely("b", 1.0 + f64::from(ms) / 1000.0);
            (-40..=40).max_by(|x, y| at(*x).total_cmp(&at(*y))).unwrap()
        };
        assert_eq!(likeliest([0.0, 0.024]), 0);
        assert_eq!(likeliest([0.020, 0.024]), 20);
    }
}
