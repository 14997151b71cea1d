//! A chair through a SoundFont that is made here: one period of a sine, looped, in two presets.

#![allow(clippy::unwrap_used)]
#![allow(clippy::disallowed_methods)] // figures for a comparison: the machine's own functions will do

use ripieno_music::{ChairPerformance, Curve, Gesture, Realisation, Stroke};
use ripieno_signal::measure;
use ripieno_sound::font::{Font, FontError, FontSetup, FontVoice, Preset};
use ripieno_sound::{Manner, Options, Voice, render};
use ripieno_units::{Chance, Decibels, Seconds};
use std::sync::Arc;

const RATE: u32 = 48_000;
const OPTIONS: Options = Options { sample_rate: RATE, tuning: 440.0, seed: 1, manner: Manner::Living };
/// The sine, and the same half as strong; a kit.
const SINE: Preset = Preset { bank: 0, program: 40 };
const SOFT: Preset = Preset { bank: 0, program: 44 };
const KIT: Preset = Preset { bank: 128, program: 48 };

fn chunk(name: &[u8], body: &[u8]) -> Vec<u8> {
    [name, &(body.len() as u32).to_le_bytes(), body].concat()
}

fn list(kind: &[u8], chunks: &[Vec<u8>]) -> Vec<u8> {
    chunk(b"LIST", &[kind, &chunks.concat()].concat())
}

fn name(text: &str) -> Vec<u8> {
    let mut bytes = text.as_bytes().to_vec();
    bytes.resize(20, 0);
    bytes
}

fn words(words: &[u16]) -> Vec<u8> {
    words.iter().flat_map(|w| w.to_le_bytes()).collect()
}

/// After the SoundFont specification 2.04, sections 5 to 7: 441 Hz (100 samples at 44.1 kHz, key 69), at full scale and at half.
fn bytes() -> Vec<u8> {
    let mut samples: Vec<u8> = Vec::new();
    for amplitude in [30_000.0, 15_000.0] {
        for i in 0..44_100 {
            let x = amplitude * (std::f64::consts::TAU * f64::from(i) / 100.0).sin();
            samples.extend((x as i16).to_le_bytes());
        }
        samples.extend([0; 2 * 46]);
    }
    let info = list(
        b"INFO",
        &[chunk(b"ifil", &words(&[2, 1])), chunk(b"isng", b"EMU8000\0"), chunk(b"INAM", b"Sines\0")],
    );
    let data = list(b"sdta", &[chunk(b"smpl", &samples)]);
    let header = |text: &str, program: u16, bank: u16, bag: u16| {
        [name(text), words(&[program, bank, bag]), vec![0; 12]].concat()
    };
    let phdr = [
        header("Sine", SINE.program.into(), SINE.bank, 0),
        header("Softer", SOFT.program.into(), SOFT.bank, 1),
        header("Kit", KIT.program.into(), KIT.bank, 2),
        header("EOP", 0, 0, 3),
    ]
    .concat();
    let pbag = words(&[0, 0, 1, 0, 2, 0, 3, 0]);
    // Generator 41 is the instrument, 53 the sample, 54 the loop.
    let pgen = words(&[41, 0, 41, 1, 41, 0, 0, 0]);
    let inst = [
        [name("Sine"), words(&[0])].concat(),
        [name("Softer"), words(&[1])].concat(),
        [name("EOI"), words(&[2])].concat(),
    ]
    .concat();
    let ibag = words(&[0, 0, 2, 0, 4, 0]);
    let igen = words(&[54, 1, 53, 0, 54, 1, 53, 1, 0, 0]);
    let sample = |text: &str, from: u32| {
        let places: Vec<u8> = [from, from + 44_100, from + 1000, from + 44_000, 44_100]
            .iter()
            .flat_map(|n| n.to_le_bytes())
            .collect();
        // Key 69 and 4 cents down: 441 Hz becomes 440.
        [name(text), places, vec![69, (-4_i8) as u8, 0, 0, 1, 0]].concat()
    };
    let shdr = [sample("loud", 0), sample("soft", 44_146), [name("EOS"), vec![0; 26]].concat()].concat();
    let none = vec![0; 10];
    let pdta = list(
        b"pdta",
        &[
            chunk(b"phdr", &phdr),
            chunk(b"pbag", &pbag),
            chunk(b"pmod", &none),
            chunk(b"pgen", &pgen),
            chunk(b"inst", &inst),
            chunk(b"ibag", &ibag),
            chunk(b"imod", &none),
            chunk(b"igen", &igen),
            chunk(b"shdr", &shdr),
        ],
    );
    chunk(b"RIFF", &[b"sfbk".to_vec(), info, data, pdta].concat())
}

fn font() -> Arc<Font> {
    Font::read(&mut &bytes()[..]).unwrap()
}

fn setup() -> FontSetup {
    FontSetup { presets: vec![(String::new(), SINE)], ..FontSetup::default() }
}

fn note(onset: f64, end: f64, key: u8) -> Gesture {
    Gesture::plain(onset, end, key)
}

fn chair(instrument: &str, gestures: Vec<Gesture>) -> ChairPerformance {
    ChairPerformance::plain(instrument, gestures)
}

fn play(chair: &ChairPerformance, setup: &FontSetup, from: f64, seconds: f64) -> Vec<f32> {
    let mut voice = FontVoice::new(&font(), chair, setup, &OPTIONS, Seconds(from)).unwrap();
    let mut desks = Vec::new();
    voice.next((seconds * f64::from(RATE)) as usize, &mut desks);
    assert_eq!(desks.len(), 1);
    desks.remove(0)
}

fn part(samples: &[f32], from: f64, to: f64) -> &[f32] {
    &samples[(from * f64::from(RATE)) as usize..(to * f64::from(RATE)) as usize]
}

fn decibels(samples: &[f32]) -> f64 {
    20.0 * measure::rms(samples).max(1e-12).log10()
}

fn hertz(samples: &[f32]) -> f64 {
    measure::strongest(samples, f64::from(RATE), 100.0, 2000.0)
}

#[test]
fn presets_are_listed_and_missing_ones_are_named_with_their_neighbours() {
    let font = font();
    let names: Vec<String> = font.presets().into_iter().map(|(p, n)| format!("{p} {n}")).collect();
    assert_eq!(names, ["0:40 Sine", "0:44 Softer", "128:48 Kit"]);
    let asked = Preset { bank: 0, program: 45 };
    let message = font.check(asked).unwrap_err().to_string();
    assert!(message.contains("no preset 0:45") && message.contains("0:44 (Softer)"), "{message}");
    let wrong = FontSetup { presets: vec![(String::new(), asked)], ..FontSetup::default() };
    let violin = chair("violin", vec![note(0.0, 1.0, 69)]);
    let error = FontVoice::new(&font, &violin, &wrong, &OPTIONS, Seconds(0.0)).unwrap_err();
    assert!(matches!(error, FontError::NoPreset { .. }));
    let none = FontVoice::new(&font, &violin, &FontSetup::default(), &OPTIONS, Seconds(0.0));
    assert_eq!(none.unwrap_err(), FontError::NoPresets);
}

#[test]
fn pitch_follows_key_cents_tuning_and_bends() {
    let mut second = note(2.0, 4.0, 72);
    second.cents = 30.0;
    let mut third = note(4.5, 7.0, 69);
    third.bend = vec![(Seconds(0.0), 0.0), (Seconds(0.5), -300.0), (Seconds(2.5), -300.0)];
    let samples = play(&chair("violin", vec![note(0.0, 1.5, 69), second, third]), &setup(), 0.0, 8.0);
    let off = |found: f64, wanted: f64| 1200.0 * (found / wanted).log2();
    for (from, to, wanted) in [
        (0.2, 1.2, 440.0),
        (2.2, 3.8, 440.0 * (3.3_f64 / 12.0).exp2()),
        (5.2, 6.8, 440.0 * (-3.0_f64 / 12.0).exp2()),
    ] {
        let found = hertz(part(&samples, from, to));
        assert!(off(found, wanted).abs() < 1.0, "{found} {wanted}");
    }
    let low = Options { tuning: 415.0, ..OPTIONS };
    let octave = FontSetup { transpose: -12, cents: 10.0, ..setup() };
    let violin = chair("violin", vec![note(0.0, 1.5, 69)]);
    let mut voice = FontVoice::new(&font(), &violin, &octave, &low, Seconds(0.0)).unwrap();
    let mut samples = vec![0.0; RATE as usize];
    voice.samples(&mut samples);
    let found = hertz(part(&samples, 0.2, 0.9));
    assert!(off(found, 207.5 * (0.1_f64 / 12.0).exp2()).abs() < 1.0, "{found}");
}

/// Levels are those that the house orchestra gives: sound power, players, dynamics.
#[test]
fn levels_are_the_instruments_and_swell_inside_a_note() {
    for (instrument, key) in [("violin", 69), ("horn", 57), ("flute", 76)] {
        let chair = chair(instrument, vec![note(0.2, 3.0, key)]);
        let ours = decibels(part(&play(&chair, &setup(), 0.0, 3.0), 1.0, 2.5));
        let house = decibels(part(&render(&chair, &OPTIONS, Seconds(0.0), Seconds(3.0)), 1.0, 2.5));
        println!("{instrument}: {ours:.1} dB, the house {house:.1} dB");
        assert!((ours - house).abs() < 3.0, "{instrument}: {ours} {house}");
    }
    let mut swell = chair("violin", vec![note(0.0, 4.2, 69), note(4.5, 6.0, 69)]);
    swell.level = Curve { points: vec![(0.0, -18.0), (4.0, 10.0), (4.4, 10.0), (4.41, -18.0)] };
    swell.gestures[0].attack = Decibels(-18.0);
    swell.gestures[1].attack = Decibels(-18.0);
    let samples = play(&swell, &setup(), 0.0, 6.0);
    let at = |t: f64| decibels(part(&samples, t - 0.05, t + 0.05));
    for (t, wanted) in [(1.0, -11.0), (2.0, -4.0), (3.0, 3.0), (5.5, -18.0)] {
        let found = at(t) - at(2.0) - 4.0;
        assert!((found - wanted).abs() < 0.3, "{t}: {found} {wanted}");
    }
    // No steps: the swell adds nothing far from the tone.
    let spectrum = ripieno_signal::spectrum(part(&samples, 1.0, 3.0));
    let tone = spectrum[880];
    let beside = spectrum[1200..20_000].iter().fold(0.0_f64, |a, b| a.max(*b));
    assert!(beside < 1e-3 * tone, "{beside} {tone}");
}

#[test]
fn presets_of_different_strength_are_one_instrument() {
    let mut pair = setup();
    pair.presets.push(("tremolo".into(), SOFT));
    let mut trembling = note(2.0, 3.5, 69);
    trembling.articulation = "tremolo".into();
    let stroke = |onset: f64, end: f64| Stroke {
        onset: Seconds(onset),
        end: Seconds(end),
        key: 69,
        attack: Decibels(0.0),
        joined: false,
    };
    trembling.realisation = Some(Realisation {
        articulation: "detache".into(),
        strokes: (0..5).map(|i| stroke(2.0 + 0.3 * f64::from(i), 2.2 + 0.3 * f64::from(i))).collect(),
    });
    let chair = chair("violin", vec![note(0.0, 1.5, 69), trembling]);
    let whole = play(&chair, &pair, 0.0, 4.0);
    let (plain, tremolo) = (decibels(part(&whole, 0.3, 1.3)), decibels(part(&whole, 2.3, 3.3)));
    assert!((plain - tremolo).abs() < 0.5, "{plain} {tremolo}");
    // Without a preset of its own it is played stroke by stroke.
    let strokes = play(&chair, &setup(), 0.0, 4.0);
    assert!(decibels(part(&strokes, 2.25, 2.29)) < plain - 20.0);
    assert!(decibels(part(&strokes, 2.35, 2.45)) > plain - 3.0);
}

#[test]
fn notes_begin_and_end_in_time_and_slurs_leave_no_hole() {
    let mut first = note(0.5, 1.0, 69);
    first.joins_on = true;
    let mut second = note(1.0, 1.5, 71);
    second.joined = true;
    let samples = play(&chair("violin", vec![first, second]), &setup(), 0.0, 3.0);
    let begins = samples.iter().position(|x| x.abs() > 1e-6).unwrap() as f64 / f64::from(RATE);
    assert!((begins - 0.5).abs() < 0.0015, "{begins}");
    assert!(part(&samples, 0.0, 0.498).iter().chain(part(&samples, 2.5, 3.0)).all(|x| *x == 0.0));
    let level = decibels(part(&samples, 0.7, 0.9));
    for i in 0..60 {
        let t = 0.6 + 0.01 * f64::from(i);
        assert!(decibels(part(&samples, t, t + 0.01)) > level - 4.0, "{t}");
    }
    let mut pedalled = chair("piano", vec![note(0.0, 0.5, 69)]);
    pedalled.pedal = vec![(Seconds(0.4), Seconds(2.0))];
    let held = play(&pedalled, &setup(), 0.0, 3.0);
    assert!(decibels(part(&held, 1.0, 1.8)) > -100.0 && decibels(part(&held, 2.5, 3.0)) < -200.0);
}

/// However many sound at once, each keeps its own level and pitch.
#[test]
fn a_loud_note_keeps_its_level_under_many_soft_ones() {
    let mut gestures = vec![note(0.0, 4.0, 69)];
    for i in 0..40 {
        let mut soft = note(0.5 + 0.05 * f64::from(i), 4.0, 70 + (i % 30) as u8);
        soft.attack = Decibels(-18.0);
        soft.cents = 20.0;
        gestures.push(soft);
    }
    let samples = play(&chair("piano", gestures), &setup(), 0.0, 4.0);
    let tone = |t: f64| ripieno_signal::spectrum(part(&samples, t, t + 0.5))[220];
    assert!((tone(3.0) / tone(0.0) - 1.0).abs() < 0.03, "{} {}", tone(0.0), tone(3.0));
}

/// In blocks of any length, and from any time on, it is the same sound.
#[test]
fn from_any_time_on_as_from_the_start() {
    let mut chance = Chance::named(1, &["from"]);
    let notes =
        (0..40).map(|i| note(0.1 * f64::from(i), 0.1 * f64::from(i) + 0.7, 60 + chance.below(20) as u8));
    let mut violin = chair("violin", notes.collect());
    violin.level = Curve { points: vec![(0.0, -10.0), (4.0, 8.0)] };
    let whole = play(&violin, &setup(), -0.5, 6.0);
    for from in [0.0, 0.777, 2.0001, 3.9, 5.4] {
        let later = play(&violin, &setup(), from, 5.5 - from);
        let skipped = ((from + 0.5) * f64::from(RATE) + 0.5) as usize;
        let wanted = &whole[skipped..];
        let frames = later.len().min(wanted.len());
        // The player adds its voices in another order.
        let apart = measure::difference(&wanted[..frames], &later[..frames]);
        assert!(apart.0 < -110.0, "from {from}: {apart:?}");
    }
    let mut voice = FontVoice::new(&font(), &violin, &setup(), &OPTIONS, Seconds(-0.5)).unwrap();
    let (mut desks, mut pieces) = (Vec::new(), Vec::new());
    while pieces.len() < whole.len() {
        voice.next(1 + chance.below(3000), &mut desks);
        pieces.extend_from_slice(&desks[0]);
    }
    assert!(pieces[..whole.len()] == whole);
}

#[test]
fn kits_are_struck_by_their_keys() {
    let kit = FontSetup { presets: vec![(String::new(), KIT)], transpose: 12, ..FontSetup::default() };
    let mut stroke = note(0.0, 1.0, 57);
    stroke.stroke = Some("suspended-cymbal".into());
    let samples = play(&chair("suspended-cymbal", vec![stroke]), &kit, 0.0, 1.0);
    let found = hertz(part(&samples, 0.1, 0.9));
    assert!((found - 220.0).abs() < 0.2, "{found}");
}

#[test]
fn other_files_and_damaged_ones_say_so() {
    let error = |bytes: &[u8]| Font::read(&mut &bytes[..]).unwrap_err();
    assert!(error(b"").to_string().contains("empty"));
    assert!(error(b"RIFF\0\0\0\0WAVEfmt ").to_string().contains("not a SoundFont"));
    let whole = bytes();
    assert!(matches!(error(&whole[..whole.len() / 2]), FontError::Damaged(_)));
    assert!(matches!(error(&whole[..30]), FontError::Damaged(_)));
}

/// `RIPIENO_MUTATIONS` says how many (400).
#[test]
fn damaged_fonts_never_panic() {
    let count = std::env::var("RIPIENO_MUTATIONS").ok().and_then(|n| n.parse().ok()).unwrap_or(400);
    let mut chance = Chance::named(3, &["fonts"]);
    let whole = bytes();
    let head = 12 + 8 + 46;
    let tail = whole.windows(4).position(|w| w == b"pdta").unwrap();
    let violin = chair("violin", vec![note(0.0, 0.2, 69), note(0.1, 0.3, 40), note(0.2, 0.4, 100)]);
    for _ in 0..count {
        let mut bytes = whole.clone();
        for _ in 0..1 + chance.below(4) {
            let at = if chance.below(4) == 0 {
                chance.below(head)
            } else {
                tail + chance.below(whole.len() - tail)
            };
            bytes[at] = [chance.bits() as u8, 0, 0x7f, 0x80, 0xff][chance.below(5)];
        }
        let Ok(font) = Font::read(&mut &bytes[..]) else { continue };
        if let Ok(mut voice) = FontVoice::new(&font, &violin, &setup(), &OPTIONS, Seconds(0.0)) {
            let mut samples = vec![0.0; 20_000];
            voice.samples(&mut samples);
            assert!(samples.iter().all(|x| x.is_finite()));
        }
    }
}
