//! What the composer wrote wrongly, and what is answered: place, fault, nearest word.

use ripieno_music::{Dynamic, OrnamentKind, Playing};
use ripieno_plan::{
    CellMark, CellWords, Diagnostic, LineVoice, PatchCard, Plan, Source, Template, card_from_list,
};

/// Text of a cell, and each complaint as `start:message | help`.
const CELLS: &[(&str, &[&str])] = &[
    ("melody", &[]),
    ("melody 8va, legato, p < mf", &[]),
    ("col violins-1 8vb", &[]),
    ("as written", &[]),
    ("tacet", &[]),
    ("chords.2, trem., pp", &[]),
    ("div.: melody / melody 8vb, f", &[]),
    ("melody; from 12.3 counter", &[]),
    ("melody from 8.4 to 12.2, solo", &[]),
    ("chords, div. a 3, con sord., p < f (bar 5) > p, niente", &[]),
    ("melody, words \"Ky-ri-e e-lei-son\", f", &[]),
    ("chords.top, \"oo\", pp", &[]),
    ("melody, col legno batt., f", &[]),
    ("melody, long roll", &[]),
    ("melody, accent", &[]),
    ("melody, 1. 3., mf", &[]),
    ("melody, legatto", &["8:`legatto` is not understood | did you mean `legato`?"]),
    ("melody 8vaa", &["7:`8vaa` is not understood | did you mean `8va`?"]),
    ("as writen", &["3:`as writen` is not understood | did you mean `as written`?"]),
    ("col", &["0:`col` names no chair | write col and a chair: col violins-1"]),
    ("melody from", &["7:`from` names no place | write bar and beat: 8.4"]),
    ("melody from x.y", &["12:`x.y` is no place | write bar and beat: 8.4, or a bar: 8"]),
    (
        "melody, p < g",
        &[
            "12:`g` is no dynamic | expected a dynamic: ppp pp p mp mf f ff fff sfz fp niente",
            "8:a hairpin leads nowhere | name the dynamic that it leads to: p < f",
        ],
    ),
    ("melody, p <", &["8:a hairpin leads nowhere | name the dynamic that it leads to: p < f"]),
    ("melody, words", &["8:`words` is followed by no text | write words \"Ky-ri-e\""]),
    ("", &["0:the cell names no source | begin with a line, `col` and a chair, `as written`, or `tacet`"]),
    (
        "legato, p",
        &["0:the cell names no source | begin with a line, `col` and a chair, `as written`, or `tacet`"],
    ),
    // Several faults in one run.
    (
        "melody 8vaa, legatto",
        &[
            "7:`8vaa` is not understood | did you mean `8va`?",
            "13:`legatto` is not understood | did you mean `legato`?",
        ],
    ),
];

#[test]
fn cells() {
    for (text, expected) in CELLS {
        let known = |word: &str| word == "accent";
        let (_, faults) = CellWords::parse_with(text, &known);
        let said: Vec<String> =
            faults.iter().map(|f| format!("{}:{} | {}", f.span.start, f.message, f.help)).collect();
        assert_eq!(said, *expected, "{text}");
    }
}

#[test]
fn what_a_cell_says() {
    let (cell, _) = CellWords::parse("chords.2 8vb from 8.4, con sord., p < f (bar 5) > p, niente, cut");
    let turn = &cell.divisions[0][0];
    assert_eq!(turn.source, Source::Line { name: "chords".into(), voice: LineVoice::Nth(2) });
    assert_eq!((turn.octave, turn.from.map(|p| (p.bar, p.beat))), (-12, Some((8, Some(4.0)))));
    assert_eq!(cell.marks[0], CellMark::Playing(Playing::ConSord));
    let CellMark::Dynamics(steps) = &cell.marks[1] else { panic!("{:?}", cell.marks) };
    let read: Vec<_> = steps.iter().map(|s| (s.hairpin, s.dynamic, s.at.map(|p| p.bar))).collect();
    assert_eq!(
        read,
        [
            (None, Dynamic::P, None),
            (Some(true), Dynamic::F, Some(5)),
            (Some(false), Dynamic::P, None),
            (Some(false), Dynamic::Niente, None)
        ]
    );
    assert_eq!(cell.marks[2], CellMark::Ornament(OrnamentKind::Cut));
}

#[test]
fn a_cell_written_is_the_cell_read() {
    for (text, expected) in CELLS.iter().filter(|c| c.1.is_empty()) {
        let known = |word: &str| word == "accent";
        let (cell, _) = CellWords::parse_with(text, &known);
        let (again, faults) = CellWords::parse_with(&cell.to_string(), &known);
        assert!(faults.is_empty(), "{text} -> {cell}: {faults:?} {expected:?}");
        assert_eq!(again.marks, cell.marks, "{text} -> {cell}");
        let plain = |c: &CellWords| {
            let turns = c.divisions.iter().flatten();
            turns.map(|t| (t.source.clone(), t.octave, t.from, t.to)).collect::<Vec<_>>()
        };
        assert_eq!(plain(&again), plain(&cell), "{text} -> {cell}");
    }
}

fn said(found: &[Diagnostic]) -> Vec<String> {
    found.iter().map(|d| format!("{}:{} {} | {}", d.line, d.column, d.message, d.help)).collect()
}

const TEMPLATE: &str = "[chair.flute]\ninstrument = \"flute\"\n[chair.clarinet]\ninstrument = \"clarinet\"\n\
    [chair.violas]\ninstrument = \"viola\"\nplayers = 12\n";

fn check(plan: &str) -> Vec<String> {
    let (read, mut found) = Plan::parse("cue.toml", plan);
    let (template, faults) = Template::parse("template.toml", TEMPLATE);
    assert!(faults.is_empty(), "{faults:?}");
    found.extend(read.check_against(&template, "cue.toml", plan));
    said(&found)
}

fn plan(cells: &str) -> String {
    format!(
        "[cue]\ntitle = \"A\"\nmusic = \"a.mid\"\n[lines]\nmelody = {{ track = \"Lead\" }}\nchords = {{ track = \"Pad\", voices = 3 }}\n\
         [[passage]]\nname = \"Quay\"\nbars = [1, 8]\n[passage.casting]\n{cells}"
    )
}

#[test]
fn plans() {
    assert_eq!(check(&plan("flute = \"melody\"\nclarinet = \"col flute 8vb\"\n")), [""; 0]);
    for (cells, expected) in [
        ("flute = \"melodie\"\n", "11:10 `melodie` is no line of this plan | did you mean `melody`?"),
        ("flut = \"melody\"\n", "11:8 the template has no chair `flut` | did you mean `flute`?"),
        (
            "flute = \"chords.4\"\n",
            "11:10 `chords` has 3 voices, not 4 | its voices are chords.top to chords.3",
        ),
        (
            "flute = \"col violas\"\n",
            "11:10 `violas` is silent in \"Quay\", and so is `flute` | give that chair something to play, or choose another",
        ),
        (
            "flute = \"as written\"\n",
            "11:10 there is no line `flute` to be played as written | add to [lines]: flute = { track = \"...\" }",
        ),
        ("flute = 3\n", "11:9 the cell of `flute` is no text | write chair = \"melody, legato\""),
        (
            "flute = \"col clarinet\"\nclarinet = \"col violas\"\nviolas = \"col flute\"\n",
            "11:9 `col` goes round in a circle: flute → clarinet → violas → flute | let one of them play a line",
        ),
    ] {
        assert_eq!(check(&plan(cells)), [expected], "{cells}");
    }
    let overlapping = plan("") + "[[passage]]\nname = \"Sea\"\nbars = [8, 9]\n";
    assert!(check(&overlapping)[0].contains("passage \"Sea\" begins at bar 8 inside \"Quay\""));
    let misspelt = plan("").replace("title", "titel");
    assert_eq!(check(&misspelt), ["2:1 `titel` is not a key of [cue] | did you mean `title`?"]);
    assert!(check("[cue\n")[0].starts_with("1:"), "{:?}", check("[cue\n"));
    assert!(check("")[0].contains("the plan has no [cue]"));
}

#[test]
fn templates() {
    for (text, expected) in [
        (
            "[chair.a]\ninstrument = \"violinn\"\n",
            "2:14 `violinn` is no instrument of the table | did you mean `violin`?",
        ),
        (
            "[chair.a]\ninstrument = \"violin\"\nplayers = 0\n",
            "3:11 `players` is 0 | expected a whole number from 1 to 500",
        ),
        (
            "[chair.a]\ninstrument = \"violin\"\nseat = [1]\n",
            "3:8 `seat` is not two numbers within 100 m | write metres from the conductor: seat = [-3.6, 2.2]",
        ),
        (
            "[chair.a]\ninstrument = \"violin\"\n[mix]\nloudness = 3\n",
            "4:12 `loudness` is 3 | expected a number from -60 to -5",
        ),
        ("", "1:1 the template has no chairs | write [chair.violins-1] and instrument = \"violin\""),
    ] {
        assert_eq!(said(&Template::parse("t", text).1), [expected], "{text}");
    }
    let ordered = "[chair.a]\ninstrument = \"violin\"\norder = 2\n[chair.b]\ninstrument = \"viola\"\norder = 1\n[chair.c]\ninstrument = \"cello\"\n";
    let ids: Vec<String> = Template::parse("t", ordered).0.chairs.into_iter().map(|c| c.id).collect();
    assert_eq!(ids, ["b", "a", "c"]);
}

#[test]
fn cards() {
    let card = |body: &str| said(&PatchCard::parse("c", body).1);
    let two = |a: &str, b: &str| {
        card(&format!(
            "[[articulation]]\nname = \"legato\"\n{a}\n[[articulation]]\nname = \"staccato\"\n{b}\n"
        ))
    };
    assert_eq!(two("call = { key = \"C0\" }", "call = { key = \"D0\", mode = \"held\" }"), [""; 0]);
    for (a, b, expected) in [
        ("call = { key = \"C0\" }", "call = { key = \"C0\" }", "`legato` and `staccato` share a call"),
        ("", "", "both have no call"),
        ("call = { velocity = [1, 60] }", "call = { velocity = [60, 90] }", "overlap"),
        ("call = { key = \"H0\" }", "call = { channel = 2 }", "this is no key"),
        (
            "call = { key = 0, mode = \"hold\" }",
            "call = { channel = 2 }",
            "`hold` is no mode of a key | did you mean `held`?",
        ),
        ("call = { channel = 17 }", "call = { channel = 2 }", "expected a whole number from 1 to 16"),
        (
            "call = { controller = [1, 5] }",
            "call = { channel = 2 }",
            "controller 1 calls `legato` and carries the dynamics",
        ),
        ("call = { kee = \"C0\" }", "call = { channel = 2 }", "did you mean `key`?"),
        ("colour = \"con-sor\"\ncall = { key = 1 }", "call = { channel = 2 }", "did you mean `con-sord`?"),
        ("speaks-after-ms = -4\ncall = { key = 1 }", "call = { channel = 2 }", "this is no delay"),
        ("call = { key = 1 }", "", "cannot come back"),
        ("call = { program = 3, bank = [1] }", "call = { channel = 2 }", "`bank` is not two bytes"),
    ] {
        let found = two(a, b);
        assert!(found.iter().any(|f| f.contains(expected)), "{a} / {b}: {found:?}");
    }
    for (body, expected) in [
        ("sounding = [\"C4\", \"C3\"]\n[[articulation]]\nname = \"x\"\n", "goes from 60 down to 48"),
        ("middle-c = \"D4\"\n[[articulation]]\nname = \"x\"\n", "`middle-c` is no name of middle C"),
        (
            "sounding = [0, 127]\n[[articulation]]\nname = \"x\"\ncall = { key = 5 }\n",
            "key 5 calls `x` and sounds as well",
        ),
        (
            "dynamics = { controller = 1, response = [[1, 0], [2, -3]] }\n[[articulation]]\nname = \"x\"\n",
            "not a rising list",
        ),
        ("[[articulation]]\ncolour = \"non-vib\"\n", "an articulation has no name"),
        ("instead = [\"y\"]\n[[articulation]]\nname = \"x\"\n", "`instead` names `y`"),
        ("", "the card has no articulation"),
    ] {
        let found = card(body);
        assert!(found.iter().any(|f| f.contains(expected)), "{body}: {found:?}");
    }
    // Octaves as the card counts them.
    let (read, _) = PatchCard::parse(
        "c",
        "middle-c = \"C3\"\nsounding = [\"C3\", \"C4\"]\n[[articulation]]\nname = \"x\"\n",
    );
    assert_eq!(read.sounding, Some((60, 72)));
}

/// Damaged files: complaints, no panic. `RIPIENO_MUTATIONS` sets how many.
#[test]
fn mutations() {
    let count: usize = std::env::var("RIPIENO_MUTATIONS").ok().and_then(|c| c.parse().ok()).unwrap_or(3000);
    let card = "patch = \"x\"\nmiddle-c = \"C4\"\nsounding = [\"D3\", \"Bb6\"]\ndynamics = { controller = 1, response = [[0, -40], [127, 6]] }\n\
        [[articulation]]\nname = \"legato\"\ncall = [{ key = \"C1\" }, { controller = [32, 5] }]\nspeaks-after-ms = { first = 40, joined = [[1, 250], [64, 160]] }\n";
    let seeds = [
        plan(
            "flute = \"melody 8va, p < f (bar 5) > p, niente\"\nviolas = \"div.: chords.2 / chords.3, con sord.\"\n",
        ),
        TEMPLATE.to_string(),
        card.to_string(),
        "C0 legato\nCC32 = 5 con sord\nvel 1-63 stacc.\n".to_string(),
    ];
    let mut chance = ripieno_units::Chance::named(5, &["plan", "mutations"]);
    let (template, _) = Template::parse("t", TEMPLATE);
    for case in 0..count {
        let mut bytes = seeds[case % seeds.len()].clone().into_bytes();
        for _ in 0..1 + chance.below(6) {
            let at = chance.below(bytes.len().max(1)).min(bytes.len().saturating_sub(1));
            match chance.below(4) {
                0 if !bytes.is_empty() => bytes[at] = chance.bits() as u8,
                1 if !bytes.is_empty() => {
                    bytes.remove(at);
                }
                2 => bytes.insert(at, b"\"[]{}=,.;/()<>#\n0"[chance.below(17)]),
                _ => {
                    let end = (at + chance.below(30)).min(bytes.len());
                    let piece = bytes[at.min(end)..end].to_vec();
                    bytes.splice(at..at, piece);
                }
            }
        }
        let text = String::from_utf8_lossy(&bytes).into_owned();
        let (plan, _) = Plan::parse("c", &text);
        plan.check_against(&template, "c", &text);
        Template::parse("t", &text);
        PatchCard::parse("p", &text);
        card_from_list(&text);
        let (cell, _) = CellWords::parse(&text);
        let _ = cell.to_string();
    }
}
