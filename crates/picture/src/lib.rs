//! Pictures: the casting board's contours, the arc, an opened cell on its staff, the hall's plan, a patch's range, as SVG.
//!
//! Takes plain descriptions of what is to be seen, in seconds, metres and MIDI keys; gives SVG text that the page and the
//! printed report share. Colours are classes, defined once in [`STYLE`], so that paper and night, screen and print need no
//! second picture. It must not know plans, files, HTTP, or how anything was computed.

pub mod arc;
pub mod bands;
pub mod card;
pub mod contour;
pub mod hall;
pub mod line;
pub mod staff;
pub mod svg;

/// The classes that the pictures use, with paper and night: to stand in the page, or in the report.
pub const STYLE: &str = include_str!("../data/pictures.css");
