//! The house orchestra: gestures in, samples out.
//!
//! Takes what one chair does ([`ripieno_music::ChairPerformance`]), gives its dry sound in one channel, as from one metre. It must
//! not know plans, seats or halls. The seam is one function, [`render`]: other instruments may take its place without a change
//! to anything before or after.
//!
//! Voices, chosen by the tables in `data/`: held (bowed, blown, reed, brass, sung) in `held`, plucked in `plucked`, struck with
//! and without pitch in `struck`. All follow the chair's level, the gestures' attacks, joins, bends and colours.

mod held;
mod model;
mod notes;
mod plucked;
mod struck;
mod sung;
mod tables;
mod timbre;

use model::Model;
use ripieno_music::{ChairPerformance, Colour, named};
use ripieno_units::{Decibels, Seconds};

/// How a chair is rendered.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Options {
    /// Samples a second; 8,000 to 384,000 are of use.
    pub sample_rate: u32,
    /// Pitch of A4 in hertz.
    pub tuning: f64,
    /// First frame, in seconds of the performance.
    pub from: Seconds,
    /// One past the last frame.
    pub to: Seconds,
    /// Of every random choice.
    pub seed: u64,
}

/// Sound power in dB re 1 pW that has an RMS of 1. A full orchestra at its loudest is near 120 (instruments' forte and their
/// number), so that its sum at the microphones stays below full scale.
const FULL_SCALE: f64 = 126.0;

/// Forte lies this far above mf (common practice: one mark is about 5 dB).
const FORTE: f64 = 4.5;

/// Longest render, seconds: what is asked beyond is cut off.
const LONGEST: f64 = 6.0 * 3600.0;

/// Where and in what the voices write.
#[derive(Clone, Copy, Debug)]
struct Frame<'a> {
    chair: &'a ChairPerformance,
    options: &'a Options,
    rate: f64,
    /// Number of the first frame of the output, counted from time zero.
    first: i64,
}

impl Frame<'_> {
    /// The frame at a time, counted from the first of the output; may be negative.
    fn at(&self, seconds: f64) -> i64 {
        (seconds * self.rate + 0.5).floor() as i64 - self.first
    }

    /// Hertz of a pitch in cents above A4.
    fn hertz(&self, cents: f64) -> f64 {
        self.options.tuning * ripieno_units::math::exp2(cents / 1200.0)
    }

    /// RMS of a level in dB re mf, for so many players of a forte.
    fn amplitude(&self, forte: f64, level: f64, players: u16) -> f64 {
        let players = 10.0 * ripieno_units::math::log10(f64::from(players.max(1)));
        Decibels(forte - FORTE + level.clamp(-120.0, 30.0) + players - FULL_SCALE).amplitude()
    }
}

/// The dry sound of one chair from `options.from` to `options.to`, as from one metre; always the same for the same input.
///
/// Notes that begin before `from` are heard from there on. Times, pitches and levels that are no numbers are left out. Empty if
/// `to` does not lie after `from`.
pub fn render(chair: &ChairPerformance, options: &Options) -> Vec<f32> {
    let rate = f64::from(options.sample_rate.max(1000));
    let length = (options.to.0 - options.from.0).min(LONGEST);
    let sane = length > 0.0 && options.from.0.abs() < 1e6 && options.tuning.is_finite();
    if !sane {
        return Vec::new();
    }
    let first = (options.from.0 * rate + 0.5).floor() as i64;
    let frame = Frame { chair, options, rate, first };
    let mut out = vec![0.0_f32; (length * rate + 0.5) as usize];
    let notes = notes::of(chair);
    if notes.is_empty() {
        return out;
    }
    match model::of(&chair.instrument) {
        Model::Held(held) => {
            let (plucked, bowed): (Vec<_>, Vec<_>) = notes.into_iter().partition(|n| {
                matches!(n.articulation, named::PIZZICATO | named::SNAP_PIZZICATO)
                    || n.colour == Some(Colour::ColLegno)
            });
            held::render(&frame, held, &bowed, &mut out);
            if !plucked.is_empty() {
                plucked::render(&frame, &model::plucked(&chair.instrument), &plucked, &mut out);
            }
        }
        Model::Plucked(string) => plucked::render(&frame, &string, &notes, &mut out),
        Model::Struck => struck::render(&frame, &notes, &mut out),
    }
    out
}
