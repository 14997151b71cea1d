//! What the composer writes: the casting plan, the template, the patch cards, and the shorthand of a cell.
//!
//! Takes text, gives [`Plan`], [`Template`] and [`PatchCard`] together with every complaint, each with file, line,
//! column, what was expected and the nearest valid word. It must not know MIDI files, audio or the file system: whoever
//! calls has read the text, and writes it back.

mod card;
mod cell;
mod diagnostic;
mod edit;
mod list;
mod plan;
mod read_card;
mod read_plan;
mod shorthand;
mod template;
mod toml;
mod write_cell;

pub use card::{ArticulationCard, Call, CallKind, DelayCurve, Delays, DynamicsCard, KeyMode, PatchCard};
pub use cell::CellFault;
pub use diagnostic::{Diagnostic, Span, nearest};
pub use edit::set_cell;
pub use list::card_from_list;
pub use plan::{Keep, LineDef, PassagePlan, PlacedCell, Plan, Settings};
pub use shorthand::{CellMark, CellWords, DynamicStep, LineVoice, PlaceWord, Source, Turn};
pub use template::{ChairPlan, MixPlan, SeatPlan, Template};
