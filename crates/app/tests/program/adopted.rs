//! Handwork that comes back after the plan went away and back.

use super::printed::{cue, ripieno, text};

#[test]
fn a_version_in_which_the_chair_was_silent_is_not_what_was_edited() {
    let folder = cue("piece.musicxml");
    let at = folder.path().join("cue");
    let run = |words: &[&str]| {
        let done = ripieno(folder.path(), words);
        assert!(done.status.success(), "{words:?}: {}", text(&done.stderr));
        text(&done.stdout) + &text(&done.stderr)
    };
    let plan = std::fs::read_to_string(at.join("cue.toml")).unwrap();
    let (head, casting) = plan.split_once("[passage.casting]").unwrap();
    let tacet =
        |l: &str| if l.starts_with("flute") { "flute = \"tacet\"\n".into() } else { format!("{l}\n") };
    let silent = format!("{head}[passage.casting]{}", casting.lines().map(tacet).collect::<String>());
    assert_ne!(plan, silent, "{plan}");
    run(&["perform", "cue"]);
    std::fs::write(at.join("cue.toml"), silent).unwrap();
    run(&["perform", "cue"]);
    std::fs::write(at.join("cue.toml"), &plan).unwrap();
    run(&["perform", "cue"]);
    // The flute's A5, softer or louder by hand. One byte of a file is the velocity of its note-on.
    let mut file = std::fs::read(at.join("performed.mid")).unwrap();
    let on =
        file.windows(3).position(|w| w[0] & 0xf0 == 0x90 && w[1] == 81 && (2..127).contains(&w[2])).unwrap();
    file[on + 2] ^= 1;
    std::fs::write(folder.path().join("edited.mid"), file).unwrap();
    let said = run(&["adopt", "cue", "edited.mid"]);
    assert!(at.join("pencil.toml").exists(), "{said}");
    let marks: serde_json::Value = serde_json::from_str(&run(&["pencil", "cue", "--json"])).unwrap();
    assert_eq!(marks["marks"].as_array().map(Vec::len), Some(1), "{marks}");
    assert_eq!(marks["marks"][0]["chair"], "flute");
}
