//! What is heard when, by semitone.

use ripieno_signal::Frames;
use ripieno_units::math;
use std::f64::consts::PI;

/// Keys of the bands: what lies below is known by its partials, what lies above is not tonal.
pub const KEYS: std::ops::RangeInclusive<i32> = 40..=112;

/// Number of bands.
pub const COUNT: usize = (*KEYS.end() - *KEYS.start() + 1) as usize;

/// Partials that a tone is known by.
pub const PARTIALS: usize = 6;

/// Levels by band and time.
#[derive(Clone, Debug)]
pub struct Bands {
    /// For each band its compressed level at each hop: 0 is nothing.
    pub levels: Vec<Vec<f32>>,
    /// Number of hops.
    pub hops: usize,
}

/// How sound is looked at.
#[derive(Clone, Copy, Debug)]
pub struct Look {
    /// Samples a second.
    pub rate: f64,
    /// Pitch of A4 in hertz.
    pub tuning: f64,
    /// Length of a window in seconds, roughly.
    pub window: f64,
    /// Seconds.
    pub hop: f64,
    /// Amplitudes are compressed as ln(1 + range * a / loudest): what lies this factor below the loudest counts for little.
    pub range: f32,
}

/// Levels of `hops` hops, the first around the time `from` seconds after the first sample.
pub fn bands(samples: &[f32], look: &Look, from: f64, hops: usize) -> Bands {
    let length = ((look.window * look.rate) as usize).next_power_of_two().max(64);
    let mut frames = Frames::new(length);
    let weights = weights(look, length);
    let mut levels = vec![vec![0.0_f32; hops]; COUNT];
    let mut powers = Vec::new();
    let mut loudest = Vec::with_capacity(hops);
    for hop in 0..hops {
        let centre = math::floor((from + hop as f64 * look.hop) * look.rate + 0.5) as i64;
        frames.powers(samples, centre, &mut powers);
        let mut most = 0.0_f32;
        for (level, weights) in levels.iter_mut().zip(&weights) {
            let power: f32 = weights.iter().map(|(bin, w)| w * powers[*bin]).sum();
            level[hop] = if power.is_finite() { power.sqrt() } else { 0.0 };
            most = most.max(level[hop]);
        }
        loudest.push(most);
    }
    // A click is not the loudest tone: one hop in a hundred may be louder.
    loudest.sort_by(f32::total_cmp);
    let reference = loudest.get(loudest.len() * 99 / 100).copied().unwrap_or(0.0);
    let factor = if reference > 1e-9 { look.range / reference } else { 0.0 };
    for level in levels.iter_mut().flatten() {
        *level = math::ln(f64::from(1.0 + factor * *level)) as f32;
    }
    Bands { levels, hops }
}

/// For each band, bins and how much each counts: a triangle of a semitone to either side, at least one bin wide.
fn weights(look: &Look, length: usize) -> Vec<Vec<(usize, f32)>> {
    let step = look.rate / length as f64;
    KEYS.map(|key| {
        let hertz = |key: f64| look.tuning * math::exp2((key - 69.0) / 12.0);
        let centre = hertz(f64::from(key)) / step;
        let width = (centre * 0.0595).max(1.0);
        let (from, to) = ((centre - width).max(1.0) as usize, (centre + width) as usize + 1);
        (from..=to.min(length / 2))
            .map(|bin| (bin, (1.0 - (bin as f64 - centre).abs() / width).max(0.0) as f32))
            .filter(|(_, w)| *w > 0.0)
            .collect()
    })
    .collect()
}

impl Bands {
    /// How much each band rises from `reach` hops before to `reach` hops after.
    pub fn rises(&self, reach: usize) -> Self {
        self.changes(reach, 0.0)
    }

    /// The same with falls, which count by the factor `falls`.
    pub fn changes(&self, reach: usize, falls: f32) -> Self {
        let rise = |level: &Vec<f32>| -> Vec<f32> {
            let at = |i: usize| level.get(i).copied().unwrap_or(0.0);
            (0..self.hops)
                .map(|i| at(i + reach) - at(i.saturating_sub(reach)))
                .map(|x| if x < 0.0 { falls * x } else { x })
                .collect()
        };
        Self { levels: self.levels.iter().map(rise).collect(), hops: self.hops }
    }

    /// How far each band stands out of the octave around it.
    pub fn standing_out(&self) -> Self {
        let mut out = self.clone();
        for hop in 0..self.hops {
            for band in 0..COUNT {
                let around = band.saturating_sub(6)..(band + 7).min(COUNT);
                let count = around.len() as f32;
                let mean: f32 = self.levels[around].iter().map(|l| l[hop]).sum::<f32>() / count;
                out.levels[band][hop] -= mean;
            }
        }
        out
    }

    /// Without the mean of each band over time, so that a steady hum matches nothing.
    pub fn centred(mut self) -> Self {
        for level in &mut self.levels {
            let mean = level.iter().map(|x| f64::from(*x)).sum::<f64>() / level.len().max(1) as f64;
            for x in level {
                *x -= mean as f32;
            }
        }
        self
    }

    /// Root of the sum of squares.
    pub fn norm(&self) -> f64 {
        math::sqrt(self.levels.iter().flatten().map(|x| f64::from(*x) * f64::from(*x)).sum())
    }

    /// Sum over the partials of a key at a hop.
    pub fn tone(&self, key: i32, hop: usize) -> f32 {
        partials(key).map(|(band, weight)| weight * self.levels[band].get(hop).copied().unwrap_or(0.0)).sum()
    }
}

/// Bands of the partials of a key and how much each counts.
pub fn partials(key: i32) -> impl Iterator<Item = (usize, f32)> {
    // 12 log2 of 1 to 6, rounded.
    const ABOVE: [i32; PARTIALS] = [0, 12, 19, 24, 28, 31];
    ABOVE.into_iter().zip(1_u16..).filter_map(move |(above, n)| {
        let band = usize::try_from(key + above - KEYS.start()).ok().filter(|b| *b < COUNT)?;
        Some((band, 1.0 / f32::from(n).sqrt()))
    })
}

/// Every `factor`th sample behind a low pass (a windowed sinc of 8 zero crossings to either side): enough for levels by band.
pub fn thinned(samples: &[f32], factor: usize) -> Vec<f32> {
    if factor <= 1 {
        return samples.to_vec();
    }
    let half = 8 * factor;
    let taps: Vec<f32> = (0..=2 * half)
        .map(|i| {
            let t = PI * (i as f64 - half as f64) / factor as f64;
            let sinc = if t.abs() < 1e-9 { 1.0 } else { math::sin(t) / t };
            let window = 0.5 + 0.5 * math::cos(PI * (i as f64 - half as f64) / (half as f64 + 1.0));
            (sinc * window / factor as f64) as f32
        })
        .collect();
    let mut out = Vec::with_capacity(samples.len() / factor + 1);
    for centre in (0..samples.len()).step_by(factor) {
        let skip = half.saturating_sub(centre);
        let from = (centre + skip).saturating_sub(half);
        let source = &samples[from..(centre + half + 1).min(samples.len())];
        let taps = &taps[skip..skip + source.len()];
        // Eight sums side by side.
        let mut sums = [0.0_f32; 8];
        let (blocks, rest) = source.as_chunks::<8>();
        let (tap_blocks, tap_rest) = taps.as_chunks::<8>();
        for (x, h) in blocks.iter().zip(tap_blocks) {
            for ((s, x), h) in sums.iter_mut().zip(x).zip(h) {
                *s += x * h;
            }
        }
        let rest: f32 = rest.iter().zip(tap_rest).map(|(x, h)| x * h).sum();
        out.push(sums.iter().sum::<f32>() + rest);
    }
    out
}
