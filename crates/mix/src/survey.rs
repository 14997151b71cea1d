//! Loudness and peaks of sound that streams by.

use ebur128::{EbuR128, Mode};
use ripieno_signal::measure;
use ripieno_units::Decibels;

/// What a stereo signal measures (ITU-R BS.1770, EBU Tech 3341 and 3342). Silence reads minus infinity.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Loudness {
    /// LUFS over the whole, gated.
    pub integrated: f64,
    /// LU.
    pub range: f64,
    /// The loudest 400 ms, LUFS.
    pub momentary: f64,
    /// The loudest 3 s, LUFS.
    pub short_term: f64,
    /// dBTP.
    pub true_peak: f64,
}

impl Loudness {
    /// Of silence.
    pub const SILENCE: Self = Self {
        integrated: f64::NEG_INFINITY,
        range: 0.0,
        momentary: f64::NEG_INFINITY,
        short_term: f64::NEG_INFINITY,
        true_peak: f64::NEG_INFINITY,
    };
}

/// Why a mix cannot be measured.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum MixError {
    /// The sample rate.
    SampleRate(u32),
    /// A sample is no number: the frame, counted from 0.
    NotANumber(u64),
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

/// The highest true peak of every millisecond, of both channels.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Peaks {
    /// Frames that each value stands for.
    pub hop: usize,
    /// Amplitudes.
    pub values: Vec<f32>,
}

/// What a survey found.
#[derive(Clone, Debug, PartialEq)]
pub struct Surveyed {
    /// Loudness.
    pub loudness: Loudness,
    /// Peaks.
    pub peaks: Peaks,
    /// The highest sample, as amplitude.
    pub sample_peak: f32,
    /// Short-term loudness of the three seconds that end with each second, LUFS; minus infinity where there is none.
    pub curve: Vec<f32>,
}

/// Measures sound block by block.
pub struct Survey {
    meter: EbuR128,
    rate: u32,
    /// Frames a tenth of a second, the step of the sliding loudness.
    tenth: usize,
    until_tenth: usize,
    momentary: f64,
    short_term: f64,
    peaks: Peaks,
    /// The last frames of each channel: a point between samples needs its neighbours.
    held: [Vec<f32>; 2],
    /// Frame of the first of those that are held.
    at: u64,
    frames: u64,
    sample_peak: f32,
    tenths: u32,
    curve: Vec<f32>,
    bad: Option<u64>,
    /// Where the peaks are is noted.
    places: bool,
}

/// Neighbours on each side that a point between samples is made of, and some to spare.
const NEIGHBOURS: usize = 16;

impl Survey {
    /// Errors: a sample rate outside 8 to 768 kHz.
    pub fn new(sample_rate: u32) -> Result<Self, MixError> {
        if !(8000..=768_000).contains(&sample_rate) {
            return Err(MixError::SampleRate(sample_rate));
        }
        let mode = Mode::I | Mode::LRA | Mode::M | Mode::S | Mode::TRUE_PEAK;
        let meter = EbuR128::new(2, sample_rate, mode).map_err(|_| MixError::SampleRate(sample_rate))?;
        let tenth = (sample_rate / 10) as usize;
        Ok(Self {
            meter,
            rate: sample_rate,
            tenth,
            until_tenth: tenth,
            momentary: f64::NEG_INFINITY,
            short_term: f64::NEG_INFINITY,
            peaks: Peaks { hop: (sample_rate / 1000) as usize, values: Vec::new() },
            held: [vec![0.0; NEIGHBOURS], vec![0.0; NEIGHBOURS]],
            at: 0,
            frames: 0,
            sample_peak: 0.0,
            tenths: 0,
            curve: Vec::new(),
            bad: None,
            places: true,
        })
    }

    /// One that does not note where the peaks are: in half the time, for sound that no limiter will follow.
    ///
    /// Errors: as for [`Survey::new`].
    pub fn without_places(sample_rate: u32) -> Result<Self, MixError> {
        Ok(Self { places: false, ..Self::new(sample_rate)? })
    }

    /// Measures the next block; of channels of unequal length the shorter counts.
    pub fn add(&mut self, left: &[f32], right: &[f32]) {
        let frames = left.len().min(right.len());
        let (left, right) = (&left[..frames], &right[..frames]);
        if self.bad.is_none()
            && let Some(i) = (0..frames).find(|i| !(left[*i].is_finite() && right[*i].is_finite()))
        {
            self.bad = Some(self.frames + i as u64);
        }
        if self.bad.is_some() {
            return;
        }
        self.sample_peak = left.iter().chain(right).fold(self.sample_peak, |a, b| a.max(b.abs()));
        self.frames += frames as u64;
        let mut from = 0;
        while from < frames {
            let to = (from + self.until_tenth).min(frames);
            // Fails for a wrong number of channels alone.
            let _ = self.meter.add_frames_planar_f32(&[&left[from..to], &right[from..to]]);
            self.until_tenth -= to - from;
            if self.until_tenth == 0 {
                self.until_tenth = self.tenth;
                self.slide();
            }
            from = to;
        }
        if !self.places {
            return;
        }
        for (held, channel) in self.held.iter_mut().zip([left, right]) {
            held.extend_from_slice(channel);
        }
        self.settle(NEIGHBOURS);
    }

    fn slide(&mut self) {
        let done = self.frames;
        // A window that is not full yet reads low, or not at all.
        if let Ok(loudness) = self.meter.loudness_momentary() {
            self.momentary = self.momentary.max(loudness);
        }
        let short_term = match self.meter.loudness_shortterm() {
            Ok(loudness) if done >= 3 * u64::from(self.rate) => loudness,
            _ => f64::NEG_INFINITY,
        };
        self.short_term = self.short_term.max(short_term);
        self.tenths += 1;
        if self.tenths.is_multiple_of(10) {
            self.curve.push(short_term as f32);
        }
    }

    /// Takes the peaks of all frames that have `after` neighbours behind them.
    fn settle(&mut self, after: usize) {
        let length = self.held[0].len();
        if length <= NEIGHBOURS + after {
            return;
        }
        let settled = length - NEIGHBOURS - after;
        for channel in &self.held {
            let peaks = measure::true_peaks(channel, self.rate.into());
            for (i, peak) in peaks[NEIGHBOURS..NEIGHBOURS + settled].iter().enumerate() {
                let hop = (self.at as usize + i) / self.peaks.hop;
                if hop >= self.peaks.values.len() {
                    self.peaks.values.resize(hop + 1, 0.0);
                }
                self.peaks.values[hop] = self.peaks.values[hop].max(*peak);
            }
        }
        for channel in &mut self.held {
            channel.drain(..settled);
        }
        self.at += settled as u64;
    }

    /// What it all measures.
    ///
    /// Errors: a sample that was no number.
    pub fn finish(mut self) -> Result<Surveyed, MixError> {
        if let Some(frame) = self.bad {
            return Err(MixError::NotANumber(frame));
        }
        self.settle(0);
        let wrong = |_| MixError::SampleRate(self.rate);
        let peak = self.meter.true_peak(0).map_err(wrong)?.max(self.meter.true_peak(1).map_err(wrong)?);
        let true_peak = if peak > 0.0 { Decibels::from_amplitude(peak).0 } else { f64::NEG_INFINITY };
        let loudness = Loudness {
            integrated: self.meter.loudness_global().map_err(wrong)?,
            range: self.meter.loudness_range().map_err(wrong)?,
            momentary: self.momentary,
            short_term: self.short_term,
            true_peak,
        };
        Ok(Surveyed { loudness, peaks: self.peaks, sample_peak: self.sample_peak, curve: self.curve })
    }
}

#[cfg(test)]
pub(crate) mod tests {
    use super::*;
    use ripieno_units::math;
    use std::f64::consts::TAU;

    pub fn sine(hertz: f64, db: f64, seconds: f64) -> Vec<f32> {
        let amplitude = Decibels(db).amplitude();
        (0..(48_000.0 * seconds) as usize)
            .map(|i| (amplitude * math::sin(TAU * hertz * i as f64 / 48_000.0)) as f32)
            .collect()
    }

    /// In blocks of an odd length.
    pub fn surveyed(left: &[f32], right: &[f32]) -> Surveyed {
        let mut survey = Survey::new(48_000).unwrap();
        for (left, right) in left.chunks(7919).zip(right.chunks(7919)) {
            survey.add(left, right);
        }
        survey.finish().unwrap()
    }

    /// ITU-R BS.1770: a sine of 997 Hz at 0 dBFS in one front channel reads -3.01 LKFS.
    #[test]
    fn the_published_calibration() {
        let left = sine(997.0, 0.0, 10.0);
        let found = surveyed(&left, &vec![0.0; left.len()]).loudness;
        assert!((found.integrated + 3.01).abs() < 0.01, "{found:?}");
    }

    /// EBU Tech 3341, signals 1 to 5, 9 and 12, and Tech 3342, signals 1 to 4.
    #[test]
    fn the_published_signals() {
        let both = |parts: &[(f64, f64)]| {
            let left: Vec<f32> = parts.iter().flat_map(|(db, s)| sine(1000.0, *db, *s)).collect();
            surveyed(&left, &left).loudness
        };
        let first = both(&[(-23.0, 20.0)]);
        for found in [first.integrated, first.momentary, first.short_term] {
            assert!((found + 23.0).abs() < 0.1, "{first:?}");
        }
        for parts in [
            &[(-36.0, 10.0), (-23.0, 60.0), (-36.0, 10.0)][..],
            &[(-72.0, 10.0), (-36.0, 10.0), (-23.0, 60.0), (-36.0, 10.0), (-72.0, 10.0)],
            &[(-26.0, 20.0), (-20.0, 20.1), (-26.0, 20.0)],
        ] {
            assert!((both(parts).integrated + 23.0).abs() < 0.1, "{parts:?}");
        }
        assert!((both(&[(-33.0, 20.0)]).integrated + 33.0).abs() < 0.1);
        let ninth: Vec<(f64, f64)> = (0..5).flat_map(|_| [(-20.0, 1.34), (-30.0, 1.66)]).collect();
        assert!((both(&ninth).short_term + 23.0).abs() < 0.1);
        let twelfth: Vec<(f64, f64)> = (0..25).flat_map(|_| [(-20.0, 0.18), (-30.0, 0.22)]).collect();
        assert!((both(&twelfth).momentary + 23.0).abs() < 0.1);
        for (parts, range) in [
            (&[(-20.0, 20.0), (-30.0, 20.0)][..], 10.0),
            (&[(-20.0, 20.0), (-15.0, 20.0)], 5.0),
            (&[(-40.0, 20.0), (-20.0, 20.0)], 20.0),
            (&[(-50.0, 20.0), (-35.0, 20.0), (-20.0, 20.0), (-35.0, 20.0), (-50.0, 20.0)], 15.0),
        ] {
            assert!((both(parts).range - range).abs() < 1.0, "{parts:?}");
        }
    }

    /// Peaks found in blocks are those found in one go.
    #[test]
    fn peaks_of_blocks_and_of_the_whole() {
        let mut noise = ripieno_signal::Noise::seeded(9);
        let left: Vec<f32> = (0..48_000).map(|_| 0.4 * noise.sample()).collect();
        let whole = measure::true_peaks(&left, 48_000.0);
        let found = surveyed(&left, &vec![0.0; left.len()]).peaks;
        assert_eq!((found.hop, found.values.len()), (48, 1000));
        for (i, peak) in found.values.iter().enumerate() {
            let wanted = whole[48 * i..48 * (i + 1)].iter().fold(0.0_f32, |a, b| a.max(*b));
            assert!((peak - wanted).abs() < 1e-5, "{i}: {peak} {wanted}");
        }
    }

    #[test]
    fn nonsense_is_refused() {
        assert_eq!(Survey::new(3).err(), Some(MixError::SampleRate(3)));
        let mut survey = Survey::new(48_000).unwrap();
        survey.add(&[0.0; 100], &[0.0; 100]);
        survey.add(&[0.0, f32::NAN], &[0.0, 0.0]);
        assert_eq!(survey.finish().err(), Some(MixError::NotANumber(101)));
        let silence = Survey::new(48_000).unwrap().finish().unwrap();
        assert_eq!(silence.loudness.integrated, f64::NEG_INFINITY);
    }
}
