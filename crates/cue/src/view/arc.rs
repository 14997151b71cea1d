//! The arc as it is drawn, and time as it is said.

use ripieno_picture::arc::Point;
use ripieno_readthrough::Arc;

/// One point for each bar of the arc; the last ends with the cue, at `seconds`.
pub fn arc_points(arc: &Arc, seconds: f64) -> Vec<Point> {
    let bars = &arc.bars;
    bars.iter()
        .enumerate()
        .map(|(i, bar)| Point {
            at: bar.seconds,
            to: bars.get(i + 1).map_or(seconds.max(bar.seconds + 0.1), |b| b.seconds),
            phons: bar.phons,
            span: bar.span,
            players: bar.players,
            brightness: bar.brightness,
        })
        .collect()
}

/// Minutes and seconds, `2:37`; what lies before zero is zero.
pub fn clock(seconds: f64) -> String {
    let whole = seconds.round().max(0.0) as u64;
    format!("{}:{:02}", whole / 60, whole % 60)
}
