//! `pencil.toml`: the marks as the composer's own file. Comments and what is not changed stay as they are.

use crate::{Anchor, Axis, Control, Mark, Point, What};
use ripieno_units::Beats;
use toml_edit::{Array, ArrayOfTables, DocumentMut, Item, Table, value};

/// What stands at the head of a new file.
const HEAD: &str = "# Changes by hand in the performed MIDI, made again whenever it is computed (docs/pencil.md).\n\
# Times are exact fractions of a quarter note. `ripieno pencil` lists and removes marks.\n\n";

/// Reads the marks. Errors: a sentence that says which mark, and what is wrong in it.
pub fn parse(text: &str) -> Result<Vec<Mark>, String> {
    let doc: DocumentMut = text.parse().map_err(|e: toml_edit::TomlError| e.to_string())?;
    let Some(list) = doc.get("mark") else { return Ok(Vec::new()) };
    let list = list.as_array_of_tables().ok_or("`mark` must be tables: write [[mark]] before each")?;
    let mut out: Vec<Mark> = Vec::new();
    for (i, table) in list.iter().enumerate() {
        let mark = read(table).map_err(|e| format!("mark {} of the file: {e}", i + 1))?;
        if out.iter().any(|m| m.id == mark.id) {
            return Err(format!("two marks have the id {}: give one of them another", mark.id));
        }
        out.push(mark);
    }
    Ok(out)
}

/// The text with these marks in it, and no others. Errors: as [`parse`].
pub fn write(text: &str, marks: &[Mark]) -> Result<String, String> {
    let before = parse(text)?;
    // A file without marks and words stays as it is.
    if text.trim().is_empty() && marks.is_empty() {
        return Ok(text.to_string());
    }
    let text = if text.trim().is_empty() { HEAD } else { text };
    let mut doc: DocumentMut = text.parse().map_err(|e: toml_edit::TomlError| e.to_string())?;
    // Comments behind the last table, or in a file without any.
    let mut list = doc.get("mark").and_then(Item::as_array_of_tables).cloned().unwrap_or_default();
    let kept = |m: &Mark| marks.iter().find(|n| n.id == m.id);
    for i in (0..before.len()).rev() {
        match kept(&before[i]) {
            None => drop(list.remove(i)),
            Some(now) if *now != before[i] => {
                if let Some(table) = list.get_mut(i) {
                    let decor = table.decor().clone();
                    *table = made(now);
                    *table.decor_mut() = decor;
                }
            }
            Some(_) => {}
        }
    }
    let new = marks.iter().filter(|m| before.iter().all(|b| b.id != m.id));
    new.for_each(|m| list.push(made(m)));
    if list.is_empty() {
        doc.remove("mark");
    } else if doc.get("mark").is_some_and(Item::is_array_of_tables) {
        doc["mark"] = Item::ArrayOfTables(list);
    } else {
        let mut fresh = ArrayOfTables::new();
        list.iter().for_each(|t| fresh.push(t.clone()));
        let head = doc.trailing().as_str().unwrap_or_default().to_string();
        doc.set_trailing("");
        if let Some(first) = fresh.get_mut(0) {
            first.decor_mut().set_prefix(head);
        }
        doc.insert("mark", Item::ArrayOfTables(fresh));
    }
    Ok(doc.to_string())
}

fn fraction(text: &str) -> Option<Beats> {
    let (num, den) = text.trim().split_once('/').unwrap_or((text.trim(), "1"));
    let (num, den): (i64, i64) = (num.trim().parse().ok()?, den.trim().parse().ok()?);
    // No piece is longer, no fraction finer.
    (den > 0 && den < 1 << 40 && num.abs() < 1 << 50).then(|| Beats::new(num, den))
}

fn fraction_text(at: Beats) -> String {
    match at.denominator() {
        1 => at.numerator().to_string(),
        den => format!("{}/{den}", at.numerator()),
    }
}

fn read(table: &Table) -> Result<Mark, String> {
    let text = |name: &str| table.get(name).and_then(Item::as_str);
    let number = |name: &str, low: i64, high: i64| match table.get(name) {
        None => Ok(None),
        Some(item) => match item.as_integer().filter(|n| (low..=high).contains(n)) {
            Some(n) => Ok(Some(n)),
            None => Err(format!("`{name}` must be a whole number from {low} to {high}")),
        },
    };
    let need =
        |name: &str, low: i64, high: i64| number(name, low, high)?.ok_or(format!("`{name}` is missing"));
    let place = |name: &str| match text(name) {
        None => Err(format!("`{name}` is missing: write a fraction of a quarter note, as \"5/2\"")),
        Some(t) => fraction(t).ok_or(format!("`{name}`: {t} is no fraction; write one as \"5/2\"")),
    };
    let byte = |name: &str| number(name, 0, 127).map(|n| n.map(|n| n as u8));
    let channel = number("channel", 1, 16)?.map(|c| c as u8 - 1);
    let note =
        || Ok::<_, String>((need("key", 0, 127)? as u8, number("ordinal", 1, 1 << 20)?.unwrap_or(1) as u32));
    let what = match text("kind").ok_or("`kind` is missing")? {
        "note" => {
            let (key, ordinal) = note()?;
            let (to_key, velocity) = (byte("to-key")?, byte("velocity")?);
            What::Note { key, ordinal, start: place("start")?, end: place("end")?, to_key, velocity, channel }
        }
        "silent" => {
            let (key, ordinal) = note()?;
            What::Silent { key, ordinal }
        }
        "played" => {
            let (key, ordinal) = note()?;
            let articulation = text("articulation").ok_or("`articulation` is missing")?.to_string();
            What::Played { key, ordinal, articulation }
        }
        "added" => What::Added {
            key: need("key", 0, 127)? as u8,
            length: place("length")?,
            velocity: need("velocity", 1, 127)? as u8,
            channel: channel.unwrap_or(0),
            articulation: text("articulation").map(str::to_string),
        },
        "curve" => {
            let control = Control::parse(text("control").ok_or("`control` is missing")?).ok_or(
                "`control`: write \"controller 11\", \"bend\", \"program\", \"pressure\" or \"exclusive\"",
            )?;
            let length = if table.contains_key("length") { Some(place("length")?) } else { None };
            let one = |item: &toml_edit::Value| -> Option<Point> {
                let (at, value) = item.as_str()?.split_once(' ')?;
                Some((fraction(at)?, control.value_of(value.trim())?))
            };
            let points = table.get("points").and_then(Item::as_array).ok_or("`points` is missing")?;
            let points: Option<Vec<Point>> = points.iter().map(one).collect();
            let points = points.ok_or("`points`: write each as \"PLACE VALUE\", as \"1/2 64\"")?;
            What::Curve { control, channel: channel.unwrap_or(0), length, points }
        }
        other => return Err(format!("`kind`: {other} is none of note, silent, played, added, curve")),
    };
    let anchor = Anchor {
        passage: text("passage").unwrap_or_default().to_string(),
        at: place("at")?,
        bar: need("bar", -1 << 20, 1 << 20)? as i32,
        in_bar: place("in-bar")?,
    };
    let chair = text("chair").ok_or("`chair` is missing")?.to_string();
    Ok(Mark {
        id: need("id", 1, 1 << 30)? as u32,
        chair,
        card: number("card", 1, 1 << 10)?.unwrap_or(1) as u32,
        anchor,
        what,
    })
}

fn made(mark: &Mark) -> Table {
    let mut table = Table::new();
    table.decor_mut().set_prefix("\n");
    let mut put = |name: &str, item: Item| drop(table.insert(name, item));
    put("id", value(i64::from(mark.id)));
    put("chair", value(&mark.chair));
    if mark.card != 1 {
        put("card", value(i64::from(mark.card)));
    }
    put("passage", value(&mark.anchor.passage));
    put("at", value(fraction_text(mark.anchor.at)));
    put("bar", value(i64::from(mark.anchor.bar)));
    put("in-bar", value(fraction_text(mark.anchor.in_bar)));
    let kind = match &mark.what {
        What::Note { .. } => "note",
        What::Silent { .. } => "silent",
        What::Added { .. } => "added",
        What::Played { .. } => "played",
        What::Curve { .. } => "curve",
    };
    put("kind", value(kind));
    if let Some((key, ordinal)) = mark.what.note() {
        put("key", value(i64::from(key)));
        put("ordinal", value(i64::from(ordinal)));
    }
    match &mark.what {
        What::Note { start, end, to_key, velocity, channel, .. } => {
            put("start", value(fraction_text(*start)));
            put("end", value(fraction_text(*end)));
            to_key.iter().for_each(|k| put("to-key", value(i64::from(*k))));
            velocity.iter().for_each(|v| put("velocity", value(i64::from(*v))));
            channel.iter().for_each(|c| put("channel", value(i64::from(*c) + 1)));
        }
        What::Silent { .. } => {}
        What::Played { articulation, .. } => put("articulation", value(articulation)),
        What::Added { key, length, velocity, channel, articulation } => {
            put("key", value(i64::from(*key)));
            put("length", value(fraction_text(*length)));
            put("velocity", value(i64::from(*velocity)));
            put("channel", value(i64::from(*channel) + 1));
            articulation.iter().for_each(|a| put("articulation", value(a)));
        }
        What::Curve { control, channel, length, points } => {
            put("control", value(control.word()));
            put("channel", value(i64::from(*channel) + 1));
            length.iter().for_each(|l| put("length", value(fraction_text(*l))));
            let list: Array = points
                .iter()
                .map(|p| format!("{} {}", fraction_text(p.0), control.value_text(&p.1)))
                .collect();
            put("points", value(list));
        }
    }
    table
}

/// What a mark says, in words.
pub fn words(what: &What) -> String {
    match what {
        What::Note { key, start, end, to_key, velocity, channel, .. } => {
            let mut said = Vec::new();
            let moved = |by: Beats, what: &str, said: &mut Vec<String>| {
                if !by.is_zero() {
                    let way = if by.is_positive() { "later" } else { "earlier" };
                    said.push(format!("{what} {:.3} quarters {way}", by.quarters().abs()));
                }
            };
            moved(*start, "starts", &mut said);
            moved(*end, "ends", &mut said);
            said.extend(to_key.map(|k| format!("key {k}")));
            said.extend(velocity.map(|v| format!("velocity {v}")));
            said.extend(channel.map(|c| format!("channel {}", c + 1)));
            format!("note of key {key}: {}", said.join(", "))
        }
        What::Silent { key, .. } => format!("note of key {key}: not sent"),
        What::Played { key, articulation, .. } => format!("note of key {key}: played {articulation}"),
        What::Added { key, velocity, length, .. } => {
            format!("added: key {key}, velocity {velocity}, {:.3} quarters long", length.quarters())
        }
        What::Curve { control, length, points, .. } => {
            let long = length.map_or("to the end".into(), |l| format!("{:.3} quarters long", l.quarters()));
            format!("{} drawn anew, {long}, {} events", control.word(), points.len())
        }
    }
}

/// Where a mark stands now, as bar and beat; where it stood if that is gone.
pub fn place_words(mark: &Mark, axis: &Axis) -> (i32, f64) {
    match axis.find(&mark.anchor).first() {
        Some(at) => axis.place(*at),
        None => (mark.anchor.bar, 1.0 + mark.anchor.in_bar.quarters()),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn comments_and_other_marks_stay() {
        let anchor = Anchor { passage: "B".into(), at: Beats::new(5, 2), bar: 3, in_bar: Beats::new(1, 3) };
        let mark = |id, what| Mark { id, chair: "oboe".into(), card: 1, anchor: anchor.clone(), what };
        let curve = What::Curve {
            control: Control::Bend,
            channel: 3,
            length: None,
            points: vec![(Beats::ZERO, (-5i16).to_be_bytes().to_vec())],
        };
        let marks = vec![mark(1, What::Silent { key: 60, ordinal: 2 }), mark(4, curve)];
        let text = write("", &marks).unwrap();
        assert!(text.starts_with("# Changes by hand"), "{text}");
        assert_eq!(parse(&text).unwrap(), marks);
        let own = text.replace("[[mark]]\nid = 4", "# ask the oboe\n[[mark]]\nid = 4");
        let fewer = write(&own, &marks[1..]).unwrap();
        assert!(fewer.contains("# ask the oboe"), "{fewer}");
        assert_eq!(parse(&fewer).unwrap(), marks[1..]);
        assert_eq!(parse(&write(&own, &[]).unwrap()).unwrap(), []);
        assert!(parse(&text.replace("5/2", "5/0")).unwrap_err().contains("fraction"));
    }
}
