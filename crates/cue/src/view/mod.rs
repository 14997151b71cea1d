//! What is to be seen of a cue: plain descriptions that pictures are drawn from, on the page and in print.

mod arc;
mod board;
mod cell;
mod cell_words;
mod hall;
mod lines;
mod patches;
mod seat_words;
mod session;
mod warned;

pub use arc::{arc_points, clock};
pub use board::{Board, BoardCell, Column, HandOver, Row, board, family_printed};
pub use cell::{Sources, opened, opened_from};
pub use hall::{FamilySends, Sends, Stage, curve, seat_numbers, sitting, stage, usual_seat};
pub use lines::LineRoles;
pub use patches::{Articulation, PatchView, Patches, patch_view, patches};
pub use seat_words::{SeatFault, Sitting, seat_by_words};
pub use session::{Session, SessionTrack, Trial, session, trial};
pub use warned::{Warned, warnings};
