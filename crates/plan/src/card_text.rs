//! A patch card written out as TOML.

use crate::toml::{key, quoted};
use crate::{ArticulationCard, Call, CallKind, DelayCurve, DynamicsCard, KeyMode, PatchCard};
use std::fmt::Write as _;

const NAMES: [&str; 12] = ["C", "C#", "D", "D#", "E", "F", "F#", "G", "G#", "A", "A#", "B"];

/// A key's name in quotes, with the octave that the card counts.
pub(crate) fn key_name(key: u8, middle_c: i16) -> String {
    let octave = i16::from(key / 12) - 5 + middle_c;
    format!("\"{}{octave}\"", NAMES[usize::from(key % 12)])
}

impl PatchCard {
    /// The card as TOML, without what is as if it were not written. It reads back as the same card, but for fixed
    /// delays, which lose the velocity that they were written at.
    pub fn to_toml(&self) -> String {
        let mut out = String::new();
        let mut row = |name: &str, value: String| {
            let _ = writeln!(out, "{name} = {value}");
        };
        row("patch", quoted(&self.patch));
        if let Some(id) = &self.instrument {
            row("instrument", quoted(id));
        }
        row("middle-c", format!("\"C{}\"", self.middle_c));
        if let Some(range) = self.sounding {
            row("sounding", keys(range, self.middle_c));
        }
        if self.transpose != 0 {
            row("transpose", self.transpose.to_string());
        }
        if !self.strokes.is_empty() {
            let strokes =
                self.strokes.iter().map(|(s, k)| format!("{} = {}", key(s), key_name(*k, self.middle_c)));
            row("strokes", format!("{{ {} }}", strokes.collect::<Vec<_>>().join(", ")));
        }
        if self.channel != 1 {
            row("channel", self.channel.to_string());
        }
        if self.one_voice {
            row("one-voice", "true".into());
        }
        if self.bend_semitones != 2.0 {
            row("bend-semitones", self.bend_semitones.to_string());
        }
        if self.layered {
            row("layered", "true".into());
        }
        if self.dynamics != DynamicsCard::default() {
            row("dynamics", dynamics(&self.dynamics));
        }
        if !self.instead.is_empty() {
            let names: Vec<String> = self.instead.iter().map(|n| quoted(n)).collect();
            row("instead", format!("[{}]", names.join(", ")));
        }
        for one in &self.articulations {
            out.push_str(&articulation(one, self.middle_c));
        }
        out
    }
}

fn keys((low, high): (u8, u8), middle_c: i16) -> String {
    format!("[{}, {}]", key_name(low, middle_c), key_name(high, middle_c))
}

fn articulation(one: &ArticulationCard, middle_c: i16) -> String {
    let mut out = String::from("\n[[articulation]]\n");
    let mut row = |name: &str, value: String| {
        let _ = writeln!(out, "{name} = {value}");
    };
    row("name", quoted(&one.name));
    if let Some(colour) = one.colour {
        row("colour", quoted(colour.word()));
    }
    let calls: Vec<String> = one.calls.iter().map(|c| call(c, middle_c)).collect();
    match &calls[..] {
        [] => {}
        [one] => row("call", one.clone()),
        several => row("call", format!("[{}]", several.join(", "))),
    }
    let (first, joined) = (&one.delays.first, &one.delays.joined);
    if first == joined {
        if !first.pairs.is_empty() {
            row("speaks-after-ms", delay(first));
        }
    } else {
        row("speaks-after-ms", format!("{{ first = {}, joined = {} }}", delay(first), delay(joined)));
    }
    if one.overlap_ms != 0.0 {
        row("overlap-ms", one.overlap_ms.to_string());
    }
    if let Some(yes) = one.one_voice {
        row("one-voice", yes.to_string());
    }
    if let Some(range) = one.sounding {
        row("sounding", keys(range, middle_c));
    }
    if let Some(ms) = one.repeat_ms {
        row("repeat-ms", ms.to_string());
    }
    if let Some(own) = &one.dynamics {
        row("dynamics", dynamics(own));
    }
    out
}

fn dynamics(card: &DynamicsCard) -> String {
    let mut parts = Vec::new();
    if let Some(n) = card.controller {
        parts.push(format!("controller = {n}"));
    }
    if let Some(n) = card.expression {
        parts.push(format!("expression = {n}"));
    }
    if card.velocity {
        parts.push("velocity = true".into());
    }
    if card.response != DynamicsCard::default().response {
        parts.push(format!("response = {}", pairs(&card.response)));
    }
    if parts.is_empty() { "{}".into() } else { format!("{{ {} }}", parts.join(", ")) }
}

fn pairs(pairs: &[(u8, f64)]) -> String {
    let parts: Vec<String> = pairs.iter().map(|(a, b)| format!("[{a}, {b}]")).collect();
    format!("[{}]", parts.join(", "))
}

fn delay(curve: &DelayCurve) -> String {
    match curve.pairs[..] {
        [] => "0".into(),
        [(_, ms)] => ms.to_string(),
        _ => pairs(&curve.pairs),
    }
}

fn call(call: &Call, middle_c: i16) -> String {
    match call.kind {
        CallKind::Key { key, mode, velocity } => {
            let mode = match mode {
                KeyMode::Latch => "latch",
                KeyMode::Held => "held",
            };
            let struck = if velocity == 100 { String::new() } else { format!(", velocity = {velocity}") };
            format!("{{ key = {}, mode = \"{mode}\"{struck} }}", key_name(key, middle_c))
        }
        CallKind::Controller { number, value } => format!("{{ controller = [{number}, {value}] }}"),
        CallKind::Program { program, bank: None } => format!("{{ program = {program} }}"),
        CallKind::Program { program, bank: Some((msb, lsb)) } => {
            format!("{{ program = {program}, bank = [{msb}, {lsb}] }}")
        }
        CallKind::Channel { channel } => format!("{{ channel = {channel} }}"),
        CallKind::Velocity { low, high } => format!("{{ velocity = [{low}, {high}] }}"),
    }
}
