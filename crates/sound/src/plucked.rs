//! Plucked and hammered strings: a loop of delay, loss and tuning, fed with a burst.

use crate::Frame;
use crate::held::add;
use crate::model::Plucked;
use crate::notes::Note;
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

/// Renders notes into `out`. Notes on one key share its string, which goes on ringing when it is plucked again.
pub fn render(frame: &Frame<'_>, model: &Plucked, notes: &[Note<'_>], out: &mut [f32]) {
    let mut strings: BTreeMap<(u8, bool), Vec<&Note<'_>>> = BTreeMap::new();
    for note in notes {
        let dead = note.colour == Some(Colour::ColLegno);
        strings.entry((note.key, dead)).or_default().push(note);
    }
    for ((key, dead), notes) in strings {
        let count = notes.iter().map(|n| n.players).max().unwrap_or(1).clamp(1, STAND_FOR);
        for player in 0..count {
            let name = format!("{key}/{dead}/{player}");
            let mut chance =
                Chance::named(frame.options.seed, &[frame.chair.chair.as_str(), "string", &name]);
            // The middle one of three is in tune, the others as far above as below.
            let side = f64::from(player) - 0.5 * f64::from(count - 1);
            let detune = side * 5.0;
            string(frame, model, &notes, detune, 1.0 / f64::from(count), dead, &mut chance, out);
        }
    }
}

#[allow(clippy::too_many_arguments)] // one string, plainly
fn string(
    frame: &Frame<'_>,
    model: &Plucked,
    notes: &[&Note<'_>],
    detune: f64,
    share: f64,
    dead: bool,
    chance: &mut Chance,
    out: &mut [f32],
) {
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
    let Some(mut line) = Line::new(hertz, fall, model.high, frame.rate) else { return };
    let damp = model.damp.unwrap_or(0.15);
    let longest = 1.2 * fall;
    let mut noise = Noise::seeded(chance.bits());
    let mut burst: Vec<f32> = Vec::new();
    let mut spent = 0;
    let mut until = i64::MIN;
    let mut at = events[0].0;
    let mut next = 0;
    let mut block = [0.0_f32; 256];
    while next < events.len() || at < until {
        while next < events.len() && events[next].0 <= at {
            match events[next].1 {
                Event::Pluck { amplitude, attack } => {
                    burst = pluck(&line, model, amplitude, attack, &mut noise, frame.rate);
                    spent = 0;
                    line.lose(fall, hertz);
                    until = at + (longest * frame.rate) as i64;
                }
                Event::Damp => {
                    line.lose(damp.min(fall), hertz);
                    until = until.min(at + (1.3 * damp * frame.rate) as i64);
                }
            }
            next += 1;
        }
        if at >= until {
            // Silent until the next pluck.
            line.clear();
            spent = burst.len();
            at = events.get(next).map_or(until, |e| e.0);
            if next >= events.len() {
                break;
            }
            continue;
        }
        let stop = events.get(next).map_or(until, |e| e.0.min(until));
        let frames = (stop - at).clamp(1, block.len() as i64) as usize;
        for x in &mut block[..frames] {
            let fed = burst.get(spent).copied().unwrap_or(0.0);
            spent += 1;
            *x = line.sample(fed);
        }
        // It ends without a step.
        if until - at < block.len() as i64 && next >= events.len() {
            let left = (until - at).max(1) as f32;
            for (i, x) in block[..frames].iter_mut().enumerate() {
                *x *= (1.0 - i as f32 / left).max(0.0);
            }
        }
        if at >= out.len() as i64 {
            break;
        }
        add(out, at, &block[..frames]);
        at += frames as i64;
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
