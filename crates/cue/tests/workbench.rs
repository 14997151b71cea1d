//! The workbench with an editor beside it: nothing is lost, whatever the order; undo and redo; a disk that will not be written.

#![allow(clippy::unwrap_used)]

use proptest::prelude::*;
use ripieno_cue::{Act, CueError, Workbench};
use ripieno_plan::edit;
use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

const BARS: usize = 8;
const CHAIRS: [&str; 5] = ["flute", "oboe", "violins-1", "violas", "cellos"];
const PASSAGES: [&str; 3] = ["One", "Two", "Three"];
const DYNAMICS: [&str; 8] = ["ppp", "pp", "p", "mp", "mf", "f", "ff", "fff"];
const MARKS: [&str; 5] = ["legato", "stacc.", "ten.", "marc.", "trem."];

/// A piece of two lines, a plan of three passages and five chairs. In memory where there is such a place: a thousand orders with
/// every file synced to a disk take minutes.
fn cue() -> tempfile::TempDir {
    let memory = Path::new("/dev/shm");
    let folder = if memory.is_dir() { tempfile::tempdir_in(memory) } else { tempfile::tempdir() }.unwrap();
    fill(folder.path());
    folder
}

fn fill(folder: &Path) {
    let part = |id: &str, step: &str| {
        let bars: String = (1..=BARS)
            .map(|n| {
                format!(
                    "<measure number=\"{n}\"><attributes><divisions>1</divisions></attributes><note><pitch><step>{step}</step>\
                     <octave>4</octave></pitch><duration>4</duration></note></measure>"
                )
            })
            .collect();
        format!("<part id=\"{id}\">{bars}</part>")
    };
    let music = format!(
        "<score-partwise version=\"4.0\"><part-list><score-part id=\"P1\"><part-name>Tune</part-name></score-part>\
         <score-part id=\"P2\"><part-name>Bass</part-name></score-part></part-list>{}{}</score-partwise>",
        part("P1", "A"),
        part("P2", "D")
    );
    let mut plan = "[cue]\ntitle = \"Two\" # kept\nmusic = \"two.musicxml\"\n\n[lines]\ntune = { track = \"Tune\" }\nbass = { track = \"Bass\" }\n".to_string();
    for (i, passage) in PASSAGES.iter().enumerate() {
        let bars = [[1, 2], [3, 5], [6, 8]][i];
        plan.push_str(&format!("\n[[passage]]\nname = \"{passage}\"\nbars = {bars:?}\n[passage.casting]\n"));
        for chair in CHAIRS.iter().take(4) {
            plan.push_str(&format!("{chair} = \"tune\"\n"));
        }
    }
    let chair = |id: &&str| {
        let instrument = id.trim_end_matches("s-1").trim_end_matches('s');
        let instrument = if instrument == "violin" { "violin" } else { instrument };
        format!("[chair.{id}]\ninstrument = \"{instrument}\"\n")
    };
    let template: String = CHAIRS.iter().map(chair).collect();
    std::fs::write(folder.join("two.musicxml"), music).unwrap();
    std::fs::write(folder.join("cue.toml"), plan).unwrap();
    std::fs::write(folder.join("template.toml"), template).unwrap();
}

/// Numbers that look random; SplitMix64 (Steele, Lea and Flood, "Fast splittable pseudorandom number generators", OOPSLA 2014).
struct Dice(u64);

impl Dice {
    fn next(&mut self, below: usize) -> usize {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        ((z ^ (z >> 31)) % below as u64) as usize
    }
}

type Place = (&'static str, &'static str);

fn place(dice: &mut Dice) -> Place {
    (PASSAGES[dice.next(PASSAGES.len())], CHAIRS[dice.next(CHAIRS.len())])
}

/// A cell that no other step of a run writes.
fn words(n: usize) -> String {
    let mark = MARKS[n / DYNAMICS.len() % MARKS.len()];
    let line = ["tune", "bass"][n / DYNAMICS.len() / MARKS.len()];
    format!("{line}, {mark}, {}", DYNAMICS[n % DYNAMICS.len()])
}

/// How an editor saves.
#[derive(Clone, Copy, Debug, PartialEq)]
enum Saves {
    Renaming,
    InPlace,
    InPieces,
    MovingAway,
}

/// An editor with its own copy of the file, which it does not always read again.
struct Editor {
    path: PathBuf,
    copy: String,
    done: Vec<(Place, String)>,
}

impl Editor {
    fn new(path: &Path) -> Self {
        Self { path: path.to_path_buf(), copy: std::fs::read_to_string(path).unwrap(), done: Vec::new() }
    }

    fn reads_again(&mut self) {
        self.copy = std::fs::read_to_string(&self.path).unwrap();
    }

    fn changes(&mut self, at: Place, words: &str, saves: Saves) {
        self.copy = edit::set_cell(&self.copy, at.0, at.1, words).unwrap();
        self.done.push((at, words.to_string()));
        match saves {
            Saves::Renaming => {
                let aside = self.path.with_extension("editor");
                std::fs::write(&aside, &self.copy).unwrap();
                std::fs::rename(&aside, &self.path).unwrap();
            }
            Saves::InPlace => std::fs::write(&self.path, &self.copy).unwrap(),
            Saves::InPieces => {
                use std::io::Write;
                let mut file = std::fs::File::create(&self.path).unwrap();
                let (a, b) = self.copy.as_bytes().split_at(self.copy.len() / 2);
                file.write_all(a).unwrap();
                file.write_all(b).unwrap();
            }
            Saves::MovingAway => {
                std::fs::rename(&self.path, self.path.with_extension("old")).unwrap();
                std::fs::write(&self.path, &self.copy).unwrap();
            }
        }
    }
}

const WAYS: [Saves; 4] = [Saves::Renaming, Saves::InPlace, Saves::InPieces, Saves::MovingAway];

fn cells(bench: &Workbench) -> BTreeMap<(String, String), String> {
    let passages = &bench.cue().plan.passages;
    let one = |p: &ripieno_plan::PassagePlan| {
        p.cells.iter().map(|c| ((p.name.clone(), c.chair.clone()), c.text.clone())).collect::<Vec<_>>()
    };
    passages.iter().flat_map(one).collect()
}

/// A step of the page. Gives whether it was done.
fn page(bench: &mut Workbench, at: Place, words: &str) -> bool {
    let was = cells(bench).get(&(at.0.to_string(), at.1.to_string())).cloned().unwrap_or_default();
    let act =
        Act::Cell { passage: at.0.into(), chair: at.1.into(), text: words.into(), was: Some(was.clone()) };
    match bench.act(&[act]) {
        Ok(()) => true,
        // The page is told: the editor was quicker on this very cell.
        Err(CueError::Conflict { now, .. }) => {
            assert_ne!(now, was);
            false
        }
        Err(other) => panic!("{other}"),
    }
}

/// What each side has changed is in the file; or the other side has changed that cell too, and undo brings it back.
fn nothing_is_lost(bench: &mut Workbench, seed: u64, ours: &[(Place, String)], theirs: &[(Place, String)]) {
    let mut quiet = 0;
    while quiet < 2 {
        quiet = if bench.look().unwrap() { 0 } else { quiet + 1 };
    }
    let text = std::fs::read_to_string(&bench.cue().plan_path).unwrap();
    assert_eq!(text, bench.plan_text(), "seed {seed}: what is shown is what the file says");
    assert!(text.contains("# kept"));
    let now = cells(bench);
    let mut missing = Vec::new();
    for (mine, other, who) in [(ours, theirs, "page"), (theirs, ours, "editor")] {
        let last: BTreeMap<Place, &String> = mine.iter().map(|(at, words)| (*at, words)).collect();
        for (at, words) in last {
            if now.get(&(at.0.to_string(), at.1.to_string())) == Some(words) {
                continue;
            }
            let both = other.iter().any(|(place, _)| *place == at);
            assert!(
                both,
                "seed {seed}: {words} of the {who} in {at:?} is lost; {now:?}\nours {ours:?}\ntheirs {theirs:?}"
            );
            missing.push((at, words.clone(), who));
        }
    }
    // Of two on one cell one is in the file, and the other comes back.
    let mut found = vec![now];
    while bench.undo().unwrap() {
        found.push(cells(bench));
    }
    for (at, words, who) in missing {
        let key = (at.0.to_string(), at.1.to_string());
        assert!(
            found.iter().any(|state| state.get(&key) == Some(&words)),
            "seed {seed}: {words} of the {who} in {at:?} is in no state that undo gives back\nours {ours:?}\ntheirs {theirs:?}"
        );
    }
    let aside: Vec<_> =
        std::fs::read_dir(&bench.cue().folder).unwrap().map(|e| e.unwrap().file_name()).collect();
    assert!(aside.iter().all(|n| !n.to_string_lossy().starts_with(".cue-")), "seed {seed}: {aside:?}");
}

/// 800 orders of steps that do not overlap in time: whole files and in place, fresh copies and old ones.
#[test]
fn page_and_editor_in_any_order_lose_nothing() {
    let steps_of = |seed: u64| {
        let mut dice = Dice(seed);
        let folder = cue();
        let mut bench = Workbench::open(folder.path()).unwrap();
        let mut editor = Editor::new(&folder.path().join("cue.toml"));
        let mut ours = Vec::new();
        for n in 0..4 + dice.next(8) {
            let at = place(&mut dice);
            match dice.next(6) {
                0 | 1 => {
                    if page(&mut bench, at, &words(n)) {
                        ours.push((at, words(n)));
                    }
                }
                2 => drop(bench.look().unwrap()),
                3 => {
                    editor.reads_again();
                    editor.changes(at, &words(n), WAYS[dice.next(4)]);
                }
                _ => editor.changes(at, &words(n), WAYS[dice.next(4)]),
            }
        }
        // Saves that came before a look are one to it: of what the editor has written over itself only the last counts.
        nothing_is_lost(&mut bench, seed, &ours, &editor.done);
    };
    in_parallel(0..800, steps_of);
}

/// 200 orders of two threads at the same moment.
#[test]
fn page_and_editor_at_the_same_moment_lose_nothing() {
    let run = |seed: u64| {
        let folder = cue();
        let path = folder.path().join("cue.toml");
        let mut bench = Workbench::open(folder.path()).unwrap();
        let editor = std::thread::spawn(move || {
            let mut dice = Dice(seed ^ 0xED17);
            let mut editor = Editor::new(&path);
            let fresh = dice.next(2) == 0;
            for n in 0..6 {
                if fresh {
                    editor.reads_again();
                }
                let at = (PASSAGES[dice.next(3)], CHAIRS[dice.next(2)]);
                let ways = [Saves::Renaming, Saves::InPlace, Saves::InPieces];
                editor.changes(at, &words(40 + n), ways[dice.next(3)]);
                std::thread::sleep(std::time::Duration::from_micros(dice.next(3000) as u64));
            }
            editor.done
        });
        let mut dice = Dice(seed);
        let mut ours = Vec::new();
        for n in 0..6 {
            let at = (PASSAGES[dice.next(3)], CHAIRS[2 + dice.next(3)]);
            if page(&mut bench, at, &words(n)) {
                ours.push((at, words(n)));
            }
            std::thread::sleep(std::time::Duration::from_micros(dice.next(2000) as u64));
        }
        let theirs = editor.join().unwrap();
        nothing_is_lost(&mut bench, seed, &ours, &theirs);
    };
    in_parallel(0..200, run);
}

/// Seeds shared among threads: most of the time is waiting.
fn in_parallel(seeds: std::ops::Range<u64>, run: impl Fn(u64) + Sync) {
    let next = std::sync::atomic::AtomicU64::new(seeds.start);
    std::thread::scope(|scope| {
        let work = || {
            loop {
                let seed = next.fetch_add(1, std::sync::atomic::Ordering::Relaxed);
                if seed >= seeds.end {
                    break;
                }
                run(seed);
            }
        };
        for _ in 0..4 {
            scope.spawn(work);
        }
    });
}

/// Both have changed the same cell of different copies: theirs is in the file, ours is told, kept and comes back.
#[test]
fn a_quarrel_about_one_cell_is_told() {
    let folder = cue();
    let mut bench = Workbench::open(folder.path()).unwrap();
    let mut editor = Editor::new(&folder.path().join("cue.toml"));
    assert!(page(&mut bench, ("One", "flute"), "bass, p"));
    assert!(page(&mut bench, ("Two", "oboe"), "bass, f"));
    assert!(page(&mut bench, ("One", "oboe"), "bass, mf"));
    // Three lines of an older copy speak for that copy; one of them quarrels.
    for (at, words) in
        [(("One", "flute"), "tune, ff"), (("Three", "violas"), "bass"), (("Three", "flute"), "bass")]
    {
        editor.changes(at, words, Saves::Renaming);
    }
    assert!(bench.look().unwrap());
    let now = cells(&bench);
    let cell = |p: &str, c: &str| now.get(&(p.to_string(), c.to_string())).cloned().unwrap();
    assert_eq!(cell("One", "flute"), "tune, ff");
    assert_eq!((cell("Two", "oboe"), cell("One", "oboe")), ("bass, f".into(), "bass, mf".into()));
    assert_eq!(cell("Three", "violas"), "bass");
    let ours = std::fs::read_to_string(folder.path().join(".ripieno/cue-from-page.toml"));
    if let Some(trouble) = bench.trouble() {
        assert!(trouble.contains("cue-from-page.toml"));
        assert!(ours.unwrap().contains("\"bass, p\""));
    }
    assert!(bench.undo().unwrap());
    assert!(bench.plan_text().contains("\"bass, p\""));
}

/// What cannot be read is told, the cue stays as it was, and a later sound text is taken over.
#[test]
fn a_broken_file_is_told_and_mended() {
    let folder = cue();
    let path = folder.path().join("cue.toml");
    let mut bench = Workbench::open(folder.path()).unwrap();
    let first = bench.plan_text().to_string();
    std::fs::write(&path, first.replace("[lines]", "[lines")).unwrap();
    assert!(bench.look().unwrap());
    assert!(bench.trouble().unwrap().contains("cue.toml:"), "{:?}", bench.trouble());
    assert_eq!(bench.cue().plan.passages.len(), 3);
    let act = Act::Cell { passage: "One".into(), chair: "flute".into(), text: "bass".into(), was: None };
    assert!(bench.act(std::slice::from_ref(&act)).is_err());
    std::fs::write(&path, &first).unwrap();
    assert!(bench.look().unwrap());
    assert_eq!(bench.trouble(), None);
    bench.act(&[act]).unwrap();
}

/// A plan that is away is told with its place and with where its text still is, and no longer once it is back.
#[test]
fn a_file_that_is_away_is_told_until_it_is_back() {
    let folder = cue();
    let mut bench = Workbench::open(folder.path()).unwrap();
    for (name, kept) in [("cue.toml", "cue-from-page.toml"), ("template.toml", "template-from-page.toml")] {
        let path = folder.path().join(name);
        let text = std::fs::read_to_string(&path).unwrap();
        std::fs::remove_file(&path).unwrap();
        let before = bench.revision();
        assert!(bench.look().is_err());
        let revision = bench.revision();
        assert!(revision > before, "a new state, or it would not be shown");
        let trouble = bench.trouble().unwrap();
        assert!(
            trouble.contains(&format!("{name}: there is no such file")) && trouble.contains(kept),
            "{trouble}"
        );
        assert_eq!(std::fs::read_to_string(folder.path().join(".ripieno").join(kept)).unwrap(), text);
        assert!(bench.look().is_err());
        assert_eq!(bench.revision(), revision, "told once, not with every look");
        std::fs::write(&path, &text).unwrap();
        assert!(bench.look().unwrap());
        assert_eq!((bench.trouble(), bench.revision() > revision), (None, true));
        assert!(!bench.look().unwrap());
    }
    // A folder that is gone is not made again.
    let path = folder.path().to_path_buf();
    std::fs::remove_dir_all(&path).unwrap();
    assert!(bench.look().is_err() && bench.trouble().is_some());
    assert!(!path.exists());
}

/// The board is in score order whatever the order of the tracks, and with it of the template, was.
#[test]
fn the_board_is_in_score_order() {
    let folder = cue();
    let order = ["violins-1", "harp", "flute", "choir", "timpani", "violas", "horn", "celesta", "oboe"];
    let chair = |id: &str| {
        let instrument = match id {
            "violins-1" => "violin",
            "violas" => "viola",
            "choir" => "mixed-choir",
            other => other,
        };
        format!("[chair.{id}]\ninstrument = \"{instrument}\"\n")
    };
    let path = folder.path().join("template.toml");
    let rest = "[chair.cellos]\ninstrument = \"cello\"\n";
    std::fs::write(&path, order.map(chair).concat() + rest).unwrap();
    let bench = Workbench::open(folder.path()).unwrap();
    let played = ripieno_cue::Played::new(bench.cue(), None);
    let roles = ripieno_cue::view::LineRoles::of(&bench.cue().score);
    let board = ripieno_cue::view::board(&played, &roles);
    let rows: Vec<&str> = board.rows.iter().map(|r| r.chair.as_str()).collect();
    assert_eq!(
        rows,
        ["flute", "oboe", "horn", "timpani", "celesta", "harp", "choir", "violins-1", "violas", "cellos"]
    );
    // Each row is its own chair's.
    assert!(board.rows.iter().all(|r| r.plays() == CHAIRS[..4].contains(&r.chair.as_str())));
}

/// The music exported over the copy in the cue's folder is the music from then on, whatever the page does at that moment.
#[test]
fn an_export_is_seen() {
    let folder = cue();
    let path = folder.path().join("two.musicxml");
    let first = std::fs::read_to_string(&path).unwrap();
    let act =
        |text: &str| Act::Cell { passage: "One".into(), chair: "flute".into(), text: text.into(), was: None };
    let steps = |bench: &Workbench| -> Vec<i16> {
        bench.cue().source.tracks.iter().map(|t| t.content.notes[0].pitch().unwrap().key).collect()
    };
    let mut bench = Workbench::open(folder.path()).unwrap();
    assert!(!bench.look().unwrap());
    assert_eq!(steps(&bench), [69, 62]);
    std::fs::write(&path, first.replace("<step>A</step>", "<step>B</step>")).unwrap();
    bench.act(&[act("bass")]).unwrap();
    assert_eq!(steps(&bench), [71, 62]);
    assert!(!bench.look().unwrap());
    assert!(bench.plan_text().contains("flute = \"bass\""));
    // Half an export is told, and the last whole one goes on being played.
    std::fs::write(&path, &first[..first.len() / 2]).unwrap();
    assert!(bench.look().unwrap());
    assert!(bench.trouble().unwrap().contains("two.musicxml"), "{:?}", bench.trouble());
    assert_eq!(steps(&bench), [71, 62]);
    std::fs::write(&path, first + " ").unwrap();
    assert!(bench.look().unwrap());
    assert_eq!((bench.trouble(), steps(&bench)), (None, vec![69, 62]));
    assert!(bench.undo().unwrap() && bench.plan_text().contains("flute = \"tune\""));
}

#[test]
fn another_template_is_followed() {
    let folder = cue();
    let path = folder.path().join("cue.toml");
    let mut bench = Workbench::open(folder.path()).unwrap();
    let other = std::fs::read_to_string(folder.path().join("template.toml")).unwrap()
        + "[chair.harp]\ninstrument = \"harp\"\n";
    std::fs::write(folder.path().join("other.toml"), &other).unwrap();
    let act = Act::Plan {
        path: vec!["cue".into(), "template".into()],
        value: ripieno_cue::NewValue::Text("other.toml".into()),
    };
    assert!(matches!(bench.act(&[act]), Err(CueError::Refused(_))));
    let text = bench.plan_text().replace("music =", "template = \"other.toml\"\nmusic =");
    std::fs::write(&path, text).unwrap();
    assert!(bench.look().unwrap());
    assert_eq!(bench.cue().template.chairs.len(), 6);
    bench.act(&[Act::RemoveChair { id: "harp".into() }]).unwrap();
    assert!(!std::fs::read_to_string(folder.path().join("other.toml")).unwrap().contains("harp"));
    assert!(bench.undo().unwrap());
    assert_eq!(std::fs::read_to_string(folder.path().join("other.toml")).unwrap(), other);
}

fn some_act() -> impl Strategy<Value = Act> {
    let passage =
        prop_oneof![Just("One"), Just("Two"), Just("Three"), Just("Four"), Just("")].prop_map(String::from);
    let chair = prop_oneof![Just("flute"), Just("cellos"), Just("violas"), Just("harp"), Just("no such")]
        .prop_map(String::from);
    let text = prop_oneof![
        Just(String::new()),
        (0..80_usize).prop_map(words),
        Just("nonsense \"\n".to_string()),
        Just("col flute, p".to_string())
    ];
    prop_oneof![
        6 => (passage.clone(), chair.clone(), text).prop_map(|(passage, chair, text)| Act::Cell { passage, chair, text, was: None }),
        2 => (passage.clone(), passage.clone()).prop_map(|(passage, name)| Act::Rename { passage, name }),
        2 => (passage.clone(), passage.clone(), -2..12_i32).prop_map(|(passage, name, bar)| Act::Split { passage, bar, name }),
        1 => passage.clone().prop_map(|passage| Act::Join { passage }),
        1 => (chair.clone(), proptest::option::of(chair.clone())).prop_map(|(id, before)| Act::MoveChair { id, before }),
        1 => (chair.clone(), proptest::option::of(chair.clone()), 0..4_u16).prop_map(|(id, before, players)| Act::AddChair {
            instrument: id.trim_end_matches('s').to_string(), id, players, name: None, before }),
        1 => chair.prop_map(|id| Act::RemoveChair { id }),
        1 => passage.prop_map(|title| Act::Plan { path: vec!["cue".into(), "title".into()], value: ripieno_cue::NewValue::Text(title) }),
    ]
}

fn texts(folder: &Path) -> (String, String) {
    let read = |name: &str| std::fs::read_to_string(folder.join(name)).unwrap();
    (read("cue.toml"), read("template.toml"))
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(150))]

    /// All undone gives the first texts back byte for byte, all redone the last; every state between is what it was. What is
    /// refused changes nothing.
    #[test]
    fn undo_and_redo_go_the_same_way(acts in proptest::collection::vec(proptest::collection::vec(some_act(), 1..3), 1..14)) {
        let folder = cue();
        let mut bench = Workbench::open(folder.path()).unwrap();
        let mut states = vec![texts(folder.path())];
        for acts in &acts {
            let before = texts(folder.path());
            let done = bench.act(acts);
            let after = texts(folder.path());
            if let Err(error) = done {
                prop_assert_eq!(&before, &after, "{}", error);
            }
            if before != after {
                states.push(after);
            }
        }
        for state in states.iter().rev().skip(1) {
            prop_assert!(bench.undo().unwrap());
            prop_assert_eq!(&texts(folder.path()), state);
        }
        prop_assert!(!bench.undo().unwrap());
        for state in states.iter().skip(1) {
            prop_assert!(bench.redo().unwrap());
            prop_assert_eq!(&texts(folder.path()), state);
        }
        prop_assert!(!bench.redo().unwrap());
        prop_assert!(Workbench::open(folder.path()).is_ok());
    }
}

/// Runs one test of this file in a process of its own, under a shell that takes something away from it.
#[cfg(target_os = "linux")]
fn child(shell: &str, test: &str, folder: &Path) {
    let me = std::env::current_exe().unwrap();
    let out = std::process::Command::new("sh")
        .args(["-c", shell, "sh"])
        .arg(me)
        .args(["--exact", test, "--nocapture"])
        .env("RIPIENO_TEST_FOLDER", folder)
        .output()
        .unwrap();
    let said = format!("{}{}", String::from_utf8_lossy(&out.stdout), String::from_utf8_lossy(&out.stderr));
    assert!(out.status.success() && said.contains("refused with words"), "{said}");
}

/// In the child: an act is refused with words, and the files are as they were. Without a folder named, nothing is asked.
#[cfg(target_os = "linux")]
#[test]
fn refused_by_the_disk() {
    let Some(folder) = std::env::var_os("RIPIENO_TEST_FOLDER") else { return };
    let folder = Path::new(&folder);
    let before = texts(folder);
    let names = || {
        let mut names: Vec<_> = std::fs::read_dir(folder).unwrap().map(|e| e.unwrap().file_name()).collect();
        names.sort();
        names
    };
    let there = names();
    let mut bench = Workbench::open(folder).unwrap();
    for act in [
        Act::Cell { passage: "One".into(), chair: "flute".into(), text: "bass, ff".into(), was: None },
        Act::RemoveChair { id: "flute".into() },
    ] {
        let error = bench.act(&[act]).unwrap_err();
        assert!(error.is_machine() && error.to_string().contains(".toml: "), "{error}");
        assert_eq!((texts(folder), names()), (before.clone(), there.clone()));
        println!("refused with words: {error}");
    }
    assert_eq!(bench.undoes(), None);
}

/// No more bytes may be written than half a plan has: as on a full disk the file is cut short.
#[cfg(target_os = "linux")]
#[test]
fn a_full_disk_changes_nothing() {
    let folder = cue();
    // Longer than the limit of 512 or 1024 bytes, which is the shell's to choose.
    let path = folder.path().join("cue.toml");
    let longer = std::fs::read_to_string(&path).unwrap() + &"# so it goes on\n".repeat(200);
    std::fs::write(&path, longer).unwrap();
    let path = folder.path().join("template.toml");
    let longer = std::fs::read_to_string(&path).unwrap() + &"# so it goes on\n".repeat(200);
    std::fs::write(&path, longer).unwrap();
    child("trap '' XFSZ; ulimit -f 1; exec \"$@\"", "refused_by_the_disk", folder.path());
}

#[cfg(target_os = "linux")]
#[test]
fn a_folder_that_may_not_be_written_changes_nothing() {
    use std::os::unix::fs::PermissionsExt;
    let folder = cue();
    let mode = |mode| std::fs::set_permissions(folder.path(), std::fs::Permissions::from_mode(mode)).unwrap();
    mode(0o555);
    // The administrator may write everywhere, unless that right is given up.
    let superuser = std::fs::write(folder.path().join("probe"), "").is_ok();
    let _ = std::fs::remove_file(folder.path().join("probe"));
    let shell = if superuser { "exec setpriv --bounding-set=-all \"$@\"" } else { "exec \"$@\"" };
    child(shell, "refused_by_the_disk", folder.path());
    mode(0o755);
}
