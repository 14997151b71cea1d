//! What the composer wrote, and what is answered: place, fault, nearest word. The cases stand in `cases/`: `--- name`,
//! the text of a file, then each complaint as `! line:column message | help`. For cells the name is the text, `=` its
//! canonical form, and a complaint begins with its byte, from 1.

use ripieno_plan::{CellWords, Diagnostic, PatchCard, Plan, Template};

/// Name, text, answers.
fn cases(file: &str) -> Vec<(String, String, Vec<String>)> {
    let mut out: Vec<(String, String, Vec<String>)> = Vec::new();
    for line in file.lines() {
        if let Some(name) = line.strip_prefix("---") {
            out.push((name.trim().to_string(), String::new(), Vec::new()));
            continue;
        }
        let Some(case) = out.last_mut() else { continue };
        match line.strip_prefix("! ") {
            Some(answer) => case.2.push(answer.to_string()),
            None => case.1 += &format!("{line}\n"),
        }
    }
    out
}

fn said(found: &[Diagnostic]) -> Vec<String> {
    let one = |d: &Diagnostic| {
        let kind = if d.warning { "warning: " } else { "" };
        format!("{}:{} {kind}{} | {}", d.line, d.column, d.message, d.help).trim_end().to_string()
    };
    found.iter().map(one).collect()
}

fn compare(file: &str, read: impl Fn(&str) -> Vec<Diagnostic>) -> usize {
    let cases = cases(file);
    for (name, text, expected) in &cases {
        let found = read(text);
        assert_eq!(said(&found), *expected, "{name}");
        for d in &found {
            assert!(d.span.start <= d.span.end && d.span.end <= text.len(), "{name}: {d:?}");
            assert!(!d.help.is_empty(), "{name}: {d}");
        }
    }
    cases.len()
}

const TEMPLATE: &str = "[chair.flute]\ninstrument = \"flute\"\n[chair.clarinet]\ninstrument = \"clarinet\"\n\
    [chair.bass-clarinet]\ninstrument = \"bass-clarinet\"\n[chair.violas]\ninstrument = \"viola\"\nplayers = 12\n";

#[test]
fn plans() {
    let (template, faults) = Template::parse("template.toml", TEMPLATE);
    assert!(faults.is_empty(), "{faults:?}");
    let count = compare(include_str!("cases/plans.txt"), |text| {
        let (plan, mut found) = Plan::parse("cue.toml", text);
        found.extend(plan.check_against(&template, "cue.toml", text));
        found
    });
    assert!(count >= 30, "{count}");
}

#[test]
fn templates() {
    let count = compare(include_str!("cases/templates.txt"), |text| Template::parse("template.toml", text).1);
    assert!(count >= 10, "{count}");
}

#[test]
fn cards() {
    let count = compare(include_str!("cases/cards.txt"), |text| PatchCard::parse("card.toml", text).1);
    assert!(count >= 25, "{count}");
}

#[test]
fn cells() {
    let known = |word: &str| word == "accent";
    let near = ["melody", "counter", "violas"];
    let cases = cases(include_str!("cases/cells.txt"));
    assert!(cases.len() >= 70, "{}", cases.len());
    for (text, canonical, expected) in cases {
        let (cell, faults) = CellWords::parse_among(&text, &known, &near);
        let found: Vec<String> =
            faults.iter().map(|f| format!("{} {} | {}", f.span.start + 1, f.message, f.help)).collect();
        assert_eq!(found, expected, "{text}");
        assert_eq!(format!("= {cell}").trim(), canonical.trim(), "{text}");
        // What was understood is written so that it reads without faults, if a source was understood.
        if cell.divisions.iter().all(|d| !d.is_empty()) && expected.is_empty() {
            let (again, faults) = CellWords::parse_among(&cell.to_string(), &known, &near);
            assert!(faults.is_empty(), "{text} -> {cell}: {faults:?}");
            assert_eq!(again.to_string(), cell.to_string());
        }
    }
}

#[test]
fn a_word_of_a_card_is_known_to_a_plan_that_is_told() {
    let text = "[cue]\nmusic = \"a.mid\"\n[lines]\nmelody = { track = \"Lead\" }\n[[passage]]\nbars = [1, 8]\n\
        [passage.casting]\nflute = \"melody, doit-fall\"\n";
    assert_eq!(said(&Plan::parse("cue.toml", text).1).len(), 1);
    let (plan, found) = Plan::parse_with("cue.toml", text, &|word| word == "doit-fall");
    assert!(found.is_empty(), "{found:?}");
    assert_eq!(plan.passages[0].cells[0].words.to_string(), "melody, doit-fall");
}

#[test]
fn a_complaint_reads_as_one_line_with_its_help_below() {
    let (_, found) = Plan::parse("night-ferry/cue.toml", "[cue]\nmusic = \"a.mid\"\ntitel = \"A\"\n");
    assert_eq!(
        found[0].to_string(),
        "night-ferry/cue.toml:3:1: `titel` is not a key of [cue]\n    did you mean `title`?"
    );
}

/// The files that the demo ships with have nothing to complain about.
#[test]
fn the_demo() {
    let folder = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("../../demo/night-ferry");
    let read = |name: &str| std::fs::read_to_string(folder.join(name)).unwrap();
    let (plan, mut found) = Plan::parse("cue.toml", &read("cue.toml"));
    let (template, more) = Template::parse("template.toml", &read("template.toml"));
    found.extend(more);
    found.extend(plan.check_against(&template, "cue.toml", &read("cue.toml")));
    let cards: std::collections::BTreeSet<&String> = template.chairs.iter().flat_map(|c| &c.cards).collect();
    assert!(cards.len() >= 5 && plan.passages.len() >= 6);
    for card in cards {
        found.extend(PatchCard::parse(card, &read(card)).1);
    }
    assert!(found.is_empty(), "{found:?}");
}
