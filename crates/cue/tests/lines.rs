//! A line whose track the music does not have: what is to be written, and the change that writes it.

#![allow(clippy::unwrap_used, missing_docs)]

use ripieno_cue::{Cue, PerformOptions, check, perform, take};

#[test]
fn the_track_that_was_meant_is_written_into_its_line() {
    let folder = tempfile::tempdir().unwrap();
    ripieno_cue::write_demo(folder.path()).unwrap();
    let path = folder.path().join("cue.toml");
    let right = std::fs::read_to_string(&path).unwrap();
    let line = "pad       = { track = \"Pad\", voices = 4 } ";
    assert!(right.contains(line));
    let wrong = right.replacen("track = \"Pad\"", "track = \"Padd\"", 1);
    std::fs::write(&path, &wrong).unwrap();
    let found = || {
        let cue = Cue::open(folder.path()).unwrap();
        let checked = check(&cue, &perform(&cue, PerformOptions::default()));
        let finding = checked.findings.iter().find(|f| f.rule == "line-track").cloned();
        finding.map(|f| (checked.name(&f), f))
    };
    let (name, finding) = found().unwrap();
    assert!(finding.remedy.contains("in the line pad: track = \"Pad\""), "{}", finding.remedy);
    assert_eq!(finding.change.as_ref().unwrap().to_string(), "[lines] pad: track = \"Pad\"");
    take(folder.path(), &[name]).unwrap();
    assert_eq!(std::fs::read_to_string(&path).unwrap(), right, "and comments and all else are as they were");
    assert!(found().is_none());
    // Where no name is near, a whole line to begin with.
    std::fs::write(&path, right.replacen("track = \"Pad\"", "track = \"Strings held\"", 1)).unwrap();
    let (_, finding) = found().unwrap();
    assert!(finding.change.is_none() && finding.remedy.contains("track = \"Melody\""), "{}", finding.remedy);
}
