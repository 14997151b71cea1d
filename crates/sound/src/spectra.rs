//! What a note of the house orchestra sounds like, told beforehand from the tables and laws that its voices play by.
//!
//! Powers are of one player, as the voices give them on average: no vibrato, no chance but, if a chair is named, the unevenness of
//! its body. Held notes are told as they go on, after their attack; plucked and struck ones while they are loudest over 125 ms.

use crate::body::{Blow, Make};
use crate::facts::{self, Row, at_key, harder, is_damped, span};
use crate::model::{self, Held, Model};
use crate::periods::{self, Periods, Quad};
use crate::timbre::{Tint, tint};
use crate::{FULL_SCALE, Frame, Manner, Options, envelope, held, plucked, struck};
use ripieno_instruments::{Instrument, by_id};
use ripieno_music::{ChairPerformance, Colour, Curve, named};
use ripieno_signal::Biquad;
use ripieno_units::{Chance, math, quick};

/// Which note is asked for.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Asked<'a> {
    /// Id in the instrument table; one that is unknown sounds as a plain woodwind, as it does when rendered.
    pub instrument: &'a str,
    /// Id of what is struck, on a chair that strikes several things.
    pub stroke: Option<&'a str>,
    /// MIDI key, with fractions; of no account for what has no pitch.
    pub key: f64,
    /// dB re the instrument's mf.
    pub level: f64,
    /// Name of the articulation.
    pub articulation: &'a str,
    /// Colour.
    pub colour: Option<Colour>,
    /// Players of the chair: many strings together are another sound than one. The power told is still that of one.
    pub players: u16,
    /// Id of the chair and seed of the plan, where its own body is wanted: partials then have its unevenness (some 4 dB in strings).
    pub chair: Option<(&'a str, u64)>,
    /// Hertz of A4.
    pub tuning: f64,
}

impl<'a> Asked<'a> {
    /// A plain sustained note of one player; A4 is 440 Hz.
    pub fn new(instrument: &'a str, key: f64, level: f64) -> Self {
        Self {
            instrument,
            stroke: None,
            key,
            level,
            articulation: named::SUSTAIN,
            colour: None,
            players: 1,
            chair: None,
            tuning: 440.0,
        }
    }
}

/// One part of a sound.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Component {
    /// Frequency; the middle of a band of noise.
    pub hertz: f64,
    /// Sound power, dB re 1 pW.
    pub power: f64,
    /// Whether it is a narrow band of noise, at most a sixth of an octave wide.
    pub noise: bool,
}

/// What one player's note sounds like.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Sounding {
    /// Its parts in order of frequency; none if it is silent.
    pub components: Vec<Component>,
    /// Seconds in which it falls by 60 dB while it is held (from the first 20 dB of its fall); none if it does not fall.
    pub decay: Option<f64>,
    /// Seconds in which it falls by 60 dB once it ends; none if it rings on.
    pub released: Option<f64>,
    /// Seconds until nothing is heard of it, if it is not stopped: it has fallen by 90 dB. None if it does not fall.
    pub rings: Option<f64>,
}

impl Sounding {
    /// Power of all, dB re 1 pW; -200 for silence.
    pub fn power(&self) -> f64 {
        decibels(self.components.iter().map(|c| ratio(c.power)).sum())
    }
}

/// Parts this far below the whole are left out, dB.
const FAINT: f64 = 80.0;

/// Parts of noise in an octave: narrower than the ear's own bands from 300 Hz up.
const NOISE_STEPS: f64 = 6.0;

/// Strokes of a roll come so often a second, where it does not matter much (common practice: 10 to 16).
const ROLL: f64 = 12.0;

/// What is shaken or rubbed as long as its note lasts is told for a note of so many seconds.
const SHAKEN: f64 = 1.0;

/// A stroke that does not fall apart: its second and power.
const ONE: (f64, f64) = (0.0, 1.0);

/// A held note that loses more than this in a second falls; less is a nuance.
const FALLS: f64 = 10.0;

/// What a note sounds like. Silent if its key or level are no numbers.
pub fn of(asked: &Asked<'_>) -> Sounding {
    at_levels(asked, &[asked.level]).pop().unwrap_or_default()
}

/// What a note sounds like at each of these levels, in place of its own: what does not depend on them is worked out once.
pub fn at_levels(asked: &Asked<'_>, levels: &[f64]) -> Vec<Sounding> {
    if !(asked.key.is_finite() && asked.tuning.is_finite()) {
        return vec![Sounding::default(); levels.len()];
    }
    let model = model::of(asked.instrument, asked.players);
    let plucks = matches!(asked.articulation, named::PIZZICATO | named::SNAP_PIZZICATO);
    let mut told: Vec<Sounding> = match model {
        Model::Held(model) if !plucks && asked.colour != Some(Colour::ColLegno) => {
            framed(asked, |frame| steady(frame, *model, asked, levels))
        }
        _ => levels.iter().map(|level| falls_away(&model, &Asked { level: *level, ..*asked })).collect(),
    };
    for sounding in &mut told {
        let least = sounding.power() - FAINT;
        sounding.components.retain(|c| c.power > least);
        sounding.components.sort_by(|a, b| a.hertz.total_cmp(&b.hertz));
    }
    told
}

/// A note that was plucked or struck.
fn falls_away(model: &Model, asked: &Asked<'_>) -> Sounding {
    if !asked.level.is_finite() {
        return Sounding::default();
    }
    framed(asked, |frame| match model {
        Model::Held(_) | Model::Plucked => string(frame, asked),
        Model::Struck => stroke(frame, asked),
    })
}

/// With the chair and the options that a note is told for.
fn framed<T>(asked: &Asked<'_>, tell: impl FnOnce(&Frame<'_>) -> T) -> T {
    let chair = chair(asked);
    let seed = asked.chair.map_or(0, |c| c.1);
    let options = Options {
        sample_rate: 48_000,
        tuning: asked.tuning.clamp(200.0, 900.0),
        seed,
        manner: Manner::Plain,
    };
    tell(&Frame { chair: &chair, options, rate: 48_000.0 })
}

fn chair(asked: &Asked<'_>) -> ChairPerformance {
    ChairPerformance {
        chair: asked.chair.map_or(asked.instrument, |c| c.0).into(),
        instrument: asked.instrument.into(),
        players: asked.players.max(1),
        gestures: Vec::new(),
        level: Curve::flat(asked.level),
        kept: Vec::new(),
        pedal: Vec::new(),
        sticks: Curve::default(),
    }
}

fn ratio(decibels: f64) -> f64 {
    quick::ratio(decibels)
}

fn decibels(power: f64) -> f64 {
    if power > 1e-20 { quick::decibels(power) } else { -200.0 }
}

/// dB re 1 pW of a mean square of samples.
fn power_of(square: f64) -> f64 {
    decibels(square) + FULL_SCALE
}

fn cents(asked: &Asked<'_>) -> f64 {
    100.0 * (asked.key.clamp(0.0, 127.0) - 69.0)
}

fn whole_key(asked: &Asked<'_>) -> u8 {
    (asked.key.clamp(0.0, 127.0) + 0.5) as u8
}

/// Noise of so much mean square, whose amplitude beside others is given by frequency, as narrow bands.
fn noise(shape: impl Fn(f64) -> f64, square: f64) -> Vec<Component> {
    noise_in(&bands(shape), square)
}

/// Middle and share of each band of a noise whose amplitude is given by frequency.
fn bands(shape: impl Fn(f64) -> f64) -> Vec<(f64, f64)> {
    // From 20 Hz to 20 kHz.
    let edge = |i: u32| 20.0 * math::exp2(f64::from(i) / NOISE_STEPS);
    let mut low = edge(0);
    let mut below = shape(low);
    (1..=60)
        .map(|i| {
            let high = edge(i);
            let middle = math::sqrt(low * high);
            // Simpson's rule: a narrow filter is not missed between the edges.
            let density = (below, shape(middle), shape(high));
            let mean = (density.0 * density.0 + 4.0 * density.1 * density.1 + density.2 * density.2) / 6.0;
            let share = mean * (high - low);
            (low, below) = (high, density.2);
            (middle, share)
        })
        .collect()
}

fn noise_in(bands: &[(f64, f64)], square: f64) -> Vec<Component> {
    let whole: f64 = bands.iter().map(|b| b.1).sum();
    let even = if whole > 0.0 { square / whole } else { 0.0 };
    let component = |&(hertz, p): &(f64, f64)| Component { hertz, power: power_of(p * even), noise: true };
    bands.iter().map(component).collect()
}

/// A held note as it goes on, at each level.
fn steady(frame: &Frame<'_>, mut model: Held, asked: &Asked<'_>, levels: &[f64]) -> Vec<Sounding> {
    if let Some((name, seed)) = asked.chair {
        model.spectrum.ripple =
            crate::timbre::ripple(model.ripple, &mut Chance::named(seed, &[name, "body"]));
    }
    let tinted = tint(asked.colour, model.family);
    // As in `player::set`: these colours are no other spectrum.
    let shape = asked.colour.filter(|c| !matches!(c, Colour::NonVib | Colour::Flutter));
    let shape = tint(shape, model.family);
    let cents = cents(asked);
    let (node, x) = Periods::place(cents);
    let top = periods::top(frame.rate);
    let [low, high] = [node, node + 1]
        .map(|n| periods::layers(&model.spectrum, &shape, periods::hertz(frame.options.tuning, n), top, 0));
    let breath = bands(|hertz| model.noise.at(hertz));
    let at = |level: f64| steady_at(frame, &model, asked, level, (&low, &high, x), &breath, &tinted);
    levels.iter().map(|l| if l.is_finite() && *l >= -100.0 { at(*l) } else { Sounding::default() }).collect()
}

/// The same at one level. `partials`: those of the two nodes beside it, and how far it is from the lower.
fn steady_at(
    frame: &Frame<'_>,
    model: &Held,
    asked: &Asked<'_>,
    level: f64,
    (low, high, x): (&[[f64; 4]], &[[f64; 4]], f64),
    bands: &[(f64, f64)],
    tinted: &Tint,
) -> Sounding {
    let weights = Quad::weights(level);
    let loud = frame.amplitude(model.forte, held::own_level(model, level), 1);
    let mut square = loud * loud * ratio(tinted.level);
    if asked.colour == Some(Colour::Flutter) {
        // Mean of (0.85 + 0.55 sin)^2, the tongue's trembling.
        square *= 0.85 * 0.85 + 0.5 * 0.55 * 0.55;
    }
    let pitch = frame.hertz(cents(asked));
    let mut components: Vec<Component> = (0..low.len().max(high.len()))
        .map(|i| {
            let at = |layers: &[[f64; 4]]| {
                layers.get(i).map_or(0.0, |l| l.iter().zip(&weights).map(|(a, w)| a * w).sum::<f64>())
            };
            // Both nodes have the same phases, so that amplitudes add.
            let amplitude = (1.0 - x) * at(low) + x * at(high);
            let power = power_of(0.5 * amplitude * amplitude * square);
            Component { hertz: pitch * (i as f64 + 1.0), power, noise: false }
        })
        .collect();
    let breath = loud * loud * ratio(held::breath_level(model, tinted.noise, level));
    components.extend(noise_in(bands, breath));
    let hold = envelope::hold(asked.articulation, model.family);
    Sounding {
        components,
        decay: (hold <= -FALLS).then(|| -60.0 / hold),
        // The release ends in silence: it has lost 60 dB a little before.
        released: Some(0.9 * model.release),
        rings: None,
    }
}

/// A pluck, or a hammer on a string.
fn string(frame: &Frame<'_>, asked: &Asked<'_>) -> Sounding {
    let instrument = by_id(asked.instrument);
    let rows = plucked::table(instrument);
    let key = whole_key(asked);
    let common = facts::common(&rows, key, None);
    let way = plucked::Way::of(asked.colour, asked.articulation);
    let (harder, hiss) = plucked::pluck(way, asked.articulation);
    let blow = Blow {
        rms: frame.amplitude(common.forte, asked.level, 1),
        level: asked.level,
        harder,
        keeps: common.keeps,
        every: None,
        hiss,
        bend: None,
        seed: 0,
    };
    let stopped = common.damp.or_else(|| is_damped(asked.articulation).then(|| plucked::hand(&rows, key)));
    let hertz = frame.hertz(cents(asked));
    let mut chance = Chance::named(1, &["string"]);
    let make = plucked::make(frame, instrument, &rows, key, hertz, way, common, &mut chance);
    falling(frame, make, &blow, &[ONE], stopped)
}

/// A stroke on what is struck.
fn stroke(frame: &Frame<'_>, asked: &Asked<'_>) -> Sounding {
    let instrument = struck::of(asked.stroke, whole_key(asked), asked.instrument);
    let id = instrument.map_or("percussion", |i| i.id.as_str());
    let rows = struck::table(id);
    let key = if instrument.is_none_or(|i| i.unpitched) { 60 } else { whole_key(asked) };
    if let Some(sweep) = rows.iter().find(|r| r.what == "sweep") {
        return swept(frame, asked, instrument, &rows, sweep);
    }
    let forte = instrument.and_then(|i| i.level).map(|l| l.forte);
    let common = facts::common(&rows, key, forte);
    let rolled = matches!(asked.articulation, named::ROLL | named::TREMOLO | named::SWELL);
    let blow = Blow {
        rms: frame.amplitude(common.forte, asked.level, 1),
        level: asked.level,
        harder: harder(asked.articulation),
        keeps: common.keeps,
        every: rolled.then_some(1.0 / ROLL),
        hiss: 0.0,
        bend: None,
        seed: 0,
    };
    let fall = facts::fall(instrument, key, 1.0);
    let stopped = common.damp.or_else(|| is_damped(asked.articulation).then_some(0.2));
    let pitch = frame.hertz(if instrument.is_some_and(|i| i.unpitched) { 0.0 } else { cents(asked) });
    let make = struck::make(&rows, pitch, fall, &common, id);
    let row = rows.iter().find(|r| r.what == "grains");
    let strokes = row.map_or(vec![ONE], |r| struck::Grains::new(r, SHAKEN).plain());
    let mut sounding = falling(frame, make, &blow, &strokes, stopped.filter(|_| !rolled));
    // What falls apart into many strokes lasts as long as they do.
    let lasts = row.map(|r| r.share.parse::<f64>().ok());
    if let (Some(decay), Some(Some(seconds))) = (&mut sounding.decay, lasts) {
        *decay = decay.max(seconds);
    }
    // As long as the note goes on.
    if rolled || lasts == Some(None) {
        sounding.released = sounding.decay.take();
    }
    sounding
}

/// Bars under a hand.
fn swept(
    frame: &Frame<'_>,
    asked: &Asked<'_>,
    instrument: Option<&Instrument>,
    rows: &[Row],
    sweep: &Row,
) -> Sounding {
    let common = facts::common(rows, 60, None);
    let id = instrument.map_or("percussion", |i| i.id.as_str());
    let [low, high, count] = span(sweep.value, 1.0);
    let count = count.clamp(2.0, 80.0) as usize;
    let fall = facts::fall(instrument, 60, 4.0);
    // Each bar its share: a sweep as a whole has the power of a stroke.
    let rms = frame.amplitude(common.forte, asked.level, 1) / math::sqrt(count as f64);
    let blow = Blow {
        rms,
        level: asked.level,
        harder: harder(asked.articulation),
        keeps: common.keeps,
        every: None,
        hiss: 0.0,
        bend: None,
        seed: 0,
    };
    let mut all = Sounding::default();
    for bar in 0..count {
        let pitch = low * math::pow(high / low, bar as f64 / (count - 1) as f64);
        let make = struck::make(rows, pitch, fall * math::sqrt(low / pitch), &common, id);
        let one = falling(frame, make, &blow, &[ONE], None);
        all.components.extend(one.components);
        all.rings = Some(all.rings.unwrap_or(0.0).max(one.rings.unwrap_or(0.0)));
        let rings = one.decay.unwrap_or(0.0) + at_key(sweep.share, 60, 0.5) / count as f64;
        all.decay = Some(all.decay.map_or(rings, |d| d.max(rings)));
    }
    all
}

/// What falls away after a stroke.
fn falling(
    frame: &Frame<'_>,
    mut make: Make,
    blow: &Blow,
    strokes: &[(f64, f64)],
    stopped: Option<f64>,
) -> Sounding {
    make.modes.retain(|m| m.hertz > 1.0 && m.hertz < 0.45 * frame.rate);
    make.hisses.retain(|h| h.hertz < 0.45 * frame.rate);
    let powers = make.powers(blow, strokes);
    let (modes, bands) = powers.split_at(make.modes.len().min(powers.len()));
    let mut components: Vec<Component> = Vec::new();
    let mut falls: Vec<(f64, f64)> = Vec::new();
    for (mode, power) in make.modes.iter().zip(modes) {
        falls.push((*power, mode.fall));
        match components.last_mut().filter(|c| c.hertz == mode.hertz) {
            // A string that falls in two stages has each partial twice.
            Some(twin) => twin.power = power_of(ratio(twin.power - FULL_SCALE) + power),
            None => components.push(Component { hertz: mode.hertz, power: power_of(*power), noise: false }),
        }
    }
    for (hiss, power) in make.hisses.iter().zip(bands) {
        falls.push((*power, hiss.fall));
        let q = 1.0 / (math::exp2(0.5 * hiss.octaves) - math::exp2(-0.5 * hiss.octaves)).max(0.05);
        let filter = Biquad::band_pass(hiss.hertz, q, frame.rate);
        components.extend(noise(|hertz| filter.gain(hertz, frame.rate), *power));
    }
    Sounding {
        components,
        decay: Some(early_fall(&falls)),
        released: stopped,
        rings: Some(late_fall(&falls)),
    }
}

/// Seconds of a fall by 60 dB, as the first 20 dB of it go: powers and the seconds of their own falls.
fn early_fall(parts: &[(f64, f64)]) -> f64 {
    3.0 * until(parts, 0.01)
}

/// Seconds of a fall by 90 dB.
fn late_fall(parts: &[(f64, f64)]) -> f64 {
    until(parts, 1e-9)
}

/// Seconds until such a share of the power is left.
fn until(parts: &[(f64, f64)], share: f64) -> f64 {
    let after = |seconds: f64| -> f64 {
        parts.iter().map(|(p, fall)| p * quick::exp(-13.815_511 * seconds / fall.max(0.002))).sum()
    };
    let wanted = share * after(0.0);
    // The slowest part alone has fallen by 120 dB after twice its time.
    let (mut low, mut high) = (0.0, 2.0 * parts.iter().map(|p| p.1).fold(0.002, f64::max));
    // To a millionth of that.
    for _ in 0..22 {
        let middle = 0.5 * (low + high);
        if after(middle) > wanted { low = middle } else { high = middle }
    }
    high
}
