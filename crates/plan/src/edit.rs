//! Changes to a plan or a template in place: only what is changed is written anew, every other byte stays.
//!
//! Takes and gives the text of the file. An error is a [`Diagnostic`] that says what stands in the way; its file is
//! `cue.toml`, or what the caller makes of it.

use crate::diagnostic::Lines;
pub use crate::edit_chairs::{add_chair, move_chair, remove_chair};
pub use crate::edit_gone::remove_value;
use crate::edit_gone::take_out;
pub use crate::edit_others::{drop_other, keep_other, swap_other};
pub use crate::edit_picture::{move_hits, set_tempi};
use crate::toml::{key, quoted};
use crate::{Diagnostic, Span, nearest};
use std::ops::Range;
use toml_edit::{Document, Item, Table, TableLike, Value};

/// Which passage.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum PassageRef<'a> {
    /// By its place in the file, from 0.
    Index(usize),
    /// By its name.
    Name(&'a str),
}

impl From<usize> for PassageRef<'_> {
    fn from(index: usize) -> Self {
        Self::Index(index)
    }
}

impl<'a> From<&'a str> for PassageRef<'a> {
    fn from(name: &'a str) -> Self {
        Self::Name(name)
    }
}

/// A value to be set.
#[derive(Clone, Debug, PartialEq)]
pub enum NewValue {
    /// A text.
    Text(String),
    /// A whole number.
    Whole(i64),
    /// A number; must be finite.
    Number(f64),
    /// True or false.
    Flag(bool),
    /// A list of numbers, such as a seat; all finite.
    Numbers(Vec<f64>),
    /// A list of texts.
    Texts(Vec<String>),
}

impl NewValue {
    pub(crate) fn toml(&self) -> String {
        let list = |parts: Vec<String>| format!("[{}]", parts.join(", "));
        match self {
            Self::Text(text) => quoted(text),
            Self::Whole(n) => n.to_string(),
            Self::Number(n) => n.to_string(),
            Self::Flag(yes) => yes.to_string(),
            Self::Numbers(numbers) => list(numbers.iter().map(f64::to_string).collect()),
            Self::Texts(texts) => list(texts.iter().map(|t| quoted(t)).collect()),
        }
    }
}

/// Writes a cell: in the place of the chair's old one, or after the passage's last. An empty cell takes the chair out
/// of the passage. What the cell says is not judged here: the plan is read again afterwards.
pub fn set_cell<'a>(
    text: &str,
    passage: impl Into<PassageRef<'a>>,
    chair: &str,
    cell: &str,
) -> Result<String, Diagnostic> {
    let passage: PassageRef<'a> = passage.into();
    if cell.trim().is_empty() {
        return remove_cell(text, passage, chair);
    }
    let root = read(text)?;
    let (_, table) = find(text, &root, passage)?;
    let value = quoted(cell);
    let casting = match table.get("casting") {
        None => {
            let line = line_end(text);
            let block = format!("[passage.casting]{line}{} = {value}{line}", key(chair));
            return checked(insert_after(text, last_of(table, true).unwrap_or(0), &block));
        }
        Some(item) => item,
    };
    let Some(cells) = casting.as_table_like() else {
        return Err(fault(
            text,
            casting.span(),
            "`casting` is not a table".into(),
            "write [passage.casting]".into(),
        ));
    };
    if let Some(old) = cells.get(chair) {
        let Some(span) = old.as_value().and_then(Value::span) else {
            let message = format!("the cell of `{chair}` is no text");
            return Err(fault(text, old.span(), message, "correct it by hand".into()));
        };
        return checked(splice(text, span, &value));
    }
    if casting.is_inline_table() {
        return checked(into_inline(text, casting, &format!("{} = {value}", key(chair)), cells.is_empty()));
    }
    let line = line_end(text);
    let dotted = casting.as_table().is_some_and(Table::is_dotted);
    let name = if dotted { format!("casting.{}", key(chair)) } else { key(chair) };
    match last_of(cells, true) {
        Some(last) => {
            // Equals signs stay under each other.
            let column = cells
                .iter()
                .last()
                .and_then(|(k, item)| Some(padding(text, cells.key(k)?.span()?, item.span()?)));
            let width = column.unwrap_or(0).max(name.chars().count() + 1);
            let row = format!("{name:<width$}= {value}{line}");
            checked(insert_after(text, last, &row))
        }
        None => {
            let at = casting.span().map(|s| s.start).or(table.span().map(|s| s.start)).unwrap_or(0);
            checked(insert_after(text, at, &format!("{name} = {value}{line}")))
        }
    }
}

/// Takes a cell away: the chair is silent in the passage. Its line goes, with a comment that stands on it.
pub fn remove_cell<'a>(
    text: &str,
    passage: impl Into<PassageRef<'a>>,
    chair: &str,
) -> Result<String, Diagnostic> {
    let root = read(text)?;
    let (_, table) = find(text, &root, passage.into())?;
    let casting = table.get("casting");
    let cells = casting.and_then(Item::as_table_like);
    let Some((cells, item)) = cells.and_then(|c| Some((c, c.get(chair)?))) else {
        let message = format!("the passage has no cell of `{chair}`");
        let near = cells.and_then(|c| nearest(chair, c.iter().map(|(k, _)| k)));
        return Err(fault(
            text,
            table.span(),
            message,
            near.map_or(String::new(), |n| format!("did you mean `{n}`?")),
        ));
    };
    take_out(text, cells, chair, item, casting.is_some_and(Item::is_inline_table))
}

/// Gives a passage another name.
pub fn rename_passage<'a>(
    text: &str,
    passage: impl Into<PassageRef<'a>>,
    name: &str,
) -> Result<String, Diagnostic> {
    let root = read(text)?;
    let (_, table) = find(text, &root, passage.into())?;
    checked(set_in(text, table, "name", &quoted(name)))
}

/// Parts a passage in two before `bar`: the first keeps its name, the second is called `name`; both keep all cells.
pub fn split_passage<'a>(
    text: &str,
    passage: impl Into<PassageRef<'a>>,
    bar: i64,
    name: &str,
) -> Result<String, Diagnostic> {
    let root = read(text)?;
    let (_, table) = find(text, &root, passage.into())?;
    let (at, [from, to]) = bars(text, table)?;
    if bar <= from || bar > to {
        let message = format!("bar {bar} does not part bars {from} to {to}");
        return Err(fault(text, Some(at), message, format!("name a bar from {} to {to}", from + 1)));
    }
    let block = block(text, table);
    let line = line_end(text);
    let second = text[block.clone()].to_string();
    let second = edit_block(&second, &format!("[{bar}, {to}]"), Some(name))?;
    let first = edit_block(&text[block.clone()], &format!("[{from}, {}]", bar - 1), None)?;
    let gap = if first.ends_with('\n') { String::new() } else { line.to_string() };
    checked(splice(text, block, &format!("{first}{gap}{line}{second}")))
}

/// Joins a passage with the one that follows it in bars. Their cells must be the same: what differs is named.
pub fn join_passages<'a>(text: &str, passage: impl Into<PassageRef<'a>>) -> Result<String, Diagnostic> {
    let root = read(text)?;
    let (index, first) = find(text, &root, passage.into())?;
    let (at, [from, to]) = bars(text, first)?;
    let others = passages(&root).enumerate().filter(|(i, _)| *i != index);
    let next = others
        .filter_map(|(_, t)| Some((bars(text, t).ok()?.1, t)))
        .filter(|([a, _], _)| *a > to)
        .min_by_key(|([a, _], _)| *a);
    let Some(([_, end], second)) = next else {
        return Err(fault(
            text,
            Some(at),
            "no passage follows this one".into(),
            "join it from the passage before".into(),
        ));
    };
    let cells = |t: &Table| -> Vec<(String, String)> {
        let casting = t.get("casting").and_then(Item::as_table_like);
        let cells = casting.into_iter().flat_map(TableLike::iter);
        let mut cells: Vec<_> =
            cells.map(|(k, v)| (k.to_string(), v.as_str().unwrap_or("").trim().to_string())).collect();
        cells.sort();
        cells
    };
    let (a, b) = (cells(first), cells(second));
    let mut differ: Vec<&str> = a
        .iter()
        .filter(|c| !b.contains(c))
        .chain(b.iter().filter(|c| !a.contains(c)))
        .map(|c| c.0.as_str())
        .collect();
    differ.sort_unstable();
    differ.dedup();
    if !differ.is_empty() {
        let message = format!("the two passages differ in: {}", differ.join(", "));
        return Err(fault(text, Some(at), message, "make these cells the same first".into()));
    }
    // The later stretch of text is changed first, so that the places of the other stay true.
    let gone = block(text, second);
    let bars = format!("[{from}, {end}]");
    let joined = match gone.start > at.start {
        true => splice(&splice(text, gone, ""), at, &bars),
        false => splice(&splice(text, at, &bars), gone, ""),
    };
    checked(joined)
}

/// Sets a value by its path, such as `["performance", "asynchrony"]` or `["chair", "violins-1", "gain-db"]`; a key or
/// a table that is not there yet is added at the end of its table, or of the file.
pub fn set_value(text: &str, path: &[&str], value: &NewValue) -> Result<String, Diagnostic> {
    let root = read(text)?;
    let Some((name, tables)) = path.split_last() else {
        return Err(fault(text, None, "the path is empty".into(), "name a table and a key".into()));
    };
    let finite = match value {
        NewValue::Number(n) => n.is_finite(),
        NewValue::Numbers(list) => list.iter().all(|n| n.is_finite()),
        _ => true,
    };
    if !finite {
        return Err(fault(
            text,
            None,
            format!("`{name}` would be no number"),
            "choose a finite number".into(),
        ));
    }
    let value = value.toml();
    let mut item = None;
    let mut table: &dyn TableLike = &root;
    for (i, part) in tables.iter().enumerate() {
        match table.get(part) {
            Some(found) => match found.as_table_like() {
                Some(inner) => (item, table) = (Some(found), inner),
                None => {
                    return Err(fault(
                        text,
                        found.span(),
                        format!("`{part}` is not a table"),
                        "name a table".into(),
                    ));
                }
            },
            None if item.is_some_and(|i: &Item| i.is_inline_table()) => {
                let message = format!("there is no table `{part}` to write into");
                return Err(fault(text, item.and_then(Item::span), message, "write it by hand".into()));
            }
            None => {
                let line = line_end(text);
                let header: Vec<String> =
                    tables[..=i].iter().chain(&tables[i + 1..]).map(|t| key(t)).collect();
                let gap = if text.is_empty() || text.ends_with('\n') { "" } else { line };
                let blank = if text.trim().is_empty() { "" } else { line };
                return checked(format!(
                    "{text}{gap}{blank}[{}]{line}{} = {value}{line}",
                    header.join("."),
                    key(name)
                ));
            }
        }
    }
    match item {
        Some(item) if item.is_inline_table() && table.get(name).is_none() => {
            checked(into_inline(text, item, &format!("{} = {value}", key(name)), table.is_empty()))
        }
        Some(Item::Table(table)) => checked(set_in(text, table, name, &value)),
        _ => match table.get(name).and_then(Item::as_value).and_then(Value::span) {
            Some(span) => checked(splice(text, span, &value)),
            None => checked(set_in(text, &root, name, &value)),
        },
    }
}

pub(crate) fn read(text: &str) -> Result<Table, Diagnostic> {
    Document::parse(text.to_string()).map(Document::into_table).map_err(|error| {
        let message = format!("this is not TOML: {}", error.message().replace('\n', "; "));
        fault(text, error.span(), message, "correct the text first".into())
    })
}

/// What was written must read.
pub(crate) fn checked(text: String) -> Result<String, Diagnostic> {
    read(&text).map(|_| text)
}

pub(crate) fn fault(text: &str, span: Option<Range<usize>>, message: String, help: String) -> Diagnostic {
    let span = span.unwrap_or(0..0);
    let (line, column) = Lines::new(text).place(span.start);
    let span = Span { start: span.start, end: span.end };
    Diagnostic { file: "cue.toml".into(), line, column, span, message, help, warning: false }
}

fn passages(root: &Table) -> impl Iterator<Item = &Table> {
    root.get("passage").and_then(Item::as_array_of_tables).into_iter().flat_map(|a| a.iter())
}

pub(crate) fn find<'r>(
    text: &str,
    root: &'r Table,
    which: PassageRef<'_>,
) -> Result<(usize, &'r Table), Diagnostic> {
    let name = |t: &'r Table| t.get("name").and_then(Item::as_str);
    let found = passages(root).enumerate().find(|(i, t)| match which {
        PassageRef::Index(index) => *i == index,
        PassageRef::Name(wanted) => name(t) == Some(wanted),
    });
    found.ok_or_else(|| {
        let names = passages(root).filter_map(name);
        let (message, help) = match which {
            PassageRef::Index(i) => (
                format!("there is no passage number {}", i + 1),
                format!("there are {}", passages(root).count()),
            ),
            PassageRef::Name(wanted) => {
                let near = nearest(wanted, names).map_or(String::new(), |n| format!("did you mean `{n}`?"));
                (format!("there is no passage `{wanted}`"), near)
            }
        };
        fault(text, None, message, help)
    })
}

fn bars(text: &str, table: &Table) -> Result<(Range<usize>, [i64; 2]), Diagnostic> {
    let item = table.get("bars");
    let list: Option<Vec<i64>> =
        item.and_then(Item::as_array).and_then(|a| a.iter().map(Value::as_integer).collect());
    match (item.and_then(Item::span), list.as_deref()) {
        (Some(span), Some(&[from, to])) if from <= to && to < i64::MAX => Ok((span, [from, to])),
        _ => Err(fault(text, table.span(), "the passage has no bars".into(), "write bars = [1, 8]".into())),
    }
}

/// The passage's own text: from its header to the end of its last line.
pub(crate) fn block(text: &str, table: &Table) -> Range<usize> {
    let start = table.span().map_or(0, |s| s.start);
    let lines = Lines::new(text);
    let last = last_of(table, false).unwrap_or(start).max(start);
    lines.range(lines.index(start)).start..lines.range(lines.index(last)).end
}

/// New bars, and a new name, in a passage that stands alone.
fn edit_block(block: &str, bars: &str, name: Option<&str>) -> Result<String, Diagnostic> {
    let root = read(block)?;
    let (_, table) = find(block, &root, PassageRef::Index(0))?;
    let out = set_in(block, table, "bars", bars);
    match name {
        Some(name) => rename_passage(&out, PassageRef::Index(0), name),
        None => Ok(out),
    }
}

/// The last byte of a table's last value; of its own keys alone, or of tables inside it as well.
pub(crate) fn last_of(table: &dyn TableLike, own: bool) -> Option<usize> {
    let ends = table.iter().filter_map(|(_, item)| match item {
        Item::Value(value) => value.span().map(|s| s.end),
        Item::Table(inner) if !own || inner.is_dotted() => {
            last_of(inner, own).max(inner.span().map(|s| s.end))
        }
        Item::ArrayOfTables(list) if !own => {
            list.iter().filter_map(|t| last_of(t, own).max(t.span().map(|s| s.end))).max()
        }
        _ => None,
    });
    ends.max().map(|end| end.saturating_sub(1))
}

/// Sets a key of a table: in place, or as a new line after its own last one.
fn set_in(text: &str, table: &Table, name: &str, value: &str) -> String {
    match table.get(name).and_then(Item::as_value).and_then(Value::span) {
        Some(span) => splice(text, span, value),
        None => {
            let row = format!("{} = {value}{}", key(name), line_end(text));
            match last_of(table, true).or(table.span().map(|s| s.start)) {
                Some(at) => insert_after(text, at, &row),
                None => format!("{row}{text}"),
            }
        }
    }
}

/// Adds to `{ … }`, before its closing brace.
fn into_inline(text: &str, item: &Item, entry: &str, empty: bool) -> String {
    let Some(span) = item.span() else { return text.to_string() };
    let body = &text[span.start..span.end.saturating_sub(1).max(span.start)];
    let at = span.start + body.trim_end().len();
    let comma = match (empty, body.trim_end().ends_with(',')) {
        (true, _) | (_, true) => " ",
        _ => ", ",
    };
    splice(text, at..at, &format!("{comma}{entry}"))
}

pub(crate) fn splice(text: &str, range: Range<usize>, new: &str) -> String {
    let mut out = text.to_string();
    if text.is_char_boundary(range.start) && text.is_char_boundary(range.end) && range.start <= range.end {
        out.replace_range(range, new);
    }
    out
}

/// Adds whole lines after the line that a byte lies in.
pub(crate) fn insert_after(text: &str, byte: usize, rows: &str) -> String {
    let lines = Lines::new(text);
    let end = lines.range(lines.index(byte)).end;
    let gap = if end == 0 || text[..end].ends_with('\n') { "" } else { line_end(text) };
    splice(text, end..end, &format!("{gap}{rows}"))
}

/// As the file ends its lines.
pub(crate) fn line_end(text: &str) -> &'static str {
    if text.contains("\r\n") { "\r\n" } else { "\n" }
}

/// Characters from a key's start to its equals sign.
fn padding(text: &str, name: Range<usize>, value: Range<usize>) -> usize {
    let between = text.get(name.start..value.start).unwrap_or("");
    between.rfind('=').map_or(0, |i| between[..i].chars().count())
}
