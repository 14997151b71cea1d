//! How well a recording fits what the chair does.
//!
//! Twice over: first the whole recording by semitones every 10 ms against the tones that the gestures ask for, over all delays
//! up to [`REACH`]; then some seconds of it every 2 ms against the same bars played by the house orchestra, which knows how such
//! an instrument speaks. Whether it is the same music is then asked note by note: does its pitch stand out while it should
//! sound, and does something begin where it begins.

mod bands;

use crate::{Options, render};
use bands::{Bands, COUNT, Look, bands, partials, thinned};
use ripieno_music::{ChairPerformance, named};
use ripieno_signal::Correlation;
use ripieno_units::{Chance, Seconds, math};

/// Largest delay that is looked for, either way.
pub const REACH: Seconds = Seconds(10.0);

/// What is looked at of a long recording, seconds.
const LONGEST: f64 = 1800.0;

/// Seconds between two looks, at first and then closely.
const HOP: f64 = 0.010;
const CLOSE_HOP: f64 = 0.002;

/// Places where it is looked at closely, and for how long at each, seconds.
const PLACES: usize = 10;
const SPAN: f64 = 3.0;

/// Hops to either side between which something rises, at first and closely.
const RISE: usize = 2;
const CLOSE_RISE: usize = 3;

/// How much falls count beside rises, closely.
const FALLS: f32 = 0.3;

/// Compression, see [`Look::range`]. Closely there is next to none: what is added by noise or a hall is then only added, and does not
/// seem to hold back the beginnings.
const RANGE: f32 = 200.0;
const CLOSE_RANGE: f32 = 1.0;

/// How far the close look may move the first result, and its second window that of its first, in hops.
const CLOSE_LAGS: usize = 60;
const SHORT_LAGS: usize = 5;

/// Windows of the close look, seconds.
const LONG: f64 = 0.080;
const SHORT: f64 = 0.020;

/// Likeness from which the short window is better than the long one.
const ALIKE: f64 = 0.35;

/// Notes that are asked for one by one, at most.
const ASKED: usize = 600;

/// How a recording lies to what the chair does.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Alignment {
    /// How late the recording is; below zero it is early. To be trusted to a millisecond where it fits.
    pub offset: Seconds,
    /// How sure it is that this is the chair's music at this offset, 0 to 1.
    pub confidence: f64,
    /// In words.
    pub verdict: Verdict,
    /// Share of the notes whose pitch stands out where it should; none where nothing has a pitch.
    pub pitches: Option<f64>,
    /// How much more begins where notes begin than elsewhere: 0 is chance, 1 is always.
    pub onsets: f64,
}

/// Whether a recording is the chair's music.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Verdict {
    /// It is.
    Fits,
    /// It may be: too little is heard, or much differs.
    Doubtful,
    /// It is not: other pitches or another rhythm.
    OtherNotes,
}

/// A note as it can be heard.
struct Heard {
    onset: f64,
    end: f64,
    key: i32,
    /// Whether its pitch can be told: not in trills, slides and on instruments without.
    pitched: bool,
}

/// Aligns a recording in one channel, whose first sample belongs to the time 0 of the performance, with what the chair does.
/// `options` are those that the house orchestra would play it by, with the recording's sample rate. The first half hour is looked
/// at.
pub fn align(samples: &[f32], chair: &ChairPerformance, options: &Options) -> Alignment {
    let (rate, tuning) = (f64::from(options.sample_rate.max(1000)), options.tuning);
    let samples = &samples[..samples.len().min((rate * LONGEST) as usize)];
    let heard = heard(chair);
    let last = heard.iter().map(|n| n.end).fold(0.0, f64::max);
    let seconds = (samples.len() as f64 / rate).min(last + REACH.0 + 2.0);
    let samples = &samples[..samples.len().min((rate * seconds) as usize)];
    let silent = samples.iter().all(|x| !x.is_finite() || x.abs() < 1e-6);
    if heard.is_empty() || silent || !(100.0..2000.0).contains(&tuning) {
        return Alignment {
            offset: Seconds::ZERO,
            confidence: 0.0,
            verdict: Verdict::Doubtful,
            pitches: None,
            onsets: 0.0,
        };
    }
    // Half of 12 kHz is above the highest band.
    let factor = ((rate / 12_000.0) as usize).max(1);
    let thin = thinned(samples, factor);
    let look = Look { rate: rate / factor as f64, tuning, window: 0.080, hop: HOP, range: RANGE };
    let levels = bands(&thin, &look, 0.0, (seconds / HOP) as usize + 1);
    let rises = levels.rises(RISE);
    let rough = rough(&levels, &rises, &heard);
    let offset = close(samples, chair, options, &heard, rough).unwrap_or(rough);
    judge(&levels.standing_out(), &rises, &heard, offset)
}

fn heard(chair: &ChairPerformance) -> Vec<Heard> {
    // Drums of several pitches ring into each other, and their partials are no series: rhythm alone tells them.
    let unpitched = ripieno_instruments::by_id(&chair.instrument)
        .is_some_and(|i| i.unpitched || (i.decays && i.id == "timpani"));
    let mut heard = Vec::new();
    for gesture in &chair.gestures {
        let pitched = !unpitched && gesture.stroke.is_none() && gesture.bend.is_empty();
        let one = |onset: Seconds, end: Seconds, key: u8, pitched| Heard {
            onset: onset.0,
            end: end.0,
            key: key.into(),
            pitched,
        };
        match &gesture.realisation {
            // A recorded trill or roll keeps its own time.
            Some(_) if rolls(&gesture.articulation) => {
                heard.push(one(gesture.onset, gesture.end, gesture.key, false))
            }
            Some(r) if !r.strokes.is_empty() => {
                heard.extend(r.strokes.iter().map(|s| one(s.onset, s.end, s.key, pitched)));
            }
            _ => heard.push(one(gesture.onset, gesture.end, gesture.key, pitched)),
        }
    }
    heard.retain(|n| n.end > n.onset && n.onset > -60.0 && n.end < LONGEST);
    heard.sort_by(|a, b| a.onset.total_cmp(&b.onset).then(a.key.cmp(&b.key)));
    heard
}

fn rolls(articulation: &str) -> bool {
    matches!(articulation, named::TREMOLO | named::TRILL_1 | named::TRILL_2 | named::ROLL | named::GLISSANDO)
}

/// The delay by the whole recording, in seconds, to a hop.
fn rough(levels: &Bands, rises: &Bands, heard: &[Heard]) -> f64 {
    let hops = levels.hops;
    let (mut tones, mut starts) = (empty(hops), empty(hops));
    let put = |bands: &mut Bands, key: i32, pitched: bool, hop: i64, value: f32| {
        let Some(hop) = usize::try_from(hop).ok().filter(|h| *h < hops) else { return };
        if pitched {
            for (band, weight) in partials(key) {
                bands.levels[band][hop] = bands.levels[band][hop].max(weight * value);
            }
        } else {
            for band in &mut bands.levels {
                band[hop] = band[hop].max(0.3 * value);
            }
        }
    };
    for note in heard {
        let (from, to) = ((note.onset / HOP) as i64, (note.end / HOP) as i64);
        for (i, value) in [0.5, 0.8, 1.0, 0.8, 0.5].into_iter().enumerate() {
            put(&mut starts, note.key, note.pitched, from - 2 + i as i64, value);
        }
        // It may die away: its beginning counts most.
        for hop in from..to.min(from + 200) {
            let value = 1.0 / (1.0 + 0.02 * (hop - from) as f32);
            put(&mut tones, note.key, note.pitched, hop, value);
        }
    }
    let (tones, starts) = (tones.centred(), starts.centred());
    let (levels, rises) = (levels.standing_out().centred(), rises.clone().centred());
    let reach = (REACH.0 / HOP) as usize;
    let by_tones = correlate(&levels, &tones, reach);
    let by_starts = correlate(&rises, &starts, reach);
    let best = (0..=2 * reach).max_by(|a, b| {
        let score = |i: usize| by_tones[i] + by_starts[i];
        score(*a).total_cmp(&score(*b))
    });
    (best.unwrap_or(reach) as f64 - reach as f64) * HOP
}

fn empty(hops: usize) -> Bands {
    Bands { levels: vec![vec![0.0; hops]; COUNT], hops }
}

/// Likeness over lags, 1 where both are the same.
fn correlate(late: &Bands, early: &Bands, lags: usize) -> Vec<f64> {
    let mut correlation = Correlation::new(late.hops, lags);
    for (a, b) in late.levels.iter().zip(&early.levels) {
        correlation.add(a, b);
    }
    let norm = (late.norm() * early.norm()).max(1e-12);
    correlation.lags().iter().map(|x| f64::from(*x) / norm).collect()
}

/// Some seconds of the recording, and the same bars as the house plays them.
struct Place<'a> {
    model: Vec<f32>,
    /// The recording around them, and the second of it at which they begin if it is not late.
    piece: &'a [f32],
    begins: f64,
}

/// Before and after what is looked at, so that no window is cut, seconds.
const MARGIN: f64 = 0.1;

/// The delay by a close look at some places: first through a long window, which does not hear two notes beat; then, where the
/// recording is much like the house orchestra, through a short one.
fn close(
    samples: &[f32],
    chair: &ChairPerformance,
    options: &Options,
    heard: &[Heard],
    rough: f64,
) -> Option<f64> {
    let rate = f64::from(options.sample_rate.max(1000));
    let reach = CLOSE_LAGS as f64 * CLOSE_HOP + MARGIN;
    let places: Vec<Place<'_>> = starts(heard, samples.len() as f64 / rate - rough)
        .into_iter()
        .map(|from| {
            let model = render(chair, options, Seconds(from - MARGIN), Seconds(from + SPAN + MARGIN));
            let cut = ((from + rough - reach) * rate).max(0.0) as usize;
            let end = ((from + rough + SPAN + reach) * rate).max(0.0) as usize;
            let piece = &samples[cut.min(samples.len())..end.min(samples.len())];
            Place { model, piece, begins: from - cut as f64 / rate }
        })
        .collect();
    let look = |window| Look { rate, tuning: options.tuning, window, hop: CLOSE_HOP, range: CLOSE_RANGE };
    let (long, _) = fit(&places, &look(LONG), rough, CLOSE_LAGS)?;
    match fit(&places, &look(SHORT), long, SHORT_LAGS) {
        Some((short, likeness)) if likeness >= ALIKE => Some(short),
        _ => Some(long),
    }
}

/// The delay at which places are most alike, within some hops of `centre`, and how alike, 1 being the same; none where it would
/// lie at an end.
fn fit(places: &[Place<'_>], look: &Look, centre: f64, lags: usize) -> Option<(f64, f64)> {
    let hops = (SPAN / look.hop) as usize;
    let mut sums = vec![0.0_f64; 2 * lags + 1];
    let (mut modelled, mut recorded) = (0.0, 0.0);
    for place in places {
        let model = bands(&place.model, look, MARGIN, hops).changes(CLOSE_RISE, FALLS);
        let first = place.begins + centre - lags as f64 * look.hop;
        let found = bands(place.piece, look, first, hops + 2 * lags).changes(CLOSE_RISE, FALLS);
        for (model, found) in model.levels.iter().zip(&found.levels) {
            for (lag, sum) in sums.iter_mut().enumerate() {
                let product: f32 = model.iter().zip(&found[lag..]).map(|(a, b)| a * b).sum();
                *sum += f64::from(product);
            }
        }
        modelled += model.norm() * model.norm();
        recorded += found.norm() * found.norm();
    }
    let best = (0..sums.len()).max_by(|a, b| sums[*a].total_cmp(&sums[*b]))?;
    if best == 0 || best + 1 == sums.len() || sums[best] <= 0.0 {
        return None;
    }
    let (a, b, c) = (sums[best - 1], sums[best], sums[best + 1]);
    let bend = a - 2.0 * b + c;
    let between = if bend < 0.0 { 0.5 * (a - c) / bend } else { 0.0 };
    let offset = centre + (best as f64 - lags as f64 + between) * look.hop;
    let likeness = b / math::sqrt(modelled * recorded).max(1e-12);
    Some((offset, likeness))
}

/// Where the close looks begin: a little before notes that are evenly spread over those that the recording can hold.
fn starts(heard: &[Heard], seconds: f64) -> Vec<f64> {
    let held: Vec<f64> = heard.iter().map(|n| n.onset).filter(|t| *t < seconds - 0.2).collect();
    let mut places: Vec<f64> = Vec::new();
    for i in 0..PLACES.min(held.len()) {
        let from = held[i * held.len() / PLACES.min(held.len())] - 0.3;
        if places.last().is_none_or(|last| from >= last + SPAN) {
            places.push(from);
        }
    }
    places
}

/// Asks for each note whether it is there.
fn judge(levels: &Bands, rises: &Bands, heard: &[Heard], offset: f64) -> Alignment {
    let mut chance = Chance::named(1, &["print"]);
    let step = heard.len().div_ceil(ASKED).max(1);
    let (mut asked, mut stood_out) = (0_u32, 0_u32);
    let (mut begun, mut rank) = (0_u32, 0.0_f64);
    let seconds = levels.hops as f64 * HOP;
    for (i, note) in heard.iter().enumerate().step_by(step) {
        let (onset, end) = (note.onset + offset, note.end + offset);
        if onset < 0.05 || onset > seconds - 0.1 {
            continue;
        }
        begun += 1;
        rank += begins(rises, note, onset, &mut chance);
        if note.pitched && end - onset > 0.06 {
            asked += 1;
            let together: Vec<i32> = heard[i.saturating_sub(24)..(i + 24).min(heard.len())]
                .iter()
                .filter(|n| n.onset < note.end && n.end > note.onset && n.key != note.key)
                .map(|n| n.key)
                .collect();
            stood_out += u32::from(stands_out(levels, note.key, onset, end, &together));
        }
    }
    let onsets = if begun > 0 { (2.0 * rank / f64::from(begun) - 1.0).clamp(0.0, 1.0) } else { 0.0 };
    let pitches = (asked > 0).then(|| f64::from(stood_out) / f64::from(asked));
    let confidence = confidence(pitches, onsets, begun);
    let verdict = match confidence {
        c if c >= FITS => Verdict::Fits,
        c if c >= DOUBTFUL || begun < 4 => Verdict::Doubtful,
        _ => Verdict::OtherNotes,
    };
    Alignment { offset: Seconds(offset), confidence, verdict, pitches, onsets }
}

/// Confidence from which a recording fits, and from which it is not other music. For 15 instruments of the house orchestra, dry,
/// in noise and in a hall, right ones have 0.63 and more, wrong ones 0.43 at most (tests/print.rs).
const FITS: f64 = 0.6;
const DOUBTFUL: f64 = 0.5;

/// Both must be well above what other music in the same key and tempo reaches by chance.
fn confidence(pitches: Option<f64>, onsets: f64, notes: u32) -> f64 {
    let ramp = |x: f64, low: f64, high: f64| ((x - low) / (high - low)).clamp(0.0, 1.0);
    let many = f64::from(notes) / (f64::from(notes) + 1.0);
    let (rhythm, onsets) = (ramp(onsets, 0.5, 0.85), ramp(onsets, 0.2, 0.55));
    // Where rhythm is all there is, other rhythms on the same beats come half-way.
    many * pitches.map_or(rhythm, |p| math::sqrt(ramp(p, 0.3, 0.8) * onsets))
}

/// Whether a key stands out more than those up to a tritone away, in the first part of a note.
fn stands_out(levels: &Bands, key: i32, onset: f64, end: f64, together: &[i32]) -> bool {
    let from = ((onset + 0.02) / HOP) as usize;
    let to = ((end.min(onset + 0.4)) / HOP) as usize;
    let strength = |key: i32| (from..=to.max(from)).map(|hop| levels.tone(key, hop)).sum::<f32>();
    let own = strength(key);
    own > 0.0 && (-6..6).all(|d| d == 0 || together.contains(&(key + d)) || strength(key + d) < own)
}

/// How a note's beginning ranks among other moments around it, 0 to 1.
fn begins(rises: &Bands, note: &Heard, onset: f64, chance: &mut Chance) -> f64 {
    let near = |time: f64| -> f32 {
        let hop = (time / HOP).max(0.0) as usize;
        let strength = |hop: usize| {
            if note.pitched {
                rises.tone(note.key, hop)
            } else {
                rises.levels.iter().map(|l| l.get(hop).copied().unwrap_or(0.0)).sum()
            }
        };
        (hop.saturating_sub(3)..=hop + 3).map(strength).fold(0.0, f32::max)
    };
    let own = near(onset);
    const OTHERS: u32 = 24;
    let mut below = 0.0;
    for _ in 0..OTHERS {
        let side = if chance.unit() < 0.5 { -1.0 } else { 1.0 };
        let other = near(onset + side * chance.between(0.08, 2.5));
        below += if other < own {
            1.0
        } else if other == own {
            0.5
        } else {
            0.0
        };
    }
    below / f64::from(OTHERS)
}
