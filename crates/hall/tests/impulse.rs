//! Impulse responses of the user's own.
#![allow(clippy::unwrap_used)]

use ripieno_hall::{Balance, ImpulseError, MIDDLE, OFF, Source, by_id, from_impulse, measure, prepare};
use ripieno_signal::{Position, Stereo};
use ripieno_units::{Chance, Decibels, Seconds, math};

const RATE: u32 = 48_000;

fn energy(s: &Stereo) -> f64 {
    s.left.iter().chain(&s.right).map(|x| f64::from(*x) * f64::from(*x)).sum()
}

/// A recording: some silence, a click as direct sound, noise that dies away in `t` seconds from 12 ms on, and a noise floor.
fn recording(t: f64, direct: f64, floor: f64) -> Stereo {
    let mut chance = Chance::named(5, &["recording"]);
    let mut channel = || -> Vec<f32> {
        (0..3 * RATE as usize)
            .map(|i| {
                let at = i as f64 / f64::from(RATE) - 0.1;
                let hiss = chance.normal(floor);
                let hall = if at > 0.012 { math::exp(-6.9078 * at / t) * chance.normal(0.05) } else { 0.0 };
                (hiss + hall + if i == 4800 { direct } else { 0.0 }) as f32
            })
            .collect()
    };
    Stereo { left: channel(), right: channel() }
}

#[test]
fn its_decay_is_kept_and_its_noise_is_not() {
    for floor in [0.0, 1e-4] {
        let room = from_impulse(&recording(1.6, 1.0, floor), RATE).unwrap();
        let found = measure::measures_of(room.tail(), RATE.into());
        for band in &found[3..] {
            let t = band.t30.unwrap().0;
            assert!((t / 1.6 - 1.0).abs() < 0.06, "floor {floor}: {band:?}");
        }
        // The end is far below where a floor of -80 dB would leave it.
        let frames = room.tail().frames();
        let last = Stereo {
            left: room.tail().left[frames - 24_000..].to_vec(),
            right: room.tail().right[frames - 24_000..].to_vec(),
        };
        let share = 10.0 * math::log10(energy(&last) / energy(room.tail()));
        assert!(share < -85.0, "floor {floor}: {share:.0} dB");
    }
}

#[test]
fn its_proportion_of_direct_sound_is_kept_at_eight_metres() {
    let recording = recording(1.6, 1.0, 0.0);
    let reverberant: f64 = energy(&recording) - 2.0;
    let wanted = 10.0 * math::log10(2.0 / reverberant);
    let room = from_impulse(&recording, RATE).unwrap();
    // 8 m from the tree.
    let y = 0.4 + (64.0_f64 - 4.0).sqrt();
    let source = Source { position: Position { x: 0.0, y, z: 1.2 }, ..Source::default() };
    let balance = Balance::default();
    let direct = energy(&room.direct(&source, &balance));
    let tail = energy(&room.tail().clone().scaled(room.tail_gain(&source, &balance) as f32));
    let found = 10.0 * math::log10(direct / tail);
    assert!((found - wanted).abs() < 1.5, "{found:.2} {wanted:.2}");
    // It has reflections of its own.
    assert!(energy(&room.reflections(&source, &balance)) == 0.0);
    // The recording's direct sound is not heard again: nothing before its first reflection.
    let onset = measure::onset(&room.tail().left).unwrap() as f64 / f64::from(RATE);
    assert!((0.025..0.035).contains(&onset), "{onset}");
    // More of the far microphones is more of the hall.
    let far = Balance { far: Decibels(6.0), ..balance };
    let tree = Balance { near: OFF, wide: OFF, far: OFF, ..balance };
    assert!(room.tail_gain(&source, &far) > 1.1 * room.tail_gain(&source, &tree));
}

#[test]
fn one_of_our_own_rooms_comes_back_as_it_was() {
    let hall = by_id("chapel").unwrap();
    let room = prepare(hall, RATE);
    let middle = Source { position: MIDDLE, ..Source::default() };
    let again = from_impulse(&room.response(&middle, &Balance::default()), RATE).unwrap();
    for b in 2..8 {
        assert!(
            (again.hall().wanted[b] / hall.wanted[b] - 1.0).abs() < 0.06,
            "{b}: {:?}",
            again.hall().wanted
        );
    }
}

#[test]
fn what_cannot_be_used_is_said_with_what_to_do() {
    let silent = from_impulse(&Stereo::silence(96_000), RATE).unwrap_err();
    assert_eq!(silent, ImpulseError::Silent);
    assert_eq!(from_impulse(&Stereo::default(), RATE).unwrap_err(), ImpulseError::Silent);
    let mut short = Stereo::silence(48_000);
    short.left[47_000] = 1.0;
    let error = from_impulse(&short, RATE).unwrap_err();
    assert_eq!(error, ImpulseError::Short(Seconds(1000.0 / 48_000.0)));
    assert!(error.to_string().contains("lasts 21 ms"), "{error}");
    let mut broken = recording(1.0, 1.0, 0.0);
    broken.right[77] = f32::NAN;
    let error = from_impulse(&broken, RATE).unwrap_err();
    assert_eq!(error, ImpulseError::NotFinite { sample: 77 });
    assert!(error.to_string().contains("export it again"));
    // A click alone is no room either.
    let mut click = Stereo::silence(48_000);
    click.left[0] = 1.0;
    assert!(matches!(from_impulse(&click, RATE), Err(ImpulseError::Short(_))));
}
