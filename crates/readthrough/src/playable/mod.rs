//! Can it be played? One module a rule.

use crate::Table;
use crate::rules::Rule;
use ripieno_music::Finding;

/// The rules of this folder.
pub const RULES: &[Rule] = &[];

/// Every rule on every desk, in score order.
pub fn check(table: &Table<'_>) -> Vec<Finding> {
    crate::solve::check(table)
}
