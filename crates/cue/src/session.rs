//! A template from the composer's own session: a MIDI export of it gives the tracks' names, their order and their ports.

use crate::{CueError, folder};
use ripieno_formats::midi::{TrackHead, heads};
use ripieno_instruments::{Certainty, Guess, Query, recognise};
use ripieno_plan::quoted;
use std::fmt::Write as _;
use std::path::Path;

/// A template that was made from a session.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct SessionTemplate {
    /// Its text.
    pub text: String,
    /// How many chairs it has.
    pub chairs: usize,
    /// What is not sure, and what was left out, in words.
    pub doubts: Vec<String>,
}

/// A chair with the tracks that play it.
struct Chair {
    guess: Guess,
    tracks: Vec<TrackHead>,
}

/// Makes a template from a MIDI file: one chair for each instrument that tracks are named after, in the order of the file. Tracks
/// of one instrument that say how it plays (legato, short notes) are one chair; tracks that name no instrument are left out and
/// said.
///
/// Errors: a file that cannot be read, or in which no track names an instrument.
pub fn template_from_session(path: &Path) -> Result<SessionTemplate, CueError> {
    let bytes = folder::read(path, "Export your session as a MIDI file (.mid) with its track names.")?;
    let heads = heads(&bytes).map_err(|error| CueError::Music { path: path.to_path_buf(), error })?;
    let made = template(&heads);
    if made.chairs == 0 {
        let named: Vec<&str> =
            heads.iter().map(|h| h.name.as_str()).filter(|n| !n.is_empty()).take(6).collect();
        let message = match named.as_slice() {
            [] => "no track of this file has a name; export the session with its track names".to_string(),
            named => format!(
                "no track of this file is named after an instrument that is known (there are: {}); name them so, as in \"Violins I\", \"Horns\"",
                named.join(", ")
            ),
        };
        return Err(CueError::Place { path: path.to_path_buf(), message });
    }
    Ok(made)
}

fn template(heads: &[TrackHead]) -> SessionTemplate {
    let mut chairs: Vec<Chair> = Vec::new();
    let mut doubts = Vec::new();
    for head in heads.iter().filter(|h| !h.name.is_empty()) {
        let Some(guess) = recognise(&Query { name: &head.name, ..Query::default() }) else {
            if head.notes > 0 || !head.channels.is_empty() || head.port.is_some() {
                doubts.push(format!("\"{}\" names no instrument that is known; left out", head.name));
            }
            continue;
        };
        match chairs.iter_mut().find(|c| c.guess.chair == guess.chair) {
            Some(chair) => chair.tracks.push(head.clone()),
            None => chairs.push(Chair { guess, tracks: vec![head.clone()] }),
        }
    }
    let mut text = String::from(
        "# The template, from your own session: chairs in the order of its tracks, shared by all cues that name it.\n\
         # Give each chair the card of its patch, `card = \"cards/name.toml\"`, or several, `cards = [...]`; `ripieno patch --help`\n\
         # tells how a card is written. Without a card the house orchestra plays, and the track gets one sustained sound.\n",
    );
    let mut ids: Vec<String> = Vec::new();
    for chair in &chairs {
        text.push('\n');
        let Some(first) = chair.tracks.first() else { continue };
        if let Certainty::Unsure(why) = &chair.guess.certainty {
            let _ = writeln!(text, "# unsure: {}", one_line(why));
            // What begins with the name needs it no second time.
            let named = why.starts_with(&format!("\"{}\"", first.name));
            doubts.push(if named { why.clone() } else { format!("\"{}\": {why}", first.name) });
        }
        if chair.tracks.len() > 1 {
            let names: Vec<String> = chair.tracks.iter().map(|t| t.name.clone()).collect();
            let _ = writeln!(
                text,
                "# Your session has {} tracks for it: {}. One card for each, in this order, makes one chair of them.",
                names.len(),
                one_line(&names.join(", "))
            );
        }
        let id = free(&chair.guess.chair, &ids);
        let _ = writeln!(text, "[chair.{id}]");
        ids.push(id);
        let _ = writeln!(text, "instrument = {}", quoted(&chair.guess.instrument.id));
        let _ = writeln!(text, "players    = {}", chair.guess.players);
        let _ = writeln!(text, "track      = {}", quoted(&first.name));
        if let Some(port) = &first.port {
            let _ = writeln!(text, "port       = {}", quoted(port));
        }
    }
    SessionTemplate { text, chairs: ids.len(), doubts }
}

/// The id itself, or with the first number that makes it another.
fn free(id: &str, taken: &[String]) -> String {
    let used = |id: &str| taken.iter().any(|t| t == id);
    if !used(id) {
        return id.to_string();
    }
    (2..).map(|n| format!("{id}-{n}")).find(|id| !used(id)).unwrap_or_default()
}

fn one_line(text: &str) -> String {
    text.chars().map(|c| if c.is_control() { ' ' } else { c }).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use ripieno_plan::Template;

    fn head(name: &str, port: &str) -> TrackHead {
        TrackHead {
            name: name.into(),
            port: (!port.is_empty()).then(|| port.into()),
            channels: vec![1],
            notes: 0,
        }
    }

    #[test]
    fn tracks_become_chairs_in_their_order() {
        let made = template(&[
            head("Tempo", ""),
            head("Flute 1", "Winds"),
            head("Horns", "Brass"),
            head("VN1 leg", "Strings"),
            head("VN1 spicc", "Strings"),
            head("Cellos", "Strings"),
            head("Reverb return", "Bus"),
        ]);
        let (read, faults) = Template::parse("template.toml", &made.text);
        assert!(faults.is_empty(), "{faults:?}\n{}", made.text);
        let chairs: Vec<(&str, Option<&str>, Option<&str>)> = read
            .chairs
            .iter()
            .map(|c| (c.instrument.as_str(), c.track.as_deref(), c.port.as_deref()))
            .collect();
        assert_eq!(chairs.len(), 4, "{chairs:?}");
        assert_eq!(chairs[0], ("flute", Some("Flute 1"), Some("Winds")));
        assert_eq!(chairs[2].1, Some("VN1 leg"));
        assert_eq!(chairs[3].2, Some("Strings"));
        assert!(made.text.contains("2 tracks for it: VN1 leg, VN1 spicc"));
        assert!(made.doubts.iter().any(|d| d.contains("Reverb return")), "{:?}", made.doubts);
    }

    #[test]
    fn names_may_hold_anything() {
        let made = template(&[head("Violins \"I\" \\ \u{1}", "a\nb"), head("Violas\n[chair.x]", "")]);
        let (read, faults) = Template::parse("template.toml", &made.text);
        assert!(faults.iter().all(|d| d.warning), "{faults:?}\n{}", made.text);
        assert_eq!(read.chairs.len(), made.chairs);
    }
}
