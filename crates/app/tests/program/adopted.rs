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

/// Two bars of a flute: steps with octaves, a quarter each.
fn flute(notes: [(char, u8); 8]) -> String {
    let note = |(step, octave): &(char, u8)| {
        format!(
            "<note><pitch><step>{step}</step><octave>{octave}</octave></pitch><duration>1</duration><type>quarter</type></note>"
        )
    };
    let bar = |n: usize| notes[4 * n..4 * n + 4].iter().map(note).collect::<String>();
    let first = "<attributes><divisions>1</divisions><time><beats>4</beats><beat-type>4</beat-type></time></attributes>";
    format!(
        "<?xml version=\"1.0\"?><score-partwise version=\"4.0\"><part-list><score-part id=\"P1\"><part-name>Flute</part-name></score-part></part-list><part id=\"P1\"><measure number=\"1\">{first}{}</measure><measure number=\"2\">{}</measure></part></score-partwise>",
        bar(0),
        bar(1)
    )
}

#[test]
fn another_cues_file_is_refused_in_one_sentence_and_an_edit_is_not() {
    let folder = tempfile::tempdir().unwrap();
    let up = [('C', 5), ('D', 5), ('E', 5), ('F', 5), ('G', 5), ('A', 5), ('B', 5), ('C', 6)];
    let apart = [('A', 6), ('E', 4), ('F', 6), ('D', 4), ('G', 6), ('F', 4), ('E', 6), ('G', 4)];
    for (name, notes) in [("one", up), ("two", apart)] {
        std::fs::write(folder.path().join(format!("{name}.musicxml")), flute(notes)).unwrap();
        let made = ripieno(folder.path(), &["new", name, "--music", &format!("{name}.musicxml")]);
        assert!(made.status.success(), "{}", text(&made.stderr));
        assert!(ripieno(folder.path(), &["perform", name]).status.success());
    }
    for (cue, file) in [("one", "two/performed.mid"), ("two", "one/performed.mid")] {
        let refused = ripieno(folder.path(), &["adopt", cue, file]);
        let said = text(&refused.stderr);
        assert_eq!(refused.status.code(), Some(2), "{said}");
        assert!(said.trim().lines().count() == 1 && said.contains("another cue's"), "{said}");
        assert!(!folder.path().join(cue).join("pencil.toml").exists());
    }
    // Every velocity but one is another, and one note has another key: an edit all the same.
    let mut file = std::fs::read(folder.path().join("one/performed.mid")).unwrap();
    let ons: Vec<usize> = (0..file.len() - 2)
        .filter(|i| {
            file[*i] & 0xf0 == 0x90 && (72..=84).contains(&file[*i + 1]) && (2..127).contains(&file[*i + 2])
        })
        .collect();
    ons.iter().skip(1).for_each(|i| file[*i + 2] ^= 1);
    std::fs::write(folder.path().join("edited.mid"), file).unwrap();
    let taken = ripieno(folder.path(), &["adopt", "one", "edited.mid"]);
    assert!(taken.status.success(), "{}", text(&taken.stderr));
    assert!(folder.path().join("one/pencil.toml").exists());
}
