//! One tempo throughout: scanned over the tempo bounds, then refined with the places as they are.

use crate::fit::{Fit, Kind, Problem};
use crate::{Pace, Step};
use ripieno_units::Beats;

/// The scan steps by this much of a quarter a minute at the wished tempo.
const STEP: f64 = 0.01;
/// More steps than this tell nothing new.
const MOST_STEPS: usize = 200_000;

impl Problem {
    /// Scans the speeds: the least cost with its speed and its places. `worst`: by the greatest error, else by the weighted sum of
    /// squares.
    pub fn scan(&self, worst: bool) -> Option<(f64, Vec<Option<usize>>)> {
        let step = STEP / self.wished;
        let first = (self.speed.0 / step).ceil() as i64;
        let count = ((self.speed.1 / step).floor() as i64 - first + 1).clamp(1, MOST_STEPS as i64);
        let mut best: Option<(f64, f64, Vec<Option<usize>>)> = None;
        for i in 0..count {
            let speed = ((first + i) as f64 * step).clamp(self.speed.0, self.speed.1);
            let places: Vec<Option<usize>> =
                (0..self.hits.len()).map(|hit| self.nearest(hit, self.hits[hit].time * speed)).collect();
            let cost = self.error(1.0 / speed, &places, worst);
            if best.as_ref().is_none_or(|b| cost < b.0) {
                best = Some((cost, speed, places));
            }
        }
        best.map(|(_, speed, places)| (speed, places))
    }

    fn error(&self, period: f64, places: &[Option<usize>], worst: bool) -> f64 {
        let mut out = 0.0f64;
        for (hit, place) in self.hits.iter().zip(places) {
            let Some(place) = place else { continue };
            let error = (hit.time - period * self.places[*place].wish) / hit.within;
            out = if worst { out.max(error.abs()) } else { out + error * error };
        }
        out
    }

    /// One tempo throughout, with the least greatest error, or the least squares.
    pub fn constant(&self, worst: bool) -> Option<Fit> {
        let (scanned, places) = self.scan(worst)?;
        let period = if worst {
            // Convex in the period: thirds of the interval around the scanned speed.
            let (low, high) = (1.0 / self.speed.1, 1.0 / self.speed.0);
            let near = 2.0 * STEP / self.wished;
            let (mut a, mut b) =
                ((1.0 / (scanned + near)).max(low), (1.0 / (scanned - near).max(1e-6)).min(high));
            for _ in 0..200 {
                let (x, y) = (a + (b - a) / 3.0, b - (b - a) / 3.0);
                if self.error(x, &places, true) < self.error(y, &places, true) { b = y } else { a = x }
            }
            (a + b) / 2.0
        } else {
            1.0 / self.least_squares(&places).unwrap_or(scanned)
        };
        let kind = if worst { Kind::LeastWorst } else { Kind::LeastSquares };
        let step = Step { at: Beats::ZERO, pace: self.pace(1.0 / period), ramp: false };
        let missed = places.iter().filter(|p| p.is_none()).count();
        Some(Fit { kind, places, steps: vec![step], missed, cost: None })
    }

    /// The speed with the least weighted sum of squares for these places: period = sum w n t / sum w n n, in closed form, within the
    /// bounds.
    pub fn least_squares(&self, places: &[Option<usize>]) -> Option<f64> {
        let (mut above, mut below) = (0.0, 0.0);
        for (hit, place) in self.hits.iter().zip(places) {
            let Some(place) = place else { continue };
            let (wish, weight) = (self.places[*place].wish, hit.within.powi(-2));
            above += weight * wish * hit.time;
            below += weight * wish * wish;
        }
        (above > 0.0).then(|| (below / above).clamp(self.speed.0, self.speed.1))
    }

    pub(crate) fn pace(&self, speed: f64) -> Pace {
        // Eight decimals: a thousandth of a microsecond a quarter; what is proposed is what is written.
        let tidy = |x: f64| (x * 1e8).round() / 1e8;
        if self.own { Pace::Factor(tidy(speed)) } else { Pace::PerMinute(tidy(speed * self.wished)) }
    }
}
