//! Changing a plan in place: one cell is replaced, and every other byte stays as the composer wrote it.

use crate::toml::place;
use crate::{Diagnostic, Span};
use toml_edit::{DocumentMut, Item, Value};

/// The plan's text with the cell of `chair` in the passage named `passage` set to `cell`; an empty cell takes the chair out of
/// the passage. Comments and layout survive.
///
/// Errors: the text is no TOML, or has no such passage.
pub fn set_cell(text: &str, passage: &str, chair: &str, cell: &str) -> Result<String, Diagnostic> {
    let fault = |at: usize, message: String, help: &str| {
        let (line, column) = place(text, at);
        let span = Span { start: at, end: at };
        Diagnostic { file: "cue.toml".into(), line, column, span, message, help: help.into(), warning: false }
    };
    let mut document: DocumentMut = text.parse().map_err(|e: toml_edit::TomlError| {
        fault(
            e.span().map_or(0, |s| s.start),
            format!("this is not TOML: {}", e.message()),
            "correct the text here",
        )
    })?;
    let passages = document.get_mut("passage").and_then(Item::as_array_of_tables_mut);
    let table = passages
        .and_then(|all| all.iter_mut().find(|t| t.get("name").and_then(Item::as_str) == Some(passage)))
        .ok_or_else(|| {
            fault(0, format!("the plan has no passage \"{passage}\""), "name one of its passages")
        })?;
    let casting =
        table.entry("casting").or_insert_with(toml_edit::table).as_table_like_mut().ok_or_else(|| {
            fault(0, format!("`casting` of \"{passage}\" is no table"), "write [passage.casting]")
        })?;
    if cell.is_empty() {
        casting.remove(chair);
    } else if let Some(Item::Value(value)) = casting.get_mut(chair) {
        // What stands around the old value (spaces, a comment behind it) stays.
        let around = value.decor().clone();
        *value = Value::from(cell);
        *value.decor_mut() = around;
    } else {
        casting.insert(chair, toml_edit::value(cell));
    }
    Ok(document.to_string())
}

#[cfg(test)]
mod tests {
    use super::*;

    const PLAN: &str = "# my plan\n[cue]\ntitle = \"A\"   # working title\nmusic = \"a.mid\"\n\n[[passage]]\nname = \"Quay\"\nbars = [1, 8]\n[passage.casting]\nflute    = \"melody\"      # alone\nviolas   = \"chords.2\"\n";

    #[test]
    fn only_the_cell_changes() {
        let changed = set_cell(PLAN, "Quay", "flute", "melody 8va, p").unwrap();
        assert_eq!(changed, PLAN.replace("\"melody\" ", "\"melody 8va, p\" "));
        let added = set_cell(PLAN, "Quay", "oboe", "col flute").unwrap();
        assert_eq!(added, format!("{PLAN}oboe = \"col flute\"\n"));
        let without = set_cell(PLAN, "Quay", "violas", "").unwrap();
        assert_eq!(without, PLAN.replace("violas   = \"chords.2\"\n", ""));
        assert!(set_cell(PLAN, "Sea", "flute", "melody").is_err());
    }
}
