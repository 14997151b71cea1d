//! Where a drafted plan has its passages.

use super::chairs::Seat;
use ripieno_music::{Reading, Score, TimeMarkKind, Timeline};
use ripieno_units::Beats;
use std::collections::BTreeMap;

/// Bars of a passage where the music has no marks.
const REGULAR: usize = 8;
/// Music of one mark only and longer than this gets regular passages.
const LONG: usize = 16;

/// A passage of the draft.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Stretch {
    pub(super) name: String,
    pub(super) from_bar: i32,
    pub(super) to_bar: i32,
    /// What belongs to it: its barlines, and beyond the bars at either end of the piece.
    pub(super) begins: Beats,
    pub(super) ends: Beats,
    /// Why it begins here.
    pub(super) because: Vec<String>,
    /// Indices of the seats that sound in it.
    pub(super) playing: Vec<usize>,
}

/// The passages that were found, or those of the marks.
pub(super) fn stretches(score: &Score, seats: &[Seat], reading: &Reading) -> Vec<Stretch> {
    let stretches = if covers(reading, &score.timeline) { found(score, reading) } else { by_marks(score) };
    stretches
        .into_iter()
        .map(|s| {
            let sounds = |seat: &Seat| {
                let notes = &score.tracks[seat.track].content.notes;
                notes.iter().take_while(|n| n.at < s.ends).any(|n| n.end() > s.begins)
            };
            Stretch { playing: (0..seats.len()).filter(|i| sounds(&seats[*i])).collect(), ..s }
        })
        .collect()
}

/// Does it have passages from the first bar to the last, without gaps?
fn covers(reading: &Reading, timeline: &Timeline) -> bool {
    let (Some(first), Some(last)) = (reading.passages.first(), reading.passages.last()) else { return false };
    let (Some(start), Some(end)) = (timeline.bars.first(), timeline.bars.last()) else { return false };
    let bars = timeline.bars.windows(2).all(|b| b[1].number == b[0].number + 1);
    let follow = reading.passages.windows(2).all(|p| p[1].from_bar == p[0].to_bar + 1);
    let forward = reading.passages.iter().all(|p| p.from_bar <= p.to_bar);
    bars && follow && forward && first.from_bar == start.number && last.to_bar == end.number
}

fn found(score: &Score, reading: &Reading) -> Vec<Stretch> {
    let timeline = &score.timeline;
    let mut taken: BTreeMap<String, usize> = BTreeMap::new();
    let count = reading.passages.len();
    let mut stretches = Vec::new();
    for (i, passage) in reading.passages.iter().enumerate() {
        let bar = |number| timeline.bar_numbered(number);
        let (Some(from), Some(to)) = (bar(passage.from_bar), bar(passage.to_bar)) else { continue };
        let name = passage.name.split_whitespace().collect::<Vec<_>>().join(" ");
        let name = if name.is_empty() { bars_name(from.number, to.number) } else { name };
        stretches.push(Stretch {
            name: unique(name, &mut taken),
            from_bar: from.number,
            to_bar: to.number,
            begins: if i == 0 { -far() } else { from.at },
            ends: if i + 1 == count { far() } else { to.at + to.length },
            because: passage.because.clone(),
            playing: Vec::new(),
        });
    }
    stretches
}

/// Before and after all music.
fn far() -> Beats {
    Beats::whole(1 << 30)
}

fn by_marks(score: &Score) -> Vec<Stretch> {
    let timeline = &score.timeline;
    let count = timeline.bars.len();
    let mut starts = marked(timeline);
    if starts.len() < 2 && count > LONG {
        // A pick-up belongs to the first passage.
        let first = first_whole_bar(timeline);
        starts.extend((first..count).step_by(REGULAR).skip(1).map(|bar| (bar, String::new())));
    }
    starts.entry(0).or_default();
    let firsts: Vec<usize> = starts.keys().copied().collect();
    let mut taken: BTreeMap<String, usize> = BTreeMap::new();
    let mut stretches = Vec::new();
    for (i, (first, text)) in starts.iter().enumerate() {
        let last = firsts.get(i + 1).map_or(count, |next| *next) - 1;
        let (from, to) = (&timeline.bars[*first], &timeline.bars[last]);
        let name = if text.is_empty() { bars_name(from.number, to.number) } else { text.clone() };
        stretches.push(Stretch {
            name: unique(name, &mut taken),
            from_bar: from.number,
            to_bar: to.number,
            begins: if *first == 0 { -far() } else { from.at },
            ends: if last + 1 == count { far() } else { to.at + to.length },
            because: Vec::new(),
            playing: Vec::new(),
        });
    }
    stretches
}

fn bars_name(from: i32, to: i32) -> String {
    let from = from.max(1).min(to.max(1));
    if from >= to { format!("Bar {from}") } else { format!("Bars {from} to {to}") }
}

fn unique(name: String, taken: &mut BTreeMap<String, usize>) -> String {
    let mut candidate = name.clone();
    while taken.contains_key(&candidate.to_lowercase()) {
        let n = taken.entry(name.to_lowercase()).or_insert(1);
        *n += 1;
        candidate = format!("{name} ({n})");
    }
    taken.insert(candidate.to_lowercase(), 1);
    candidate
}

/// Index of bar 1: 1 where there is a pick-up.
fn first_whole_bar(timeline: &Timeline) -> usize {
    timeline.bars.iter().position(|b| b.number >= 1).unwrap_or(0)
}

/// Bars (by index) at which marks stand, with their text. A mark inside a bar counts for the nearer barline.
fn marked(timeline: &Timeline) -> BTreeMap<usize, String> {
    let mut starts: BTreeMap<usize, String> = BTreeMap::new();
    let first = first_whole_bar(timeline);
    for mark in &timeline.marks {
        let is_mark = matches!(
            mark.kind,
            TimeMarkKind::Rehearsal | TimeMarkKind::DoubleBar | TimeMarkKind::Marker | TimeMarkKind::Cue
        );
        if !is_mark || mark.at >= timeline.end() {
            continue;
        }
        let index = timeline.bar_index(mark.at);
        let bar = &timeline.bars[index];
        let index = if mark.at - bar.at > bar.length.scaled(1, 2) { index + 1 } else { index };
        if index >= timeline.bars.len() {
            continue;
        }
        let index = if index <= first { 0 } else { index };
        let text = mark.text.split_whitespace().collect::<Vec<_>>().join(" ");
        let name = starts.entry(index).or_default();
        if name.is_empty() && mark.kind != TimeMarkKind::DoubleBar {
            *name = text;
        }
    }
    starts
}

#[cfg(test)]
mod tests {
    use super::*;
    use ripieno_music::{Metre, TimeMark};

    fn score(bars: usize, marks: &[(i64, TimeMarkKind, &str)]) -> Score {
        let mut timeline = Timeline::regular(bars, Metre { beats: 4, unit: 4 }, 100.0);
        timeline.marks = marks
            .iter()
            .map(|(at, kind, text)| TimeMark { at: Beats::whole(*at), kind: *kind, text: (*text).into() })
            .collect();
        Score { title: None, composer: None, timeline, tracks: Vec::new(), warnings: Vec::new() }
    }

    fn named(score: &Score) -> Vec<(String, i32, i32)> {
        by_marks(score).into_iter().map(|s| (s.name, s.from_bar, s.to_bar)).collect()
    }

    #[test]
    fn regular_where_nothing_is_marked() {
        let mut score = score(20, &[]);
        assert_eq!(
            named(&score),
            [("Bars 1 to 8".into(), 1, 8), ("Bars 9 to 16".into(), 9, 16), ("Bars 17 to 20".into(), 17, 20)]
        );
        // With a pick-up.
        for (i, bar) in score.timeline.bars.iter_mut().enumerate() {
            bar.number = i as i32;
            bar.at -= Beats::whole(4);
        }
        assert_eq!(named(&score)[0], ("Bars 1 to 8".into(), 0, 8));
        assert_eq!(named(&score)[1], ("Bars 9 to 16".into(), 9, 16));
    }

    #[test]
    fn at_marks_with_their_names() {
        use TimeMarkKind as K;
        let score = score(
            20,
            &[
                (16, K::Rehearsal, "A"),
                (31, K::Marker, "Storm"),
                (48, K::DoubleBar, ""),
                (64, K::Rehearsal, "A"),
                (68, K::Tempo, "Allegro"),
                (80, K::DoubleBar, ""),
            ],
        );
        assert_eq!(
            named(&score),
            [
                ("Bars 1 to 4".into(), 1, 4),
                ("A".into(), 5, 8),
                ("Storm".into(), 9, 12),
                ("Bars 13 to 16".into(), 13, 16),
                ("A (2)".into(), 17, 20),
            ]
        );
    }
}
