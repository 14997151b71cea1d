//! What was written, as a text that stays beside the cue: a later file can be compared with it though the plan has changed.

use crate::{AxisBar, Control, NoteName, Sounded, Who, Written, WrittenNote, WrittenTrack};
use ripieno_formats::midi::MidiEvent;
use ripieno_units::Beats;
use std::fmt::Write;

const HEAD: &str = "written 1";
const END: &str = "end";

fn beats(at: Beats) -> String {
    format!("{}/{}", at.numerator(), at.denominator())
}

fn beats_from(text: &str) -> Option<Beats> {
    let (num, den) = text.split_once('/')?;
    let (num, den): (i64, i64) = (num.parse().ok()?, den.parse().ok()?);
    (den > 0 && den < 1 << 40 && num.abs() < 1 << 50).then(|| Beats::new(num, den))
}

fn one_line(text: &str) -> String {
    text.replace(['\t', '\n', '\r'], " ")
}

/// As text, a line for each thing, fields between tabulators. Texts in the tracks are left out.
pub fn store(written: &Written) -> String {
    let mut out = format!("{HEAD}\nlead\t{}\n", written.lead);
    // Writing to a string does not fail.
    for (at, micros) in &written.tempi {
        let _ = writeln!(out, "tempo\t{at}\t{micros}");
    }
    for (name, at) in &written.axis.passages {
        let _ = writeln!(out, "passage\t{}\t{}", beats(*at), one_line(name));
    }
    for bar in &written.axis.bars {
        let _ = writeln!(out, "bar\t{}\t{}\t{}", bar.number, beats(bar.at), beats(bar.unit));
    }
    for track in &written.tracks {
        let _ = writeln!(out, "track\t{}\t{}\t{}", track.card, one_line(&track.chair), one_line(&track.name));
        for key in &track.call_keys {
            let _ = writeln!(out, "key\t{key}");
        }
        for control in &track.calls {
            let _ = writeln!(out, "call\t{}", control.word());
        }
        for note in &track.notes {
            let who = match note.who {
                Who::Call => "call".to_string(),
                Who::Added(id) => format!("added {id}"),
                Who::Computed(n) => format!("of {} {} {}", beats(n.at), n.key, n.ordinal),
            };
            let times = |s: &Sounded| format!("{} {} {} {} {}", s.on, s.key, s.channel, s.velocity, s.off);
            let computed = if note.now == note.computed { String::new() } else { times(&note.computed) };
            let sent = if note.sent { 1 } else { 0 };
            let used = one_line(&note.used);
            let _ = writeln!(out, "note\t{}\t{computed}\t{who}\t{sent}\t{used}", times(&note.now));
        }
        // What is computed is said once where no mark has changed it.
        let same = track.rest == track.computed;
        for (word, list) in [(if same { "both" } else { "rest" }, &track.rest), ("computed", &track.computed)]
        {
            for (at, event) in list {
                if let Some((channel, control, value)) = Control::of(event) {
                    let value = control.value_text(&value);
                    let _ = writeln!(out, "{word}\t{at}\t{channel}\t{}\t{value}", control.word());
                }
            }
            if same {
                break;
            }
        }
    }
    out.push_str(END);
    out.push('\n');
    out
}

/// The inverse of [`store`]; none where the text is another, or not whole.
pub fn restore(text: &str) -> Option<Written> {
    let mut lines = text.lines();
    if lines.next() != Some(HEAD) {
        return None;
    }
    let mut out = Written::default();
    for line in lines {
        if line == END {
            return Some(out);
        }
        let fields: Vec<&str> = line.split('\t').collect();
        match *fields.first()? {
            "lead" => out.lead = fields.get(1)?.parse().ok()?,
            "tempo" => out.tempi.push((fields.get(1)?.parse().ok()?, fields.get(2)?.parse().ok()?)),
            "passage" => out.axis.passages.push(((*fields.get(2)?).to_string(), beats_from(fields.get(1)?)?)),
            "bar" => out.axis.bars.push(AxisBar {
                number: fields.get(1)?.parse().ok()?,
                at: beats_from(fields.get(2)?)?,
                unit: beats_from(fields.get(3)?).filter(|u| u.is_positive())?,
            }),
            "track" => out.tracks.push(WrittenTrack {
                card: fields.get(1)?.parse().ok()?,
                chair: (*fields.get(2)?).to_string(),
                name: (*fields.get(3)?).to_string(),
                ..WrittenTrack::default()
            }),
            _ => told(out.tracks.last_mut()?, &fields)?,
        }
    }
    None
}

fn told(track: &mut WrittenTrack, fields: &[&str]) -> Option<()> {
    match *fields.first()? {
        "key" => track.call_keys.push(byte(fields.get(1)?)?),
        "call" => track.calls.push(Control::parse(fields.get(1)?)?),
        "note" => {
            let now = times(fields.get(1)?)?;
            let computed = match *fields.get(2)? {
                "" => now,
                other => times(other)?,
            };
            let words: Vec<&str> = fields.get(3)?.split(' ').collect();
            let who = match words.as_slice() {
                ["call"] => Who::Call,
                ["added", id] => Who::Added(id.parse().ok()?),
                ["of", at, key, ordinal] => Who::Computed(NoteName {
                    at: beats_from(at)?,
                    key: byte(key)?,
                    ordinal: ordinal.parse().ok()?,
                }),
                _ => return None,
            };
            let (sent, used) = (*fields.get(4)? == "1", (*fields.get(5)?).to_string());
            track.notes.push(WrittenNote { now, computed, who, sent, used });
        }
        word @ ("both" | "rest" | "computed") => {
            let (at, channel) = (fields.get(1)?.parse().ok()?, byte(fields.get(2)?).filter(|c| *c < 16)?);
            let control = Control::parse(fields.get(3)?)?;
            let event: (i64, MidiEvent) = (at, control.event(channel, &control.value_of(fields.get(4)?)?));
            if word != "computed" {
                track.rest.push(event.clone());
            }
            if word != "rest" {
                track.computed.push(event);
            }
        }
        _ => return None,
    }
    Some(())
}

fn byte(text: &str) -> Option<u8> {
    text.parse().ok().filter(|b| *b < 128)
}

fn times(text: &str) -> Option<Sounded> {
    let parts: Vec<&str> = text.split(' ').collect();
    let [on, key, channel, velocity, off] = parts.as_slice() else { return None };
    Some(Sounded {
        on: on.parse().ok()?,
        key: byte(key)?,
        channel: byte(channel)?,
        velocity: byte(velocity)?,
        off: off.parse().ok()?,
    })
}
