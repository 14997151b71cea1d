//! Reading `[stage]`, `[hall.NAME]`, `[family.NAME]`, and where a chair's sound goes.

use crate::diagnostic::did_you_mean;
use crate::stage::{EqBand, EqKind, FAMILIES, HallKind, HallPlan, MICROPHONES, Named, Placing};
use crate::toml::{File, key_span, span_of, value_span};
use crate::{Span, StagePlan};
use toml_edit::{Item, TableLike, Value};

/// Keys that say where sound goes.
pub(crate) const PLACING: [&str; 12] = [
    "hall",
    "gain-db",
    "send-db",
    "common-db",
    "common",
    "dry",
    "tree-db",
    "near-db",
    "wide-db",
    "far-db",
    "spot-db",
    "eq",
];

fn spanned(item: &Item) -> Span {
    let span = span_of(item);
    Span { start: span.start, end: span.end }
}

fn word(file: &mut File<'_>, table: &dyn TableLike, key: &str) -> Option<Named> {
    let name = file.string(table, key)?;
    Some(Named { name, span: table.get(key).map_or(Span::default(), spanned) })
}

pub(crate) fn stage(file: &mut File<'_>, root: &dyn TableLike) -> StagePlan {
    let mut plan = StagePlan::default();
    if let Some(table) = file.table(root, "stage") {
        file.only(table, &["seating", "hall", "common", "common-db"], "[stage]");
        if let Some(seating) = word(file, table, "seating") {
            plan.seating = seating;
        }
        if let Some(hall) = word(file, table, "hall") {
            plan.hall = hall;
        }
        plan.common = word(file, table, "common").filter(|w| w.name != "none");
        plan.common_db = file.number(table, "common-db", -60.0, 20.0).unwrap_or(plan.common_db);
    }
    if let Some(halls) = file.table(root, "hall") {
        for (name, item) in halls.iter() {
            plan.halls.extend(hall(file, halls, name, item));
        }
    }
    if let Some(families) = file.table(root, "family") {
        for (name, item) in families.iter() {
            let at = key_span(families, name, item);
            if !FAMILIES.contains(&name) {
                let known = || format!("families are: {}", FAMILIES.join(", "));
                let help = did_you_mean(name, FAMILIES, known);
                file.error(at.clone(), format!("`{name}` is no family"), help);
            }
            let Some(table) = item.as_table_like() else {
                file.error(
                    at,
                    format!("family `{name}` is no table"),
                    "write [family.strings] and keys below",
                );
                continue;
            };
            file.only(table, &PLACING, "a family");
            let placing = placing(file, table);
            plan.families.push((name.to_string(), placing));
        }
    }
    plan
}

fn hall(file: &mut File<'_>, halls: &dyn TableLike, name: &str, item: &Item) -> Option<HallPlan> {
    let at = key_span(halls, name, item);
    let help = "write room = \"concert-hall\", or impulse = \"my-hall.wav\"";
    let Some(table) = item.as_table_like() else {
        file.error(
            at,
            format!("hall `{name}` is no table"),
            format!("write [hall.{name}], and below it {help}"),
        );
        return None;
    };
    file.only(table, &["room", "impulse", "reverberation-s", "gain-db"], "a hall");
    let kind = match (word(file, table, "room"), word(file, table, "impulse")) {
        (Some(room), None) => HallKind::Room(room),
        (None, Some(impulse)) => HallKind::Impulse { path: impulse.name, span: impulse.span },
        (Some(_), Some(_)) => {
            file.error(at, format!("hall `{name}` has both a room and an impulse"), "keep one of them");
            return None;
        }
        (None, None) => {
            file.error(at, format!("hall `{name}` has neither a room nor an impulse"), help);
            return None;
        }
    };
    if matches!(kind, HallKind::Impulse { .. })
        && let Some(item) = table.get("reverberation-s")
    {
        file.warn(
            span_of(item),
            "an impulse response has its own reverberation time",
            "remove this line, or name a room instead of the impulse",
        );
    }
    Some(HallPlan {
        name: name.to_string(),
        kind,
        reverberation: file.number(table, "reverberation-s", 0.1, 12.0),
        gain_db: file.number(table, "gain-db", -60.0, 24.0).unwrap_or(0.0),
    })
}

pub(crate) fn placing(file: &mut File<'_>, table: &dyn TableLike) -> Placing {
    Placing {
        hall: word(file, table, "hall"),
        gain_db: file.number(table, "gain-db", -60.0, 24.0),
        send_db: file.number(table, "send-db", -60.0, 20.0),
        common_db: file.number(table, "common-db", -60.0, 20.0),
        common: file.boolean(table, "common"),
        dry: file.boolean(table, "dry"),
        microphones: MICROPHONES.map(|key| file.number(table, key, -60.0, 20.0)),
        eq: table.get("eq").map(|item| bands(file, item)),
    }
}

fn bands(file: &mut File<'_>, item: &Item) -> Vec<EqBand> {
    let help = "write eq = [{ kind = \"peak\", hertz = 2500, db = -2, q = 1 }]";
    if let Some(tables) = item.as_array_of_tables() {
        return tables.iter().filter_map(|t| band(file, t, span_of(item), help)).collect();
    }
    let Some(array) = item.as_array() else {
        file.error(span_of(item), "`eq` is no list of bands", help);
        return Vec::new();
    };
    let mut out = Vec::new();
    for value in array {
        match value {
            Value::InlineTable(table) => out.extend(band(file, table, value_span(value), help)),
            _ => file.error(value_span(value), "`eq` lists what is no band", help),
        }
    }
    out
}

fn band(
    file: &mut File<'_>,
    table: &dyn TableLike,
    at: std::ops::Range<usize>,
    help: &str,
) -> Option<EqBand> {
    file.only(table, &["kind", "hertz", "db", "q"], "a band");
    let name = file.string(table, "kind").unwrap_or_else(|| "peak".into());
    let Some((_, kind)) = EqKind::ALL.iter().find(|(word, _)| *word == name) else {
        let words = EqKind::ALL.map(|(word, _)| word);
        let help = did_you_mean(&name, words, || format!("kinds are: {}", words.join(", ")));
        file.error(table.get("kind").map_or(at, span_of), format!("`{name}` is no kind of band"), help);
        return None;
    };
    if !table.contains_key("hertz") {
        file.error(at, "this band has no frequency", help);
        return None;
    }
    Some(EqBand {
        kind: *kind,
        hertz: file.number(table, "hertz", 10.0, 20_000.0)?,
        db: file.number(table, "db", -30.0, 30.0).unwrap_or(0.0),
        q: file.number(table, "q", 0.1, 30.0).unwrap_or(std::f64::consts::FRAC_1_SQRT_2),
    })
}
