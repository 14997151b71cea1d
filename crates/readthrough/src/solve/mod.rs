//! Searches: harp pedals, timpani, hands and stops; and the rules that ask them.

pub mod harp_pedals;
pub mod lane;
pub mod timpani_drums;

use crate::Table;
use crate::rules::Rule;
use ripieno_music::Finding;

/// The rules of this folder.
pub const RULES: &[Rule] = &[];

/// Every rule on every desk, in score order.
pub fn check(_table: &Table<'_>) -> Vec<Finding> {
    Vec::new()
}
