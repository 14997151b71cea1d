//! The patch cards of a cue as index cards: range, articulations, calls in words, delays, what is to be said of them.

use crate::{Cue, cards};
use ripieno_music::Colour;
use ripieno_plan::{ArticulationCard, Call, CallKind, DelayCurve, Diagnostic, KeyMode, Origin, PatchCard};
use std::collections::BTreeMap;

/// All cards of a cue.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Patches {
    /// One for each file, in the order in which chairs name them.
    pub cards: Vec<PatchView>,
    /// Ids and names of the chairs that have no card.
    pub without: Vec<(String, String)>,
    /// Ids and names of all chairs.
    pub chairs: Vec<(String, String)>,
    /// The chairs that have a recording in their place.
    pub prints: Vec<PrintView>,
}

/// A chair's print.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct PrintView {
    /// Id and name of the chair.
    pub chair: (String, String),
    /// The file, as the template names it.
    pub file: String,
    /// It is there.
    pub there: bool,
    /// It is moved to where the performance has it.
    pub align: bool,
}

/// One card.
#[derive(Clone, Debug, PartialEq)]
pub struct PatchView {
    /// Its file, as the template names it.
    pub file: String,
    /// The file's text.
    pub text: String,
    /// Why it cannot be written from here, if so.
    pub locked: Option<String>,
    /// The card.
    pub card: PatchCard,
    /// What is to be said of it.
    pub faults: Vec<Diagnostic>,
    /// Ids and names of its chairs.
    pub chairs: Vec<(String, String)>,
    /// Lowest and highest key that sounds, with the card's own names for them; none where all keys sound.
    pub range: Option<((u8, String), (u8, String))>,
    /// How dynamics are told, in words.
    pub dynamics: String,
    /// Its articulations.
    pub articulations: Vec<Articulation>,
}

/// An articulation in words.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Articulation {
    /// Its name, with its colour.
    pub name: String,
    /// What calls it.
    pub call: String,
    /// Its delay.
    pub delay: String,
    /// Its overlap or gap; empty if it has none.
    pub overlap: String,
    /// What else it says of itself.
    pub more: String,
}

/// The cards of a cue, read from the disk as they are now. A file that is gone is left out: the cue says so itself.
pub fn patches(cue: &Cue) -> Patches {
    let name = |id: &str| {
        let chair = cue.template.chairs.iter().find(|c| c.id == id);
        chair.and_then(|c| c.name.clone()).unwrap_or_else(|| id.to_string())
    };
    let pair = |id: &str| (id.to_string(), name(id));
    let mut of: BTreeMap<&str, Vec<(String, String)>> = BTreeMap::new();
    let mut files: Vec<&str> = Vec::new();
    for chair in &cue.template.chairs {
        for file in &chair.cards {
            if !files.contains(&file.as_str()) {
                files.push(file);
            }
            of.entry(file).or_default().push(pair(&chair.id));
        }
    }
    let one = |file: &&str| {
        let text = cards::read(cue, file).ok()?;
        let known = cue.card_as_read(&cue.beside_template().join(file), &text);
        let (card, faults) = known.unwrap_or_else(|| PatchCard::parse(file, &text));
        let mut view = patch_view(file, text, card, faults);
        view.locked = cards::writable(cue, file).err().map(|e| e.to_string());
        view.chairs = of.get(*file).cloned().unwrap_or_default();
        Some(view)
    };
    Patches {
        cards: files.iter().filter_map(one).collect(),
        without: cue.template.chairs.iter().filter(|c| c.cards.is_empty()).map(|c| pair(&c.id)).collect(),
        chairs: cue.template.chairs.iter().map(|c| pair(&c.id)).collect(),
        prints: cue
            .template
            .chairs
            .iter()
            .filter_map(|c| match &c.origin {
                Origin::Print { path, align, .. } => Some(PrintView {
                    chair: pair(&c.id),
                    file: path.clone(),
                    there: cue.print_path(path).is_file(),
                    align: *align,
                }),
                _ => None,
            })
            .collect(),
    }
}

/// A card as it is seen.
pub fn patch_view(file: &str, text: String, card: PatchCard, faults: Vec<Diagnostic>) -> PatchView {
    let range = card.sounding.map(|(low, high)| {
        let named = |key: u8| (key, key_in(key, card.middle_c));
        (named(low), named(high))
    });
    PatchView {
        file: file.to_string(),
        text,
        locked: None,
        faults,
        chairs: Vec::new(),
        range,
        dynamics: dynamics(&card),
        articulations: card.articulations.iter().map(|a| articulation(&card, a)).collect(),
        card,
    }
}

/// A key by the card's own octave names.
fn key_in(key: u8, middle_c: i16) -> String {
    ripieno_music::key_name(i16::from(key) + 12 * (middle_c - 4))
}

fn dynamics(card: &PatchCard) -> String {
    let d = &card.dynamics;
    let mut words = Vec::new();
    if let Some(n) = d.controller {
        words.push(format!("controller {n}"));
    }
    if d.velocity {
        words.push("velocity".into());
    }
    let mut out = if words.is_empty() { "none".into() } else { words.join(" and ") };
    if let Some(n) = d.expression {
        out.push_str(&format!(", expression on controller {n}"));
    }
    out
}

fn articulation(card: &PatchCard, one: &ArticulationCard) -> Articulation {
    let colour = one.colour.map(colour_word).map_or(String::new(), |c| format!(", {c}"));
    let calls: Vec<String> = one.calls.iter().map(|c| call(c, card.middle_c)).collect();
    let mut more = Vec::new();
    if one.one_voice == Some(true) && !card.one_voice {
        more.push("one voice".to_string());
    }
    if let Some((low, high)) = one.sounding {
        more.push(format!("{} to {}", key_in(low, card.middle_c), key_in(high, card.middle_c)));
    }
    if let Some(ms) = one.repeat_ms {
        more.push(format!("repeats after {ms} ms"));
    }
    Articulation {
        name: format!("{}{colour}", one.name),
        call: if calls.is_empty() { "when nothing is called".into() } else { calls.join(" and ") },
        delay: match (curve(&one.delays.first), curve(&one.delays.joined)) {
            (a, b) if a == b => a,
            (a, b) => format!("{a}, joined {b}"),
        },
        overlap: match one.overlap_ms {
            ms if ms > 0.0 => format!("overlap {ms} ms"),
            ms if ms < 0.0 => format!("gap {} ms", -ms),
            _ => String::new(),
        },
        more: more.join(", "),
    }
}

fn colour_word(colour: Colour) -> String {
    colour.word().to_string()
}

fn curve(delay: &DelayCurve) -> String {
    match delay.pairs.as_slice() {
        [] => "at once".into(),
        [(_, 0.0)] => "at once".into(),
        [(_, ms)] => format!("{ms} ms"),
        [(soft, a), .., (loud, b)] => format!("{a} ms (velocity {soft}) to {b} ms ({loud})"),
    }
}

/// A call in words.
fn call(call: &Call, middle_c: i16) -> String {
    match call.kind {
        CallKind::Key { key, mode, velocity } => {
            let verb = if mode == KeyMode::Held { "hold" } else { "press" };
            let at = if velocity == 100 { String::new() } else { format!(" at velocity {velocity}") };
            format!("{verb} {}{at}", key_in(key, middle_c))
        }
        CallKind::Controller { number, value } => format!("controller {number} at {value}"),
        CallKind::Program { program, bank: None } => format!("program {program}"),
        CallKind::Program { program, bank: Some((msb, lsb)) } => {
            format!("program {program} of bank {msb}, {lsb}")
        }
        CallKind::Channel { channel } => format!("channel {channel}"),
        CallKind::Velocity { low, high } => format!("velocity {low} to {high}"),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_card_in_words() {
        let text = r#"
patch = "Mine"
instrument = "clarinet"
middle-c = "C3"
sounding = ["D2", "Bb5"]
[[articulation]]
name = "legato"
call = { key = "C0", mode = "held" }
speaks-after-ms = { first = 40, joined = [[1, 250], [100, 90]] }
overlap-ms = 40
[[articulation]]
name = "staccato"
call = [{ controller = [32, 5] }, { velocity = [1, 63] }]
overlap-ms = -10
[[articulation]]
name = "sustain"
"#;
        let (card, faults) = PatchCard::parse("x.toml", text);
        assert!(faults.iter().all(|f| f.warning), "{faults:?}");
        let view = patch_view("x.toml", text.into(), card, faults);
        assert_eq!(view.range, Some(((50, "D2".into()), (94, "Bb5".into()))));
        let a = &view.articulations;
        assert_eq!(
            (a[0].call.as_str(), a[0].delay.as_str(), a[0].overlap.as_str()),
            ("hold C0", "40 ms, joined 250 ms (velocity 1) to 90 ms (100)", "overlap 40 ms")
        );
        assert_eq!(a[1].call, "controller 32 at 5 and velocity 1 to 63");
        assert_eq!((a[1].overlap.as_str(), a[1].delay.as_str()), ("gap 10 ms", "at once"));
        assert_eq!(a[2].call, "when nothing is called");
    }
}
