//! Reading a patch card.

use crate::diagnostic::did_you_mean;
use crate::instrument;
use crate::read_call::{CallPlace, calls};
use crate::toml::{File, key_span, span_of, value_float, value_span};
use crate::{ArticulationCard, DelayCurve, Delays, Diagnostic, DynamicsCard, PatchCard, card_check};
use ripieno_music::{Colour, parse_key};
use std::ops::Range;
use toml_edit::{Array, Item, TableLike, Value};

/// What reads keys: the card's own way of counting octaves.
pub(crate) struct Keys {
    middle_c: i16,
}

impl Keys {
    pub fn of(&self, value: &Value) -> Option<u8> {
        match value {
            Value::Integer(n) => u8::try_from(*n.value()).ok().filter(|k| *k <= 127),
            Value::String(s) => parse_key(s.value(), self.middle_c),
            _ => None,
        }
    }

    pub fn help(&self) -> String {
        let c = self.middle_c;
        format!(
            "write a letter, # or b, and the octave as this card counts (middle C is C{c}), or a number 0 to 127"
        )
    }
}

/// Where the parts of an articulation stand.
pub(crate) struct Places {
    pub name: Range<usize>,
    pub calls: Vec<CallPlace>,
    /// Calls are written, though some may not have been understood.
    pub called: bool,
}

const KEYS: [&str; 13] = [
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

impl PatchCard {
    /// Reads a card: what is understood, and every complaint.
    pub fn parse(file: &str, text: &str) -> (Self, Vec<Diagnostic>) {
        let mut file = File::new(file, text);
        let root = file.document();
        file.only(&root, &KEYS, "a patch card");
        let mut card = Self::plain("");
        card.patch = file.string(&root, "patch").unwrap_or_else(|| "Unnamed patch".into());
        card.instrument = file.string(&root, "instrument");
        if let Some(id) = card.instrument.clone()
            && !instrument::is_known(&id)
        {
            let help = instrument::meant(&id);
            file.error(
                root.get("instrument").map_or(0..0, span_of),
                format!("`{id}` is no instrument of the table"),
                help,
            );
        }
        if let Some(item) = root.get("middle-c") {
            let octave =
                item.as_integer().or_else(|| item.as_str()?.trim().strip_prefix(['C', 'c'])?.parse().ok());
            match octave.filter(|o| (-10..=10).contains(o)).and_then(|o| i16::try_from(o).ok()) {
                Some(octave) => card.middle_c = octave,
                None => file.error(
                    span_of(item),
                    "`middle-c` is no name of middle C",
                    "write \"C3\", \"C4\" or \"C5\": what this card calls MIDI key 60",
                ),
            }
        }
        let keys = Keys { middle_c: card.middle_c };
        card.sounding = range(&mut file, &root, "sounding", &keys);
        card.transpose =
            file.whole(&root, "transpose", -127, 127).and_then(|n| n.try_into().ok()).unwrap_or(0);
        if let Some(table) = file.table(&root, "strokes") {
            strokes(&mut file, table, &keys, &mut card);
        }
        card.channel = file.whole(&root, "channel", 1, 16).and_then(|n| n.try_into().ok()).unwrap_or(1);
        card.one_voice = file.boolean(&root, "one-voice").unwrap_or(false);
        card.layered = file.boolean(&root, "layered").unwrap_or(false);
        card.bend_semitones = file.number(&root, "bend-semitones", 0.1, 96.0).unwrap_or(2.0);
        if let Some(table) = file.table(&root, "dynamics") {
            card.dynamics = dynamics(&mut file, table);
        }
        let mut places = Vec::new();
        card.articulations.clear();
        match root.get("articulation") {
            Some(Item::ArrayOfTables(tables)) => {
                for table in tables {
                    let read = articulation(&mut file, table, table.span().unwrap_or(0..0), &keys);
                    places.extend(read.map(|(one, place)| {
                        card.articulations.push(one);
                        place
                    }));
                }
            }
            Some(other) => file.error(
                span_of(other),
                "`articulation` is not a list of tables",
                "write [[articulation]] for each",
            ),
            None if file.broken => {}
            None => file.error(
                0..0,
                "the card has no articulation",
                "write [[articulation]] and name = \"sustain\"",
            ),
        }
        if card.articulations.is_empty() {
            card.articulations = Self::plain("").articulations;
        }
        for (name, at) in file.strings(&root, "instead") {
            let name = name.to_lowercase();
            let own = || card.articulations.iter().map(|a| a.name.as_str());
            if !own().any(|n| n == name) {
                let help = did_you_mean(&name, own(), || {
                    format!("the card has: {}", own().collect::<Vec<_>>().join(", "))
                });
                file.warn(at, format!("`instead` names `{name}`, which the card does not have"), help);
            }
            card.instead.push(name);
        }
        card_check::together(&mut file, &card, &places);
        (card, file.complaints())
    }
}

fn strokes(file: &mut File<'_>, table: &dyn TableLike, keys: &Keys, card: &mut PatchCard) {
    for (stroke, item) in table.iter() {
        if !instrument::is_known(stroke) {
            let help = instrument::meant(stroke);
            file.warn(
                key_span(table, stroke, item),
                format!("`{stroke}` is no instrument of the table"),
                help,
            );
        }
        match item.as_value().and_then(|v| keys.of(v)) {
            Some(key) => card.strokes.push((stroke.to_string(), key)),
            None => file.error(span_of(item), format!("the stroke `{stroke}` has no key"), keys.help()),
        }
    }
}

fn range(file: &mut File<'_>, table: &dyn TableLike, key: &str, keys: &Keys) -> Option<(u8, u8)> {
    let item = table.get(key)?;
    let Some(array) = item.as_array().filter(|a| a.len() == 2) else {
        file.error(
            span_of(item),
            format!("`{key}` is not two keys"),
            format!("write {key} = [\"D3\", \"Bb6\"], the lower first"),
        );
        return None;
    };
    let mut found = Vec::new();
    for value in array {
        match keys.of(value) {
            Some(key) => found.push(key),
            None => file.error(value_span(value), format!("{} is no key", written(value)), keys.help()),
        }
    }
    match found[..] {
        [low, high] if low <= high => Some((low, high)),
        [low, high] => {
            file.error(
                span_of(item),
                format!("`{key}` goes from {low} down to {high}"),
                "name the lower key first",
            );
            None
        }
        _ => None,
    }
}

/// A value as it stands in the file, for a message.
pub(crate) fn written(value: &Value) -> String {
    format!("`{}`", value.to_string().trim().trim_matches('"'))
}

fn dynamics(file: &mut File<'_>, table: &dyn TableLike) -> DynamicsCard {
    file.only(table, &["controller", "expression", "velocity", "response"], "dynamics");
    let mut card = DynamicsCard {
        controller: file.whole(table, "controller", 0, 127).and_then(|n| n.try_into().ok()),
        expression: file.whole(table, "expression", 0, 127).and_then(|n| n.try_into().ok()),
        velocity: file.boolean(table, "velocity").unwrap_or(false),
        ..DynamicsCard::default()
    };
    if card.controller.is_some() && card.controller == card.expression {
        let at = table.get("expression").map_or(0..0, span_of);
        file.error(
            at,
            "`controller` and `expression` are the same",
            "give expression a controller of its own, or leave it out",
        );
        card.expression = None;
    }
    if let Some(item) = table.get("response") {
        let help = "write values with decibels, both rising: [[0, -40], [64, -12], [127, 6]]";
        let Some(array) = item.as_array().filter(|a| a.len() >= 2) else {
            file.error(span_of(item), "`response` is not a list of two pairs or more", help);
            return card;
        };
        if let Some(pairs) = pairs(file, array, (0, 127), (-120.0, 60.0), help) {
            match pairs.windows(2).position(|w| w[0].0 >= w[1].0 || w[0].1 >= w[1].1) {
                None => card.response = pairs,
                Some(i) => {
                    let at = array.get(i + 1).map_or(0..0, value_span);
                    file.error(at, "`response` does not rise here", help);
                }
            }
        }
    }
    card
}

/// Pairs of a whole number and a number, both within bounds.
fn pairs(
    file: &mut File<'_>,
    array: &Array,
    first: (u8, u8),
    second: (f64, f64),
    help: &str,
) -> Option<Vec<(u8, f64)>> {
    let mut out = Vec::new();
    for value in array {
        let pair = value.as_array().filter(|p| p.len() == 2).and_then(|pair| {
            let a = pair.get(0)?.as_integer().and_then(|n| u8::try_from(n).ok())?;
            let b = value_float(pair.get(1)?)?;
            ((first.0..=first.1).contains(&a) && (second.0..=second.1).contains(&b)).then_some((a, b))
        });
        match pair {
            Some(pair) => out.push(pair),
            None => {
                let message = format!(
                    "{} is no pair of {} to {} and {} to {}",
                    written(value),
                    first.0,
                    first.1,
                    second.0,
                    second.1
                );
                file.error(value_span(value), message, help);
            }
        }
    }
    (out.len() == array.len() && !out.is_empty()).then_some(out)
}

const ARTICULATION: [&str; 9] = [
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

fn articulation(
    file: &mut File<'_>,
    table: &dyn TableLike,
    span: Range<usize>,
    keys: &Keys,
) -> Option<(ArticulationCard, Places)> {
    file.only(table, &ARTICULATION, "an articulation");
    let at = |key: &str| table.get(key).map_or(span.clone(), span_of);
    let name = file.string(table, "name");
    if !table.contains_key("name") && !file.broken {
        file.error(span.clone(), "an articulation has no name", "write name = \"legato\"");
    }
    let written = name.as_deref().unwrap_or("").trim();
    if name.is_some()
        && (written.is_empty() || written.contains(|c: char| !(c.is_alphanumeric() || c == '-')))
    {
        let words: Vec<&str> =
            written.split(|c: char| !c.is_alphanumeric()).filter(|w| !w.is_empty()).collect();
        let help = match words.is_empty() {
            true => "write name = \"legato\"".to_string(),
            false => format!("use letters, digits and hyphens: {}", words.join("-").to_lowercase()),
        };
        match words.is_empty() {
            true => file.error(at("name"), format!("`{written}` is no name of an articulation"), help),
            false => file.warn(at("name"), format!("a cell cannot write the articulation `{written}`"), help),
        }
    }
    let colour = file.string(table, "colour").and_then(|word| {
        let colour = Colour::parse(&word);
        if colour.is_none() {
            let words = Colour::ALL.map(Colour::word);
            let help = did_you_mean(&word, words, || format!("known: {}", words.join(", ")));
            file.error(at("colour"), format!("`{word}` is no colour"), help);
        }
        colour
    });
    let calls = table.get("call").map(|item| calls(file, item, keys)).unwrap_or_default();
    let (calls, places): (Vec<_>, Vec<_>) = calls.into_iter().unzip();
    let delays = table.get("speaks-after-ms").map(|item| delays(file, item)).unwrap_or_default();
    let one = ArticulationCard {
        name: name.as_deref()?.trim().to_lowercase(),
        colour,
        calls,
        delays,
        overlap_ms: file.number(table, "overlap-ms", -2000.0, 2000.0).unwrap_or(0.0),
        one_voice: file.boolean(table, "one-voice"),
        sounding: range(file, table, "sounding", keys),
        repeat_ms: file.number(table, "repeat-ms", 0.0, 10_000.0),
        dynamics: file.table(table, "dynamics").map(|t| dynamics(file, t)),
    };
    Some((one, Places { name: at("name"), calls: places, called: table.contains_key("call") }))
}

fn delays(file: &mut File<'_>, item: &Item) -> Delays {
    let Some(table) = item.as_table_like() else {
        let both = item.as_value().map(|v| delay(file, v)).unwrap_or_default();
        return Delays { first: both.clone(), joined: both };
    };
    file.only(table, &["first", "joined"], "speaks-after-ms");
    let mut one = |key: &str| table.get(key).and_then(Item::as_value).map(|v| delay(file, v));
    let (first, joined) = (one("first"), one("joined"));
    // Without `joined`, slurred notes speak as the others do.
    let first = first.unwrap_or_default();
    Delays { joined: joined.unwrap_or_else(|| first.clone()), first }
}

fn delay(file: &mut File<'_>, value: &Value) -> DelayCurve {
    let help = "write milliseconds, 0 to 5000, or pairs by rising velocity: [[1, 250], [64, 160]]";
    if let Some(ms) = value_float(value).filter(|ms| (0.0..=5000.0).contains(ms)) {
        return DelayCurve { pairs: vec![(64, ms)] };
    }
    let Some(array) = value.as_array().filter(|a| !a.is_empty()) else {
        file.error(value_span(value), format!("{} is no delay", written(value)), help);
        return DelayCurve::default();
    };
    let Some(pairs) = pairs(file, array, (1, 127), (0.0, 5000.0), help) else { return DelayCurve::default() };
    if let Some(i) = pairs.windows(2).position(|w| w[0].0 >= w[1].0) {
        file.error(array.get(i + 1).map_or(0..0, value_span), "the velocities do not rise here", help);
        return DelayCurve::default();
    }
    DelayCurve { pairs }
}
