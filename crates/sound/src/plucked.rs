//! Plucked and hammered strings: a loop of delay, loss and tuning, fed with a burst.

use crate::Frame;
use crate::model::Plucked;
use crate::notes::Note;
use crate::stage::Stage;
use ripieno_music::{Colour, named};
use ripieno_signal::{Noise, OnePole};
use ripieno_units::{Chance, math};
use std::collections::BTreeMap;
use std::f64::consts::TAU;

/// Players that stand for a section.
const STAND_FOR: u16 = 3;

/// One pluck, or one hand laid on the string.
enum Event {
    Pluck { amplitude: f64, attack: f64 },
    Damp,
}

/// The plucked notes of a chair, string by string.
pub struct Runner {
    strings: Vec<Sounding>,
}

/// Plays these notes. Notes on one key share its string, which goes on ringing when it is plucked again.
pub fn runner(frame: Frame<'_>, model: Plucked, notes: Vec<Note<'_>>) -> Runner {
    let mut strings: BTreeMap<(u8, bool), Vec<&Note<'_>>> = BTreeMap::new();
    for note in &notes {
        let dead = note.colour == Some(Colour::ColLegno);
        strings.entry((note.key, dead)).or_default().push(note);
    }
    let mut all = Vec::new();
    for ((key, dead), notes) in strings {
        let count = notes.iter().map(|n| n.players).max().unwrap_or(1).clamp(1, STAND_FOR);
        let count = if frame.plain() { 1 } else { count };
        for player in 0..count {
            let name = format!("{key}/{dead}/{player}");
            let mut chance =
                Chance::named(frame.options.seed, &[frame.chair.chair.as_str(), "string", &name]);
            // The middle one of three is in tune, the others as far above as below.
            let side = f64::from(player) - 0.5 * f64::from(count - 1);
            let share = 1.0 / f64::from(count);
            all.extend(string(&frame, &model, &notes, side * 5.0, share, dead, player, &mut chance));
        }
    }
    Runner { strings: all }
}

impl crate::Runner for Runner {
    fn run(&mut self, until: i64, stage: &mut Stage) {
        self.strings.iter_mut().for_each(|s| s.run(until, stage));
    }
}

/// A string and what is still to be done to it.
struct Sounding {
    model: Plucked,
    rate: f64,
    hertz: f64,
    fall: f64,
    desk: usize,
    line: Line,
    noise: Noise,
    events: Vec<(i64, Event)>,
    next: usize,
    at: i64,
    /// It is silent from here on, unless it is plucked again.
    ends: i64,
    burst: Vec<f32>,
    spent: usize,
}

#[allow(clippy::too_many_arguments)] // one string, plainly
fn string(
    frame: &Frame<'_>,
    model: &Plucked,
    notes: &[&Note<'_>],
    detune: f64,
    share: f64,
    dead: bool,
    player: u16,
    chance: &mut Chance,
) -> Option<Sounding> {
    let mut events: Vec<(i64, Event)> = Vec::new();
    for note in notes {
        let late = if share < 1.0 { chance.normal(0.008).clamp(-0.016, 0.016) } else { 0.0 };
        let amplitude = frame.amplitude(model.forte, note.attack, note.players) * math::sqrt(share);
        events.push((frame.at(note.onset + late), Event::Pluck { amplitude, attack: note.attack }));
        let short = matches!(note.articulation, named::STACCATO | named::STACCATISSIMO);
        if model.damp.is_some() || short {
            events.push((frame.at(pedalled(frame, note.end)), Event::Damp));
        }
    }
    events.sort_by_key(|e| e.0);
    let hertz = frame.hertz(notes[0].cents + detune);
    let mut fall = model.fall.at(notes[0].key);
    if dead {
        fall *= 0.3;
    }
    Some(Sounding {
        model: model.clone(),
        rate: frame.rate,
        hertz,
        fall,
        desk: usize::from(player),
        line: Line::new(hertz, fall, model.high, frame.rate)?,
        noise: Noise::seeded(chance.bits()),
        at: events.first()?.0,
        events,
        next: 0,
        ends: i64::MIN,
        burst: Vec::new(),
        spent: 0,
    })
}

impl Sounding {
    fn run(&mut self, until: i64, stage: &mut Stage) {
        let damp = self.model.damp.unwrap_or(0.15);
        let longest = 1.2 * self.fall;
        let mut block = [0.0_f32; 256];
        while self.at < until && (self.next < self.events.len() || self.at < self.ends) {
            while let Some((_, event)) = self.events.get(self.next).filter(|e| e.0 <= self.at) {
                match *event {
                    Event::Pluck { amplitude, attack } => {
                        self.burst =
                            pluck(&self.line, &self.model, amplitude, attack, &mut self.noise, self.rate);
                        self.spent = 0;
                        self.line.lose(self.fall, self.hertz);
                        self.ends = self.at + (longest * self.rate) as i64;
                    }
                    Event::Damp => {
                        self.line.lose(damp.min(self.fall), self.hertz);
                        self.ends = self.ends.min(self.at + (1.3 * damp * self.rate) as i64);
                    }
                }
                self.next += 1;
            }
            let ahead = self.events.get(self.next).map(|e| e.0);
            if self.at >= self.ends {
                // Silent until the next pluck.
                self.line.clear();
                self.spent = self.burst.len();
                let Some(ahead) = ahead else { break };
                self.at = ahead;
                continue;
            }
            let stop = ahead.map_or(self.ends, |e| e.min(self.ends));
            let frames = (stop - self.at).clamp(1, block.len() as i64) as usize;
            for x in &mut block[..frames] {
                let fed = self.burst.get(self.spent).copied().unwrap_or(0.0);
                self.spent += 1;
                *x = self.line.sample(fed);
            }
            // It ends without a step.
            if self.ends - self.at < block.len() as i64 && ahead.is_none() {
                let left = (self.ends - self.at).max(1) as f32;
                for (i, x) in block[..frames].iter_mut().enumerate() {
                    *x *= (1.0 - i as f32 / left).max(0.0);
                }
            }
            stage.add(self.desk, self.at, &block[..frames]);
            self.at += frames as i64;
        }
    }
}

/// When a note is damped: at its end, or when the pedal comes up.
pub fn pedalled(frame: &Frame<'_>, end: f64) -> f64 {
    frame.chair.pedal.iter().find(|(down, up)| down.0 <= end && end < up.0).map_or(end, |(_, up)| up.0)
}

/// One period of noise, as bright as the pluck is loud, less what the place of the pluck leaves out; of this RMS.
fn pluck(
    line: &Line,
    model: &Plucked,
    amplitude: f64,
    attack: f64,
    noise: &mut Noise,
    rate: f64,
) -> Vec<f32> {
    let period = line.period.round().max(2.0) as usize;
    let bright = (model.strike * math::exp2(attack.clamp(-30.0, 20.0) / 10.0)).min(0.4 * rate);
    let mut poles = [OnePole::low_pass(bright, rate), OnePole::low_pass(bright, rate)];
    let mut raw: Vec<f32> = (0..period).map(|_| noise.sample()).collect();
    // Twice round, so that the filter has no beginning.
    for _ in 0..2 {
        let source = raw.clone();
        for (y, x) in raw.iter_mut().zip(&source) {
            *y = poles.iter_mut().fold(*x, |x, p| p.sample(x));
        }
    }
    let pick = ((model.pick * period as f64) as usize).max(1);
    let combed: Vec<f32> =
        (0..period).map(|i| raw[i] - 0.9 * raw[(i + period - pick % period) % period]).collect();
    let mean = combed.iter().sum::<f32>() / period as f32;
    let rms = math::sqrt(
        combed.iter().map(|x| f64::from(x - mean) * f64::from(x - mean)).sum::<f64>() / period as f64,
    );
    let gain = if rms > 1e-12 { (amplitude / rms) as f32 } else { 0.0 };
    // A finger takes time to let go: the first samples rise.
    let rise = (0.0008 * rate).min(period as f64 / 4.0).max(1.0) as f32;
    combed.iter().enumerate().map(|(i, x)| (x - mean) * gain * ((i as f32 + 1.0) / rise).min(1.0)).collect()
}

/// D. A. Jaffe and J. O. Smith, Extensions of the Karplus-Strong plucked-string algorithm, 1983: a delay, a two-point average
/// weighted by S with a gain, and an all-pass that makes up the fraction of a sample.
struct Line {
    samples: Vec<f32>,
    at: usize,
    /// Samples a period.
    period: f64,
    rate: f64,
    /// Weights of this sample and the one before.
    now: f32,
    old: f32,
    stretch: f64,
    last: f32,
    /// All-pass: coefficient, and what went in and came out.
    all: f32,
    all_in: f32,
    all_out: f32,
}

impl Line {
    /// None where the pitch is too high to be a loop.
    fn new(hertz: f64, fall: f64, high: f64, rate: f64) -> Option<Self> {
        let period = rate / hertz;
        if !(4.0..1e6).contains(&period) {
            return None;
        }
        let w = TAU / period;
        // How much more is to be lost in one turn at 3 kHz (or at the third partial) than at the pitch.
        let top = (3.0 * hertz).max(3000.0).min(0.4 * rate);
        let more = 6.0 / hertz * (1.0 / high.min(fall) - 1.0 / fall).max(0.0);
        let kept = math::pow(10.0, -more);
        let q = ((1.0 - kept) / (1.0 - math::cos(TAU * top / rate))).min(0.5);
        let stretch = 0.5 * (1.0 - math::sqrt(1.0 - 2.0 * q));
        // What the average delays, and the rest.
        let (re, im) = (1.0 - stretch + stretch * math::cos(w), stretch * math::sin(w));
        let average = math::atan(im / re) / w;
        let whole = (period - average - 0.1).floor();
        let part = period - average - whole;
        let all = math::sin((1.0 - part) * w / 2.0) / math::sin((1.0 + part) * w / 2.0);
        let mut line = Self {
            samples: vec![0.0; whole as usize],
            at: 0,
            period,
            rate,
            now: 0.0,
            old: 0.0,
            stretch,
            last: 0.0,
            all: all as f32,
            all_in: 0.0,
            all_out: 0.0,
        };
        line.lose(fall, hertz);
        Some(line)
    }

    /// Falls by 60 dB in so many seconds at its pitch.
    fn lose(&mut self, fall: f64, hertz: f64) {
        let w = TAU * hertz / self.rate;
        let s = self.stretch;
        let average = math::sqrt(1.0 - 2.0 * s * (1.0 - s) * (1.0 - math::cos(w)));
        // Never more than it had: what lies lowest is not weakened by the average.
        let gain = (math::pow(10.0, -3.0 / (hertz * fall.max(0.01))) / average).min(0.999_995);
        self.now = (gain * (1.0 - s)) as f32;
        self.old = (gain * s) as f32;
    }

    fn clear(&mut self) {
        self.samples.fill(0.0);
        (self.last, self.all_in, self.all_out) = (0.0, 0.0, 0.0);
    }

    #[inline]
    fn sample(&mut self, fed: f32) -> f32 {
        let x = self.samples[self.at] + fed;
        let averaged = self.now * x + self.old * self.last;
        self.last = x;
        let y = self.all * (averaged - self.all_out) + self.all_in;
        (self.all_in, self.all_out) = (averaged, y);
        self.samples[self.at] = y;
        self.at += 1;
        if self.at == self.samples.len() {
            self.at = 0;
        }
        x
    }
}
