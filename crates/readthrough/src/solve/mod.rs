//! Searches: harp pedals, timpani, hands and stops; and the rules that ask them.

pub mod charts;
pub mod events;
pub mod hands;
pub mod harp;
pub mod harp_events;
pub mod harp_feet;
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

mod bars;
mod harp_chords;
mod thin;

pub use charts::{Charts, PedalChange, PedalChart, TuningChange, TuningChart, charts};

use crate::Table;
use crate::rules::Rule;
use rayon::prelude::*;
use ripieno_music::Finding;

/// The rules of this folder, module by module.
pub fn rules() -> impl Iterator<Item = &'static Rule> {
    [harp::RULES, timpani::RULES, stops::RULES, mallets::RULES, hands::RULES, lacking::RULES]
        .into_iter()
        .flatten()
}

/// Every rule on every desk, in score order.
pub fn check(table: &Table<'_>) -> Vec<Finding> {
    read(table).0
}

/// The same with the charts of harps and timpani, which come of the same searches.
pub fn read(table: &Table<'_>) -> (Vec<Finding>, Charts) {
    const OTHERS: [fn(&Table<'_>) -> Vec<Finding>; 4] =
        [stops::check, mallets::check, hands::check, lacking::check];
    let searches = || {
        let of_desk = |desk| (harp::check(table, desk), timpani::check(table, desk));
        table.desks.par_iter().map(of_desk).unzip()
    };
    let others = || OTHERS.par_iter().map(|rule| rule(table)).collect();
    let ((harps, drums), others): ((Vec<_>, Vec<_>), Vec<Vec<Finding>>) = rayon::join(searches, others);
    let mut findings = Vec::new();
    let mut charts = Charts::default();
    for (found, chart) in harps {
        findings.extend(found);
        charts.pedals.extend(chart);
    }
    for (found, chart) in drums {
        findings.extend(found);
        charts.tunings.extend(chart);
    }
    findings.extend(others.into_iter().flatten());
    (findings, charts)
}
