//! Pieces to cast, and what is looked at.

use crate::common::*;
use ripieno_music::{DirectionKind, Part, Playing, Score};

pub const WIND: &[(&str, &str)] = &[
    ("flute", "flute"),
    ("clarinet", "clarinet"),
    ("bass-clarinet", "bass-clarinet"),
    ("bassoon", "bassoon"),
];

pub fn tune() -> Score {
    score(
        4,
        &[
            ("Lead", crotchets(&[60, 62, 64, 65, 67, 65, 64, 62, 60, 62, 64, 65, 67, 65, 64, 62])),
            ("Bass", (0..4).map(|i| note((4 * i, 1), (4, 1), 36 + i as i16)).collect()),
        ],
    )
}

pub const LINES: &[(&str, &str)] = &[("melody", "lead"), ("bass", "P2")];

pub fn directions(part: &Part) -> Vec<(f64, DirectionKind)> {
    part.content.directions.iter().map(|d| (d.at.quarters(), d.kind.clone())).collect()
}

pub fn words(part: &Part) -> Vec<(f64, Playing)> {
    directions(part)
        .into_iter()
        .filter_map(|(at, kind)| if let DirectionKind::Playing(p) = kind { Some((at, p)) } else { None })
        .collect()
}
