//! A piece that is rendered from a cut is the piece of the whole.

#![allow(clippy::unwrap_used)]

#[allow(dead_code)]
mod common;

use common::{Draw, LINES, Line, tune};
use ripieno_music::{ChairPerformance, Sung, Syllable, SyllablePlace};
use ripieno_sound::{Manner, Options, cut, phrases, render};
use ripieno_units::Seconds;

const OPTIONS: Options = Options { sample_rate: 48_000, tuning: 440.0, seed: 3, manner: Manner::Living };

const MORE: &[Line] = &[
    ("vibraphone", 1, 60, 20, 1, "sustain"),
    ("vibraphone", 1, 60, 6, 1, "staccato"),
    ("tam-tam", 1, 60, 8, 1, "sustain"),
    ("snare-drum", 1, 38, 8, 1, "roll"),
    ("suspended-cymbal", 1, 49, 8, 1, "sustain"),
    ("mark-tree", 1, 60, 8, 1, "sustain"),
    ("tambourine", 1, 54, 8, 1, "roll"),
    ("marimba", 1, 48, 24, 1, "tremolo"),
    ("celesta", 1, 72, 20, 2, "sustain"),
    ("organ", 1, 48, 30, 3, "legato"),
    ("viola", 10, 50, 14, 1, "tremolo"),
];

/// The highest difference of the pieces from the whole, dB below the whole's peak; and the share of gestures that they needed.
fn worst(chair: &ChairPerformance, length: f64, seconds: f64) -> (f64, f64) {
    let whole = render(chair, &OPTIONS, Seconds(-0.5), Seconds(seconds));
    let peak = whole.iter().fold(0.0_f32, |a, x| a.max(x.abs()));
    assert!(peak > 1e-6);
    let all = phrases(chair);
    let (mut most, mut used, mut count) = (0.0_f32, 0, 0);
    let mut from = -0.5;
    while from + length <= seconds {
        let some = cut(chair, &all, Seconds(from), Seconds(from + length));
        used += some.gestures.len();
        count += chair.gestures.len();
        let piece = render(&some, &OPTIONS, Seconds(from), Seconds(from + length));
        let at = ((from + 0.5) * 48_000.0 + 0.5) as usize;
        let n = piece.len().min(whole.len() - at);
        most = piece[..n].iter().zip(&whole[at..]).fold(most, |m, (a, b)| m.max((a - b).abs()));
        from += length;
    }
    (f64::from(20.0 * (most / peak).max(1e-9).log10()), f64::from(used as u32) / f64::from(count as u32))
}

#[test]
fn pieces_are_those_of_the_whole() {
    for line in LINES.iter().chain(MORE) {
        let mut chair = tune(line, 16.0, 5, Draw::AsWritten);
        if line.0 == "piano" {
            chair.pedal = vec![(Seconds(2.0), Seconds(4.1)), (Seconds(8.0), Seconds(11.3))];
        }
        let (db, share) = worst(&chair, 1.5, 16.0);
        assert!(db < -85.0, "{line:?}: {db:.1} dB");
        println!("{} {}: {db:.1} dB, {:.0} % of the gestures", line.0, line.5, 100.0 * share);
    }
}

#[test]
fn what_is_sung_is_the_same_in_pieces() {
    let mut chair = tune(&("choir-sopranos", 12, 62, 12, 1, "legato"), 12.0, 8, Draw::AsWritten);
    for (i, gesture) in chair.gestures.iter_mut().enumerate() {
        let text = ["sing", "to", "stars", "past"][i % 4].to_string();
        let syllable = Syllable { text, place: SyllablePlace::Single, extends: false, verse: 1 };
        let (onset, end) = (gesture.onset.0, gesture.end.0);
        gesture.sung = Some(Sung { syllable, consonant: Seconds(onset - 0.12), coda: Seconds(end - 0.08) });
    }
    let (db, _) = worst(&chair, 1.0, 12.0);
    assert!(db < -85.0, "{db:.1} dB");
}

/// A change in the first half leaves the pieces of the second half as they were.
#[test]
fn a_change_is_heard_where_it_is_and_no_further() {
    let mut compared = 0;
    for line in LINES {
        let chair = tune(line, 16.0, 5, Draw::AsWritten);
        let mut other = chair.clone();
        let early = |g: &ripieno_music::Gesture| g.onset.0 < 4.0;
        other.gestures.retain(|g| !early(g) || g.key % 2 == 0);
        assert_ne!(chair.gestures.len(), other.gestures.len(), "{line:?}");
        let late = |c: &ChairPerformance| cut(c, &phrases(c), Seconds(14.0), Seconds(15.0));
        // What rings so long is changed to there.
        if !late(&chair).gestures.iter().any(early) {
            assert_eq!(late(&chair), late(&other), "{line:?}");
            compared += 1;
        }
        let (early_from, early_to) = (Seconds(1.0), Seconds(3.0));
        let at = |c: &ChairPerformance| cut(c, &phrases(c), early_from, early_to);
        assert_ne!(at(&chair), at(&other), "{line:?}");
    }
    assert!(compared >= 10, "{compared}");
}
