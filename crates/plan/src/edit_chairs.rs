//! Chairs of a template, added, moved and taken away in place: every other byte stays.

use crate::diagnostic::Lines;
use crate::edit::{NewValue, checked, fault, insert_after, last_of, line_end, read, splice};
use crate::toml::key;
use crate::{Diagnostic, nearest};
use std::ops::Range;
use toml_edit::{Item, Table};

/// Adds `[chair.ID]` with these values: before another chair, or after the last one.
///
/// Errors: an id that is taken or is none, a chair to stand before that is not there.
pub fn add_chair(
    text: &str,
    id: &str,
    values: &[(&str, NewValue)],
    before: Option<&str>,
) -> Result<String, Diagnostic> {
    let well = |c: char| c.is_ascii_lowercase() || c.is_ascii_digit() || c == '-';
    if id.is_empty() || !id.chars().all(well) {
        let help = "use a-z, 0-9 and -, such as horn-2".into();
        return Err(fault(text, None, format!("`{id}` is no id of a chair"), help));
    }
    let root = read(text)?;
    if chairs(&root).any(|(name, _)| name == id) {
        return Err(fault(
            text,
            None,
            format!("there is a chair `{id}` already"),
            "choose another id".into(),
        ));
    }
    let line = line_end(text);
    let mut block = format!("[chair.{}]{line}", key(id));
    for (name, value) in values {
        block.push_str(&format!("{} = {}{line}", key(name), value.toml()));
    }
    insert(text, &root, &block, before)
}

/// Takes a chair and all that is said of it out of the template.
pub fn remove_chair(text: &str, id: &str) -> Result<String, Diagnostic> {
    let root = read(text)?;
    let block = block(text, &root, id)?;
    checked(splice(text, with_gap(text, block), ""))
}

/// Moves a chair before another, or to the end. Templates that number their chairs (`order`) are ordered by the numbers:
/// they are an error that says so.
pub fn move_chair(text: &str, id: &str, before: Option<&str>) -> Result<String, Diagnostic> {
    if before == Some(id) {
        return Ok(text.to_string());
    }
    let root = read(text)?;
    if let Some((name, _)) = chairs(&root).find(|(_, t)| t.contains_key("order")) {
        let message =
            format!("the chairs of this template stand in the order of their numbers (`{name}` has one)");
        return Err(fault(
            text,
            None,
            message,
            "change `order` in the template, or remove it everywhere".into(),
        ));
    }
    let own = block(text, &root, id)?;
    let mut moved = text[own.clone()].to_string();
    if !moved.ends_with('\n') {
        moved.push_str(line_end(text));
    }
    let rest = splice(text, with_gap(text, own), "");
    let root = read(&rest)?;
    insert(&rest, &root, &moved, before)
}

fn insert(text: &str, root: &Table, block_text: &str, before: Option<&str>) -> Result<String, Diagnostic> {
    let line = line_end(text);
    if let Some(before) = before {
        let at = block(text, root, before)?.start;
        return checked(splice(text, at..at, &format!("{block_text}{line}")));
    }
    let last = chairs(root).filter_map(|(name, _)| block(text, root, name).ok()).map(|b| b.end).max();
    match last {
        Some(end) => {
            let at = end.saturating_sub(1);
            checked(insert_after(text, at, &format!("{line}{block_text}")))
        }
        None => {
            let gap = if text.is_empty() || text.ends_with('\n') { "" } else { line };
            checked(format!("{text}{gap}{line}{block_text}"))
        }
    }
}

fn chairs(root: &Table) -> impl Iterator<Item = (&str, &Table)> {
    let all = root.get("chair").and_then(Item::as_table).into_iter().flat_map(Table::iter);
    all.filter_map(|(name, item)| Some((name, item.as_table()?)))
}

/// A chair's own lines, with the comment that stands right above its header.
fn block(text: &str, root: &Table, id: &str) -> Result<Range<usize>, Diagnostic> {
    let Some((_, table)) = chairs(root).find(|(name, _)| *name == id) else {
        let near = nearest(id, chairs(root).map(|(name, _)| name));
        let help = near.map_or(String::new(), |n| format!("did you mean `{n}`?"));
        return Err(fault(text, None, format!("the template has no [chair.{id}]"), help));
    };
    let Some(header) = table.span().filter(|s| text[s.start..].starts_with('[')) else {
        let help = format!("write it as a table of its own, [chair.{id}], or change it by hand");
        return Err(fault(text, table.span(), format!("`{id}` has no header of its own"), help));
    };
    let lines = Lines::new(text);
    let mut start = lines.range(lines.index(header.start)).start;
    while let Some(above) = start.checked_sub(1).map(|byte| lines.range(lines.index(byte)))
        && text[above.clone()].starts_with('#')
    {
        start = above.start;
    }
    let last = last_of(table, false).unwrap_or(header.start).max(header.start);
    Ok(start..lines.range(lines.index(last)).end)
}

/// With one empty line after it, so that gaps do not add up.
fn with_gap(text: &str, block: Range<usize>) -> Range<usize> {
    let rest = &text[block.end..];
    let gap = if rest.starts_with("\r\n") { 2 } else { usize::from(rest.starts_with('\n')) };
    block.start..block.end + gap
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::Template;

    const TEXT: &str = "# mine\n[mix]\nloudness = -18\n\n# the first\n[chair.flute]\ninstrument = \"flute\" # wood\n\n[chair.oboe]\ninstrument = \"oboe\"\n\n[chair.harp]\ninstrument = \"harp\"";

    fn ids(text: &str) -> Vec<String> {
        let (template, found) = Template::parse("t", text);
        assert!(found.is_empty(), "{found:?}");
        template.chairs.into_iter().map(|c| c.id).collect()
    }

    #[test]
    fn chairs_come_move_and_go_and_the_rest_stays() {
        let values = [("instrument", NewValue::Text("horn".into())), ("players", NewValue::Whole(2))];
        let more = add_chair(TEXT, "horns", &values, Some("harp")).unwrap();
        assert_eq!(ids(&more), ["flute", "oboe", "horns", "harp"]);
        let last = add_chair(TEXT, "horns", &values, None).unwrap();
        assert_eq!(ids(&last), ["flute", "oboe", "harp", "horns"]);
        let moved = move_chair(&last, "flute", None).unwrap();
        assert_eq!(ids(&moved), ["oboe", "harp", "horns", "flute"]);
        assert!(moved.contains("# the first\n[chair.flute]\ninstrument = \"flute\" # wood"));
        let back = move_chair(&moved, "flute", Some("oboe")).unwrap();
        assert_eq!(ids(&back), ids(&last));
        let less = remove_chair(&more, "horns").unwrap();
        assert_eq!(less, TEXT);
        assert_eq!(ids(&remove_chair(TEXT, "harp").unwrap()), ["flute", "oboe"]);
        assert!(remove_chair(TEXT, "flue").unwrap_err().help.contains("flute"));
        assert!(add_chair(TEXT, "Flute 2", &values, None).is_err());
        assert!(add_chair(TEXT, "flute", &values, None).is_err());
    }
}
