//! Dumps what is read from MIDI files, one line of JSON a file, for comparison with other readers:
//! `midi_notes FILE...`. Places are fractions of a quarter note. The other way round, `midi_notes --write` reads events on
//! standard input, one a line with tabs between its fields, and writes the MIDI file to standard output.

use ripieno_formats::midi::{self, MidiEvent, MidiFile, MidiTrack};
use ripieno_music::{ControlKind, NoteKind, Score};
use ripieno_units::Beats;
use std::io::{Read, Write};

fn main() -> std::io::Result<()> {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    let mut out = std::io::stdout().lock();
    if arguments.first().is_some_and(|a| a == "--write") {
        let mut lines = String::new();
        std::io::stdin().read_to_string(&mut lines)?;
        return out.write_all(&midi::write(&file(&lines)));
    }
    for name in &arguments {
        let line = match midi::read(&std::fs::read(name)?) {
            Ok(score) => dump(name, &score),
            Err(error) => format!("{{\"file\":{},\"error\":{}}}", text(name), text(&error.to_string())),
        };
        writeln!(out, "{line}")?;
    }
    Ok(())
}

fn text(value: &str) -> String {
    let mut out = String::from("\"");
    for c in value.chars() {
        match c {
            '"' | '\\' => out.extend(['\\', c]),
            c if (c as u32) < 32 => out.push_str(&format!("\\u{:04x}", c as u32)),
            c => out.push(c),
        }
    }
    out + "\""
}

fn at(beats: Beats) -> String {
    format!("\"{}/{}\"", beats.numerator(), beats.denominator())
}

fn list(items: impl Iterator<Item = String>) -> String {
    format!("[{}]", items.collect::<Vec<_>>().join(","))
}

fn dump(name: &str, score: &Score) -> String {
    let timeline = &score.timeline;
    let tracks = list(score.tracks.iter().map(|track| {
        let notes = list(track.content.notes.iter().map(|n| {
            let what = match &n.kind {
                NoteKind::Pitched(pitch) => pitch.key.to_string(),
                NoteKind::Unpitched { stroke } => text(stroke),
            };
            let sung = n.syllable.as_ref().map_or("null".to_string(), |s| text(&s.text));
            format!("[{},{},{what},{},{sung}]", at(n.at), at(n.end()), n.velocity.unwrap_or(0))
        }));
        let controls = list(track.content.controls.iter().map(|c| {
            let kind = match c.kind {
                ControlKind::Controller(n) => format!("\"controller\",{n}"),
                ControlKind::Bend => "\"bend\",null".into(),
                ControlKind::Program => "\"program\",null".into(),
                ControlKind::Pressure => "\"pressure\",null".into(),
            };
            format!("[{},{kind},{}]", at(c.at), c.value)
        }));
        format!(
            "{{\"id\":{},\"name\":{},\"program\":{},\"percussion\":{},\"notes\":{notes},\"controls\":{controls}}}",
            text(&track.id),
            text(&track.name),
            track.program.map_or("null".to_string(), |p| p.to_string()),
            track.percussion
        )
    }));
    format!(
        "{{\"file\":{},\"tempi\":{},\"bars\":{},\"keys\":{},\"marks\":{},\"tracks\":{tracks},\"warnings\":{}}}",
        text(name),
        list(timeline.tempi.iter().map(|t| format!("[{},{}]", at(t.at), t.micros))),
        list(
            timeline
                .bars
                .iter()
                .map(|b| { format!("[{},{},{},{}]", at(b.at), at(b.length), b.metre.beats, b.metre.unit) })
        ),
        list(timeline.keys.iter().map(|k| format!("[{},{},{}]", at(k.at), k.fifths, k.minor))),
        list(timeline.marks.iter().map(|m| format!("[{},{}]", at(m.at), text(&m.text)))),
        list(score.warnings.iter().map(|w| text(&w.to_string())))
    )
}

/// `division N`, `track NAME PORT`, then events as `TICK KIND FIELDS`.
fn file(lines: &str) -> MidiFile {
    let mut file = MidiFile { ticks_per_quarter: 480, tracks: Vec::new() };
    for line in lines.split('\n').filter(|l| !l.is_empty()) {
        let fields: Vec<&str> = line.split('\t').collect();
        let field = |i: usize| fields.get(i).copied().unwrap_or("");
        let number = |i: usize| field(i).parse::<i64>().unwrap_or(0);
        let byte = |i: usize| number(i) as u8;
        match field(0) {
            "division" => file.ticks_per_quarter = number(1) as u16,
            "track" => file.tracks.push(MidiTrack {
                name: field(1).into(),
                port: (!field(2).is_empty()).then(|| field(2).into()),
                events: Vec::new(),
            }),
            _ => {
                let event = match field(1) {
                    "on" => MidiEvent::NoteOn { channel: byte(2), key: byte(3), velocity: byte(4) },
                    "off" => MidiEvent::NoteOff { channel: byte(2), key: byte(3), velocity: byte(4) },
                    "controller" => {
                        MidiEvent::Controller { channel: byte(2), number: byte(3), value: byte(4) }
                    }
                    "program" => MidiEvent::Program { channel: byte(2), program: byte(3) },
                    "bend" => MidiEvent::Bend { channel: byte(2), value: number(3) as i16 },
                    "tempo" => MidiEvent::Tempo(number(2) as u32),
                    "metre" => MidiEvent::Metre { beats: byte(2), unit_power: byte(3) },
                    "key" => MidiEvent::Key { fifths: number(2) as i8, minor: number(3) != 0 },
                    "marker" => MidiEvent::Marker(field(2).into()),
                    "lyric" => MidiEvent::Lyric(field(2).into()),
                    _ => MidiEvent::Text(field(2).into()),
                };
                if let Some(track) = file.tracks.last_mut() {
                    track.events.push((number(0) as u64, event));
                }
            }
        }
    }
    file
}
