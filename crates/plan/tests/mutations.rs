//! Damaged files: complaints with a place, never a panic. `RIPIENO_MUTATIONS` sets how many for each parser; they
//! are the same every time.

use ripieno_plan::edit::{self, NewValue, PassageRef};
use ripieno_plan::{CellWords, Diagnostic, PatchCard, Plan, Template, card_from_list};
use ripieno_units::Chance;

const PLAN: &str = r#"# a plan
[cue]
title = "Night Ferry"   # working title
music = "n.mid"
seed = 7
date = 2026-11-25
[performance]
keep = ["curves", "timing"]
a = 442.0
[lines]
melody = { track = "Lead" }
chords = { track = "Pad", voices = 3, strokes = ["triangle"] }
[[passage]]
name = "Quay"
bars = [1, 8]
[passage.casting]
flute    = "melody 8va, p < f (bar 5) > p, niente"
violas   = 'div.: chords.2 / chords.bottom, con sord., words "Ky-ri-é"'
clarinet = "melody to 4; from 5 col flute 8vb, long roll, 1. 3."
[[passage]]
name = "Sea"
bars = [9, 16]
casting = { flute = "col violas", violas = "col flute" }
"#;

const TEMPLATE: &str = r#"[chair.flute]
instrument = "flute"
players = 2
card = "cards/a.toml"
seat = [-3.6, 2.2]
[chair.violas]
instrument = "viola"
cards = ["b.toml", "c.toml"]
gain-db = -2
[chair.clarinet]
instrument = "clarinet"
[mix]
loudness = -18
"#;

const CARD: &str = r#"patch = "x"
instrument = "clarinet"
middle-c = "C4"
sounding = ["D3", "Bb6"]
strokes = { "tam-tam" = "C9" }
dynamics = { controller = 1, expression = 11, response = [[0, -40], [64, -12], [127, 6]] }
instead = ["legato"]
[[articulation]]
name = "legato"
colour = "con-sord"
call = [{ key = "C1", mode = "held" }, { controller = [32, 5] }]
speaks-after-ms = { first = 40, joined = [[1, 250], [64, 160]] }
overlap-ms = -4.5
[[articulation]]
name = "accent"
call = { velocity = [100, 127] }
[[articulation]]
name = "trill-1"
call = { program = 3, bank = [0, 1] }
"#;

const CELL: &str = r#"div.: melody.2 8va from 8.4 / col horns to 12; from 13 as written, words "oo", p < f (bar 5), niente, a 2"#;

const LIST: &str = "Middle C = C3\nC0 legato, C#0: stacc.\nCC32 = 5 con sord\nvel 1-63 spiccato\nPC 12 marcato\nCh 3 - trill (half)\n";

/// Signs that mean something in one of the grammars.
const SIGNS: &[u8] = b"\"'[]{}=,.;:/()<>#\\\n\r\t -0189abCv";

fn damage(chance: &mut Chance, seed: &str) -> String {
    let mut bytes = seed.as_bytes().to_vec();
    for _ in 0..=chance.below(6) {
        if bytes.is_empty() {
            break;
        }
        let at = chance.below(bytes.len());
        let end = (at + chance.below(40)).min(bytes.len());
        match chance.below(6) {
            0 => bytes[at] = chance.bits() as u8,
            1 => bytes.insert(at, SIGNS[chance.below(SIGNS.len())]),
            2 => bytes[at] = SIGNS[chance.below(SIGNS.len())],
            3 => {
                bytes.drain(at..end);
            }
            4 => {
                let piece = bytes[at..end].to_vec();
                let to = chance.below(bytes.len());
                bytes.splice(to..to, piece);
            }
            _ => bytes.truncate(at),
        }
    }
    String::from_utf8_lossy(&bytes).into_owned()
}

fn sound(text: &str, found: &[Diagnostic]) {
    for d in found {
        assert!(d.span.start <= d.span.end && d.span.end <= text.len(), "{text:?}\n{d:?}");
        assert!(d.line >= 1 && d.column >= 1 && d.line <= text.matches('\n').count() + 1, "{text:?}\n{d:?}");
        assert!(!d.message.is_empty());
    }
}

#[test]
fn mutations() {
    let each: usize = std::env::var("RIPIENO_MUTATIONS").ok().and_then(|c| c.parse().ok()).unwrap_or(5000);
    let count = 5 * each;
    let mut chance = Chance::named(5, &["plan", "mutations"]);
    let (template, _) = Template::parse("t", TEMPLATE);
    let (mut complained, mut slowest) = (0usize, std::time::Duration::ZERO);
    for case in 0..count {
        let begun = std::time::Instant::now();
        let found = match case % 5 {
            0 => {
                let text = damage(&mut chance, PLAN);
                let (plan, mut found) = Plan::parse("cue.toml", &text);
                found.extend(plan.check_against(&template, "cue.toml", &text));
                sound(&text, &found);
                changes(&text);
                found.len()
            }
            1 => {
                let text = damage(&mut chance, TEMPLATE);
                let (_, found) = Template::parse("t", &text);
                sound(&text, &found);
                let _ = edit::set_value(&text, &["chair", "flute", "gain-db"], &NewValue::Number(-3.0));
                found.len()
            }
            2 => {
                let text = damage(&mut chance, CARD);
                let (card, found) = PatchCard::parse("c", &text);
                sound(&text, &found);
                assert!(!card.articulations.is_empty());
                // A card that was understood can be written; it then is TOML.
                let (_, again) = PatchCard::parse("c", &card.to_toml());
                assert!(!again.iter().any(|d| d.message.contains("TOML")), "{}", card.to_toml());
                found.len()
            }
            3 => {
                let text = damage(&mut chance, CELL);
                let (cell, faults) = CellWords::parse(&text);
                for fault in &faults {
                    let cut = text.get(fault.span.start..fault.span.end);
                    assert!(cut.is_some(), "{text:?} {fault:?}");
                }
                let _ = CellWords::parse(&cell.to_string());
                faults.len()
            }
            _ => {
                let text = damage(&mut chance, LIST);
                let (card, found) = card_from_list("list.txt", &text);
                sound(&text, &found);
                let (_, faults) = PatchCard::parse("c", &card);
                // A card from a list is never refused.
                assert!(faults.iter().all(|d| d.warning), "{text:?}\n{card}\n{faults:?}");
                found.len()
            }
        };
        slowest = slowest.max(begun.elapsed());
        complained += usize::from(found > 0);
    }
    assert!(complained * 3 > count, "of {count} damaged texts only {complained} were complained about");
    assert!(slowest.as_secs_f64() < 2.0, "{slowest:?}");
}

/// Changes to a damaged plan succeed with TOML, or say why not.
fn changes(text: &str) {
    let quay = PassageRef::Name("Quay");
    let changed = [
        edit::set_cell(text, quay, "flute", "tacet"),
        edit::set_cell(text, 1usize, "horns", "melody, words \"oo\""),
        edit::set_cell(text, quay, "violas", ""),
        edit::rename_passage(text, quay, "Pier"),
        edit::split_passage(text, quay, 5, "Quay, again"),
        edit::join_passages(text, quay),
        edit::set_value(text, &["performance", "asynchrony"], &NewValue::Number(0.5)),
    ];
    for result in changed {
        match result {
            Ok(new) => {
                let (_, found) = Plan::parse("cue.toml", &new);
                assert!(!found.iter().any(|d| d.message.contains("TOML")), "{text:?}\n{new:?}\n{found:?}");
            }
            Err(d) => sound(text, &[d]),
        }
    }
}

/// Size alone makes no trouble: chairs that all play with each other, many passages, a very long cell.
#[test]
fn large_files_are_read_in_time() {
    let begun = std::time::Instant::now();
    let mut plan = String::from("[cue]\nmusic = \"a.mid\"\n[lines]\nm = { track = \"x\" }\n");
    for passage in 0..60 {
        plan += &format!(
            "[[passage]]\nname = \"{passage}\"\nbars = [{}, {}]\n[passage.casting]\n",
            passage * 8 + 1,
            passage * 8 + 8
        );
        for chair in 0..60 {
            plan += &format!("c{chair} = \"div.: col c{} / col c{}, lagato\"\n", chair + 1, chair + 2);
        }
    }
    let (read, found) = Plan::parse("cue.toml", &plan);
    assert_eq!(found.len(), 3600);
    let (template, _) = Template::parse("t", TEMPLATE);
    read.check_against(&template, "cue.toml", &plan);
    for cell in ["melody / ", "lagato, ", "x ", "p ", "\"a\", ", "col c1; ", "< "] {
        let cell = cell.repeat(20_000);
        CellWords::parse(&cell);
        let text = format!(
            "[cue]\nmusic = \"a\"\n[[passage]]\nbars = [1, 2]\n[passage.casting]\nflute = '{cell}'\n"
        );
        let (read, _) = Plan::parse("cue.toml", &text);
        read.check_against(&template, "cue.toml", &text);
        card_from_list("list.txt", &cell);
    }
    card_from_list("list.txt", &format!("C0 legato{}", ", x".repeat(20_000)));
    PatchCard::parse("c", &"[[articulation]]\nname = \"a\"\n".repeat(2000));
    Plan::parse("c", &"[[passage]]\nname = \"a\"\nbars = [1, 2]\n= \n".repeat(2000));
    card_from_list("list.txt", &"C0 legato, ".repeat(2000));
    assert!(begun.elapsed().as_secs_f64() < 60.0, "{:?}", begun.elapsed());
}
