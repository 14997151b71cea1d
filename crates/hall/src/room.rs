//! A hall made ready: the responses of its seats.

use crate::acoustics;
use crate::bands::{Arrival, Octaves, Shaper, Taps};
use crate::directivity::{Directivity, Pattern, facing};
use crate::hall::Hall;
use crate::images::{self, Image};
use crate::measure::{self, Measures};
use crate::microphones::{Balance, Ears, MIDDLE, distance, time_zero, tree};
use crate::tail::{self, Seeds};
use ripieno_signal::{Position, SPEED_OF_SOUND, Stereo, pan};
use ripieno_units::{Seconds, math};
use std::f64::consts::{FRAC_PI_2, LN_10};

/// Length of the crossfade from reflections to the tail, seconds (10 to 20 ms: common practice).
const CROSSFADE: f64 = 0.016;

/// How far the seats of an orchestra with choir reach, metres: to each side, upstage and (microphones) downstage. A room that is
/// smaller holds everything closer together.
const REACH: [f64; 3] = [7.6, 14.4, 8.0];

/// Nothing is nearer to a wall, metres.
const CLEAR: f64 = 0.4;

/// Nothing is nearer to a microphone, metres: closer, a section is no point.
const NEAREST: f64 = 0.7;

/// Something that sounds.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Source {
    /// Where it is.
    pub position: Position,
    /// How it radiates.
    pub directivity: Directivity,
}

/// A hall made ready for one sample rate.
#[derive(Debug)]
pub struct Room {
    pub(crate) hall: Hall,
    pub(crate) sample_rate: f64,
    images: Vec<Image>,
    shaper: Shaper,
    /// Energy that the air takes, 1/m by octave, halved: of the amplitude.
    air: Octaves,
    /// When the tail has taken over, in seconds from the moment at which the source sounds.
    mixing: f64,
    /// The beginning of the tail's noise, before it is faded in.
    beginning: Stereo,
    tail: Stereo,
    /// Amplitude of the tail at one microphone.
    unit: f64,
}

/// Makes a hall ready. Figures outside the ranges of [`Hall`] are held within them; sample rates below 8 kHz are read as 8 kHz.
/// Takes some tenths of a second for long halls: make a room once and keep it.
pub fn prepare(hall: &Hall, sample_rate: u32) -> Room {
    let hall = hall.sane();
    let rate = f64::from(sample_rate.clamp(8000, 384_000));
    let mut room = Room::bare(hall, rate);
    let wanted = room.hall.wanted;
    let frames = (1.05 * tail::length(&wanted) * rate) as usize;
    let seeds = Seeds::new(&room.hall.id, frames);
    let usual = room.ears(&Balance::default());
    let middle = Source { position: MIDDLE, ..Source::default() };
    let early = room.sparse(&[(middle, 1.0)], &usual, Part::Both);
    let coherence = |f: f64| usual.coherence(f);
    let mut times = [wanted; 2];
    // A finite piece of noise decays a little faster or slower than it was told, most of all where the octave is narrow and the
    // decay short. The room as it is measured is what was wanted.
    for round in 0..ROUNDS {
        room.take(tail::make(&seeds, &times, coherence, rate));
        if round + 1 == ROUNDS {
            break;
        }
        let mut whole = early.clone();
        room.add_scattered(&mut whole, &middle, &usual);
        whole.add(&room.tail.clone().scaled((room.unit * math::sqrt(usual.diffuse())) as f32));
        let mut worst = 0.0_f64;
        for (times, channel) in times.iter_mut().zip([&whole.left, &whole.right]) {
            for (i, band) in measure::measures(channel, rate).iter().enumerate() {
                let Some(found) = band.t30 else { continue };
                let wrong = wanted[i] / found.0;
                worst = worst.max((wrong - 1.0).abs());
                times[i] = (times[i] * wrong).clamp(0.5 * wanted[i], 2.0 * wanted[i]);
            }
        }
        if worst < 0.01 {
            break;
        }
    }
    room
}

/// Times that the tail is made at most.
const ROUNDS: usize = 4;

/// What of a response is asked for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Part {
    Direct,
    Reflections,
    Both,
}

impl Room {
    /// Without its tail.
    pub(crate) fn bare(hall: Hall, sample_rate: f64) -> Self {
        // From here on single reflections cannot be told apart: 20 V/S + 12 ms (A. Lindau et al., Perceptual evaluation of model-
        // and signal-based predictors of the mixing time, 2012, from memory); later, if the deepest seat is farther.
        let perceived = 0.02 * hall.volume() / hall.area() + 0.012;
        let across = math::sqrt(hall.upstage * hall.upstage + hall.width * hall.width / 4.0);
        let mixing = perceived.max(across / SPEED_OF_SOUND + 0.015);
        let frames = ((mixing + CROSSFADE) * sample_rate) as usize;
        Self {
            images: images::images(&hall),
            shaper: Shaper::new(frames, sample_rate),
            air: acoustics::air().map(|a| a * LN_10 / 20.0),
            mixing,
            beginning: Stereo::default(),
            tail: Stereo::default(),
            unit: math::sqrt(tail::density(hall.volume()) / sample_rate),
            hall,
            sample_rate,
        }
    }

    /// In place of images and noise: a tail that was measured. `unit` is its amplitude at one microphone.
    pub(crate) fn measured(hall: Hall, sample_rate: f64, tail: Stereo, unit: f64) -> Self {
        let mut room = Self::bare(hall, sample_rate);
        room.images.truncate(1);
        room.tail = tail;
        room.unit = unit;
        room
    }

    /// Takes on a tail whose noise begins when the source sounds.
    fn take(&mut self, noise: Stereo) {
        let zero = (time_zero() * self.sample_rate + 0.5) as usize;
        let last = ((self.mixing + CROSSFADE / 2.0) * self.sample_rate) as usize;
        let end = noise.frames();
        let fade = ((0.05 * self.sample_rate) as usize).min(end / 4);
        let cut = |channel: Vec<f32>| -> (Vec<f32>, Vec<f32>) {
            let beginning = channel.get(zero..last.min(end)).unwrap_or_default().to_vec();
            let mut tail = channel.get(zero..).unwrap_or_default().to_vec();
            for (i, x) in tail.iter_mut().enumerate().take(last) {
                *x *= self.faded_in((i + zero) as f64 / self.sample_rate) as f32;
            }
            for (i, x) in tail.iter_mut().rev().enumerate().take(fade) {
                let s = math::sin(FRAC_PI_2 * i as f64 / fade as f64);
                *x *= (s * s) as f32;
            }
            (beginning, tail)
        };
        let (left, right) = (cut(noise.left), cut(noise.right));
        self.beginning = Stereo { left: left.0, right: right.0 };
        self.tail = Stereo { left: left.1, right: right.1 };
    }

    /// Amplitude of the tail at a time from the moment at which the source sounds.
    fn faded_in(&self, time: f64) -> f64 {
        let x = ((time - self.mixing) / CROSSFADE + 0.5).clamp(0.0, 1.0);
        math::sin(FRAC_PI_2 * x)
    }

    /// Amplitude that is left of the reflections at that time.
    fn faded_out(&self, time: f64) -> f64 {
        let x = ((time - self.mixing) / CROSSFADE + 0.5).clamp(0.0, 1.0);
        math::cos(FRAC_PI_2 * x)
    }

    /// A place as this room can hold it: a smaller room seats everybody closer.
    pub fn place(&self, position: Position) -> Position {
        let finite = |x: f64| if x.is_finite() { x } else { 0.0 };
        let (x, y, z) = (finite(position.x), finite(position.y), finite(position.z));
        let hall = &self.hall;
        let half = hall.width / 2.0 - CLEAR;
        let (up, down) = (hall.upstage - CLEAR, hall.downstage - CLEAR);
        let closer = |room: f64, reach: f64| (room / reach).min(1.0);
        Position {
            x: (x * closer(half, REACH[0])).clamp(-half, half),
            y: (y * if y > 0.0 { closer(up, REACH[1]) } else { closer(down, REACH[2]) }).clamp(-down, up),
            z: z.clamp(0.1, hall.height - CLEAR),
        }
    }

    fn ears(&self, balance: &Balance) -> Ears {
        Ears::new(balance, |p| self.place(p), self.place(MIDDLE))
    }

    /// Arrivals of the sources, each with its amplitude, without what is scattered.
    fn sparse(&self, sources: &[(Source, f64)], ears: &Ears, part: Part) -> Stereo {
        let rate = self.sample_rate;
        let zero = time_zero();
        let frames = ((self.mixing + CROSSFADE) * rate) as usize;
        let mut channels = [Taps::new(frames), Taps::new(frames)];
        for (source, amplitude) in sources {
            let place = self.place(source.position);
            let pattern = Pattern::new(&source.directivity, facing(place.x, place.y));
            for image in &self.images {
                let wanted = match part {
                    Part::Direct => image.order == 0,
                    Part::Reflections => image.order > 0,
                    Part::Both => true,
                };
                if !wanted {
                    continue;
                }
                let at = image.of(place, &self.hall);
                for ear in &ears.ears {
                    let r = distance(at, ear.position);
                    let time = r / SPEED_OF_SOUND;
                    let left = if image.order == 0 { 1.0 } else { self.faded_out(time) };
                    if left < 1e-6 {
                        continue;
                    }
                    let towards = pattern.towards(image.departure(at, ear.position, r.max(1e-6)));
                    let near = amplitude * left / r.max(NEAREST);
                    let bands = std::array::from_fn(|b| {
                        (near * image.factors[b] * towards[b] * math::exp(-self.air[b] * r)) as f32
                    });
                    let arrival = Arrival::at((time - zero) * rate);
                    for (channel, gain) in channels.iter_mut().zip(ear.gains) {
                        channel.add(&arrival, &bands, gain as f32);
                    }
                }
            }
            if ears.spot > 0.0 && part != Part::Reflections {
                // Delayed to the tree, and panned where the tree sees it.
                let r = distance(place, tree());
                let arrival = Arrival::at((r / SPEED_OF_SOUND - zero) * rate);
                let (left, right) = pan((place.x - tree().x) / r.max(1e-6));
                for (channel, gain) in channels.iter_mut().zip([left, right]) {
                    channel.add(&arrival, &[(amplitude * ears.spot) as f32; 8], gain);
                }
            }
        }
        let [left, right] = channels.map(|taps| self.shaper.shape(&taps, frames));
        Stereo { left, right }
    }

    /// Adds what the walls have scattered before the tail has taken over: the noise of the tail, from the direct sound on, in the
    /// share that mean reflections have not mirrored by then.
    fn add_scattered(&self, response: &mut Stereo, source: &Source, ears: &Ears) {
        let hall = &self.hall;
        let gain = self.unit * math::sqrt(ears.diffuse());
        let first = distance(self.place(source.position), tree()) / SPEED_OF_SOUND;
        // Reflections a second: c S / 4V.
        let each = SPEED_OF_SOUND * hall.area() / (4.0 * hall.volume());
        let kept = math::ln(1.0 - hall.scattering);
        let zero = time_zero();
        let frames = self.beginning.frames().min(response.frames());
        for i in 0..frames {
            let time = i as f64 / self.sample_rate + zero;
            if time <= first {
                continue;
            }
            let fade = self.faded_out(time);
            let mirrored = math::exp(kept * each * time) * fade * fade;
            let rise = ((time - first) / 0.006).min(1.0);
            let amplitude = gain * (rise * math::sqrt(1.0 - mirrored) - self.faded_in(time));
            response.left[i] += amplitude as f32 * self.beginning.left[i];
            response.right[i] += amplitude as f32 * self.beginning.right[i];
        }
    }

    /// The direct sound at all microphones of the balance: 1/r, air, directivity, true travel times less that from the conductor
    /// to the tree.
    pub fn direct(&self, source: &Source, balance: &Balance) -> Stereo {
        self.sparse(&[(*source, 1.0)], &self.ears(balance), Part::Direct)
    }

    /// What the walls mirror and scatter until the tail has taken over.
    pub fn reflections(&self, source: &Source, balance: &Balance) -> Stereo {
        let ears = self.ears(balance);
        let mut response = self.sparse(&[(*source, 1.0)], &ears, Part::Reflections);
        self.add_scattered(&mut response, source, &ears);
        response
    }

    /// Direct sound and reflections of one chair that sits in several places (the desks of a section), each with its amplitude:
    /// one shaping for all of them.
    pub fn early(&self, sources: &[(Source, f64)], balance: &Balance) -> Stereo {
        let ears = self.ears(balance);
        let mut response = self.sparse(sources, &ears, Part::Both);
        for (source, amplitude) in sources {
            let mut scattered = Stereo::silence(response.frames());
            self.add_scattered(&mut scattered, source, &ears);
            response.add(&scattered.scaled(*amplitude as f32));
        }
        response
    }

    /// The tail, the same for all seats; to be multiplied by [`Room::tail_gain`].
    pub fn tail(&self) -> &Stereo {
        &self.tail
    }

    /// Amplitude of the tail of a source. It depends on the microphones alone: the field is alike everywhere, and what a
    /// source radiates is what counts, not whereto. The distance of Barron's theory lies in the times (see [`crate::tail`]).
    pub fn tail_gain(&self, _source: &Source, balance: &Balance) -> f64 {
        self.unit * math::sqrt(self.ears(balance).diffuse())
    }

    /// Direct sound, reflections and tail of a source.
    pub fn response(&self, source: &Source, balance: &Balance) -> Stereo {
        let mut response = self.early(&[(*source, 1.0)], balance);
        response.add(&self.tail.clone().scaled(self.tail_gain(source, balance) as f32));
        response
    }

    /// What the room measures with a source that radiates everywhere alike in the middle of the stage and the usual balance of
    /// microphones, both channels together.
    pub fn measures(&self) -> Vec<Measures> {
        let middle = Source { position: MIDDLE, ..Source::default() };
        measure::measures_of(&self.response(&middle, &Balance::default()), self.sample_rate)
    }

    /// The hall that it is.
    pub fn hall(&self) -> &Hall {
        &self.hall
    }

    /// Samples a second.
    pub fn sample_rate(&self) -> f64 {
        self.sample_rate
    }

    /// When the tail has taken over from the reflections, after the response's time zero.
    pub fn mixing_time(&self) -> Seconds {
        Seconds(self.mixing - time_zero())
    }
}
