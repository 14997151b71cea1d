//! Searches: harp pedals, timpani, hands and stops; and the rules that ask them.

pub mod charts;
pub mod events;
pub mod hands;
pub mod harp;
pub mod harp_events;
pub mod harp_hands;
pub mod harp_pedals;
pub mod harp_settings;
pub mod lacking;
pub mod lane;
pub mod mallets;
pub mod spots;
pub mod stops;
pub mod timpani;
pub mod timpani_drums;

mod harp_chords;
mod thin;

pub use charts::{Charts, PedalChange, PedalChart, TuningChange, TuningChart, charts};

use crate::Table;
use crate::rules::Rule;
use ripieno_music::Finding;

/// The rules of this folder, module by module.
pub fn rules() -> impl Iterator<Item = &'static Rule> {
    [harp::RULES, timpani::RULES, stops::RULES, mallets::RULES, hands::RULES, lacking::RULES]
        .into_iter()
        .flatten()
}

/// Every rule on every desk, in score order.
pub fn check(table: &Table<'_>) -> Vec<Finding> {
    [harp::check, timpani::check, stops::check, mallets::check, hands::check, lacking::check]
        .into_iter()
        .flat_map(|rule| rule(table))
        .collect()
}
