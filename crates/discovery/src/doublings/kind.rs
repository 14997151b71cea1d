//! How a chair plays with its leader: exactly, or simplified.

use super::lines::Lines;
use super::stretch::Stretch;
use ripieno_music::{Note, Score};
use ripieno_units::Beats;

/// The chair has all but a few of the leader's notes: this part of them or more is no simplification.
const NEARLY_ALL: f64 = 0.9;
/// Left-out notes that fall while the chair holds a note: this part of them or more, and it holds on through them.
const HOLDS_THROUGH: f64 = 0.8;
/// Notes left out are ornaments where they are this much shorter than the notes kept, or more.
const ORNAMENT_SHORTER: (i64, i64) = (1, 2);
/// And no more than this part of the leader's notes (common practice, no source).
const MOST_ORNAMENTS: f64 = 0.5;

/// Whether a `col` gives the chair's notes back, and what the chair leaves out, in words.
pub(super) fn of(score: &Score, lines: &Lines, stretch: &Stretch) -> (bool, Option<String>) {
    let bars = &score.timeline.bars;
    // What stands before the first bar belongs to it, and what stands after the last.
    let from = (stretch.from > 0).then(|| bars[stretch.from].at);
    let to = (stretch.to + 1 < bars.len()).then(|| lines.bar_ends[stretch.to]);
    let within = |track: usize| {
        let notes = &score.tracks[track].content.notes;
        let first = from.map_or(0, |at| notes.partition_point(|n| n.at < at));
        let last = to.map_or(notes.len(), |at| notes.partition_point(|n| n.at < at));
        let mut within: Vec<&Note> = notes[first..last.max(first)].iter().collect();
        within.sort_by_key(|n| (n.at, n.pitch()));
        within
    };
    let (mine, theirs) = (within(stretch.chair), within(stretch.of));
    let exact = mine.len() == theirs.len()
        && mine.iter().zip(&theirs).all(|(a, b)| a.plays_as(&(*b).clone().moved(stretch.semitones)));
    (exact, if exact { None } else { simplified(&mine, &theirs, stretch.semitones) })
}

fn simplified(mine: &[&Note], theirs: &[&Note], semitones: i16) -> Option<String> {
    let key = |n: &Note, by: i16| n.pitch().map(|p| (n.at, p.up(by)));
    let kept = |n: &Note| {
        let wanted = key(n, semitones);
        wanted.is_some() && mine.binary_search_by(|m| key(m, 0).cmp(&wanted)).is_ok()
    };
    let (kept, left): (Vec<&Note>, Vec<&Note>) = theirs.iter().copied().partition(|n| kept(n));
    // Other notes of a chord, or of another voice, are not left out: they are other lines.
    let onsets: Vec<Beats> = kept.iter().map(|n| n.at).collect();
    let left: Vec<&Note> = left.into_iter().filter(|n| onsets.binary_search(&n.at).is_err()).collect();
    let ornate = |notes: &[&Note]| {
        notes
            .iter()
            .filter(|n| n.ornament.is_some() || !n.graces.is_empty() || !n.graces_after.is_empty())
            .count()
    };
    let whole = (kept.len() + left.len()).max(1) as f64;
    if kept.len() as f64 / whole >= NEARLY_ALL {
        return (ornate(&kept) > ornate(mine)).then(|| "without ornaments".to_owned());
    }
    let under = |n: &&&Note| {
        let before = mine.partition_point(|m| m.at <= n.at);
        // Chords are short: the notes just before are enough to look at.
        mine[before.saturating_sub(8)..before].iter().any(|m| m.end() > n.at)
    };
    let held = left.iter().filter(under).count() as f64 / left.len().max(1) as f64;
    if held < HOLDS_THROUGH {
        return Some("only some of its notes".to_owned());
    }
    let (short, long) = (median(&left), median(&kept));
    let few = left.len() as f64 / whole <= MOST_ORNAMENTS;
    if few && short <= long.scaled(ORNAMENT_SHORTER.0, ORNAMENT_SHORTER.1) {
        return Some("without ornaments".to_owned());
    }
    // A pulse of its own, or notes that are simply held on.
    let lengths: Vec<Beats> = mine.iter().map(|n| n.length).collect();
    let even = lengths.iter().filter(|l| **l == median(mine)).count() * 3 >= lengths.len() * 2;
    let slow = median(mine) < Beats::whole(SUSTAINED);
    Some(if even && slow { "in a slower rhythm" } else { "sustained" }.to_owned())
}

/// Notes of a semibreve or more are held, whatever their pulse.
const SUSTAINED: i64 = 4;

fn median(notes: &[&Note]) -> Beats {
    let mut lengths: Vec<Beats> = notes.iter().map(|n| n.length).collect();
    lengths.sort_unstable();
    lengths.get(lengths.len() / 2).copied().unwrap_or_default()
}
