//! Reading calls: what makes a patch change.

use crate::diagnostic::did_you_mean;
use crate::read_card::{Keys, written};
use crate::toml::{File, span_of, value_span};
use crate::{Call, CallKind, KeyMode};
use std::ops::Range;
use toml_edit::{Item, TableLike};

/// Where a call stands.
pub(crate) type CallPlace = Range<usize>;

const CALLS: &str = "write { key = \"C0\" }, { controller = [32, 5] }, { program = 3 }, { channel = 2 } or { velocity = [1, 63] }";

/// A call, or a list of calls that are all needed.
pub(crate) fn calls(file: &mut File<'_>, item: &Item, keys: &Keys) -> Vec<(Call, CallPlace)> {
    let mut out = Vec::new();
    let mut one = |file: &mut File<'_>, table: Option<&dyn TableLike>, at: Range<usize>| match table {
        Some(table) => out.extend(call(file, table, at.clone(), keys).map(|kind| (Call { kind }, at))),
        None => file.error(at, "this is no call", CALLS),
    };
    match item {
        Item::ArrayOfTables(tables) => {
            tables.iter().for_each(|t| one(file, Some(t), t.span().unwrap_or(0..0)));
        }
        _ => match item.as_array() {
            Some(array) => {
                array
                    .iter()
                    .for_each(|v| one(file, v.as_inline_table().map(|t| t as &dyn TableLike), value_span(v)));
            }
            None => one(file, item.as_table_like(), span_of(item)),
        },
    }
    out
}

/// Two whole numbers within `low` to 127.
fn two(item: &Item, low: u8) -> Option<(u8, u8)> {
    let array = item.as_array().filter(|a| a.len() == 2)?;
    let byte = |i: usize| {
        array.get(i)?.as_integer().and_then(|n| u8::try_from(n).ok()).filter(|n| (low..=127).contains(n))
    };
    Some((byte(0)?, byte(1)?))
}

fn call(file: &mut File<'_>, table: &dyn TableLike, at: Range<usize>, keys: &Keys) -> Option<CallKind> {
    let byte = |n: i64| u8::try_from(n).ok();
    if let Some(item) = table.get("key") {
        return key(file, table, item, keys);
    }
    if let Some(item) = table.get("controller") {
        file.only(table, &["controller"], "a call by controller");
        let pair = two(item, 0);
        if pair.is_none() {
            file.error(
                span_of(item),
                "a controller call is a number and a value",
                "write controller = [32, 5], both 0 to 127",
            );
        }
        return pair.map(|(number, value)| CallKind::Controller { number, value });
    }
    if table.contains_key("program") {
        file.only(table, &["program", "bank"], "a call by program");
        let program = file.whole(table, "program", 0, 127).and_then(byte);
        let mut bank = None;
        if let Some(item) = table.get("bank") {
            bank = Some(two(item, 0));
            if bank == Some(None) {
                file.error(
                    span_of(item),
                    "`bank` is not two bytes",
                    "write bank = [msb, lsb], both 0 to 127",
                );
            }
        }
        return match bank {
            Some(pair) => Some(CallKind::Program { program: program?, bank: Some(pair?) }),
            None => Some(CallKind::Program { program: program?, bank: None }),
        };
    }
    if table.contains_key("channel") {
        file.only(table, &["channel"], "a call by channel");
        return file
            .whole(table, "channel", 1, 16)
            .and_then(byte)
            .map(|channel| CallKind::Channel { channel });
    }
    if let Some(item) = table.get("velocity") {
        file.only(table, &["velocity"], "a call by velocity");
        let range = two(item, 1);
        match range {
            None => file.error(
                span_of(item),
                "a velocity call is a range",
                "write velocity = [1, 63], both 1 to 127",
            ),
            Some((low, high)) if low > high => {
                file.error(
                    span_of(item),
                    format!("velocities {low} to {high} go backwards"),
                    "write the lower first",
                );
            }
            Some(_) => {}
        }
        return range.filter(|(low, high)| low <= high).map(|(low, high)| CallKind::Velocity { low, high });
    }
    let words: Vec<&str> = table.iter().map(|(k, _)| k).collect();
    match words.first() {
        Some(word) => {
            let help = did_you_mean(word, ["key", "controller", "program", "channel", "velocity"], || {
                CALLS.to_string()
            });
            file.error(at, format!("`{word}` is no kind of call"), help);
        }
        None => file.error(at, "the call is empty", CALLS),
    }
    None
}

fn key(file: &mut File<'_>, table: &dyn TableLike, item: &Item, keys: &Keys) -> Option<CallKind> {
    file.only(table, &["key", "mode", "velocity"], "a call by key");
    let key = item.as_value().and_then(|v| keys.of(v));
    if key.is_none() {
        let message = format!("{} is no key", item.as_value().map_or("this".to_string(), written));
        file.error(span_of(item), message, keys.help());
    }
    let mode = match file.string(table, "mode").as_deref() {
        Some("held") => Some(KeyMode::Held),
        Some("latch") => Some(KeyMode::Latch),
        Some(other) => {
            let help = did_you_mean(other, ["latch", "held"], || {
                "write \"latch\" (stays) or \"held\" (while it is down)".into()
            });
            file.error(
                table.get("mode").map_or(0..0, span_of),
                format!("`{other}` is no mode of a key"),
                help,
            );
            None
        }
        None => Some(KeyMode::Latch),
    };
    let velocity = match table.get("velocity") {
        Some(item) if item.is_array() => {
            let help =
                "a call by velocity is one of its own: call = [{ key = \"C0\" }, { velocity = [1, 63] }]";
            file.error(span_of(item), "the velocity of a key call is one number", help);
            None
        }
        _ => file.whole(table, "velocity", 1, 127).and_then(|n| u8::try_from(n).ok()),
    };
    Some(CallKind::Key { key: key?, mode: mode?, velocity: velocity.unwrap_or(100) })
}
