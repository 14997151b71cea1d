//! Bars, metre, tempo, keys and marks: the time axis of a piece, unfolded.

use ripieno_units::{Beats, Seconds};

/// The time axis. `bars` is never empty and runs without gaps from the first beat.
#[derive(Clone, Debug, PartialEq)]
pub struct Timeline {
    /// Bars in the order in which they are played.
    pub bars: Vec<Bar>,
    /// Tempo changes in order; the first stands at the start.
    pub tempi: Vec<Tempo>,
    /// Key signatures in order.
    pub keys: Vec<Key>,
    /// Rehearsal marks, double bars, markers, tempo words.
    pub marks: Vec<TimeMark>,
}

/// One bar as played.
#[derive(Clone, Debug, PartialEq)]
pub struct Bar {
    /// Where it begins. A pick-up bar begins before zero: bar 1 begins at zero.
    pub at: Beats,
    /// How long it is.
    pub length: Beats,
    /// Its metre.
    pub metre: Metre,
    /// Its number in the unfolded piece, from 1; a pick-up is 0.
    pub number: i32,
    /// The number that the source prints.
    pub printed: String,
}

/// A time signature.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Metre {
    /// Upper number; 1 or more.
    pub beats: u16,
    /// Lower number: a power of two up to 64.
    pub unit: u16,
}

impl Metre {
    /// Length of a full bar.
    pub fn bar(self) -> Beats {
        Beats::new(4 * i64::from(self.beats.max(1)), i64::from(self.unit.max(1)))
    }

    /// Length of the unit that its lower number names.
    pub fn beat(self) -> Beats {
        Beats::new(4, i64::from(self.unit.max(1)))
    }
}

/// A tempo, from here on.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Tempo {
    /// From where.
    pub at: Beats,
    /// Microseconds a quarter note, as Standard MIDI Files count: what is computed is what is written.
    /// 1 to 2^24 - 1.
    pub micros: u32,
}

impl Tempo {
    /// The nearest to so many quarter notes a minute; what is out of range is held at its bound.
    pub fn per_minute(at: Beats, quarters: f64) -> Self {
        let micros = (60e6 / quarters).round();
        Self { at, micros: if micros.is_finite() { micros.clamp(1.0, 16_777_215.0) as u32 } else { 500_000 } }
    }

    /// Quarter notes a minute.
    pub fn quarters_per_minute(self) -> f64 {
        60e6 / f64::from(self.micros.max(1))
    }
}

/// A key signature, from here on.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Key {
    /// From where.
    pub at: Beats,
    /// Sharps; flats below zero. -7 to 7.
    pub fifths: i8,
    /// Minor?
    pub minor: bool,
}

/// Something that is marked at a place for everyone.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct TimeMark {
    /// Where.
    pub at: Beats,
    /// What.
    pub kind: TimeMarkKind,
    /// Its text.
    pub text: String,
}

/// Kinds of mark.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum TimeMarkKind {
    /// A boxed letter or number.
    Rehearsal,
    /// A double bar (its text is empty).
    DoubleBar,
    /// A marker of a MIDI file.
    Marker,
    /// A cue point of a MIDI file.
    Cue,
    /// A tempo word.
    Tempo,
}

/// A place as a musician says it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Place {
    /// Bar number; a pick-up is 0.
    pub bar: i32,
    /// Beat from 1.0, in the unit of the metre's lower number.
    pub beat: f64,
}

impl Timeline {
    /// So many bars of one metre at one tempo, from zero.
    pub fn regular(bars: usize, metre: Metre, quarters_per_minute: f64) -> Self {
        let bars = (0..bars.max(1))
            .map(|i| Bar {
                at: metre.bar() * i as i64,
                length: metre.bar(),
                metre,
                number: i as i32 + 1,
                printed: (i + 1).to_string(),
            })
            .collect();
        Self {
            bars,
            tempi: vec![Tempo::per_minute(Beats::ZERO, quarters_per_minute)],
            keys: Vec::new(),
            marks: Vec::new(),
        }
    }

    /// Where the first bar begins (below zero with a pick-up).
    pub fn start(&self) -> Beats {
        self.bars.first().map_or(Beats::ZERO, |b| b.at)
    }

    /// Where the last bar ends.
    pub fn end(&self) -> Beats {
        self.bars.last().map_or(Beats::ZERO, |b| b.at + b.length)
    }

    /// Index of the bar that holds `at`; the first or last bar for what lies outside.
    pub fn bar_index(&self, at: Beats) -> usize {
        self.bars.partition_point(|b| b.at <= at).saturating_sub(1)
    }

    /// The bar that holds `at`. Panics on a timeline without bars, which no reader makes.
    pub fn bar_at(&self, at: Beats) -> &Bar {
        &self.bars[self.bar_index(at)]
    }

    /// The bar of a number.
    pub fn bar_numbered(&self, number: i32) -> Option<&Bar> {
        let first = self.bars.first()?.number;
        self.bars.get(usize::try_from(number - first).ok()?)
    }

    /// `at` as bar and beat.
    pub fn place(&self, at: Beats) -> Place {
        let bar = self.bar_at(at);
        Place { bar: bar.number, beat: 1.0 + (at - bar.at).ratio(bar.metre.beat()) }
    }

    /// The place `beat` (from 1.0) of bar `number` in score time.
    pub fn at(&self, number: i32, beat: f64) -> Option<Beats> {
        let bar = self.bar_numbered(number)?;
        let offset = Beats::approximate((beat - 1.0) * 3360.0);
        // A beat is said in decimals; 3360 divides every common tuplet.
        let exact = Beats::new(offset.quarters().round() as i64, 3360);
        Some(bar.at + exact.scaled(4, i64::from(bar.metre.unit.max(1))))
    }

    /// The key signature that holds at `at`.
    pub fn key_at(&self, at: Beats) -> Option<Key> {
        self.keys[..self.keys.partition_point(|k| k.at <= at)].last().copied()
    }

    /// The tempo that holds at `at`.
    pub fn tempo_at(&self, at: Beats) -> Tempo {
        let i = self.tempi.partition_point(|t| t.at <= at).saturating_sub(1);
        self.tempi.get(i).copied().unwrap_or(Tempo { at: Beats::ZERO, micros: 500_000 })
    }

    /// Score time to seconds; zero at bar 1. Before the first tempo, that tempo holds.
    pub fn seconds(&self, at: Beats) -> Seconds {
        let span = |from: Beats, to: Beats, micros: u32| (to - from).quarters() * f64::from(micros) / 1e6;
        let mut total = 0.0;
        // Walk from zero to `at`, either way.
        let (low, high, sign) =
            if at >= Beats::ZERO { (Beats::ZERO, at, 1.0) } else { (at, Beats::ZERO, -1.0) };
        let mut from = low;
        let mut tempo = self.tempo_at(low);
        for next in self.tempi.iter().filter(|t| t.at > low && t.at < high) {
            total += span(from, next.at, tempo.micros);
            (from, tempo) = (next.at, *next);
        }
        total += span(from, high, tempo.micros);
        Seconds(sign * total)
    }

    /// A quick form of [`Timeline::seconds`] for many places.
    pub fn clock(&self) -> Clock {
        let mut knots: Vec<(Beats, f64, u32)> = Vec::with_capacity(self.tempi.len() + 1);
        for tempo in &self.tempi {
            let seconds = match knots.last() {
                Some((at, seconds, micros)) => {
                    seconds + (tempo.at - *at).quarters() * f64::from(*micros) / 1e6
                }
                None => self.seconds(tempo.at).0,
            };
            knots.push((tempo.at, seconds, tempo.micros));
        }
        if knots.is_empty() {
            knots.push((Beats::ZERO, 0.0, 500_000));
        }
        Clock { knots }
    }
}

/// The tempo map worked out: score time to seconds and back.
#[derive(Clone, Debug)]
pub struct Clock {
    // Invariant: not empty, rising.
    knots: Vec<(Beats, f64, u32)>,
}

impl Clock {
    /// Score time to seconds.
    pub fn seconds(&self, at: Beats) -> Seconds {
        let i = self.knots.partition_point(|k| k.0 <= at).saturating_sub(1);
        let (from, seconds, micros) = self.knots[i];
        Seconds(seconds + (at - from).quarters() * f64::from(micros) / 1e6)
    }

    /// Score time in quarter notes, as a float, to seconds.
    pub fn seconds_of(&self, quarters: f64) -> Seconds {
        let i = self.knots.partition_point(|k| k.0.quarters() <= quarters).saturating_sub(1);
        let (from, seconds, micros) = self.knots[i];
        Seconds(seconds + (quarters - from.quarters()) * f64::from(micros) / 1e6)
    }

    /// Seconds to score time, in quarter notes as a float.
    pub fn quarters(&self, at: Seconds) -> f64 {
        let i = self.knots.partition_point(|k| k.1 <= at.0).saturating_sub(1);
        let (from, seconds, micros) = self.knots[i];
        from.quarters() + (at.0 - seconds) * 1e6 / f64::from(micros.max(1))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn two_tempi() -> Timeline {
        let mut timeline = Timeline::regular(4, Metre { beats: 3, unit: 4 }, 120.0);
        timeline.tempi.push(Tempo::per_minute(Beats::whole(3), 60.0));
        timeline
    }

    #[test]
    fn there_and_back() {
        let timeline = two_tempi();
        let clock = timeline.clock();
        assert_eq!(timeline.seconds(Beats::whole(5)).0, 1.5 + 2.0);
        for i in -8..40 {
            let at = Beats::new(i, 4);
            assert!((timeline.seconds(at).0 - clock.seconds(at).0).abs() < 1e-12);
            assert!((clock.quarters(clock.seconds(at)) - at.quarters()).abs() < 1e-12);
        }
    }

    #[test]
    fn places() {
        let timeline = two_tempi();
        assert_eq!(timeline.place(Beats::new(9, 2)), Place { bar: 2, beat: 2.5 });
        assert_eq!(timeline.at(2, 2.5), Some(Beats::new(9, 2)));
        assert_eq!(timeline.at(9, 1.0), None);
        assert_eq!(timeline.at(1, 1.0 + 1.0 / 3.0), Some(Beats::new(1, 3)));
    }
}
