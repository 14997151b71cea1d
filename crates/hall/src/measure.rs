//! What a room measures, after ISO 3382-1.

use crate::acoustics::{DECAY, ratio};
use crate::bands::OCTAVES;
use ripieno_signal::Stereo;
use ripieno_transform::{Complex, Planner64};
use ripieno_units::{Decibels, Seconds, math};
use std::f64::consts::{FRAC_1_SQRT_2, FRAC_PI_2};

/// Figures of one octave band (ISO 3382-1:2009, annex A).
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Measures {
    /// Centre of the band in hertz.
    pub hertz: f64,
    /// Early decay time: the slope from 0 to -10 dB, carried on to 60 dB. None where the response does not fall so far.
    pub edt: Option<Seconds>,
    /// From -5 to -25 dB.
    pub t20: Option<Seconds>,
    /// From -5 to -35 dB.
    pub t30: Option<Seconds>,
    /// Clarity: the first 80 ms against the rest.
    pub c80: Decibels,
    /// Definition: share of the first 50 ms, 0 to 1.
    pub d50: f64,
    /// Centre time.
    pub ts: Seconds,
}

/// Energies of one octave of a response, at a rate of their own.
struct Band {
    hertz: f64,
    energy: Vec<f64>,
    rate: f64,
}

/// Measures a response of one channel in the octaves from 63 Hz to 8 kHz, as far as the sample rate reaches. The decay is that of
/// the backward integral (M. R. Schroeder 1965); a noise floor is cut off and what lies under it put back (A. Lundeby et al.,
/// Uncertainties of measurements in room acoustics, 1995). Empty for silence.
pub fn measures(response: &[f32], sample_rate: f64) -> Vec<Measures> {
    let Some(onset) = onset(response) else { return Vec::new() };
    let bands = octaves(response, sample_rate);
    bands.iter().map(|b| figures(b.hertz, &b.energy, b.rate, onset as f64 / sample_rate)).collect()
}

/// The same of both channels together, their energies added.
pub fn measures_of(response: &Stereo, sample_rate: f64) -> Vec<Measures> {
    let first = [&response.left, &response.right].into_iter().filter_map(|c| onset(c)).min();
    let Some(first) = first else { return Vec::new() };
    let (left, right) = (octaves(&response.left, sample_rate), octaves(&response.right, sample_rate));
    let both = left.iter().zip(&right).map(|(l, r)| {
        let energy: Vec<f64> = l.energy.iter().zip(&r.energy).map(|(a, b)| a + b).collect();
        figures(l.hertz, &energy, l.rate, first as f64 / sample_rate)
    });
    both.collect()
}

/// The first sample that is within 20 dB of the highest (ISO 3382-1). None in silence.
pub fn onset(response: &[f32]) -> Option<usize> {
    let peak = ripieno_signal::measure::peak(response);
    if peak <= 0.0 || !peak.is_finite() {
        return None;
    }
    response.iter().position(|x| f64::from(x.abs()) >= 0.1 * peak)
}

/// A length that is quickly transformed and often halved: 4 to 7 times a power of two.
fn even_length(least: usize) -> usize {
    let unit = (least.max(1024).next_power_of_two()) / 8;
    least.max(1024).div_ceil(unit) * unit
}

/// Energies by octave. The filters have no phase and the magnitude of a Butterworth band pass of order 6 with its -3 dB points
/// at the edges of the octave (within class 1 of IEC 61260-1, from memory), run forward and back.
fn octaves(response: &[f32], sample_rate: f64) -> Vec<Band> {
    // Silence after the end, so that nothing goes round.
    let length = even_length(response.len() + (0.1 * sample_rate) as usize);
    let mut planner = Planner64::new();
    let forward = planner.forward(length);
    let mut input: Vec<f64> = response.iter().map(|x| f64::from(*x)).collect();
    input.resize(length, 0.0);
    let mut spectrum = forward.make_output_vec();
    if forward.process(&mut input, &mut spectrum).is_err() {
        return Vec::new();
    }
    let step = sample_rate / length as f64;
    let mut found = Vec::new();
    for (nominal, i) in OCTAVES.into_iter().zip(-4_i32..) {
        let centre = 1000.0 * math::exp2(f64::from(i));
        if centre * 1.5 > sample_rate / 2.0 {
            break;
        }
        // Only the bins of the band and an octave more, at a rate no higher than its energy needs.
        let mut short = length;
        while short.is_multiple_of(4) && (short / 2) as f64 * step >= 16.0 * centre {
            short /= 2;
        }
        let inverse = planner.inverse(short);
        let mut bins = inverse.make_input_vec();
        let top = bins.len() - 1;
        for (k, bin) in bins.iter_mut().enumerate().skip(1).take(top - 1) {
            let f = k as f64 * step;
            let x = (f / centre - centre / f) / FRAC_1_SQRT_2;
            let x2 = x * x;
            // What is two octaves above and -87 dB is let out softly.
            let end = math::cos(FRAC_PI_2 * (f / centre / 1.5 - 5.0 / 3.0).clamp(0.0, 1.0));
            *bin = spectrum[k] * (end * end / (1.0 + x2 * x2 * x2));
        }
        bins[0] = Complex::new(0.0, 0.0);
        let mut band = inverse.make_output_vec();
        if inverse.process(&mut bins, &mut band).is_err() {
            continue;
        }
        let rate = sample_rate * short as f64 / length as f64;
        band.truncate((response.len() as f64 / sample_rate * rate) as usize);
        found.push(Band { hertz: nominal, energy: band.iter().map(|x| x * x).collect(), rate });
    }
    found
}

/// Where a decay sinks into steady noise.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Floor {
    /// Seconds from the start.
    pub knee: f64,
    /// Reverberation time before it, seconds.
    pub reverberation: f64,
}

/// Finds the noise floor of a decay by Lundeby's steps. None if it does not flatten.
pub(crate) fn floor(energy: &[f64], rate: f64) -> Option<Floor> {
    let block = (0.02 * rate) as usize;
    if block == 0 || energy.len() < 20 * block {
        return None;
    }
    let levels: Vec<f64> = energy.chunks_exact(block).map(|b| b.iter().sum::<f64>() / block as f64).collect();
    let mean = |part: &[f64]| part.iter().sum::<f64>() / part.len().max(1) as f64;
    let n = levels.len();
    let (peak_at, peak) = levels.iter().enumerate().max_by(|a, b| a.1.total_cmp(b.1))?;
    let tenth = (n / 10).max(2);
    let mut noise = mean(&levels[n - tenth..]);
    let db = |x: f64| 10.0 * math::log10(x.max(1e-300));
    // A tail that falls to its end has no floor: its last fifth is clearly lower than the fifth before.
    let fifth = (n / 5).max(2);
    let falls = db(mean(&levels[n - 2 * fifth..n - fifth])) - db(mean(&levels[n - fifth..]));
    if noise <= 0.0 || db(*peak) - db(noise) > 100.0 || falls > 2.0 {
        return None;
    }
    let mut found = None;
    for _ in 0..5 {
        let end = levels
            .iter()
            .enumerate()
            .skip(peak_at)
            .find(|(_, l)| db(**l) < db(noise) + 8.0)
            .map(|(i, _)| i)?;
        let points: Vec<(f64, f64)> =
            (peak_at..end).map(|i| ((i as f64 + 0.5) * block as f64 / rate, db(levels[i]))).collect();
        let (slope, start) = line(&points)?;
        if slope >= 0.0 {
            return None;
        }
        let knee = (db(noise) - start) / slope;
        found = Some(Floor { knee, reverberation: -60.0 / slope });
        // The noise anew, from 8 dB of decay after the knee on.
        let from = ((knee - 8.0 / slope) * rate / block as f64) as usize;
        let fresh = mean(&levels[from.min(n - tenth)..]);
        if (db(fresh) - db(noise)).abs() < 0.1 {
            break;
        }
        noise = fresh;
    }
    found.filter(|f| f.knee < energy.len() as f64 / rate)
}

/// The noise floors of two channels together, by octave from 63 Hz on.
pub(crate) fn floors(channels: &[Vec<f32>; 2], sample_rate: f64) -> [Option<Floor>; 8] {
    let [left, right] = [0, 1].map(|c: usize| octaves(&channels[c], sample_rate));
    let mut found = [None; 8];
    for ((found, l), r) in found.iter_mut().zip(&left).zip(&right) {
        let energy: Vec<f64> = l.energy.iter().zip(&r.energy).map(|(a, b)| a + b).collect();
        *found = floor(&energy, l.rate);
    }
    found
}

/// Slope and height at zero of the line of least squares. None for fewer than two points.
fn line(points: &[(f64, f64)]) -> Option<(f64, f64)> {
    let n = points.len() as f64;
    if points.len() < 2 {
        return None;
    }
    let (mx, my) = (points.iter().map(|p| p.0).sum::<f64>() / n, points.iter().map(|p| p.1).sum::<f64>() / n);
    let spread: f64 = points.iter().map(|p| (p.0 - mx) * (p.0 - mx)).sum();
    if spread <= 0.0 {
        return None;
    }
    let slope = points.iter().map(|p| (p.0 - mx) * (p.1 - my)).sum::<f64>() / spread;
    Some((slope, my - slope * mx))
}

fn figures(hertz: f64, energy: &[f64], rate: f64, onset: f64) -> Measures {
    // What rings before the onset belongs to it.
    let start = ((onset * rate) as usize).min(energy.len());
    let floor = floor(&energy[start..], rate);
    let end = floor.map_or(energy.len(), |f| (start + (f.knee * rate) as usize).clamp(start, energy.len()));
    // Beyond the knee the decay goes on as an exponential.
    let rest = floor.map_or(0.0, |f| {
        let around = ((0.05 * rate) as usize).clamp(1, end.max(1));
        let level = energy[end.saturating_sub(around)..end].iter().sum::<f64>() / around as f64;
        level * f.reverberation * rate / DECAY
    });
    let mut sum = rest;
    let mut decay: Vec<f64> = energy[..end]
        .iter()
        .rev()
        .map(|e| {
            sum += e;
            sum
        })
        .collect();
    decay.reverse();
    let total = decay.first().copied().unwrap_or(0.0);
    let after = |seconds: f64| {
        // A sample stands for half a step before it and half after it.
        let at = (onset + seconds) * rate + 0.5;
        let energy = |i: usize| decay.get(i).copied().unwrap_or(rest);
        math::lerp(energy(at as usize), energy(at as usize + 1), at - math::floor(at))
    };
    let fall = |from: f64, to: f64| {
        let level = |e: f64| 10.0 * math::log10((e / total).max(1e-30));
        let first = decay.iter().position(|e| level(*e) <= from)?;
        let last = decay.iter().position(|e| level(*e) <= to)?;
        let step = ((last - first) / 2000).max(1);
        let points: Vec<(f64, f64)> =
            (first..last).step_by(step).map(|i| (i as f64 / rate, level(decay[i]))).collect();
        line(&points).filter(|(slope, _)| *slope < 0.0).map(|(slope, _)| Seconds(-60.0 / slope))
    };
    // The centre of gravity is the energy that is left, summed over time from the onset on.
    let skipped = onset * rate - start as f64;
    let left: f64 = decay.iter().skip(start + 1).sum();
    let moment = (left - skipped * total) / rate + rest * floor.map_or(0.0, |f| f.reverberation / DECAY);
    Measures {
        hertz,
        edt: fall(-0.1, -10.0),
        t20: fall(-5.0, -25.0),
        t30: fall(-5.0, -35.0),
        c80: ratio(total - after(0.08), after(0.08)),
        d50: if total > 0.0 { 1.0 - after(0.05) / total } else { 0.0 },
        ts: Seconds(if total > 0.0 { moment / total } else { 0.0 }),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use ripieno_units::Chance;

    fn noise(t: f64, seconds: f64, rate: f64, floor: f64) -> Vec<f32> {
        let mut chance = Chance::named(3, &["decay"]);
        (0..(seconds * rate) as usize)
            .map(|i| {
                (math::exp(-0.5 * DECAY * i as f64 / rate / t) * chance.normal(1.0) + chance.normal(floor))
                    as f32
            })
            .collect()
    }

    /// ISO 3382-1's definitions on an exact exponential with T = 2 s: C80 = -1.3206 dB, D50 = 0.29205, Ts = 144.765 ms.
    #[test]
    fn an_exact_exponential() {
        let rate = 48_000.0;
        let energy: Vec<f64> = (0..288_000).map(|i| math::exp(-DECAY * f64::from(i) / rate / 2.0)).collect();
        let found = figures(1000.0, &energy, rate, 0.0);
        for t in [found.edt, found.t20, found.t30] {
            assert!((t.unwrap().0 - 2.0).abs() < 0.002, "{found:?}");
        }
        assert!((found.c80.0 + 1.3206).abs() < 0.002, "{found:?}");
        assert!((found.d50 - 0.29205).abs() < 0.0002, "{found:?}");
        assert!((found.ts.0 - 0.144765).abs() < 0.0001, "{found:?}");
    }

    #[test]
    fn noise_that_dies_away_in_two_seconds() {
        for rate in [44_100.0, 48_000.0, 96_000.0] {
            let found = measures(&noise(2.0, 3.0, rate, 0.0), rate);
            assert_eq!(found.len(), 8);
            // The times of a piece of noise scatter by about 1 / sqrt(B T): wide octaves alone are close.
            for band in &found[2..] {
                let within = if band.hertz < 900.0 { 0.08 } else { 0.02 };
                assert!((band.t30.unwrap().0 / 2.0 - 1.0).abs() < within, "{rate}: {band:?}");
                assert!((band.c80.0 + 1.32).abs() < 45.0 / math::sqrt(band.hertz), "{rate}: {band:?}");
            }
        }
    }

    #[test]
    fn a_noise_floor_is_left_out() {
        let rate = 48_000.0;
        let found = measures(&noise(1.5, 3.0, rate, 0.003), rate);
        for band in &found[3..] {
            let within = if band.hertz < 900.0 { 0.08 } else { 0.03 };
            assert!((band.t30.unwrap().0 / 1.5 - 1.0).abs() < within, "{band:?}");
        }
    }

    #[test]
    fn silence_and_rubbish_measure_nothing() {
        assert!(measures(&[], 48_000.0).is_empty());
        assert!(measures(&[0.0; 1000], 48_000.0).is_empty());
        assert!(measures(&[f32::NAN; 1000], 48_000.0).is_empty());
        assert!(measures(&[1.0], 48_000.0).iter().all(|m| m.ts.0.is_finite()));
    }
}
