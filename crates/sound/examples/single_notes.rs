//! Single notes as WAV files, to be measured from outside: `cargo run -p ripieno-sound --example single_notes < list.tsv`.
//!
//! One note a line, columns apart by tabs, `-` for none, lines of `#` left out:
//!
//! `file  instrument  key  onset  seconds  level  articulation  players  manner  colour  syllable  rate  more`
//!
//! * `onset`, `seconds`: when it begins and how long it is held. `key`: MIDI key; of no account without pitch.
//! * `level`: dB re mf, or a polyline `seconds:dB;seconds:dB`; that of a file's first line is the chair's.
//! * `manner`: `living` or `plain` (one player without vibrato, noise and lateness).
//! * `rate`: samples a second, 48,000 if none. `syllable`: what is sung.
//! * `more`, apart by blanks: `joined`; `glide=seconds`; `attack=dB`; `voice=n`; `bend=seconds:cents;seconds:cents`;
//!   `strokes=per-second:semitones[:joined]` (the note is made of strokes, every other one so much higher);
//!   `pedal` (down from the onset to the end of the file); `tail=seconds`; `cents=n`.
//!
//! Columns from `colour` on may be left out. Lines of one file in a row are one chair. The files are mono, 32-bit float, and
//! begin at time zero. `--table` prints what the instrument table knows as JSON instead.

#![allow(clippy::disallowed_methods)] // measuring only

use ripieno_formats::wav::{SampleFormat, Wav, write};
use ripieno_instruments::{Instrument, by_id, table};
use ripieno_music::{
    ChairPerformance, Colour, Curve, Gesture, Realisation, Stroke, Sung, Syllable, SyllablePlace,
};
use ripieno_sound::{Manner, Options, render};
use ripieno_units::{Decibels, Seconds};
use std::io::{BufRead, BufWriter, Write};

/// One file of the list.
struct Sheet {
    file: String,
    chair: ChairPerformance,
    manner: Manner,
    rate: u32,
    tail: f64,
}

fn main() -> std::process::ExitCode {
    let done = match std::env::args().nth(1).as_deref() {
        None => notes(),
        Some("--table") => facts(),
        Some(other) => {
            Err(format!("{other}: only --table is known; without it the notes come on standard input"))
        }
    };
    match done {
        Ok(()) => std::process::ExitCode::SUCCESS,
        Err(message) => {
            eprintln!("{message}");
            std::process::ExitCode::from(2)
        }
    }
}

fn notes() -> Result<(), String> {
    let mut sheet: Option<Sheet> = None;
    for (number, line) in std::io::stdin().lock().lines().enumerate() {
        let line = line.map_err(|e| e.to_string())?;
        if line.trim().is_empty() || line.starts_with('#') {
            continue;
        }
        let next = parse(&line).map_err(|e| format!("line {}: {e}", number + 1))?;
        match &mut sheet {
            Some(open) if open.file == next.file => {
                let mut gesture = next.chair.gestures;
                if let (Some(before), true) = (open.chair.gestures.last_mut(), gesture[0].joined) {
                    before.joins_on = true;
                }
                open.chair.gestures.append(&mut gesture);
                open.chair.players = open.chair.players.max(next.chair.players);
                open.chair.pedal.extend(next.chair.pedal);
                open.tail = open.tail.max(next.tail);
            }
            _ => {
                if let Some(done) = sheet.replace(next) {
                    save(&done)?;
                }
            }
        }
    }
    sheet.as_ref().map_or(Ok(()), save)
}

fn save(sheet: &Sheet) -> Result<(), String> {
    let end = sheet.chair.gestures.iter().map(|g| g.end.0).fold(0.0, f64::max) + sheet.tail;
    let options = Options { sample_rate: sheet.rate, tuning: 440.0, seed: 1, manner: sheet.manner };
    let sound = render(&sheet.chair, &options, Seconds(0.0), Seconds(end));
    let wav = Wav { sample_rate: sheet.rate, channels: vec![sound] };
    std::fs::write(&sheet.file, write(&wav, SampleFormat::Float32))
        .map_err(|e| format!("{}: {e}", sheet.file))
}

fn number(text: &str, what: &str) -> Result<f64, String> {
    text.parse().map_err(|_| format!("{what}: a number is wanted, found {text:?}"))
}

fn pairs(text: &str, what: &str) -> Result<Vec<(f64, f64)>, String> {
    text.split(';')
        .map(|pair| {
            let (a, b) = pair.split_once(':').ok_or_else(|| format!("{what}: {pair:?} is no pair a:b"))?;
            Ok((number(a, what)?, number(b, what)?))
        })
        .collect()
}

fn parse(line: &str) -> Result<Sheet, String> {
    let columns: Vec<&str> = line.split('\t').collect();
    if columns.len() < 9 {
        return Err(format!("{} columns, at least 9 are wanted", columns.len()));
    }
    let at = |i: usize| columns.get(i).copied().filter(|c| !matches!(*c, "-" | ""));
    let id = columns[1];
    let instrument = by_id(id).ok_or_else(|| format!("no instrument {id:?} in the table"))?;
    let key = number(at(2).unwrap_or("60"), "key")?.clamp(0.0, 127.0) as u8;
    let (onset, seconds) = (number(columns[3], "onset")?, number(columns[4], "seconds")?);
    let level = match columns[5] {
        curve if curve.contains(':') => Curve { points: pairs(curve, "level")? },
        flat => Curve::flat(number(flat, "level")?),
    };
    let players = number(columns[7], "players")?.clamp(1.0, 200.0) as u16;
    let manner = match columns[8] {
        "living" => Manner::Living,
        "plain" => Manner::Plain,
        other => return Err(format!("manner {other:?}: living or plain")),
    };
    let colour = match at(9) {
        Some(word) => Some(Colour::parse(word).ok_or_else(|| format!("no colour {word:?}"))?),
        None => None,
    };
    let sung = at(10).map(|text| Sung {
        syllable: Syllable { text: text.into(), place: SyllablePlace::Single, extends: false, verse: 1 },
        consonant: Seconds((onset - 0.08).max(0.0)),
        coda: Seconds(onset + seconds - 0.08),
    });
    let mut gesture = Gesture {
        stroke: instrument.unpitched.then(|| id.to_owned()),
        articulation: columns[6].into(),
        colour,
        attack: Decibels(level.at(Seconds(onset))),
        sung,
        players,
        ..Gesture::plain(onset, onset + seconds, key)
    };
    let mut tail = rings(instrument, key);
    let mut pedal = Vec::new();
    for word in at(12).unwrap_or("").split_whitespace() {
        let (name, value) = word.split_once('=').unwrap_or((word, ""));
        match name {
            "joined" => gesture.joined = true,
            "pedal" => pedal.push((Seconds(onset), Seconds(1e4))),
            "glide" => gesture.glide = Seconds(number(value, name)?),
            "attack" => gesture.attack = Decibels(number(value, name)?),
            "cents" => gesture.cents = number(value, name)?,
            "voice" => gesture.voice = number(value, name)?.clamp(1.0, 99.0) as u16,
            "tail" => tail = number(value, name)?.clamp(0.0, 600.0),
            "bend" => {
                gesture.bend = pairs(value, name)?.into_iter().map(|(t, c)| (Seconds(t), c)).collect();
            }
            "strokes" => gesture.realisation = Some(strokes(&gesture, &level, value)?),
            other => return Err(format!("{other:?} is not known")),
        }
    }
    let rate = number(at(11).unwrap_or("48000"), "rate")?.clamp(8000.0, 384_000.0) as u32;
    let chair = ChairPerformance { players, level, pedal, ..ChairPerformance::plain(id, vec![gesture]) };
    Ok(Sheet { file: columns[0].into(), chair, manner, rate, tail })
}

/// Strokes of a tremolo, a trill or a roll, all through the note.
fn strokes(gesture: &Gesture, level: &Curve, value: &str) -> Result<Realisation, String> {
    let parts: Vec<&str> = value.split(':').collect();
    let rate = number(parts[0], "strokes")?.clamp(0.1, 200.0);
    let interval = number(parts.get(1).copied().unwrap_or("0"), "strokes")?;
    let joined = parts.get(2) == Some(&"joined");
    let count = ((gesture.end.0 - gesture.onset.0) * rate).ceil().max(1.0) as usize;
    let strokes = (0..count).map(|i| {
        let onset = gesture.onset.0 + i as f64 / rate;
        let key = f64::from(gesture.key) + if i % 2 == 1 { interval } else { 0.0 };
        Stroke {
            onset: Seconds(onset),
            // Strokes sound for this share of their time in a performance.
            end: Seconds((onset + if joined { 1.0 } else { 0.92 } / rate).min(gesture.end.0)),
            key: key.clamp(0.0, 127.0) as u8,
            attack: Decibels(level.at(Seconds(onset))),
            joined: joined && i > 0,
        }
    });
    let articulation = if joined { "legato" } else { gesture.articulation.as_str() };
    Ok(Realisation { articulation: articulation.into(), strokes: strokes.collect() })
}

/// Seconds that a note may ring after its end.
fn rings(instrument: &Instrument, key: u8) -> f64 {
    if !instrument.decays {
        return 1.0;
    }
    let points = &instrument.decay;
    let near = points.iter().min_by_key(|p| p.key.abs_diff(key));
    near.map_or(3.0, |p| p.longest).clamp(1.0, 20.0)
}

fn facts() -> Result<(), String> {
    let out: Vec<serde_json::Value> = table()
        .iter()
        .map(|i| {
            serde_json::json!({
                "id": i.id,
                "family": format!("{:?}", i.family).to_lowercase(),
                "unpitched": i.unpitched,
                "hard": i.hard.map(|r| [r.low, r.high]),
                "comfortable": i.comfortable.map(|r| [r.low, r.high]),
                "decays": i.decays,
                "players": i.players,
                "programs": i.programs,
                "gm_key": i.gm_key,
                "level": i.level.map(|l| serde_json::json!({"forte": l.forte, "pp": l.pp, "ff": l.ff})),
                "attack": i.attack.map(|a| serde_json::json!({"sharp": a.sharp, "soft": a.soft})),
                "decay": i.decay.iter().map(|p| (p.key, p.shortest, p.longest)).collect::<Vec<_>>(),
                "voice": i.voice.map(|v| format!("{v:?}").to_lowercase()),
            })
        })
        .collect();
    let text = serde_json::to_string_pretty(&out).map_err(|e| e.to_string())?;
    BufWriter::new(std::io::stdout()).write_all(text.as_bytes()).map_err(|e| e.to_string())
}
