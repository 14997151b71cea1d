//! Help beyond `--help`: completions for shells, manual pages.

use crate::show;
use clap::Command;
use ripieno_cue::{CueError, write_file};
use std::path::{Path, PathBuf};
use std::process::ExitCode;

/// Where one begins.
pub const BEGIN: &str = "\
To begin:
  ripieno                                   the page: everything below, without typing it
  ripieno demo                              a cue to look at
  ripieno new my-cue --music piece.mid      a cue from your own music
  ripieno check my-cue                      can it be played, is it heard, and what to do
  ripieno perform my-cue                    MIDI for your own patches
  ripieno deliver my-cue                    everything for a session or a client, in one folder

Exit codes: 0 done; 1 --strict failed, or one of several cues; 2 a file or the command line is wrong; 3 trouble of the disk.";

/// Prints the completions of a shell.
pub fn completions(line: &mut Command, shell: clap_complete::Shell) -> Result<ExitCode, CueError> {
    let mut text = Vec::new();
    clap_complete::generate(shell, line, "ripieno", &mut text);
    show::print(&String::from_utf8_lossy(&text));
    Ok(ExitCode::SUCCESS)
}

fn page(of: &Command) -> Result<Vec<u8>, CueError> {
    let mut text = Vec::new();
    let path = PathBuf::from("manual page");
    clap_mangen::Man::new(of.clone()).render(&mut text).map_err(|error| CueError::Disk { path, error })?;
    Ok(text)
}

/// Prints the manual page, or writes one for the program and one for each command into a folder.
pub fn manual(line: Command, into: Option<&Path>) -> Result<ExitCode, CueError> {
    let Some(into) = into else {
        show::print(&String::from_utf8_lossy(&page(&line)?));
        return Ok(ExitCode::SUCCESS);
    };
    write_file(&into.join("ripieno.1"), &page(&line)?)?;
    for command in line.get_subcommands() {
        let name = format!("ripieno-{}", command.get_name());
        let command = command.clone().name(name.clone()).bin_name(name.replacen('-', " ", 1));
        write_file(&into.join(format!("{name}.1")), &page(&command)?)?;
    }
    show::print(&format!("Written: {}\n", into.join("ripieno*.1").display()));
    Ok(ExitCode::SUCCESS)
}
