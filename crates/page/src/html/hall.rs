//! The hall: the stage from above, seats in words, sends, rooms.

use super::drawn::Drawn;
use super::nav::nav;
use super::{button, listening};
use crate::fragments::Fragments;
use crate::open::{Open, Shown};
use ripieno_cue::HallReport;
use ripieno_cue::view::{Sends, Stage, curve, family_printed, stage};
use ripieno_picture::bands::{bands, words};
use ripieno_picture::hall::{hall_sign, plan};
use ripieno_picture::svg::escape;
use std::collections::BTreeMap;
use std::fmt::Write as _;

/// The whole page.
pub fn page(open: &Open, shown: &Shown, fragments: &Fragments) -> String {
    let piece = |id: &str| fragments.get(id).to_string();
    let passages: String = shown
        .board
        .columns
        .iter()
        .map(|c| {
            format!(
                r#"<option value="{}" data-to="{:.4}" data-from="{:.4}">{}</option>"#,
                c.from_bar,
                c.to,
                c.from,
                escape(&c.name)
            )
        })
        .collect();
    format!(
        r#"<div id="cue" class="hall-view" data-id="{id}" data-state="{state}" data-view="hall">
<header class="top">
<h1><a href="/" title="to the start page">{title}</a></h1>{nav}
{standing}
<nav class="controls" aria-label="what to do">{steps}{listen}{light}</nav>
</header>
{of_files}
<main class="hall-desk">
<section class="stage-frame" aria-label="The stage">{plan}</section>
<aside class="hall-side" aria-label="Seats, sends and rooms">
<form id="seat-form" class="seat-form">
<h2>Seat of <select id="seat-of" aria-label="whose seat">{chairs}</select></h2>
<p class="place"><output id="seat-place"></output></p>
<label>Put it <input id="seat-words" autocomplete="off" spellcheck="false" placeholder="second row, left" aria-describedby="seat-fault seat-hint"></label>
<button type="submit">put</button> <button type="button" id="seat-usual" disabled title="take its own seat out of the template: it sits where the seating has it">as the seating has it</button>
<p id="seat-fault" class="fault" role="alert"></p>
<p id="seat-hint" class="hints">2 m right of violas · behind the horns · between flutes and oboe · 6 m from the conductor · as usual. Left is the conductor’s. On the plan: drag, or the arrow keys, a quarter of a metre each.</p>
</form>
<section aria-label="before and after"><h2>Before and after</h2>
<p><label>Hear <select id="hall-passage">{passages}</select></label> <button type="button" id="hear-before" disabled>as it was before the last change</button> <button type="button" id="hear-now">as it is now</button></p></section>
{sends}
<section aria-label="rooms"><h2>Rooms</h2><div id="rooms" aria-live="polite"><p class="quiet">being measured …</p></div></section>
</aside>
</main>
</div>"#,
        id = escape(&open.id),
        state = fragments.state(),
        title = escape(&open.title()),
        nav = nav(&open.id, "hall"),
        standing = piece("standing"),
        steps = piece("steps"),
        listen = listening::few(),
        light = button("light", "night", "light or dark"),
        of_files = super::warnings::of_files(fragments),
        plan = piece("hall-plan"),
        sends = piece("hall-sends"),
        chairs = chairs(shown),
    )
}

fn chairs(shown: &Shown) -> String {
    let one = |row: &ripieno_cue::view::Row| {
        format!(r#"<option value="{}">{}</option>"#, escape(&row.chair), escape(&row.name))
    };
    shown.board.rows.iter().map(one).collect()
}

/// The renewable pieces.
pub fn pieces(pieces: &mut BTreeMap<String, String>, drawn: &mut Drawn, shown: &Shown) {
    drawn.hall.put(pieces, stage(&shown.played), |stage| {
        let whole = format!(
            r#"<div id="hall-plan" data-placed="{}">{}{}</div>"#,
            escape(&stage.placed.join(" ")),
            plan(&stage.plan),
            key(stage)
        );
        vec![("hall-plan".into(), whole), ("hall-sends".into(), sends(stage))]
    });
}

/// Which line under a name is which hall.
fn key(stage: &Stage) -> String {
    let mut out = String::from(r#"<ul class="hall-key" aria-label="lines under the names">"#);
    for (i, hall) in stage.plan.halls.iter().enumerate() {
        if stage.plan.seats.iter().any(|s| s.hall == Some(i)) {
            let _ = write!(out, "<li>{}{}</li>", hall_sign(Some(i)), escape(hall));
        }
    }
    if stage.plan.seats.iter().any(|s| s.hall.is_none()) {
        out.push_str("<li>no line: dry</li>");
    }
    if stage.plan.seats.iter().any(|s| s.exception.is_some()) {
        out.push_str("<li>† other than its family</li>");
    }
    out + "</ul>"
}

fn options(known: &[String], chosen: &str, none: bool) -> String {
    let mut out = String::new();
    if none {
        let _ = write!(
            out,
            r#"<option value="none"{}>none</option>"#,
            if chosen == "none" { " selected" } else { "" }
        );
    }
    for hall in known {
        let selected = if hall == chosen { " selected" } else { "" };
        let _ = write!(out, "<option{selected}>{}</option>", escape(hall));
    }
    out
}

fn sends(stage: &Stage) -> String {
    let mut out = String::from(
        r#"<section id="hall-sends" aria-label="sends"><h2>Where the sound goes</h2><p class="everybody">"#,
    );
    let seatings: String = stage
        .seatings
        .iter()
        .map(|s| {
            format!("<option{}>{}</option>", if *s == stage.seating { " selected" } else { "" }, escape(s))
        })
        .collect();
    let (common, common_db) = stage.common.clone().unwrap_or(("none".into(), 0.0));
    let _ = write!(
        out,
        r#"<label>Seating <select id="stage-seating" data-path="stage seating">{seatings}</select></label> <label>Hall of all who name none <select id="stage-hall" data-path="stage hall">{}</select></label> <label>Common hall <select id="stage-common" data-path="stage common">{}</select></label>"#,
        options(&stage.known, &stage.hall, false),
        options(&stage.known, &common, true),
    );
    if stage.common.is_some() {
        let _ = write!(
            out,
            r#" <label>at <input id="stage-common-db" type="number" min="-60" max="20" step="0.5" value="{common_db}" data-path="stage common-db"> dB</label>"#
        );
    }
    out.push_str(
        r#"</p><table class="sends"><thead><tr><th scope="col">Family, and who differs</th><th scope="col">Hall</th><th scope="col">to it, dB</th><th scope="col">to the common, dB</th><th scope="col">dry</th><th scope="col"><span class="unseen">take back</span></th></tr></thead><tbody>"#,
    );
    for family in &stage.families {
        row(&mut out, stage, &family.sends, "of-family");
        for chair in &family.chairs {
            row(
                &mut out,
                stage,
                chair,
                if chair.exception.is_some() { "of-chair marked" } else { "of-chair" },
            );
        }
    }
    out + r#"</tbody></table><p class="hints">0 dB is what the room itself would give. Empty: nothing goes to the common hall. The chosen seat has its row here; what you change for it becomes an exception, marked †, and “as family” takes it back. An empty level to its hall is its family’s.</p></section>"#
}

fn row(out: &mut String, stage: &Stage, sends: &Sends, class: &str) {
    let [kind, id] = &sends.path;
    let key = format!("{kind}-{id}");
    let name = match class {
        "of-family" => family_printed(id).to_string(),
        _ => sends.name.clone(),
    };
    let dagger = if sends.exception.is_some() { " †" } else { "" };
    let own = |i: usize| if sends.own[i] { "" } else { " inherited" };
    let common = sends.common_db.map_or(String::new(), |db| db.to_string());
    let same = stage.common.as_ref().is_none_or(|c| c.0 == sends.hall);
    let none = if same { r#" disabled title="its hall is the common one, or there is none""# } else { "" };
    let said = sends
        .exception
        .as_ref()
        .map_or(String::new(), |e| format!(r#"<span class="quiet">{}</span>"#, escape(e)));
    let _ = write!(
        out,
        r#"<tr class="{class}" data-{kind}="{id}"><th scope="row">{name}{dagger}{said}</th><td><select id="sends-{key}-hall" class="own{h}" aria-label="hall of {name}" data-path="{kind} {id} hall">{halls}</select></td><td><input id="sends-{key}-send" class="own{s}" type="number" min="-60" max="20" step="0.5" value="{send}" aria-label="sent to its hall by {name}, dB" data-path="{kind} {id} send-db"></td><td><input id="sends-{key}-common" class="own{c}" type="number" min="-60" max="20" step="0.5" value="{common}" aria-label="sent to the common hall by {name}, dB; empty for nothing" data-path="{kind} {id} common-db" data-empty="common"{none}></td><td><input id="sends-{key}-dry" class="own{d}" type="checkbox"{dry} aria-label="{name} dry" data-path="{kind} {id} dry"></td><td>{back}</td></tr>"#,
        id = escape(id),
        name = escape(&name),
        halls = options(&stage.known, &sends.hall, false),
        send = sends.send_db,
        dry = if sends.dry { " checked" } else { "" },
        back = back(sends, class, &name),
        h = own(0),
        s = own(1),
        c = own(2),
        d = own(3),
    );
}

/// What takes back all that is said for a row itself; nothing where nothing is.
fn back(sends: &Sends, class: &str, name: &str) -> String {
    if sends.said.is_empty() {
        return String::new();
    }
    let [kind, id] = &sends.path;
    let (word, like) = if class == "of-family" {
        ("as all", "as all others are")
    } else {
        ("as family", "as its family is")
    };
    format!(
        r#"<button type="button" class="sends-back" id="sends-{kind}-{id}-back" data-path="{kind} {id}" data-keys="{keys}" title="take back what is said for {name} itself: it is sent {like}" aria-label="{name} {word}">{word}</button>"#,
        id = escape(id),
        keys = sends.said.join(" "),
        name = escape(name),
    )
}

/// The rooms with their curves.
pub fn rooms(reports: &[HallReport]) -> String {
    let curves: Vec<_> = reports.iter().map(curve).collect();
    let longest =
        curves.iter().flat_map(|c| c.measured.iter().chain(&c.wanted)).map(|p| p.1).fold(1.0, f64::max);
    let most = (longest * 1.15 * 2.0).ceil() / 2.0;
    let mut out = String::new();
    for (report, curve) in reports.iter().zip(&curves) {
        let volume = report.volume.map_or("an impulse response of your own".into(), |v| format!("{v:.0} m³"));
        let clear = report.measures.iter().find(|m| (m.hertz - 1000.0).abs() < 1.0);
        let clear = clear.map_or(String::new(), |m| format!(", clarity C80 {:.1} dB at 1 kHz", m.c80.0));
        let _ = write!(
            out,
            r#"<figure class="room"><figcaption><b>{}</b> <span class="quiet">{volume}{clear}</span></figcaption>{}<p class="unseen">{}</p></figure>"#,
            escape(&report.name),
            bands(curve, most),
            escape(&words(curve))
        );
    }
    out + r#"<p class="hints">Seconds until a sound has died away by 60 dB (T30), by octave band, as measured at the main microphones (ISO 3382-1). Thin: what the room is made for.</p>"#
}
