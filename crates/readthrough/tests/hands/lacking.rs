//! Lacking notes: whistles by key, natural brass, bells and bars.

use crate::common::{World, cases, note, rules};
use proptest::prelude::*;
use ripieno_instruments::{Having, whistle_of};
use ripieno_music::{Edit, Finding, Note, Severity, Spelling};
use ripieno_plan::Kit;
use ripieno_readthrough::solve::lacking;

fn tune(keys: &[i16]) -> Vec<Note> {
    keys.iter().enumerate().map(|(i, k)| note(4 * i as i64, 4, *k)).collect()
}

fn with_key(id: &str, key: &str, notes: Vec<Note>) -> Vec<Finding> {
    let kit = Kit { chair: "w".into(), key: Some(key.into()), ..Kit::default() };
    World::one("w", id, 1, 90.0, notes, vec![]).kit(kit).found(lacking::check)
}

#[test]
fn which_whistle_would_have_it() {
    // G major with its C natural: a whistle in D has it. F major has B flat and F natural: one in F, or in C.
    let g = tune(&[67, 69, 71, 72, 74, 76, 78, 79]);
    assert!(World::one("w", "low-whistle", 1, 90.0, g, vec![]).found(lacking::check).is_empty());
    let f = tune(&[65, 67, 69, 70, 72, 74, 76, 77, 65]);
    let found = World::one("w", "low-whistle", 1, 90.0, f.clone(), vec![]).found(lacking::check);
    assert_eq!(rules(&found), [("whistle-key", 1)]);
    assert!(found[0].message.contains("F4, Bb4 and F5 only with half a hole"), "{}", found[0].message);
    let change = found[0].change.clone().unwrap();
    let Edit::Kit { chair, key, value } = &change.edits[0] else { panic!("{change}") };
    assert_eq!((chair.as_str(), key.as_str()), ("w", "key"));
    // The change settles it.
    assert!(with_key("low-whistle", value.trim_matches('"'), f.clone()).is_empty());
    assert!(with_key("low-whistle", "F", f).is_empty());
}

#[test]
fn keys_in_turn_and_no_key_at_all() {
    // E flat major, four bars of rest, then A major with its low A.
    let mut notes = tune(&[63, 65, 67, 68, 70, 72, 74, 75]);
    notes.extend(
        [69i16, 71, 73, 74, 76, 78, 80, 81].iter().enumerate().map(|(i, k)| note(96 + 4 * i as i64, 4, *k)),
    );
    let found = World::one("w", "low-whistle", 1, 90.0, notes, vec![]).found(lacking::check);
    assert_eq!(rules(&found), [("whistle-key", 1)]);
    assert!(
        found[0].remedy.contains("in Eb from bar 1 and in ") && found[0].remedy.contains("from bar 7"),
        "{}",
        found[0].remedy
    );
    // All twelve notes.
    let chromatic: Vec<i16> = (69..82).collect();
    let found = World::one("w", "low-whistle", 1, 90.0, tune(&chromatic), vec![]).found(lacking::check);
    assert_eq!((found[0].severity, found[0].change.clone()), (Severity::Impossible, None));
    assert!(found[0].remedy.starts_with("No key"), "{}", found[0].remedy);
}

proptest! {
    #![proptest_config(cases(200))]

    /// What the change says is true, and it is offered whenever some key has everything.
    #[test]
    fn a_change_of_key_settles_the_finding(keys in prop::collection::vec(58u8..94, 1..24), now in 0usize..9) {
        let whistle = whistle_of("low-whistle").unwrap();
        let tune: Vec<Note> = keys.iter().enumerate().map(|(i, k)| note(i as i64, 1, i16::from(*k))).collect();
        let has = |low: u8| keys.iter().all(|k| whistle.having(low, *k) <= Having::Forked);
        let found = with_key("low-whistle", &whistle.keys[now].0, tune.clone());
        prop_assert_eq!(found.is_empty(), has(whistle.keys[now].1));
        if let Some(finding) = found.first() {
            prop_assert_eq!(finding.change.is_some(), whistle.keys.iter().any(|k| has(k.1)));
            if let Some(Edit::Kit { value, .. }) = finding.change.as_ref().map(|c| &c.edits[0]) {
                prop_assert!(with_key("low-whistle", value.trim_matches('"'), tune).is_empty());
            }
        }
    }

    #[test]
    fn nothing_panics_whatever_is_written(
        keys in prop::collection::vec(-20i16..150, 0..24),
        key in "\\PC{0,6}",
        id in prop::sample::select(vec!["tin-whistle", "pipes-chanter", "natural-horn", "natural-trumpet", "crotales", "tubular-bells"]),
    ) {
        for finding in with_key(id, &key, tune(&keys)) {
            prop_assert!(!finding.message.is_empty() && !finding.remedy.is_empty() && !finding.source.is_empty());
        }
    }
}

#[test]
fn the_key_may_stand_in_the_name() {
    let mut world = World::one("w", "tin-whistle", 1, 90.0, tune(&[72, 74, 76, 77, 79]), vec![]);
    assert!(!world.found(lacking::check).is_empty());
    world.chairs[0].name = Some("Tin whistle in C".into());
    assert!(world.found(lacking::check).is_empty());
}

#[test]
fn natural_horns_and_trumpets() {
    // A horn in F: the open chord, then B3, a semitone under a harmonic.
    let open = tune(&[41, 48, 53, 57, 60, 65, 67, 69, 72]);
    assert!(with_key("natural-horn", "F", open).is_empty());
    let found = with_key("natural-horn", "F", tune(&[53, 59, 60]));
    assert_eq!((found[0].rule, found[0].severity), ("lacks-note", Severity::Advice));
    assert!(
        found[0].message.contains("in F, B3 is only with the hand in the bell, muffled"),
        "{}",
        found[0].message
    );
    // The chord of C on a trumpet in D: one in C has it.
    let found = with_key("natural-trumpet", "D", tune(&[60, 64, 67, 72]));
    // C4 is no harmonic of D2; C5 is its seventh, flat.
    let grave: Vec<Severity> = found.iter().map(|f| f.severity).collect();
    assert_eq!(grave, [Severity::Hard, Severity::Advice]);
    let Some(Edit::Kit { value, .. }) = found[0].change.as_ref().map(|c| c.edits[0].clone()) else {
        panic!("{found:?}")
    };
    assert!(with_key("natural-trumpet", value.trim_matches('"'), tune(&[60, 64, 67, 72])).is_empty());
    // No crook is known: nothing is said.
    assert!(World::one("h", "natural-horn", 1, 90.0, tune(&[54]), vec![]).found(lacking::check).is_empty());
    // Written C4 that sounds D4 is a trumpet in D: F4 is no harmonic of it.
    let mut notes = tune(&[62, 65]);
    notes[0].written = Some(Spelling { step: 0, alter: 0, octave: 4 });
    notes[1].written = Some(Spelling { step: 2, alter: -100, octave: 4 });
    let found = World::one("t", "natural-trumpet", 1, 90.0, notes, vec![]).found(lacking::check);
    assert_eq!(found.iter().map(|f| (f.rule, f.beat)).collect::<Vec<_>>(), [("lacks-note", 2.0)]);
    assert!(found[0].message.contains("in D, F4 is no harmonic of the tube"), "{}", found[0].message);
}

#[test]
fn bells_and_bars() {
    let bells =
        |keys: &[i16]| World::one("b", "tubular-bells", 1, 90.0, tune(keys), vec![]).found(lacking::check);
    assert!(bells(&[60, 65, 77]).is_empty());
    let large = bells(&[60, 79]);
    assert_eq!((large[0].rule, large[0].severity), ("lacks-note", Severity::Advice));
    assert!(large[0].message.contains("G5 is on large sets only"), "{}", large[0].message);
    let low = bells(&[55, 59]);
    assert_eq!(low[0].severity, Severity::Impossible);
    assert_eq!(low[0].remedy, "Play the passage 8va");
    let Some(Edit::Cell { text, .. }) = low[0].change.as_ref().map(|c| c.edits[0].clone()) else {
        panic!("{low:?}")
    };
    assert_eq!(text, "as written 8va");
    // Where the others are right they stay; each note that lacks has its own octave.
    let two = bells(&[59, 81, 65, 67, 69, 72, 74, 76]);
    assert!(two[0].message.contains("B3 and A5 are not there"), "{}", two[0].message);
    assert_eq!(two[0].remedy, "Write B3 an octave up (B4) and A5 an octave down (A4)");
    assert_eq!(two[0].change, None);
    // The second bar alone goes up, after a leap; the first, which is right, stays.
    let bar = bells(&[72, 74, 76, 77, 55, 57, 59, 58]);
    assert_eq!(bar[0].remedy, "Play bar 2 8va");
    let Some(Edit::Cell { text, .. }) = bar[0].change.as_ref().map(|c| c.edits[0].clone()) else {
        panic!("{bar:?}")
    };
    assert_eq!(text, "as written; from 2 as written 8va");
    // In the middle of a run it does not.
    let run = bells(&[65, 64, 62, 60, 59, 57, 59, 60]);
    assert!(run[0].change.is_none() && run[0].remedy.starts_with("Write A3 an octave up"), "{run:?}");
    assert!(bells(&[20, 77]).iter().any(|f| f.remedy.starts_with("No remedy found")));
    // A dulcimer without E flat.
    let dulcimer =
        World::one("d", "hammered-dulcimer", 1, 90.0, tune(&[62, 63, 64]), vec![]).found(lacking::check);
    assert_eq!((dulcimer[0].severity, dulcimer[0].beat), (Severity::Advice, 2.0));
    assert!(lacking::covers("crotales") && lacking::covers("low-whistle") && !lacking::covers("violin"));
}
