//! What notes are told to sound like, against what they sound like when rendered.

#![allow(clippy::unwrap_used, clippy::disallowed_methods)] // figures for a comparison: the machine's own functions will do

use ripieno_instruments::{Instrument, table};
use ripieno_music::{ChairPerformance, Colour, Curve, Gesture};
use ripieno_signal::measure;
use ripieno_sound::spectra::{Asked, Component, Sounding, of};
use ripieno_sound::{FULL_SCALE, Manner, Options, render};
use ripieno_units::{Decibels, Seconds};

const RATE: f64 = 48_000.0;

/// One note from 0.1 s on, in the middle of its chair's own way of playing.
fn play(asked: &Asked<'_>, manner: Manner, seconds: f64) -> Vec<f32> {
    play_for(asked, manner, seconds, seconds)
}

/// The same, of a note of another length.
fn play_for(asked: &Asked<'_>, manner: Manner, length: f64, seconds: f64) -> Vec<f32> {
    let (name, seed) = asked.chair.unwrap_or((asked.instrument, 0));
    let gesture = Gesture {
        stroke: asked.stroke.map(Into::into),
        articulation: asked.articulation.into(),
        colour: asked.colour,
        attack: Decibels(asked.level),
        ..Gesture::plain(0.1, 0.1 + length, asked.key as u8)
    };
    let chair = ChairPerformance {
        chair: name.into(),
        players: asked.players,
        level: Curve::flat(asked.level),
        pedal: vec![(Seconds(0.0), Seconds(100.0))],
        ..ChairPerformance::plain(asked.instrument, vec![gesture])
    };
    let options = Options { sample_rate: RATE as u32, tuning: 440.0, seed, manner };
    render(&chair, &options, Seconds(0.0), Seconds(0.1 + seconds))
}

fn cut(sound: &[f32], from: f64, to: f64) -> &[f32] {
    &sound[(from * RATE) as usize..(to * RATE) as usize]
}

fn db(square: f64) -> f64 {
    10.0 * square.max(1e-30).log10() + FULL_SCALE
}

/// Power of all parts that are (not) noise.
fn power(sounding: &Sounding, which: impl Fn(&Component) -> bool) -> f64 {
    let sum: f64 = sounding.components.iter().filter(|c| which(c)).map(|c| 10f64.powf(c.power / 10.0)).sum();
    10.0 * sum.max(1e-20).log10()
}

/// Mean square of what lies within 20 Hz of a frequency, by a window of Hann.
fn partial(sound: &[f32], hertz: f64) -> f64 {
    let (mut re, mut im, mut whole) = (0.0, 0.0, 0.0);
    for (i, x) in sound.iter().enumerate() {
        let w = 0.5 - 0.5 * (std::f64::consts::TAU * i as f64 / sound.len() as f64).cos();
        let turn = std::f64::consts::TAU * hertz * i as f64 / RATE;
        re += w * f64::from(*x) * turn.cos();
        im += w * f64::from(*x) * turn.sin();
        whole += w;
    }
    2.0 * (re * re + im * im) / (whole * whole)
}

fn keys(instrument: &Instrument) -> Vec<u8> {
    let range = instrument.comfortable.as_ref().or(instrument.hard.as_ref()).unwrap();
    vec![range.low, range.low / 2 + range.high / 2, range.high]
}

fn held() -> impl Iterator<Item = &'static Instrument> {
    table().iter().filter(|i| !i.decays && !i.unpitched && i.comfortable.is_some())
}

/// Every held instrument of the table, three registers, soft to loud: the whole within 0.5 dB, each partial that is within 40 dB
/// of the strongest within 1.5 dB.
#[test]
fn held_notes_are_as_told() {
    let (mut worst, mut worst_partial, mut count) = (0.0_f64, 0.0_f64, 0);
    for instrument in held() {
        for key in keys(instrument) {
            for (level, colour) in [(-13.5, None), (0.0, Some(Colour::ConSord)), (2.0, None), (9.0, None)] {
                let mut asked = Asked::new(&instrument.id, key.into(), level);
                asked.chair = Some(("desk", 5));
                asked.colour = colour;
                let sound = play(&asked, Manner::Plain, 1.1);
                let steady = cut(&sound, 0.9, 1.2);
                let told = of(&asked);
                let off = db(measure::rms(steady).powi(2)) - power(&told, |c| !c.noise);
                worst = worst.max(off.abs());
                assert!(off.abs() < 0.5, "{} {key} at {level}: {off:.2} dB", instrument.id);
                let strongest = told.components.iter().map(|c| c.power).fold(-200.0, f64::max);
                for c in told.components.iter().filter(|c| !c.noise && c.power > strongest - 40.0) {
                    let off = db(partial(steady, c.hertz)) - c.power;
                    worst_partial = worst_partial.max(off.abs());
                    count += 1;
                    assert!(
                        off.abs() < 1.5,
                        "{} {key} at {level}, {} Hz: {off:.2} dB",
                        instrument.id,
                        c.hertz
                    );
                }
            }
        }
    }
    println!("held: whole {worst:.2} dB at worst, {count} partials {worst_partial:.2} dB at worst");
}

/// Without the name of the chair, a body without unevenness: the whole within 2.5 dB of any chair's.
#[test]
fn any_chair_is_near_the_one_told() {
    let mut worst = 0.0_f64;
    for instrument in held() {
        for key in keys(instrument) {
            let asked = Asked::new(&instrument.id, key.into(), 0.0);
            let sound = play(&Asked { chair: Some(("another", 77)), ..asked }, Manner::Plain, 1.5);
            let off = db(measure::rms(cut(&sound, 0.9, 1.5)).powi(2)) - power(&of(&asked), |c| !c.noise);
            worst = worst.max(off.abs());
        }
    }
    println!("held, any chair: {worst:.2} dB at worst");
    assert!(worst < 2.5, "{worst}");
}

/// Breath of a living player between the partials: bands of a flute's noise within 3 dB.
#[test]
fn breath_is_as_told() {
    for (id, key, level) in [("flute", 84, -9.0), ("flute", 88, 4.5), ("trumpet", 79, -6.0)] {
        let asked = Asked { colour: Some(Colour::NonVib), ..Asked::new(id, f64::from(key), level) };
        let sound = play(&asked, Manner::Living, 6.0);
        let part = cut(&sound, 1.0, 6.0);
        let amplitudes = ripieno_signal::spectrum(part);
        let (bin, pitch) = (RATE / part.len() as f64, 440.0 * ((f64::from(key) - 69.0) / 12.0).exp2());
        let between = |hertz: f64| ((hertz / pitch).fract() - 0.5).abs() < 0.25;
        // Spectrum lines are amplitudes of sines; a window spreads each over neighbours, which a sum of squares counts 1.5 times
        // at most. White noise of known power tells the factor.
        let line = |range: &dyn Fn(f64) -> bool, amplitudes: &[f64]| -> f64 {
            let lines = amplitudes.iter().enumerate().filter(|(i, _)| range(*i as f64 * bin));
            lines.map(|(_, a)| 0.5 * a * a).sum()
        };
        let mut noise = ripieno_signal::Noise::seeded(3);
        let white: Vec<f32> = (0..part.len()).map(|_| noise.sample()).collect();
        let factor = line(&|_| true, &ripieno_signal::spectrum(&white)) / measure::rms(&white).powi(2);
        let region = |hertz: f64| between(hertz) && (0.6 * pitch..6000.0).contains(&hertz);
        let found = line(&region, &amplitudes) / factor;
        let told = of(&asked);
        // Bands of a sixth octave, cut into pieces so that they can lie partly between partials.
        let wanted: f64 = told
            .components
            .iter()
            .filter(|c| c.noise)
            .flat_map(|c| {
                (0..40).map(move |i| (c.hertz * ((f64::from(i) / 39.0 - 0.5) / 6.0).exp2(), c.power))
            })
            .filter(|(hertz, _)| region(*hertz))
            .map(|(_, power)| 10f64.powf((power - FULL_SCALE) / 10.0) / 40.0)
            .sum();
        let off = 10.0 * (found / wanted).log10();
        println!("breath of {id} {key} at {level}: {off:.2} dB");
        assert!(off.abs() < 3.0, "{id} {key} at {level}: {off}");
    }
}

fn falling() -> impl Iterator<Item = (&'static Instrument, u8)> {
    table().iter().filter(|i| i.decays || i.unpitched).flat_map(|i| {
        let keys = if i.unpitched { vec![60] } else { keys(i) };
        keys.into_iter().map(move |k| (i, k))
    })
}

/// Loudest RMS over 125 ms, as a meter with the time constant F finds it.
fn loudest(sound: &[f32]) -> f64 {
    let window = (0.125 * RATE) as usize;
    let start = (0.1 * RATE) as usize;
    (start..sound.len() - window)
        .step_by(480)
        .map(|at| measure::rms(&sound[at..at + window]).powi(2))
        .fold(0.0, f64::max)
}

/// Everything that is struck or plucked: the whole within 3 dB.
#[test]
fn strokes_are_as_told() {
    let mut offs = Vec::new();
    for (instrument, key) in falling() {
        for level in [-12.0, 0.0, 9.0] {
            let asked = Asked::new(&instrument.id, key.into(), level);
            let told = of(&asked);
            // Bars under a hand share its power only if they are touched by a hand.
            let tree = instrument.id == "mark-tree";
            let sound = play_for(&asked, if tree { Manner::Living } else { Manner::Plain }, 1.0, 2.5);
            // Plainly played, what has a pitch has no noise.
            let wanted = power(&told, |c| instrument.unpitched || !c.noise);
            let off = db(loudest(&sound)) - wanted;
            offs.push((off, format!("{} {key} at {level}", instrument.id)));
        }
    }
    offs.sort_by(|a, b| b.0.abs().total_cmp(&a.0.abs()));
    println!("strokes: {} notes, worst {:?}", offs.len(), &offs[..offs.len().min(12)]);
    assert!(offs[0].0.abs() < 3.0, "{:?}", &offs[..12]);
}

/// Strings plucked, and bows that play pizzicato: each partial over the first 125 ms within 3 dB.
#[test]
fn plucked_partials_are_as_told() {
    for (id, key, articulation) in [
        ("harp", 60, "sustain"),
        ("piano", 48, "sustain"),
        ("guitar", 52, "sustain"),
        ("cello", 48, "pizzicato"),
    ] {
        let asked = Asked { articulation, ..Asked::new(id, f64::from(key), 0.0) };
        let told = of(&asked);
        let sound = play(&asked, Manner::Plain, 1.0);
        let strongest = told.components.iter().map(|c| c.power).fold(-200.0, f64::max);
        let strong: Vec<&Component> =
            told.components.iter().filter(|c| !c.noise && c.power > strongest - 35.0).collect();
        // What lies on a stronger one's flank cannot be told apart from it.
        let apart = |c: &Component| {
            let near = |o: &&&Component| (o.hertz - c.hertz).abs() < 120.0 && o.power > c.power;
            strong.iter().find(near).is_none()
        };
        let strong: Vec<&Component> = strong.iter().copied().filter(|c| apart(c)).collect();
        assert!(strong.len() > 1, "{id}");
        // A rectangular window of 125 ms: partials of these keys are 15 lines apart.
        let start = (0.1 * RATE) as usize;
        let part = &sound[start..start + (0.125 * RATE) as usize];
        for c in strong {
            let energy: f64 = (-6..=6)
                .map(|k| c.hertz + f64::from(k) * 8.0)
                .map(|hertz| {
                    let (mut re, mut im) = (0.0, 0.0);
                    for (i, x) in part.iter().enumerate() {
                        let turn = std::f64::consts::TAU * hertz * i as f64 / RATE;
                        re += f64::from(*x) * turn.cos();
                        im += f64::from(*x) * turn.sin();
                    }
                    2.0 * (re * re + im * im) / (part.len() as f64).powi(2)
                })
                .sum();
            let off = db(energy) - c.power;
            assert!(off.abs() < 3.0, "{id} {key}, {} Hz: {off:.2} dB", c.hertz);
        }
    }
}

/// The first 20 dB of the fall, read from the envelope: within a third.
#[test]
fn falls_are_as_told() {
    for (id, key) in [
        ("harp", 48),
        ("harp", 72),
        ("piano", 60),
        ("glockenspiel", 84),
        ("vibraphone", 60),
        ("xylophone", 72),
        ("timpani", 45),
    ] {
        let asked = Asked::new(id, f64::from(key), 0.0);
        let told = of(&asked).decay.unwrap();
        let sound = play(&asked, Manner::Plain, told.min(12.0) + 0.5);
        // Windows of 50 ms: a straight line through the levels of the first 20 dB.
        let window = (0.05 * RATE) as usize;
        let levels: Vec<f64> = sound[(0.11 * RATE) as usize..]
            .chunks_exact(window)
            .map(|w| db(measure::rms(w).powi(2)))
            .collect();
        let first = levels[0];
        let count = levels.iter().take_while(|l| **l > first - 20.0).count().max(2);
        let fallen = levels.get(count).or(levels.last()).unwrap();
        let found = 60.0 * 0.05 * count as f64 / (first - fallen);
        assert!((found / told - 1.0).abs() < 0.34, "{id} {key}: {found:.2} s, told {told:.2} s");
    }
}

/// Louder is brighter, mutes are softer, sections are told by one player; nonsense is silent.
#[test]
fn what_is_asked_matters() {
    let asked = Asked::new("trumpet", 64.0, 0.0);
    let loud = of(&Asked { level: 9.0, ..asked });
    let share = |s: &Sounding| power(s, |c| c.hertz > 2500.0) - s.power();
    assert!(share(&loud) > share(&of(&asked)) + 2.0);
    assert!(of(&Asked { colour: Some(Colour::ConSord), ..asked }).power() < of(&asked).power() - 3.0);
    let violins = Asked::new("violin", 76.0, 0.0);
    let section = of(&Asked { players: 14, ..violins });
    assert!((section.power() - of(&violins).power()).abs() < 1.0 && section != of(&violins));
    assert!(of(&violins).decay.is_none() && of(&violins).released.unwrap() < 1.0);
    assert!(of(&Asked { articulation: "pizzicato", ..violins }).decay.unwrap() < 2.0);
    assert!(of(&Asked { level: -150.0, ..violins }).components.is_empty());
    for (key, level) in [(f64::NAN, 0.0), (60.0, f64::INFINITY), (-1e9, 1e9), (1e300, -1e300)] {
        for id in ["violin", "harp", "snare-drum", "mark-tree", "no such thing", ""] {
            let all = of(&Asked { stroke: Some("nothing"), ..Asked::new(id, key, level) });
            assert!(all.components.iter().all(|c| c.power.is_finite() && c.hertz.is_finite()));
        }
    }
    let roll = of(&Asked { articulation: "roll", ..Asked::new("snare-drum", 60.0, 0.0) });
    assert!(roll.decay.is_none() && roll.power() > 80.0);
}
