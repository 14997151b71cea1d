//! Sound at another sample rate, against the same sound made there.
#![allow(clippy::unwrap_used)]

use proptest::prelude::*;
use ripieno_signal::{ResampleError, Resampler, measure, resample, spectrum};
use ripieno_units::math;
use std::f64::consts::TAU;

const PAIRS: [(u32, u32); 8] = [
    (44_100, 48_000),
    (48_000, 44_100),
    (48_000, 96_000),
    (96_000, 48_000),
    (44_100, 96_000),
    (96_000, 44_100),
    (44_100, 88_200),
    (22_050, 48_000),
];

fn sine(hertz: f64, rate: u32, seconds: f64) -> Vec<f32> {
    let frames = (seconds * f64::from(rate)) as usize;
    (0..frames).map(|i| math::sin(TAU * hertz * i as f64 / f64::from(rate)) as f32).collect()
}

/// Against the same sine made at the other rate: level, phase, images and rounding in one figure.
#[test]
fn sines_come_out_as_if_made_there() {
    for (from, to) in PAIRS {
        let top = 0.46 * f64::from(from.min(to));
        for hertz in [50.0, 997.0, 0.5 * top, top] {
            let out = resample(&[sine(hertz, from, 1.0)], from, to).unwrap();
            let wanted = sine(hertz, to, 1.0);
            assert_eq!(out[0].len(), wanted.len());
            // The ends are cut abruptly, which no band limit can follow.
            let middle = wanted.len() / 4..3 * wanted.len() / 4;
            let apart = measure::difference(&wanted[middle.clone()], &out[0][middle]);
            assert!(apart.0 < -100.0, "{from} to {to}, {hertz} Hz: {apart:?}");
        }
    }
}

#[test]
fn what_the_lower_rate_cannot_hold_is_gone() {
    for (from, to) in PAIRS.into_iter().filter(|(from, to)| from > to) {
        for share in [0.501, 0.52, 0.7, 0.99] {
            let hertz = share * f64::from(to);
            if hertz > 0.49 * f64::from(from) {
                continue;
            }
            let out = resample(&[sine(hertz, from, 1.0)], from, to).unwrap();
            let middle = &out[0][out[0].len() / 4..3 * out[0].len() / 4];
            let level = math::log10(measure::peak(middle).max(1e-12)) * 20.0;
            assert!(level < -100.0, "{from} to {to}, {hertz} Hz: {level}");
        }
    }
}

#[test]
fn a_sine_has_no_image() {
    let out = resample(&[sine(17_000.0, 44_100, 2.0)], 44_100, 96_000).unwrap();
    // A whole number of periods; whole seconds from the middle.
    let spectrum = spectrum(&out[0][48_000..144_000]);
    let elsewhere = spectrum.iter().enumerate().filter(|(i, _)| i.abs_diff(17_000) > 4);
    let most = elsewhere.fold(0.0_f64, |most, (_, a)| most.max(*a));
    assert!(most < 1e-5, "{most}");
}

/// A short bump, band limited: its centre of gravity is kept.
#[test]
fn nothing_is_moved() {
    for (from, to) in PAIRS {
        for at in [0.1, 0.5003, 0.93] {
            let frames = from as usize;
            let bump = |i: usize, rate: f64| {
                let t = (i as f64 / rate - at) / 0.0002;
                math::exp(-0.5 * t * t)
            };
            let input: Vec<f32> = (0..frames).map(|i| bump(i, from.into()) as f32).collect();
            let out = resample(&[input], from, to).unwrap();
            let (mut weight, mut moment) = (0.0, 0.0);
            for (i, x) in out[0].iter().enumerate() {
                weight += f64::from(*x) * f64::from(*x);
                moment += f64::from(*x) * f64::from(*x) * i as f64;
            }
            let samples = moment / weight - at * f64::from(to);
            assert!(samples.abs() < 0.01, "{from} to {to}: {samples}");
        }
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(24))]
    #[test]
    fn in_pieces_as_at_once(
        pair in prop::sample::select(PAIRS.to_vec()),
        pieces in prop::collection::vec(0_usize..6000, 0..8),
    ) {
        let total: usize = pieces.iter().sum();
        let whole = [sine(440.0, pair.0, 1.2), sine(555.0, pair.0, 1.2)].map(|c| c[..total.min(c.len())].to_vec());
        let at_once = resample(&whole, pair.0, pair.1).unwrap();
        let mut resampler = Resampler::new(pair.0, pair.1, 2).unwrap();
        // Twice: after the end it is as new.
        for _ in 0..2 {
            let (mut out, mut from) = (Vec::new(), 0);
            for piece in &pieces {
                let to = (from + piece).min(whole[0].len());
                resampler.push(&whole.each_ref().map(|c| &c[from..to]), &mut out);
                from = to;
            }
            resampler.finish(&mut out);
            prop_assert_eq!(&out, &at_once);
            prop_assert_eq!(out[0].len() as u64, resampler.length(whole[0].len() as u64));
        }
    }
}

#[test]
fn impossible_rates_are_refused() {
    assert_eq!(Resampler::new(0, 48_000, 1).unwrap_err(), ResampleError::Rate(0));
    assert_eq!(Resampler::new(48_000, 44_100, 0).unwrap_err(), ResampleError::NoChannels);
    let same = resample(&[vec![0.5; 10]], 48_000, 48_000).unwrap();
    assert_eq!(same, [vec![0.5; 10]]);
    assert_eq!(resample(&[Vec::new()], 48_000, 44_100).unwrap(), [Vec::<f32>::new()]);
}
