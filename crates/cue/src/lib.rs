//! A cue as a whole: loads its files, lets the stages work, writes what comes out.
//!
//! Takes the folder of a cue, gives parts, a performance, MIDI, audio and a report. This is the interface that the command
//! line, the page and the tests use. It must not know terminals, HTTP, JSON or the clock: dates in outputs are the plan's.
//!
//! Whatever is written is written aside, synced and renamed, so that a failure leaves the last good file. The music, the patch
//! cards and the template are never written to.

mod acoustics;
mod check;
mod create;
mod error;
mod findings;
mod fingerprint;
mod folder;
mod open;
mod read;
mod render;
mod report;
mod source;
mod spectra;
mod stages;
mod take;

pub use acoustics::{HallReport, built_in_halls, measure_halls};
pub use check::{Checked, check, finding_name};
pub use create::{Created, create, create_with, demo_files, write_demo};
pub use error::CueError;
pub use findings::{describe, findings_text};
pub use folder::write_file;
pub use open::{Cue, read_card, read_list, read_music};
pub use read::{Read, read};
pub use render::{RenderOptions, Rendered, Unwatched, Watch, note_performed, render};
pub use report::report;
pub use ripieno_plan::card_from_list;
pub use stages::{PerformOptions, Performed, perform};
pub use take::{Taken, take};

pub use ripieno_formats::midi::write as write_midi;
pub use ripieno_hall::Measures;
pub use ripieno_music::{Finding, Reading, Severity};
pub use ripieno_patches::{Intent, PatchOutput};
pub use ripieno_plan::{Bits, Diagnostic, RATES};
pub use ripieno_readthrough::arc::{ArcBar, Presence};
pub use ripieno_readthrough::solve::charts;
pub use ripieno_readthrough::{Arc, rules};
pub use ripieno_units::Beats;
