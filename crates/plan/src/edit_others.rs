//! Other castings of a passage, kept, exchanged with the one in force, and dropped, in place.

use crate::edit::{PassageRef, block, checked, fault, find, insert_after, last_of, line_end, read, splice};
use crate::toml::{key, quoted};
use crate::{Diagnostic, edit, nearest};
use toml_edit::{Item, Table, TableLike};

/// Keeps the casting of a passage, as it is now, under a name beside it.
///
/// Errors: a passage that is not there, an empty name, a name that is taken.
pub fn keep_other(text: &str, passage: &str, name: &str) -> Result<String, Diagnostic> {
    let root = read(text)?;
    let (_, table) = find(text, &root, PassageRef::Name(passage))?;
    if name.trim().is_empty() {
        return Err(fault(text, None, "another casting needs a name".into(), "such as \"darker\"".into()));
    }
    if other(table, name).is_some() {
        let message = format!("\"{passage}\" has a casting called \"{name}\" already");
        return Err(fault(text, None, message, "choose another name".into()));
    }
    let rows = written(text, name, &cells(table.get("casting")));
    let end = block(text, table).end;
    checked(insert_after(text, end.saturating_sub(1), &format!("{}{rows}", line_end(text))))
}

/// Exchanges the casting of a passage with one that is kept: what was in force is kept under that name.
pub fn swap_other(text: &str, passage: &str, name: &str) -> Result<String, Diagnostic> {
    let root = read(text)?;
    let (_, table) = find(text, &root, PassageRef::Name(passage))?;
    let Some(kept) = other(table, name) else { return Err(unknown(text, table, passage, name)) };
    let (now, then) = (cells(table.get("casting")), cells(kept.get("casting")));
    let mut out = without(text, kept);
    for (chair, _) in now.iter().filter(|(chair, _)| !then.iter().any(|(c, _)| c == chair)) {
        out = edit::remove_cell(&out, passage, chair)?;
    }
    for (chair, cell) in &then {
        if now.iter().all(|old| old != &(chair.clone(), cell.clone())) {
            out = edit::set_cell(&out, passage, chair, cell)?;
        }
    }
    let root = read(&out)?;
    let (_, table) = find(&out, &root, PassageRef::Name(passage))?;
    let end = block(&out, table).end;
    let rows = written(&out, name, &now);
    checked(insert_after(&out, end.saturating_sub(1), &format!("{}{rows}", line_end(&out))))
}

/// Drops a casting that is kept.
pub fn drop_other(text: &str, passage: &str, name: &str) -> Result<String, Diagnostic> {
    let root = read(text)?;
    let (_, table) = find(text, &root, PassageRef::Name(passage))?;
    let Some(kept) = other(table, name) else { return Err(unknown(text, table, passage, name)) };
    checked(without(text, kept))
}

fn others(table: &Table) -> impl Iterator<Item = &Table> {
    table.get("other").and_then(Item::as_array_of_tables).into_iter().flat_map(|a| a.iter())
}

fn name_of(table: &Table) -> Option<&str> {
    table.get("name").and_then(Item::as_str)
}

fn other<'t>(table: &'t Table, name: &str) -> Option<&'t Table> {
    others(table).find(|t| name_of(t) == Some(name))
}

fn unknown(text: &str, table: &Table, passage: &str, name: &str) -> Diagnostic {
    let near = nearest(name, others(table).filter_map(name_of));
    let help = near.map_or_else(|| "keep one first".into(), |n| format!("did you mean `{n}`?"));
    fault(text, table.span(), format!("\"{passage}\" has no other casting \"{name}\""), help)
}

fn cells(casting: Option<&Item>) -> Vec<(String, String)> {
    let table = casting.and_then(Item::as_table_like);
    let all = table.into_iter().flat_map(TableLike::iter);
    all.filter_map(|(chair, item)| Some((chair.to_string(), item.as_str()?.to_string()))).collect()
}

fn written(text: &str, name: &str, cells: &[(String, String)]) -> String {
    let line = line_end(text);
    let width = cells.iter().map(|(chair, _)| key(chair).chars().count()).max().unwrap_or(0);
    let mut out =
        format!("[[passage.other]]{line}name = {}{line}[passage.other.casting]{line}", quoted(name));
    for (chair, cell) in cells {
        out.push_str(&format!("{:<width$} = {}{line}", key(chair), quoted(cell)));
    }
    out
}

/// The text without a kept casting, and without the empty line before it.
fn without(text: &str, kept: &Table) -> String {
    let start = kept.span().map_or(0, |s| s.start);
    let start = text[..start].rfind('\n').map_or(0, |n| n + 1);
    let start = start - text[..start].strip_suffix("\r\n\r\n").map_or(0, |_| 2);
    let start = start - text[..start].strip_suffix("\n\n").map_or(0, |_| 1);
    let last = last_of(kept, false).max(kept.get("casting").and_then(Item::span).map(|s| s.end - 1));
    let last = last.unwrap_or(start).max(start);
    let end = text[last..].find('\n').map_or(text.len(), |n| last + n + 1);
    splice(text, start..end, "")
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::Plan;

    const TEXT: &str = "[cue]\nmusic = \"a.mid\"\n[lines]\na = { track = \"A\" }\n\n[[passage]]\nname = \"Fog\"\nbars = [1, 8]\n[passage.casting]\nflute = \"a, p\" # mine\nharp  = \"a 8va\"\n\n[[passage]]\nname = \"Sun\"\nbars = [9, 12]\n[passage.casting]\nharp = \"a\"\n";

    fn plan(text: &str) -> Plan {
        let (plan, found) = Plan::parse("cue.toml", text);
        assert!(found.is_empty(), "{found:?}\n{text}");
        plan
    }

    fn cells_of(text: &str) -> Vec<(String, String)> {
        plan(text).passages[0].cells.iter().map(|c| (c.chair.clone(), c.text.clone())).collect()
    }

    #[test]
    fn a_casting_is_kept_exchanged_and_dropped() {
        let kept = keep_other(TEXT, "Fog", "darker").unwrap();
        assert_eq!(plan(&kept).passages[0].others[0].cells, cells_of(TEXT));
        assert_eq!(plan(&kept).passages[1], plan(&kept).passages[1]);
        let changed =
            edit::remove_cell(&edit::set_cell(&kept, "Fog", "harp", "a 8vb").unwrap(), "Fog", "flute")
                .unwrap();
        let swapped = swap_other(&changed, "Fog", "darker").unwrap();
        let mut now = cells_of(&swapped);
        now.sort();
        assert_eq!(now, cells_of(TEXT));
        assert_eq!(plan(&swapped).passages[0].others[0].cells, [("harp".to_string(), "a 8vb".to_string())]);
        let back = swap_other(&swapped, "Fog", "darker").unwrap();
        assert_eq!(cells_of(&back), cells_of(&changed));
        assert_eq!(drop_other(&kept, "Fog", "darker").unwrap(), TEXT);
        assert_eq!(plan(&back).passages.len(), 2);
        assert!(keep_other(&kept, "Fog", "darker").is_err());
        assert!(swap_other(&kept, "Fog", "drker").unwrap_err().help.contains("darker"));
    }

    #[test]
    fn a_silent_casting_is_kept_as_well() {
        let bare = "[cue]\nmusic = \"a.mid\"\n\n[[passage]]\nname = \"Fog\"\nbars = [1, 8]\n";
        let kept = keep_other(bare, "Fog", "silence").unwrap();
        assert_eq!(plan(&kept).passages[0].others[0].cells, []);
        assert_eq!(drop_other(&kept, "Fog", "silence").unwrap(), bare);
    }
}
