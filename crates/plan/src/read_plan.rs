//! Reading `cue.toml` and `template.toml`.

use crate::toml::{File, span_of, table_span};
use crate::{
    CellWords, ChairPlan, Diagnostic, Keep, LineDef, LineVoice, MixPlan, PassagePlan, PlacedCell, Plan,
    SeatPlan, Settings, Source, Span, Template, nearest,
};
use toml_edit::{Item, TableLike};

impl Plan {
    /// Reads a plan: what is understood, and every complaint.
    pub fn parse(file: &str, text: &str) -> (Self, Vec<Diagnostic>) {
        let mut file = File::new(file, text);
        let document = file.document();
        let root = document.as_table();
        file.only(root, &["cue", "performance", "lines", "passage"], "a plan");
        let mut plan = Self::default();
        match root.get("cue").and_then(Item::as_table_like) {
            Some(cue) => {
                file.only(cue, &["title", "music", "template", "seed", "date"], "[cue]");
                plan.title = file.string(cue, "title").unwrap_or_default();
                plan.music = file.string(cue, "music").unwrap_or_default();
                plan.template = file.string(cue, "template").unwrap_or_else(|| "template.toml".into());
                plan.date = file.string(cue, "date");
                if let Some(seed) = file.whole(cue, "seed", 0, i64::MAX) {
                    plan.settings.seed = seed as u64;
                }
                if !cue.contains_key("music") {
                    let span = root.get("cue").map_or(0..0, span_of);
                    file.error(span, "[cue] names no music", "write music = \"my-piece.musicxml\"");
                }
            }
            None => file.error(0..0, "the plan has no [cue]", "begin with [cue], title and music"),
        }
        if let Some(table) = file.table(root, "performance") {
            settings(&mut file, table, &mut plan.settings);
        }
        if let Some(lines) = file.table(root, "lines") {
            for (name, item) in lines.iter() {
                if let Some(line) = line(&mut file, name, item) {
                    plan.lines.push(line);
                }
            }
        }
        match root.get("passage") {
            Some(Item::ArrayOfTables(passages)) => {
                for table in passages {
                    if let Some(passage) = passage(&mut file, table, text) {
                        plan.passages.push(passage);
                    }
                }
            }
            Some(other) => file.error(
                span_of(other),
                "`passage` is not a list of tables",
                "write [[passage]] for each passage",
            ),
            None => {}
        }
        plan.passages.sort_by_key(|p| p.from_bar);
        for pair in plan.passages.windows(2) {
            if pair[1].from_bar <= pair[0].to_bar {
                file.error(
                    pair[1].span.start..pair[1].span.end,
                    format!(
                        "passage \"{}\" begins at bar {} inside \"{}\", which ends at bar {}",
                        pair[1].name, pair[1].from_bar, pair[0].name, pair[0].to_bar
                    ),
                    "passages may not overlap; move one of the bars",
                );
            }
        }
        for (i, passage) in plan.passages.iter().enumerate() {
            if plan.passages[..i].iter().any(|p| p.name == passage.name) {
                let span = passage.span.start..passage.span.end;
                file.error(
                    span,
                    format!("two passages are named \"{}\"", passage.name),
                    "give each a name of its own",
                );
            }
        }
        (plan, file.found)
    }

    /// References between plan and template: chairs, lines, voices, circles of `col`. `text` is the plan's own.
    pub fn check_against(&self, template: &Template, file: &str, text: &str) -> Vec<Diagnostic> {
        let mut file = File::new(file, text);
        let chairs: Vec<&str> = template.chairs.iter().map(|c| c.id.as_str()).collect();
        let lines: Vec<&str> = self.lines.iter().map(|l| l.name.as_str()).collect();
        for passage in &self.passages {
            for cell in &passage.cells {
                let span = |s: Span| cell.span.start + 1 + s.start..cell.span.start + 1 + s.end;
                if !chairs.contains(&cell.chair.as_str()) {
                    let at = cell.span.start..cell.span.end;
                    let help = said(&cell.chair, &chairs, "chair in the template");
                    file.error(at, format!("the template has no chair `{}`", cell.chair), help);
                }
                for turn in cell.words.divisions.iter().flatten() {
                    match &turn.source {
                        Source::Line { name, voice } => {
                            let Some(line) = self.lines.iter().find(|l| l.name == *name) else {
                                let mut words: Vec<&str> = lines.clone();
                                words.push("tacet");
                                words.push("as written");
                                for word in ripieno_music::words::vocabulary() {
                                    words.push(word);
                                }
                                let help = said(name, &words, "line");
                                let help =
                                    if help.starts_with("known") { said(name, &lines, "line") } else { help };
                                file.error(
                                    span(turn.span),
                                    format!("`{name}` is no line of this plan"),
                                    help,
                                );
                                continue;
                            };
                            if let (LineVoice::Nth(n), Some(most)) = (voice, line.voices)
                                && *n > most
                            {
                                let help = format!("its voices are {name}.top to {name}.{most}");
                                file.error(
                                    span(turn.span),
                                    format!("`{name}` has {most} voices, not {n}"),
                                    help,
                                );
                            }
                        }
                        Source::Col { chair } => {
                            if !chairs.contains(&chair.as_str()) {
                                let help = said(chair, &chairs, "chair in the template");
                                file.error(
                                    span(turn.span),
                                    format!("the template has no chair `{chair}`"),
                                    help,
                                );
                            } else if !passage.cells.iter().any(|c| c.chair == *chair) {
                                file.warn(
                                    span(turn.span),
                                    format!(
                                        "`{chair}` is silent in \"{}\", and so is `{}`",
                                        passage.name, cell.chair
                                    ),
                                    "give that chair something to play, or choose another",
                                );
                            }
                        }
                        Source::AsWritten if !lines.contains(&cell.chair.as_str()) => {
                            let help = format!("add to [lines]: {} = {{ track = \"...\" }}", cell.chair);
                            file.error(
                                span(turn.span),
                                format!("there is no line `{}` to be played as written", cell.chair),
                                help,
                            );
                        }
                        _ => {}
                    }
                }
            }
            circles(&mut file, passage);
        }
        file.found
    }
}

/// The nearest word, or all that are known.
fn said(word: &str, candidates: &[&str], what: &str) -> String {
    match nearest(word, candidates.iter().copied()) {
        Some(near) => format!("did you mean `{near}`?"),
        None if candidates.is_empty() => format!("there is no {what} yet"),
        None => format!("known: {}", candidates.join(", ")),
    }
}

/// `col` that leads back to itself: named once, chair by chair.
fn circles(file: &mut File<'_>, passage: &PassagePlan) {
    let follows = |chair: &str| -> Vec<&str> {
        passage
            .cells
            .iter()
            .filter(|c| c.chair == chair)
            .flat_map(|c| c.words.divisions.iter().flatten())
            .filter_map(|t| match &t.source {
                Source::Col { chair } => Some(chair.as_str()),
                _ => None,
            })
            .collect()
    };
    let mut reported: Vec<String> = Vec::new();
    for cell in &passage.cells {
        let mut path = vec![cell.chair.as_str()];
        let mut open = vec![follows(&cell.chair)];
        while let Some(next) = open.last_mut() {
            let Some(chair) = next.pop() else {
                open.pop();
                path.pop();
                continue;
            };
            if let Some(i) = path.iter().position(|c| *c == chair) {
                let circle: Vec<&str> = path[i..].iter().copied().chain([chair]).collect();
                let mut members: Vec<&str> = circle[1..].to_vec();
                members.sort_unstable();
                let key = members.join(" ");
                if !reported.contains(&key) {
                    let at = passage.cells.iter().find(|c| c.chair == chair).map_or(cell.span, |c| c.span);
                    file.error(
                        at.start..at.end,
                        format!("`col` goes round in a circle: {}", circle.join(" → ")),
                        "let one of them play a line",
                    );
                    reported.push(key);
                }
            } else if path.len() < 200 {
                path.push(chair);
                open.push(follows(chair));
            }
        }
    }
}

fn settings(file: &mut File<'_>, table: &dyn TableLike, settings: &mut Settings) {
    file.only(table, &["tempo-expression", "asynchrony", "intonation", "a", "keep"], "[performance]");
    if let Some(value) = file.number(table, "tempo-expression", 0.0, 3.0) {
        settings.tempo_expression = value;
    }
    if let Some(value) = file.number(table, "asynchrony", 0.0, 3.0) {
        settings.asynchrony = value;
    }
    if let Some(value) = file.number(table, "intonation", 0.0, 3.0) {
        settings.intonation = value;
    }
    if let Some(value) = file.number(table, "a", 390.0, 470.0) {
        settings.a = value;
    }
    let mut keep = Keep::default();
    for word in file.strings(table, "keep") {
        match word.as_str() {
            "curves" => keep.curves = true,
            "timing" => keep.timing = true,
            "velocity" => keep.velocity = true,
            other => {
                let near = nearest(other, ["curves", "timing", "velocity"]);
                let help = near.map_or("known: curves, timing, velocity".to_string(), |n| {
                    format!("did you mean `{n}`?")
                });
                file.error(
                    table.get("keep").map_or(0..0, span_of),
                    format!("`{other}` cannot be kept"),
                    help,
                );
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
    Some(LineDef {
        name: name.to_string(),
        track,
        voice: file.whole(table, "voice", 1, 65_535).map(|v| v as u16),
        staff: file.whole(table, "staff", 1, 255).map(|v| v as u8),
        voices: file.whole(table, "voices", 1, 32).map(|v| v as u8),
        strokes: file.strings(table, "strokes"),
        span: Span { start: span.start, end: span.end },
    })
}

fn passage(file: &mut File<'_>, table: &toml_edit::Table, text: &str) -> Option<PassagePlan> {
    file.only(table, &["name", "bars", "casting"], "a passage");
    let span = table_span(table);
    let name = file.string(table, "name").unwrap_or_else(|| "Unnamed".into());
    let whole = span.start..span.end;
    let Some(item) = table.get("bars") else {
        file.error(whole, format!("passage \"{name}\" has no bars"), "write bars = [1, 8]");
        return None;
    };
    let bars: Vec<i64> = item
        .as_array()
        .map(|a| a.iter().filter_map(toml_edit::Value::as_integer).collect())
        .unwrap_or_default();
    let [from, to] = bars[..] else {
        file.error(
            span_of(item),
            "`bars` is not two whole numbers",
            "write the first and the last bar: bars = [1, 8]",
        );
        return None;
    };
    if from > to || from < 0 || to > 1_000_000 {
        file.error(
            span_of(item),
            format!("bars {from} to {to} are no stretch of bars"),
            "the first bar comes first; bars count from 1, a pick-up is 0",
        );
        return None;
    }
    let mut cells = Vec::new();
    if let Some(casting) = file.table(table, "casting") {
        for (chair, item) in casting.iter() {
            let at = span_of(item);
            let Some(cell) = item.as_str() else {
                file.error(
                    at,
                    format!("the cell of `{chair}` is no text"),
                    "write chair = \"melody, legato\"",
                );
                continue;
            };
            let raw = text.get(at.start..at.end).unwrap_or("");
            let (words, faults) = CellWords::parse_with(cell, &|w| is_articulation(w));
            for fault in faults {
                // The text begins after its opening quote; an escaped quote inside shifts what follows it.
                let shift = |n: usize| {
                    n + raw[1.min(raw.len())..].match_indices('\\').take_while(|(i, _)| *i <= n).count()
                };
                file.error(
                    at.start + 1 + shift(fault.span.start)..at.start + 1 + shift(fault.span.end),
                    fault.message,
                    fault.help,
                );
            }
            cells.push(PlacedCell {
                chair: chair.to_string(),
                text: cell.to_string(),
                words,
                span: Span { start: at.start, end: at.end },
            });
        }
    }
    Some(PassagePlan { name, from_bar: from as i32, to_bar: to as i32, cells, span })
}

/// Articulations that cards name outside the trade's marks: a word with a hyphen and no digit.
fn is_articulation(word: &str) -> bool {
    matches!(
        word,
        "sustain" | "accent" | "snap-pizzicato" | "trill-1" | "trill-2" | "glissando" | "flautando"
    )
}

impl Template {
    /// Reads a template: what is understood, and every complaint.
    pub fn parse(file: &str, text: &str) -> (Self, Vec<Diagnostic>) {
        let mut file = File::new(file, text);
        let document = file.document();
        let root = document.as_table();
        file.only(root, &["chair", "mix"], "a template");
        let mut template = Self::default();
        if let Some(chairs) = file.table(root, "chair") {
            for (id, item) in chairs.iter() {
                if let Some(chair) = chair(&mut file, id, item) {
                    template.chairs.push(chair);
                }
            }
        }
        if template.chairs.is_empty() && file.found.is_empty() {
            file.error(
                0..0,
                "the template has no chairs",
                "write [chair.violins-1] and instrument = \"violin\"",
            );
        }
        // `order` where given; the others keep the order of the file after them.
        template.chairs.sort_by_key(|c| c.order.unwrap_or(i64::MAX));
        if let Some(table) = file.table(root, "mix") {
            file.only(table, &["loudness", "true-peak", "hall-db", "reverberation-s"], "[mix]");
            let base = MixPlan::default();
            template.mix = MixPlan {
                loudness: file.number(table, "loudness", -60.0, -5.0).unwrap_or(base.loudness),
                true_peak: file.number(table, "true-peak", -20.0, 0.0).unwrap_or(base.true_peak),
                hall_db: file.number(table, "hall-db", -60.0, 20.0).unwrap_or(base.hall_db),
                reverberation: file.number(table, "reverberation-s", 0.1, 12.0).unwrap_or(base.reverberation),
            };
        }
        (template, file.found)
    }
}

fn chair(file: &mut File<'_>, id: &str, item: &Item) -> Option<ChairPlan> {
    let span = span_of(item);
    let Some(table) = item.as_table_like() else {
        file.error(span, format!("chair `{id}` is no table"), "write [chair.violins-1]");
        return None;
    };
    let valid =
        !id.is_empty() && id.chars().all(|c| c.is_ascii_lowercase() || c.is_ascii_digit() || c == '-');
    if !valid {
        file.error(
            span.clone(),
            format!("`{id}` is no id of a chair"),
            "use a-z, 0-9 and hyphens: violins-1",
        );
    }
    let keys =
        ["instrument", "players", "card", "cards", "track", "port", "order", "name", "seat", "gain-db"];
    file.only(table, &keys, "a chair");
    let instrument = file.string(table, "instrument").unwrap_or_default();
    if ripieno_instruments::by_id(&instrument).is_none() {
        let at = table.get("instrument").map_or(span.clone(), span_of);
        let near = nearest(&instrument, ripieno_instruments::ids());
        let help = near.map_or_else(
            || "ids are listed in docs/instruments.md; say, instrument = \"violin\"".to_string(),
            |n| format!("did you mean `{n}`?"),
        );
        let message = if instrument.is_empty() {
            format!("chair `{id}` has no instrument")
        } else {
            format!("`{instrument}` is no instrument of the table")
        };
        file.error(at, message, help);
    }
    let mut cards = file.strings(table, "cards");
    if let Some(card) = file.string(table, "card") {
        cards.insert(0, card);
    }
    let seat = table.get("seat").and_then(|item| {
        let pair: Vec<f64> = item
            .as_array()
            .map(|a| a.iter().filter_map(crate::toml::value_float).collect())
            .unwrap_or_default();
        match pair[..] {
            [x, y] if x.abs() <= 100.0 && y.abs() <= 100.0 => Some(SeatPlan { x, y }),
            _ => {
                file.error(
                    span_of(item),
                    "`seat` is not two numbers within 100 m",
                    "write metres from the conductor: seat = [-3.6, 2.2]",
                );
                None
            }
        }
    });
    Some(ChairPlan {
        id: id.to_string(),
        name: file.string(table, "name"),
        instrument,
        players: file.whole(table, "players", 1, 500).unwrap_or(1) as u16,
        cards,
        track: file.string(table, "track"),
        port: file.string(table, "port"),
        order: file.whole(table, "order", i64::MIN, i64::MAX),
        seat,
        gain_db: file.number(table, "gain-db", -60.0, 24.0).unwrap_or(0.0),
        span: Span { start: span.start, end: span.end },
    })
}
