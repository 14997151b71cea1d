//! Reading `template.toml`.

use crate::instrument;
use crate::toml::{File, key_span, span_of, value_float, value_span};
use crate::{ChairPlan, Diagnostic, MixPlan, SeatPlan, Span, Template};
use std::ops::Range;
use toml_edit::{Item, TableLike};

impl Template {
    /// Reads a template: what is understood, and every complaint.
    pub fn parse(file: &str, text: &str) -> (Self, Vec<Diagnostic>) {
        let mut file = File::new(file, text);
        let root = file.document();
        file.only(&root, &["chair", "mix"], "a template");
        let mut template = Self::default();
        let mut any = root.contains_key("chair") || file.broken;
        if let Some(chairs) = file.table(&root, "chair") {
            any = !chairs.is_empty() || file.broken;
            for (id, item) in chairs.iter() {
                template.chairs.extend(chair(&mut file, key_span(chairs, id, item), id, item));
            }
        }
        if !any {
            file.error(
                0..0,
                "the template has no chairs",
                "write [chair.violins-1] and instrument = \"violin\"",
            );
        }
        // `order` where given; the others keep the order of the file after them.
        template.chairs.sort_by_key(|c| c.order.unwrap_or(i64::MAX));
        if let Some(table) = file.table(&root, "mix") {
            file.only(table, &["loudness", "true-peak", "hall-db", "reverberation-s"], "[mix]");
            let base = MixPlan::default();
            template.mix = MixPlan {
                loudness: file.number(table, "loudness", -60.0, -5.0).unwrap_or(base.loudness),
                true_peak: file.number(table, "true-peak", -20.0, 0.0).unwrap_or(base.true_peak),
                hall_db: file.number(table, "hall-db", -60.0, 20.0).unwrap_or(base.hall_db),
                reverberation: file.number(table, "reverberation-s", 0.1, 12.0).unwrap_or(base.reverberation),
            };
        }
        (template, file.complaints())
    }
}

const KEYS: [&str; 10] =
    ["name", "instrument", "players", "card", "cards", "track", "port", "order", "seat", "gain-db"];

fn chair(file: &mut File<'_>, at: Range<usize>, id: &str, item: &Item) -> Option<ChairPlan> {
    let Some(table) = item.as_table_like() else {
        file.error(
            span_of(item),
            format!("chair `{id}` is no table"),
            "write [chair.violins-1] and its keys below",
        );
        return None;
    };
    if id.is_empty() || !id.chars().all(|c| c.is_ascii_lowercase() || c.is_ascii_digit() || c == '-') {
        file.error(at.clone(), format!("`{id}` is no id of a chair"), "use a-z, 0-9 and hyphens: violins-1");
    } else if crate::cell::is_taken(id) || !crate::cell::is_name(id) {
        file.warn(
            at.clone(),
            format!("a cell cannot write `col {id}`"),
            "begin the id with a letter, and choose no mark of the trade",
        );
    }
    file.only(table, &KEYS, "a chair");
    let instrument = instrument(file, table, &at, id);
    Some(ChairPlan {
        id: id.to_string(),
        name: file.string(table, "name"),
        instrument,
        players: file.whole(table, "players", 1, 500).and_then(|n| n.try_into().ok()).unwrap_or(1),
        cards: cards(file, table),
        track: file.string(table, "track"),
        port: file.string(table, "port"),
        order: file.whole(table, "order", i64::MIN, i64::MAX),
        seat: table.get("seat").and_then(|item| seat(file, item)),
        gain_db: file.number(table, "gain-db", -60.0, 24.0).unwrap_or(0.0),
        span: Span { start: at.start, end: at.end },
    })
}

fn instrument(file: &mut File<'_>, table: &dyn TableLike, at: &Range<usize>, id: &str) -> String {
    let Some(instrument) = file.string(table, "instrument") else {
        if !table.contains_key("instrument") {
            let help = format!("write instrument = \"{}\"", instrument::likely(id).unwrap_or("violin"));
            file.error(at.clone(), format!("chair `{id}` has no instrument"), help);
        }
        return String::new();
    };
    if !instrument::is_known(&instrument) {
        let help = instrument::meant(&instrument);
        let at = table.get("instrument").map_or(at.clone(), span_of);
        file.error(at, format!("`{instrument}` is no instrument of the table"), help);
    }
    instrument
}

fn cards(file: &mut File<'_>, table: &dyn TableLike) -> Vec<String> {
    let mut cards = file.strings(table, "cards");
    if let Some(card) = file.string(table, "card") {
        let at = table.get("card").map_or(0..0, span_of);
        if table.contains_key("cards") {
            file.warn(at.clone(), "both `card` and `cards` are written", "write all of them in `cards`");
        }
        cards.insert(0, (card, at));
    }
    for (i, (card, at)) in cards.iter().enumerate() {
        if card.trim().is_empty() {
            file.error(at.clone(), "a card without path", "write its path, relative to the template");
        } else if cards[..i].iter().any(|(c, _)| c == card) {
            file.warn(
                at.clone(),
                format!("the card `{card}` stands twice"),
                "remove one: each card gets a track of its own",
            );
        }
    }
    cards.into_iter().map(|(card, _)| card).filter(|c| !c.trim().is_empty()).collect()
}

fn seat(file: &mut File<'_>, item: &Item) -> Option<SeatPlan> {
    let help = "write metres from the conductor, to the right and upstage: seat = [-3.6, 2.2]";
    let Some(array) = item.as_array().filter(|a| a.len() == 2) else {
        file.error(span_of(item), "`seat` is not two numbers", help);
        return None;
    };
    let mut pair = [0.0; 2];
    for (place, value) in pair.iter_mut().zip(array) {
        match value_float(value).filter(|v| v.abs() <= 100.0) {
            Some(metres) => *place = metres,
            None => {
                file.error(value_span(value), "a seat lies within 100 m", help);
                return None;
            }
        }
    }
    Some(SeatPlan { x: pair[0], y: pair[1] })
}
