//! The page as HTML.

mod beside;
mod board;
mod drawn;
mod film;
mod findings;
mod hall;
mod hits;
mod home;
mod layout;
mod listening;
mod nav;
mod opened;
mod patches;
mod versions;
mod warnings;
mod words;

pub use beside::proposals;
pub use drawn::Drawn;
pub use hall::rooms;
pub use home::home;
pub use opened::opened;
pub use patches::faults as card_faults;
pub use versions::changes;
pub use words::words;

use crate::open::{Open, Shown, Through};
use crate::state::House;
use layout::layout;
use ripieno_picture::svg::escape;
use std::collections::BTreeMap;

/// The renewable pieces of a cue's page, by id: those that may be others than they were drawn last, all after a `forget`.
pub fn pieces(
    id: &str,
    drawn: &mut Drawn,
    shown: &Shown,
    through: Option<&Through>,
) -> BTreeMap<String, String> {
    let mut pieces = BTreeMap::new();
    board::cells(&mut pieces, drawn, shown, through);
    board::arc(&mut pieces, drawn, shown, through);
    hall::pieces(&mut pieces, drawn, shown);
    patches::pieces(&mut pieces, drawn, shown);
    pieces.insert("standing".into(), board::standing(shown, through));
    pieces.insert("steps".into(), board::steps(shown));
    pieces.insert("trouble".into(), warnings::trouble(shown));
    pieces.insert("warnings".into(), warnings::warnings(id, shown));
    pieces.insert("hand-overs".into(), board::hand_overs(shown));
    pieces.insert("film-facts".into(), film::facts(shown));
    pieces.insert("findings".into(), findings::findings(id, shown, through));
    pieces.insert("beside".into(), beside::beside(shown, through));
    pieces
}

/// A cue's whole page.
pub fn cue(house: &House, open: &Open) -> String {
    let shown = open.shown();
    let title = open.title();
    let body = open.with_fragments(|fragments| board::page(open, &shown, fragments));
    layout(house, &title, &body)
}

/// The hall's page.
pub fn hall(house: &House, open: &Open) -> String {
    let shown = open.shown();
    let body = open.with_fragments(|fragments| hall::page(open, &shown, fragments));
    layout(house, &open.title(), &body)
}

/// The patches' page.
pub fn patches(house: &House, open: &Open) -> String {
    let shown = open.shown();
    let body = open.with_fragments(|fragments| patches::page(open, &shown, fragments));
    layout(house, &open.title(), &body)
}

/// A card that is being written, as it would be seen.
pub fn card_body(view: &ripieno_cue::view::PatchView) -> String {
    patches::body(view, false)
}

/// A button with a word on it.
pub(crate) fn button(id: &str, word: &str, help: &str) -> String {
    format!(r#"<button type="button" id="{}" title="{}">{}</button>"#, escape(id), escape(help), escape(word))
}
