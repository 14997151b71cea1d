//! Tempo steps to tempi in whole microseconds a quarter.
//!
//! Standard MIDI Files hold whole microseconds: what a tempo is rounded by is carried into the next one, so that no place of a step
//! lies further off than a few microseconds, however long the piece.

use crate::ramp;
use ripieno_music::{Tempo, Timeline};
use ripieno_units::Beats;

/// How fast.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Pace {
    /// Quarters a minute.
    PerMinute(f64),
    /// So many times the music's own tempo.
    Factor(f64),
}

/// A tempo from a place on.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Step {
    /// From where.
    pub at: Beats,
    /// How fast there.
    pub pace: Pace,
    /// Evenly by the beat from here to the next step's tempo.
    pub ramp: bool,
}

/// Slowest and fastest tempo that a MIDI file holds sensibly, microseconds a quarter.
const MICROS: (f64, f64) = (1.0, 16_777_215.0);

/// Rounding is made good within so many quarters: nowhere is a place further off than a quarter of it in microseconds.
const BLOCK: i64 = 16;

struct Writer {
    tempi: Vec<Tempo>,
    /// Seconds so far as written and as wanted.
    written: f64,
    wanted: f64,
}

impl Writer {
    fn push(&mut self, at: Beats, micros: f64) -> f64 {
        let micros = micros.clamp(MICROS.0, MICROS.1) as u32;
        match self.tempi.last_mut() {
            Some(last) if last.at == at => last.micros = micros,
            Some(last) if last.micros == micros => {}
            _ => self.tempi.push(Tempo { at, micros }),
        }
        f64::from(micros)
    }

    /// From `from` to `to` at one tempo, in `seconds`, block by block.
    fn even(&mut self, from: Beats, to: Beats, seconds: f64) {
        let whole = (to - from).quarters();
        let mut at = from;
        while at < to {
            let next = (at + Beats::whole(BLOCK)).min(to);
            self.block(at, next, seconds * (next - at).quarters() / whole);
            at = next;
        }
    }

    /// Whole quarters of the next slower microsecond first, so that the end is met.
    fn block(&mut self, from: Beats, to: Beats, seconds: f64) {
        self.wanted += seconds;
        let quarters = (to - from).quarters();
        let need = (self.wanted - self.written) * 1e6;
        let low = (need / quarters).floor().clamp(MICROS.0, MICROS.1);
        let slower = (need - low * quarters).round().clamp(0.0, quarters.floor());
        let mut spent = 0.0;
        if slower > 0.0 {
            spent += self.push(from, low + 1.0) * slower;
        }
        if slower < quarters {
            let at = from + Beats::whole(slower as i64);
            spent += self.push(at, low) * (quarters - slower);
        }
        self.written += spent / 1e6;
    }

    /// A tempo that holds for less than it takes to be exact over whole quarters: the nearest.
    fn near(&mut self, from: Beats, to: Beats, seconds: f64) {
        self.wanted += seconds;
        let quarters = (to - from).quarters();
        if quarters > 0.0 {
            let micros = ((self.wanted - self.written) * 1e6 / quarters).round();
            self.written += self.push(from, micros) * quarters / 1e6;
        }
    }
}

/// The tempi of `timeline` with these steps, in order of place; before the first step the music's own hold.
pub fn conduct(timeline: &Timeline, steps: &[Step]) -> Vec<Tempo> {
    let Some(first) = steps.first() else { return timeline.tempi.clone() };
    // A step at bar 1 holds for a pick-up before it as well.
    let opening = first.at <= Beats::ZERO;
    let tempi = timeline.tempi.iter().copied().filter(|t| !opening && t.at < first.at).collect();
    let mut writer = Writer { tempi, written: 0.0, wanted: 0.0 };
    for (i, step) in steps.iter().enumerate() {
        let next = steps.get(i + 1);
        let end = next.map_or_else(|| timeline.end().max(step.at + Beats::whole(1)), |n| n.at);
        match (step.pace, next.map(|n| n.pace)) {
            (Pace::PerMinute(a), Some(Pace::PerMinute(b))) if step.ramp => {
                let whole = (end - step.at).quarters().max(1e-9);
                cells(step.at, end, &mut |from, to| {
                    let speed = |at: Beats| a + (b - a) * ((at - step.at).quarters() / whole);
                    writer.near(from, to, ramp::by_the_beat(speed(from), speed(to), (to - from).quarters()));
                });
            }
            (Pace::PerMinute(a), _) => writer.even(step.at, end, (end - step.at).quarters() * 60.0 / a),
            (Pace::Factor(a), after) => {
                let b = match after {
                    Some(Pace::Factor(b)) if step.ramp => b,
                    _ => a,
                };
                let whole = (end - step.at).quarters().max(1e-9);
                own(timeline, step.at, end, &mut |from, to, micros| {
                    if a == b {
                        let seconds = (to - from).quarters() * f64::from(micros) / 1e6 / a;
                        return writer.even(from, to, seconds);
                    }
                    cells(from, to, &mut |from, to| {
                        let speed = |at: Beats| {
                            (a + (b - a) * ((at - step.at).quarters() / whole)) * 60e6 / f64::from(micros)
                        };
                        let seconds = ramp::by_the_beat(speed(from), speed(to), (to - from).quarters());
                        writer.near(from, to, seconds);
                    });
                });
            }
        }
    }
    writer.tempi
}

/// Quarter by quarter.
fn cells(from: Beats, to: Beats, each: &mut dyn FnMut(Beats, Beats)) {
    let mut at = from;
    while at < to {
        let next = (at + Beats::whole(1)).min(to);
        each(at, next);
        at = next;
    }
}

/// The stretches of one tempo of the music's own.
fn own(timeline: &Timeline, from: Beats, to: Beats, each: &mut dyn FnMut(Beats, Beats, u32)) {
    let mut at = from;
    let changes = timeline.tempi.iter().map(|t| t.at).filter(|t| *t > from && *t < to);
    for next in changes.chain([to]) {
        each(at, next, timeline.tempo_at(at).micros);
        at = next;
    }
}
