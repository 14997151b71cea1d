//! Reading `cue.toml`.

use crate::cell::{is_name, is_taken};
use crate::deliver;
use crate::diagnostic::did_you_mean;
use crate::instrument;
use crate::played;
use crate::read_advice;
use crate::read_others;
use crate::read_picture;
use crate::toml::{File, Inside, key_span, span_of, table_span};
use crate::{
    CellMark, CellWords, Diagnostic, Keep, LineDef, PassagePlan, PlaceWord, PlacedCell, Plan, Purpose,
    Settings, Span,
};
use toml_edit::{Item, TableLike};

/// Articulations that every plan may name beside the trade's marks; cards may have others.
pub const ARTICULATIONS: [&str; 6] =
    ["sustain", "accent", "snap-pizzicato", "trill-1", "trill-2", "glissando"];

impl Plan {
    /// Reads a plan: what is understood, and every complaint.
    pub fn parse(file: &str, text: &str) -> (Self, Vec<Diagnostic>) {
        Self::parse_with(file, text, &|_| false)
    }

    /// Reads a plan whose cells may also name the articulations that `known` knows: those of the patch cards.
    pub fn parse_with(file: &str, text: &str, known: &dyn Fn(&str) -> bool) -> (Self, Vec<Diagnostic>) {
        let mut file = File::new(file, text);
        let root = file.document();
        let keys = [
            "cue",
            "performance",
            "source",
            "lines",
            "passage",
            "accept",
            "kit",
            "picture",
            "tempo",
            "metre",
            "deliver",
            "score",
        ];
        file.only(&root, &keys, "a plan");
        let mut plan = Self { template: "template.toml".into(), ..Self::default() };
        match file.table(&root, "cue") {
            Some(cue) => head(&mut file, cue, root.get("cue").map_or(0..0, span_of), &mut plan),
            None if file.broken || root.contains_key("cue") => {}
            None => file.error(
                0..0,
                "the plan has no [cue]",
                "begin with [cue], title = \"...\" and music = \"...\"",
            ),
        }
        if let Some(table) = file.table(&root, "performance") {
            settings(&mut file, table, &mut plan.settings);
        }
        if let Some(table) = file.table(&root, "score") {
            printed(&mut file, table, &mut plan);
        }
        if let Some(source) = file.table(&root, "source") {
            plan.source = played::read(&mut file, source);
        }
        if let Some(lines) = file.table(&root, "lines") {
            for (name, item) in lines.iter() {
                let at = key_span(lines, name, item);
                if !is_name(name) {
                    let help = "begin with a letter; use letters, digits, - and _";
                    file.error(at, format!("a cell cannot write the line name `{name}`"), help);
                } else if is_taken(name) {
                    file.warn(
                        at,
                        format!("a cell reads `{name}` as a mark, not as this line"),
                        "give the line another name",
                    );
                }
                plan.lines.extend(line(&mut file, name, item));
            }
        }
        let lines: Vec<String> = plan.lines.iter().map(|l| l.name.clone()).collect();
        match root.get("passage") {
            Some(Item::ArrayOfTables(passages)) => {
                for table in passages {
                    plan.passages.extend(passage(&mut file, table, &lines, known));
                }
            }
            Some(other) => file.error(
                span_of(other),
                "`passage` is not a list of tables",
                "write [[passage]] for each passage",
            ),
            None => {}
        }
        if let Some(accept) = file.table(&root, "accept") {
            plan.accepted = read_advice::accepted(&mut file, accept);
        }
        if let Some(kits) = file.table(&root, "kit") {
            plan.kits = read_advice::kits(&mut file, kits);
        }
        if let Some(table) = file.table(&root, "deliver") {
            plan.deliver = deliver::read(&mut file, table);
        }
        if let Some(table) = file.table(&root, "picture") {
            plan.picture = Some(read_picture::picture(&mut file, table));
        }
        (plan.tempi, plan.metres) = read_picture::steps(&mut file, &root);
        plan.passages.sort_by_key(|p| p.from_bar);
        together(&mut file, &plan.passages);
        (plan, file.complaints())
    }
}

fn head(file: &mut File<'_>, cue: &dyn TableLike, at: std::ops::Range<usize>, plan: &mut Plan) {
    file.only(cue, &["title", "music", "template", "seed", "date", "for"], "[cue]");
    plan.title = file.string(cue, "title").unwrap_or_default();
    plan.music = file.string(cue, "music").unwrap_or_default();
    if let Some(template) = file.string(cue, "template") {
        plan.template = template;
    }
    if let Some(word) = file.string(cue, "for") {
        match Purpose::of_word(&word) {
            Some(purpose) => plan.purpose = purpose,
            None => {
                let at = cue.get("for").map_or(0..0, span_of);
                let help = did_you_mean(&word, Purpose::WORDS, || {
                    "write \"samples\" (your own patches) or \"session\" (living players)".into()
                });
                file.error(at, format!("`for = \"{word}\"` is not understood"), help);
            }
        }
    }
    for key in ["music", "template"] {
        if let Some(item) = cue.get(key)
            && item.as_str().is_some_and(|s| s.trim().is_empty())
        {
            file.error(
                span_of(item),
                format!("`{key}` names no file"),
                "write its path, relative to this file",
            );
        }
    }
    if let Some(item) = cue.get("date") {
        // TOML has dates of its own: without quotes it is the same day.
        match item.as_str().map(str::to_string).or_else(|| item.as_datetime().map(ToString::to_string)) {
            Some(date) if is_date(&date) => plan.date = Some(date),
            Some(date) => file.error(
                span_of(item),
                format!("`{date}` is no date"),
                "write year, month and day: date = \"2026-11-25\"",
            ),
            None => file.wrong(item, "date", "year, month and day: \"2026-11-25\""),
        }
    }
    if let Some(seed) = file.whole(cue, "seed", 0, i64::MAX) {
        plan.settings.seed = seed.unsigned_abs();
    }
    if !cue.contains_key("music") && !file.broken {
        file.error(at, "[cue] names no music", "write music = \"my-piece.musicxml\"");
    }
}

fn printed(file: &mut File<'_>, table: &dyn TableLike, plan: &mut Plan) {
    file.only(table, &["pitch", "composer"], "[score]");
    plan.score.composer = file.string(table, "composer").filter(|c| !c.trim().is_empty());
    match file.string(table, "pitch").as_deref() {
        None | Some("concert") => {}
        Some("transposed") => plan.score.transposed = true,
        Some(other) => {
            let at = table.get("pitch").map_or(0..0, span_of);
            let help = did_you_mean(other, ["concert", "transposed"], || {
                "write \"concert\" (as it sounds) or \"transposed\" (as each player reads it)".into()
            });
            file.error(at, format!("`pitch = \"{other}\"` is not understood"), help);
        }
    }
}

/// A calendar date of ISO 8601, `YYYY-MM-DD`.
fn is_date(text: &str) -> bool {
    let parts: Vec<&str> = text.split('-').collect();
    let [year, month, day] = parts[..] else { return false };
    let digits = parts.iter().all(|p| p.bytes().all(|b| b.is_ascii_digit()));
    let number = |s: &str| s.parse::<u32>().unwrap_or(0);
    let leap = number(year) % 4 == 0 && (number(year) % 100 != 0 || number(year) % 400 == 0);
    let most = match number(month) {
        4 | 6 | 9 | 11 => 30,
        2 if leap => 29,
        2 => 28,
        1..=12 => 31,
        _ => 0,
    };
    digits && year.len() == 4 && month.len() == 2 && day.len() == 2 && (1..=most).contains(&number(day))
}

fn settings(file: &mut File<'_>, table: &dyn TableLike, settings: &mut Settings) {
    file.only(table, &["tempo-expression", "asynchrony", "intonation", "a", "keep"], "[performance]");
    for (key, low, high, value) in [
        ("tempo-expression", 0.0, 3.0, &mut settings.tempo_expression),
        ("asynchrony", 0.0, 3.0, &mut settings.asynchrony),
        ("intonation", 0.0, 3.0, &mut settings.intonation),
        ("a", 390.0, 470.0, &mut settings.a),
    ] {
        if let Some(written) = file.number(table, key, low, high) {
            *value = written;
        }
    }
    let mut keep = Keep::default();
    for (word, at) in file.strings(table, "keep") {
        match word.as_str() {
            "curves" => keep.curves = true,
            "timing" => keep.timing = true,
            "velocity" => keep.velocity = true,
            other => {
                let words = ["curves", "timing", "velocity"];
                let help = did_you_mean(other, words, || format!("known: {}", words.join(", ")));
                file.error(at, format!("`{other}` cannot be kept"), help);
            }
        }
    }
    settings.keep = keep;
}

fn line(file: &mut File<'_>, name: &str, item: &Item) -> Option<LineDef> {
    let span = span_of(item);
    let Some(table) = item.as_table_like() else {
        file.error(span, format!("line `{name}` is no table"), "write name = { track = \"Lead\" }");
        return None;
    };
    file.only(table, &["track", "voice", "staff", "voices", "strokes"], "a line");
    let Some(track) = file.string(table, "track") else {
        if !table.contains_key("track") {
            file.error(span, format!("line `{name}` names no track"), "write name = { track = \"Lead\" }");
        }
        return None;
    };
    let mut strokes = Vec::new();
    for (stroke, at) in file.strings(table, "strokes") {
        if !instrument::is_known(&stroke) {
            let help = instrument::meant(&stroke);
            file.warn(at, format!("`{stroke}` is no instrument of the table"), help);
        }
        strokes.push(stroke);
    }
    Some(LineDef {
        name: name.to_string(),
        track,
        voice: file.whole(table, "voice", 1, 65_535).and_then(|v| v.try_into().ok()),
        staff: file.whole(table, "staff", 1, 255).and_then(|v| v.try_into().ok()),
        voices: file.whole(table, "voices", 1, 32).and_then(|v| v.try_into().ok()),
        strokes,
        span: Span { start: span.start, end: span.end },
    })
}

/// First and last bar.
fn bars(file: &mut File<'_>, table: &toml_edit::Table, name: &str) -> Option<(i32, i32)> {
    let Some(item) = table.get("bars") else {
        let span = table_span(table);
        file.error(span.start..span.end, format!("passage \"{name}\" has no bars"), "write bars = [1, 8]");
        return None;
    };
    let bars: Option<Vec<i64>> =
        item.as_array().and_then(|a| a.iter().map(toml_edit::Value::as_integer).collect());
    let Some([from, to]) = bars.as_deref() else {
        file.error(
            span_of(item),
            "`bars` is not two whole numbers",
            "write the first and the last bar: bars = [1, 8]",
        );
        return None;
    };
    if from > to {
        file.error(
            span_of(item),
            format!("bars {from} to {to} go backwards"),
            format!("write bars = [{to}, {from}]"),
        );
        return None;
    }
    match (i32::try_from(*from), i32::try_from(*to)) {
        (Ok(from), Ok(to)) if from >= 0 && to <= 100_000 => Some((from, to)),
        _ => {
            file.error(
                span_of(item),
                format!("bars {from} to {to} are no stretch of bars"),
                "bars count from 1 to 100000; a pick-up is bar 0",
            );
            None
        }
    }
}

fn passage(
    file: &mut File<'_>,
    table: &toml_edit::Table,
    lines: &[String],
    known: &dyn Fn(&str) -> bool,
) -> Option<PassagePlan> {
    file.only(table, &["name", "bars", "casting", "other"], "a passage");
    let name = file.string(table, "name");
    let label = name.clone().unwrap_or_else(|| "without name".into());
    let bars = bars(file, table, &label);
    let mut cells = Vec::new();
    if let Some(casting) = file.table(table, "casting") {
        let near: Vec<&str> = lines
            .iter()
            .map(String::as_str)
            .chain(casting.iter().map(|(c, _)| c))
            .chain(ARTICULATIONS)
            .collect();
        let known = |word: &str| ARTICULATIONS.contains(&word) || known(word);
        for (chair, item) in casting.iter() {
            let at = span_of(item);
            let span = Span { start: at.start, end: at.end };
            let Some(text) = item.as_str() else {
                file.error(
                    at,
                    format!("the cell of `{chair}` is no text"),
                    "write chair = \"melody, legato\"",
                );
                continue;
            };
            let (words, faults) = CellWords::parse_among(text, &known, &near);
            let inside = Inside::new(file.text, span);
            for fault in faults {
                file.error(inside.place(fault.span), fault.message, fault.help);
            }
            if let Some((from, to)) = bars {
                places(file, &words, &inside, span, from, to);
            }
            cells.push(PlacedCell { chair: chair.to_string(), text: text.to_string(), words, span });
        }
    }
    let others = read_others::others(file, table, &|word| ARTICULATIONS.contains(&word) || known(word));
    let (from_bar, to_bar) = bars?;
    let name =
        name.filter(|n| !n.trim().is_empty()).unwrap_or_else(|| format!("Bars {from_bar} to {to_bar}"));
    Some(PassagePlan { name, from_bar, to_bar, cells, others, span: table_span(table) })
}

/// Places that lie outside the passage do nothing there.
fn places(file: &mut File<'_>, words: &CellWords, inside: &Inside, literal: Span, from: i32, to: i32) {
    let outside = |place: Option<PlaceWord>| place.filter(|p| p.bar < from - 1 || p.bar > to);
    for turn in words.divisions.iter().flatten() {
        for place in [outside(turn.from), outside(turn.to)].into_iter().flatten() {
            let at = inside.place(turn.span);
            file.warn(
                at,
                format!("{place} lies outside the passage, bars {from} to {to}"),
                "name a bar of the passage",
            );
        }
    }
    for mark in &words.marks {
        let CellMark::Dynamics(steps) = mark else { continue };
        for place in steps.iter().filter_map(|s| outside(s.at)) {
            file.warn(
                literal.start..literal.end,
                format!("({place}) lies outside the passage, bars {from} to {to}"),
                "name a bar of the passage",
            );
        }
    }
}

/// Passages may not overlap, nor share a name.
fn together(file: &mut File<'_>, passages: &[PassagePlan]) {
    // The one that reaches furthest so far: a long passage may cover several.
    let mut furthest: Option<&PassagePlan> = None;
    let mut names = std::collections::BTreeSet::new();
    for passage in passages {
        let span = passage.span.start..passage.span.end;
        if let Some(before) = furthest.filter(|b| passage.from_bar <= b.to_bar) {
            let (name, first) = (&passage.name, passage.from_bar);
            file.error(
                span.clone(),
                format!(
                    "passage \"{name}\" begins at bar {first} inside \"{}\", which ends at bar {}",
                    before.name, before.to_bar
                ),
                "passages may not overlap; move one of the bars",
            );
        }
        if furthest.is_none_or(|b| passage.to_bar > b.to_bar) {
            furthest = Some(passage);
        }
        if !names.insert(passage.name.as_str()) {
            file.error(
                span,
                format!("two passages are named \"{}\"", passage.name),
                "give each a name of its own",
            );
        }
    }
}
