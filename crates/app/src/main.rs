//! `ripieno`: the command line.
//!
//! Takes words, gives exit codes, text and JSON. It must not know how anything is computed: that is the facade's,
//! `ripieno-cue`.

mod commands;
mod json;
mod show;

use clap::{Parser, Subcommand};
use ripieno_cue::{Bits, RATES, RenderOptions};
use std::path::PathBuf;
use std::process::ExitCode;

/// Casts, performs and renders orchestral music from written notes and a short casting plan.
#[derive(Parser)]
#[command(name = "ripieno", version, arg_required_else_help = true, max_term_width = 100)]
struct Line {
    #[command(subcommand)]
    command: Command,
}

#[derive(Subcommand)]
enum Command {
    /// Write the demo cue "Night Ferry", perform it, render it, and report.
    Demo {
        /// Folder of the demo cue; a cue that is there keeps its inputs.
        #[arg(default_value = "night-ferry")]
        dir: PathBuf,
        /// End after the report.
        #[arg(long)]
        no_page: bool,
    },
    /// Make a cue from a MIDI or MusicXML file, with a plan to edit.
    New {
        /// Folder of the new cue.
        dir: PathBuf,
        /// The music: .mid, .musicxml, .xml or .mxl.
        #[arg(long, value_name = "FILE")]
        music: PathBuf,
        /// Your own template: a played MIDI file is read through the cards of its chairs.
        #[arg(long, value_name = "TEMPLATE")]
        template: Option<PathBuf>,
    },
    /// Read a piece as it came: passages, lines, doublings, how it grows. Nothing is written.
    Read {
        /// The music: .mid, .musicxml, .xml or .mxl.
        file: PathBuf,
        /// Your own template: a played MIDI file is read through the cards of its chairs.
        #[arg(long, value_name = "TEMPLATE")]
        template: Option<PathBuf>,
        /// Print what was found as JSON.
        #[arg(long)]
        json: bool,
    },
    /// Read a cue through: can it be played, is it heard, do the patches have it.
    Check {
        /// The cue's folder, or its cue.toml.
        cue: PathBuf,
        /// Print the findings and the arc as JSON.
        #[arg(long)]
        json: bool,
        /// Exit 1 when something cannot be played.
        #[arg(long)]
        strict: bool,
        /// Make the change that a finding carries, and write the plan; several may follow.
        #[arg(long, value_name = "RULE@CHAIR:BAR", num_args = 1..)]
        take: Vec<String>,
    },
    /// Write the performed MIDI for the cue's patches.
    Perform {
        /// The cue's folder, or its cue.toml.
        cue: PathBuf,
        /// Where to write it instead of CUE/performed.mid.
        #[arg(short, long, value_name = "FILE.mid")]
        output: Option<PathBuf>,
        /// Leave notes where they are written and list each chair's delay instead.
        #[arg(long, visible_alias = "as-notated")]
        on_grid: bool,
        /// Print the intent of every note as JSON.
        #[arg(long)]
        json: bool,
    },
    /// Render the cue with the house orchestra: mix and stems.
    Render {
        /// The cue's folder, or its cue.toml.
        cue: PathBuf,
        /// Where to write instead of the cue's folder.
        #[arg(short, long, value_name = "DIR")]
        output: Option<PathBuf>,
        /// Only these chairs, separated by commas.
        #[arg(long, value_delimiter = ',', value_name = "CHAIR,…")]
        only: Vec<String>,
        /// Only this passage.
        #[arg(long, value_name = "NAME")]
        passage: Option<String>,
        /// Begin so many bars before the passage.
        #[arg(long, value_name = "BARS", default_value_t = 0)]
        pre_roll: u32,
        /// Samples a second instead of the template's: 44100, 48000, 88200 or 96000.
        #[arg(long, value_name = "HERTZ", value_parser = rate)]
        rate: Option<u32>,
        /// Bits of a sample instead of the template's: 16, 24 or 32 (floats).
        #[arg(long, value_name = "BITS", value_parser = bits)]
        bits: Option<Bits>,
    },
    /// Measure halls (ISO 3382-1): a built-in hall, a cue's halls, or an impulse response.
    Hall {
        /// Halls by name, cues, or sound files; all built-in halls if none is named.
        halls: Vec<PathBuf>,
        /// Print the figures as JSON.
        #[arg(long)]
        json: bool,
    },
    /// Check patch cards, or write one from a list of switches.
    Patch {
        /// Patch cards to check.
        #[arg(required_unless_present = "from")]
        cards: Vec<PathBuf>,
        /// Write a card from a text that lists switches, one a line (`C0 legato`); `-` reads standard input.
        #[arg(long, value_name = "LIST", conflicts_with = "cards")]
        from: Option<PathBuf>,
        /// Where to write the card instead of standard output.
        #[arg(short, long, value_name = "CARD", requires = "from")]
        output: Option<PathBuf>,
    },
}

fn rate(text: &str) -> Result<u32, String> {
    let wanted = text.parse().ok().filter(|r| RATES.contains(r));
    wanted.ok_or_else(|| "write 44100, 48000, 88200 or 96000".into())
}

fn bits(text: &str) -> Result<Bits, String> {
    text.parse().ok().and_then(Bits::of).ok_or_else(|| "write 16, 24 or 32".into())
}

fn main() -> ExitCode {
    let line = Line::parse();
    let outcome = match line.command {
        Command::Demo { dir, no_page: _ } => commands::demo(&dir),
        Command::New { dir, music, template } => commands::new(&dir, &music, template.as_deref()),
        Command::Read { file, template, json } => commands::read(&file, template.as_deref(), json),
        Command::Check { cue, json, strict, take } => commands::check(&cue, json, strict, &take),
        Command::Perform { cue, output, on_grid, json } => {
            commands::perform(&cue, output.as_deref(), on_grid, json)
        }
        Command::Render { cue, output, only, passage, pre_roll, rate, bits } => {
            let into = output.unwrap_or_default();
            commands::render(&cue, RenderOptions { into, only, passage, pre_roll, rate, bits })
        }
        Command::Hall { halls, json } => commands::hall(&halls, json),
        Command::Patch { cards, from, output } => match from {
            Some(list) => commands::card_from_list(&list, output.as_deref()),
            None => commands::patch(&cards),
        },
    };
    match outcome {
        Ok(code) => code,
        Err(error) => {
            show::complain(&error.to_string());
            ExitCode::from(if error.is_machine() { 3 } else { 2 })
        }
    }
}
