//! Held voices, plainly played, against published figures: attack times, dynamic ranges, vowels, brightness, foreign tones.

#![allow(clippy::unwrap_used, clippy::disallowed_methods)] // figures for a comparison: the machine's own functions will do

use ripieno_instruments::by_id;
use ripieno_music::{ChairPerformance, Curve, Gesture, Sung, Syllable, SyllablePlace};
use ripieno_signal::{measure, spectrum};
use ripieno_sound::{Manner, Options, render};
use ripieno_units::Seconds;

const RATE: f64 = 48_000.0;

fn note(key: u8, seconds: f64, articulation: &str) -> Gesture {
    Gesture { articulation: articulation.into(), ..Gesture::plain(0.1, 0.1 + seconds, key) }
}

/// One plain player from 0 s on: without vibrato, noise and lateness.
fn plain(id: &str, notes: Vec<Gesture>, level: f64, seconds: f64) -> Vec<f32> {
    let chair = ChairPerformance { level: Curve::flat(level), ..ChairPerformance::plain(id, notes) };
    let options = Options { sample_rate: RATE as u32, tuning: 440.0, seed: 1, manner: Manner::Plain };
    render(&chair, &options, Seconds(0.0), Seconds(seconds))
}

fn cut(sound: &[f32], from: f64, to: f64) -> &[f32] {
    &sound[(from * RATE) as usize..(to * RATE) as usize]
}

fn middle(id: &str) -> u8 {
    by_id(id).and_then(|i| i.comfortable).map_or(60, |r| r.low / 2 + r.high / 2)
}

fn hertz(key: u8) -> f64 {
    440.0 * ((f64::from(key) - 69.0) / 12.0).exp2()
}

/// Milliseconds from 1 to 90 % of the level that the note goes on at.
fn rise(sound: &[f32], pitch: f64) -> f64 {
    let period = RATE / pitch;
    let size = (period * (0.01 * pitch).round().max(1.0)) as usize;
    let level = |at: usize| measure::rms(&sound[at..at + size]);
    let goes_on = measure::rms(cut(sound, 0.9, 1.5));
    let reached = |share: f64| (0..).step_by(24).find(|at| level(*at) >= share * goes_on).unwrap();
    1000.0 * (reached(0.9) - reached(0.01)) as f64 / RATE
}

/// D. Luce and M. Clark 1965, J. Meyer 2009 (both from memory; the spans stand in the instrument table), 20 % about them, as far as
/// a window of 10 ms tells.
#[test]
fn attacks_lie_in_their_spans() {
    for id in
        ["violin", "cello", "double-bass", "flute", "oboe", "clarinet", "bassoon", "horn", "trumpet", "tuba"]
    {
        let attack = by_id(id).and_then(|i| i.attack).unwrap();
        let key = middle(id);
        for (articulation, (low, high)) in [("accent", attack.sharp), ("portato", attack.soft)] {
            let sound = plain(id, vec![note(key, 1.5, articulation)], 0.0, 1.8);
            let found = rise(&sound, hertz(key));
            let within = 0.8 * low - 5.0..=1.2 * high + 5.0;
            assert!(within.contains(&found), "{id} {articulation}: {found} ms, {low} to {high}");
        }
    }
}

/// Sound power at pp, forte and ff: J. Meyer, from memory, as in the instrument table. All re forte.
#[test]
fn marks_have_the_power_of_the_table() {
    for id in ["violin", "double-bass", "flute", "clarinet", "bassoon", "horn", "trumpet", "trombone", "tuba"]
    {
        let wanted = by_id(id).and_then(|i| i.level).unwrap();
        let power = |level: f64| {
            let sound = plain(id, vec![note(middle(id), 1.2, "sustain")], level, 1.2);
            20.0 * measure::rms(cut(&sound, 0.6, 1.2)).log10()
        };
        let forte = power(4.5);
        for (level, tabled) in [(-13.5, wanted.pp), (9.0, wanted.ff)] {
            let off = power(level) - forte - (tabled - wanted.forte);
            assert!(off.abs() < 2.0, "{id} at {level}: {off} dB");
        }
    }
}

/// Brighter from step to step, brass most: about twice as much near 3 kHz as the level (common practice, no source).
#[test]
fn louder_is_brighter_step_by_step() {
    let growth = |id: &str| {
        let found: Vec<f64> = (0..10)
            .map(|i| {
                let sound =
                    plain(id, vec![note(middle(id), 0.9, "sustain")], -13.5 + 2.5 * f64::from(i), 1.0);
                measure::centroid(cut(&sound, 0.5, 0.95), RATE)
            })
            .collect();
        assert!(found.windows(2).all(|w| w[1] > w[0]), "{id}: {found:?}");
        (found[9] / found[0]).log2()
    };
    let brass = ["horn", "trumpet", "trombone", "tuba"].map(growth);
    let others = ["violin", "cello", "flute", "clarinet", "bassoon", "choir-altos", "solo-tenor"].map(growth);
    let least = brass.iter().copied().fold(f64::INFINITY, f64::min);
    let mean = others.iter().sum::<f64>() / others.len() as f64;
    assert!(least > mean, "brass {brass:?}, others {others:?}");
}

/// Every component at a multiple of the pitch, or 80 dB under the strongest, at the top of the range.
#[test]
fn nothing_foreign_sounds() {
    for id in ["violin", "piccolo", "trumpet", "contrabassoon", "choir-sopranos"] {
        let key = by_id(id).and_then(|i| i.hard).unwrap().high;
        let sound = plain(id, vec![note(key, 1.3, "sustain")], 9.0, 1.4);
        let part = cut(&sound, 0.5, 1.3);
        let amplitudes = spectrum(part);
        let bin = RATE / part.len() as f64;
        let pitch = hertz(key);
        let (mut own, mut foreign) = (0.0_f64, (0.0_f64, 0.0));
        for (i, a) in amplitudes.iter().enumerate().skip((20.0 / bin) as usize) {
            let f = i as f64 * bin;
            let n = (f / pitch).round().max(1.0);
            if (f - n * pitch).abs() < 40.0 + 0.0005 * f {
                own = own.max(*a);
            } else if *a > foreign.0 {
                foreign = (*a, f);
            }
        }
        let apart = 20.0 * (foreign.0 / own).log10();
        assert!(apart < -80.0, "{id}: {apart} dB at {} Hz", foreign.1);
    }
}

/// Second formants of a, i, u (five-formant set, probably Rodet, Potard and Barriere, Computer Music Journal 8(3), 1984): the
/// partial at the formant stands out of those 100 to 250 Hz below, as far as the source's slope lets it.
#[test]
fn vowels_have_their_second_formant() {
    let formants = [
        ("choir-basses", 36, [("a", 1040.0), ("i", 1750.0), ("u", 600.0)]),
        ("choir-tenors", 36, [("a", 1080.0), ("i", 1870.0), ("u", 600.0)]),
        ("choir-sopranos", 48, [("a", 1150.0), ("i", 2140.0), ("u", 700.0)]),
    ];
    for (id, key, vowels) in formants {
        for (vowel, formant) in vowels {
            let mut gesture = note(key, 1.2, "sustain");
            gesture.sung = Some(Sung {
                syllable: Syllable {
                    text: vowel.into(),
                    place: SyllablePlace::Single,
                    extends: false,
                    verse: 1,
                },
                consonant: Seconds(0.1),
                coda: Seconds(1.3),
            });
            let sound = plain(id, vec![gesture], 0.0, 1.4);
            let part = cut(&sound, 0.5, 1.2);
            let amplitudes = spectrum(part);
            let bin = RATE / part.len() as f64;
            // 6 dB an octave, as hearing and the trade's own analyses have it.
            let at = |n: f64| {
                let i = (n * hertz(key) / bin) as usize;
                amplitudes[i - 8..i + 9].iter().copied().fold(0.0, f64::max) * n
            };
            let n = (formant / hertz(key)).round();
            let below =
                [1.0, 2.0, 3.0].map(|k| at((n - k).max(2.0))).into_iter().fold(f64::INFINITY, f64::min);
            assert!(at(n) > 1.05 * below, "{id} {vowel}: {} {below}", at(n));
        }
    }
}
