//! Reading `template.toml`.

use crate::deliver;
use crate::instrument;
use crate::read_stage::{PLACING, placing, stage};
use crate::toml::{File, key_span, span_of, value_float, value_span};
use crate::{Bits, ChairPlan, Diagnostic, FontPlan, MixPlan, Origin, RATES, SeatPlan, Span, Template};
use std::ops::Range;
use toml_edit::{Item, TableLike};

impl Template {
    /// Reads a template: what is understood, and every complaint.
    pub fn parse(file: &str, text: &str) -> (Self, Vec<Diagnostic>) {
        let mut file = File::new(file, text);
        let root = file.document();
        file.only(&root, &["chair", "stage", "hall", "family", "mix", "deliver"], "a template");
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
        template.stage = stage(&mut file, &root);
        if let Some(table) = file.table(&root, "mix") {
            template.mix = mix(&mut file, table);
            // The hall of all who name none: its time may stand here.
            template.stage.reverberation = file.number(table, "reverberation-s", 0.1, 12.0);
        }
        if let Some(table) = file.table(&root, "deliver") {
            template.deliver = deliver::read(&mut file, table);
        }
        (template, file.complaints())
    }
}

const KEYS: [&str; 13] = [
    "name",
    "instrument",
    "players",
    "card",
    "cards",
    "track",
    "port",
    "order",
    "seat",
    "print",
    "print-align",
    "font",
    "outside",
];

fn mix(file: &mut File<'_>, table: &dyn TableLike) -> MixPlan {
    let keys = ["gain-db", "loudness", "true-peak", "hall-db", "reverberation-s", "rate", "bits", "cache-mb"];
    file.only(table, &keys, "[mix]");
    let base = MixPlan::default();
    let mut rate = base.rate;
    if let Some(value) = file.whole(table, "rate", 1, i64::MAX) {
        match RATES.iter().find(|r| i64::from(**r) == value) {
            Some(known) => rate = *known,
            None => file.error(
                table.get("rate").map_or(0..0, span_of),
                format!("`rate` is {value}"),
                "expected 44100, 48000, 88200 or 96000 samples a second",
            ),
        }
    }
    let mut bits = base.bits;
    if let Some(value) = file.whole(table, "bits", 1, i64::MAX) {
        match Bits::of(value) {
            Some(known) => bits = known,
            None => file.error(
                table.get("bits").map_or(0..0, span_of),
                format!("`bits` is {value}"),
                "expected 16, 24 or 32 (32 are floats)",
            ),
        }
    }
    MixPlan {
        gain_db: file.number(table, "gain-db", -60.0, 24.0).unwrap_or(base.gain_db),
        loudness: file.number(table, "loudness", -60.0, -5.0).unwrap_or(base.loudness),
        true_peak: file.number(table, "true-peak", -20.0, 0.0).unwrap_or(base.true_peak),
        hall_db: file.number(table, "hall-db", -60.0, 20.0).unwrap_or(base.hall_db),
        rate,
        bits,
        cache_mb: file
            .whole(table, "cache-mb", 0, 10_000_000)
            .and_then(|n| n.try_into().ok())
            .unwrap_or(base.cache_mb),
    }
}

impl Bits {
    /// From the number that plans and commands write.
    pub fn of(number: i64) -> Option<Self> {
        [(16, Self::Sixteen), (24, Self::TwentyFour), (32, Self::ThirtyTwo)]
            .into_iter()
            .find(|(n, _)| *n == number)
            .map(|(_, bits)| bits)
    }

    /// As people say it.
    pub fn words(self) -> &'static str {
        match self {
            Self::Sixteen => "16 bits",
            Self::TwentyFour => "24 bits",
            Self::ThirtyTwo => "32 bits (float)",
        }
    }
}

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
    file.only(table, &[&KEYS[..], &PLACING].concat(), "a chair");
    let outside = file.boolean(table, "outside").unwrap_or(false);
    // What comes from elsewhere may be no instrument at all.
    let named = table.contains_key("instrument") || !outside;
    let instrument = if named { instrument(file, table, &at, id) } else { "piano".into() };
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
        placing: placing(file, table),
        origin: origin(file, table),
        outside,
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

fn origin(file: &mut File<'_>, table: &dyn TableLike) -> Origin {
    let align = file.boolean(table, "print-align").unwrap_or(false);
    let font = table.get("font").and_then(|item| font(file, item));
    let place = |key: &str| table.get(key).map_or(0..0, span_of);
    let Some(path) = file.string(table, "print") else {
        if align {
            file.warn(
                place("print-align"),
                "there is no print to align",
                "name it: print = \"violins-1.wav\"",
            );
        }
        return font.map_or(Origin::House, Origin::Font);
    };
    let at = place("print");
    if font.is_some() {
        file.warn(
            at.clone(),
            "a chair has one sound: the print is heard, not the font",
            "remove one of them",
        );
    }
    Origin::Print { path, align, span: Span { start: at.start, end: at.end } }
}

fn font(file: &mut File<'_>, item: &Item) -> Option<FontPlan> {
    let help = "write font = { file = \"winds.sf2\", preset = [0, 71] }, bank and program counted from 0";
    let at = span_of(item);
    let Some(table) = item.as_table_like() else {
        file.error(at, "`font` is no table", help);
        return None;
    };
    file.only(table, &["file", "preset", "presets", "transpose", "cents"], "a font");
    let Some(path) = file.string(table, "file") else {
        if !table.contains_key("file") {
            file.error(at, "the font has no file", help);
        }
        return None;
    };
    let preset = table.get("preset").and_then(|item| preset(file, item, help));
    let mut presets = Vec::new();
    if let Some(by_name) = file.table(table, "presets") {
        for (name, item) in by_name.iter() {
            presets.extend(self::preset(file, item, help).map(|p| (name.to_string(), p)));
        }
    }
    Some(FontPlan {
        file: path,
        preset: preset.unwrap_or((0, 0)),
        presets,
        transpose: file.whole(table, "transpose", -48, 48).and_then(|n| n.try_into().ok()).unwrap_or(0),
        cents: file.number(table, "cents", -1200.0, 1200.0).unwrap_or(0.0),
        span: Span { start: at.start, end: at.end },
    })
}

fn preset(file: &mut File<'_>, item: &Item, help: &str) -> Option<(u16, u8)> {
    let pair: Vec<i64> =
        item.as_array().map(|a| a.iter().filter_map(|v| v.as_integer()).collect()).unwrap_or_default();
    match pair[..] {
        [bank, program] if (0..=16_383).contains(&bank) && (0..=127).contains(&program) => {
            Some((u16::try_from(bank).ok()?, u8::try_from(program).ok()?))
        }
        _ => {
            file.error(span_of(item), "a preset is its bank and its program", help);
            None
        }
    }
}

fn seat(file: &mut File<'_>, item: &Item) -> Option<SeatPlan> {
    let help = "write metres from the conductor, to the right and upstage: seat = [-3.6, 2.2]";
    let Some(array) = item.as_array().filter(|a| a.len() == 2 || a.len() == 3) else {
        file.error(span_of(item), "`seat` is not two numbers", help);
        return None;
    };
    let mut pair = [0.0; 3];
    for (place, value) in pair.iter_mut().zip(array) {
        match value_float(value).filter(|v| v.abs() <= 100.0) {
            Some(metres) => *place = metres,
            None => {
                file.error(value_span(value), "a seat lies within 100 m", help);
                return None;
            }
        }
    }
    let width = (array.len() == 3).then_some(pair[2].abs());
    Some(SeatPlan { x: pair[0], y: pair[1], width })
}
