//! MIDI files of a performed cue: the tempo map alone, each chair alone, and the notes as written.

use ripieno_formats::midi::{MidiEvent, MidiFile, MidiTrack};
use ripieno_music::{NoteKind, Part};

/// The tempo map alone: tempo, metre, keys and markers.
pub fn tempo_map(performed: &MidiFile) -> MidiFile {
    MidiFile {
        ticks_per_quarter: performed.ticks_per_quarter,
        tracks: performed.tracks.iter().take(1).cloned().collect(),
    }
}

/// One file a chair: the tempo map with the chair's tracks. `owners` names the chair of every track after the first, in order.
pub fn by_chair<'a>(performed: &MidiFile, owners: &[&'a str]) -> Vec<(&'a str, MidiFile)> {
    let mut out: Vec<(&'a str, MidiFile)> = Vec::new();
    for (track, owner) in performed.tracks.iter().skip(1).zip(owners) {
        match out.iter_mut().find(|(chair, _)| chair == owner) {
            Some((_, file)) => file.tracks.push(track.clone()),
            None => {
                let mut file = tempo_map(performed);
                file.tracks.push(track.clone());
                out.push((owner, file));
            }
        }
    }
    out
}

/// Velocity of notes whose source has none: the middle (MIDI 1.0 names 64 as the value of keyboards without velocity).
const VELOCITY: u8 = 64;

/// Key of a stroke that has none in the table of General MIDI: the side stick, which nobody takes for a drum's own part.
const STROKE: u8 = 37;

/// The notes as they are written, on the grid: no calls, no controllers, no delays, sounding pitch, every chair a track on
/// channel 1 (strokes on channel 10). `shift` is where bar 1 stands, in ticks; `stroke_key` tells the General MIDI key of a
/// stroke. A key that is struck again before it ended is let go first.
pub fn plain(
    performed: &MidiFile,
    parts: &[(&str, &Part)],
    shift: i64,
    stroke_key: &dyn Fn(&str) -> Option<u8>,
) -> MidiFile {
    let mut file = tempo_map(performed);
    let ticks = u32::from(performed.ticks_per_quarter);
    for (name, part) in parts {
        let mut notes: Vec<(u64, u64, u8, u8, u8)> = Vec::new();
        for note in &part.content.notes {
            let (channel, key) = match &note.kind {
                NoteKind::Pitched(pitch) => match u8::try_from(pitch.key) {
                    Ok(key) if key < 128 => (0, key),
                    _ => continue,
                },
                NoteKind::Unpitched { stroke } => (9, stroke_key(stroke).unwrap_or(STROKE)),
            };
            let on = (note.at.ticks(ticks) + shift).max(0) as u64;
            let off = ((note.end().ticks(ticks) + shift).max(0) as u64).max(on + 1);
            notes.push((on, off, channel, key, note.velocity.unwrap_or(VELOCITY).clamp(1, 127)));
        }
        notes.sort_unstable();
        notes.dedup_by_key(|n| (n.0, n.2, n.3));
        for i in 0..notes.len() {
            let (on, _, channel, key, _) = notes[i];
            let next = notes[i + 1..].iter().find(|n| (n.2, n.3) == (channel, key)).map(|n| n.0);
            if let Some(next) = next {
                notes[i].1 = notes[i].1.min(next).max(on + 1);
            }
        }
        let mut events: Vec<(u64, u8, MidiEvent)> = Vec::with_capacity(2 * notes.len());
        for (on, off, channel, key, velocity) in notes {
            events.push((on, 1, MidiEvent::NoteOn { channel, key, velocity }));
            events.push((off, 0, MidiEvent::NoteOff { channel, key, velocity: VELOCITY }));
        }
        events.sort_by_key(|e| (e.0, e.1));
        file.tracks.push(MidiTrack {
            name: (*name).to_string(),
            port: None,
            events: events.into_iter().map(|(tick, _, event)| (tick, event)).collect(),
        });
    }
    file
}

#[cfg(test)]
mod tests {
    use super::*;
    use ripieno_music::Note;
    use ripieno_units::Beats;

    #[test]
    fn tracks_go_to_their_chairs() {
        let track = |name: &str| MidiTrack { name: name.into(), ..MidiTrack::default() };
        let file = MidiFile { ticks_per_quarter: 480, tracks: ["", "a", "a/2", "b"].map(track).to_vec() };
        let chairs = by_chair(&file, &["A", "A", "B"]);
        assert_eq!(chairs.iter().map(|c| (c.0, c.1.tracks.len())).collect::<Vec<_>>(), [("A", 3), ("B", 2)]);
        assert_eq!(tempo_map(&file).tracks.len(), 1);
    }

    #[test]
    fn plain_notes_lie_on_the_grid() {
        let mut part = Part::default();
        part.content.notes = vec![
            Note::plain(Beats::ZERO, Beats::whole(2), 60),
            Note::plain(Beats::whole(1), Beats::whole(1), 60),
        ];
        let file = MidiFile { ticks_per_quarter: 480, tracks: vec![MidiTrack::default()] };
        let made = plain(&file, &[("x", &part)], 1920, &|_| None);
        let ticks: Vec<u64> = made.tracks[1].events.iter().map(|e| e.0).collect();
        assert_eq!(ticks, [1920, 2400, 2400, 2880]);
        assert!(matches!(made.tracks[1].events[1].1, MidiEvent::NoteOff { .. }));
    }
}
