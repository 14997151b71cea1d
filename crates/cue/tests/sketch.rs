//! A sketch on the composer's own template: what names a chair is played by it, what names a line waits to be cast.

#![allow(clippy::unwrap_used)]

use ripieno_cue::{Act, Cue, PerformOptions, Workbench, create_with, perform, write_demo, write_midi};
use ripieno_formats::midi::{MidiEvent, MidiFile, MidiTrack};
use std::path::{Path, PathBuf};

/// One note a bar of four, on each track.
fn sketch(folder: &Path, tracks: &[(&str, u8)]) -> PathBuf {
    let notes = |key: u8| {
        (0..8_u64).flat_map(move |bar| {
            let on = MidiEvent::NoteOn { channel: 0, key, velocity: 80 };
            let off = MidiEvent::NoteOff { channel: 0, key, velocity: 0 };
            [(bar * 1920, on), (bar * 1920 + 1900, off)]
        })
    };
    let track = |(name, key): &(&str, u8)| MidiTrack {
        name: (*name).to_string(),
        port: None,
        events: notes(*key).collect(),
    };
    let file = MidiFile { ticks_per_quarter: 480, tracks: tracks.iter().map(track).collect() };
    let path = folder.join("sketch.mid");
    std::fs::write(&path, write_midi(&file)).unwrap();
    path
}

#[test]
fn what_no_chair_plays_is_a_line() {
    let folder = tempfile::tempdir().unwrap();
    write_demo(&folder.path().join("studio")).unwrap();
    let template = folder.path().join("studio/template.toml");
    let tracks = [
        ("Tune", 74),
        ("Pad", 64),
        ("Bass line", 40),
        ("Trumpet 1", 70),
        ("Trumpet in D 2", 67),
        ("Oboe", 72),
    ];
    let music = sketch(folder.path(), &tracks);
    let into = folder.path().join("cue");
    let made = create_with(&into, &music, Some(&template)).unwrap();
    let cue = Cue::open(&into).unwrap();
    let lines: Vec<&str> = cue.plan.lines.iter().map(|l| l.name.as_str()).collect();
    for line in ["tune", "pad", "bass-line", "trumpets", "oboe"] {
        assert!(lines.contains(&line), "{line} is not among {lines:?}");
    }
    assert_eq!(made.doubts.len(), 3, "{:?}", made.doubts);
    assert!(made.doubts.iter().all(|d| d.contains("no chair of the template")), "{:?}", made.doubts);
    // Both trumpets are those of the one chair; the bass line is nobody's yet.
    let played = |cue: &Cue| {
        let parts = perform(cue, PerformOptions::default()).parts;
        parts.iter().map(|p| (p.chair.clone(), p.content.notes.len())).collect::<Vec<_>>()
    };
    assert_eq!(played(&cue), [("oboe".to_string(), 8), ("trumpets".to_string(), 16)]);
    let text = std::fs::read_to_string(into.join("cue.toml")).unwrap();
    assert!(text.contains("# to be cast: tune"), "{text}");

    // And then it is cast.
    let mut bench = Workbench::open(&into).unwrap();
    let passage = cue.plan.passages[0].name.clone();
    let cell = |chair: &str, text: &str| Act::Cell {
        passage: passage.clone(),
        chair: chair.into(),
        text: text.into(),
        was: None,
    };
    bench.act(&[cell("violins-1", "tune 8va, legato, p < mf"), cell("basses", "bass-line")]).unwrap();
    let cast = played(bench.cue());
    assert!(
        cast.contains(&("violins-1".to_string(), 8)) && cast.contains(&("basses".to_string(), 8)),
        "{cast:?}"
    );
}
