//! Text in time: the shapes of the mouth along a chain of notes, and the hisses and bursts between.

use crate::notes::Note;
use crate::stage::Stage;
use crate::sung::{self, Consonant};
use crate::{Frame, envelope};
use ripieno_signal::{Biquad, Noise};
use ripieno_units::{Chance, Decibels, Seconds};

/// How long the mouth takes from a consonant to a vowel and from vowel to vowel, seconds (common practice, no source).
const OPENS: f64 = 0.040;
const MOVES: f64 = 0.090;

/// How long a burst of air lasts, seconds.
const BURST: f64 = 0.018;

/// From a time on, the mouth has a shape.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Spoken {
    /// Seconds.
    pub at: f64,
    /// Shape of the mouth.
    pub shape: u8,
    /// Amplitude of the voice re the vowel's.
    pub gain: f64,
    /// Seconds that the change takes.
    pub pass: f64,
}

/// A noise between two times.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Hiss {
    from: f64,
    to: f64,
    hertz: f64,
    /// dB re the vowel.
    level: f64,
    burst: bool,
}

/// What is said along a chain: shapes in order of time, and noises.
pub fn along(chain: &[Note<'_>]) -> (Vec<Spoken>, Vec<Hiss>) {
    let (mut spoken, mut hisses) = (Vec::new(), Vec::new());
    for note in chain {
        let Some(sung) = note.sung else { continue };
        let text = &sung.syllable.text;
        let (before, after) = sung::consonants(text);
        let (vowel, last) = sung::vowel(text);
        let (start, coda) = (sung.consonant.0, sung.coda.0);
        let there = start.is_finite() && start < note.onset && note.onset - start < 1.0;
        if there {
            cluster(&before, start, note.onset, &mut spoken, &mut hisses);
        }
        let pass = if there && !before.is_empty() { OPENS } else { MOVES };
        spoken.push(Spoken { at: note.onset, shape: vowel, gain: 1.0, pass });
        let ends = coda.is_finite() && coda > note.onset && coda < note.end && !after.is_empty();
        let until = if ends { coda } else { note.end };
        if let Some(last) = last {
            let length = until - note.onset;
            let at = note.onset + (0.75 * length).max(length - 0.25);
            spoken.push(Spoken { at, shape: last, gain: 1.0, pass: (0.5 * length).min(0.15) });
        }
        if ends {
            cluster(&after, coda, note.end, &mut spoken, &mut hisses);
        }
    }
    spoken.sort_by(|a, b| a.at.total_cmp(&b.at));
    (spoken, hisses)
}

fn cluster(all: &[Consonant], from: f64, to: f64, spoken: &mut Vec<Spoken>, hisses: &mut Vec<Hiss>) {
    let mut at = from;
    for consonant in all {
        let end = at + consonant.share * (to - from);
        let pass = (0.4 * (end - at)).min(0.03);
        match consonant.voice {
            Some((shape, db)) => spoken.push(Spoken { at, shape, gain: Decibels(db).amplitude(), pass }),
            None => {
                let shape = spoken.last().map_or(0, |s: &Spoken| s.shape);
                spoken.push(Spoken { at, shape, gain: 0.0, pass });
            }
        }
        if let Some((hertz, level)) = consonant.noise {
            hisses.push(Hiss { from: at, to: end, hertz, level, burst: consonant.burst });
        }
        at = end;
    }
}

/// Adds the noises.
pub fn hiss(frame: &Frame<'_>, forte: f64, chain: &[Note<'_>], hisses: &[Hiss], stage: &mut Stage) {
    let players = chain[0].players;
    // Singers of a choir are not all at the same time in their consonants.
    let spread = if players > 1 { 0.012 } else { 0.0 };
    for hiss in hisses {
        let from = if hiss.burst { (hiss.to - BURST).max(hiss.from) } else { hiss.from } - spread;
        let seconds = hiss.to + spread - from;
        if !(seconds > 0.0 && seconds < 2.0) {
            continue;
        }
        let level = frame.chair.level.at(Seconds(hiss.to)).clamp(-40.0, 18.0);
        // Consonants grow less than the voice does.
        let gain = frame.amplitude(forte, 0.7 * level - 1.5 + hiss.level, players) * 2.5;
        let mut filter = Biquad::band_pass(hiss.hertz, 1.2, frame.rate);
        let frames = (seconds * frame.rate) as usize;
        // Its own noise: what is said later does not change it.
        let place = format!("{:.4}", hiss.from);
        let names = [frame.chair.chair.as_str(), "hiss", &place];
        let mut noise = Noise::seeded(Chance::named(frame.options.seed, &names).bits());
        let (rise, fall) = if hiss.burst { (12.0, 1.5) } else { (4.0, 6.0) };
        for desk in 0..stage.desks() {
            let share = gain / ripieno_units::math::sqrt(stage.desks() as f64);
            let block: Vec<f32> = (0..frames)
                .map(|i| {
                    let x = i as f64 / frames as f64;
                    let shape = envelope::smooth(rise * x) * envelope::smooth(fall * (1.0 - x));
                    filter.sample(noise.sample()) * (share * shape) as f32
                })
                .collect();
            stage.add(desk, frame.at(from), &block);
        }
    }
}
