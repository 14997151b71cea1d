//! Score, parts and the delivered folder of a tiny cue, as the program writes them.

use sha2::{Digest, Sha256};
use std::path::Path;
use std::process::{Command, Output};

pub fn ripieno(folder: &Path, words: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_ripieno")).current_dir(folder).args(words).output().unwrap()
}

pub fn text(bytes: &[u8]) -> String {
    String::from_utf8_lossy(bytes).into_owned()
}

/// A horn, which sounds a fifth lower than it reads, and a flute; two bars.
const MUSIC: &str = r#"<score-partwise version="4.0"><part-list>
<score-part id="P1"><part-name>Flute</part-name></score-part>
<score-part id="P2"><part-name>Horn in F</part-name></score-part></part-list>
<part id="P1"><measure number="1"><attributes><divisions>1</divisions><time><beats>4</beats><beat-type>4</beat-type></time></attributes>
<note><pitch><step>A</step><octave>5</octave></pitch><duration>2</duration></note>
<note><pitch><step>B</step><octave>5</octave></pitch><duration>2</duration></note></measure>
<measure number="2"><note><pitch><step>C</step><octave>6</octave></pitch><duration>4</duration></note></measure></part>
<part id="P2"><measure number="1"><attributes><divisions>1</divisions><transpose><chromatic>-7</chromatic></transpose></attributes>
<note><pitch><step>C</step><octave>5</octave></pitch><duration>4</duration></note></measure>
<measure number="2"><note><pitch><step>D</step><octave>5</octave></pitch><duration>4</duration></note></measure></part>
</score-partwise>"#;

pub fn cue(music: &str) -> tempfile::TempDir {
    let folder = tempfile::tempdir().unwrap();
    std::fs::write(folder.path().join(music), MUSIC).unwrap();
    let made = ripieno(folder.path(), &["new", "cue", "--music", music]);
    assert!(made.status.success(), "{}", text(&made.stderr));
    folder
}

fn read(path: &Path) -> String {
    std::fs::read_to_string(path).unwrap_or_else(|e| panic!("{}: {e}", path.display()))
}

/// The steps of one part, `P1` being the first.
fn steps(score: &str, part: &str) -> String {
    let (_, after) = score.split_once(&format!("<part id=\"{part}\">")).unwrap();
    let own = after.split("</part>").next().unwrap();
    own.split("<step>").skip(1).filter_map(|s| s.chars().next()).collect()
}

#[test]
fn score_and_parts_at_the_pitch_that_is_asked_for() {
    let folder = cue("piece.musicxml");
    let cue = folder.path().join("cue");
    let print = |words: &[&str]| {
        let done = ripieno(folder.path(), &[&["score", "cue"], words].concat());
        assert!(done.status.success(), "{}", text(&done.stderr));
        text(&done.stdout)
    };
    assert!(print(&[]).contains("2 parts"));
    assert_eq!(steps(&read(&cue.join("score.musicxml")), "P2"), "FG", "as it sounds");
    let horn = std::fs::read_dir(cue.join("parts")).unwrap().map(|e| e.unwrap().path());
    let horn = horn.filter(|p| p.to_string_lossy().contains("02-horn")).collect::<Vec<_>>();
    assert_eq!(horn.len(), 1, "{horn:?}");
    let part = read(&horn[0]);
    assert_eq!(steps(&part, "P1"), "CD", "a part stands as its player reads it");
    assert!(part.contains("<chromatic>-7</chromatic>"), "{part}");
    print(&["--transposed"]);
    assert_eq!(steps(&read(&cue.join("score.musicxml")), "P2"), "CD");
    // The plan says the same.
    print(&[]);
    assert_eq!(steps(&read(&cue.join("score.musicxml")), "P2"), "FG");
    let plan = read(&cue.join("cue.toml"));
    std::fs::write(cue.join("cue.toml"), format!("{plan}\n[score]\npitch = \"transposed\"\n")).unwrap();
    print(&[]);
    assert_eq!(steps(&read(&cue.join("score.musicxml")), "P2"), "CD");
    std::fs::write(cue.join("cue.toml"), format!("{plan}\n[score]\npitch = \"transposd\"\n")).unwrap();
    let wrong = ripieno(folder.path(), &["score", "cue"]);
    assert_eq!(wrong.status.code(), Some(2));
    assert!(text(&wrong.stderr).contains("transposed"), "{}", text(&wrong.stderr));
}

#[test]
fn a_score_never_replaces_what_is_the_users() {
    // The music has the name that the score would have.
    let folder = cue("score.musicxml");
    let own = folder.path().join("cue/score.musicxml");
    let refused = ripieno(folder.path(), &["score", "cue"]);
    assert_eq!(refused.status.code(), Some(2), "{}", text(&refused.stderr));
    assert!(text(&refused.stderr).contains("-o"), "{}", text(&refused.stderr));
    assert_eq!(read(&own), MUSIC);
    assert!(!folder.path().join("cue/parts").exists(), "nothing was written");
    assert!(ripieno(folder.path(), &["score", "cue", "-o", "out"]).status.success());
    assert!(ripieno(folder.path(), &["score", "cue", "-o", "out"]).status.success(), "ours is renewed");
    // A part of an earlier score stays and is told.
    std::fs::write(folder.path().join("out/parts/07-oboe.musicxml"), "old").unwrap();
    let told = ripieno(folder.path(), &["score", "cue", "-o", "out"]);
    assert!(told.status.success() && text(&told.stderr).contains("07-oboe"), "{}", text(&told.stderr));
    // Somebody's score.
    std::fs::write(folder.path().join("out/score.musicxml"), "mine").unwrap();
    assert_eq!(ripieno(folder.path(), &["score", "cue", "-o", "out"]).status.code(), Some(2));
    assert_eq!(read(&folder.path().join("out/score.musicxml")), "mine");
}

#[test]
fn delivered_and_delivered_again() {
    let folder = cue("piece.musicxml");
    let words = ["deliver", "cue", "--stems", "chairs", "--no-breakdown"];
    let first = ripieno(folder.path(), &words);
    assert!(first.status.success(), "{}", text(&first.stderr));
    let into = folder.path().join("cue/delivered");
    let manifest = |into: &Path| -> serde_json::Value {
        serde_json::from_str(&read(&into.join("manifest.json"))).unwrap()
    };
    let listed = manifest(&into);
    super::json::check_manifest(&listed);
    let files = listed["files"].as_array().unwrap();
    let named = |name: &str| files.iter().any(|f| f["file"] == name);
    for name in
        ["report.html", "report.txt", "score.musicxml", "parts/01-flute.musicxml", "midi/performed.mid"]
    {
        assert!(named(name), "{name} is not in the manifest");
    }
    let of = |kind: &str| files.iter().filter(|f| f["kind"] == kind).count();
    assert_eq!((of("mix"), of("chair"), of("click")), (1, 2, 1));
    for file in files {
        let bytes = std::fs::read(into.join(file["file"].as_str().unwrap())).unwrap();
        let digest: String = Sha256::digest(&bytes).iter().map(|b| format!("{b:02x}")).collect();
        assert_eq!(file["sha256"], digest, "{}", file["file"]);
        assert_eq!(file["bytes"], bytes.len());
    }
    // Again, with a file of the user's beside: nothing is rendered, nothing of sound has changed, the file stays.
    std::fs::write(into.join("mine.txt"), "mine").unwrap();
    let again = ripieno(folder.path(), &words);
    assert!(again.status.success(), "{}", text(&again.stderr));
    assert!(text(&again.stdout).contains("0 chairs rendered, 2 as they were"), "{}", text(&again.stdout));
    let sound = |list: &serde_json::Value| -> Vec<String> {
        let files = list["files"].as_array().unwrap().iter();
        files.filter(|f| !f["sound"].is_null()).map(|f| format!("{} {}", f["file"], f["sha256"])).collect()
    };
    let now = manifest(&into);
    assert_eq!(sound(&listed), sound(&now));
    assert!(sound(&now).len() >= 4);
    assert_eq!(read(&into.join("mine.txt")), "mine");
    assert!(!now["files"].as_array().unwrap().iter().any(|f| f["file"] == "mine.txt"));
    // Somebody's file at the place of one of ours: told, kept.
    let other = folder.path().join("other");
    std::fs::create_dir(&other).unwrap();
    std::fs::write(other.join("score.musicxml"), "mine").unwrap();
    let refused = ripieno(folder.path(), &[&words[..], &["-o", "other"]].concat());
    assert_eq!(refused.status.code(), Some(2), "{}", text(&refused.stderr));
    assert!(text(&refused.stderr).contains("score.musicxml"), "{}", text(&refused.stderr));
    assert_eq!(read(&other.join("score.musicxml")), "mine");
    assert!(!other.join("manifest.json").exists());
}
