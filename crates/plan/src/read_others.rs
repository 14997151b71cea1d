//! Reading `[[passage.other]]`: castings that are kept beside the one in force.

use crate::toml::{File, Inside, span_of};
use crate::{CellWords, OtherCasting, Span};
use toml_edit::{Item, Table};

/// The other castings of a passage. What is wrong in their cells is a warning: they are not cast.
pub(crate) fn others(
    file: &mut File<'_>,
    passage: &Table,
    known: &dyn Fn(&str) -> bool,
) -> Vec<OtherCasting> {
    let tables = match passage.get("other") {
        None => return Vec::new(),
        Some(Item::ArrayOfTables(tables)) => tables,
        Some(item) => {
            file.error(
                span_of(item),
                "`other` is not a list of castings",
                "write [[passage.other]] for each",
            );
            return Vec::new();
        }
    };
    let mut all: Vec<OtherCasting> = Vec::new();
    for table in tables {
        file.only(table, &["name", "casting"], "[[passage.other]]");
        let Some(name) = file.string(table, "name").filter(|n| !n.trim().is_empty()) else {
            let at = table.span().unwrap_or(0..0);
            file.error(at, "another casting needs a name", "write name = \"darker\"");
            continue;
        };
        if all.iter().any(|o| o.name == name) {
            let at = table.get("name").map_or(0..0, span_of);
            file.error(at, format!("there are two castings called \"{name}\" here"), "give one another name");
            continue;
        }
        let mut cells = Vec::new();
        if let Some(casting) = file.table(table, "casting") {
            for (chair, item) in casting.iter() {
                let at = span_of(item);
                let Some(text) = item.as_str() else {
                    let help = "write chair = \"melody, legato\"";
                    file.error(at, format!("the cell of `{chair}` is no text"), help);
                    continue;
                };
                let inside = Inside::new(file.text, Span { start: at.start, end: at.end });
                for fault in CellWords::parse_with(text, known).1 {
                    file.warn(inside.place(fault.span), fault.message, fault.help);
                }
                cells.push((chair.to_string(), text.to_string()));
            }
        }
        all.push(OtherCasting { name, cells });
    }
    all
}
