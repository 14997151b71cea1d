//! Bars as the source prints them, beside the bars that are counted on.
//!
//! Repeats are played out, so that a bar of the print may come two or three times, each with a number of its own here. What
//! comes again is known by its printed number. Where numbers begin again and the music is another, a new movement begins.

use ripieno_music::{Bar, NoteKind, Timeline, Track};
use ripieno_units::Beats;
use std::collections::BTreeMap;

/// Where numbers go back, so many bars are compared with those that had the numbers before.
const COMPARED: usize = 4;

/// The printed numbers of a piece.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct InPrint {
    /// In the order in which they are played; their numbers run without a gap.
    bars: Vec<Printed>,
}

#[derive(Clone, Debug, PartialEq, Eq)]
struct Printed {
    /// As counted.
    number: i32,
    /// As printed.
    label: String,
    /// From 1.
    movement: u16,
    /// From 1: how often it was played up to here.
    time: u16,
    /// It has a number of its own in print.
    counted: bool,
}

impl InPrint {
    /// The printed numbers of a timeline, with the music that tells a repeat from a new movement.
    pub(crate) fn of(timeline: &Timeline, tracks: &[Track]) -> Self {
        let all = &timeline.bars;
        let mut bars: Vec<Printed> = Vec::with_capacity(all.len());
        let mut movement = 1;
        // By printed number, in this movement: where it first stands and how often it was played.
        let mut seen: BTreeMap<&str, (usize, u16)> = BTreeMap::new();
        for (i, bar) in all.iter().enumerate() {
            let back =
                i > 0 && value(&bar.printed) <= value(&all[i - 1].printed) && value(&bar.printed).is_some();
            let again = || {
                let here = all.iter().enumerate().skip(i).take(COMPARED);
                here.filter_map(|(k, b)| Some((&all[seen.get(b.printed.as_str())?.0], &all[k])))
            };
            if back && again().next().is_some() && !again().any(|(a, b)| same(tracks, a, b)) {
                movement += 1;
                seen.clear();
            }
            let (first, time) = *seen.entry(&bar.printed).and_modify(|s| s.1 += 1).or_insert((i, 1));
            let counted = value(&bar.printed).is_some();
            // A part of a bar that the print does not number belongs to the bar before it, where it first stands.
            let before = if time > 1 { bars.get(first) } else { bars.last() };
            let label = if counted { &bar.printed } else { before.map_or(&bar.printed, |b| &b.label) };
            bars.push(Printed { number: bar.number, label: label.clone(), movement, time, counted });
        }
        Self { bars }
    }

    /// How many bars are printed; the pick-up is none.
    pub fn count(&self) -> usize {
        self.bars.iter().filter(|b| b.time == 1 && b.number > 0 && b.counted).count()
    }

    /// How many movements the printed numbers tell apart.
    pub fn movements(&self) -> usize {
        self.bars.last().map_or(1, |b| usize::from(b.movement))
    }

    /// Are there bars whose number in print is another?
    pub fn differs(&self) -> bool {
        self.bars.iter().any(|b| !b.as_counted())
    }

    /// `375 in print, 2nd time`, `375 to 381 in print`, where that is not what is counted anyway.
    pub fn beside(&self, bar: i32, to_bar: i32) -> Option<String> {
        let (from, to) = (self.bar(bar)?, self.bar(to_bar.max(bar))?);
        if from.as_counted() && to.as_counted() {
            return None;
        }
        let (before, after) = (from.which(), to.which());
        Some(match (from.label == to.label, before == after) {
            (true, true) => format!("{} in print{before}", from.label),
            (false, true) => format!("{} to {} in print{before}", from.label, to.label),
            (_, false) => format!("{} in print{before} to {}{after}", from.label, to.label),
        })
    }

    fn bar(&self, number: i32) -> Option<&Printed> {
        let first = self.bars.first()?.number;
        self.bars.get(usize::try_from(number - first).ok()?).filter(|b| !b.label.is_empty())
    }
}

impl Printed {
    fn as_counted(&self) -> bool {
        self.label.is_empty() || self.label == self.number.to_string()
    }

    /// Which of those with this number.
    fn which(&self) -> String {
        let movement =
            if self.movement > 1 { format!(", {} movement", nth(self.movement)) } else { String::new() };
        let time = if self.time > 1 { format!(", {} time", nth(self.time)) } else { String::new() };
        movement + &time
    }
}

/// The figures that a printed number begins with.
fn value(printed: &str) -> Option<u32> {
    let figures = printed.find(|c: char| !c.is_ascii_digit()).unwrap_or(printed.len());
    printed[..figures].parse().ok()
}

/// `2nd`.
fn nth(n: u16) -> String {
    let end = match (n % 10, n % 100) {
        (_, 11..=13) => "th",
        (1, _) => "st",
        (2, _) => "nd",
        (3, _) => "rd",
        _ => "th",
    };
    format!("{n}{end}")
}

/// Do two bars have the same notes at the same places?
fn same(tracks: &[Track], a: &Bar, b: &Bar) -> bool {
    let notes = |track: &Track, bar: &Bar| -> Vec<(Beats, NoteKind)> {
        let all = &track.content.notes;
        let from = all.partition_point(|n| n.at < bar.at);
        let within = all[from..].iter().take_while(|n| n.at < bar.at + bar.length);
        within.map(|n| (n.at - bar.at, n.kind.clone())).collect()
    };
    a.metre == b.metre && tracks.iter().all(|t| notes(t, a) == notes(t, b))
}

#[cfg(test)]
mod tests {
    use super::*;
    use ripieno_music::{Metre, Note};

    /// Bars of 4/4 with these printed numbers, each with one note of this key.
    fn piece(bars: &[(&str, i16)]) -> InPrint {
        let mut timeline = Timeline::regular(bars.len(), Metre { beats: 4, unit: 4 }, 120.0);
        let mut track = Track::default();
        for (bar, (label, key)) in timeline.bars.iter_mut().zip(bars) {
            bar.printed = (*label).to_string();
            track.content.notes.push(Note::plain(bar.at, bar.length, *key));
        }
        InPrint::of(&timeline, &[track])
    }

    #[test]
    fn a_repeat_is_a_second_time() {
        let piece = piece(&[("1", 60), ("2", 62), ("1", 60), ("2", 62), ("3", 64), ("4", 65)]);
        assert_eq!((piece.count(), piece.movements(), piece.differs()), (4, 1, true));
        assert_eq!(piece.beside(1, 2), None);
        assert_eq!(piece.beside(3, 3).as_deref(), Some("1 in print, 2nd time"));
        assert_eq!(piece.beside(3, 4).as_deref(), Some("1 to 2 in print, 2nd time"));
        assert_eq!(piece.beside(4, 6).as_deref(), Some("2 in print, 2nd time to 4"));
        assert_eq!(piece.beside(5, 6).as_deref(), Some("3 to 4 in print"));
        assert_eq!(piece.beside(9, 9), None, "there is no such bar");
    }

    #[test]
    fn numbers_that_begin_again_with_other_music_are_a_movement() {
        let piece =
            piece(&[("1", 60), ("2", 62), ("1", 60), ("2", 62), ("0", 70), ("1", 72), ("2", 74), ("1", 72)]);
        assert_eq!((piece.count(), piece.movements()), (5, 2));
        assert_eq!(piece.beside(6, 6).as_deref(), Some("1 in print, 2nd movement"));
        assert_eq!(piece.beside(8, 8).as_deref(), Some("1 in print, 2nd movement, 2nd time"));
    }

    #[test]
    fn a_part_of_a_bar_belongs_to_the_bar_before_it() {
        let piece = piece(&[("1", 60), ("2", 62), ("X1", 64), ("3", 65)]);
        assert_eq!(piece.count(), 3);
        assert_eq!(piece.beside(3, 3).as_deref(), Some("2 in print"));
        assert_eq!(piece.beside(3, 4).as_deref(), Some("2 to 3 in print"));
        // The end of bar 1 is repeated after bar 2.
        let again = self::piece(&[("1", 60), ("X1", 62), ("2", 64), ("X1", 62), ("2", 64)]);
        assert_eq!(again.beside(4, 4).as_deref(), Some("1 in print, 2nd time"));
    }

    #[test]
    fn what_is_printed_as_it_is_counted_is_not_said() {
        let piece = piece(&[("1", 60), ("2", 60), ("3", 60)]);
        assert_eq!((piece.count(), piece.differs(), piece.beside(1, 3)), (3, false, None));
        assert_eq!(["1", "12a", "X1", ""].map(value), [Some(1), Some(12), None, None]);
        assert_eq!(
            [1, 2, 3, 4, 11, 12, 13, 21, 22].map(nth).join(" "),
            "1st 2nd 3rd 4th 11th 12th 13th 21st 22nd"
        );
    }
}
