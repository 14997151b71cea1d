//! The dynamic of a part as one continuous curve in dB.

use ripieno_music::{Clock, Curve, Direction, DirectionKind, Dynamic};
use ripieno_units::{Beats, Seconds, math};

/// How long a sudden change of level takes: it ends on its beat (a player prepares it; common practice, no source).
const SUBITO: f64 = 0.040;

/// One step of a hairpin without a mark at its end (4.5 dB between neighbouring marks).
const STEP: f64 = 4.5;

/// A span that grows to a barline.
#[derive(Clone, Copy, Debug)]
pub struct SwellSpan {
    /// Its first sound.
    pub from: Beats,
    /// The barline that it peaks on.
    pub peak: Beats,
    /// Where its sound may end.
    pub to: Beats,
}

/// Marks and hairpins of a part as a curve over seconds, before phrase and accents.
pub fn marked_level(directions: &[Direction], swells: &[SwellSpan], clock: &Clock, end: Beats) -> Curve {
    let seconds = |at: Beats| clock.seconds(at).0;
    let mut points: Vec<(f64, f64)> = Vec::new();
    let mut level = 0.0;
    let mut open: Option<Hairpin> = None;
    let events: Vec<&Direction> = directions
        .iter()
        .filter(|d| matches!(d.kind, DirectionKind::Dynamic(_) | DirectionKind::Hairpin { .. }))
        .collect();
    for (i, direction) in events.iter().enumerate() {
        let at = direction.at;
        if let Some(hairpin) = open {
            // What the hairpin has reached by now.
            level = hairpin.level_at(at);
            if at >= hairpin.to {
                hairpin.draw(&mut points, &seconds);
                open = None;
            }
        }
        match &direction.kind {
            DirectionKind::Dynamic(dynamic) => {
                if let Some(hairpin) = open.take() {
                    hairpin.until(at).draw(&mut points, &seconds);
                }
                let Some(target) = dynamic.level().map(|l| l.0) else { continue };
                match dynamic {
                    Dynamic::Fp | Dynamic::Sfp | Dynamic::Sfpp => {
                        // Loud at once, then soft within 120 ms.
                        let loud =
                            if *dynamic == Dynamic::Fp { STEP } else { (level + 6.0).max(target + 9.0) };
                        jump(&mut points, seconds(at), level, loud);
                        push(&mut points, seconds(at) + 0.120, target);
                    }
                    Dynamic::Pf => {
                        jump(&mut points, seconds(at), level, -2.0 * STEP);
                        push(&mut points, seconds(at) + 0.120, target);
                    }
                    _ => jump(&mut points, seconds(at), level, target),
                }
                level = target;
            }
            DirectionKind::Hairpin { louder, to, niente } => {
                if let Some(hairpin) = open.take() {
                    hairpin.until(at).draw(&mut points, &seconds);
                }
                let to = (*to).max(at);
                // From nothing: the mark after it is its goal; it begins well below.
                if *niente && *louder {
                    jump(&mut points, seconds(at), level, -40.0);
                    level = -40.0;
                }
                let next = events[i + 1..].iter().find_map(|d| match &d.kind {
                    DirectionKind::Dynamic(mark) if d.at >= to => mark.level().map(|l| (d.at, l.0)),
                    _ => None,
                });
                let near = next.filter(|(place, _)| *place <= to + Beats::whole(1));
                let long = (to - at) > Beats::whole(8);
                let steps = if long { 2.0 * STEP } else { STEP };
                let target = match near {
                    // A mark that contradicts the hairpin is a subito of its own.
                    Some((_, mark)) if (mark > level) == *louder && (mark - level).abs() > 0.1 => mark,
                    _ if *niente && !*louder => -40.0,
                    _ if *louder => (level + steps).min(13.5),
                    _ => (level - steps).max(-22.5),
                };
                open = Some(Hairpin { from: at, to, start: level, target, louder: *louder });
            }
            _ => {}
        }
    }
    if let Some(hairpin) = open {
        hairpin.until(end.max(hairpin.from)).draw(&mut points, &seconds);
    }
    let mut curve = Curve { points };
    if curve.points.is_empty() {
        curve = Curve::flat(0.0);
    }
    for swell in swells {
        curve = with_swell(curve, *swell, &seconds);
    }
    curve
}

#[derive(Clone, Copy)]
struct Hairpin {
    from: Beats,
    to: Beats,
    start: f64,
    target: f64,
    louder: bool,
}

impl Hairpin {
    fn shape(&self, x: f64) -> f64 {
        // L = L0 + (L1 - L0) x^g, g = 1.5 growing, 0.7 falling.
        let g = if self.louder { 1.5 } else { 0.7 };
        self.start + (self.target - self.start) * math::pow(x.clamp(0.0, 1.0), g)
    }

    fn level_at(&self, at: Beats) -> f64 {
        if self.to <= self.from {
            self.target
        } else {
            self.shape((at - self.from).ratio(self.to - self.from))
        }
    }

    /// Cut short by a mark.
    fn until(self, at: Beats) -> CutHairpin {
        CutHairpin { whole: self, at: at.min(self.to) }
    }

    fn draw(self, points: &mut Vec<(f64, f64)>, seconds: &dyn Fn(Beats) -> f64) {
        CutHairpin { whole: self, at: self.to }.draw(points, seconds);
    }
}

struct CutHairpin {
    whole: Hairpin,
    at: Beats,
}

impl CutHairpin {
    fn draw(self, points: &mut Vec<(f64, f64)>, seconds: &dyn Fn(Beats) -> f64) {
        const PIECES: i64 = 12;
        let span = self.at - self.whole.from;
        push(points, seconds(self.whole.from), self.whole.start);
        for k in 1..=PIECES {
            let at = self.whole.from + span.scaled(k, PIECES);
            push(points, seconds(at), self.whole.level_at(at));
        }
    }
}

fn push(points: &mut Vec<(f64, f64)>, time: f64, level: f64) {
    // Times never fall: a point that would lie before the last one stands at its time.
    let time = points.last().map_or(time, |last| time.max(last.0));
    points.push((time, level));
}

/// A change of level that is complete on its beat.
fn jump(points: &mut Vec<(f64, f64)>, time: f64, from: f64, to: f64) {
    if points.is_empty() {
        points.push((time, to));
        return;
    }
    if (from - to).abs() < 1e-9 {
        push(points, time, to);
        return;
    }
    push(points, time - SUBITO, from);
    push(points, time, to);
}

/// Grows from 24 dB below to the level marked, exactly at the barline, whatever the length; then dies away.
fn with_swell(curve: Curve, swell: SwellSpan, seconds: &dyn Fn(Beats) -> f64) -> Curve {
    let (from, peak) = (seconds(swell.from), seconds(swell.peak));
    let to = seconds(swell.to).max(peak);
    if peak <= from {
        return curve;
    }
    let top = curve.at(Seconds(peak)).max(curve.at(Seconds(from)));
    let after = curve.at(Seconds(to));
    let mut points: Vec<(f64, f64)> = curve.points.iter().copied().filter(|p| p.0 < from).collect();
    points.push((from, curve.at(Seconds(from))));
    for k in 0..=16 {
        let x = f64::from(k) / 16.0;
        points.push((from + (peak - from) * x, top - 24.0 * (1.0 - math::pow(x, 1.5))));
    }
    points.push((peak + (to - peak).max(0.02), after));
    let last = peak + (to - peak).max(0.02);
    points.extend(curve.points.iter().copied().filter(|p| p.0 > last));
    Curve { points }
}

/// Adds polylines: the result has the points of all.
pub fn sum(curves: &[Curve]) -> Curve {
    let mut times: Vec<f64> = curves.iter().flat_map(|c| c.points.iter().map(|p| p.0)).collect();
    times.sort_by(f64::total_cmp);
    times.dedup();
    // A jump (two points at one time) in any of them is kept as a jump.
    let mut points = Vec::with_capacity(times.len());
    for time in times {
        let before: f64 = curves.iter().map(|c| left(c, time)).sum();
        let after: f64 = curves.iter().map(|c| c.at(Seconds(time))).sum();
        if (before - after).abs() > 1e-9 {
            points.push((time, before));
        }
        points.push((time, after));
    }
    Curve { points }
}

/// The value just before a time.
fn left(curve: &Curve, time: f64) -> f64 {
    let i = curve.points.partition_point(|p| p.0 < time);
    match (i.checked_sub(1).and_then(|j| curve.points.get(j)), curve.points.get(i)) {
        (Some(a), Some(b)) if b.0 > a.0 => math::lerp(a.1, b.1, (time - a.0) / (b.0 - a.0)),
        (Some(a), None) => a.1,
        (None, Some(b)) => b.1,
        (Some(_), Some(b)) => b.1,
        (None, None) => 0.0,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use ripieno_music::{Metre, Timeline};

    fn at(at: i64, kind: DirectionKind) -> Direction {
        Direction { at: Beats::whole(at), staff: None, voice: None, kind }
    }

    fn clock() -> Clock {
        Timeline::regular(8, Metre { beats: 4, unit: 4 }, 60.0).clock()
    }

    #[test]
    fn a_hairpin_reaches_its_mark_and_rises_all_the_way() {
        let directions = [
            at(0, DirectionKind::Dynamic(Dynamic::P)),
            at(4, DirectionKind::Hairpin { louder: true, to: Beats::whole(8), niente: false }),
            at(8, DirectionKind::Dynamic(Dynamic::F)),
        ];
        let curve = marked_level(&directions, &[], &clock(), Beats::whole(32));
        assert_eq!(curve.at(Seconds(2.0)), -9.0);
        assert_eq!(curve.at(Seconds(4.0)), -9.0);
        assert!((curve.at(Seconds(8.0)) - 4.5).abs() < 1e-9);
        let mut last = -20.0;
        for k in 0..40 {
            let now = curve.at(Seconds(4.0 + 0.1 * f64::from(k)));
            assert!(now >= last);
            last = now;
        }
    }

    #[test]
    fn a_mark_against_its_hairpin_is_subito() {
        let directions = [
            at(0, DirectionKind::Dynamic(Dynamic::Mf)),
            at(0, DirectionKind::Hairpin { louder: true, to: Beats::whole(4), niente: false }),
            at(4, DirectionKind::Dynamic(Dynamic::P)),
        ];
        let curve = marked_level(&directions, &[], &clock(), Beats::whole(32));
        assert!(curve.at(Seconds(3.9)) > 3.0);
        assert!((curve.at(Seconds(4.0)) + 9.0).abs() < 1e-9);
    }

    #[test]
    fn a_swell_peaks_exactly_on_its_barline() {
        for bars in 1..6 {
            let peak = Beats::whole(4 * bars);
            let swell = SwellSpan { from: Beats::whole(1), peak, to: peak + Beats::whole(2) };
            let directions = [at(0, DirectionKind::Dynamic(Dynamic::F))];
            let curve = marked_level(&directions, &[swell], &clock(), Beats::whole(32));
            let top = curve.at(Seconds(4.0 * bars as f64));
            assert!((top - 4.5).abs() < 1e-9);
            let highest = (0..3200).map(|k| curve.at(Seconds(0.01 * f64::from(k) + 1.0)));
            assert!(highest.fold(f64::MIN, f64::max) <= top + 1e-9);
        }
    }
}
