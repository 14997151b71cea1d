//! `docs/json.md` and what `--json` prints name the same keys.

use serde_json::Value;
use std::collections::{BTreeMap, BTreeSet};
use std::path::Path;
use std::process::Command;

/// What the page says of a key: it may be null; it may be missing.
#[derive(Clone, Copy, Debug)]
struct Said {
    null: bool,
    missing: bool,
}

/// The tables under the headings that hold one of the words.
fn documented(words: &[&str]) -> BTreeMap<String, Said> {
    let page = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../docs/json.md");
    let page = std::fs::read_to_string(page).unwrap();
    let mut out = BTreeMap::new();
    for section in page.split("\n## ").filter(|s| words.iter().any(|w| s.lines().next().unwrap().contains(w)))
    {
        for line in section.lines().filter(|l| l.starts_with("| `")) {
            let cell = line.split('|').nth(1).unwrap();
            let rest = cell.rsplit('`').next().unwrap();
            let said = Said { null: rest.contains('?'), missing: rest.contains('*') };
            out.extend(cell.split('`').skip(1).step_by(2).map(|path| (path.to_string(), said)));
        }
    }
    assert!(!out.is_empty(), "{words:?}: no such section");
    out
}

/// Every path of a document with whether it was ever null.
fn paths(value: &Value, at: &str, out: &mut BTreeMap<String, bool>) {
    match value {
        Value::Object(map) => {
            for (key, inner) in map {
                let path = if at.is_empty() { key.clone() } else { format!("{at}.{key}") };
                *out.entry(path.clone()).or_default() |= inner.is_null();
                paths(inner, &path, out);
            }
        }
        Value::Array(list) => {
            let path = format!("{at}[]");
            for inner in list {
                *out.entry(path.clone()).or_default() |= inner.is_null();
                paths(inner, &path, out);
            }
        }
        _ => {}
    }
}

/// Entries of these have the keys of others.
fn spread(of: &mut BTreeMap<String, Said>, from: &str, to: &str) {
    let more: Vec<(String, Said)> = of
        .iter()
        .filter_map(|(path, said)| {
            Some((format!("{to}{}", path.strip_prefix(from)?), Said { missing: true, ..*said }))
        })
        .collect();
    for (path, said) in more {
        of.entry(path).or_insert(said);
    }
}

fn compare(what: &str, documents: &[Value], of: &BTreeMap<String, Said>) {
    let mut found = BTreeMap::new();
    documents.iter().for_each(|d| paths(d, "", &mut found));
    // A list is named by its entries; those of numbers or names alone by the list.
    let known: BTreeSet<&str> = of.keys().flat_map(|p| [p.as_str(), p.trim_end_matches("[]")]).collect();
    let roots: BTreeSet<&str> = of.keys().filter_map(|p| p.rfind('.').map(|i| &p[..i])).collect();
    for (path, null) in &found {
        assert!(
            known.contains(path.as_str()) || roots.contains(path.as_str()),
            "{what}: {path} is not in docs/json.md"
        );
        let said = of.get(path).or_else(|| of.get(&format!("{path}[]")));
        assert!(
            !null || said.is_none_or(|s| s.null),
            "{what}: {path} may be null, and docs/json.md does not say so"
        );
    }
    for (path, said) in of.iter().filter(|(_, s)| !s.missing) {
        let there = found.contains_key(path) || found.contains_key(path.trim_end_matches("[]"));
        assert!(there, "{what}: docs/json.md has {path} ({said:?}), which was not printed");
    }
}

fn run(folder: &Path, words: &[&str]) -> String {
    let done = Command::new(env!("CARGO_BIN_EXE_ripieno")).current_dir(folder).args(words).output().unwrap();
    assert!(done.status.success(), "{words:?}: {}", String::from_utf8_lossy(&done.stderr));
    String::from_utf8(done.stdout).unwrap()
}

fn json(folder: &Path, words: &[&str]) -> Value {
    serde_json::from_str(&run(folder, &[words, &["--json"]].concat())).unwrap()
}

#[test]
fn the_page_names_every_key() {
    let folder = tempfile::tempdir().unwrap();
    let at = folder.path();
    super::older::copy(
        &Path::new(env!("CARGO_MANIFEST_DIR")).join("../../demo/night-ferry"),
        &at.join("ferry"),
    );
    let mut check = documented(&["ripieno check", "The arc"]);
    spread(&mut check, "findings[]", "folded[]");
    spread(&mut check, "findings[]", "accepted[]");
    // A second version, in which a cell is another and a finding is accepted.
    super::older::copy(&at.join("ferry"), &at.join("second"));
    let plan = at.join("second/cue.toml");
    let text = std::fs::read_to_string(&plan).unwrap();
    let first = json(at, &["check", "ferry"]);
    assert!(text.contains("l.v., pp"));
    let text = text.replacen("l.v., pp", "l.v., mf", 1);
    std::fs::write(&plan, &text).unwrap();
    let finding = json(at, &["check", "second"])["findings"][0].clone();
    let accepted = format!(
        "\n[accept]\n\"{}@{}:{}\" = \"it is meant so\"\n",
        finding["rule"].as_str().unwrap(),
        finding["chair"].as_str().unwrap(),
        finding["bar"]
    );
    std::fs::write(&plan, text + &accepted).unwrap();
    let second = json(at, &["check", "second"]);
    assert!(!second["accepted"].as_array().unwrap().is_empty(), "{accepted}");
    compare("check", &[first, second], &check);
    let mut read = documented(&["ripieno read", "The arc"]);
    let through = |path: &str| ["findings[].", "pedals[].", "tunings[]."].iter().any(|p| path.starts_with(p));
    read.extend(check.iter().filter(|(path, _)| through(path)).map(|(path, said)| (path.clone(), *said)));
    spread(&mut read, "findings[]", "folded[]");
    compare("read", &[json(at, &["read", "ferry/night-ferry.musicxml"])], &read);
    compare("perform", &[json(at, &["perform", "ferry"])], &documented(&["ripieno perform"]));
    let mut fit = documented(&["ripieno fit"]);
    spread(&mut fit, "now[]", "proposals[].hits[]");
    compare("fit", &[json(at, &["fit", "ferry"])], &fit);
    compare("compare", &[json(at, &["compare", "ferry", "second"])], &documented(&["ripieno compare"]));
    // The second version's file is the first one's with other velocities.
    run(at, &["perform", "second"]);
    let marks = json(at, &["adopt", "ferry", "second/performed.mid"]);
    assert!(!marks["marks"].as_array().unwrap().is_empty());
    compare("adopt", &[marks, json(at, &["pencil", "ferry"])], &documented(&["ripieno adopt"]));
    compare("hall", &[json(at, &["hall", "ferry"])], &documented(&["ripieno hall"]));
}

/// `manifest` is that of a delivered folder with sound.
pub fn check_manifest(manifest: &Value) {
    compare("manifest", std::slice::from_ref(manifest), &documented(&["manifest.json"]));
}
