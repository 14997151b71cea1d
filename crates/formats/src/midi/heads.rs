//! What the tracks of a MIDI file are called and where they go, whether anything is played on them or not.

use super::bytes::{Event, parse};
use crate::FormatError;

/// A track, seen from outside.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct TrackHead {
    /// Its name; empty if it has none.
    pub name: String,
    /// The port that it goes to: its name (meta event 9), or its number from 1 (meta event 33) where the file says one.
    pub port: Option<String>,
    /// Channels that something is sent on, 1 to 16, rising.
    pub channels: Vec<u8>,
    /// How many notes begin in it.
    pub notes: usize,
}

/// The tracks in the order of the file.
///
/// Errors: bytes that are no MIDI file.
pub fn heads(bytes: &[u8]) -> Result<Vec<TrackHead>, FormatError> {
    let raw = parse(bytes)?;
    let said = |bytes: &[u8]| raw.charset.text(bytes).split_whitespace().collect::<Vec<_>>().join(" ");
    // Ports are told apart by numbers only where there are several.
    let several = raw.tracks.iter().any(|t| t.port != 0);
    Ok(raw
        .tracks
        .iter()
        .map(|track| {
            let mut head = TrackHead::default();
            for (_, event) in &track.events {
                let channel = match event {
                    Event::Name(name) if head.name.is_empty() => {
                        head.name = said(name);
                        continue;
                    }
                    Event::On { channel, velocity, .. } => {
                        head.notes += usize::from(*velocity > 0);
                        *channel
                    }
                    Event::Off { channel, .. } | Event::Control { channel, .. } => *channel,
                    _ => continue,
                };
                if let Err(at) = head.channels.binary_search(&(channel + 1)) {
                    head.channels.insert(at, channel + 1);
                }
            }
            let device = said(track.device);
            head.port = match device.is_empty() {
                false => Some(device),
                true => several.then(|| (u16::from(track.port) + 1).to_string()),
            };
            head
        })
        .collect())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::midi::{MidiEvent, MidiFile, MidiTrack, write};

    #[test]
    fn empty_tracks_are_told_too() {
        let track = |name: &str, port: Option<&str>, events: Vec<(u64, MidiEvent)>| MidiTrack {
            name: name.into(),
            port: port.map(Into::into),
            events,
        };
        let file = MidiFile {
            tracks: vec![
                track("Tempo", None, vec![]),
                track("Violins I", Some("Strings A"), vec![]),
                track("Horns", Some("Brass"), vec![]),
            ],
            ..MidiFile::default()
        };
        let heads = heads(&write(&file)).unwrap();
        let seen: Vec<(&str, Option<&str>)> =
            heads.iter().map(|h| (h.name.as_str(), h.port.as_deref())).collect();
        assert!(seen.contains(&("Violins I", Some("Strings A"))), "{seen:?}");
        assert!(seen.contains(&("Horns", Some("Brass"))), "{seen:?}");
        assert!(super::heads(b"no midi at all").is_err());
    }
}
