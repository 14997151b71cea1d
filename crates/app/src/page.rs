//! The page: served until it is interrupted, opened in the browser where there is one.

use crate::show;
use ripieno_cue::CueError;
use ripieno_page::{Options, PageError, Server};
use std::path::{Path, PathBuf};
use std::process::{Command, ExitCode, Stdio};

/// Serves the page, of a cue or the start page.
pub fn serve(cue: Option<&Path>, port: u16, browser: bool) -> Result<ExitCode, CueError> {
    let home = std::env::current_dir().map_err(|error| CueError::Disk { path: ".".into(), error })?;
    let options = Options { port, home, recent: state_file(), cue: cue.map(Path::to_path_buf) };
    let server = Server::start(&options).map_err(told)?;
    show::print(&format!("The page: {}\nEnd it with Ctrl+C.\n", server.address()));
    if browser {
        open(server.address());
    }
    server.serve().map_err(told)?;
    Ok(ExitCode::SUCCESS)
}

fn told(error: PageError) -> CueError {
    match error {
        PageError::Cue(error) => error,
        PageError::Port { port, error } if error.kind() == std::io::ErrorKind::AddrInUse => {
            CueError::Refused(format!(
                "port {port} of 127.0.0.1 is in use by another program, perhaps by a page that is open already; end that one, or choose another port with --port, or none for any that is free"
            ))
        }
        PageError::Port { port, error } if error.kind() == std::io::ErrorKind::PermissionDenied => {
            CueError::Refused(format!(
                "port {port} of 127.0.0.1 is kept for the system; choose one above 1023 with --port, or none for any that is free"
            ))
        }
        PageError::Port { port, error } => CueError::Disk { path: format!("127.0.0.1:{port}").into(), error },
        other => CueError::Refused(other.to_string()),
    }
}

/// Where the list of cues opened lately is kept: the user's own folder for such things (XDG Base Directory Specification 0.8).
fn state_file() -> Option<PathBuf> {
    let given = |name: &str| std::env::var_os(name).map(PathBuf::from).filter(|p| p.is_absolute());
    let folder = given("XDG_STATE_HOME")
        .or_else(|| given("LOCALAPPDATA"))
        .or_else(|| given("HOME").map(|home| home.join(".local/state")))?;
    Some(folder.join("ripieno").join("opened-lately.txt"))
}

/// Asks the desktop to open an address; where there is none, the printed address is enough.
fn open(address: &str) {
    let quiet = |mut command: Command| {
        command.stdin(Stdio::null()).stdout(Stdio::null()).stderr(Stdio::null()).spawn().is_ok()
    };
    let with = |program: &str, words: &[&str]| {
        let mut command = Command::new(program);
        command.args(words).arg(address);
        quiet(command)
    };
    let _ = if cfg!(target_os = "macos") {
        with("open", &[])
    } else if cfg!(target_os = "windows") {
        with("rundll32", &["url.dll,FileProtocolHandler"])
    } else {
        let desktop = ["DISPLAY", "WAYLAND_DISPLAY"].iter().any(|v| std::env::var_os(v).is_some());
        desktop && with("xdg-open", &[])
    };
}
