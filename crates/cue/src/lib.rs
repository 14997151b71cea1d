//! A cue as a whole: loads its files, lets the stages work, writes what comes out.
//!
//! Takes the folder of a cue, gives parts, a performance, MIDI, audio and a report. This is the interface that the command
//! line, the page and the tests use. It must not know terminals, HTTP, JSON or the clock: dates in outputs are the plan's.
//!
//! Whatever is written is written aside, synced and renamed, so that a failure leaves the last good file. The music, the patch
//! cards and the template are never written to.

mod acoustics;
mod create;
mod error;
mod fingerprint;
mod folder;
mod open;
mod render;
mod report;
mod source;
mod stages;

pub use acoustics::{HallReport, built_in_halls, measure_halls};
pub use create::{Created, create, create_with, demo_files, write_demo};
pub use error::CueError;
pub use folder::write_file;
pub use open::{Cue, read_card, read_list, read_music};
pub use render::{RenderOptions, Rendered, Unwatched, Watch, note_performed, render};
pub use report::report;
pub use ripieno_plan::card_from_list;
pub use stages::{PerformOptions, Performed, perform};

pub use ripieno_formats::midi::write as write_midi;
pub use ripieno_hall::Measures;
pub use ripieno_music::{Finding, Severity};
pub use ripieno_patches::{Intent, PatchOutput};
pub use ripieno_plan::{Bits, Diagnostic, RATES};
