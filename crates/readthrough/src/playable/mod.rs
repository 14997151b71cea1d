//! Can it be played? One module a rule, or a few that are related.

mod breath;
mod breath_air;
mod breath_places;
mod breath_remedy;
mod breath_search;
pub mod cell_edit;
mod changes;
mod choir;
mod conductor;
mod dies_away;
mod extremes;
mod leap;
mod page_turn;
mod parted;
mod range;
mod sheet;
mod speed;
mod stamina;
mod together;
mod trill;
mod vowels;

use crate::Table;
use crate::rules::{Concern, Rule};
use crate::solve::{self, Charts};
use rayon::prelude::*;
use ripieno_music::Finding;
use sheet::{Check, Sheet};
use std::sync::OnceLock;

const fn rule(name: &'static str, concern: Concern, asks: &'static str, source: &'static str) -> Rule {
    Rule { name, concern, asks, source }
}

const TABLE: &str = "the table of instruments (handbooks; comfortable limits: common practice, no source)";
const MEMORY: &str = "from memory: Adler, The Study of Orchestration; Piston, Orchestration; Del Mar, Anatomy of the Orchestra";
const COMMON: &str = "common practice, no source";
const BREATH: &str = "UNSW Physics (J. Wolfe) and A. Bouhuys 1964 bound the air; its split by instrument is common practice, no source";
const SUNG: &str = "after N. Scotto di Carlo, intelligibility of opera, 2007 (abstract); Peterson and Barney 1952, first formants; the notes: common practice, no source";

/// The rules of this folder.
pub const RULES: &[Rule] = &[
    rule("range", Concern::Notes, "has the instrument these notes", TABLE),
    rule("range-comfort", Concern::Living, "do they lie well, at this dynamic", TABLE),
    rule("one-voice", Concern::Notes, "is a player of one voice asked for two notes", TABLE),
    rule("divisi", Concern::Living, "are there players enough for the parts", COMMON),
    rule("breath", Concern::Living, "does a lone player's air last, and where to breathe", BREATH),
    rule("stamina", Concern::Living, "how long lips and voices work, how high, and when they rest", COMMON),
    rule("repeat-speed", Concern::Living, "can one note be repeated so fast", TABLE),
    rule("scale-speed", Concern::Living, "can fingers, slide or voice move so fast", COMMON),
    rule("leap", Concern::Living, "is there time for the leap", COMMON),
    rule("trill", Concern::Living, "has the trill or tremolo a fingering", MEMORY),
    rule("soft-extreme", Concern::Living, "can this register be so soft", MEMORY),
    rule("loud-extreme", Concern::Living, "can this register be so loud", MEMORY),
    rule("dies-away", Concern::Notes, "is a note that dies away held as if it could sustain", TABLE),
    rule("page-turn", Concern::Living, "is a hand free to turn the page", COMMON),
    rule("change-instrument", Concern::Living, "is there time to take up the other instrument", COMMON),
    rule("mute-time", Concern::Living, "is there time for the mute", COMMON),
    rule("pluck-time", Concern::Living, "is there time from bow to finger and back", COMMON),
    rule("tessitura", Concern::Living, "does the part lie well for the voice", COMMON),
    rule("vowel-high", Concern::Living, "can the vowel be kept at this height", SUNG),
    rule("text-high", Concern::Living, "can the words be understood at this height", SUNG),
    rule("leap-sung", Concern::Living, "can the singers find and reach the note", COMMON),
    rule("syllable-speed", Concern::Living, "can the text be sung so fast", TABLE),
    rule("conductor", Concern::Living, "how many changes of tempo and metre at once", COMMON),
];

/// The rules that ask each desk by itself.
const CHECKS: &[Check] = &[
    range::check,
    extremes::check,
    parted::check,
    breath::check,
    stamina::check,
    speed::check,
    leap::check,
    trill::check,
    dies_away::check,
    changes::check,
    page_turn::check,
    choir::check,
];

/// Every rule on every desk, in score order.
pub fn check(table: &Table<'_>) -> Vec<Finding> {
    read(table).0
}

/// The same with the charts of harps and timpani.
pub fn read(table: &Table<'_>) -> (Vec<Finding>, Charts) {
    let bass = OnceLock::new();
    let of_desk = |desk| {
        let sheet = Sheet::of(table, desk, &bass);
        let mut found = Vec::new();
        CHECKS.iter().for_each(|check| check(&sheet, &mut found));
        together::once(found)
    };
    let (by_desk, (solved, charts)): (Vec<Vec<Finding>>, _) =
        rayon::join(|| table.desks.par_iter().map(of_desk).collect(), || solve::read(table));
    let mut found: Vec<Finding> = by_desk.into_iter().flatten().collect();
    together::high_clefs(table, &mut found);
    conductor::check(table, &mut found);
    found.extend(solved);
    (found, charts)
}
