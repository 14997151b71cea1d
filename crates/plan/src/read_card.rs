//! Reading a patch card.

use crate::toml::{File, float, span_of, value_float, value_span};
use crate::{
    ArticulationCard, Call, CallKind, DelayCurve, Delays, Diagnostic, DynamicsCard, KeyMode, PatchCard,
    nearest,
};
use ripieno_music::{Colour, parse_key};
use std::ops::Range;
use toml_edit::{Item, TableLike, Value};

/// What reads keys: the card's own way of counting octaves.
struct Keys {
    middle_c: i16,
}

impl Keys {
    fn of(&self, value: &Value) -> Option<u8> {
        match value {
            Value::Integer(n) => u8::try_from(*n.value()).ok().filter(|k| *k <= 127),
            Value::String(s) => parse_key(s.value(), self.middle_c),
            _ => None,
        }
    }

    fn help(&self) -> String {
        format!(
            "a key: a letter, # or b, and the octave as this card counts (middle C is C{}), or a number 0 to 127",
            self.middle_c
        )
    }
}

impl PatchCard {
    /// Reads a card: what is understood, and every complaint.
    pub fn parse(file: &str, text: &str) -> (Self, Vec<Diagnostic>) {
        let mut file = File::new(file, text);
        let document = file.document();
        let root = document.as_table();
        let keys = [
            "patch",
            "instrument",
            "middle-c",
            "sounding",
            "transpose",
            "strokes",
            "channel",
            "one-voice",
            "bend-semitones",
            "layered",
            "dynamics",
            "instead",
            "articulation",
        ];
        file.only(root, &keys, "a patch card");
        let mut card = Self::plain("");
        card.patch = file.string(root, "patch").unwrap_or_else(|| "Unnamed patch".into());
        card.instrument = file.string(root, "instrument");
        if let Some(id) = &card.instrument
            && ripieno_instruments::by_id(id).is_none()
        {
            let near = nearest(id, ripieno_instruments::ids());
            let help = near.map_or_else(
                || "ids are listed in docs/instruments.md".to_string(),
                |n| format!("did you mean `{n}`?"),
            );
            file.error(
                root.get("instrument").map_or(0..0, span_of),
                format!("`{id}` is no instrument of the table"),
                help,
            );
        }
        if let Some(item) = root.get("middle-c") {
            let octave = item.as_integer().or_else(|| item.as_str()?.strip_prefix(['C', 'c'])?.parse().ok());
            match octave.filter(|o| (-10..=10).contains(o)) {
                Some(octave) => card.middle_c = octave as i16,
                None => file.error(
                    span_of(item),
                    "`middle-c` is no name of middle C",
                    "write \"C3\", \"C4\" or \"C5\": what this card calls MIDI key 60",
                ),
            }
        }
        let names = Keys { middle_c: card.middle_c };
        card.sounding = range(&mut file, root, "sounding", &names);
        card.transpose = file.whole(root, "transpose", -127, 127).unwrap_or(0) as i16;
        if let Some(table) = file.table(root, "strokes") {
            for (stroke, item) in table.iter() {
                match item.as_value().and_then(|v| names.of(v)) {
                    Some(key) => card.strokes.push((stroke.to_string(), key)),
                    None => {
                        file.error(span_of(item), format!("the stroke `{stroke}` has no key"), names.help())
                    }
                }
            }
        }
        card.channel = file.whole(root, "channel", 1, 16).unwrap_or(1) as u8;
        card.one_voice = file.boolean(root, "one-voice").unwrap_or(false);
        card.layered = file.boolean(root, "layered").unwrap_or(false);
        card.bend_semitones = file.number(root, "bend-semitones", 0.1, 96.0).unwrap_or(2.0);
        if let Some(table) = file.table(root, "dynamics") {
            card.dynamics = dynamics(&mut file, table);
        }
        card.instead = file.strings(root, "instead");
        let mut spans = Vec::new();
        match root.get("articulation") {
            Some(Item::ArrayOfTables(tables)) => {
                card.articulations.clear();
                for table in tables {
                    let span = table.span().unwrap_or(0..0);
                    if let Some(one) = articulation(&mut file, table, span.clone(), &names) {
                        card.articulations.push(one);
                        spans.push(span);
                    }
                }
            }
            Some(other) => file.error(
                span_of(other),
                "`articulation` is not a list of tables",
                "write [[articulation]] for each",
            ),
            None => file.error(
                0..0,
                "the card has no articulation",
                "write [[articulation]] and name = \"sustain\"",
            ),
        }
        if card.articulations.is_empty() {
            card.articulations = Self::plain("").articulations;
        }
        for (i, name) in card.instead.clone().iter().enumerate() {
            if !card.articulations.iter().any(|a| a.name == *name) {
                let own = card.articulations.iter().map(|a| a.name.as_str());
                let help = nearest(name, own).map_or("name an articulation of this card".to_string(), |n| {
                    format!("did you mean `{n}`?")
                });
                let at = root
                    .get("instead")
                    .and_then(Item::as_array)
                    .and_then(|a| a.get(i))
                    .map_or(0..0, value_span);
                file.warn(at, format!("`instead` names `{name}`, which the card does not have"), help);
            }
        }
        if !spans.is_empty() {
            together(&mut file, &card, &spans);
        }
        (card, file.found)
    }
}

fn range(file: &mut File<'_>, table: &dyn TableLike, key: &str, names: &Keys) -> Option<(u8, u8)> {
    let item = table.get(key)?;
    let found: Vec<Option<u8>> =
        item.as_array().map(|a| a.iter().map(|v| names.of(v)).collect()).unwrap_or_default();
    match found[..] {
        [Some(low), Some(high)] if low <= high => Some((low, high)),
        [Some(low), Some(high)] => {
            file.error(
                span_of(item),
                format!("`{key}` goes from {low} down to {high}"),
                "name the lower key first",
            );
            None
        }
        _ => {
            file.error(span_of(item), format!("`{key}` is not two keys"), names.help());
            None
        }
    }
}

fn dynamics(file: &mut File<'_>, table: &dyn TableLike) -> DynamicsCard {
    file.only(table, &["controller", "expression", "velocity", "response"], "dynamics");
    let mut card = DynamicsCard {
        controller: file.whole(table, "controller", 0, 127).map(|n| n as u8),
        expression: file.whole(table, "expression", 0, 127).map(|n| n as u8),
        velocity: file.boolean(table, "velocity").unwrap_or(false),
        ..DynamicsCard::default()
    };
    if let Some(item) = table.get("response") {
        let pairs = pairs(item, 0.0, 127.0);
        match pairs {
            Some(pairs)
                if pairs.len() >= 2 && pairs.windows(2).all(|w| w[0].0 < w[1].0 && w[0].1 < w[1].1) =>
            {
                card.response = pairs.into_iter().map(|(v, db)| (v as u8, db)).collect();
            }
            _ => file.error(
                span_of(item),
                "`response` is not a rising list of pairs",
                "write value and decibels, both rising: [[0, -40], [64, -12], [127, 6]]",
            ),
        }
    }
    card
}

fn pairs(item: &Item, low: f64, high: f64) -> Option<Vec<(f64, f64)>> {
    item.as_array()?
        .iter()
        .map(|pair| {
            let pair = pair.as_array()?;
            let (a, b) = (value_float(pair.get(0)?)?, value_float(pair.get(1)?)?);
            (pair.len() == 2 && (low..=high).contains(&a)).then_some((a, b))
        })
        .collect()
}

fn articulation(
    file: &mut File<'_>,
    table: &dyn TableLike,
    span: Range<usize>,
    names: &Keys,
) -> Option<ArticulationCard> {
    let keys = [
        "name",
        "colour",
        "call",
        "speaks-after-ms",
        "overlap-ms",
        "one-voice",
        "sounding",
        "repeat-ms",
        "dynamics",
    ];
    file.only(table, &keys, "an articulation");
    let Some(name) = file.string(table, "name") else {
        if !table.contains_key("name") {
            file.error(span, "an articulation has no name", "write name = \"legato\"");
        }
        return None;
    };
    let colour = file.string(table, "colour").and_then(|word| {
        let colour = Colour::parse(&word);
        if colour.is_none() {
            let words = Colour::ALL.map(Colour::word);
            let help = nearest(&word, words)
                .map_or_else(|| format!("known: {}", words.join(", ")), |n| format!("did you mean `{n}`?"));
            file.error(table.get("colour").map_or(0..0, span_of), format!("`{word}` is no colour"), help);
        }
        colour
    });
    let calls = table.get("call").map(|item| calls(file, item, names)).unwrap_or_default();
    Some(ArticulationCard {
        name: name.to_lowercase(),
        colour,
        calls,
        delays: table.get("speaks-after-ms").map(|item| delays(file, item)).unwrap_or_default(),
        overlap_ms: file.number(table, "overlap-ms", -2000.0, 2000.0).unwrap_or(0.0),
        one_voice: file.boolean(table, "one-voice"),
        sounding: range(file, table, "sounding", names),
        repeat_ms: file.number(table, "repeat-ms", 0.0, 10_000.0),
        dynamics: file.table(table, "dynamics").map(|t| dynamics(file, t)),
    })
}

fn delays(file: &mut File<'_>, item: &Item) -> Delays {
    let one = |file: &mut File<'_>, item: &Item| -> DelayCurve {
        if let Some(ms) = float(item).filter(|ms| (0.0..=5000.0).contains(ms)) {
            return DelayCurve { pairs: vec![(64, ms)] };
        }
        match pairs(item, 1.0, 127.0) {
            Some(p)
                if !p.is_empty()
                    && p.windows(2).all(|w| w[0].0 < w[1].0)
                    && p.iter().all(|x| (0.0..=5000.0).contains(&x.1)) =>
            {
                DelayCurve { pairs: p.into_iter().map(|(v, ms)| (v as u8, ms)).collect() }
            }
            _ => {
                file.error(
                    span_of(item),
                    "this is no delay",
                    "write milliseconds (0 to 5000), or pairs by rising velocity: [[1, 250], [64, 160]]",
                );
                DelayCurve::default()
            }
        }
    };
    match item.as_table_like() {
        Some(table) => {
            file.only(table, &["first", "joined"], "speaks-after-ms");
            let first = table.get("first").map(|i| one(file, i)).unwrap_or_default();
            let joined = table.get("joined").map_or_else(|| first.clone(), |i| one(file, i));
            Delays { first, joined }
        }
        None => {
            let both = one(file, item);
            Delays { first: both.clone(), joined: both }
        }
    }
}

fn calls(file: &mut File<'_>, item: &Item, names: &Keys) -> Vec<Call> {
    if let Some(array) = item.as_array() {
        return array
            .iter()
            .filter_map(|value| match value.as_inline_table() {
                Some(table) => call(file, table, value_span(value), names),
                None => {
                    file.error(value_span(value), "this is no call", CALLS);
                    None
                }
            })
            .collect();
    }
    match item.as_table_like() {
        Some(table) => call(file, table, span_of(item), names).into_iter().collect(),
        None => {
            file.error(span_of(item), "this is no call", CALLS);
            Vec::new()
        }
    }
}

const CALLS: &str = "write { key = \"C0\" }, { controller = [32, 5] }, { program = 3 }, { channel = 2 } or { velocity = [1, 63] }";

fn call(file: &mut File<'_>, table: &dyn TableLike, span: Range<usize>, names: &Keys) -> Option<Call> {
    let bytes = |item: &Item, low: i64| -> Option<(u8, u8)> {
        let array = item.as_array()?;
        let two: Vec<u8> = array
            .iter()
            .filter_map(|v| v.as_integer())
            .filter(|n| (low..=127).contains(n))
            .map(|n| n as u8)
            .collect();
        (two.len() == 2 && array.len() == 2).then(|| (two[0], two[1]))
    };
    let kind = if let Some(item) = table.get("key") {
        file.only(table, &["key", "mode", "velocity"], "a call by key");
        let Some(key) = item.as_value().and_then(|v| names.of(v)) else {
            file.error(span_of(item), "this is no key", names.help());
            return None;
        };
        let mode = match file.string(table, "mode").as_deref() {
            None | Some("latch") => KeyMode::Latch,
            Some("held") => KeyMode::Held,
            Some(other) => {
                let help = nearest(other, ["latch", "held"])
                    .map_or("write \"latch\" or \"held\"".to_string(), |n| format!("did you mean `{n}`?"));
                file.error(
                    table.get("mode").map_or(0..0, span_of),
                    format!("`{other}` is no mode of a key"),
                    help,
                );
                return None;
            }
        };
        CallKind::Key { key, mode, velocity: file.whole(table, "velocity", 1, 127).unwrap_or(100) as u8 }
    } else if let Some(item) = table.get("controller") {
        file.only(table, &["controller"], "a call by controller");
        match bytes(item, 0) {
            Some((number, value)) => CallKind::Controller { number, value },
            None => {
                file.error(
                    span_of(item),
                    "a controller call is a number and a value",
                    "write controller = [32, 5], both 0 to 127",
                );
                return None;
            }
        }
    } else if table.contains_key("program") {
        file.only(table, &["program", "bank"], "a call by program");
        let program = file.whole(table, "program", 0, 127)? as u8;
        let bank = match table.get("bank") {
            None => None,
            Some(item) => match bytes(item, 0) {
                Some(pair) => Some(pair),
                None => {
                    file.error(
                        span_of(item),
                        "`bank` is not two bytes",
                        "write bank = [msb, lsb], both 0 to 127",
                    );
                    return None;
                }
            },
        };
        CallKind::Program { program, bank }
    } else if table.contains_key("channel") {
        file.only(table, &["channel"], "a call by channel");
        CallKind::Channel { channel: file.whole(table, "channel", 1, 16)? as u8 }
    } else if let Some(item) = table.get("velocity") {
        file.only(table, &["velocity"], "a call by velocity");
        match bytes(item, 1).filter(|(low, high)| low <= high) {
            Some((low, high)) => CallKind::Velocity { low, high },
            None => {
                file.error(
                    span_of(item),
                    "a velocity call is a range",
                    "write velocity = [1, 63], the lower first, 1 to 127",
                );
                return None;
            }
        }
    } else {
        let words: Vec<String> = table.iter().map(|(k, _)| k.to_string()).collect();
        let near =
            words.iter().find_map(|w| nearest(w, ["key", "controller", "program", "channel", "velocity"]));
        file.error(
            span,
            "this is no call",
            near.map_or(CALLS.to_string(), |n| format!("did you mean `{n}`?")),
        );
        return None;
    };
    Some(Call { kind })
}

/// What the articulations of a card may not do together.
fn together(file: &mut File<'_>, card: &PatchCard, spans: &[Range<usize>]) {
    let at = |i: usize| spans.get(i).cloned().unwrap_or(0..0);
    let all = &card.articulations;
    for (i, a) in all.iter().enumerate() {
        for (j, b) in all.iter().enumerate().take(i) {
            if a.name == b.name && a.colour == b.colour {
                file.error(
                    at(i),
                    format!("`{}` stands twice", a.name),
                    "give one of them a colour, or another name",
                );
            }
            if a.calls.is_empty() && b.calls.is_empty() {
                file.error(
                    at(i),
                    format!("`{}` and `{}` both have no call", b.name, a.name),
                    "at most one sounds when nothing is called",
                );
            }
            for (x, y) in a.calls.iter().flat_map(|x| b.calls.iter().map(move |y| (x.kind, y.kind))) {
                if let (CallKind::Velocity { low: l1, high: h1 }, CallKind::Velocity { low: l2, high: h2 }) =
                    (x, y)
                    && l1 <= h2
                    && l2 <= h1
                {
                    file.error(
                        at(i),
                        format!("the velocities of `{}` and `{}` overlap", all[j].name, a.name),
                        "let the ranges stand side by side",
                    );
                } else if same_call(x, y) {
                    file.error(
                        at(i),
                        format!("`{}` and `{}` share a call", all[j].name, a.name),
                        "give each a call of its own",
                    );
                }
            }
        }
        for call in &a.calls {
            match call.kind {
                CallKind::Key { key, .. } => {
                    let sent = |(low, high): (u8, u8)| {
                        let key = i16::from(key) - card.transpose;
                        (i16::from(low)..=i16::from(high)).contains(&key)
                    };
                    let mut ranges = card.sounding.into_iter().chain(all.iter().filter_map(|a| a.sounding));
                    if ranges.any(sent) || card.strokes.iter().any(|s| s.1 == key) {
                        file.error(
                            at(i),
                            format!("key {key} calls `{}` and sounds as well", a.name),
                            "move the call, or narrow `sounding` or `strokes`",
                        );
                    }
                }
                CallKind::Controller { number, .. } => {
                    let mut own =
                        std::iter::once(&card.dynamics).chain(all.iter().filter_map(|a| a.dynamics.as_ref()));
                    if own.any(|d| d.controller == Some(number) || d.expression == Some(number)) {
                        file.error(
                            at(i),
                            format!(
                                "controller {number} calls `{}` and carries the dynamics as well",
                                a.name
                            ),
                            "use another controller for one of them",
                        );
                    }
                }
                CallKind::Channel { channel } if channel == card.channel => {
                    let others = all
                        .iter()
                        .any(|b| !b.calls.iter().any(|c| matches!(c.kind, CallKind::Channel { .. })));
                    if others {
                        file.warn(
                            at(i),
                            format!("channel {channel} calls `{}` and is the card's own", a.name),
                            "set `channel` to one that calls nothing, or the others cannot sound",
                        );
                    }
                }
                _ => {}
            }
        }
    }
    let latching = all.iter().any(|a| {
        a.calls.iter().any(|c| {
            matches!(
                c.kind,
                CallKind::Key { mode: KeyMode::Latch, .. }
                    | CallKind::Controller { .. }
                    | CallKind::Program { .. }
            )
        })
    });
    if let Some(i) = all.iter().position(|a| a.calls.is_empty()).filter(|_| latching) {
        file.warn(
            at(i),
            format!("`{}` has no call, and cannot come back once another was latched", all[i].name),
            "give it a call of its own",
        );
    }
}

fn same_call(x: CallKind, y: CallKind) -> bool {
    match (x, y) {
        (CallKind::Key { key: a, .. }, CallKind::Key { key: b, .. }) => a == b,
        (CallKind::Program { program: a, bank: p }, CallKind::Program { program: b, bank: q }) => {
            a == b && (p == q || p.is_none() || q.is_none())
        }
        (CallKind::Velocity { .. }, _) | (_, CallKind::Velocity { .. }) => false,
        (a, b) => a == b,
    }
}
