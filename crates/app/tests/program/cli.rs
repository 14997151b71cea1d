//! The program run in a fresh folder: what it writes, what it says, how it ends.

use std::path::Path;
use std::process::{Command, Output};

fn ripieno(folder: &Path, words: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_ripieno")).current_dir(folder).args(words).output().unwrap()
}

fn text(bytes: &[u8]) -> String {
    String::from_utf8_lossy(bytes).into_owned()
}

const MUSIC: &str = r#"<?xml version="1.0" encoding="UTF-8"?>
<score-partwise version="4.0">
  <part-list>
    <score-part id="P1"><part-name>Violino I</part-name></score-part>
    <score-part id="P2"><part-name>C.A.</part-name></score-part>
  </part-list>
  <part id="P1"><measure number="1">
    <attributes><divisions>2</divisions><time><beats>4</beats><beat-type>4</beat-type></time></attributes>
    <note><pitch><step>A</step><octave>4</octave></pitch><duration>4</duration><voice>1</voice><type>half</type>
      <notations><slur type="start" number="1"/></notations></note>
    <note><pitch><step>B</step><octave>4</octave></pitch><duration>4</duration><voice>1</voice><type>half</type>
      <notations><slur type="stop" number="1"/></notations></note>
  </measure><measure number="2">
    <note><pitch><step>C</step><octave>5</octave></pitch><duration>2</duration><voice>1</voice><type>quarter</type>
      <notations><articulations><staccato/></articulations></notations></note>
    <note><rest/><duration>6</duration><voice>1</voice></note>
  </measure></part>
  <part id="P2"><measure number="1">
    <attributes><divisions>1</divisions><transpose><diatonic>-4</diatonic><chromatic>-7</chromatic></transpose></attributes>
    <note><pitch><step>C</step><octave>5</octave></pitch><duration>4</duration><voice>1</voice><type>whole</type></note>
  </measure><measure number="2"><note><rest measure="yes"/><duration>4</duration></note></measure></part>
</score-partwise>
"#;

fn cue() -> tempfile::TempDir {
    let folder = tempfile::tempdir().unwrap();
    std::fs::write(folder.path().join("piece.musicxml"), MUSIC).unwrap();
    let made = ripieno(folder.path(), &["new", "cue", "--music", "piece.musicxml"]);
    assert!(made.status.success(), "{}", text(&made.stderr));
    folder
}

#[test]
fn new_then_perform() {
    let folder = cue();
    let plan = std::fs::read_to_string(folder.path().join("cue/cue.toml")).unwrap();
    assert!(plan.contains("as written"), "{plan}");
    let template = std::fs::read_to_string(folder.path().join("cue/template.toml")).unwrap();
    assert!(template.contains("cor-anglais") && template.contains("[chair.violins-1]"), "{template}");
    let done = ripieno(folder.path(), &["perform", "cue", "--json"]);
    assert!(done.status.success(), "{}", text(&done.stderr));
    let intent: serde_json::Value = serde_json::from_slice(&done.stdout).unwrap();
    let notes = intent["notes"].as_array().unwrap();
    assert_eq!(notes.len(), 4);
    let english_horn = notes.iter().find(|n| n["chair"] != "violins-1").unwrap();
    assert_eq!(english_horn["key"], 65, "sounds a fifth lower than written");
    let named: Vec<_> =
        notes.iter().filter(|n| n["chair"] == "violins-1").map(|n| &n["articulation"]).collect();
    assert_eq!(named, ["legato", "legato", "staccato"]);
    assert!(folder.path().join("cue/performed.mid").is_file());
}

#[test]
fn the_same_inputs_give_the_same_bytes() {
    let folder = cue();
    let midi = |name: &str| {
        assert!(ripieno(folder.path(), &["perform", "cue", "-o", name]).status.success());
        std::fs::read(folder.path().join(name)).unwrap()
    };
    assert_eq!(midi("a.mid"), midi("b.mid"));
}

#[test]
fn nothing_of_the_users_is_written_over() {
    let folder = cue();
    let again = ripieno(folder.path(), &["new", "cue", "--music", "piece.musicxml"]);
    assert_eq!(again.status.code(), Some(2));
    assert!(text(&again.stderr).contains("cue here already"), "{}", text(&again.stderr));
    let before = std::fs::read(folder.path().join("cue/cue.toml")).unwrap();
    assert!(ripieno(folder.path(), &["perform", "cue"]).status.success());
    assert_eq!(before, std::fs::read(folder.path().join("cue/cue.toml")).unwrap());
}

#[test]
fn faults_are_named_with_their_places_all_at_once() {
    let folder = cue();
    let path = folder.path().join("cue/cue.toml");
    let plan = std::fs::read_to_string(&path).unwrap();
    let wrong = plan.replace("\"as written\"", "\"as writen, legatto\"");
    assert_ne!(plan, wrong);
    std::fs::write(&path, wrong).unwrap();
    let done = ripieno(folder.path(), &["perform", "cue"]);
    assert_eq!(done.status.code(), Some(2));
    let said = text(&done.stderr);
    assert!(said.contains("cue.toml:") && said.contains("legato") && said.contains("as written"), "{said}");
    assert!(said.lines().filter(|l| l.contains("cue.toml:")).count() >= 2, "{said}");
}

#[test]
fn what_is_wrong_ends_with_2_and_says_what_to_do() {
    let folder = tempfile::tempdir().unwrap();
    std::fs::write(folder.path().join("noise.mid"), b"not music at all").unwrap();
    for words in [
        &["perform", "nowhere"][..],
        &["new", "cue", "--music", "nowhere.mid"],
        &["new", "cue", "--music", "noise.mid"],
        &["perform"],
        &["sing"],
        &["patch", "nowhere.toml"],
    ] {
        let done = ripieno(folder.path(), words);
        assert_eq!(done.status.code(), Some(2), "{words:?}: {}", text(&done.stderr));
        assert!(text(&done.stderr).len() > 20, "{words:?}");
        assert!(!text(&done.stderr).contains("panicked"), "{words:?}");
    }
    assert!(!folder.path().join("cue").exists(), "a cue that cannot be made leaves no folder");
}

#[test]
fn a_card_from_a_pasted_list() {
    let folder = tempfile::tempdir().unwrap();
    std::fs::write(folder.path().join("list.txt"), "C0 legato\nC#0 stacc.\nCC32 = 5 con sord\n").unwrap();
    let done = ripieno(folder.path(), &["patch", "--from", "list.txt", "-o", "card.toml"]);
    assert!(done.status.success(), "{}", text(&done.stderr));
    let checked = ripieno(folder.path(), &["patch", "card.toml"]);
    assert!(checked.status.success(), "{}", text(&checked.stderr));
    assert!(text(&checked.stdout).contains("3 articulations"), "{}", text(&checked.stdout));
    let again = ripieno(folder.path(), &["patch", "--from", "list.txt", "-o", "card.toml"]);
    assert_eq!(again.status.code(), Some(2), "cards are never written over");
    std::fs::write(folder.path().join("prose.txt"), "C0 legato\nplay it well\n").unwrap();
    let some = ripieno(folder.path(), &["patch", "--from", "prose.txt", "-o", "some.toml"]);
    assert!(some.status.success() && text(&some.stderr).contains("prose.txt:2:1"), "{}", text(&some.stderr));
    std::fs::write(folder.path().join("prose.txt"), "play it well\n").unwrap();
    let none = ripieno(folder.path(), &["patch", "--from", "prose.txt", "-o", "none.toml"]);
    assert_eq!(none.status.code(), Some(2));
    assert!(text(&none.stderr).contains("no switch is in this list"), "{}", text(&none.stderr));
    assert!(!folder.path().join("none.toml").exists());
}

#[test]
fn a_cell_may_name_any_articulation_of_a_card() {
    let folder = cue();
    let cue = folder.path().join("cue");
    std::fs::create_dir(cue.join("cards")).unwrap();
    let card = "patch = \"Mine\"\n[[articulation]]\nname = \"sustain\"\ncall = { key = 0 }\n\
        [[articulation]]\nname = \"sea-breath\"\ncall = { key = 1 }\n";
    std::fs::write(cue.join("cards/mine.toml"), card).unwrap();
    let edit = |name: &str, from: &str, to: &str| {
        let text = std::fs::read_to_string(cue.join(name)).unwrap();
        assert!(text.contains(from), "{text}");
        std::fs::write(cue.join(name), text.replacen(from, to, 1)).unwrap();
    };
    edit("template.toml", "[chair.cor-anglais]\n", "[chair.cor-anglais]\ncard = \"cards/mine.toml\"\n");
    let plan = std::fs::read_to_string(cue.join("cue.toml")).unwrap();
    let line = plan.lines().find(|l| l.starts_with("cor-anglais") && l.contains("as written")).unwrap();
    edit("cue.toml", line, &line.replace("as written", "as written, sea-breath"));
    let done = ripieno(folder.path(), &["perform", "cue", "--json"]);
    assert!(done.status.success(), "{}", text(&done.stderr));
    let intent: serde_json::Value = serde_json::from_slice(&done.stdout).unwrap();
    let note =
        intent["notes"].as_array().unwrap().iter().find(|n| n["chair"] == "cor-anglais").unwrap().clone();
    assert_eq!((&note["articulation"], &note["used"]), (&"sea-breath".into(), &"sea-breath".into()));
}

#[test]
fn what_cannot_become_a_cue_leaves_none() {
    let folder = tempfile::tempdir().unwrap();
    let silent = MUSIC.replace("<pitch><step>A</step><octave>4</octave></pitch>", "<rest/>");
    let mut silent: Vec<&str> = silent.split("<pitch>").collect();
    let mut music = silent.remove(0).to_string();
    for rest in silent {
        music += "<rest/>";
        music += rest.split_once("</pitch>").unwrap().1;
    }
    std::fs::write(folder.path().join("silent.musicxml"), music).unwrap();
    let refused = ripieno(folder.path(), &["new", "cue", "--music", "silent.musicxml"]);
    assert_eq!(refused.status.code(), Some(2));
    assert!(text(&refused.stderr).contains("no notes"), "{}", text(&refused.stderr));
    assert!(!folder.path().join("cue").exists());
    // A template of something else is neither written over nor taken for this cue's.
    std::fs::create_dir(folder.path().join("cue")).unwrap();
    let template = "[chair.tuba]\ninstrument = \"tuba\"\n";
    std::fs::write(folder.path().join("cue/template.toml"), template).unwrap();
    std::fs::write(folder.path().join("piece.musicxml"), MUSIC).unwrap();
    let refused = ripieno(folder.path(), &["new", "cue", "--music", "piece.musicxml"]);
    assert_eq!(refused.status.code(), Some(2));
    assert!(text(&refused.stderr).contains("--template"), "{}", text(&refused.stderr));
    assert!(!folder.path().join("cue/cue.toml").exists());
    assert_eq!(std::fs::read_to_string(folder.path().join("cue/template.toml")).unwrap(), template);
}

#[test]
fn results_spare_what_they_are_made_from() {
    let folder = tempfile::tempdir().unwrap();
    std::fs::write(folder.path().join("performed.musicxml"), MUSIC).unwrap();
    assert!(ripieno(folder.path(), &["new", "cue", "--music", "performed.musicxml"]).status.success());
    for (command, over) in
        [("perform", "performed.musicxml"), ("report", "cue.toml"), ("report", "template.toml")]
    {
        let path = folder.path().join("cue").join(over);
        let before = std::fs::read(&path).unwrap();
        let refused = ripieno(folder.path(), &[command, "cue", "-o", path.to_str().unwrap()]);
        assert_eq!(refused.status.code(), Some(2), "{command} {over}");
        assert!(text(&refused.stderr).contains("Nothing was written"), "{}", text(&refused.stderr));
        assert_eq!(std::fs::read(&path).unwrap(), before);
    }
}

#[test]
fn a_port_in_use_is_named_with_what_to_do() {
    let folder = cue();
    let taken = std::net::TcpListener::bind(("127.0.0.1", 0)).unwrap();
    let port = taken.local_addr().unwrap().port().to_string();
    let mut page = Command::new(env!("CARGO_BIN_EXE_ripieno"))
        .current_dir(folder.path())
        .args(["open", "cue", "--no-browser", "--port", &port])
        .stderr(std::process::Stdio::piped())
        .stdout(std::process::Stdio::null())
        .spawn()
        .unwrap();
    // Where it serves after all it would never end.
    for _ in 0..200 {
        if page.try_wait().unwrap().is_some() {
            break;
        }
        std::thread::sleep(std::time::Duration::from_millis(100));
    }
    let _ = page.kill();
    let done = page.wait_with_output().unwrap();
    let said = text(&done.stderr);
    assert_eq!(done.status.code(), Some(2), "{said}");
    assert!(said.contains(&format!("port {port}")) && said.contains("--port"), "{said}");
}

#[test]
fn music_named_as_a_cue_is_said_to_be_music() {
    let folder = tempfile::tempdir().unwrap();
    std::fs::write(folder.path().join("piece.musicxml"), MUSIC).unwrap();
    std::fs::write(folder.path().join("piece.mid"), b"MThd\0\0\0\x06\0\0\0\0\x01\xe0\xff").unwrap();
    for file in ["piece.musicxml", "piece.mid"] {
        for command in ["check", "perform", "open"] {
            let done = ripieno(folder.path(), &[command, file]);
            let said = text(&done.stderr);
            assert_eq!(done.status.code(), Some(2), "{said}");
            assert!(said.contains("this is music") && said.contains("ripieno new"), "{said}");
        }
    }
}
