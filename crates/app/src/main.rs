//! `ripieno`: the command line.
//!
//! Takes words, gives exit codes, text and JSON. It must not know how anything is computed: that is the facade's,
//! `ripieno-cue`.

mod commands;
mod deliver;
mod help;
mod json;
mod page;
mod show;

use clap::{CommandFactory, Parser, Subcommand};
use ripieno_cue::{Bits, CueError, DeliverPlan, Purpose, RATES, RenderOptions, StemKind, Without};
use std::path::PathBuf;
use std::process::ExitCode;

/// Casts, performs and renders orchestral music from written notes and a short casting plan.
#[derive(Parser)]
#[command(name = "ripieno", version, max_term_width = 100, after_help = help::BEGIN)]
struct Line {
    /// Without a command: the page, with the cues opened lately, the demo, and a place to drop music.
    #[command(subcommand)]
    command: Option<Command>,
}

#[derive(Subcommand)]
enum Command {
    /// Write the demo cue "Night Ferry", perform it, render it, report, and open the page.
    Demo {
        /// Folder of the demo cue; a cue that is there keeps its inputs.
        #[arg(default_value = "night-ferry")]
        dir: PathBuf,
        /// End after the report, without the page.
        #[arg(long)]
        no_page: bool,
    },
    /// Open a cue on the page, in the browser.
    Open {
        /// The cue's folder, or its cue.toml.
        cue: PathBuf,
        /// A port of 127.0.0.1 instead of any that is free.
        #[arg(long, default_value_t = 0)]
        port: u16,
        /// Print the address, and open no browser.
        #[arg(long)]
        no_browser: bool,
    },
    /// Make a cue from a MIDI or MusicXML file, with a plan to edit.
    New {
        /// Folder of the new cue.
        dir: PathBuf,
        /// The music: .mid, .musicxml, .xml or .mxl.
        #[arg(long, value_name = "FILE")]
        music: PathBuf,
        /// Your own template: a played MIDI file is read through the cards of its chairs. Or a MIDI export of your session,
        /// from which a template is made: names, order and ports of its tracks.
        #[arg(long, value_name = "TEMPLATE")]
        template: Option<PathBuf>,
    },
    /// Check a template with its cards, halls and files, or make one from a MIDI export of your session.
    Template {
        /// A template (.toml) to check, or a MIDI file (.mid) to make one from.
        file: PathBuf,
        /// Where to write the template that is made, instead of showing it.
        #[arg(short, long, value_name = "FILE.toml")]
        output: Option<PathBuf>,
    },
    /// Read a piece as it came: passages, lines, doublings, the read-through, how it grows. Nothing is written.
    Read {
        /// The music: .mid, .musicxml, .xml or .mxl.
        file: PathBuf,
        /// Your own template: a played MIDI file is read through the cards of its chairs.
        #[arg(long, value_name = "TEMPLATE")]
        template: Option<PathBuf>,
        /// Who is to play it, as `[cue] for` says it: decides what of the read-through comes first.
        #[arg(long = "for", value_name = "WHO", value_parser = Purpose::WORDS, default_value = "samples")]
        purpose: String,
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
        /// Make the change that a finding carries, and write the plan; several may follow. Where two findings of a bar would have
        /// one name the beat tells them apart: RULE@CHAIR:BAR.BEAT.
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
    /// Write the report of a cue, one page of HTML: casting, arc, what happens in each passage, patches, routing, findings.
    Report {
        /// The cue's folder, or its cue.toml.
        cue: PathBuf,
        /// Where to write it instead of CUE/report.html.
        #[arg(short, long, value_name = "FILE.html")]
        output: Option<PathBuf>,
    },
    /// Say what changed between two versions of a cue, by passage and chair. Nothing is written.
    ///
    /// A version is a cue's folder, or a delivered folder that holds its plan in `plan/`. Bars are matched by what they hold, so
    /// that bars put in or taken out do not make all that follows look new; bars are numbered as in the later version.
    Compare {
        /// The earlier version.
        before: PathBuf,
        /// The later version.
        after: PathBuf,
        /// Print the changes as JSON.
        #[arg(long)]
        json: bool,
    },
    /// Take what you changed by hand in the performed MIDI; it is made again whenever the cue is computed.
    ///
    /// Notes moved, added, taken out, transposed, louder, softer, longer; curves drawn anew; other articulations. Another
    /// division, a start moved by whole ticks, tracks renamed, merged or missing are no change. The changes are kept in
    /// CUE/pencil.toml. They change the MIDI, not the sound of the house orchestra.
    Adopt {
        /// The cue's folder, or its cue.toml.
        cue: PathBuf,
        /// The MIDI file that came back.
        file: PathBuf,
        /// Print all pencil marks as JSON.
        #[arg(long)]
        json: bool,
    },
    /// List the pencil marks: what was changed by hand, and what of it no longer fits.
    Pencil {
        /// The cue's folder, or its cue.toml.
        cue: PathBuf,
        /// Print them as JSON.
        #[arg(long)]
        json: bool,
        /// Take out the mark of this number; several may follow.
        #[arg(long, value_name = "N", num_args = 1..)]
        remove: Vec<u32>,
        /// Take out all.
        #[arg(long, conflicts_with = "remove")]
        clear: bool,
    },
    /// Write the score and every part as MusicXML 4.0, for players and for notation.
    ///
    /// `score.musicxml` holds everyone, in score order; `parts/` one file for each chair that plays, transposed for its player,
    /// with empty bars counted together. The score stands in concert pitch unless the plan says `[score] pitch = "transposed"`
    /// or `--transposed` is given here. Letters A, B, C … stand where the plan's passages begin, with the clock beside them.
    Score {
        /// The cue's folder, or its cue.toml.
        cue: PathBuf,
        /// Where to write instead of the cue's folder.
        #[arg(short, long, value_name = "DIR")]
        output: Option<PathBuf>,
        /// The score as each player reads it, whatever the plan says.
        #[arg(long)]
        transposed: bool,
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
    /// Fill one folder with what a session or a client needs: mix, stems, click, MIDI, breakdown, sheets.
    Deliver {
        /// Folders of cues, or their cue.toml; several go one after the other.
        #[arg(required = true)]
        cues: Vec<PathBuf>,
        /// Where to, instead of CUE/delivered or what the plan says; of several cues each gets a folder in it.
        #[arg(short, long, value_name = "DIR")]
        output: Option<PathBuf>,
        /// Stems instead of the plan's: families, chairs, dry, separated by commas; `none` for the mix alone.
        #[arg(long, value_delimiter = ',', value_name = "KIND,…", value_parser = stem_kind)]
        stems: Option<Vec<Option<StemKind>>>,
        /// Mixes without somebody instead of the plan's: tune, a family or a chair, separated by commas.
        #[arg(long, value_delimiter = ',', value_name = "WHO,…")]
        without: Option<Vec<String>>,
        /// FLAC beside the WAV files.
        #[arg(long)]
        flac: bool,
        /// No breakdown.
        #[arg(long)]
        no_breakdown: bool,
        /// No click.
        #[arg(long)]
        no_click: bool,
        /// Samples a second instead of the plan's: 44100, 48000, 88200 or 96000.
        #[arg(long, value_name = "HERTZ", value_parser = rate)]
        rate: Option<u32>,
        /// Bits of a sample instead of the plan's: 16, 24 or 32 (floats).
        #[arg(long, value_name = "BITS", value_parser = bits)]
        bits: Option<Bits>,
        /// Print how long each step took.
        #[arg(long)]
        times: bool,
    },
    /// Fit the music to a picture: proposals of tempo and bars, with the error of every hit.
    ///
    /// The plan says the picture: [picture] with rate, start and tempo bounds, and [[picture.hit]] for each hit: at = "01:00:10:08",
    /// what happens, within how many frames, and which bar and beat (or which beat of any bar) falls on it. Each proposal is numbered;
    /// --take writes its tempi into the plan as [[tempo]] and [[metre]], and performed.mid, sound and page follow. A cut that changed:
    /// --cut "at 01:00:10:00 +36" moves the hits from there on, and refits only what moved.
    Fit {
        /// The cue's folder, or its cue.toml.
        cue: PathBuf,
        /// Print the proposals as JSON.
        #[arg(long)]
        json: bool,
        /// Write the proposal of this number into the plan.
        #[arg(long, value_name = "N")]
        take: Option<usize>,
        /// Frames put in (+) or taken out (-) from a time code on.
        #[arg(long, value_name = "at TIMECODE FRAMES", allow_hyphen_values = true)]
        cut: Option<String>,
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
    /// Print what a shell needs to complete these commands: bash, zsh, fish, elvish, powershell.
    Completions {
        /// The shell.
        shell: clap_complete::Shell,
    },
    /// Print the manual page, or write one for each command.
    Man {
        /// Folder for `ripieno.1` and a page for each command.
        #[arg(short, long, value_name = "DIR")]
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

fn stem_kind(text: &str) -> Result<Option<StemKind>, String> {
    match StemKind::parse(text) {
        Some(kind) => Ok(Some(kind)),
        None if text == "none" => Ok(None),
        None => Err("write families, chairs, dry or none".into()),
    }
}

fn main() -> ExitCode {
    let line = Line::parse();
    let Some(command) = line.command else { return ended(page::serve(None, 0, true)) };
    let outcome = match command {
        Command::Demo { dir, no_page } => commands::demo(&dir).and_then(|code| match no_page {
            true => Ok(code),
            false => page::serve(Some(&dir), 0, true),
        }),
        Command::Open { cue, port, no_browser } => page::serve(Some(&cue), port, !no_browser),
        Command::New { dir, music, template } => commands::new(&dir, &music, template.as_deref()),
        Command::Read { file, template, purpose, json } => {
            let purpose = Purpose::of_word(&purpose).unwrap_or_default();
            commands::read(&file, template.as_deref(), purpose, json)
        }
        Command::Check { cue, json, strict, take } => commands::check(&cue, json, strict, &take),
        Command::Perform { cue, output, on_grid, json } => {
            commands::perform(&cue, output.as_deref(), on_grid, json)
        }
        Command::Completions { shell } => help::completions(&mut Line::command(), shell),
        Command::Man { output } => help::manual(Line::command(), output.as_deref()),
        Command::Template { file, output } => commands::template(&file, output.as_deref()),
        Command::Report { cue, output } => commands::report(&cue, output.as_deref()),
        Command::Compare { before, after, json } => commands::compare(&before, &after, json),
        Command::Adopt { cue, file, json } => commands::adopt(&cue, &file, json),
        Command::Pencil { cue, json, remove, clear } => commands::pencil(&cue, json, &remove, clear),
        Command::Score { cue, output, transposed } => commands::score(&cue, output.as_deref(), transposed),
        Command::Render { cue, output, only, passage, pre_roll, rate, bits } => {
            let into = output.unwrap_or_default();
            commands::render(&cue, RenderOptions { into, only, passage, pre_roll, rate, bits })
        }
        Command::Deliver {
            cues,
            output,
            stems,
            without,
            flac,
            no_breakdown,
            no_click,
            rate,
            bits,
            times,
        } => {
            let without = without.map(|all| all.iter().filter_map(|w| Without::of(w)).collect());
            let choice = DeliverPlan {
                stems: stems.map(|all| all.into_iter().flatten().collect()),
                alternates: without,
                flac: flac.then_some(true),
                breakdown: no_breakdown.then_some(false),
                click: no_click.then_some(false),
                rate,
                bits,
                ..DeliverPlan::default()
            };
            deliver::deliver(&deliver::Wanted { cues, output, choice, times })
        }
        Command::Fit { cue, json, take, cut } => commands::fit(&cue, json, take, cut.as_deref()),
        Command::Hall { halls, json } => commands::hall(&halls, json),
        Command::Patch { cards, from, output } => match from {
            Some(list) => commands::card_from_list(&list, output.as_deref()),
            None => commands::patch(&cards),
        },
    };
    ended(outcome)
}

fn ended(outcome: Result<ExitCode, CueError>) -> ExitCode {
    match outcome {
        Ok(code) => code,
        Err(error) => {
            show::complain(&error.to_string());
            ExitCode::from(if error.is_machine() { 3 } else { 2 })
        }
    }
}
