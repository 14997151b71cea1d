//! A patch card from a pasted list of switches, as manuals print them.

use crate::diagnostic::Lines;
use crate::switch_name::normal;
use crate::toml::quoted;
use crate::{CallKind, Diagnostic, PatchCard, Span};
use ripieno_music::parse_key;
use std::fmt::Write as _;

/// Writes a card as TOML from a list of switches, one a line or several with commas between: `C0 legato`,
/// `C#0: stacc.`, `D#0 - Tremolo`, `24 pizz`, `CC32 = 5 con sord`, `Ch 3 spiccato`, `vel 1-63 staccato`, `PC 12 marcato`;
/// the name may also come first. `(held)` marks a key that is held. A line `middle C = C3` says how octaves are counted;
/// else middle C is C4, or C3 where a key needs that. What cannot be read is kept as a comment, with a complaint; so is a list
/// without a switch. `file` is the list's, as the user names it.
pub fn card_from_list(file: &str, text: &str) -> (String, Vec<Diagnostic>) {
    let middle_c = middle_c(text);
    let mut list = List {
        file,
        text,
        lines: Lines::new(text),
        middle_c,
        card: String::new(),
        found: Vec::new(),
        taken: Vec::new(),
    };
    let mut at = 0;
    for line in text.split_inclusive('\n') {
        let plain = line.trim().trim_start_matches(['*', '•', '·']);
        if !is_comment(plain) && own_middle_c(plain).is_none() {
            for (offset, piece) in pieces(line, middle_c) {
                list.piece(at + offset, piece);
            }
        }
        at += line.len();
    }
    if list.taken.is_empty() {
        let message = "no switch is in this list".to_string();
        let help = "write one a line, its key or controller and its name: C0 legato".to_string();
        list.found.push(Diagnostic::at(file, text, Span::default(), message, help));
        list.card.push_str("\n[[articulation]]\nname = \"sustain\"\n");
    }
    (format!("{}{}", list.head(), list.card), list.found)
}

struct List<'t> {
    file: &'t str,
    text: &'t str,
    lines: Lines<'t>,
    middle_c: i16,
    card: String,
    found: Vec<Diagnostic>,
    /// Calls and names that are in the card.
    taken: Vec<(CallKind, String)>,
}

impl List<'_> {
    fn head(&self) -> String {
        let middle_c = self.middle_c;
        let mut head = format!(
            "patch    = \"My patch\"    # its name\n\
             middle-c = \"C{middle_c}\"          # what the list calls MIDI key 60: change it if its octaves are counted otherwise\n"
        );
        // A controller that calls cannot carry the dynamics, which it does by default.
        let calls = |n: u8| {
            self.taken.iter().any(|(c, _)| matches!(c, CallKind::Controller { number, .. } if *number == n))
        };
        let dynamics = match (calls(1), calls(11)) {
            (false, false) => return head,
            (true, false) => "controller = 11",
            (false, true) => "controller = 1",
            (true, true) => "velocity = true",
        };
        let _ = writeln!(
            head,
            "dynamics = {{ {dynamics} }}    # what carries the dynamics: correct it if need be"
        );
        head
    }

    fn piece(&mut self, at: usize, piece: &str) {
        let start = at + piece.len() - piece.trim_start().len();
        let shown = shown(piece);
        match read(piece, self.middle_c) {
            Err(Trouble { message, help }) => {
                self.pass_over(start, piece.trim().len(), &shown, message, help)
            }
            Ok(switch) => {
                let clash = self
                    .taken
                    .iter()
                    .find(|(call, _)| clashes(*call, switch.kind))
                    .map(|(_, name)| name.clone());
                if let Some(name) = clash {
                    let message = format!("`{shown}` shares its call with `{name}`");
                    self.pass_over(
                        start,
                        piece.trim().len(),
                        &shown,
                        message,
                        "give each a call of its own".into(),
                    );
                    return;
                }
                self.add(switch, &shown);
            }
        }
    }

    fn add(&mut self, switch: Switch, shown: &str) {
        let label = |name: &str| match switch.colour {
            Some(colour) => format!("{name} {}", colour.word()),
            None => name.to_string(),
        };
        // A name that is there already: the list's own words tell the two apart; else a number.
        let is_taken = |name: &str| self.taken.iter().any(|(_, n)| *n == label(name));
        let own = [switch.name.clone(), switch.own_words.clone()];
        let numbered = (2..).map(|n| format!("{}-{n}", switch.name));
        let name = own.into_iter().chain(numbered).find(|n| !is_taken(n)).unwrap_or_default();
        let _ = write!(self.card, "\n[[articulation]]    # {shown}\nname = {}\n", quoted(&name));
        if let Some(colour) = switch.colour {
            let _ = writeln!(self.card, "colour = \"{}\"", colour.word());
        }
        let _ = writeln!(self.card, "call = {}", switch.call);
        let label = label(&name);
        self.taken.push((switch.kind, label));
    }

    fn pass_over(&mut self, start: usize, length: usize, shown: &str, message: String, help: String) {
        let _ = write!(self.card, "\n# not read: {shown}\n");
        let (line, column) = self.lines.place(start);
        let span = Span { start, end: (start + length).min(self.text.len()) };
        self.found.push(Diagnostic {
            file: self.file.into(),
            line,
            column,
            span,
            message,
            help,
            warning: true,
        });
    }
}

/// As one line of a comment: no control characters, no more than a line's length.
fn shown(piece: &str) -> String {
    let line: String = piece.trim().chars().map(|c| if c.is_control() { ' ' } else { c }).take(120).collect();
    line
}

/// `# …` and `// …`, but not a key such as `#0`.
fn is_comment(line: &str) -> bool {
    line.is_empty()
        || line.starts_with("//")
        || line.strip_prefix('#').is_some_and(|r| !r.starts_with(|c: char| c.is_ascii_digit()))
}

/// `middle C = C3`, `C3 = 60`, `C3 = middle C`.
fn own_middle_c(line: &str) -> Option<i16> {
    let lower = line.to_lowercase();
    let octave = |word: &str| word.strip_prefix('c')?.parse::<i16>().ok().filter(|o| (-1..=8).contains(o));
    let words: Vec<&str> = lower
        .split(|c: char| c.is_whitespace() || matches!(c, '=' | ':' | ',' | '(' | ')'))
        .filter(|w| !w.is_empty())
        .collect();
    let says = words.windows(2).any(|w| w == ["middle", "c"])
        || words.first().is_some_and(|w| octave(w).is_some()) && words.get(1..) == Some(&["60"]);
    words.iter().find_map(|w| octave(w)).filter(|_| says)
}

fn middle_c(text: &str) -> i16 {
    let lowest = |line: &str| {
        line.split(|c: char| c.is_whitespace() || matches!(c, ',' | ':' | '=' | '|'))
            .any(|w| w.ends_with("-2") && parse_key(w, 3).is_some() && parse_key(w, 4).is_none())
    };
    text.lines().find_map(own_middle_c).unwrap_or(if text.lines().any(lowest) { 3 } else { 4 })
}

/// A line at its commas and semicolons, where a switch begins or ends: names may hold commas of their own.
fn pieces(line: &str, middle_c: i16) -> Vec<(usize, &str)> {
    let mut out: Vec<(usize, &str)> = Vec::new();
    let mut start = 0;
    let cuts = line.match_indices([',', ';']).map(|(i, _)| i).chain([line.len()]);
    for cut in cuts {
        let piece = &line[start..cut];
        match out.last_mut() {
            Some((from, whole))
                if cut - *from < 200
                    && (read(piece, middle_c).is_err() || read(whole, middle_c).is_err())
                    && read(&line[*from..cut], middle_c).is_ok() =>
            {
                *whole = &line[*from..cut];
            }
            _ if piece.trim().is_empty() => {}
            _ => out.push((start, piece)),
        }
        start = (cut + 1).min(line.len());
    }
    out
}

struct Switch {
    kind: CallKind,
    /// The call as TOML.
    call: String,
    name: String,
    colour: Option<ripieno_music::Colour>,
    /// The list's own words, as one name.
    own_words: String,
}

struct Trouble {
    message: String,
    help: String,
}

fn read(piece: &str, middle_c: i16) -> Result<Switch, Trouble> {
    let plain: String = piece
        .chars()
        .map(|c| if matches!(c, ':' | '=' | '\t' | '|' | '–' | '—' | '→') { ' ' } else { c })
        .collect();
    let plain = plain.replace("->", " ");
    let dash = |t: &&str| !matches!(*t, "-" | "•" | "*" | "·");
    let mut tokens: Vec<&str> = plain.split_whitespace().filter(dash).collect();
    let held = |t: &&str| matches!(t.to_lowercase().trim_matches(['(', ')']), "held" | "hold" | "momentary");
    let is_held = tokens.iter().any(held);
    tokens.retain(|t| !held(t) && !matches!(t.to_lowercase().as_str(), "(latch)" | "(latching)"));
    let trouble = |message: String| {
        let help = "write a key, CC, PC, Ch or vel, then a name: C0 legato".to_string();
        Trouble { message, help }
    };
    // The call at the front, or at the end.
    let mut found = None;
    for from in (0..tokens.len()).filter(|i| *i == 0 || *i + 4 >= tokens.len()) {
        if let Some((kind, used)) = call(&tokens[from..], middle_c)
            && (from == 0 || from + used == tokens.len())
        {
            found = Some((kind, from..from + used));
            break;
        }
    }
    let shown = shown(piece);
    let Some((kind, used)) = found else { return Err(trouble(format!("`{shown}` is no switch and name"))) };
    let written = tokens[used.clone()].join(" ");
    let rest: Vec<&str> = tokens[..used.start].iter().chain(&tokens[used.end..]).copied().collect();
    let name = rest.join(" ");
    if !name.chars().any(char::is_alphanumeric) {
        return Err(trouble(format!("`{shown}` has no name")));
    }
    let (name, colour, own_words) = normal(&name);
    let kind = match kind {
        CallKind::Key { key, velocity, .. } if is_held => {
            CallKind::Key { key, mode: crate::KeyMode::Held, velocity }
        }
        other => other,
    };
    Ok(Switch { kind, call: toml_of(kind, &written, middle_c), name, colour, own_words })
}

/// The call as TOML; a key keeps the name that the list gives it.
fn toml_of(kind: CallKind, written: &str, middle_c: i16) -> String {
    let mut card = PatchCard::plain("");
    card.middle_c = middle_c;
    match kind {
        CallKind::Key { key, mode, .. } => {
            let name = match written.parse::<u8>() {
                Ok(_) => key.to_string(),
                Err(_) => quoted(written),
            };
            let mode = if mode == crate::KeyMode::Held { "held" } else { "latch" };
            format!("{{ key = {name}, mode = \"{mode}\" }}")
        }
        CallKind::Controller { number, value } => format!("{{ controller = [{number}, {value}] }}"),
        CallKind::Program { program, .. } => format!("{{ program = {program} }}"),
        CallKind::Channel { channel } => format!("{{ channel = {channel} }}"),
        CallKind::Velocity { low, high } => format!("{{ velocity = [{low}, {high}] }}"),
    }
}

fn number(text: &str) -> Option<u8> {
    text.trim_matches(['(', ')', '#', '.']).parse::<u8>().ok().filter(|n| *n <= 127)
}

/// `5`, or the middle of `0-15`.
fn value(text: &str) -> Option<u8> {
    number(text).or_else(|| {
        let (low, high) = range(text)?;
        Some((low + high) / 2)
    })
}

fn range(text: &str) -> Option<(u8, u8)> {
    let (low, high) = text.split_once(['-', '–']).or_else(|| text.split_once(".."))?;
    Some((number(low)?, number(high)?)).filter(|(low, high)| low <= high)
}

/// Reads a call at the front of the words, and how many it takes.
fn call(tokens: &[&str], middle_c: i16) -> Option<(CallKind, usize)> {
    let first = tokens.first()?.to_lowercase();
    // A word and its number, together or apart: `CC32`, `CC 32`.
    let after = |words: &[&str]| -> Option<(String, usize)> {
        let rest = words.iter().find_map(|w| first.strip_prefix(w))?.trim_start_matches(['.', '#']);
        match rest.is_empty() {
            true => Some((tokens.get(1)?.trim_start_matches('#').to_string(), 2)),
            false => rest.starts_with(|c: char| c.is_ascii_digit()).then(|| (rest.to_string(), 1)),
        }
    };
    if let Some((n, used)) = after(&["controller", "cc"]) {
        // `CC32 = 5`, `CC32 value 5`.
        let skip = usize::from(
            tokens.get(used).is_some_and(|t| matches!(t.to_lowercase().as_str(), "value" | "val" | "at")),
        );
        let value = value(tokens.get(used + skip)?)?;
        return Some((CallKind::Controller { number: number(&n)?, value }, used + skip + 1));
    }
    if let Some((n, used)) = after(&["program", "prog", "pc"]) {
        return Some((CallKind::Program { program: number(&n)?, bank: None }, used));
    }
    if let Some((n, used)) = after(&["channel", "chan", "ch"]) {
        let channel = number(&n).filter(|c| (1..=16).contains(c))?;
        return Some((CallKind::Channel { channel }, used));
    }
    if let Some((n, used)) = after(&["velocity", "vel"]) {
        let (low, high) = range(&n)?;
        return (high > 0).then_some((CallKind::Velocity { low: low.max(1), high }, used));
    }
    let key = parse_key(tokens.first()?, middle_c)?;
    Some((CallKind::Key { key, mode: crate::KeyMode::Latch, velocity: 100 }, 1))
}

fn clashes(a: CallKind, b: CallKind) -> bool {
    match (a, b) {
        (CallKind::Key { key: a, .. }, CallKind::Key { key: b, .. }) => a == b,
        (CallKind::Velocity { low: a, high: b }, CallKind::Velocity { low: c, high: d }) => a <= d && c <= b,
        (a, b) => a == b,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use ripieno_music::Colour;

    fn card(list: &str) -> (PatchCard, Vec<String>) {
        let (text, found) = card_from_list("list.txt", list);
        let (card, faults) = PatchCard::parse("card.toml", &text);
        assert!(faults.iter().all(|f| f.warning), "{text}\n{faults:?}");
        (card, found.iter().map(|d| format!("{}:{} {}", d.line, d.column, d.message)).collect())
    }

    fn names(card: &PatchCard) -> Vec<&str> {
        card.articulations.iter().map(|a| a.name.as_str()).collect()
    }

    #[test]
    fn a_manuals_list() {
        let list = "C0 legato, C#0 stacc.\nD0: Tremolo\n24 pizz\nCC32 = 5 con sord\nCh 3 spiccato\nvel 1-63 staccatissimo\nPC 12 marcato\nF#0 half tone trill (held)\nbroken line\n";
        let (card, found) = card(list);
        assert_eq!(found, ["9:1 `broken line` is no switch and name"]);
        let expected = [
            "legato",
            "staccato",
            "tremolo",
            "pizzicato",
            "sustain",
            "spiccato",
            "staccatissimo",
            "marcato",
            "trill-1",
        ];
        assert_eq!(names(&card), expected);
        assert_eq!(card.articulations[4].colour, Some(Colour::ConSord));
        let kinds: Vec<CallKind> = card.articulations.iter().flat_map(|a| &a.calls).map(|c| c.kind).collect();
        assert_eq!(kinds[4], CallKind::Controller { number: 32, value: 5 });
        assert_eq!(kinds[5], CallKind::Channel { channel: 3 });
        assert_eq!(kinds[6], CallKind::Velocity { low: 1, high: 63 });
        assert_eq!(kinds[7], CallKind::Program { program: 12, bank: None });
        assert_eq!(kinds[8], CallKind::Key { key: 18, mode: crate::KeyMode::Held, velocity: 100 });
    }

    #[test]
    fn names_and_calls_in_either_order() {
        let (card, found) =
            card("Sustain: C-1\n1. legato\n- Pizzicato | D#0\nSul ponticello, long = CC 3 value 0-63\n");
        assert_eq!(found, ["2:1 `1. legato` is no switch and name"]);
        assert_eq!(names(&card), ["sustain", "pizzicato", "sustain"]);
        assert_eq!(card.articulations[2].colour, Some(Colour::SulPont));
        assert_eq!(card.articulations[2].calls[0].kind, CallKind::Controller { number: 3, value: 31 });
    }

    #[test]
    fn octaves_as_the_list_counts_them() {
        assert_eq!(
            card("Middle C = C3\nC0 legato").0.articulations[0].calls[0].kind,
            card("24 legato").0.articulations[0].calls[0].kind
        );
        let (low, found) = card("C-2 legato\nD-2 stacc");
        assert!(found.is_empty() && low.middle_c == 3, "{found:?}");
    }

    #[test]
    fn no_name_and_no_call_stands_twice() {
        let (card, found) = card("C0 legato slow\nD0 legato fast\nE0 legato fast\nE0 pizz\n");
        assert_eq!(names(&card), ["legato", "legato-fast", "legato-2"]);
        assert_eq!(found, ["4:1 `E0 pizz` shares its call with `legato-2`"]);
    }

    #[test]
    fn a_controller_that_calls_does_not_carry_the_dynamics() {
        assert_eq!(card("CC1 5 legato").0.dynamics.controller, Some(11));
        assert_eq!(card("CC11 5 legato").0.dynamics.controller, Some(1));
        let both = card("CC1 5 legato, CC11 5 stacc").0.dynamics;
        assert_eq!((both.controller, both.velocity), (None, true));
    }

    #[test]
    fn an_empty_list_is_a_card_all_the_same() {
        let (empty, found) = card("\n# nothing\n");
        assert_eq!(names(&empty), ["sustain"]);
        assert_eq!(found, ["1:1 no switch is in this list"]);
    }
}
