//! House rules that no compiler checks.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

fn root() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../..")
}

fn files(folder: &Path, ending: &str, found: &mut Vec<PathBuf>) {
    for entry in std::fs::read_dir(folder).unwrap().flatten() {
        let path = entry.path();
        let name = entry.file_name().to_string_lossy().into_owned();
        if path.is_dir() && !name.starts_with('.') && !name.starts_with("target") {
            files(&path, ending, found);
        } else if name.ends_with(ending) {
            found.push(path);
        }
    }
}

/// Crate -> the crates of ours that it may depend on (the layers of ARCHITECTURE.md).
const LAYERS: &[(&str, &[&str])] = &[
    ("units", &[]),
    ("music", &["units"]),
    ("instruments", &["units"]),
    ("transform", &[]),
    ("signal", &["units", "transform"]),
    ("timing", &["units", "music"]),
    ("plan", &["units", "music", "instruments", "timing"]),
    ("formats", &["units", "music"]),
    ("casting", &["units", "music", "instruments", "plan"]),
    ("performance", &["units", "music", "instruments"]),
    ("patches", &["units", "music", "plan", "formats"]),
    ("handwork", &["units", "formats"]),
    ("sound", &["units", "music", "instruments", "signal"]),
    ("hall", &["units", "signal", "transform"]),
    ("mix", &["units", "signal"]),
    ("discovery", &["units", "music", "instruments"]),
    ("hearing", &["units"]),
    ("picture", &["units", "music"]),
    ("delivery", &["units", "music", "formats", "plan"]),
    ("page", &["music", "plan", "picture", "cue", "report"]),
    ("report", &["music", "plan", "picture", "cue"]),
    ("notation", &["units", "music", "instruments"]),
    ("readthrough", &["units", "music", "instruments", "plan", "hearing"]),
];

#[test]
fn stages_keep_to_their_layers() {
    let layers: BTreeMap<&str, &[&str]> = LAYERS.iter().copied().collect();
    for (name, allowed) in layers {
        let manifest = std::fs::read_to_string(root().join("crates").join(name).join("Cargo.toml")).unwrap();
        let dependencies = manifest.split("[dependencies]").nth(1).unwrap();
        let dependencies = dependencies.split("\n[").next().unwrap();
        for line in dependencies.lines() {
            if let Some(other) = line.strip_prefix("ripieno-") {
                let other = other.split(['.', ' ', '=']).next().unwrap();
                assert!(allowed.contains(&other), "{name} may not depend on {other}");
            }
        }
    }
}

#[test]
fn every_source_file_says_what_it_is_and_stays_readable() {
    let mut sources = Vec::new();
    files(&root().join("crates"), ".rs", &mut sources);
    assert!(sources.len() > 60);
    for path in sources {
        let text = std::fs::read_to_string(&path).unwrap();
        assert!(text.starts_with("//!"), "{}: begin with a `//!` comment", path.display());
        let lines = text.lines().count();
        let checks = path.components().any(|c| c.as_os_str() == "tests");
        assert!(lines <= 600 || checks || text.contains("// table"), "{}: {lines} lines", path.display());
    }
}

#[test]
fn no_machine_paths_and_no_test_instruments_in_the_product() {
    let mut texts = Vec::new();
    for ending in [".rs", ".md", ".toml", ".py", ".tsv"] {
        files(&root(), ending, &mut texts);
    }
    // Put together here, so that this file does not name them either.
    let machine = ["root", "work", "farm"].map(|folder| ["/", folder, "/"].concat());
    for path in texts.iter().filter(|p| !p.ends_with("tests/program/tidy.rs")) {
        let text = std::fs::read_to_string(path).unwrap();
        for word in &machine {
            assert!(!text.contains(word), "{}: names a path of one machine", path.display());
        }
        let product = path.components().any(|c| c.as_os_str() == "src");
        for tool in ["music21", "pretty_midi", "fluidsynth"] {
            assert!(!(product && text.contains(tool)), "{}: names {tool}", path.display());
        }
    }
}
