//! The patches: each card as an index card, new ones written, calls tried; prints.

use super::button;
use super::drawn::Drawn;
use super::nav::nav;
use crate::fragments::Fragments;
use crate::open::{Open, Shown};
use ripieno_cue::Diagnostic;
use ripieno_cue::view::{PatchView, Patches, patches};
use ripieno_picture::card::range;
use ripieno_picture::svg::escape;
use std::collections::BTreeMap;
use std::fmt::Write as _;

/// The whole page.
pub fn page(open: &Open, shown: &Shown, fragments: &Fragments) -> String {
    let piece = |id: &str| fragments.get(id).to_string();
    let chairs = options(shown.board.rows.iter().map(|r| (&r.chair, &r.name)));
    let passages: String = shown
        .board
        .columns
        .iter()
        .map(|c| format!(r#"<option value="{:.4}">{}</option>"#, c.from, escape(&c.name)))
        .collect();
    format!(
        r#"<div id="cue" class="patches-view" data-id="{id}" data-state="{state}" data-view="patches">
<header class="top">
<h1><a href="/" title="to the start page">{title}</a></h1>{nav}
{standing}
<nav class="controls" aria-label="what to do">{steps}{light}</nav>
</header>
{of_files}
<main class="patches-desk">
<section class="wire" aria-label="your sampler">
<p id="wire-words">Your own sampler can be heard from here: choose the MIDI output that it listens to.</p>
<p class="wire-row"><button type="button" id="wire-ask">look for MIDI outputs</button>
<label class="wired" hidden>Output <select id="wire-output"></select></label>
<label class="wired" hidden>Play <select id="wire-chair"><option value="">all chairs</option>{chairs}</select></label>
<label class="wired" hidden>from <select id="wire-from"><option value="">the beginning</option>{passages}</select></label>
<button type="button" id="wire-play" class="chief wired" hidden>play the cue to this output, in time</button>
<output id="wire-place" aria-label="place"></output></p>
<p id="wire-warning" class="fault" role="status"></p>
</section>
<p class="new-row"><button type="button" id="new-card">write a new card</button></p>
{cards}
{prints}
</main>
<dialog id="card-dialog" aria-labelledby="dialog-title">
<form method="dialog">
<h2 id="dialog-title">A new card</h2>
<div class="dialog-list">
<p><label>Name of the patch <input id="card-name" autocomplete="off" required></label> <label>for <select id="card-chair"><option value="">no chair yet</option>{chairs}</select></label></p>
<label class="tall">The list of switches, as its manual prints it: one a line
<textarea id="card-list" rows="7" spellcheck="false" placeholder="C0 legato&#10;C#0: stacc.&#10;CC32 = 5 con sord"></textarea></label>
<p id="by-playing"><button type="button" id="play-keys">write it by playing the keys</button> <label id="played-label" hidden><span id="played-key"></span> calls <input id="played-name" autocomplete="off" placeholder="legato"></label> <span id="played-words" class="quiet" role="status"></span></p>
</div>
<div class="dialog-sides">
<label class="tall">The card <textarea id="card-text" rows="16" spellcheck="false" aria-describedby="card-faults"></textarea></label>
<div><div id="card-preview" aria-live="polite"></div></div>
</div>
<div id="card-faults" class="faults" role="status"></div>
<p class="dialog-end"><button type="button" id="card-save" class="chief">save</button> <button type="submit" id="card-cancel">leave it</button> <span id="card-said" class="fault" role="alert"></span></p>
</form>
</dialog>
</div>"#,
        id = escape(&open.id),
        state = fragments.state(),
        title = escape(&open.title()),
        nav = nav(&open.id, "patches"),
        standing = piece("standing"),
        steps = piece("steps"),
        light = button("light", "night", "light or dark"),
        of_files = super::warnings::of_files(fragments),
        cards = piece("cards"),
        prints = piece("prints"),
    )
}

/// Chairs to choose from, by id and name.
fn options<'a>(chairs: impl Iterator<Item = (&'a String, &'a String)>) -> String {
    let one = |(id, name): (&String, &String)| {
        format!(r#"<option value="{}">{}</option>"#, escape(id), escape(name))
    };
    chairs.map(one).collect()
}

/// The renewable piece.
pub fn pieces(pieces: &mut BTreeMap<String, String>, drawn: &mut Drawn, shown: &Shown) {
    drawn.cards.put(pieces, patches(&shown.played.cue), |patches| {
        vec![("cards".into(), all(patches)), ("prints".into(), prints(patches))]
    });
}

fn all(patches: &Patches) -> String {
    let mut out = String::from(r#"<div id="cards">"#);
    if patches.cards.is_empty() {
        out.push_str("<p>No chair has a patch card yet. Without one a chair gets one sustained sound on all keys, with dynamics on controller 1 and expression on controller 11.</p>");
    }
    out.push_str(r#"<div class="card-box">"#);
    for view in &patches.cards {
        out.push_str(&card(view, patches));
    }
    out.push_str("</div>");
    if !patches.without.is_empty() && !patches.cards.is_empty() {
        let names: Vec<String> = patches.without.iter().map(|(_, name)| escape(name)).collect();
        let _ = write!(
            out,
            r#"<p class="quiet">Without a card, with one sustained sound on all keys: {}.</p>"#,
            names.join(", ")
        );
    }
    out + "</div>"
}

/// Recordings of the user's own patches, chair by chair, and a place to name one.
fn prints(patches: &Patches) -> String {
    let mut out = String::from(
        r#"<section id="prints" aria-labelledby="prints-title"><h2 id="prints-title">Prints</h2><p class="quiet">A print is your own recording of a chair: let your patches play performed.mid, record from the start of the file on, and name the file here. It takes the chair's place in the mix, seated in its hall.</p>"#,
    );
    if !patches.prints.is_empty() {
        out.push_str("<ul>");
        for one in &patches.prints {
            let id = escape(&one.chair.0);
            let _ = write!(
                out,
                r#"<li><b>{name}</b> <span class="file">{file}</span> {there} <label><input type="checkbox" data-align="{id}"{align}> moved onto the notes</label> <button type="button" data-unprint="{id}" title="the house orchestra plays {name} again">take away</button></li>"#,
                name = escape(&one.chair.1),
                file = escape(&one.file),
                there = if one.there { "" } else { r#"<span class="fault">is not there</span>"# },
                align = if one.align { " checked" } else { "" },
            );
        }
        out.push_str("</ul>");
    }
    let chairs = options(patches.chairs.iter().map(|(id, name)| (id, name)));
    let _ = write!(
        out,
        r#"<form id="print"><label>Chair <select name="chair">{chairs}</select></label> <label>File, in the cue's folder <input name="file" autocomplete="off" spellcheck="false" placeholder="prints/violins-1.wav" required></label> <button type="submit">put in its place</button></form></section>"#
    );
    out
}

fn card(view: &PatchView, patches: &Patches) -> String {
    let chairs: Vec<String> = view.chairs.iter().map(|(_, name)| escape(name)).collect();
    let file = escape(&view.file);
    let mut out = format!(
        r#"<article class="index-card" data-file="{file}" aria-label="{name}"><header><h2>{name}</h2><p class="quiet">{chairs}</p></header>{}"#,
        body(view, true),
        name = escape(&view.card.patch),
        chairs = chairs.join(", "),
    );
    out.push_str(&faults(&view.faults));
    let others = patches.chairs.iter().filter(|c| !view.chairs.contains(c));
    let others = options(others.map(|(id, name)| (id, name)));
    let edit = match &view.locked {
        None => format!(r#"<button type="button" data-edit="{file}">edit</button>"#),
        Some(why) => {
            format!(r#"<span class="quiet" title="{}">cannot be written from here</span>"#, escape(why))
        }
    };
    let _ = write!(
        out,
        r#"<footer>{edit}<label>give it to <select data-give="{file}" aria-label="give this card to a chair"><option value=""></option>{others}</select></label><span class="quiet file">{file}</span></footer></article>"#
    );
    out
}

/// Range, dynamics, articulations; with buttons to try them if they can be.
pub fn body(view: &PatchView, tried: bool) -> String {
    let picture = match &view.range {
        Some(((low, a), (high, b))) => range(*low, *high, (a, b)),
        None if view.card.strokes.is_empty() => r#"<p class="quiet">sounds on all keys</p>"#.into(),
        None => {
            let strokes: Vec<String> =
                view.card.strokes.iter().map(|(s, k)| format!("{} {k}", escape(s))).collect();
            format!(r#"<p class="quiet">strokes by key: {}</p>"#, strokes.join(", "))
        }
    };
    let mut facts = vec![format!("dynamics by {}", escape(&view.dynamics))];
    if view.card.channel != 1 {
        facts.push(format!("channel {}", view.card.channel));
    }
    if view.card.transpose != 0 {
        facts.push(format!("keys {:+} semitones", view.card.transpose));
    }
    if view.card.one_voice {
        facts.push("one voice".into());
    }
    let mut out = format!(
        r#"<div class="card-range">{picture}<p class="small">{}</p></div><table class="calls"><thead class="unseen"><tr><th>Articulation</th><th>Call</th><th>Speaks after</th><th>Overlap</th></tr></thead><tbody>"#,
        facts.join("; ")
    );
    for (i, one) in view.articulations.iter().enumerate() {
        let more = [&one.overlap, &one.more].into_iter().filter(|w| !w.is_empty()).map(|w| escape(w));
        let more = more.collect::<Vec<_>>().join("; ");
        let try_it = if tried {
            format!(
                r#"<button type="button" class="try" data-try="{i}" aria-label="try {}">try</button>"#,
                escape(&one.name)
            )
        } else {
            String::new()
        };
        let _ = write!(
            out,
            r#"<tr><th scope="row">{}</th><td>{}</td><td class="quiet">{}</td><td class="quiet">{more}</td><td>{try_it}</td></tr>"#,
            escape(&one.name),
            escape(&one.call),
            escape(&one.delay),
        );
    }
    out + "</tbody></table>"
}

/// What is to be said of a card.
pub fn faults(faults: &[Diagnostic]) -> String {
    if faults.is_empty() {
        return String::new();
    }
    let mut out = String::from(r#"<ul class="card-faults">"#);
    for fault in faults {
        let _ = write!(
            out,
            r#"<li class="{}">line {}: {}{}{}</li>"#,
            if fault.warning { "warning" } else { "error" },
            fault.line,
            escape(&fault.message),
            if fault.help.is_empty() { "" } else { "; " },
            escape(&fault.help),
        );
    }
    out + "</ul>"
}
