//! Tessitura, vowels, words, leaps and syllables of voices.

use crate::bench::*;
use ripieno_music::{Finding, Severity};

fn sopranos(notes: &[(i16, (i64, i64))], text: &[&str], tempo: f64, rule: &str) -> Vec<Finding> {
    Cue::of("choir-sopranos", 8, tempo, sung(line(notes), text), vec![]).rule(rule)
}

#[test]
fn a_part_that_lies_high() {
    // The choir's sopranos lie well between E4 and D5 (74).
    let at = |key| sopranos(&[(key, (4, 1)); 12], &["ah"], 60.0, "tessitura");
    assert!(at(74).is_empty());
    let found = at(76);
    assert!(one(&found, Severity::Hard).remedy.contains("own judgement"));
    one(&at(62), Severity::Hard);
    assert!(sopranos(&[(76, (4, 1)); 3], &["ah"], 60.0, "tessitura").is_empty());
}

#[test]
fn a_single_singer_is_spoken_to_as_one() {
    // Eight seconds at the top, beyond what is comfortable for either, forte.
    let high = |instrument: &str, players| {
        let notes = sung(line(&[(83, (8, 1))]), &["ah"]);
        let found = Cue::of(instrument, players, 60.0, notes, vec![]).rule("range-comfort");
        assert_eq!(found.len(), 1, "{instrument}: {found:?}");
        found[0].remedy.clone()
    };
    let (one, many) = (high("solo-soprano", 1), high("choir-sopranos", 8));
    assert!(one.contains("the voice:") && one.contains("singer's own") && !one.contains("few"), "{one}");
    assert!(many.contains("few sing") && many.contains("singers' own"), "{many}");
}

#[test]
fn closed_vowels_at_height() {
    let at = |key, text: &str| sopranos(&[(key, (2, 1))], &[text], 60.0, "vowel-high");
    let found = at(78, "lu");
    assert!(one(&found, Severity::Hard).message.contains("lu"));
    assert!(at(78, "la").is_empty());
    assert!(at(77, "lu").is_empty());
}

#[test]
fn words_above_the_staff() {
    let at = |key, text: &[&str]| sopranos(&[(key, (1, 1)); 4], text, 60.0, "text-high");
    one(&at(79, &["Lord", "have", "mer", "ma"]), Severity::Advice);
    assert!(at(77, &["Lord", "have", "mer", "ma"]).is_empty());
    assert!(at(79, &["ah"]).is_empty());
}

#[test]
fn leaps_of_choirs() {
    let at = |notes: &[(i16, (i64, i64))]| sopranos(notes, &["ah"], 60.0, "leap-sung");
    one(&at(&[(62, (2, 1)), (75, (2, 1))]), Severity::Hard);
    assert!(at(&[(62, (2, 1)), (74, (2, 1))]).is_empty());
    // Into the top: G5 (79) is the end of the comfortable range.
    one(&at(&[(72, (2, 1)), (80, (2, 1))]), Severity::Hard);
    assert!(at(&[(76, (2, 1)), (80, (2, 1))]).is_empty());
    one(&at(&[(74, (2, 1)), (0, (2, 1)), (80, (2, 1))]), Severity::Advice);
    assert!(at(&[(74, (2, 1)), (0, (2, 1)), (79, (2, 1))]).is_empty());
}

#[test]
fn syllables_a_second() {
    let at =
        |a_second: f64, text: &[&str]| sopranos(&[(67, (1, 1)); 16], text, 60.0 * a_second, "syllable-speed");
    assert!(at(5.0, &["a", "b"]).is_empty());
    one(&at(6.0, &["a", "b"]), Severity::Hard);
    one(&at(8.0, &["a", "b"]), Severity::Impossible);
}
