//! Prints every note of a music file as JSON, for comparing with other readers:
//! `cargo run -p ripieno-formats --example notes -- FILE [--folded]`.
//! Onsets count quarters from the start of the first bar, as exact fractions.

use ripieno_formats::{FormatError, musicxml, read_score};
use ripieno_music::{Grace, Mark, Note, NoteKind, Pitch, Score};
use ripieno_units::Beats;
use std::fmt::Write as _;
use std::io::Write as _;
use std::process::ExitCode;

const MARKS: [Mark; 33] = [
    Mark::Staccato,
    Mark::Staccatissimo,
    Mark::Spiccato,
    Mark::Tenuto,
    Mark::Portato,
    Mark::Accent,
    Mark::Marcato,
    Mark::SoftAccent,
    Mark::Stress,
    Mark::Unstress,
    Mark::UpBow,
    Mark::DownBow,
    Mark::OpenString,
    Mark::Harmonic,
    Mark::Thumb,
    Mark::SnapPizz,
    Mark::Stopped,
    Mark::Open,
    Mark::DoubleTongue,
    Mark::TripleTongue,
    Mark::Scoop,
    Mark::Plop,
    Mark::Doit,
    Mark::Falloff,
    Mark::Fermata,
    Mark::BreathAfter,
    Mark::CaesuraAfter,
    Mark::Damp,
    Mark::LetRing,
    Mark::Fingernails,
    Mark::Heel,
    Mark::Toe,
    Mark::Golpe,
];

fn main() -> ExitCode {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    let folded = arguments.iter().any(|a| a == "--folded");
    let mut failed = false;
    for path in arguments.iter().filter(|a| !a.starts_with("--")) {
        let bytes = match std::fs::read(path) {
            Ok(bytes) => bytes,
            Err(e) => {
                eprintln!("{path}: {e}");
                failed = true;
                continue;
            }
        };
        let score: Result<Score, FormatError> = if folded {
            musicxml::read_with(&bytes, musicxml::Repeats::AsPrinted)
        } else {
            read_score(&bytes)
        };
        match score {
            // A closed pipe is no trouble of ours.
            Ok(score) => drop(writeln!(std::io::stdout(), "{}", json(&score))),
            Err(e) => {
                eprintln!("{path}: {e}");
                failed = true;
            }
        }
    }
    if failed { ExitCode::from(2) } else { ExitCode::SUCCESS }
}

fn json(score: &Score) -> String {
    let start = score.timeline.start();
    let mut out = String::new();
    let bars: Vec<String> = score.timeline.bars.iter().map(|b| format!("\"{}\"", b.length)).collect();
    let printed: Vec<String> = score.timeline.bars.iter().map(|b| quoted(&b.printed)).collect();
    let _ = write!(out, "{{\"bars\":[{}],\"printed\":[{}],\"warnings\":[", bars.join(","), printed.join(","));
    let warnings: Vec<String> = score.warnings.iter().map(|w| quoted(&w.to_string())).collect();
    let _ = write!(out, "{}],\"tracks\":[", warnings.join(","));
    for (i, track) in score.tracks.iter().enumerate() {
        let comma = if i > 0 { "," } else { "" };
        let _ = write!(
            out,
            "{comma}\n{{\"id\":{},\"name\":{},\"notes\":[",
            quoted(&track.id),
            quoted(&track.name)
        );
        let mut items: Vec<String> = Vec::new();
        for note in &track.content.notes {
            items.extend(of_note(note, start));
        }
        let _ = write!(out, "{}],\"graces\":[", items.join(","));
        let mut graces: Vec<String> = Vec::new();
        for note in &track.content.notes {
            graces.extend(note.graces.iter().map(|g| of_grace(g, note.at - start)));
            graces.extend(note.graces_after.iter().map(|g| of_grace(g, note.end() - start)));
        }
        let _ = write!(out, "{}]}}", graces.join(","));
    }
    out.push_str("]}");
    out
}

/// A tremolo between two notes is printed as the two notes that are written, each with half the length.
fn of_note(note: &Note, start: Beats) -> Vec<String> {
    let at = note.at - start;
    let kind = match &note.kind {
        NoteKind::Pitched(p) => Ok(*p),
        NoteKind::Unpitched { stroke } => Err(stroke.clone()),
    };
    match note.tremolo.and_then(|t| t.with) {
        None => vec![one(note, at, note.length, &kind)],
        Some(other) => {
            let half = note.length.scaled(1, 2);
            vec![one(note, at, half, &kind), one(note, at + half, half, &Ok(other))]
        }
    }
}

fn one(note: &Note, at: Beats, length: Beats, kind: &Result<Pitch, String>) -> String {
    let mut out = format!("{{\"on\":\"{at}\",\"dur\":\"{length}\",");
    let _ = match kind {
        Ok(pitch) => write!(out, "\"midi\":{},", pitch.semitones()),
        Err(stroke) => write!(out, "\"midi\":null,\"stroke\":{},", quoted(stroke)),
    };
    let marks: Vec<String> =
        MARKS.iter().filter(|m| note.marks.has(**m)).map(|m| format!("\"{m:?}\"")).collect();
    let _ = write!(
        out,
        "\"voice\":{},\"staff\":{},\"slurred\":{},\"slurs_on\":{},\"marks\":[{}]",
        note.voice,
        note.staff,
        note.slurred,
        note.slurs_on,
        marks.join(",")
    );
    if let Some(written) = note.written {
        let _ = write!(out, ",\"written\":\"{written}\"");
    }
    if let Some(ornament) = note.ornament {
        let _ = write!(out, ",\"ornament\":\"{:?}\"", ornament.kind);
    }
    if let Some(tremolo) = note.tremolo {
        let _ = write!(out, ",\"tremolo\":{}", tremolo.strokes);
    }
    if let Some(syllable) = &note.syllable {
        let _ = write!(out, ",\"text\":{}", quoted(&syllable.text));
    }
    out.push('}');
    out
}

fn of_grace(grace: &Grace, at: Beats) -> String {
    format!("[\"{at}\",{}]", grace.pitch.semitones())
}

fn quoted(text: &str) -> String {
    let mut out = String::from("\"");
    for c in text.chars() {
        match c {
            '"' => out.push_str("\\\""),
            '\\' => out.push_str("\\\\"),
            c if u32::from(c) < 0x20 => {
                let _ = write!(out, "\\u{:04x}", u32::from(c));
            }
            c => out.push(c),
        }
    }
    out.push('"');
    out
}
