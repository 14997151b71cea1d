//! Searches: harp pedals, timpani, hands and stops; and the rules that ask them.

pub mod events;
pub mod hands;
pub mod lacking;
pub mod mallets;
pub mod spots;
pub mod stops;

use crate::Table;
use ripieno_music::Finding;

/// Every rule on every desk, in score order.
pub fn check(table: &Table<'_>) -> Vec<Finding> {
    [stops::check, mallets::check, hands::check, lacking::check]
        .into_iter()
        .flat_map(|rule| rule(table))
        .collect()
}
