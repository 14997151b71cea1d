//! What is said is taken back in place: what it stood for holds again as if nothing had been said.

use crate::Diagnostic;
use crate::diagnostic::Lines;
use crate::edit::{checked, fault, read, splice};
use toml_edit::{Item, TableLike};

/// Takes a value out by its path, such as `["chair", "harp", "seat"]`; a comment on its line goes with it, the table stays.
/// Where nothing is said of it the text stays as it is.
///
/// Errors: an empty path, a text that is no TOML, a path that ends in a whole table.
pub fn remove_value(text: &str, path: &[&str]) -> Result<String, Diagnostic> {
    let root = read(text)?;
    let Some((name, tables)) = path.split_last() else {
        return Err(fault(text, None, "the path is empty".into(), "name a table and a key".into()));
    };
    let mut table: &dyn TableLike = &root;
    let mut inline = false;
    for part in tables {
        let Some(item) = table.get(part) else { return Ok(text.to_string()) };
        let Some(inner) = item.as_table_like() else { return Ok(text.to_string()) };
        (table, inline) = (inner, item.is_inline_table());
    }
    match table.get(name) {
        None => Ok(text.to_string()),
        Some(item) if item.is_table() || item.is_array_of_tables() => Err(fault(
            text,
            item.span(),
            format!("`{name}` is a table, not a value"),
            "take it out by hand".into(),
        )),
        Some(item) => take_out(text, table, name, item, inline),
    }
}

/// Takes a key and its value out of a table: its lines, or its place between the commas of a table in one line.
pub(crate) fn take_out(
    text: &str,
    table: &dyn TableLike,
    name: &str,
    item: &Item,
    inline: bool,
) -> Result<String, Diagnostic> {
    let start = table.key(name).and_then(|k| k.span()).map_or(0, |s| s.start);
    let end = item.span().map_or(start, |s| s.end);
    if inline {
        // With the comma after it, or the one before it where it is the last.
        let rest = &text[end..];
        let after = rest.trim_start().starts_with(',').then(|| end + rest.find(',').unwrap_or(0) + 1);
        let start = if after.is_none() {
            text[..start].trim_end().strip_suffix(',').map_or(start, str::len)
        } else {
            start
        };
        let end = after.map_or(end, |e| e + text[e..].len() - text[e..].trim_start_matches(' ').len());
        return checked(splice(text, start..end, ""));
    }
    let lines = Lines::new(text);
    let range =
        lines.range(lines.index(start)).start..lines.range(lines.index(end.saturating_sub(1).max(start))).end;
    checked(splice(text, range, ""))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::edit::{NewValue, set_value};

    #[test]
    fn what_was_set_is_taken_out_again_byte_for_byte() {
        let plain = "# mine\n[chair.harp]\ninstrument = \"harp\"   # 47 strings\n\n[chair.horns]\ninstrument = \"horn\"\n";
        let path = ["chair", "harp", "seat"];
        let set = set_value(plain, &path, &NewValue::Numbers(vec![-4.0, 3.5])).unwrap();
        assert!(set.contains("seat = [-4, 3.5]"));
        assert_eq!(remove_value(&set, &path).unwrap(), plain);
        assert_eq!(remove_value(plain, &path).unwrap(), plain, "nothing was said of it");
        assert_eq!(remove_value(plain, &["family", "strings", "hall"]).unwrap(), plain);
    }

    #[test]
    fn other_ways_of_writing_it() {
        let long = "[chair.harp]\ninstrument = \"harp\"\nseat = [\n  1,\n  2,\n] # here\nplayers = 1\n";
        assert_eq!(
            remove_value(long, &["chair", "harp", "seat"]).unwrap(),
            "[chair.harp]\ninstrument = \"harp\"\nplayers = 1\n"
        );
        let inline = "[family]\nstrings = { hall = \"church\", send-db = -3, dry = false }\n";
        assert_eq!(
            remove_value(inline, &["family", "strings", "send-db"]).unwrap(),
            "[family]\nstrings = { hall = \"church\", dry = false }\n"
        );
        let last = remove_value(inline, &["family", "strings", "dry"]).unwrap();
        assert!(last.contains("send-db = -3"), "{last}");
        assert!(!last.contains("dry"));
        let dotted = "family.strings.hall = \"church\"\nfamily.strings.dry = true\n";
        assert_eq!(
            remove_value(dotted, &["family", "strings", "dry"]).unwrap(),
            "family.strings.hall = \"church\"\n"
        );
        let crlf = "[chair.harp]\r\nseat = [1, 2]\r\nplayers = 1\r\n";
        assert_eq!(
            remove_value(crlf, &["chair", "harp", "seat"]).unwrap(),
            "[chair.harp]\r\nplayers = 1\r\n"
        );
    }

    #[test]
    fn a_table_is_not_taken_out_as_a_value() {
        let text = "[chair.harp]\nplayers = 1\n";
        assert!(remove_value(text, &["chair", "harp"]).is_err());
        assert!(remove_value(text, &[]).is_err());
        assert!(remove_value("[", &["a"]).is_err());
    }
}
