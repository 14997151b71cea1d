//! The copy to listen to: brought to a loudness, its peaks limited.

use crate::{Loudness, MixError, Peaks, Survey, Surveyed, limiter};
use ripieno_units::Decibels;

/// What the copy is to be.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ListeningOptions {
    /// Integrated loudness in LUFS; -18 for music to be heard, -23 by EBU R 128.
    pub loudness: f64,
    /// Highest true peak in dBTP; -1 by EBU R 128.
    pub true_peak: f64,
}

impl Default for ListeningOptions {
    fn default() -> Self {
        Self { loudness: -18.0, true_peak: -1.0 }
    }
}

/// What was done and reached.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ListeningReport {
    /// What the copy measures.
    pub reached: Loudness,
    /// Gain against the mix, dB.
    pub gain_db: f64,
    /// The most by which the limiter took a peak down, dB; 0 where it did nothing.
    pub limited_db: f64,
    /// Share of the time in which it did more than 0.1 dB, 0 to 1.
    pub limited_share: f64,
}

/// A gain for every moment of the mix.
#[derive(Clone, Debug, PartialEq)]
pub struct Listening {
    /// What it comes to.
    pub report: ListeningReport,
    hop: usize,
    /// At the start of every hop; empty where nothing is limited.
    gains: Vec<f32>,
    drive: f32,
}

impl Listening {
    /// Turns a block of the mix that begins at a frame into the copy.
    pub fn apply(&self, from: u64, left: &mut [f32], right: &mut [f32]) {
        for (i, (l, r)) in left.iter_mut().zip(right).enumerate() {
            let mut gain = self.drive;
            if !self.gains.is_empty() {
                let frame = from as usize + i;
                let (hop, within) = (frame / self.hop, (frame % self.hop) as f32 / self.hop as f32);
                let at = |i: usize| self.gains.get(i).copied().unwrap_or(1.0);
                gain *= at(hop) + within * (at(hop + 1) - at(hop));
            }
            *l *= gain;
            *r *= gain;
        }
    }
}

/// Takes a block of sound: the frame at which it starts, left, right.
pub type Take<'a> = dyn FnMut(u64, &mut [f32], &mut [f32]) + 'a;

/// Plays a mix from its start, block by block, to whoever takes it.
pub type Replay<'a, E> = dyn FnMut(&mut Take<'_>) -> Result<(), E> + 'a;

/// Most gain: what needs more is silence for all purposes.
const MOST_GAIN: f64 = 60.0;

/// Rounds of gain and limiter before what was reached must do.
const ROUNDS: usize = 8;

/// Close enough to the target, LU.
const CLOSE: f64 = 0.05;

/// Brings a mix to its loudness: a gain, and a limiter where peaks would pass the ceiling. Silence stays silence. Where nothing
/// passes the ceiling the gain is all, and the mix is not even played again; else it is played until gain and limiter agree.
/// Where peaks stand so close that the target is out of reach, the report says what was reached.
///
/// Errors: those of the replay; a sample that is no number.
pub fn listening<E: From<MixError>>(
    surveyed: &Surveyed,
    options: &ListeningOptions,
    sample_rate: u32,
    replay: &mut Replay<'_, E>,
) -> Result<Listening, E> {
    let mix = &surveyed.loudness;
    let mut gain =
        if mix.integrated.is_finite() { (options.loudness - mix.integrated).min(MOST_GAIN) } else { 0.0 };
    if mix.true_peak + gain <= options.true_peak {
        let raised = |value: f64| value + gain;
        let reached = Loudness {
            integrated: raised(mix.integrated),
            range: mix.range,
            momentary: raised(mix.momentary),
            short_term: raised(mix.short_term),
            true_peak: raised(mix.true_peak),
        };
        return Ok(plain(gain, reached, surveyed.peaks.hop));
    }
    // A filter of 12 taps may read a little less than the meter's.
    let mut ceiling = options.true_peak - 0.1;
    let mut done = attempt(&surveyed.peaks, gain, ceiling, sample_rate, replay)?;
    for _ in 0..ROUNDS {
        let short = options.loudness - done.report.reached.integrated;
        let over = done.report.reached.true_peak - options.true_peak;
        if short.abs() < CLOSE && over <= 0.0 {
            break;
        }
        if over > 0.0 {
            ceiling -= over + 0.02;
        }
        // The limiter takes back a part of every decibel that is added: reach a little further.
        let further = if done.report.limited_db > 0.0 && short > 0.0 { 1.5 } else { 1.0 };
        gain = (gain + further * short).min(MOST_GAIN).min(options.loudness - mix.integrated + 30.0);
        done = attempt(&surveyed.peaks, gain, ceiling, sample_rate, replay)?;
    }
    Ok(done)
}

fn plain(gain: f64, reached: Loudness, hop: usize) -> Listening {
    let report = ListeningReport { reached, gain_db: gain, limited_db: 0.0, limited_share: 0.0 };
    Listening { report, hop, gains: Vec::new(), drive: Decibels(gain).amplitude() as f32 }
}

fn attempt<E: From<MixError>>(
    peaks: &Peaks,
    gain: f64,
    ceiling: f64,
    sample_rate: u32,
    replay: &mut Replay<'_, E>,
) -> Result<Listening, E> {
    let drive = Decibels(gain).amplitude();
    let gains = limiter::gains(peaks, drive, Decibels(ceiling).amplitude());
    let mut done = plain(gain, Loudness::SILENCE, peaks.hop);
    let lowest = gains.iter().fold(1.0_f32, |a, b| a.min(*b));
    let busy = gains.iter().filter(|g| **g < 0.9886).count();
    if lowest < 1.0 {
        done.report.limited_db = -Decibels::from_amplitude(lowest.into()).0;
        done.report.limited_share = busy as f64 / gains.len() as f64;
        done.gains = gains;
    }
    let mut survey = Survey::new(sample_rate)?;
    replay(&mut |from, left, right| {
        done.apply(from, left, right);
        survey.add(left, right);
    })?;
    done.report.reached = survey.finish()?.loudness;
    Ok(done)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::survey::tests::{sine, surveyed};
    use ripieno_signal::{Noise, Stereo, measure};
    use ripieno_units::math;

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

    fn copy(mix: &Stereo, options: &ListeningOptions) -> (Stereo, ListeningReport) {
        let found = surveyed(&mix.left, &mix.right);
        let mut replay = |take: &mut Take<'_>| -> Result<(), MixError> {
            let mut sound = mix.clone();
            for (i, (l, r)) in sound.left.chunks_mut(5000).zip(sound.right.chunks_mut(5000)).enumerate() {
                take(5000 * i as u64, l, r);
            }
            Ok(())
        };
        let listening = listening(&found, options, 48_000, &mut replay).unwrap();
        let mut out = mix.clone();
        listening.apply(0, &mut out.left, &mut out.right);
        (out, listening.report)
    }

    #[test]
    fn the_copy_reaches_its_target_below_its_ceiling() {
        for (level, target) in [(0.001, -18.0), (0.05, -14.0), (0.5, -18.0), (0.3, -23.0), (3.0, -12.0)] {
            let options = ListeningOptions { loudness: target, ..ListeningOptions::default() };
            let (out, report) = copy(&music(level), &options);
            // Measured anew, not believed.
            let found = surveyed(&out.left, &out.right).loudness;
            assert!((found.integrated - target).abs() < 0.1, "{level} {target}: {found:?} {report:?}");
            assert!(found.true_peak <= -1.0, "{level} {target}: {found:?}");
            assert!((found.integrated - report.reached.integrated).abs() < 1e-3);
            assert!((0.0..=1.0).contains(&report.limited_share));
        }
    }

    #[test]
    fn without_peaks_it_is_a_plain_gain() {
        let left = sine(440.0, -30.0, 5.0);
        let mix = Stereo { right: left.clone(), left };
        let (out, report) = copy(&mix, &ListeningOptions::default());
        assert_eq!(report.limited_db, 0.0);
        let found = surveyed(&out.left, &out.right).loudness;
        assert!((found.integrated - report.reached.integrated).abs() < 0.01);
        let factor = Decibels(report.gain_db).amplitude() as f32;
        assert!(measure::difference(&mix.scaled(factor).left, &out.left).0 < -120.0);
    }

    #[test]
    fn silence_stays() {
        let (out, report) = copy(&Stereo::silence(96_000), &ListeningOptions::default());
        assert_eq!(out, Stereo::silence(96_000));
        assert_eq!(report.reached.integrated, f64::NEG_INFINITY);
    }
}
