//! What the composer writes: the casting plan, the template, the patch cards, and the shorthand of a cell.
//!
//! Takes text, gives [`Plan`], [`Template`] and [`PatchCard`] together with every complaint, each with file, line,
//! column, what was expected and the nearest valid word. It must not know MIDI files, audio or the file system: whoever
//! calls has read the text, and writes it back.
//!
//! * [`Plan::parse`], [`Template::parse`], [`PatchCard::parse`], [`CellWords::parse`]: text to value and complaints;
//!   [`Plan::check_against`] compares plan and template.
//! * `Display` of [`CellWords`], [`PatchCard::to_toml`]: value to text.
//! * [`edit`]: changes in place, which leave every other byte of the composer's file as it was.
//! * [`card_from_list`]: a manual's list of switches to a card.

mod breath;
mod card;
mod card_check;
mod card_text;
mod cell;
mod check;
mod check_numbers;
mod deliver;
mod diagnostic;
mod dynamics;
pub mod edit;
mod edit_chairs;
mod edit_gone;
mod edit_others;
mod edit_picture;

mod instrument;
mod lex;
mod list;
mod picture;
mod plan;
mod played;
mod read_advice;
mod read_call;
mod read_card;
mod read_others;
mod read_picture;
mod read_plan;
mod read_stage;
mod read_template;
mod shorthand;
mod source;
mod speak;
mod stage;
mod switch_name;
mod template;
mod toml;

pub use card::{ArticulationCard, Call, CallKind, DelayCurve, Delays, DynamicsCard, KeyMode, PatchCard};
pub use cell::CellFault;
pub use check_numbers::Bars;
pub use deliver::{DeliverPlan, NAME_WORDS, StemKind, USUAL_NAMES, Without};
pub use diagnostic::{Diagnostic, Span, nearest};
pub use edit::set_cell;
pub use list::card_from_list;
pub use picture::{HitPlan, MetrePlan, PicturePlan, TempoPlan};
pub use plan::{
    Accepted, Keep, Kit, LineDef, OtherCasting, PassagePlan, PlacedCell, Plan, Purpose, Settings,
};
pub use played::{SourcePlan, SourceTrack};
pub use read_plan::ARTICULATIONS;
pub use shorthand::{CellMark, CellWords, DynamicStep, Kept, LineVoice, PlaceWord, Source, Turn};
pub use stage::{EqBand, EqKind, FAMILIES, HallKind, HallPlan, MICROPHONES, Named, Placing, StagePlan};
pub use template::{Bits, ChairPlan, FontPlan, MixPlan, Origin, RATES, SeatPlan, Template};
pub use toml::quoted;
