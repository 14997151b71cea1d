//! Which stretch a breath is missing from, and the places that are offered.

use crate::bench::*;
use proptest::prelude::*;
use ripieno_music::{Dynamic, Finding, Note, Severity};
use ripieno_units::Beats;

/// Makes the change of a finding; nothing is short of air then.
fn settled(mut cue: Cue, finding: &Finding) {
    cue.apply(finding.change.as_ref().unwrap());
    assert!(cue.rule("breath").is_empty(), "{:?}", cue.rule("breath"));
}

fn ff(instrument: &str, tempo: f64, notes: Vec<Note>) -> Cue {
    Cue::of(instrument, 1, tempo, notes, vec![mark(0, Dynamic::Ff)])
}

#[test]
fn the_run_is_named_and_not_its_last_notes() {
    // 10 s of semiquavers without a slur at ff, on a flute with air for 7: gone in the fourth bar of 2 s.
    let run: Vec<(i16, (i64, i64))> = (0..80).map(|i| (72 + (i % 7), (1, 4))).collect();
    let cue = ff("flute", 120.0, line(&run));
    let found = cue.rule("breath");
    let finding = one(&found, Severity::Hard);
    assert_eq!((finding.bar, finding.to_bar), (1, 4), "{finding:?}");
    assert!(
        finding.message.starts_with("Bars 1 to 4 (7.")
            && finding
                .message
                .ends_with("leave no time for a breath: the air of a full one is gone in bar 4"),
        "{}",
        finding.message
    );
    assert!(!finding.message.contains("slur"), "{}", finding.message);
    // One breath is enough, at a barline.
    assert!(
        [
            "bar 3, beat 1, leaving a short note out for it;",
            "bar 4, beat 1, leaving a short note out for it;"
        ]
        .iter()
        .any(|p| finding.remedy.starts_with(&format!("Breathe before {p}"))),
        "{}",
        finding.remedy
    );
    settled(cue, finding);
}

#[test]
fn a_run_without_end_is_one_finding() {
    let run: Vec<(i16, (i64, i64))> = (0..256).map(|i| (72 + (i % 7), (1, 4))).collect();
    let cue = ff("flute", 120.0, line(&run));
    let found = cue.rule("breath");
    let finding = one(&found, Severity::Hard);
    assert!(finding.message.contains("and again by bar 1"), "{}", finding.message);
    settled(cue, finding);
}

#[test]
fn slurs_are_parted_last() {
    // Slurs of three semiquavers from the second on: their ends lie nowhere on a barline but every third.
    let run: Vec<(i16, (i64, i64))> = (0..80).map(|i| (72 + (i % 7), (1, 4))).collect();
    let mut notes = line(&run);
    for (i, note) in notes.iter_mut().enumerate() {
        (note.slurred, note.slurs_on) = (i % 3 != 1, i % 3 != 0);
    }
    notes[0].slurred = false;
    let starts: Vec<f64> = notes.iter().filter(|n| !n.slurred).map(|n| n.at.quarters()).collect();
    let cue = ff("flute", 120.0, notes);
    let found = cue.rule("breath");
    let finding = one(&found, Severity::Hard);
    assert!(!finding.remedy.contains("inside"), "{}", finding.remedy);
    let told = finding.remedy.strip_prefix("Breathe before bar ").unwrap();
    let mut numbers = told.split(", beat ").flat_map(|t| t.split(',')).map(str::trim);
    let bar: i32 = numbers.next().unwrap().parse().unwrap();
    let beat: f64 = numbers.next().unwrap().parse().unwrap();
    assert!(starts.contains(&(4.0 * f64::from(bar - 1) + beat - 1.0)), "{}", finding.remedy);
    assert!(finding.bar <= bar && bar <= finding.to_bar, "{finding:?}");
    settled(cue, finding);
}

#[test]
fn one_slur_is_measured_whole() {
    // Two bars of 3 s under one slur, on an instrument with air for 4.1 s.
    let notes = slur(line(&[(50, (1, 1)); 8]));
    let cue = ff("bass-trombone", 80.0, notes);
    let found = cue.rule("breath");
    let finding = one(&found, Severity::Hard);
    assert!(
        finding
            .message
            .starts_with("A slur of 6.0 s at ff in bars 1 to 2 is 1.5 times as long as a full breath"),
        "{}",
        finding.message
    );
    assert!(
        finding.remedy.starts_with("Breathe before bar 2, beat 1 (inside a slur);"),
        "{}",
        finding.remedy
    );
    settled(cue, finding);
}

#[test]
fn a_longer_breath_after_a_long_note() {
    // 6 s, the end of a note with time for a breath, and 6 s of semiquavers: three quarters of a breath are not enough.
    let mut notes = vec![(74, (12, 1))];
    notes.extend((0..48).map(|i| (72 + (i % 7), (1, 4))));
    let cue = ff("flute", 120.0, line(&notes));
    let found = cue.rule("breath");
    let finding = one(&found, Severity::Advice);
    assert!(finding.message.contains("with quick ones the air is gone in bar 6"), "{}", finding.message);
    assert!(!finding.message.contains("note long enough"), "{}", finding.message);
    assert!(finding.remedy.starts_with("Take a longer breath before bar 4, beat 1;"), "{}", finding.remedy);
    settled(cue, finding);
}

/// Bars of 3.45 s: two notes of two bars for low brass with air for 4.1 s.
fn held_brass() -> Cue {
    ff("bass-trombone", 69.5, line(&[(44, (8, 1)), (43, (8, 1))]))
}

#[test]
fn held_notes_take_no_more_breaths_than_they_need() {
    let cue = held_brass();
    let found = cue.rule("breath");
    let finding = one(&found, Severity::Hard);
    assert!(
        finding
            .message
            .starts_with("Ab2 is held for 6.9 s at ff, 1.7 times as long as a full breath lasts there"),
        "{}",
        finding.message
    );
    assert!(finding.message.ends_with("G2 in bar 3 is too long as well"), "{}", finding.message);
    assert_eq!((finding.bar, finding.to_bar), (1, 4));
    // Once a bar, and at the change of note.
    assert!(
        finding.remedy.starts_with("Breathe before bar 2, beat 1; bar 3, beat 1 and bar 4, beat 1;"),
        "{}",
        finding.remedy
    );
    assert!(finding.remedy.contains("softer, at f a full breath lasts about"), "{}", finding.remedy);
    settled(cue, finding);
}

#[test]
fn far_beyond_a_breath_is_impossible_without_a_hedge() {
    let cue = ff("flute", 60.0, line(&[(74, (16, 1))]));
    let found = cue.rule("breath");
    let finding = one(&found, Severity::Impossible);
    assert!(finding.message.contains("2.3 times as long as"), "{}", finding.message);
    assert!(!finding.remedy.contains("own judgement"), "{}", finding.remedy);
    assert!(finding.remedy.ends_with("lungs differ, but not by so much"), "{}", finding.remedy);
}

#[test]
fn a_neighbour_of_the_same_instrument_is_asked_first() {
    let same = held_brass().beside("Second", "bass-trombone", line(&[(44, (8, 1)), (43, (8, 1))]));
    for finding in same.rule("breath") {
        assert_eq!(finding.severity, Severity::Advice);
        assert!(finding.remedy.starts_with("Breathe in turn with "), "{}", finding.remedy);
    }
    assert_eq!(same.rule("breath").len(), 2);
    // Rests for four bars.
    let resting = held_brass().beside("Second", "bass-trombone", line(&[(0, (16, 1)), (44, (1, 1))]));
    let found = resting.rule("breath");
    assert!(
        one(&found, Severity::Hard)
            .remedy
            .starts_with("Let Second, who rests there, take turns; or breathe before"),
        "{found:?}"
    );
    // Has notes of its own.
    let busy = held_brass().beside("Second", "bass-trombone", line(&[(48, (1, 1)); 16]));
    let found = busy.rule("breath");
    assert!(one(&found, Severity::Hard).remedy.starts_with("Breathe before"), "{found:?}");
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 300, failure_persistence: None, ..ProptestConfig::default() })]
    #[test]
    fn what_is_offered_settles_it(
        notes in prop::collection::vec(
            (prop::sample::select(vec![0i16, 50, 51, 53, 55, 58]),
             prop::sample::select(vec![(1i64, 4i64), (1, 2), (1, 1), (3, 2), (2, 1), (6, 1)]), any::<bool>()),
            8..60),
        instrument in prop::sample::select(vec!["bass-trombone", "bassoon", "horn"]),
        tempo in 60.0..160.0f64,
    ) {
        let mut all = line(&notes.iter().map(|(k, l, _)| (*k, *l)).collect::<Vec<_>>());
        for i in 1..all.len() {
            let joins = notes[i % notes.len()].2 && all[i - 1].end() == all[i].at;
            (all[i - 1].slurs_on, all[i].slurred) = (joins, joins);
        }
        let mut cue = ff(instrument, tempo, all);
        let found = cue.rule("breath");
        for finding in &found {
            prop_assert!(finding.change.is_some(), "{:?}", finding);
            // Every place lies within the bars that are named.
            for place in finding.remedy.split("bar ").skip(1) {
                let bar: i32 = place.split(',').next().unwrap().parse().unwrap();
                prop_assert!(finding.bar <= bar && bar <= finding.to_bar, "{:?}", finding);
            }
        }
        // Changes of one cell, each made from the cell as it is. A comma ends a phrase, which moves the swell of the performance and
        // so, a little, what the notes take: now and then one more is needed.
        for _ in 0..found.len() + 2 {
            if let Some(change) = cue.rule("breath").first().and_then(|f| f.change.clone()) {
                cue.apply(&change);
            }
        }
        prop_assert!(cue.rule("breath").is_empty(), "{:?}", cue.rule("breath"));
    }
}

#[test]
fn a_melisma_is_told_where_it_begins() {
    // Sixteen bars of separate notes, then one slur of thirty seconds.
    let mut notes = line(&[(72, (2, 1)); 32]);
    let melisma: Vec<(i16, (i64, i64))> = (0..32).map(|i| (72 + (i % 5), (1, 1))).collect();
    let mut slurred = slur(line(&melisma));
    slurred.iter_mut().for_each(|n| n.at += Beats::whole(64));
    notes.extend(slurred);
    let found = Cue::of("solo-soprano", 1, 60.0, notes, vec![]).rule("breath");
    assert_eq!(found[0].bar, 17, "{found:?}");
    assert!(found[0].message.starts_with("A slur of 32 s"), "{}", found[0].message);
}

#[test]
fn between_long_separate_notes_one_breathes_untold() {
    let tuba = |lengths: &[(i64, i64)]| {
        let notes: Vec<_> = lengths.iter().map(|l| (31, *l)).collect();
        ff("tuba", 80.0, line(&notes)).rule("breath")
    };
    // Semibreves of three seconds at ff.
    assert!(tuba(&[(4, 1); 8]).is_empty(), "{:?}", tuba(&[(4, 1); 8]));
    assert!(!tuba(&[(8, 1); 4]).is_empty());
}
