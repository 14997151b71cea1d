//! A patch card from a pasted list of switches, as manuals print them.


use crate::{Diagnostic, Span};
use ripieno_music::{Colour, Playing, parse_key, words};
use std::fmt::Write as _;

/// Writes a card as TOML from a list of switches, one a line or several with commas between: `C0 legato`,
/// `C#0: stacc.`, `24 pizz`, `CC32 = 5 con sord`, `Ch 3 spiccato`, `vel 1-63 staccato`, `PC 12 marcato`. Octaves are taken as
/// the scientific convention counts them (middle C is C4). What cannot be read is kept as a comment, with a complaint.
pub fn card_from_list(text: &str) -> (String, Vec<Diagnostic>) {
    let mut card = String::from(
        "patch    = \"My patch\"        # its name\n\
         middle-c = \"C4\"              # the name that the list gives MIDI key 60: change it if its octaves are counted otherwise\n",
    );
    let mut found = Vec::new();
    let mut at = 0;
    let mut count = 0;
    for line in text.split_inclusive('\n') {
        let mut offset = at;
        at += line.len();
        for piece in line.split(',') {
            let trimmed = piece.trim();
            let start = offset + piece.len() - piece.trim_start().len();
            offset += piece.len() + 1;
            if trimmed.is_empty()
                || trimmed.starts_with('#') && !trimmed[1..].starts_with(|c: char| c.is_ascii_digit())
            {
                continue;
            }
            match read(trimmed) {
                Some((call, name, colour)) => {
                    count += 1;
                    let _ = write!(
                        card,
                        "\n[[articulation]]                # {}\nname = \"{name}\"\n",
                        trimmed.replace('\r', "")
                    );
                    if let Some(colour) = colour {
                        let _ = writeln!(card, "colour = \"{}\"", colour.word());
                    }
                    let _ = writeln!(card, "call = {call}");
                }
                None => {
                    let _ = write!(card, "\n# not read: {}\n", trimmed.replace('\r', ""));
                    let (line, column) = crate::diagnostic::Lines::new(text).place(start);
                    found.push(Diagnostic {
                        file: "list".into(),
                        line,
                        column,
                        span: Span { start, end: start + trimmed.len() },
                        message: format!("`{trimmed}` is no switch and name"),
                        help: "write a key, CC, PC, Ch or vel, and a name: C0 legato".into(),
                        warning: true,
                    });
                }
            }
        }
    }
    if count == 0 {
        card.push_str("\n[[articulation]]\nname = \"sustain\"\n");
    }
    (card, found)
}

/// Call as TOML, name, colour.
fn read(text: &str) -> Option<(String, String, Option<Colour>)> {
    let cleaned: String =
        text.chars().map(|c| if matches!(c, ':' | '=' | '\t' | '|' | '–' | '—') { ' ' } else { c }).collect();
    let tokens: Vec<&str> = cleaned.split_whitespace().filter(|t| *t != "-").collect();
    let number = |t: &str| t.parse::<u8>().ok().filter(|n| *n <= 127);
    let first = tokens.first()?.to_lowercase();
    let split = |prefix: &str| {
        first
            .strip_prefix(prefix)
            .filter(|r| r.is_empty() || r.chars().all(|c| c.is_ascii_digit() || c == '-'))
    };
    // A word and its number, together or apart: `CC32`, `CC 32`.
    let word_number = |prefixes: &[&str]| -> Option<(String, usize)> {
        let rest = prefixes.iter().find_map(|p| split(p))?;
        if rest.is_empty() { Some((tokens.get(1)?.to_string(), 2)) } else { Some((rest.to_string(), 1)) }
    };
    let (call, used) = if let Some((n, used)) = word_number(&["cc", "controller"]) {
        let value = number(tokens.get(used)?)?;
        (format!("{{ controller = [{}, {value}] }}", number(&n)?), used + 1)
    } else if let Some((n, used)) = word_number(&["pc", "program", "prog"]) {
        (format!("{{ program = {} }}", number(&n)?), used)
    } else if let Some((n, used)) = word_number(&["ch", "channel", "chan"]) {
        let channel = number(&n).filter(|c| (1..=16).contains(c))?;
        (format!("{{ channel = {channel} }}"), used)
    } else if let Some((n, used)) = word_number(&["velocity", "vel"]) {
        let (low, high) = n.split_once('-')?;
        (format!("{{ velocity = [{}, {}] }}", number(low)?.max(1), number(high)?), used)
    } else {
        let key = tokens.first()?;
        parse_key(key, 4)?;
        let written = if number(key).is_some() { (*key).to_string() } else { format!("\"{key}\"") };
        (format!("{{ key = {written}, mode = \"latch\" }}"), 1)
    };
    let mut rest = tokens.get(used..)?.to_vec();
    let mut call = call;
    if let Some(i) =
        rest.iter().position(|t| matches!(t.to_lowercase().as_str(), "held" | "(held)" | "hold" | "(hold)"))
    {
        rest.remove(i);
        call = call.replace("\"latch\"", "\"held\"");
    }
    let name = rest.join(" ");
    if name.is_empty() {
        return None;
    }
    let (name, colour) = normal(&name);
    Some((call, name, colour))
}

/// A manual's name in the words of cards.
fn normal(name: &str) -> (String, Option<Colour>) {
    let mut colour = None;
    let mut articulation: Option<String> = None;
    let lower = name.to_lowercase();
    let mut states: Vec<Playing> = words::mark(&lower).into_iter().collect();
    if states.is_empty() {
        states = words::playing(&lower);
    }
    for state in states {
        let word = match state {
            Playing::ConSord => {
                colour = Some(Colour::ConSord);
                continue;
            }
            Playing::SulPont => {
                colour = Some(Colour::SulPont);
                continue;
            }
            Playing::SulTasto => {
                colour = Some(Colour::SulTasto);
                continue;
            }
            Playing::Harmonics => {
                colour = Some(Colour::Harmonics);
                continue;
            }
            Playing::ColLegnoBattuto | Playing::ColLegnoTratto => {
                colour = Some(Colour::ColLegno);
                continue;
            }
            Playing::Flutter => {
                colour = Some(Colour::Flutter);
                continue;
            }
            Playing::Stopped => {
                colour = Some(Colour::Stopped);
                continue;
            }
            Playing::NonVib => {
                colour = Some(Colour::NonVib);
                continue;
            }
            Playing::Pizz => "pizzicato",
            Playing::Trem(true) => "tremolo",
            Playing::Legato => "legato",
            Playing::Staccato => "staccato",
            Playing::Staccatissimo => "staccatissimo",
            Playing::Spiccato => "spiccato",
            Playing::Portato => "portato",
            Playing::Marcato => "marcato",
            Playing::Detache | Playing::Tenuto => "detache",
            Playing::Roll => "roll",
            Playing::Swell => "swell",
            _ => continue,
        };
        articulation = Some(word.to_string());
    }
    let trill = lower.contains("trill") || lower.split_whitespace().any(|w| w == "tr" || w == "tr.");
    if trill {
        let half = ["1", "half", "semi", "minor", "ht", "m2"].iter().any(|w| lower.contains(w));
        articulation = Some(if half { "trill-1".into() } else { "trill-2".into() });
    }
    let plain = ["sustain", "sus", "long", "longs", "accent", "glissando", "gliss", "swell"];
    if articulation.is_none()
        && let Some(word) = lower.split(|c: char| !c.is_alphabetic()).find(|w| plain.contains(w))
    {
        articulation = Some(
            match word {
                "sus" | "long" | "longs" => "sustain",
                "gliss" => "glissando",
                w => w,
            }
            .to_string(),
        );
    }
    let slug = || {
        let words: Vec<String> = lower
            .split(|c: char| !c.is_alphanumeric())
            .filter(|w| !w.is_empty())
            .map(str::to_string)
            .collect();
        words.join("-")
    };
    let name = match (articulation, colour) {
        (Some(name), _) => name,
        (None, Some(_)) => "sustain".into(),
        (None, None) => slug(),
    };
    (if name.is_empty() { "sustain".into() } else { name }, colour)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::PatchCard;

    #[test]
    fn a_manuals_list() {
        let list = "C0 legato, C#0 stacc.\nD0: Tremolo\n24 pizz\nCC32 = 5 con sord\nCh 3 spiccato\nvel 1-63 staccatissimo\nPC 12 marcato\nF#0 half tone trill (held)\nbroken line\n";
        let (card, found) = card_from_list(list);
        assert_eq!(found.len(), 1, "{found:?}");
        assert_eq!((found[0].line, found[0].column), (9, 1));
        let (card, faults) = PatchCard::parse("card.toml", &card);
        assert!(faults.iter().all(|f| f.warning), "{faults:?}");
        let names: Vec<&str> = card.articulations.iter().map(|a| a.name.as_str()).collect();
        assert_eq!(
            names,
            [
                "legato",
                "staccato",
                "tremolo",
                "pizzicato",
                "sustain",
                "spiccato",
                "staccatissimo",
                "marcato",
                "trill-1"
            ]
        );
        assert_eq!(card.articulations[4].colour, Some(Colour::ConSord));
    }
}
