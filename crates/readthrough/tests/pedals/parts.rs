//! The rules on parts: small ones written here, and harps and timpani of real scores where the folder of scores stands beside.

use crate::round::Round;
use ripieno_music::{Finding, Metre, Note, Spelling, Timeline};
use ripieno_plan::Kit;
use ripieno_readthrough::solve;
use ripieno_units::Beats;
use std::path::{Path, PathBuf};
use std::time::Instant;

fn timeline(bars: usize) -> Timeline {
    Timeline::regular(bars, Metre { beats: 4, unit: 4 }, 120.0)
}

/// Notes as (quarters, length, key).
fn notes(all: &[(f64, f64, i16)]) -> Vec<Note> {
    all.iter()
        .map(|(at, length, key)| Note::plain(Beats::approximate(*at), Beats::approximate(*length), *key))
        .collect()
}

fn spelled(mut note: Note, step: u8, alter: i16) -> Note {
    note.written = Some(Spelling { step, alter, octave: 4 });
    note
}

fn rules(findings: &[Finding]) -> Vec<&str> {
    findings.iter().map(|f| f.rule).collect()
}

#[test]
fn a_letter_that_changes_at_once_may_be_respelled() {
    // F, F sharp a tenth of a second later: as G flat it is another string.
    let two = vec![
        spelled(Note::plain(Beats::ZERO, Beats::new(1, 5), 65), 3, 0),
        spelled(Note::plain(Beats::new(1, 5), Beats::whole(1), 66), 3, 100),
    ];
    let round = Round::one("harp", timeline(4), two);
    let findings = solve::check(&round.table());
    assert_eq!(rules(&findings), ["harp-pedals"]);
    assert!(findings[0].message.contains("0.10 s after F natural;"), "{}", findings[0].message);
    assert_eq!(findings[0].change.as_ref().unwrap().to_string(), "[kit.harp] spelling = \"free\"");
    // The change does what it says.
    let kit = Kit { chair: "harp".into(), free_spelling: Some(true), ..Kit::default() };
    let round = round.with_kit(kit);
    assert!(solve::check(&round.table()).is_empty());
    let charts = solve::charts(&round.table());
    // F and G flat, or E sharp and F sharp: both rest on two strings.
    let lines = charts.pedals[0].lines();
    let either = ["at the start: D C B | E F Gb A", "at the start: D C B | E# F# G A"];
    assert!(lines.len() == 1 && either.contains(&lines[0].as_str()), "{lines:?}");
}

#[test]
fn a_change_with_time_is_charted_on_a_beat() {
    // C at the start, C sharp and B flat in bar 3.
    let three = vec![
        spelled(Note::plain(Beats::ZERO, Beats::whole(1), 60), 0, 0),
        spelled(Note::plain(Beats::whole(1), Beats::whole(1), 71), 6, 0),
        spelled(Note::plain(Beats::whole(8), Beats::whole(1), 61), 0, 100),
        spelled(Note::plain(Beats::whole(8), Beats::whole(1), 70), 6, -100),
    ];
    let round = Round::one("harp", timeline(4), three);
    assert!(solve::check(&round.table()).is_empty());
    let charts = solve::charts(&round.table());
    let lines = charts.pedals[0].lines();
    // One foot, half a second each: on beats 3 and 4 of the bar before, in either order.
    assert_eq!(lines[0], "at the start: D C B | E F G A");
    assert_eq!(lines.len(), 3, "{lines:?}");
    assert!(lines[1].starts_with("bar 2, beat 3: ") && lines[2].starts_with("bar 2, beat 4: "), "{lines:?}");
}

#[test]
fn low_strings_without_pedal_have_one_tuning() {
    // C sharp 1 alone: preset. C1 and C sharp 1: one of them has no string.
    let one = Round::one("harp", timeline(4), notes(&[(0.0, 1.0, 25), (8.0, 1.0, 25)]));
    assert!(solve::check(&one.table()).is_empty());
    let two = Round::one("harp", timeline(4), notes(&[(0.0, 1.0, 24), (4.0, 1.0, 23), (8.0, 1.0, 24)]));
    assert_eq!(rules(&solve::check(&two.table())), ["harp-fixed-strings"]);
}

#[test]
fn chords_lie_in_two_hands_and_strings_rest_between_plucks() {
    let nine: Vec<(f64, f64, i16)> =
        [48, 50, 52, 53, 55, 57, 59, 60, 62].iter().map(|k| (0.0, 4.0, *k)).collect();
    let found = solve::check(&Round::one("harp", timeline(4), notes(&nine)).table());
    assert_eq!(rules(&found), ["harp-span"]);
    assert!(found[0].remedy.starts_with("leave out "), "{}", found[0].remedy);
    // D has one string, D flat two: with pairs eight a second can be had.
    let again = |key: i16| (0..6).map(|i| (f64::from(i) * 0.25, 0.25, key)).collect::<Vec<_>>();
    let found = solve::check(&Round::one("harp", timeline(4), notes(&again(62))).table());
    assert_eq!(rules(&found), ["harp-repeat"]);
    assert!(found[0].message.contains("6 times"), "{}", found[0].message);
    assert!(solve::check(&Round::one("harp", timeline(4), notes(&again(61))).table()).is_empty());
}

#[test]
fn a_fifth_drum_is_asked_for_where_it_helps() {
    // Five pitches in turn, at once again: four drums are too few.
    let keys = [41, 45, 48, 52, 57];
    let turns: Vec<(f64, f64, i16)> = (0..20).map(|i| (f64::from(i), 1.0, keys[i as usize % 5])).collect();
    let round = Round::one("timpani", timeline(6), notes(&turns));
    let findings = solve::check(&round.table());
    let retune = findings.iter().find(|f| f.rule == "timpani-retune").expect("four drums are too few");
    let change = retune.change.as_ref().expect("a drum helps").to_string();
    let list = change.strip_prefix("[kit.timpani] drums = [").unwrap().strip_suffix(']').unwrap();
    let drums: Vec<u16> = list.split(", ").map(|d| d.parse().unwrap()).collect();
    assert_eq!(drums.len(), 5);
    let kit = Kit { chair: "timpani".into(), drums: Some(drums), ..Kit::default() };
    let round = round.with_kit(kit);
    let after = solve::check(&round.table());
    assert!(!rules(&after).contains(&"timpani-retune"), "{after:?}");
}

#[test]
fn a_note_off_the_set_is_told_with_what_helps() {
    let round = Round::one("timpani", timeline(4), notes(&[(0.0, 1.0, 43), (4.0, 1.0, 60)]));
    let findings = solve::check(&round.table());
    assert_eq!(rules(&findings), ["timpani-range"]);
    assert_eq!(
        findings[0].change.as_ref().unwrap().to_string(),
        "[kit.timpani] drums = [32, 29, 26, 23, 20]"
    );
}

#[test]
fn nonsense_is_survived() {
    let wild: Vec<(f64, f64, i16)> =
        (0..400).map(|i| (f64::from(i / 40) * 0.01, 900.0, (i * 37 % 300 - 80) as i16)).collect();
    for instrument in ["harp", "timpani"] {
        let round = Round::one(instrument, timeline(2), notes(&wild));
        solve::check(&round.table());
        solve::charts(&round.table());
    }
    let kit = Kit { chair: "timpani".into(), drums: Some(vec![7, 99]), ..Kit::default() };
    let round = Round::one("timpani", timeline(2), notes(&wild)).with_kit(kit);
    assert!(solve::charts(&round.table()).tunings.is_empty());
    assert!(solve::check(&Round::one("harp", timeline(1), Vec::new()).table()).is_empty());
}

/// 400 bars of arpeggios, twelve notes a bar, a new chord in each: the time is printed, and has a wide bound.
#[test]
fn a_long_part_takes_a_moment() {
    let chords: [[i16; 4]; 6] =
        [[0, 4, 7, 12], [9, 12, 16, 21], [2, 5, 9, 14], [7, 11, 14, 17], [8, 12, 15, 20], [1, 5, 8, 13]];
    let mut all = Vec::new();
    for bar in 0..400usize {
        for i in 0..12usize {
            let key = 48 + chords[bar % 6][i % 4] + 12 * (i as i16 / 4);
            all.push((bar as f64 * 4.0 + i as f64 / 3.0, 0.3, key));
        }
    }
    let round = Round::one("harp", timeline(400), notes(&all));
    let table = round.table();
    let begun = Instant::now();
    let chart = solve::charts(&table).pedals.remove(0);
    let took = begun.elapsed();
    println!("4,800 notes, {} changes: {took:.0?}", chart.changes.len());
    assert!(chart.changes.iter().all(|c| c.in_time));
    assert!(took.as_secs() < 20);
}

fn scores() -> Option<PathBuf> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../../shared/scores");
    if folder.is_dir() {
        return Some(folder);
    }
    println!("no folder of scores beside the project: not run");
    None
}

fn score(name: &str) -> Option<Round> {
    let bytes = std::fs::read(scores()?.join(name)).unwrap();
    Some(Round::score(&ripieno_formats::read_score(&bytes).unwrap()))
}

/// Timpani of two fixed pitches, as composers wrote before pedals: nothing to find, nothing to retune.
#[test]
fn classical_timpani_stay_as_they_are_tuned() {
    for name in
        ["beethoven-op67-1", "beethoven-op92-2", "haydn-hob104-1", "bruckner-wab105-2", "brahms-op98-3"]
    {
        let Some(round) = score(&format!("{name}.mxl")) else { return };
        let table = round.table();
        assert!(!table.desks.is_empty(), "{name}");
        let findings = solve::check(&table);
        assert!(findings.is_empty(), "{name}: {findings:#?}");
        let charts = solve::charts(&table);
        assert!(charts.tunings.iter().all(|t| t.changes.is_empty()), "{name}");
    }
}

/// A harp part that is played: it may be quick or buzz, and nearly all of it can be done.
#[test]
fn a_real_harp_part_can_be_played() {
    let Some(round) = score("boulanger-matin-de-printemps.mxl") else { return };
    let findings = solve::check(&round.table());
    let impossible: Vec<&Finding> =
        findings.iter().filter(|f| f.severity == ripieno_music::Severity::Impossible).collect();
    assert!(impossible.len() <= 2, "{impossible:#?}");
    assert!(findings.len() < 30);
}

/// The demo cue: whatever cannot be played in it would be a fault of the demo or of the rule.
#[test]
fn the_demo_can_be_played() {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../demo/night-ferry");
    let round = Round::cue(&folder).unwrap();
    let table = round.table();
    assert_eq!(table.desks.len(), 2);
    let findings = solve::check(&table);
    assert!(findings.iter().all(|f| f.severity != ripieno_music::Severity::Impossible), "{findings:#?}");
    let charts = solve::charts(&table);
    assert!(charts.pedals[0].changes.iter().all(|c| c.in_time));
    assert!(charts.tunings[0].changes.iter().all(|c| c.in_time));
}
