//! The house orchestra: gestures in, samples out.
//!
//! Takes what one chair does ([`ripieno_music::ChairPerformance`]), gives its dry sound as from one metre: one channel for a
//! player alone, one for each desk of a section. It must not know plans, seats or halls.
//!
//! The seam is [`Voice`]: it gives the sound from its start on, block by block, in memory that does not grow with the length.
//! Other instruments may take its place without a change to anything before or after.
//!
//! Voices of the house, chosen by the tables in `data/`: held (bowed, blown, reed, brass, sung) in `held`, plucked in `plucked`,
//! struck with and without pitch in `struck`. All follow the chair's level, the gestures' attacks, joins, bends and colours.
//! [`phrases`] and [`cut`] tell what of a chair is heard between two times, so that a piece of it can be rendered alone.
//! [`spectra`] tells what a note will sound like, without rendering it.
//! [`font`] plays a chair with the presets of a SoundFont instead; [`print`] tells how well a recording fits what a chair does.

mod bank;
mod body;
mod breath;
mod cut;
mod envelope;
mod facts;
pub mod font;
mod held;
mod model;
mod notes;
mod periods;
mod player;
mod plucked;
pub mod print;
pub mod spectra;
mod speech;
mod stage;
mod struck;
mod sung;
mod tables;
mod timbre;

pub use cut::{Phrase, cut, heard, phrases};

use model::Model;
use ripieno_music::{ChairPerformance, Colour, named};
use ripieno_units::{Decibels, Seconds};
use stage::Stage;

/// How a chair is played.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Options {
    /// Samples a second; 8,000 to 384,000 are of use.
    pub sample_rate: u32,
    /// Pitch of A4 in hertz.
    pub tuning: f64,
    /// Of every random choice.
    pub seed: u64,
    /// How alike the players are to machines.
    pub manner: Manner,
}

/// Whether players are people.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Manner {
    /// Players differ in pitch and time; they breathe, bow and tremble.
    #[default]
    Living,
    /// One player without vibrato, noise, drift or lateness: to measure pitch and partials.
    Plain,
}

/// What gives the sound of one chair.
pub trait Voice {
    /// Number of channels: 1, or one for each desk of a section, from the conductor's left to the right.
    fn desks(&self) -> usize;

    /// The next frames of every desk, in buffers that are filled anew.
    fn next(&mut self, frames: usize, desks: &mut Vec<Vec<f32>>);
}

/// Sound power in dB re 1 pW that has an RMS of 1. A full orchestra at its loudest is near 120 (instruments' forte and their
/// number), so that its sum at the microphones stays below full scale.
pub const FULL_SCALE: f64 = 126.0;

/// Forte lies this far above mf (common practice: one mark is about 5 dB).
pub const FORTE: f64 = 4.5;

/// Desks of a section: one for so many players, at most [`MOST_DESKS`].
const PLAYERS_A_DESK: usize = 2;

/// More desks than these are not told apart by ear, and each costs a transform of its own in the hall.
const MOST_DESKS: usize = 3;

/// What sounds may begin this much earlier than its onset: consonants, players who are early. Seconds.
const AHEAD: f64 = 1.0;

/// Longest render at once, seconds: what is asked beyond is cut off.
const LONGEST: f64 = 6.0 * 3600.0;

/// For whom the voices play.
#[derive(Clone, Copy, Debug)]
struct Frame<'a> {
    chair: &'a ChairPerformance,
    options: Options,
    rate: f64,
}

impl Frame<'_> {
    /// The frame at a time, counted from time zero.
    fn at(&self, seconds: f64) -> i64 {
        (seconds * self.rate + 0.5).floor() as i64
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

    fn plain(&self) -> bool {
        self.options.manner == Manner::Plain
    }
}

/// A part of a chair's sound: one kind of voice with all its notes.
trait Runner {
    /// Adds all that sounds before the frame `until` and was not added yet; it may add what sounds later as well.
    fn run(&mut self, until: i64, stage: &mut Stage);
}

/// The house's own voice of a chair.
struct House<'a> {
    runners: Vec<Box<dyn Runner + 'a>>,
    stage: Stage,
    ahead: i64,
}

impl Voice for House<'_> {
    fn desks(&self) -> usize {
        self.stage.desks()
    }

    fn next(&mut self, frames: usize, desks: &mut Vec<Vec<f32>>) {
        let until = self.stage.first() + frames as i64 + self.ahead;
        for runner in &mut self.runners {
            runner.run(until, &mut self.stage);
        }
        self.stage.fetch(frames, desks);
    }
}

/// How many desks a chair of so many players has.
pub fn desks(players: u16) -> usize {
    usize::from(players).div_ceil(PLAYERS_A_DESK).clamp(1, MOST_DESKS)
}

/// The house's own voice of a chair, from the time `from` on; always the same for the same input.
///
/// Notes that begin before `from` are heard from there on. Times, pitches and levels that are no numbers are left out.
pub fn voice<'a>(chair: &'a ChairPerformance, options: &Options, from: Seconds) -> Box<dyn Voice + 'a> {
    let mut options = *options;
    options.sample_rate = options.sample_rate.max(1000);
    if !options.tuning.is_finite() {
        options.tuning = 440.0;
    }
    let rate = f64::from(options.sample_rate);
    let frame = Frame { chair, options, rate };
    let from = if from.0.is_finite() { from.0.clamp(-1e6, 1e6) } else { 0.0 };
    let desks = if frame.plain() { 1 } else { desks(chair.players) };
    let stage = Stage::new(desks, frame.at(from));
    let notes = notes::of(chair);
    let mut runners: Vec<Box<dyn Runner + 'a>> = Vec::new();
    if !notes.is_empty() {
        match model::of(&chair.instrument, chair.players) {
            Model::Held(held) => {
                let (plucked, bowed): (Vec<_>, Vec<_>) = notes.into_iter().partition(|n| {
                    matches!(n.articulation, named::PIZZICATO | named::SNAP_PIZZICATO)
                        || n.colour == Some(Colour::ColLegno)
                });
                if !bowed.is_empty() {
                    runners.push(Box::new(held::runner(frame, *held, bowed)));
                }
                if !plucked.is_empty() {
                    runners.push(Box::new(plucked::runner(frame, &chair.instrument, plucked)));
                }
            }
            Model::Plucked => runners.push(Box::new(plucked::runner(frame, &chair.instrument, notes))),
            Model::Struck => runners.push(Box::new(struck::runner(frame, notes))),
        }
    }
    Box::new(House { runners, stage, ahead: frame.at(AHEAD) })
}

/// The dry sound of one chair in one channel, from one time to another: the sum of its desks. Empty if `to` does not lie after
/// `from`.
pub fn render(chair: &ChairPerformance, options: &Options, from: Seconds, to: Seconds) -> Vec<f32> {
    let length = (to.0 - from.0).min(LONGEST);
    if !(length > 0.0 && from.0.abs() < 1e6 && options.tuning.is_finite()) {
        return Vec::new();
    }
    let mut left = (length * f64::from(options.sample_rate.max(1000)) + 0.5) as usize;
    let mut voice = voice(chair, options, from);
    let mut desks = Vec::new();
    let mut out = Vec::with_capacity(left);
    while left > 0 {
        let frames = left.min(1 << 16);
        voice.next(frames, &mut desks);
        out.extend((0..frames).map(|i| desks.iter().map(|d| d[i]).sum::<f32>()));
        left -= frames;
    }
    out
}
