//! Equaliser bands: the library's second-order sections, run over a response.

use biquad::{Biquad, Coefficients, DirectForm2Transposed, ToHertz, Type};

/// One band.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Band {
    /// Its kind.
    pub kind: BandKind,
    /// Centre or corner; held below 0.49 of the sample rate.
    pub hertz: f64,
    /// Gain; of no meaning for passes.
    pub db: f64,
    /// Quality, above 0.
    pub q: f64,
}

/// Kinds of bands.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[allow(missing_docs)] // the trade's words
pub enum BandKind {
    Peak,
    LowShelf,
    HighShelf,
    LowPass,
    HighPass,
}

/// Runs a response through bands, one after the other. It must end in silence long enough for what rings on. A band that
/// cannot be made from its figures changes nothing.
pub fn equalise(samples: &mut [f32], bands: &[Band], sample_rate: u32) {
    let rate = f64::from(sample_rate);
    for band in bands {
        let kind = match band.kind {
            BandKind::Peak => Type::PeakingEQ(band.db),
            BandKind::LowShelf => Type::LowShelf(band.db),
            BandKind::HighShelf => Type::HighShelf(band.db),
            BandKind::LowPass => Type::LowPass,
            BandKind::HighPass => Type::HighPass,
        };
        let hertz = band.hertz.clamp(1.0, 0.49 * rate);
        let made = Coefficients::<f64>::from_params(kind, rate.hz(), hertz.hz(), band.q.max(0.05));
        let Ok(coefficients) = made else { continue };
        let mut section = DirectForm2Transposed::<f64>::new(coefficients);
        for x in samples.iter_mut() {
            *x = section.run(f64::from(*x)) as f32;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use ripieno_signal::Biquad as Ours;
    use ripieno_units::{Decibels, math};
    use std::f64::consts::TAU;

    /// Gain of a response at a frequency, dB.
    fn gain(response: &[f32], hertz: f64) -> f64 {
        let (mut re, mut im) = (0.0, 0.0);
        for (i, x) in response.iter().enumerate() {
            let w = TAU * hertz * i as f64 / 48_000.0;
            re += f64::from(*x) * math::cos(w);
            im -= f64::from(*x) * math::sin(w);
        }
        Decibels::from_amplitude(math::sqrt(re * re + im * im)).0
    }

    fn response(bands: &[Band]) -> Vec<f32> {
        let mut impulse = vec![0.0; 48_000];
        impulse[0] = 1.0;
        equalise(&mut impulse, bands, 48_000);
        impulse
    }

    /// What the designs promise by definition: the gain at the centre, the plateau of a shelf, -3 dB at a corner of Q 0.7071
    /// (R. Bristow-Johnson, Cookbook formulae for audio equalizer biquad filter coefficients).
    #[test]
    fn bands_do_what_they_say() {
        let band = |kind, hertz, db| Band { kind, hertz, db, q: std::f64::consts::FRAC_1_SQRT_2 };
        let peak = response(&[band(BandKind::Peak, 2500.0, -4.0)]);
        assert!((gain(&peak, 2500.0) + 4.0).abs() < 0.01, "{}", gain(&peak, 2500.0));
        assert!(gain(&peak, 100.0).abs() < 0.05, "{}", gain(&peak, 100.0));
        let low = response(&[band(BandKind::LowShelf, 200.0, 6.0)]);
        assert!((gain(&low, 20.0) - 6.0).abs() < 0.1 && gain(&low, 5000.0).abs() < 0.05);
        let high = response(&[band(BandKind::HighShelf, 4000.0, -6.0)]);
        assert!((gain(&high, 20_000.0) + 6.0).abs() < 0.2 && gain(&high, 100.0).abs() < 0.05);
        let both = response(&[band(BandKind::HighPass, 100.0, 0.0), band(BandKind::LowPass, 8000.0, 0.0)]);
        assert!((gain(&both, 100.0) + 3.01).abs() < 0.05 && (gain(&both, 8000.0) + 3.01).abs() < 0.05);
        // The other implementation in the house, written after the same paper, agrees.
        let mut ours = Ours::low_pass(8000.0, std::f64::consts::FRAC_1_SQRT_2, 48_000.0);
        let low_pass = response(&[band(BandKind::LowPass, 8000.0, 0.0)]);
        for (i, x) in low_pass.iter().take(200).enumerate() {
            assert!((ours.sample(if i == 0 { 1.0 } else { 0.0 }) - x).abs() < 1e-6);
        }
    }

    #[test]
    fn nonsense_changes_nothing_to_nonsense() {
        let mad = Band { kind: BandKind::Peak, hertz: 1e9, db: 500.0, q: -1.0 };
        assert!(response(&[mad]).iter().take(10).all(|x| !x.is_nan()));
    }
}
