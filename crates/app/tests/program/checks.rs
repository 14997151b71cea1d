//! `read` and `check`: what they find, what can be taken, what is accepted.

use serde_json::Value;
use std::path::Path;
use std::process::{Command, Output};

fn ripieno(folder: &Path, words: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_ripieno")).current_dir(folder).args(words).output().unwrap()
}

fn text(bytes: &[u8]) -> String {
    String::from_utf8_lossy(bytes).into_owned()
}

fn json(output: &Output) -> Value {
    serde_json::from_slice(&output.stdout).unwrap_or_else(|e| panic!("{e}: {}", text(&output.stderr)))
}

/// One part with a note for each number: a MIDI key a crotchet, 0 for a rest, four to a bar.
fn part(id: &str, keys: &[i32]) -> String {
    let mut out = format!("<part id=\"{id}\">");
    for (number, bar) in keys.chunks(4).enumerate() {
        out += &format!("<measure number=\"{}\">", number + 1);
        if number == 0 {
            out += "<attributes><divisions>1</divisions><time><beats>4</beats><beat-type>4</beat-type></time></attributes>";
        }
        for key in bar {
            if *key == 0 {
                out += "<note><rest/><duration>1</duration></note>";
                continue;
            }
            let (step, alter) = [
                ("C", 0),
                ("C", 1),
                ("D", 0),
                ("E", -1),
                ("E", 0),
                ("F", 0),
                ("F", 1),
                ("G", 0),
                ("A", -1),
                ("A", 0),
                ("B", -1),
                ("B", 0),
            ][(*key % 12) as usize];
            out += &format!(
                "<note><pitch><step>{step}</step><alter>{alter}</alter><octave>{}</octave></pitch><duration>1</duration><voice>1</voice><type>quarter</type></note>",
                key / 12 - 1
            );
        }
        out += "</measure>";
    }
    out + "</part>"
}

fn score(parts: &[(&str, &[i32])]) -> String {
    let list: String = (1..)
        .zip(parts)
        .map(|(i, (name, _))| format!("<score-part id=\"P{i}\"><part-name>{name}</part-name></score-part>"))
        .collect();
    let music: String = (1..).zip(parts).map(|(i, (_, keys))| part(&format!("P{i}"), keys)).collect();
    format!(
        "<?xml version=\"1.0\"?><score-partwise version=\"4.0\"><part-list>{list}</part-list>{music}</score-partwise>"
    )
}

const TUNE: [i32; 16] = [67, 69, 71, 72, 74, 72, 71, 69, 67, 71, 74, 76, 74, 72, 71, 67];

fn up(keys: &[i32], by: i32) -> Vec<i32> {
    keys.iter().map(|k| if *k == 0 { 0 } else { k + by }).collect()
}

fn cue(parts: &[(&str, &[i32])]) -> tempfile::TempDir {
    let folder = tempfile::tempdir().unwrap();
    std::fs::write(folder.path().join("piece.musicxml"), score(parts)).unwrap();
    let made = ripieno(folder.path(), &["new", "cue", "--music", "piece.musicxml"]);
    assert!(made.status.success(), "{}", text(&made.stderr));
    folder
}

#[test]
fn read_finds_doublings_passages_and_the_arc_and_writes_nothing() {
    let folder = tempfile::tempdir().unwrap();
    let low = up(&TUNE, -12);
    let thirds = up(&TUNE, 4);
    let music = score(&[("Flute", &up(&TUNE, 12)), ("Violin", &TUNE), ("Viola", &thirds), ("Cello", &low)]);
    std::fs::write(folder.path().join("piece.musicxml"), music).unwrap();
    let done = ripieno(folder.path(), &["read", "piece.musicxml", "--json"]);
    assert!(done.status.success());
    let found = json(&done);
    assert_eq!((found["bars"].as_i64(), found["seconds"].as_f64()), (Some(4), Some(8.0)));
    let pairs: Vec<(String, String, i64)> = found["doublings"]
        .as_array()
        .unwrap()
        .iter()
        .map(|d| {
            let word = |key: &str| d[key].as_str().unwrap().to_string();
            (word("chair"), word("of"), d["semitones"].as_i64().unwrap())
        })
        .collect();
    assert_eq!(pairs.len(), 2, "three together have one leader: {pairs:?}");
    assert!(
        pairs.iter().all(|p| p.1 == pairs[0].1 && !p.0.contains("viola") && !p.1.contains("viola")),
        "{pairs:?}"
    );
    assert_eq!(found["passages"][0]["from_bar"], 1);
    assert_eq!(found["arc"]["bars"].as_array().unwrap().len(), 4);
    assert!(found["arc"]["bars"][0]["sones"].as_f64().unwrap() > 1.0);
    let files: Vec<_> = std::fs::read_dir(folder.path()).unwrap().flatten().collect();
    assert_eq!(files.len(), 1);
    let words = text(&ripieno(folder.path(), &["read", "piece.musicxml"]).stdout);
    assert!(words.contains(" col ") && words.contains("tune"), "{words}");
}

#[test]
fn read_says_what_is_the_matter_before_what_there_is() {
    let folder = tempfile::tempdir().unwrap();
    let say = |name: &str, music: &str| {
        std::fs::write(folder.path().join(name), music).unwrap();
        text(&ripieno(folder.path(), &["read", name]).stdout)
    };
    // Four bars of which two are repeated; below every flute in the last.
    let low = up(&TUNE, -24);
    let played: Vec<i32> = [&TUNE[..8], &TUNE[..4], &low[12..]].concat();
    let music = score(&[("Flute", &played)]);
    let repeat = "<barline location=\"right\"><repeat direction=\"backward\"/></barline></measure><measure number=\"3\">";
    let words = say("piece.musicxml", &music.replacen("</measure><measure number=\"3\">", repeat, 1));
    let at = |what: &str| words.find(what).unwrap_or_else(|| panic!("no {what} in {words}"));
    assert!(words.contains("6 bars, 0:12, 1 chair\n"), "{words}");
    assert!(words.contains("4 bars in print, 6 here"), "{words}");
    assert!(at("Read through") < at("The arc") && at("The arc") < at("What it is made of"));
    assert!(words.contains("flute, bar 6 (4 in print)"), "{words}");
    assert!(
        !words.contains("times the loudest") || words.contains("\nB  "),
        "nothing is louder than nothing: {words}"
    );
    assert!(!words.contains("there enter flute"), "{words}");
    // A line each where it is no terminal.
    let finding = words.lines().find(|l| l.contains("flute, bar 6")).unwrap();
    assert!(finding.ends_with('.') && finding.len() > 80, "{finding}");
    // Printed as it is counted: not a word of it.
    let plain = say("plain.musicxml", &music);
    assert!(!plain.contains("in print") && plain.contains("flute, bar 4:"), "{plain}");
}

#[test]
fn doublings_are_told_by_leader() {
    let folder = tempfile::tempdir().unwrap();
    let music = score(&[("Flute", &up(&TUNE, 12)), ("Violin", &TUNE), ("Cello", &up(&TUNE, -12))]);
    std::fs::write(folder.path().join("piece.musicxml"), music).unwrap();
    let words = text(&ripieno(folder.path(), &["read", "piece.musicxml"]).stdout);
    let told: Vec<&str> = words.lines().filter(|l| l.starts_with("  col ")).collect();
    assert_eq!(told.len(), 1, "{words}");
    assert_eq!(
        told[0].matches(" 8va").count() + told[0].matches(" 8vb").count() + told[0].matches(" 15m").count(),
        2
    );
}

#[test]
fn new_says_the_doubling_so_that_it_follows() {
    let folder = cue(&[("Violin 1", &TUNE), ("Cello", &up(&TUNE, -12))]);
    let plan = std::fs::read_to_string(folder.path().join("cue/cue.toml")).unwrap();
    assert!(plan.contains("8vb") && plan.contains("col "), "{plan}");
}

#[test]
fn a_remedy_is_taken_and_its_finding_gone() {
    // An octave too low for a flute.
    let folder = cue(&[("Flute", &up(&TUNE, -12)), ("Violin 1", &up(&TUNE, 5))]);
    let before = std::fs::read_to_string(folder.path().join("cue/cue.toml")).unwrap();
    let strict = ripieno(folder.path(), &["check", "cue", "--json", "--strict"]);
    assert_eq!(strict.status.code(), Some(1), "{}", text(&strict.stdout));
    let checked = json(&strict);
    let range = checked["findings"].as_array().unwrap().iter().find(|f| f["rule"] == "range").unwrap();
    assert_eq!((range["severity"].as_str(), range["bar"].as_i64()), (Some("impossible"), Some(1)));
    for key in ["message", "remedy", "source", "change"] {
        assert!(!range[key].as_str().unwrap().is_empty(), "{key}");
    }
    let name = range["take"].as_str().unwrap();
    let taken = ripieno(folder.path(), &["check", "cue", "--json", "--strict", "--take", name]);
    assert_eq!(taken.status.code(), Some(0), "{}", text(&taken.stderr));
    assert!(json(&taken)["findings"].as_array().unwrap().iter().all(|f| f["rule"] != "range"));
    let after = std::fs::read_to_string(folder.path().join("cue/cue.toml")).unwrap();
    assert!(after != before && after.contains("8va"), "{after}");
    let kept = std::fs::read_to_string(folder.path().join("cue/.ripieno/cue-before.toml")).unwrap();
    assert_eq!(kept, before);
    // It is gone: to take it again is a mistake that is said, and nothing is written.
    let again = ripieno(folder.path(), &["check", "cue", "--take", name]);
    assert_eq!(again.status.code(), Some(2));
    assert!(text(&again.stderr).contains("no finding is named"), "{}", text(&again.stderr));
    assert_eq!(std::fs::read_to_string(folder.path().join("cue/cue.toml")).unwrap(), after);
}

#[test]
fn findings_are_accepted_with_a_reason() {
    let folder = cue(&[("Flute", &up(&TUNE, -12)), ("Violin 1", &up(&TUNE, 5))]);
    let path = folder.path().join("cue/cue.toml");
    let plan = std::fs::read_to_string(&path).unwrap();
    std::fs::write(&path, format!("{plan}\n[accept]\n\"range@flute\" = \"an alto flute will play it\"\n\"breath@flute:3\" = \"she can\"\n")).unwrap();
    let done = ripieno(folder.path(), &["check", "cue", "--json", "--strict"]);
    assert_eq!(done.status.code(), Some(0), "{}", text(&done.stderr));
    let checked = json(&done);
    assert_eq!(checked["accepted"][0]["reason"], "an alto flute will play it");
    assert_eq!(checked["accepted"][0]["rule"], "range");
    let words = text(&ripieno(folder.path(), &["check", "cue"]).stdout);
    assert!(words.contains("an alto flute will play it") && words.contains("silences nothing"), "{words}");
    std::fs::write(&path, format!("{plan}\n[accept]\n\"range@flute:x\" = \"why\"\n")).unwrap();
    let wrong = ripieno(folder.path(), &["check", "cue"]);
    assert_eq!(wrong.status.code(), Some(2));
    assert!(text(&wrong.stderr).contains("names no finding"), "{}", text(&wrong.stderr));
}

#[test]
fn what_the_plan_cannot_mean_is_said_with_its_place() {
    let folder = cue(&[("Flute", &up(&TUNE, 12)), ("Violin 1", &TUNE)]);
    let path = folder.path().join("cue/cue.toml");
    let plan = std::fs::read_to_string(&path).unwrap();
    let more = "\n[accept]\n\"rnage@flute\" = \"why\"\n\"range@flut:3\" = \"why\"\n\n[picture]\nrate = 25\n\
        [[picture.hit]]\nat = \"00:00:03:00\"\nbar = 300\n";
    std::fs::write(&path, format!("{plan}{more}")).unwrap();
    let done = ripieno(folder.path(), &["check", "cue"]);
    assert_eq!(done.status.code(), Some(0), "{}", text(&done.stderr));
    let line = |word: &str| 1 + format!("{plan}{more}").lines().position(|l| l.contains(word)).unwrap();
    let said = text(&done.stderr);
    for (word, column, what) in [
        ("rnage", 1, "did you mean `range`?"),
        ("flut:3", 1, "did you mean `flute`?"),
        ("bar = 300", 7, "the music has no bar 300, it ends with bar 4"),
    ] {
        let place = format!("cue.toml:{}:{column}: warning: ", line(word));
        let at = said.find(&place).unwrap_or_else(|| panic!("{place} is not in {said}"));
        assert!(said[at..].lines().take(2).any(|l| l.contains(what)), "{what}: {said}");
    }
    assert!(!text(&done.stdout).contains("silences nothing any more"), "not to be taken out, but mended");
    std::fs::write(&path, format!("{plan}\n[kit.flut]\nkey = \"G\"\n")).unwrap();
    let wrong = ripieno(folder.path(), &["check", "cue"]);
    assert_eq!(wrong.status.code(), Some(2));
    assert!(text(&wrong.stderr).contains("did you mean `flute`?"), "{}", text(&wrong.stderr));
}

#[test]
fn what_only_players_feel_folds_away_for_samples() {
    // Above where a flute is at ease, and within what it has.
    let folder = cue(&[("Flute", &up(&TUNE, 22))]);
    let rules = |output: &Output, list: &str| -> Vec<String> {
        json(output)[list]
            .as_array()
            .unwrap()
            .iter()
            .map(|f| f["rule"].as_str().unwrap().to_string())
            .collect()
    };
    let samples = ripieno(folder.path(), &["check", "cue", "--json"]);
    assert!(!rules(&samples, "findings").contains(&"range-comfort".to_string()));
    assert!(rules(&samples, "folded").contains(&"range-comfort".to_string()));
    assert!(text(&ripieno(folder.path(), &["check", "cue"]).stdout).contains("folded away"));
    let path = folder.path().join("cue/cue.toml");
    let plan = std::fs::read_to_string(&path).unwrap();
    std::fs::write(&path, plan.replacen("[cue]\n", "[cue]\nfor = \"session\"\n", 1)).unwrap();
    let session = ripieno(folder.path(), &["check", "cue", "--json"]);
    assert!(rules(&session, "findings").contains(&"range-comfort".to_string()));
    assert!(rules(&session, "folded").is_empty());
}
