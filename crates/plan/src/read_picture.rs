//! Reading `[picture]`, `[[tempo]]` and `[[metre]]`.

use crate::deliver::stays_inside;
use crate::picture::{HitPlan, MetrePlan, PicturePlan, TempoPlan};
use crate::toml::{File, float, span_of, table_span};
use ripieno_timing::{FrameRate, Timecode};
use toml_edit::{Item, Table, TableLike};

/// Slowest and fastest tempo that may be written, a minute.
const TEMPI: (f64, f64) = (4.0, 1000.0);

pub(crate) fn picture(file: &mut File<'_>, table: &dyn TableLike) -> PicturePlan {
    let known =
        ["rate", "start", "bar-1", "video", "tempo", "tempo-from", "tempo-to", "tempo-beat", "metre", "hit"];
    file.only(table, &known, "[picture]");
    let mut out = PicturePlan { rate: rate(file, table), beat: 1.0, ..PicturePlan::default() };
    out.start = code(file, table, "start", out.rate).unwrap_or(Timecode::new(0, out.rate));
    out.bar_one = code(file, table, "bar-1", out.rate);
    if let Some(video) = file.string(table, "video") {
        match stays_inside(&video) {
            true => out.video = Some(video),
            false => file.error(
                table.get("video").map_or(0..0, span_of),
                format!("`{video}` is no file in the cue's folder"),
                "put the video into the cue's folder and write its name: video = \"reel-3.mp4\"",
            ),
        }
    }
    out.tempo = file.number(table, "tempo", TEMPI.0, TEMPI.1);
    out.tempo_from = file.number(table, "tempo-from", TEMPI.0, TEMPI.1);
    out.tempo_to = file.number(table, "tempo-to", TEMPI.0, TEMPI.1);
    if let (Some(from), Some(to)) = (out.tempo_from, out.tempo_to)
        && (from > to || out.tempo.is_some_and(|t| t < from || t > to))
    {
        let help = "write tempo-from, tempo and tempo-to in rising order";
        file.error(
            table.get("tempo-from").map_or(0..0, span_of),
            "the tempo bounds contradict each other",
            help,
        );
    }
    let beats =
        [("quarter", 1.0), ("dotted quarter", 1.5), ("eighth", 0.5), ("half", 2.0), ("dotted half", 3.0)];
    if let Some(word) = file.string(table, "tempo-beat") {
        match beats.iter().find(|b| b.0 == word) {
            Some((_, quarters)) => out.beat = *quarters,
            None => {
                let help = "write \"quarter\", \"dotted quarter\", \"eighth\", \"half\" or \"dotted half\"";
                file.error(
                    table.get("tempo-beat").map_or(0..0, span_of),
                    format!("`{word}` is no beat"),
                    help,
                );
            }
        }
    }
    match file.string(table, "metre").as_deref() {
        None | Some("as written") => {}
        Some("free") => out.bars_free = true,
        Some(other) => file.error(
            table.get("metre").map_or(0..0, span_of),
            format!("`metre = \"{other}\"` is not understood"),
            "write \"as written\", or \"free\": barlines may be moved",
        ),
    }
    match table.get("hit") {
        Some(Item::ArrayOfTables(hits)) => {
            for (index, one) in hits.iter().enumerate() {
                out.hits.extend(hit(file, one, out.rate, index));
            }
        }
        Some(other) => {
            file.error(span_of(other), "`hit` is not a list of tables", "write [[picture.hit]] for each hit");
        }
        None => {}
    }
    out.hits.sort_by_key(|h| h.at.frame);
    for pair in 1..out.hits.len() {
        let (a, b) = (&out.hits[pair - 1], &out.hits[pair]);
        if a.at == b.at {
            let span = b.span.start..b.span.end;
            file.error(span, format!("two hits stand at {}", b.at), "make one hit of them");
        }
    }
    for one in &out.hits {
        if one.at.frame <= out.zero().frame {
            let span = one.span.start..one.span.end;
            let message =
                format!("the hit at {} does not come after bar 1, which begins at {}", one.at, out.zero());
            file.warn(span, message, "no tempo moves it; write bar-1 = \"...\" where the music begins");
        }
    }
    out
}

fn rate(file: &mut File<'_>, table: &dyn TableLike) -> FrameRate {
    let help = "write rate = \"23.976\", \"24\", \"25\", \"29.97 drop\", \"29.97\" or \"30\"";
    let Some(item) = table.get("rate") else {
        file.error(0..0, "[picture] says no frame rate", help);
        return FrameRate::default();
    };
    let word = item.as_str().map(str::to_string).or_else(|| float(item).map(|n| n.to_string()));
    word.as_deref().and_then(FrameRate::parse).unwrap_or_else(|| {
        file.error(span_of(item), "`rate` is no frame rate", help);
        FrameRate::default()
    })
}

fn code(file: &mut File<'_>, table: &dyn TableLike, key: &str, rate: FrameRate) -> Option<Timecode> {
    let text = file.string(table, key)?;
    match Timecode::parse(&text, rate) {
        Ok(code) => Some(code),
        Err(help) => {
            let at = table.get(key).map_or(0..0, span_of);
            file.error(at, format!("`{text}` is no time code at {}", rate.word()), help);
            None
        }
    }
}

fn hit(file: &mut File<'_>, table: &Table, rate: FrameRate, index: usize) -> Option<HitPlan> {
    file.only(table, &["at", "what", "within", "bar", "beat", "on"], "a hit");
    let span = table_span(table);
    if !table.contains_key("at") {
        file.error(span.start..span.end, "the hit has no time code", "write at = \"01:00:10:08\"");
    }
    let bar = file.whole(table, "bar", 1, 100_000).and_then(|b| i32::try_from(b).ok());
    let beat = file.number(table, "beat", 1.0, 100.0);
    if beat.is_some() && !table.contains_key("bar") {
        let at = table.get("beat").map_or(0..0, span_of);
        file.error(at, "`beat` stands without `bar`", "write bar as well; or on = 1 for a beat of any bar");
    }
    let on = match table.get("on") {
        Some(item) if item.as_str() == Some("downbeat") => Some(1),
        Some(item) if item.as_str().is_some() => {
            file.error(span_of(item), "`on` is not understood", "write on = \"downbeat\", or a beat: on = 3");
            None
        }
        _ => file.whole(table, "on", 1, 99).and_then(|n| u16::try_from(n).ok()),
    };
    Some(HitPlan {
        at: code(file, table, "at", rate)?,
        what: file.string(table, "what").unwrap_or_default(),
        within: file.number(table, "within", 0.01, 1000.0).unwrap_or(0.5),
        place: bar.map(|b| (b, beat.unwrap_or(1.0))),
        on,
        index,
        span,
    })
}

/// `[[tempo]]` and `[[metre]]`.
pub(crate) fn steps(file: &mut File<'_>, root: &Table) -> (Vec<TempoPlan>, Vec<MetrePlan>) {
    let mut tempi: Vec<TempoPlan> = Vec::new();
    for table in tables(file, root, "tempo") {
        file.only(table, &["bar", "beat", "bpm", "factor", "ramp"], "a tempo");
        let span = table_span(table);
        let Some(bar) = file.whole(table, "bar", 0, 100_000).and_then(|b| i32::try_from(b).ok()) else {
            if !table.contains_key("bar") {
                file.error(span.start..span.end, "the tempo has no bar", "write bar = 1");
            }
            continue;
        };
        let beat = file.number(table, "beat", 1.0, 100.0).unwrap_or(1.0);
        let bpm = file.number(table, "bpm", TEMPI.0, TEMPI.1);
        let factor = file.number(table, "factor", 0.05, 20.0);
        if table.contains_key("bpm") == table.contains_key("factor") {
            let help = "write bpm = 96 (quarters a minute), or factor = 1.02 (of the music's own tempo)";
            file.error(span.start..span.end, "a tempo is said once", help);
            continue;
        }
        if tempi.last().is_some_and(|t| (t.bar, t.beat) >= (bar, beat)) {
            file.error(
                span.start..span.end,
                "the tempi do not follow each other",
                "put them in order of their bars",
            );
            continue;
        }
        let ramp = file.boolean(table, "ramp").unwrap_or(false);
        tempi.push(TempoPlan { bar, beat, bpm, factor: factor.unwrap_or(1.0), ramp });
    }
    let mut metres = Vec::new();
    for table in tables(file, root, "metre") {
        file.only(table, &["bar", "beats"], "a metre");
        let span = table_span(table);
        let bar = file.whole(table, "bar", 1, 100_000).and_then(|b| i32::try_from(b).ok());
        let beats = file.whole(table, "beats", 1, 99).and_then(|b| u16::try_from(b).ok());
        match (bar, beats) {
            (Some(bar), Some(beats)) => metres.push(MetrePlan { bar, beats }),
            _ => {
                file.error(span.start..span.end, "the metre is not complete", "write bar = 11 and beats = 5")
            }
        }
    }
    (tempi, metres)
}

fn tables<'t>(file: &mut File<'_>, root: &'t Table, key: &str) -> Vec<&'t Table> {
    match root.get(key) {
        Some(Item::ArrayOfTables(list)) => list.iter().collect(),
        Some(other) => {
            let help = format!("write [[{key}]] for each");
            file.error(span_of(other), format!("`{key}` is not a list of tables"), help);
            Vec::new()
        }
        None => Vec::new(),
    }
}
