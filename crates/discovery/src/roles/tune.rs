//! Who has the tune: the way through the score along which the evidence is best.
//!
//! Every unit (about a beat) of every track has a score: how likely a listener hears the melody there, by the numbers of
//! [`super::evidence`] and the trees of [`super::trees`]. A change of track costs, less at a barline and where the new track
//! comes in after a rest. The best way is found by dynamic programming (Viterbi, 1967).

use super::evidence::Layout;
use super::trees::likely;
use rayon::prelude::*;
use ripieno_music::SUNG;
use ripieno_music::TuneSpan;
use ripieno_units::{Beats, math};

/// What a change of track costs, in units of log probability.
const CHANGE: f64 = 2.0;
/// So much less at a barline.
const AT_BARLINE: f64 = 0.3;
/// So much less where the new track begins after a rest.
const AT_ENTRY: f64 = 1.0;
/// What a track without pitch, or one that is silent for bars while others sound, is behind.
const HOPELESS: f64 = -30.0;
/// And one that is silent in the unit itself: a tune breathes.
const SILENT: f64 = -3.0;
/// A line of at most one note a bar, or of one key, is behind by this where another moves: long or repeated notes under or over
/// a melody are its ground.
const STILL: f64 = -2.5;
/// And one that is the lowest for this part of its time in the whole piece, by this: it is the bass.
const GROUND: (f64, f64) = (0.9, -1.5);
/// What moves: so many notes a bar, on so many keys in three bars.
const MOVING: (f64, u32) = (2.0, 4);

/// A lone singer has the tune of a song while he sings (common practice, no source): a piano's part beside him is ahead by less.
const SINGS: f64 = 6.0;
/// The one track that is sung, where one is and the others are played.
fn singer(layout: &Layout) -> Option<usize> {
    let sung = |t: &usize| {
        let line = &layout.lines[*t];
        let with = line.iter().filter(|tone| tone.sung).count();
        with as f64 >= SUNG * line.len() as f64 && with > 0
    };
    let mut all = (0..layout.tracks).filter(sung);
    let one = all.next()?;
    (all.next().is_none() && layout.tracks > 1).then_some(one)
}

/// The track of each unit.
pub(super) fn way(layout: &Layout) -> Vec<usize> {
    if layout.tracks == 0 || layout.units.count() == 0 {
        return Vec::new();
    }
    best_way(layout)
}

/// Scores of all tracks in a unit, as log probabilities.
fn scores(layout: &Layout, singer: Option<usize>, unit: usize) -> Vec<f64> {
    let sounds: Vec<bool> = (0..layout.tracks).map(|t| layout.sounds(unit, t)).collect();
    let any = sounds.contains(&true);
    let motions: Vec<(f64, u32)> = (0..layout.tracks).map(|t| layout.motion(unit, t)).collect();
    let moves = motions.iter().zip(&sounds).any(|(m, sounds)| *sounds && m.0 >= MOVING.0 && m.1 >= MOVING.1);
    let numbers = layout.numbers(unit);
    let mut row: Vec<f64> = (0..layout.tracks)
        .map(|track| {
            if layout.lines[track].is_empty() {
                return HOPELESS * 2.0;
            }
            if any && !layout.near(unit, track) {
                return HOPELESS;
            }
            let silent = if sounds[track] { 0.0 } else { SILENT };
            let (notes, keys) = motions[track];
            let still = if moves && (notes <= 1.0 || keys <= 1) { STILL } else { 0.0 };
            let ground = if layout.bottom(track) >= GROUND.0 { GROUND.1 } else { 0.0 };
            let sings = if singer == Some(track) && sounds[track] { SINGS } else { 0.0 };
            likely(&numbers[track]) + silent + still + ground + sings
        })
        .collect();
    let most = row.iter().copied().fold(f64::MIN, f64::max);
    let total = math::ln(row.iter().map(|s| math::exp(s - most)).sum());
    for score in &mut row {
        *score = (*score - most - total).max(HOPELESS * 2.0);
    }
    row
}

fn best_way(layout: &Layout) -> Vec<usize> {
    let (units, tracks) = (layout.units.count(), layout.tracks);
    let singer = singer(layout);
    let rows: Vec<Vec<f64>> = (0..units).into_par_iter().map(|unit| scores(layout, singer, unit)).collect();
    let mut best = rows[0].clone();
    let mut back: Vec<u32> = vec![0; units * tracks];
    for unit in 1..units {
        let leader = (0..tracks).max_by(|a, b| best[*a].total_cmp(&best[*b]).then(b.cmp(a))).unwrap_or(0);
        let row = &rows[unit];
        let barline = if layout.units.first[unit] { AT_BARLINE } else { 0.0 };
        let lead = best[leader];
        for track in 0..tracks {
            let entry = if layout.entry[unit * tracks + track] { AT_ENTRY } else { 0.0 };
            let changed = lead - (CHANGE - barline - entry);
            let stays = best[track] >= changed;
            back[unit * tracks + track] = if stays { track } else { leader } as u32;
            best[track] = if stays { best[track] } else { changed } + row[track];
        }
    }
    let mut track = (0..tracks).max_by(|a, b| best[*a].total_cmp(&best[*b]).then(b.cmp(a))).unwrap_or(0);
    let mut way = vec![0; units];
    for unit in (0..units).rev() {
        way[unit] = track;
        track = back[unit * tracks + track] as usize;
    }
    way
}

/// The way as stretches; bars without any music have none.
pub(super) fn spans(layout: &Layout, way: &[usize], edges: &[Beats], music: &[bool]) -> Vec<TuneSpan> {
    let mut spans: Vec<TuneSpan> = Vec::new();
    for (unit, track) in way.iter().enumerate() {
        if !music.get(layout.units.bar[unit]).copied().unwrap_or(false) {
            continue;
        }
        let (from, to) = (edges[unit], edges[unit + 1]);
        match spans.last_mut() {
            Some(last) if last.track == *track && last.to == from => last.to = to,
            _ => spans.push(TuneSpan { from, to, track: *track }),
        }
    }
    spans
}
