//! Places that survive a change of the plan: a passage and the distance from its start, with bar and beat to fall back on.

use ripieno_units::Beats;

/// Passages and bars, as they were or as they are.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Axis {
    /// Name and start of each passage, in order.
    pub passages: Vec<(String, Beats)>,
    /// The bars, in order.
    pub bars: Vec<AxisBar>,
}

/// One bar.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct AxisBar {
    /// Its number; a pick-up is 0.
    pub number: i32,
    /// Where it begins.
    pub at: Beats,
    /// Length of the unit that beats are counted in; above zero.
    pub unit: Beats,
}

/// A place in the piece.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Anchor {
    /// The passage; empty before the first one.
    pub passage: String,
    /// Quarter notes from its start, or from bar 1 where there is none.
    pub at: Beats,
    /// The bar as it was counted then.
    pub bar: i32,
    /// Quarter notes from that bar's start.
    pub in_bar: Beats,
}

impl Axis {
    /// `at` as a place that survives.
    pub fn anchor(&self, at: Beats) -> Anchor {
        let passage = self.passages[..self.passages.partition_point(|p| p.1 <= at)].last();
        let bar = self.bars[..self.bars.partition_point(|b| b.at <= at)].last().or(self.bars.first());
        Anchor {
            passage: passage.map(|p| p.0.clone()).unwrap_or_default(),
            at: passage.map_or(at, |p| at - p.1),
            bar: bar.map_or(1, |b| b.number),
            in_bar: bar.map_or(at, |b| at - b.at),
        }
    }

    /// Where a place is now: by its passage, else by its bar. Both where they differ, the passage first; none where neither is
    /// there any more.
    pub fn find(&self, anchor: &Anchor) -> Vec<Beats> {
        let passage = match anchor.passage.is_empty() {
            true => Some(anchor.at),
            false => self.passages.iter().find(|p| p.0 == anchor.passage).map(|p| p.1 + anchor.at),
        };
        let bar = self.bars.iter().find(|b| b.number == anchor.bar).map(|b| b.at + anchor.in_bar);
        let mut out: Vec<Beats> = passage.into_iter().collect();
        // While the passage is there, its bars say where it went; the bar's number alone counts where the name is gone.
        if out.is_empty() {
            out.extend(bar);
        }
        out
    }

    /// Bar and beat (from 1.0) of a place.
    pub fn place(&self, at: Beats) -> (i32, f64) {
        let bar = self.bars[..self.bars.partition_point(|b| b.at <= at)].last().or(self.bars.first());
        bar.map_or((1, 1.0), |b| (b.number, 1.0 + (at - b.at).ratio(b.unit)))
    }
}
