//! Loudness measured and reached.

use crate::limiter;
use ebur128::{EbuR128, Mode};
use ripieno_signal::{Stereo, measure};
use ripieno_units::Decibels;

/// What the mix is to be.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct MasterOptions {
    /// Samples a second.
    pub sample_rate: u32,
    /// Integrated loudness in LUFS; -18 for music to be heard, -23 by EBU R 128.
    pub loudness: f64,
    /// Highest true peak in dBTP; -1 by EBU R 128.
    pub true_peak: f64,
}

impl Default for MasterOptions {
    fn default() -> Self {
        Self { sample_rate: 48_000, loudness: -18.0, true_peak: -1.0 }
    }
}

/// What a stereo signal measures (ITU-R BS.1770, EBU Tech 3342). Silence reads minus infinity.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Loudness {
    /// LUFS.
    pub integrated: f64,
    /// dBTP.
    pub true_peak: f64,
    /// LU.
    pub range: f64,
}

/// The loudest moments of a stereo signal (EBU Tech 3341: ten readings a second). Silence reads minus infinity.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Maxima {
    /// Highest momentary loudness (400 ms), LUFS.
    pub momentary: f64,
    /// Highest short-term loudness (3 s), LUFS.
    pub short_term: f64,
}

/// What the master did and reached.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct MixReport {
    /// Integrated loudness reached; minus infinity for silence.
    pub integrated_lufs: f64,
    /// True peak reached; minus infinity for silence.
    pub true_peak_dbtp: f64,
    /// Loudness range.
    pub range_lu: f64,
    /// Gain from the mix before the master.
    pub gain_db: f64,
    /// The most by which the limiter took a peak down; 0 where it did nothing.
    pub limited_db: f64,
}

/// The listening mix, with its report.
#[derive(Clone, Debug, PartialEq)]
pub struct Mastered {
    /// The listening mix.
    pub audio: Stereo,
    /// What was done.
    pub report: MixReport,
}

/// Why a mix cannot be measured.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum MixError {
    /// The sample rate.
    SampleRate(u32),
    /// A sample is no number: the frame, counted from 0.
    NotANumber(usize),
}

impl std::fmt::Display for MixError {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::SampleRate(rate) => {
                write!(f, "loudness cannot be measured at {rate} samples a second; use 48000")
            }
            Self::NotANumber(frame) => {
                write!(f, "the mix holds a sample that is no number at frame {frame}; render again")
            }
        }
    }
}

impl std::error::Error for MixError {}

/// Most gain: what needs more is silence for all purposes.
const MOST_GAIN: f64 = 60.0;

/// Rounds of gain and limiter before what was reached must do.
const ROUNDS: usize = 12;

/// Close enough to the target, LU.
const CLOSE: f64 = 0.03;

fn meter(audio: &Stereo, sample_rate: u32, mode: Mode) -> Result<EbuR128, MixError> {
    let wrong = |_| MixError::SampleRate(sample_rate);
    if !(8000..=768_000).contains(&sample_rate) {
        return Err(MixError::SampleRate(sample_rate));
    }
    let mut meter = EbuR128::new(2, sample_rate, mode).map_err(wrong)?;
    let frames = audio.frames();
    meter.add_frames_planar_f32(&[&audio.left[..frames], &audio.right[..frames]]).map_err(wrong)?;
    Ok(meter)
}

fn integrated(audio: &Stereo, sample_rate: u32) -> Result<f64, MixError> {
    let wrong = |_| MixError::SampleRate(sample_rate);
    meter(audio, sample_rate, Mode::I)?.loudness_global().map_err(wrong)
}

/// Measures a stereo signal.
///
/// Errors: a sample rate outside 8 to 768 kHz.
pub fn loudness(audio: &Stereo, sample_rate: u32) -> Result<Loudness, MixError> {
    let wrong = |_| MixError::SampleRate(sample_rate);
    let meter = meter(audio, sample_rate, Mode::I | Mode::LRA | Mode::TRUE_PEAK)?;
    let mut peak = 0.0_f64;
    for channel in 0..2 {
        peak = peak.max(meter.true_peak(channel).map_err(wrong)?);
    }
    Ok(Loudness {
        integrated: meter.loudness_global().map_err(wrong)?,
        true_peak: if peak > 0.0 { Decibels::from_amplitude(peak).0 } else { f64::NEG_INFINITY },
        range: meter.loudness_range().map_err(wrong)?,
    })
}

/// Highest momentary and short-term loudness of a stereo signal.
///
/// Errors: a sample rate outside 8 to 768 kHz.
pub fn maxima(audio: &Stereo, sample_rate: u32) -> Result<Maxima, MixError> {
    let wrong = |_| MixError::SampleRate(sample_rate);
    let mut meter = meter(&Stereo::default(), sample_rate, Mode::S)?;
    let (frames, step) = (audio.frames(), (sample_rate / 10) as usize);
    let mut found = Maxima { momentary: f64::NEG_INFINITY, short_term: f64::NEG_INFINITY };
    let mut at = 0;
    while at < frames {
        let block = at..(at + step).min(frames);
        meter
            .add_frames_planar_f32(&[&audio.left[block.clone()], &audio.right[block.clone()]])
            .map_err(wrong)?;
        found.momentary = found.momentary.max(meter.loudness_momentary().map_err(wrong)?);
        found.short_term = found.short_term.max(meter.loudness_shortterm().map_err(wrong)?);
        at = block.end;
    }
    Ok(found)
}

/// Brings a mix to its loudness: a gain, and a limiter where peaks would pass the ceiling. Silence stays silence. Where peaks
/// stand so close that the target is out of reach, the report says what was reached.
///
/// Errors: a sample rate outside 8 to 768 kHz; a sample that is no number.
pub fn master(mix: &Stereo, options: &MasterOptions) -> Result<Mastered, MixError> {
    let rate = options.sample_rate;
    let frames = mix.frames();
    if let Some(bad) = (0..frames).find(|i| !(mix.left[*i].is_finite() && mix.right[*i].is_finite())) {
        return Err(MixError::NotANumber(bad));
    }
    let before = integrated(mix, rate)?;
    let [mut peaks, right] =
        [&mix.left[..frames], &mix.right[..frames]].map(|c| measure::true_peaks(c, rate.into()));
    for (a, b) in peaks.iter_mut().zip(right) {
        *a = a.max(b);
    }
    let mut gain = if before.is_finite() { (options.loudness - before).min(MOST_GAIN) } else { 0.0 };
    // A filter of 12 taps may read a little less than the meter's.
    let mut ceiling = options.true_peak - 0.1;
    let mut done = apply(mix, &peaks, gain, ceiling, rate);
    let mut measured = loudness(&done.0, rate)?;
    for _ in 0..ROUNDS {
        let short = options.loudness - measured.integrated;
        let over = measured.true_peak - options.true_peak;
        if !measured.integrated.is_finite() || (short.abs() < CLOSE && over <= 0.0) {
            break;
        }
        if over > 0.0 {
            ceiling -= over + 0.02;
        }
        // The limiter takes back a part of every decibel that is added: reach a little further.
        let further = if done.1 > 0.0 && short > 0.0 { 1.5 } else { 1.0 };
        gain = (gain + further * short).min(MOST_GAIN).min(options.loudness - before + 30.0);
        done = apply(mix, &peaks, gain, ceiling, rate);
        measured = loudness(&done.0, rate)?;
    }
    let report = MixReport {
        integrated_lufs: measured.integrated,
        true_peak_dbtp: measured.true_peak,
        range_lu: measured.range,
        gain_db: gain,
        limited_db: done.1,
    };
    Ok(Mastered { audio: done.0, report })
}

/// The mix with a gain and the limiter, and how much it took at most.
fn apply(mix: &Stereo, peaks: &[f32], gain: f64, ceiling: f64, rate: u32) -> (Stereo, f64) {
    let drive = Decibels(gain).amplitude();
    let gains = limiter::gains(peaks, drive, Decibels(ceiling).amplitude(), rate.into());
    let lowest = gains.iter().fold(1.0_f32, |a, b| a.min(*b));
    let turned = |channel: &[f32]| -> Vec<f32> {
        channel.iter().zip(&gains).map(|(x, g)| x * g * drive as f32).collect()
    };
    let audio = Stereo { left: turned(&mix.left), right: turned(&mix.right) };
    (audio, if lowest < 1.0 { -Decibels::from_amplitude(lowest.into()).0 } else { 0.0 })
}

#[cfg(test)]
mod tests {
    use super::*;
    use ripieno_signal::Noise;
    use ripieno_units::math;
    use std::f64::consts::TAU;

    fn sine(hertz: f64, db: f64, seconds: f64) -> Vec<f32> {
        let amplitude = Decibels(db).amplitude();
        (0..(48_000.0 * seconds) as usize)
            .map(|i| (amplitude * math::sin(TAU * hertz * i as f64 / 48_000.0)) as f32)
            .collect()
    }

    /// ITU-R BS.1770: a sine of 997 Hz at 0 dBFS in one front channel reads -3.01 LKFS.
    #[test]
    fn the_published_calibration() {
        let left = sine(997.0, 0.0, 10.0);
        let audio = Stereo { right: vec![0.0; left.len()], left };
        let found = loudness(&audio, 48_000).unwrap();
        assert!((found.integrated + 3.01).abs() < 0.01, "{found:?}");
    }

    /// EBU Tech 3341, signals 1 to 3, and Tech 3342, signal 1.
    #[test]
    fn the_published_signals() {
        let both = |parts: &[(f64, f64)]| {
            let left: Vec<f32> = parts.iter().flat_map(|(db, s)| sine(1000.0, *db, *s)).collect();
            loudness(&Stereo { right: left.clone(), left }, 48_000).unwrap()
        };
        assert!((both(&[(-23.0, 20.0)]).integrated + 23.0).abs() < 0.1);
        assert!((both(&[(-33.0, 20.0)]).integrated + 33.0).abs() < 0.1);
        assert!((both(&[(-36.0, 10.0), (-23.0, 60.0), (-36.0, 10.0)]).integrated + 23.0).abs() < 0.1);
        assert!((both(&[(-20.0, 20.0), (-30.0, 20.0)]).range - 10.0).abs() < 1.0);
    }

    /// EBU Tech 3341, signals 9 and 12: levels that change within the windows read -23 all the same.
    #[test]
    fn the_loudest_moments() {
        let both = |parts: &[(f64, f64)], times: usize| {
            let once: Vec<f32> = parts.iter().flat_map(|(db, s)| sine(1000.0, *db, *s)).collect();
            let left: Vec<f32> = once.iter().copied().cycle().take(times * once.len()).collect();
            maxima(&Stereo { right: left.clone(), left }, 48_000).unwrap()
        };
        let short = both(&[(-20.0, 1.34), (-30.0, 1.66)], 5);
        assert!((short.short_term + 23.0).abs() < 0.1, "{short:?}");
        let moment = both(&[(-20.0, 0.18), (-30.0, 0.22)], 25);
        assert!((moment.momentary + 23.0).abs() < 0.1, "{moment:?}");
        assert_eq!(maxima(&Stereo::silence(48_000), 48_000).unwrap().momentary, f64::NEG_INFINITY);
    }

    /// Noise that swells and has sharp peaks.
    fn music(level: f64) -> Stereo {
        let mut noise = Noise::seeded(5);
        let mut channel = || -> Vec<f32> {
            (0..48_000 * 12)
                .map(|i| {
                    let t = i as f64 / 48_000.0;
                    let swell = 0.1 + 0.9 * math::sin(t * 0.26) * math::sin(t * 0.26);
                    let peak = if i % 24_000 < 30 { 6.0 } else { 1.0 };
                    (level * swell * peak * f64::from(noise.sample())) as f32
                })
                .collect()
        };
        Stereo { left: channel(), right: channel() }
    }

    #[test]
    fn the_master_reaches_its_target_below_its_ceiling() {
        for (level, target) in [(0.001, -18.0), (0.05, -14.0), (0.5, -18.0), (0.3, -23.0), (3.0, -12.0)] {
            let options = MasterOptions { loudness: target, ..MasterOptions::default() };
            let done = master(&music(level), &options).unwrap();
            // Measured anew, not believed.
            let found = loudness(&done.audio, 48_000).unwrap();
            assert!((found.integrated - target).abs() < 0.1, "{level} {target}: {found:?} {:?}", done.report);
            assert!(found.true_peak <= -1.0, "{level} {target}: {found:?}");
            assert!((found.integrated - done.report.integrated_lufs).abs() < 1e-9);
            assert!(done.report.limited_db >= 0.0);
        }
    }

    #[test]
    fn without_peaks_it_is_a_plain_gain() {
        let left = sine(440.0, -30.0, 5.0);
        let mix = Stereo { right: left.clone(), left };
        let done = master(&mix, &MasterOptions::default()).unwrap();
        assert_eq!(done.report.limited_db, 0.0);
        let factor = Decibels(done.report.gain_db).amplitude() as f32;
        assert!(measure::difference(&mix.scaled(factor).left, &done.audio.left).0 < -120.0);
    }

    #[test]
    fn silence_stays_and_nonsense_is_refused() {
        let silent = Stereo::silence(96_000);
        let done = master(&silent, &MasterOptions::default()).unwrap();
        assert_eq!(done.audio, silent);
        assert_eq!(done.report.integrated_lufs, f64::NEG_INFINITY);
        assert_eq!(master(&Stereo::default(), &MasterOptions::default()).unwrap().audio, Stereo::default());
        let mut bad = silent.clone();
        bad.right[77] = f32::NAN;
        assert_eq!(master(&bad, &MasterOptions::default()), Err(MixError::NotANumber(77)));
        let options = MasterOptions { sample_rate: 3, ..MasterOptions::default() };
        assert_eq!(master(&silent, &options), Err(MixError::SampleRate(3)));
    }

    #[test]
    fn twice_the_same() {
        let mix = music(0.4);
        assert_eq!(master(&mix, &MasterOptions::default()), master(&mix, &MasterOptions::default()));
    }
}
