//! A cue as a whole: loads its files, lets the stages work, writes what comes out.
//!
//! Takes the folder of a cue, gives parts, a performance, MIDI, audio and a report. This is the interface that the command
//! line, the page and the tests use. It must not know terminals, HTTP, JSON or the clock: dates in outputs are the plan's.
//!
//! Whatever is written is written aside, synced and renamed, so that a failure leaves the last good file. The music is never
//! written to, the template and the patch cards only by what the composer does to them on the page.

mod acoustics;
mod adopt;
mod cards;
mod check;
mod compare;
mod create;
mod deliver;
mod describe;
mod error;
mod findings;
mod fingerprint;
mod fit;
mod fit_cut;
mod fit_sheet;
mod folder;
mod hits;
mod in_print;
pub mod listen;
mod notation;
mod open;
mod outputs;
mod pencil;
mod pools;
mod read;
mod render;
mod report;
mod rubbed;
mod session;
mod source;
mod source_read;
mod spectra;
mod stages;
mod take;
pub mod view;
mod workbench;

pub use acoustics::{HallReport, built_in_halls, cue_halls, measure_halls};
pub use adopt::{Adoption, adopt};
pub use cards::{new_card, save_card};
pub use check::{Checked, check, check_as_read, finding_name};
pub use compare::{Change, compare, version};
pub use create::{Created, create, create_with, demo_files, write_demo};
pub use deliver::{DeliverOptions, Delivered, Documents, Sounded, deliver};
pub use describe::describe;
pub use error::CueError;
pub use findings::{counted, ended, findings_text, sentence};
pub use fit::{FitSheet, HitMet, Proposal, fit, fit_lines, hits_now, take_fit};
pub use fit_sheet::fit_text;
pub use folder::write_file;
pub use in_print::InPrint;
pub use notation::{notation_files, notation_files_at, part_xml, score_xml, write_notation};
pub use open::{Cue, check_template, read_card, read_list, read_music};
pub use outputs::write_result;
pub use pencil::{Pencilled, pencil, rub_out};
pub use pools::{Pool, performed_in, read_aside};
pub use read::{Read, read};
pub use render::{RenderOptions, Rendered, Unwatched, Watch, note_performed, render};
pub use report::report;
pub use ripieno_plan::card_from_list;
pub use ripieno_plan::edit::NewValue;
pub use rubbed::pencil_back;
pub use session::{SessionTemplate, template_from_session};
pub use stages::{PerformOptions, Performed, perform};
pub use take::{Taken, take};
pub use workbench::{Act, Played, Replaced, Seen, SharedFile, Workbench, performed};

pub use ripieno_delivery::bext::SinceMidnight;
pub use ripieno_delivery::manifest::Entry as DeliveredFile;
pub use ripieno_formats::midi::write as write_midi;
pub use ripieno_hall::Measures;
pub use ripieno_music::{Finding, Reading, Severity};
pub use ripieno_notation::Pitched;
pub use ripieno_patches::{Intent, PatchOutput};
pub use ripieno_plan::{
    Bits, CellFault, CellWords, DeliverPlan, Diagnostic, Purpose, RATES, StemKind, Without,
};
pub use ripieno_readthrough::arc::{ArcBar, Presence};
pub use ripieno_readthrough::solve::charts;
pub use ripieno_readthrough::{Arc, rules};
pub use ripieno_units::Beats;
