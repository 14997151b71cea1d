//! The casting board and the arc under it.

use super::button;
use super::drawn::{Drawn, Flaw};
use crate::fragments::Fragments;
use crate::open::{Open, Shown, Through};
use ripieno_cue::view::{BoardCell, Row, arc_points, clock, family_printed};
use ripieno_cue::{Finding, Severity, counted};
use ripieno_picture::arc::{self, Point, Scale};
use ripieno_picture::line;
use ripieno_picture::svg::escape;
use std::collections::BTreeMap;
use std::fmt::Write as _;

/// Height of the arc.
const ARC: f64 = 92.0;

/// The whole page of a cue.
pub fn page(open: &Open, shown: &Shown, fragments: &Fragments) -> String {
    let board = &shown.board;
    let piece = |id: &str| fragments.get(id).to_string();
    let title = escape(&open.title());
    let mut rows = String::new();
    let mut row = 0;
    while let Some(first) = board.rows.get(row) {
        let end = board.rows[row..]
            .iter()
            .position(|r| r.family != first.family)
            .map_or(board.rows.len(), |n| row + n);
        rows.push_str(&family(shown, fragments, row, end));
        row = end;
    }
    let without = if board.columns.is_empty() { WITHOUT_PASSAGES } else { "" };
    let widths: Vec<String> = board
        .columns
        .iter()
        .map(|c| format!("minmax(var(--least), {:.2}fr)", (c.to - c.from).max(0.5)))
        .collect();
    let arcs: String = (0..board.columns.len()).map(|i| piece(&format!("arc-{i}"))).collect();
    format!(
        r#"<div id="cue" data-id="{id}" data-state="{state}">
<header class="top">
<h1><a href="/" title="to the start page">{title}</a></h1>{nav}
{standing}
<nav class="controls" aria-label="what to do">{steps}{controls}</nav>
{listening}
</header>
{of_files}
<section class="under-title" aria-label="Lines and views">{legend}<div class="views" role="group" aria-label="what is seen">{views}</div></section>
<main class="desk">
<section class="board-frame" id="board-frame" aria-label="Casting board">
{without}<div class="board" id="board" role="grid" aria-label="Casting: chairs down, passages across" aria-rowcount="{rowcount}" aria-colcount="{colcount}" style="--columns: {widths}; --count: {colcount}">
{heads}
{rows}
<div class="arc-row" role="presentation"><div class="arc-name"><span>Loudness</span><span class="quiet">span, low to high</span><span class="quiet">players</span></div>{arcs}</div>
</div>
<svg id="hand-over-strokes" aria-hidden="true"></svg>
</section>
<div class="by-board">{film}<aside class="side" id="side" aria-label="Findings, picture, handwork, versions">{findings}{beside}{versions}</aside></div>
</main>
{handovers}{film_facts}
</div>"#,
        id = escape(&open.id),
        state = fragments.state(),
        nav = super::nav::nav(&open.id, "board"),
        standing = piece("standing"),
        steps = piece("steps"),
        of_files = super::warnings::of_files(fragments),
        findings = piece("findings"),
        beside = piece("beside"),
        handovers = piece("hand-overs"),
        versions = super::versions::panel(),
        film = super::film::panel(),
        film_facts = piece("film-facts"),
        legend = legend(),
        controls = button("write-out", "write out", "MIDI, mix and stems into the cue's folder"),
        listening = super::listening::controls(),
        views = [
            button("open-cell", "open", "what this cell plays, on its staff (Ctrl+Enter, or Enter twice)"),
            button("glance", "at a glance", "the whole cue on the screen, without words"),
            button("wider", "wider", "passages wider"),
            button("narrower", "narrower", "passages narrower"),
            button("hide-silent", "only who plays", "hide chairs that play nothing"),
            button("show-findings", "findings", "show or put away the findings"),
            button("show-film", "film", "show or put away a film that runs with the music"),
            button("light", "night", "light or dark"),
        ]
        .concat(),
        rowcount = board.rows.len() + 1,
        colcount = board.columns.len() + 1,
        widths = widths.join(" "),
        heads = heads(shown),
    )
}

/// What to do where the board has no columns.
const WITHOUT_PASSAGES: &str = r#"<div class="without-passages"><p>The plan has no passages yet, and so nobody plays. Write the first one into cue.toml, with any editor; the board follows at once:</p><code>[[passage]]
name = "Opening"
bars = [1, 8]
[passage.casting]
violins-1 = "as written"</code></div>
"#;

fn legend() -> String {
    let mut out = String::from(r#"<ul class="legend" aria-label="lines by colour and sign">"#);
    for role in line::SOUNDING {
        let _ =
            write!(out, r#"<li class="{}">{}{}</li>"#, line::class(role), line::sign(role), line::word(role));
    }
    out + "</ul>"
}

fn heads(shown: &Shown) -> String {
    let hits = super::hits::marks(&shown.played.cue, &shown.board.columns);
    let with_hits = if hits.iter().all(String::is_empty) { "" } else { " with-hits" };
    let mut out = format!(
        r#"<div class="heads{with_hits}" role="row"><div class="corner" role="columnheader">Chair</div>"#
    );
    for (i, column) in shown.board.columns.iter().enumerate() {
        let letter =
            column.letter.as_ref().map_or(String::new(), |l| format!(r#"<span class="letter">{l}</span>"#));
        // What is left out where a passage is narrow comes first: the word, the time, the last bar.
        let (word, to) = match column.from_bar == column.to_bar {
            true => ("bar", String::new()),
            false => ("bars", format!(r#"<span class="to">–{}</span>"#, column.to_bar)),
        };
        let clock = clock(column.from.max(0.0));
        let bars = match column.from_bar == column.to_bar {
            true => format!("bar {}", column.from_bar),
            false => format!("bars {} to {}", column.from_bar, column.to_bar),
        };
        // A letter or a number needs no turning where there is little room.
        let short = if column.name.chars().count() > 4 { "" } else { r#" class="short""# };
        let _ = write!(
            out,
            r#"<div class="head" role="columnheader" tabindex="-1" title="{name}, {bars}, at {clock}" data-passage="{name}" data-column="{i}" data-from="{from:.4}" data-to="{to_:.4}" data-from-bar="{fb}" data-to-bar="{tb}" data-others="{others}"><span class="name">{letter}<i{short}>{name}</i></span><span class="bars quiet"><span class="word">{word} </span>{fb}{to}</span><span class="clock quiet">{clock}</span>{kept}{hits}</div>"#,
            hits = hits[i],
            name = escape(&column.name),
            from = column.from,
            to_ = column.to,
            fb = column.from_bar,
            tb = column.to_bar,
            others = escape(&column.others.join("\n")),
            kept = match column.others.len() {
                0 => String::new(),
                _ =>
                    format!(r#"<span class="kept quiet">also: {}</span>"#, escape(&column.others.join(", "))),
            },
        );
    }
    out + "</div>"
}

fn family(shown: &Shown, fragments: &Fragments, from: usize, to: usize) -> String {
    let rows = &shown.board.rows[from..to];
    let name = rows.first().map_or("", |r| family_printed(r.family));
    // One chair says itself what it is.
    let shown_name = if rows.len() > 1 { name } else { "" };
    let letters = shown_name.chars().count().max(1);
    let long = if letters > 7 { r#" class="long""# } else { "" };
    let silent = if rows.iter().any(Row::plays) { "" } else { " silent" };
    let mut out = format!(
        r#"<div class="family{silent}" role="rowgroup" data-family="{name}"><div class="family-row" role="row"><div class="family-row" role="rowheader"><button type="button" class="bracket" aria-expanded="true" title="fold or unfold {name}" aria-label="{name}"><span{long} style="--letters: {letters}">{shown_name}</span></button></div></div>"#
    );
    for (i, row) in rows.iter().enumerate() {
        out.push_str(&chair(shown, fragments, from + i, row));
    }
    out + "</div>"
}

fn chair(shown: &Shown, fragments: &Fragments, index: usize, row: &Row) -> String {
    let players = if row.players > 1 { format!(" ({})", row.players) } else { String::new() };
    // A section of strings is known by its name; how many sit there is told on asking.
    let shown_players = if row.family == "strings" || row.family == "voices" { "" } else { players.as_str() };
    let silent = if row.plays() { "" } else { " silent" };
    let mut out = format!(
        r#"<div class="chair{silent}" role="row" data-chair="{id}" data-row="{index}"><div class="chair-name" role="rowheader" tabindex="-1" title="{id}, {n} {who}">{name}{shown_players}</div>"#,
        id = escape(&row.chair),
        n = row.players,
        who = if row.players == 1 { "player" } else { "players" },
        name = escape(&row.name),
    );
    for i in 0..shown.board.columns.len() {
        out.push_str(fragments.get(&cell_id(index, i)));
    }
    out + "</div>"
}

fn cell_id(row: usize, column: usize) -> String {
    format!("cell-{row}-{column}")
}

/// One piece for each cell that is another than before.
pub fn cells(
    pieces: &mut BTreeMap<String, String>,
    drawn: &mut Drawn,
    shown: &Shown,
    through: Option<&Through>,
) {
    let board = &shown.board;
    let doubts = super::warnings::by_cell(shown);
    let mut found: BTreeMap<&str, Vec<&Finding>> = BTreeMap::new();
    for finding in through.iter().flat_map(|t| &t.checked.findings) {
        found.entry(finding.chair.as_str()).or_default().push(finding);
    }
    for (r, row) in board.rows.iter().enumerate() {
        let mine = found.get(row.chair.as_str()).map_or(&[][..], Vec::as_slice);
        for (c, cell) in row.cells.iter().enumerate() {
            let Some(column) = board.columns.get(c) else { continue };
            let here = |f: &&&Finding| {
                f.bar <= column.to_bar && f.to_bar >= column.from_bar && f.bar >= column.from_bar
            };
            let worst = mine.iter().filter(here).map(|f| f.severity).max();
            let count = mine.iter().filter(here).count();
            let worst = worst.map(|w| (w, count));
            let doubt = doubts.get(&(column.name.as_str(), row.chair.as_str())).map_or("", String::as_str);
            match drawn.cells.get_mut(&(r, c)) {
                Some((of, found, said)) if of == cell && *found == worst && said == doubt => continue,
                Some(of) => *of = (cell.clone(), worst, doubt.to_string()),
                None => drop(drawn.cells.insert((r, c), (cell.clone(), worst, doubt.to_string()))),
            }
            let picture = drawn.contour(r, c, &cell.strokes);
            pieces.insert(cell_id(r, c), one((r, c), row, cell, &column.name, (worst, doubt), picture));
        }
    }
}

fn one(
    (r, c): (usize, usize),
    row: &Row,
    cell: &BoardCell,
    passage: &str,
    (worst, doubt): (Flaw, &str),
    picture: &str,
) -> String {
    let plays = !cell.strokes.is_empty();
    let mut class = String::from("cell");
    if plays {
        let _ = write!(class, " {}", line::class(cell.role));
        class.push_str(if cell.with.is_some() { " col" } else { " leads" });
    }
    if worst.is_some() {
        class.push_str(" flawed");
    }
    if !doubt.is_empty() {
        class.push_str(" doubted");
    }
    let what = if plays { line::word(cell.role) } else { "silent" };
    let mut said = match (cell.text.is_empty(), worst) {
        (true, None) => format!("{}, {passage}: {what}", row.name),
        (false, None) => format!("{}, {passage}: {}; {what}", row.name, cell.text),
        (_, Some((severity, n))) => {
            format!("{}, {passage}: {}; {what}; {n} {}", row.name, cell.text, severity_words(severity, n))
        }
    };
    let mut title = cell.text.clone();
    if !doubt.is_empty() {
        let _ = write!(said, "; {doubt}");
        let _ = write!(title, "\n{doubt}");
    }
    let mut out = format!(
        r#"<div class="{class}" role="gridcell" tabindex="-1" id="{}" data-text="{}" aria-label="{}">"#,
        cell_id(r, c),
        escape(&cell.text),
        escape(&said),
    );
    if plays {
        let _ = write!(
            out,
            r#"<span class="words" title="{}">{}<span>{}</span></span>{}"#,
            escape(&title),
            line::sign(cell.role),
            escape(&cell.text),
            picture,
        );
    } else if !cell.text.is_empty() {
        let _ = write!(
            out,
            r#"<span class="words idle" title="{}"><span>{}</span></span>"#,
            escape(&title),
            escape(&cell.text)
        );
    }
    if let Some((severity, n)) = worst {
        let _ = write!(
            out,
            r#"<span class="flaw {}" title="{n} {}">{}</span>"#,
            severity.word(),
            severity_words(severity, n),
            match severity {
                Severity::Impossible => "×",
                Severity::Hard => "!",
                Severity::Advice => "?",
            }
        );
    }
    out + "</div>"
}

fn severity_words(severity: Severity, n: usize) -> &'static str {
    match (severity, n) {
        (Severity::Impossible, 1) => "place that cannot be played",
        (Severity::Impossible, _) => "places, one of which cannot be played",
        (Severity::Hard, 1) => "hard place",
        (Severity::Hard, _) => "places, one of them hard",
        (Severity::Advice, 1) => "thing to hear",
        (Severity::Advice, _) => "things to hear",
    }
}

/// How the cue stands, in a sentence.
pub fn standing(shown: &Shown, through: Option<&Through>) -> String {
    let board = &shown.board;
    let playing = board.rows.iter().filter(|r| r.plays()).count();
    let mut words = format!(
        "{} · {} · {} · ",
        counted(board.bars, "bar"),
        clock(board.seconds),
        counted(playing, "chair")
    );
    match through {
        None => words.push_str("being read through …"),
        Some(through) => {
            let count = |s: Severity| through.checked.findings.iter().filter(|f| f.severity == s).count();
            let (cannot, hard, hear) =
                (count(Severity::Impossible), count(Severity::Hard), count(Severity::Advice));
            let n = |n: usize, one: &str, more: &str| format!("{n} {}", if n == 1 { one } else { more });
            let mut list = Vec::new();
            list.push(match cannot {
                0 => "all parts playable".to_string(),
                c => n(c, "place cannot be played", "places cannot be played"),
            });
            if hard > 0 {
                list.push(n(hard, "hard place", "hard places"));
            }
            if hear > 0 {
                list.push(n(hear, "thing to hear", "things to hear"));
            }
            words.push_str(&list.join(", "));
            if through.revision < shown.revision {
                words.push_str(" · being read through again …");
            }
        }
    }
    format!(r#"<p class="standing" id="standing">{}</p>"#, escape(&words))
}

/// Undo and redo.
pub fn steps(shown: &Shown) -> String {
    let one = |id: &str, word: &str, step: &Option<String>| match step {
        Some(label) => {
            format!(r#"<button type="button" id="{id}" title="{word}: {}">{word}</button>"#, escape(label))
        }
        None => {
            format!(r#"<button type="button" id="{id}" disabled title="nothing to {word}">{word}</button>"#)
        }
    };
    format!(
        r#"<span id="steps">{}{}</span>"#,
        one("undo", "undo", &shown.steps.0),
        one("redo", "redo", &shown.steps.1)
    )
}

/// Hand-overs, for the strokes that the script draws between rows.
pub fn hand_overs(shown: &Shown) -> String {
    let all: Vec<String> = shown
        .board
        .hand_overs
        .iter()
        .map(|h| format!("{},{},{},{}", h.passage, h.from, h.to, line::class(h.role)))
        .collect();
    format!(r#"<div id="hand-overs" hidden data-all="{}"></div>"#, all.join(" "))
}

/// The arc, one piece for each passage; drawn anew with each read-through, and where passages last longer or shorter.
pub fn arc(
    pieces: &mut BTreeMap<String, String>,
    drawn: &mut Drawn,
    shown: &Shown,
    through: Option<&Through>,
) {
    let board = &shown.board;
    let of = (through.map_or(0, |t| t.revision), &board.columns);
    if drawn.arc.as_ref().is_some_and(|(revision, columns)| (*revision, columns) == of) {
        return;
    }
    drawn.arc = Some((of.0, of.1.clone()));
    let points: Vec<Point> = through.map(|t| arc_points(&t.checked.arc, board.seconds)).unwrap_or_default();
    let scale = Scale::of(&points);
    let climax = through.and_then(|t| t.checked.arc.climax.as_ref());
    let mut entered = 0;
    for (i, column) in board.columns.iter().enumerate() {
        let mut out = format!(r#"<div class="arc-cell" role="presentation" id="arc-{i}">"#);
        if points.is_empty() {
            out.push_str(r#"<span class="quiet">being computed …</span>"#);
        } else {
            out.push_str(&arc::column(&points, &scale, column.from, column.to, ARC));
        }
        let place =
            |at: f64| ((at - column.from) / (column.to - column.from).max(1e-6) * 100.0).clamp(0.0, 100.0);
        if let (Some(climax), Some(through)) = (climax, through)
            && (column.from_bar..=column.to_bar).contains(&climax.bar)
            && let Some(bar) = through.checked.arc.bars.iter().find(|b| b.bar == climax.bar)
        {
            let left = place(bar.seconds);
            // Its words go on over the passages beside: towards that end of the board that is farther away.
            let side = if bar.seconds > board.seconds / 2.0 { " right" } else { "" };
            let more = match climax.exceeds {
                more if more >= 1.05 => format!(" · {more:.1} times as loud as all before"),
                _ => String::new(),
            };
            let _ = write!(
                out,
                r#"<span class="climax{side}" style="left:{left:.1}%">climax, bar {}{more}</span>"#,
                climax.bar
            );
        }
        let entering = entering(shown, through, column.from_bar, column.to_bar);
        if !entering.is_empty() {
            let left =
                place(entering_at(shown, through, column.from_bar, column.to_bar).unwrap_or(column.from));
            // In turn on two lines, so that the words have the room of the next passage too.
            let line = if entered % 2 == 0 { "" } else { " lower" };
            entered += 1;
            let next = if i + 1 < board.columns.len() { "var(--least, 104px)" } else { "0px" };
            let _ = write!(
                out,
                r#"<span class="entering{line}" style="left:{left:.1}%;max-width:calc({:.1}% - 6px + {next})" title="enter: {full}">{full} enter</span>"#,
                100.0 - left,
                full = escape(&entering),
            );
        }
        out.push_str("</div>");
        pieces.insert(format!("arc-{i}"), out);
    }
}

/// Who enters for the first time in these bars, the names of a few; not in the first passage, where everybody is new.
fn entering(shown: &Shown, through: Option<&Through>, from: i32, to: i32) -> String {
    let first = shown.board.columns.first().map_or(i32::MIN, |c| c.from_bar);
    if from == first {
        return String::new();
    }
    let chairs = through.iter().flat_map(|t| &t.checked.arc.chairs);
    let new: Vec<&str> =
        chairs.filter(|p| (from..=to).contains(&p.from_bar)).map(|p| p.who.as_str()).collect();
    let name = |id: &&str| {
        shown.board.rows.iter().find(|r| r.chair == **id).map_or((*id).to_string(), |r| r.name.clone())
    };
    match new.as_slice() {
        [] => String::new(),
        few @ ([_] | [_, _] | [_, _, _]) => few.iter().map(name).collect::<Vec<_>>().join(", "),
        [a, b, more @ ..] => format!("{}, {} and {} more", name(a), name(b), more.len()),
    }
}

fn entering_at(shown: &Shown, through: Option<&Through>, from: i32, to: i32) -> Option<f64> {
    let through = through?;
    let chairs = &through.checked.arc.chairs;
    let bar = chairs.iter().map(|p| p.from_bar).filter(|b| (from..=to).contains(b)).min()?;
    let timeline = &shown.played.performance.timeline;
    Some(timeline.seconds(timeline.bar_numbered(bar)?.at).0)
}
