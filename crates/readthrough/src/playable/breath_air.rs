//! How much of a breath playing takes, and how far a breath fills the lungs.

use super::sheet::Sheet;
use ripieno_instruments::Breath;
use ripieno_units::Seconds;

/// The shortest breath, seconds, and how far it fills (common practice: a quick breath takes 0.25 to 0.4 s; three fifths of the air
/// is a comfortable phrase).
pub(crate) const QUICK: (f64, f64) = (0.25, 0.6);
/// A breath that fills the lungs, seconds (common practice: 0.6 to 1 s).
pub(crate) const FULL: f64 = 0.6;
/// Levels of piano and fortissimo, dB re mf, between which air is interpolated.
const PIANO: f64 = -9.0;
const FORTISSIMO: f64 = 9.0;

/// Share of a full breath that a second takes at a level.
fn rate(breath: &Breath, level: f64) -> f64 {
    let t = ((level - PIANO) / (FORTISSIMO - PIANO)).clamp(0.0, 1.0);
    let between = |p: f64, ff: f64| p + (ff - p) * t;
    let air = between(breath.flow_p, breath.flow_ff) / breath.litres.max(0.1);
    // Stale air, or the reed, may end it sooner than the air does.
    air.max(between(1.0 / breath.hold_p.max(0.1), 1.0 / breath.hold_ff.max(0.1)))
}

/// Air that a stretch takes along the curve of dynamics, played so many dB louder.
pub(crate) fn takes(sheet: &Sheet<'_>, breath: &Breath, from: f64, to: f64, louder: f64) -> f64 {
    let parts = (((to - from) / 0.25).ceil()).clamp(1.0, 400.0);
    let step = (to - from) / parts;
    let level = |i: usize| sheet.desk.performance.level.at(Seconds(from + step * (i as f64 + 0.5)));
    (0..parts as usize).map(|i| rate(breath, level(i) + louder) * step).sum()
}

/// How far a breath of so many seconds fills the lungs.
pub(crate) fn fills(seconds: f64) -> f64 {
    if seconds < QUICK.0 {
        return 0.0;
    }
    (QUICK.1 + (1.0 - QUICK.1) * (seconds - QUICK.0) / (FULL - QUICK.0)).min(1.0)
}
