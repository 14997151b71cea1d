//! `barline`: repeats, endings, double bars, signs.

use super::sheet::BarFacts;
use super::xml::{child, child_text, has, text, yes};
use roxmltree::Node;

/// A repeat sign at the end of a bar.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Backward {
    /// How often the section is played in all.
    pub times: u32,
    /// Taken again after da capo and dal segno.
    pub after_jump: bool,
}

/// Where a jump leads.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum Jump {
    DaCapo,
    DalSegno,
}

/// The title of a part of a piece, as a word over a bar.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum Heading {
    Movement,
    Trio,
}

/// What in a bar changes the order of playing.
#[derive(Clone, Debug, Default, PartialEq)]
pub(super) struct Signs {
    pub forward: bool,
    pub backward: Option<Backward>,
    /// The repeat signs seen on the sides where they belong to the neighbour.
    pub forward_next: bool,
    pub backward_before: Option<Backward>,
    /// An ending begins here, for these passes.
    pub ending: Option<Vec<u32>>,
    pub ending_stops: bool,
    pub segno: bool,
    pub segno_next: bool,
    pub coda: bool,
    pub coda_next: bool,
    pub to_coda: bool,
    pub fine: bool,
    pub jump: Option<Jump>,
    /// The jump says what is played again: `Menuetto D.C.`
    pub jump_names: bool,
    pub heading: Option<Heading>,
    pub heading_next: Option<Heading>,
    /// A final barline (thin and thick), with or without repeat.
    pub closes: bool,
}

impl Signs {
    /// What the next part shows at the same bar: the first ending counts, and the last repeat and jump.
    pub fn join(&mut self, next: Self) {
        let either = [
            (&mut self.forward, next.forward),
            (&mut self.forward_next, next.forward_next),
            (&mut self.ending_stops, next.ending_stops),
            (&mut self.segno, next.segno),
            (&mut self.segno_next, next.segno_next),
            (&mut self.coda, next.coda),
            (&mut self.coda_next, next.coda_next),
            (&mut self.to_coda, next.to_coda),
            (&mut self.fine, next.fine),
            (&mut self.closes, next.closes),
            (&mut self.jump_names, next.jump_names),
        ];
        for (own, further) in either {
            *own |= further;
        }
        self.backward = next.backward.or(self.backward);
        self.backward_before = next.backward_before.or(self.backward_before);
        self.jump = next.jump.or(self.jump);
        self.heading = self.heading.or(next.heading);
        self.heading_next = self.heading_next.or(next.heading_next);
        if self.ending.is_none() {
            self.ending = next.ending;
        }
    }
}

/// The numbers in a list such as `1, 2` or `1-3`.
pub(super) fn numbers(list: &str) -> Vec<u32> {
    let mut found: Vec<u32> = Vec::new();
    for piece in list.split(|c: char| !c.is_ascii_digit() && c != '-').filter(|p| !p.is_empty()) {
        let mut ends =
            piece.split('-').filter_map(|n| n.parse::<u32>().ok()).filter(|n| (1..=1_000).contains(n));
        if let Some(from) = ends.next() {
            let to = ends.next().unwrap_or(from).max(from).min(from + 64);
            found.extend(from..=to);
        }
    }
    found.truncate(256);
    found
}

pub(super) fn read(node: Node<'_, '_>, facts: &mut BarFacts) {
    let left = node.attribute("location") == Some("left");
    let middle = node.attribute("location") == Some("middle");
    let style = child_text(node, "bar-style").unwrap_or("regular");
    let repeat = child(node, "repeat");
    if matches!(style, "light-light" | "light-heavy" | "heavy-light" | "heavy-heavy" | "heavy") && !middle {
        facts.double[usize::from(!left)] = true;
    }
    let signs = &mut facts.signs;
    signs.closes |= !left && !middle && matches!(style, "light-heavy" | "heavy-heavy");
    if let Some(repeat) = repeat {
        match repeat.attribute("direction") {
            Some("forward") if left || middle => signs.forward = true,
            Some("forward") => signs.forward_next = true,
            Some("backward") => {
                let times = repeat.attribute("times").and_then(|t| t.trim().parse().ok()).unwrap_or(2);
                let back = Backward { times: u32::max(times, 2), after_jump: yes(repeat, "after-jump") };
                if left { signs.backward_before = Some(back) } else { signs.backward = Some(back) }
            }
            _ => {}
        }
    }
    if let Some(ending) = child(node, "ending") {
        match ending.attribute("type") {
            Some("start") => {
                let mut passes = numbers(ending.attribute("number").unwrap_or(""));
                if passes.is_empty() {
                    passes = numbers(text(ending));
                }
                if signs.ending.is_none() {
                    signs.ending = Some(passes);
                }
            }
            Some("stop" | "discontinue") => signs.ending_stops = true,
            _ => {}
        }
    }
    if has(node, "segno") {
        if left { signs.segno = true } else { signs.segno_next = true }
    }
    if has(node, "coda") {
        if left { signs.coda = true } else { signs.coda_next = true }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ending_numbers() {
        assert_eq!(numbers("1, 2"), [1, 2]);
        assert_eq!(numbers("1.,3."), [1, 3]);
        assert_eq!(numbers("1-3"), [1, 2, 3]);
        assert_eq!(numbers("33"), [33]);
        assert!(numbers("").is_empty());
        assert!(numbers("0").is_empty());
    }
}
