//! What of a chair is heard between two times: the gestures that a piece of its sound is made of, and no others.
//!
//! A voice draws its chances by the place of each note, so that what is left out changes nothing of what stays: a piece that is
//! rendered from a cut is the piece of the whole, to where what has died away (90 dB down) would still be counted.

use crate::model::{self, Model};
use crate::notes::BRIDGE;
use crate::spectra::{Asked, of};
use crate::{AHEAD, struck};
use ripieno_music::{ChairPerformance, Colour, Curve, Gesture, named};
use ripieno_units::Seconds;
use std::collections::BTreeMap;

/// Gestures that can only be played together: a slurred line; or a single stroke.
#[derive(Clone, Debug, PartialEq)]
pub struct Phrase {
    /// Their places in the chair's list, rising.
    pub gestures: Vec<usize>,
    /// Before this nothing of it is heard.
    pub from: Seconds,
    /// After this nothing of it is heard.
    pub until: Seconds,
}

/// Players who are late, and rounding, seconds.
const LATE: f64 = 0.2;

/// A held note's release at its longest, as a factor on the instrument's (articulations.tsv has up to 1.3).
const RELEASE: f64 = 1.5;

/// A hand takes at most so long over a row of bars, seconds.
const SWEPT: f64 = 2.5;

/// What has fallen so far is not heard, dB.
const GONE: f64 = 90.0;

/// Levels for which ringing is asked: a soft stroke has more of what falls slowly, a hard one more of everything.
const LEVELS: [f64; 2] = [-18.0, 9.0];

/// How long something rings: seconds if it is left alone, seconds after it is stopped.
type Rings = (f64, Option<f64>);

/// The phrases of a chair of the house orchestra, in order of their first gestures.
pub fn phrases(chair: &ChairPerformance) -> Vec<Phrase> {
    let model = model::of(&chair.instrument, chair.players);
    let bowed = |g: &Gesture| {
        let plucked = matches!(g.articulation.as_str(), named::PIZZICATO | named::SNAP_PIZZICATO);
        matches!(model, Model::Held(_)) && !plucked && g.colour != Some(Colour::ColLegno)
    };
    let release = if let Model::Held(held) = &model { held.release * RELEASE } else { 0.0 };
    let mut known: BTreeMap<(String, Option<String>, u8, Option<Colour>), Rings> = BTreeMap::new();
    let mut phrases: Vec<Phrase> = Vec::new();
    // Which phrase a gesture is in.
    let mut place: Vec<usize> = Vec::with_capacity(chair.gestures.len());
    // The phrases of what rings, by what is struck.
    let mut things: BTreeMap<(&str, u8), Vec<Stroke>> = BTreeMap::new();
    for (i, gesture) in chair.gestures.iter().enumerate() {
        let (onset, end) = (gesture.onset.0, gesture.end.0);
        let mut phrase =
            Phrase { gestures: vec![i], from: Seconds(onset - AHEAD), until: Seconds(end + release + LATE) };
        if bowed(gesture) {
            for before in joined_to(&chair.gestures, i, &bowed) {
                let into = place[before];
                // Its last place is taken over: a phrase that has been joined to another is empty.
                let earlier = std::mem::replace(
                    &mut phrases[into],
                    Phrase { gestures: Vec::new(), from: Seconds(0.0), until: Seconds(0.0) },
                );
                if earlier.gestures.is_empty() {
                    continue;
                }
                phrase.gestures.extend(earlier.gestures);
                phrase.from = Seconds(phrase.from.0.min(earlier.from.0));
                phrase.until = Seconds(phrase.until.0.max(earlier.until.0));
            }
            phrase.gestures.sort_unstable();
            place.push(phrases.len());
            for member in &phrase.gestures {
                place[*member] = phrases.len();
            }
        } else {
            let key = (gesture.articulation.clone(), gesture.stroke.clone(), gesture.key, gesture.colour);
            let (alone, stopped) = *known.entry(key).or_insert_with(|| rings(chair, gesture));
            let shaken = matches!(model, Model::Struck) || gesture.realisation.is_some();
            let base = if shaken { end.max(onset + SWEPT) } else { onset };
            let stops = stopped.map_or(f64::INFINITY, |_| pedalled(chair, end));
            let hand = stopped.unwrap_or(0.0);
            phrase.until = Seconds(end);
            place.push(phrases.len());
            let stroke = Stroke { phrase: phrases.len(), onset, stops, hand, rings: base + alone };
            // What has no pitch is one thing whatever its key.
            let thing = struck::of(gesture.stroke.as_deref(), gesture.key, &chair.instrument);
            let pitched = !matches!(model, Model::Struck) || thing.is_some_and(|i| !i.unpitched);
            let of = if pitched { chair.instrument.as_str() } else { thing.map_or("", |i| i.id.as_str()) };
            things.entry((of, if pitched { gesture.key } else { 0 })).or_default().push(stroke);
        }
        phrases.push(phrase);
    }
    for same in things.values() {
        settle(&mut phrases, same);
    }
    phrases.retain(|p| !p.gestures.is_empty() && p.from.0.is_finite() && p.until.0.is_finite());
    phrases.sort_by_key(|p| p.gestures[0]);
    phrases
}

/// A stroke, while it is found out how long it is heard.
struct Stroke {
    phrase: usize,
    onset: f64,
    /// When it is stopped, and the seconds of that fall by 60 dB; endless where it rings on.
    stops: f64,
    hand: f64,
    /// Until when it rings if it is left alone.
    rings: f64,
}

/// Strokes on one thing, in order. What a hand has not stopped when the thing is struck again rings on with the new stroke; and a
/// later stroke changes what an earlier one left, so that it is needed as long as that is heard.
fn settle(phrases: &mut [Phrase], same: &[Stroke]) {
    let mut needed = 0.0_f64;
    for (nth, stroke) in same.iter().enumerate() {
        let (mut stops, mut fallen) = (stroke.stops, 0.0);
        for later in &same[nth + 1..] {
            if later.onset > stops {
                let more = 60.0 * (later.onset - stops) / stroke.hand.max(1e-3);
                if fallen + more >= GONE {
                    break;
                }
                fallen += more;
                stops = later.stops;
            } else {
                // Held again before it was stopped.
                stops = stops.max(later.stops);
            }
            if stops > stroke.rings {
                break;
            }
        }
        let stopped = stops + (GONE - fallen) / 60.0 * stroke.hand;
        needed = needed.max(stroke.rings.min(stopped));
        let until = needed.max(phrases[stroke.phrase].until.0) + LATE;
        phrases[stroke.phrase].until = Seconds(until);
    }
}

/// When a note is stopped: at its end, or when the pedal comes up.
fn pedalled(chair: &ChairPerformance, end: f64) -> f64 {
    chair.pedal.iter().find(|(down, up)| down.0 <= end && end < up.0).map_or(end, |(_, up)| up.0)
}

/// Most gestures of a chair that sound at once, in one voice, and may be slurred from: far above what is written.
const LOOK_BACK: usize = 64;

/// Gestures of the same voice on whose sound a joined one may follow.
fn joined_to(gestures: &[Gesture], i: usize, bowed: &dyn Fn(&Gesture) -> bool) -> Vec<usize> {
    let gesture = &gestures[i];
    if !gesture.joined {
        return Vec::new();
    }
    let earlier = (i.saturating_sub(LOOK_BACK)..i).rev();
    let voice = earlier.filter(|j| gestures[*j].voice == gesture.voice && bowed(&gestures[*j]));
    let sounds = |j: &usize| gestures[*j].end.0 > gesture.onset.0 - BRIDGE - 0.05;
    voice.enumerate().filter(|(nth, j)| *nth == 0 || sounds(j)).map(|(_, j)| j).collect()
}

fn rings(chair: &ChairPerformance, gesture: &Gesture) -> Rings {
    let levels = LEVELS.map(|level| {
        let sounding = of(&Asked {
            stroke: gesture.stroke.as_deref(),
            articulation: &gesture.articulation,
            colour: gesture.colour,
            players: chair.players,
            ..Asked::new(&chair.instrument, gesture.key.into(), level)
        });
        (sounding.rings.unwrap_or(1.0), sounding.released)
    });
    (levels[0].0.max(levels[1].0), levels[0].1)
}

/// Places of the gestures that are heard from one time to another. `phrases` are those of [`phrases`].
pub fn heard(chair: &ChairPerformance, phrases: &[Phrase], from: Seconds, to: Seconds) -> Vec<usize> {
    let mut wanted: Vec<usize> = phrases
        .iter()
        .filter(|p| p.from.0 < to.0 && p.until.0 > from.0)
        .flat_map(|p| p.gestures.iter().copied())
        // A slurred line is played from its start, and no further than needed.
        .filter(|i| chair.gestures.get(*i).is_some_and(|g| g.onset.0 - AHEAD < to.0))
        .collect();
    wanted.sort_unstable();
    wanted
}

/// The chair with nothing but what is heard from one time to another. `phrases` are those of [`phrases`].
pub fn cut(chair: &ChairPerformance, phrases: &[Phrase], from: Seconds, to: Seconds) -> ChairPerformance {
    let wanted = heard(chair, phrases, from, to);
    let gestures: Vec<Gesture> = wanted.iter().map(|i| chair.gestures[*i].clone()).collect();
    let first = gestures.iter().fold(from.0, |a, g| a.min(g.onset.0)) - LATE;
    // Strokes of a note that has begun may lie beyond.
    let last = gestures.iter().fold(to.0, |a, g| if g.realisation.is_some() { a.max(g.end.0) } else { a });
    let last = last.min(to.0 + AHEAD) + LATE;
    ChairPerformance {
        chair: chair.chair.clone(),
        instrument: chair.instrument.clone(),
        players: chair.players,
        level: between(&chair.level, first, last),
        sticks: between(&chair.sticks, first, last),
        kept: Vec::new(),
        pedal: chair.pedal.iter().filter(|(down, up)| up.0 > first && down.0 < last).copied().collect(),
        gestures,
    }
}

/// A curve between two times, with the points next to them.
fn between(curve: &Curve, first: f64, last: f64) -> Curve {
    let start = curve.points.partition_point(|p| p.0 < first).saturating_sub(1);
    let end = (curve.points.partition_point(|p| p.0 <= last) + 1).min(curve.points.len());
    Curve { points: curve.points[start.min(end)..end].to_vec() }
}
