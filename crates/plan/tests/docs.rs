//! The examples of the references in `docs/` read without complaint.

use ripieno_plan::{CellWords, PatchCard, Plan, Template, card_from_list};

fn page(name: &str) -> String {
    let path = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("../../docs").join(name);
    std::fs::read_to_string(path).unwrap_or_else(|e| panic!("{name}: {e}"))
}

/// Blocks that are indented by four, without the indent.
fn blocks(page: &str) -> Vec<String> {
    let mut out = vec![String::new()];
    for line in page.lines() {
        match (line.strip_prefix("    "), out.last_mut()) {
            (Some(code), Some(block)) => *block += &format!("{code}\n"),
            (None, Some(block)) if line.is_empty() && !block.is_empty() => *block += "\n",
            (None, Some(block)) if !block.is_empty() => out.push(String::new()),
            _ => {}
        }
    }
    out
}

#[test]
fn the_plan() {
    let text = &blocks(&page("plan.md"))[0];
    let (plan, found) = Plan::parse("plan.md", text);
    assert!(found.is_empty(), "{found:?}");
    assert_eq!((plan.passages.len(), plan.lines.len()), (1, 2));
}

#[test]
fn the_template() {
    let (template, found) = Template::parse("template.md", &blocks(&page("template.md"))[0]);
    assert!(found.is_empty(), "{found:?}");
    assert_eq!(template.chairs.len(), 3);
}

#[test]
fn the_card() {
    let blocks = blocks(&page("patch-card.md"));
    let (card, found) = PatchCard::parse("patch-card.md", &blocks[0]);
    // It shows one articulation and falls back to two; nothing else may be said.
    assert!(found.iter().all(|d| d.warning && d.message.contains("`instead`")), "{found:?}");
    assert_eq!(card.articulations.len(), 1);
    let list = blocks.iter().find(|b| b.starts_with("middle C")).unwrap();
    let (text, found) = card_from_list("list.txt", list);
    assert!(found.is_empty(), "{found:?}");
    let (card, found) = PatchCard::parse("card.toml", &text);
    assert!(found.is_empty(), "{text}\n{found:?}");
    assert_eq!(card.articulations.len(), 10);
    assert_eq!(card.middle_c, 3);
}

#[test]
fn the_cells() {
    let page = page("shorthand.md");
    let tables: Vec<&str> = page.lines().filter(|l| l.starts_with("| `")).collect();
    assert!(tables.len() > 10);
    let mut cells = 0;
    for row in tables {
        let first = row.split('|').nth(1).unwrap_or("");
        for code in first.split('`').skip(1).step_by(2) {
            // A mark stands after a source.
            let (_, faults) = CellWords::parse(code);
            let (_, after) = CellWords::parse(&format!("melody, {code}"));
            assert!(faults.is_empty() || after.is_empty(), "{code}: {faults:?}");
            cells += 1;
        }
    }
    // Every mark of the marks' table.
    let known = |word: &str| ripieno_plan::ARTICULATIONS.contains(&word);
    let marks = page.split("## Marks").nth(1).and_then(|p| p.split("Italian").next()).unwrap_or("");
    for row in marks.lines().filter(|l| l.starts_with("| ") && l.contains('`')) {
        let second = row.split('|').nth(2).unwrap_or("");
        for code in second.split('`').skip(1).step_by(2) {
            let text = match code {
                "batt." | "tratto" => format!("melody, col legno {code}"),
                _ => format!("melody, {code}"),
            };
            let (_, faults) = CellWords::parse_with(&text, &known);
            assert!(faults.is_empty(), "{text}: {faults:?}");
            cells += 1;
        }
    }
    assert!(cells > 50, "{cells}");
}

/// What an example is of: a piece of a plan, of a template, or cells.
#[test]
fn every_example_of_the_references_and_the_guide() {
    let mut count = [0; 3];
    for name in ["plan.md", "template.md", "shorthand.md", "guide.md"] {
        for text in blocks(&page(name)) {
            let first = text.split_whitespace().next().unwrap_or("");
            if first.is_empty() || first == "ripieno" || first.starts_with("cue.toml:") {
                continue;
            }
            let chair = "[chair.flute]\ninstrument = \"flute\"\n";
            // Pieces of a whole get the rest of it.
            if ["[cue]", "[deliver]", "[picture]", "[accept]"].contains(&first) {
                let cue = if first == "[cue]" { "" } else { "[cue]\nmusic = \"piece.mid\"\n" };
                let (_, found) = Plan::parse(name, &format!("{cue}{text}"));
                assert!(found.is_empty(), "{name}: {found:?}\n{text}");
                count[0] += 1;
            } else if first.starts_with('[') || first == "font" {
                let whole = if text.contains("[chair") { "" } else { chair };
                let (_, found) = Template::parse(name, &format!("{whole}{text}"));
                assert!(found.is_empty(), "{name}: {found:?}\n{text}");
                count[1] += 1;
            } else {
                for line in text.lines().filter(|l| !l.trim().is_empty()) {
                    let cell = line.split('"').nth(1).unwrap_or_else(|| panic!("{name}: no cell in {line}"));
                    let (_, faults) = CellWords::parse(cell);
                    assert!(faults.is_empty(), "{name}: {cell}: {faults:?}");
                    count[2] += 1;
                }
            }
        }
    }
    assert!(count[0] >= 4 && count[1] >= 3 && count[2] >= 10, "{count:?}");
}
