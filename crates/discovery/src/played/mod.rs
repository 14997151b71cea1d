//! A source that was played, not written: its notated places beside the played ones, its switches, its tracks of one chair.
//!
//! The bars and the tempo of the file are the grid. What lies on it already is left alone.
//!
//! * [`off_the_grid`]: was it played at all?
//! * [`notate`]: the written place and value of every note; [`ripieno_music::Note::played`] keeps when it is heard.
//! * [`Ground`]: how likely a note is heard at a time, by what was notated.
//! * [`switches`]: keys that call an articulation and are never heard.
//! * [`merges`]: several tracks that one chair plays.
//! * [`early`]: how far a track lies ahead of the beat, as it does where a patch speaks late.
//! * [`count_from`], [`trim`], [`trim_end`]: bars before bar 1 and after the last.

mod delay;
mod graces;
mod grid;
mod ground;
mod habits;
mod lead;
mod strokes;
mod switching;
mod tracks;
mod turns;
mod values;

pub use delay::early;
pub use ground::Ground;
pub use lead::{count_from, trim, trim_end};
pub use switching::{SwitchFound, switches};
pub use tracks::{MergeFound, merges};

use grid::{Beat, Company, Onset, Spot, Written};
use ripieno_music::{
    Content, Direction, Grace, Mark, Marks, Note, Ornament, OrnamentKind, Played, Score, Tremolo, named,
};
use ripieno_units::Beats;
use std::collections::BTreeMap;
use strokes::{Heard, Item, Sign};

/// A part of this many of a track's notes off the grid makes it played: of notes that fall anywhere four fifths are off it.
const PLAYED_SHARE: f64 = 0.25;
/// Tracks with fewer notes say nothing of themselves.
const LEAST_NOTES: usize = 8;
/// How far from the grid, in quarters: a tick of 480 and half of one.
const ON_GRID: f64 = 1.0 / 320.0;
/// Deviation of players that is taken before anything is measured, in seconds: within the 8 to 15 ms of ensembles.
const SPREAD: f64 = 0.012;
/// A deviation measured is held within these bounds, in seconds.
const SPREADS: (f64, f64) = (0.005, 0.025);
/// A run of strokes lies off the beat as a whole by no more than this share of a stroke.
const MOST_BEHIND: f64 = 0.2;
/// How often places are found anew with what the other tracks have.
const ROUNDS: usize = 3;

/// What share of a track's onsets lies off the grid of 24ths and 32nds of a quarter, 0 to 1.
pub fn off_the_grid(content: &Content) -> f64 {
    let off = |n: &&Note| {
        let quarters = n.at.quarters();
        let away = |parts: f64| (quarters * parts - (quarters * parts).round()).abs() / parts;
        away(24.0).min(away(32.0)) > ON_GRID
    };
    let count = content.notes.iter().filter(off).count();
    count as f64 / content.notes.len().max(1) as f64
}

/// Was this track played? Notes that are spelled come from a notated source, however odd their places (a storm of fives and
/// sixes over each other).
pub fn is_played(content: &Content) -> bool {
    let notated = content.notes.iter().any(|n| n.written.is_some());
    content.notes.len() >= LEAST_NOTES && !notated && off_the_grid(content) > PLAYED_SHARE
}

/// Was this score played: does one note in ten or more stand in a track that was?
pub fn is_played_score(score: &Score) -> bool {
    let count = |played: bool| {
        let tracks = score.tracks.iter().filter(|t| !played || is_played(&t.content));
        tracks.map(|t| t.content.notes.len()).sum::<usize>()
    };
    let played = count(true);
    played > 0 && played * 10 >= count(false)
}

/// A track on its way.
struct Line {
    track: usize,
    items: Vec<Item>,
    written: Vec<Written>,
    /// Seconds that it lies behind the grid, all in all.
    behind: f64,
    spread: f64,
    /// How far each note lies from where the line would have it, in seconds; empty where too few were measured.
    away: Vec<f64>,
    left_alone: bool,
}

/// Gives every played track its notated places. What is left of the remarks is in words, one a track where something is to be
/// said.
pub fn notate(score: &Score) -> (Score, Vec<String>) {
    let lines = lines(score);
    let beats = grid::beats(&score.timeline);
    let mut out = score.clone();
    let mut remarks = Vec::new();
    for line in lines.iter().filter(|l| !l.left_alone) {
        let track = &mut out.tracks[line.track];
        track.content = write(&score.tracks[line.track].content, line, &beats, score);
        let behind = line.behind * 1000.0;
        if behind.abs() >= 8.0 {
            let side = if behind > 0.0 { "behind" } else { "ahead of" };
            remarks.push(format!(
                "{}: played {:.0} ms {side} the beat throughout; its notes are written on the beat",
                track.name,
                behind.abs()
            ));
        }
    }
    (out, remarks)
}

/// Where the notes of a score are heard, by the places that are found for them.
pub fn ground(score: &Score) -> Ground {
    let lines = lines(score);
    // Of all their notes: a line of few says little of its players.
    let mut away: Vec<f64> =
        lines.iter().filter(|l| !l.left_alone).flat_map(|l| l.away.iter().copied()).collect();
    let spread = spread_of(&mut away).unwrap_or(SPREAD);
    let own = lines.iter().map(|line| {
        let places = line
            .written
            .iter()
            .filter_map(|w| if let Written::At(spot) = w { Some((*spot, 1)) } else { None });
        (
            score.tracks[line.track].id.clone(),
            ground::OwnPlaces { places: places.collect(), behind: line.behind },
        )
    });
    Ground::new(grid::beats(&score.timeline), own.collect(), spread)
}

/// Every track with the places that its notes were found to have.
fn lines(score: &Score) -> Vec<Line> {
    let beats = grid::beats(&score.timeline);
    let clock = score.timeline.clock();
    let any = is_played_score(score);
    let mut lines: Vec<Line> = Vec::new();
    for (track, one) in score.tracks.iter().enumerate() {
        let notes = &one.content.notes;
        let few = notes.len() < LEAST_NOTES;
        let played = is_played(&one.content) || (few && any && off_the_grid(&one.content) > PLAYED_SHARE);
        let heard: Vec<Heard> = notes
            .iter()
            .map(|n| Heard {
                on: clock.seconds(n.at).0,
                end: clock.seconds(n.end()).0,
                key: strokes::key(n),
                many: n.tremolo.is_some() || n.ornament.is_some(),
            })
            .collect();
        let items = if played { gathered(&heard, &beats) } else { plain(&heard) };
        let written = Vec::new();
        lines.push(Line {
            track,
            items,
            written,
            behind: 0.0,
            spread: SPREAD,
            away: Vec::new(),
            left_alone: !played,
        });
    }
    let mut company: Vec<Company> = vec![Company::new(); lines.len()];
    let mut habits = vec![grid::table(); lines.len()];
    for round in 0..ROUNDS {
        for ((line, company), habit) in lines.iter_mut().zip(&company).zip(&habits) {
            if line.left_alone && round > 0 {
                continue;
            }
            let onsets: Vec<Onset> = line
                .items
                .iter()
                .map(|i| Onset { on: i.on - line.behind, end: i.end - line.behind, key: i.key })
                .collect();
            line.written = grid::places(&onsets, &beats, line.spread, company, habit);
            measure(line, &beats);
        }
        company = companies(&lines);
        habits = habits::learned(&lines.iter().map(|l| l.written.as_slice()).collect::<Vec<_>>());
    }
    lines
}

fn plain(heard: &[Heard]) -> Vec<Item> {
    let item = |(i, h): (usize, &Heard)| Item {
        notes: vec![i],
        sign: Sign::Plain,
        on: h.on,
        end: h.end,
        key: h.key,
    };
    heard.iter().enumerate().map(item).collect()
}

/// Gathers trills and the like; a run that keeps to a subdivision of the beat is written out.
fn gathered(heard: &[Heard], beats: &[Beat]) -> Vec<Item> {
    let counted = |onsets: &[f64]| {
        let stroke = (onsets[onsets.len() - 1] - onsets[0]) / (onsets.len().max(2) - 1) as f64;
        let mut best = f64::INFINITY;
        for parts in [2.0, 3.0, 4.0, 6.0, 8.0, 12.0] {
            let mut near = true;
            let mut all = Vec::with_capacity(onsets.len());
            for on in onsets {
                let b = beats.partition_point(|b| b.from <= *on).saturating_sub(1);
                let Some(beat) = beats.get(b) else { continue };
                let step = (beat.to - beat.from) / parts;
                near &= (0.8..1.25).contains(&(stroke / step));
                let away = (on - beat.from) / step;
                all.push(away - away.round());
            }
            // A run that lies a little before or behind the beat as a whole keeps to it all the same.
            let count = all.len().max(1) as f64;
            let behind = (all.iter().sum::<f64>() / count).clamp(-MOST_BEHIND, MOST_BEHIND);
            let sum: f64 = all.iter().map(|a| (a - behind) * (a - behind)).sum();
            if near {
                best = best.min(ripieno_units::math::sqrt(sum / count));
            }
        }
        best
    };
    strokes::gather(heard, &counted)
}

/// How far a line lies behind the places found, and how widely it spreads.
fn measure(line: &mut Line, beats: &[Beat]) {
    let mut residues: Vec<f64> = line
        .items
        .iter()
        .zip(&line.written)
        .filter_map(|(item, written)| match written {
            Written::At(spot) => Some(item.on - seconds(beats, *spot)?),
            Written::Grace | Written::Stroke(_) => None,
        })
        .collect();
    if residues.len() < LEAST_NOTES {
        return;
    }
    line.behind = median(&mut residues);
    line.away = residues.iter().map(|r| (r - line.behind).abs()).collect();
    line.spread = spread_of(&mut line.away).unwrap_or(SPREAD);
}

/// The standard deviation by how far notes lie away, in seconds; `None` of nothing. They come back sorted.
fn spread_of(away: &mut [f64]) -> Option<f64> {
    // The median deviation of a normal law is 0.6745 of its standard deviation.
    (!away.is_empty()).then(|| (median(away) / 0.6745).clamp(SPREADS.0, SPREADS.1))
}

fn seconds(beats: &[Beat], spot: Spot) -> Option<f64> {
    let beat = beats.get(spot.0)?;
    Some(beat.from + (beat.to - beat.from) * f64::from(spot.1) / f64::from(spot.2.max(1)))
}

pub(crate) fn median(values: &mut [f64]) -> f64 {
    values.sort_by(f64::total_cmp);
    match values.len() {
        0 => 0.0,
        n if n % 2 == 1 => values[n / 2],
        n => 0.5 * (values[n / 2 - 1] + values[n / 2]),
    }
}

/// For each line how many of the others have an onset at each place.
fn companies(lines: &[Line]) -> Vec<Company> {
    let own = |line: &Line| {
        let mut spots: Vec<Spot> = line
            .written
            .iter()
            .filter_map(|w| if let Written::At(spot) = w { Some(*spot) } else { None })
            .collect();
        spots.sort_unstable();
        spots.dedup();
        spots
    };
    let mut total: Company = BTreeMap::new();
    for line in lines {
        for spot in own(line) {
            *total.entry(spot).or_default() += 1;
        }
    }
    lines
        .iter()
        .map(|line| {
            let mut others = total.clone();
            for spot in own(line) {
                if let Some(count) = others.get_mut(&spot) {
                    *count -= 1;
                }
            }
            others.retain(|_, count| *count > 0);
            others
        })
        .collect()
}

/// The notes of a line at their written places, with values, graces and signs.
fn write(content: &Content, line: &Line, beats: &[Beat], score: &Score) -> Content {
    let fallback = beats.last().map_or(Beats::ZERO, |b| b.at + b.length);
    let mut notes: Vec<Note> = Vec::with_capacity(line.items.len());
    let mut graces: Vec<Grace> = Vec::new();
    // Played places and the written ones, for what stands around the notes.
    let mut map: Vec<(Beats, Beats)> = Vec::new();
    let mut waiting: Vec<Beats> = Vec::new();
    for (item, written) in line.items.iter().zip(&line.written) {
        let first = &content.notes[item.notes[0]];
        if let (Written::Stroke(kind), Some(note)) = (written, notes.last_mut()) {
            map.push((first.at, note.at));
            turned(note, *kind, item.key, first.end());
            continue;
        }
        let Written::At(spot) = written else {
            waiting.push(first.at);
            graces.extend(first.pitch().map(|pitch| Grace {
                pitch,
                written: None,
                slashed: true,
                value: Beats::new(1, 2),
                slurred: first.slurs_on || first.named.as_deref() == Some(named::LEGATO),
            }));
            continue;
        };
        let at = beats.get(spot.0).map_or(fallback, |b| b.place(*spot));
        map.extend(waiting.drain(..).map(|p| (p, at)));
        map.push((first.at, at));
        let mut note = Note { at, ..first.clone() };
        let end = item.notes.iter().map(|n| content.notes[*n].end()).max().unwrap_or(first.end());
        note.played = Some(Played { at: first.at, length: (end - first.at).max(Beats::new(1, 960)) });
        sign(&mut note, item);
        note.graces = std::mem::take(&mut graces);
        notes.push(note);
    }
    map.sort_unstable();
    values::settle(&mut notes, &score.timeline);
    let mut out = Content { notes, directions: Vec::new(), controls: content.controls.clone() };
    out.directions =
        content.directions.iter().map(|d| Direction { at: moved(&map, d.at), ..d.clone() }).collect();
    out.sort();
    out
}

/// Adds a stroke to the turn on a note, which has the key of the last of them.
fn turned(note: &mut Note, kind: OrnamentKind, key: i16, end: Beats) {
    let Some(pitch) = note.pitch() else { return };
    let so_far = note.ornament.filter(|o| o.kind == kind);
    let keys = [Some(pitch), so_far.and_then(|o| o.above), so_far.and_then(|o| o.below)];
    let keys = keys.iter().flatten().map(|p| p.key).chain([key]);
    let (low, high) = keys.fold((key, key), |(low, high), k| (low.min(k), high.max(k)));
    *note = note.clone().moved(key - pitch.key);
    // A name stands for one stroke.
    note.named = None;
    let main = note.pitch();
    let neighbour = |by: i16| main.filter(|_| by != 0).map(|p| p.up(by));
    note.ornament = Some(Ornament { kind, above: neighbour(high - key), below: neighbour(low - key) });
    if let Some(played) = &mut note.played {
        played.length = played.length.max(end - played.at);
    }
}

/// Puts the sign that a run of notes stands for on the note that is written.
fn sign(note: &mut Note, item: &Item) {
    let one = |note: &mut Note| {
        (note.marks, note.named) = (Marks::default(), None);
        note.slurs_on = false;
    };
    let ornament = |kind, above, below| Some(Ornament { kind, above, below });
    match item.sign {
        Sign::Plain => {}
        Sign::Broken(way) => note.arpeggio = Some(way),
        Sign::Tremolo => {
            one(note);
            note.tremolo = Some(Tremolo { strokes: 0, with: None });
        }
        Sign::Trill { up } => {
            one(note);
            if let Some(pitch) = note.pitch() {
                *note = Note { ..note.clone().moved(item.key - pitch.key) };
                let main = note.pitch();
                note.ornament = ornament(OrnamentKind::Trill, main.map(|p| p.up(up)), None);
            }
        }
        Sign::Mordent { by } => {
            one(note);
            let other = note.pitch().map(|p| p.up(by));
            note.ornament = if by > 0 {
                ornament(OrnamentKind::UpperMordent, other, None)
            } else {
                ornament(OrnamentKind::Mordent, None, other)
            };
        }
    }
    if note.marks.has(Mark::Staccato) && note.tremolo.is_some() {
        note.marks.remove(Mark::Staccato);
    }
}

/// Where something that stood at a played place is written: with the note that was played there, else on the eighth.
fn moved(map: &[(Beats, Beats)], at: Beats) -> Beats {
    let i = map.partition_point(|m| m.0 < at);
    if let Some(exact) = map.get(i).filter(|m| m.0 == at) {
        return exact.1;
    }
    let eighth = Beats::new((at.quarters() * 2.0).round() as i64, 2);
    // Never past the notes around it.
    let low = i.checked_sub(1).map_or(eighth, |b| map[b].1);
    let high = map.get(i).map_or(eighth, |m| m.1);
    eighth.max(low).min(high.max(low))
}
