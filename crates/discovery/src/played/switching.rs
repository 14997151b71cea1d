//! Keys among the notes of a played track that sound nothing: they call an articulation.

use super::tracks::known;
use ripieno_music::{Clock, Note, Score, Track, named};
use std::collections::BTreeMap;

/// A key that is taken for a switch.
#[derive(Clone, Debug, PartialEq)]
pub struct SwitchFound {
    /// Index of the track.
    pub track: usize,
    /// The key.
    pub key: i16,
    /// How often it is struck.
    pub times: usize,
    /// It is held down while the notes sound that it means.
    pub held: bool,
    /// Share of its strokes after which a note begins within [`AHEAD`], or that are held over one.
    pub before: f64,
    /// It is struck briefly or held over what it means, far from all that sounds: no note of a careless writer.
    pub clear: bool,
    /// What the notes after it are like, in the words of patch cards; a guess.
    pub meaning: Option<&'static str>,
}

/// How far before its note a switch is struck, in seconds: at the most about a beat.
pub const AHEAD: f64 = 0.6;
/// Switches keep so far from what sounds, in semitones, where no instrument is known.
const APART: i16 = 8;
/// A switch that is not held is struck for so long at the most, in seconds.
const BRIEF: f64 = 0.25;
/// More switches than this are music.
const MOST_KEYS: usize = 24;
/// Part of the strokes that must lead to a note.
const LEAD: f64 = 0.8;
/// At most this part of the track's notes may be switches.
const MOST_SHARE: f64 = 0.6;

/// Finds the switches of every track.
pub fn switches(score: &Score) -> Vec<SwitchFound> {
    let clock = score.timeline.clock();
    let mut found = Vec::new();
    for (index, track) in score.tracks.iter().enumerate() {
        if track.percussion {
            continue;
        }
        let keys = silent_keys(track);
        let total = track.content.notes.len();
        let is_switch = |n: &&Note| n.pitch().is_some_and(|p| keys.contains(&p.key));
        let count = track.content.notes.iter().filter(is_switch).count();
        if keys.is_empty() || keys.len() > MOST_KEYS || count as f64 > MOST_SHARE * total as f64 {
            continue;
        }
        found.extend(judged(index, track, &keys, &clock));
    }
    found
}

/// Keys that the instrument does not have, or that stand apart from all that sounds.
fn silent_keys(track: &Track) -> Vec<i16> {
    let mut keys: BTreeMap<i16, usize> = BTreeMap::new();
    for pitch in track.content.notes.iter().filter_map(Note::pitch) {
        *keys.entry(pitch.key).or_default() += 1;
    }
    if let Some(range) = known(track).and_then(|g| g.instrument.hard) {
        let low = i16::from(range.low);
        let high = i16::from(range.high);
        let outside: Vec<i16> = keys.keys().copied().filter(|k| !(low..=high).contains(k)).collect();
        return outside;
    }
    // Nothing is known of it: the lowest keys below the widest gap.
    let all: Vec<i16> = keys.keys().copied().collect();
    let gap = all.windows(2).enumerate().map(|(i, w)| (w[1] - w[0], i)).max_by_key(|g| g.0);
    match gap {
        Some((wide, i)) if wide >= APART && all[i] - all[0] <= 24 => all[..=i].to_vec(),
        _ => Vec::new(),
    }
}

fn judged(index: usize, track: &Track, keys: &[i16], clock: &Clock) -> Vec<SwitchFound> {
    let time = |n: &Note| (clock.seconds(n.at).0, clock.seconds(n.end()).0);
    let key = |n: &Note| n.pitch().map_or(-1, |p| p.key);
    let mut sounding: Vec<(f64, f64, i16)> = Vec::new();
    let mut struck: Vec<(f64, f64, i16)> = Vec::new();
    for note in &track.content.notes {
        let (on, end) = time(note);
        if keys.contains(&key(note)) { &mut struck } else { &mut sounding }.push((on, end, key(note)));
    }
    sounding.sort_by(|a, b| a.0.total_cmp(&b.0));
    struck.sort_by(|a, b| a.0.total_cmp(&b.0));
    let mut out = Vec::new();
    for wanted in keys {
        let strokes: Vec<&(f64, f64, i16)> = struck.iter().filter(|s| s.2 == *wanted).collect();
        let (mut leads, mut covers) = (0, 0);
        let mut after: Vec<usize> = Vec::new();
        for stroke in &strokes {
            let next = sounding.partition_point(|s| s.0 < stroke.0);
            let Some(first) = sounding.get(next) else { continue };
            let covered = first.0 < stroke.1 && first.1 <= stroke.1 + 0.05;
            if first.0 - stroke.0 <= AHEAD || first.0 < stroke.1 {
                leads += 1;
                covers += usize::from(covered);
            }
            let until = struck.iter().find(|s| s.0 > stroke.0).map_or(f64::INFINITY, |s| s.0);
            after.extend((next..sounding.len()).take_while(|i| sounding[*i].0 < until).take(400));
        }
        let before = leads as f64 / strokes.len().max(1) as f64;
        if before >= LEAD {
            let held = covers * 2 > strokes.len();
            let meaning = meaning(&sounding, &after);
            let apart = sounding.iter().map(|s| (s.2 - wanted).abs()).min().unwrap_or(0);
            let clear = apart >= APART && (held || strokes.iter().all(|s| s.1 - s.0 <= BRIEF));
            let times = strokes.len();
            out.push(SwitchFound { track: index, key: *wanted, times, held, before, clear, meaning });
        }
    }
    out
}

/// What notes are like: by the share of the time to the next that they sound (rule table of articulation inference).
fn meaning(sounding: &[(f64, f64, i16)], after: &[usize]) -> Option<&'static str> {
    let mut shares: Vec<f64> = Vec::new();
    let mut gaps: Vec<f64> = Vec::new();
    let mut repeats = 0;
    for i in after {
        let (Some(one), Some(next)) = (sounding.get(*i), sounding.get(i + 1)) else { continue };
        let gap = next.0 - one.0;
        if !(0.03..=3.0).contains(&gap) {
            continue;
        }
        shares.push((one.1 - one.0) / gap);
        gaps.push(gap);
        repeats += usize::from(one.2 == next.2);
    }
    if shares.len() < 4 {
        return None;
    }
    let repeated = repeats * 2 > shares.len();
    let (share, gap) = (super::median(&mut shares), super::median(&mut gaps));
    Some(if repeated && gap <= 0.110 {
        named::TREMOLO
    } else if share <= 0.5 || (share <= 0.6 && gap <= 0.350) {
        if gap <= 0.220 { named::SPICCATO } else { named::STACCATO }
    } else if share < 0.9 {
        named::PORTATO
    } else if share >= 0.98 && !repeated {
        named::LEGATO
    } else {
        named::SUSTAIN
    })
}
