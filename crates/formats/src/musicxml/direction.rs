//! `direction` and `sound`.

use super::barline::{Heading, Jump, Signs};
use super::header::spaced;
use super::sheet::{BarFacts, NEAR, RawKind, RawTempo};
use super::walk::Walker;
use super::warn::Doubts;
use super::xml::{child, child_number, child_text, children, decimal, has, number, text, yes};
use ripieno_music::{Dynamic, Playing, TimeMarkKind};
use ripieno_units::Beats;
use roxmltree::Node;

/// The marks of a `dynamics` element. Old files write `fp` as two marks in one element.
pub(super) fn dynamics(node: Node<'_, '_>) -> Vec<Dynamic> {
    let words: Vec<&str> = node
        .children()
        .filter(Node::is_element)
        .map(|n| if n.tag_name().name() == "other-dynamics" { text(n) } else { n.tag_name().name() })
        .collect();
    match Dynamic::parse(&words.concat()) {
        Some(one) => vec![one],
        None => words.iter().filter_map(|w| Dynamic::parse(w)).collect(),
    }
}

impl Walker {
    pub fn direction(&mut self, node: Node<'_, '_>, facts: &mut BarFacts, doubts: &mut Doubts) {
        let offset = child_text(node, "offset").and_then(decimal).map_or(Beats::ZERO, |d| self.quarters(d));
        let at = (self.cursor + offset).max(Beats::ZERO);
        let staff = child_number::<u8>(node, "staff").filter(|s| *s > 0);
        let sound = child(node, "sound");
        let timed = sound.is_some_and(|s| s.attribute("tempo").is_some());
        // Dashes that begin in the same direction show how far its words reach.
        let dashes = children(node, "direction-type")
            .flat_map(|t| children(t, "dashes"))
            .find(|d| d.attribute("type") == Some("start"))
            .map(number);
        let metronome = children(node, "direction-type").any(|t| has(t, "metronome"));
        for kind in children(node, "direction-type") {
            let mut words = String::new();
            for item in kind.children().filter(Node::is_element) {
                self.direction_type(item, (at, staff), facts, doubts);
                match item.tag_name().name() {
                    "words" => join(&mut words, item.text().unwrap_or("")),
                    "metronome" if !timed => {
                        if let Some(tempo) = super::axis::metronome(item) {
                            facts.tempi.push((self.cursor, tempo, false));
                        }
                    }
                    _ => {}
                }
            }
            if !words.trim().is_empty() {
                self.words(&spaced(&words), (at, staff), dashes, timed || metronome, facts);
            }
        }
        if let Some(sound) = sound {
            let at = if child(node, "offset").is_some_and(|o| yes(o, "sound")) { at } else { self.cursor };
            self.sound(sound, at, facts, doubts);
        }
    }

    fn push(&mut self, place: (Beats, Option<u8>), kind: RawKind) {
        self.bar.directions.push((place.0, place.1, kind));
    }

    /// At the end of the bar, where it means the next.
    fn at_end(&self, at: Beats) -> bool {
        at.is_positive() && self.metre.is_some_and(|m| at >= m.bar())
    }

    fn direction_type(
        &mut self,
        item: Node<'_, '_>,
        place: (Beats, Option<u8>),
        facts: &mut BarFacts,
        doubts: &mut Doubts,
    ) {
        let kind = item.attribute("type").unwrap_or("");
        match item.tag_name().name() {
            "dynamics" => {
                for dynamic in dynamics(item) {
                    self.push(place, RawKind::Dynamic(dynamic));
                }
                // Words beside a level (`p dolce`, `sec`) stand in the same element.
                for other in children(item, "other-dynamics").map(text) {
                    if Dynamic::parse(other).is_none() && other.chars().any(char::is_alphabetic) {
                        let (text, words) = (spaced(other), super::words::meaning(other, None));
                        let plain = words.is_empty();
                        words.into_iter().for_each(|kind| self.push(place, kind));
                        if plain {
                            self.push(place, RawKind::Words(text));
                        }
                    }
                }
            }
            "wedge" => {
                let (number, niente) = (number(item), yes(item, "niente"));
                match kind {
                    "crescendo" => self.push(place, RawKind::WedgeStart { number, louder: true, niente }),
                    "diminuendo" => self.push(place, RawKind::WedgeStart { number, louder: false, niente }),
                    "stop" => self.push(place, RawKind::WedgeStop { number, niente }),
                    _ => {}
                }
            }
            "dashes" if kind == "stop" => self.push(place, RawKind::DashesStop(number(item))),
            "pedal" => match kind {
                "start" | "sostenuto" | "resume" => self.push(place, RawKind::PedalStart),
                "stop" | "discontinue" => self.push(place, RawKind::PedalStop),
                "change" => self.push(place, RawKind::PedalChange),
                _ => {}
            },
            "rehearsal" => facts.mark(place.0, TimeMarkKind::Rehearsal, spaced(text(item))),
            "segno" if self.at_end(place.0) => facts.signs.segno_next = true,
            "segno" => facts.signs.segno = true,
            "coda" if self.at_end(place.0) => facts.signs.coda_next = true,
            "coda" => facts.signs.coda = true,
            "string-mute" => {
                let playing = if kind == "off" { Playing::SenzaSord } else { Playing::ConSord };
                self.push(place, RawKind::Playing(playing));
            }
            "damp" | "damp-all" => self.push(place, RawKind::Playing(Playing::Damp)),
            "scordatura" => {
                self.doubt(doubts, "a scordatura is passed over: notes sound as they are written")
            }
            _ => {}
        }
    }

    fn words(
        &mut self,
        text: &str,
        place: (Beats, Option<u8>),
        dashes: Option<u8>,
        timed: bool,
        facts: &mut BarFacts,
    ) {
        jumps(text, &mut facts.signs);
        if let Some(heading) = heading(text) {
            let signs = &mut facts.signs;
            // Over the upbeat to what it names it stands behind the middle of the bar.
            let late = self.metre.is_some_and(|m| place.0 * 2 >= m.bar());
            let place = if late { &mut signs.heading_next } else { &mut signs.heading };
            *place = Some(heading);
        }
        let meaning = super::words::meaning(text, dashes);
        let tempo = timed || super::words::is_tempo(text);
        if tempo {
            facts.mark(place.0, TimeMarkKind::Tempo, text.to_owned());
        }
        if meaning.is_empty() && !tempo {
            self.push(place, RawKind::Words(text.to_owned()));
        }
        for kind in meaning {
            self.push(place, kind);
        }
    }

    pub fn sound(&mut self, node: Node<'_, '_>, at: Beats, facts: &mut BarFacts, doubts: &mut Doubts) {
        let own = child_text(node, "offset").and_then(decimal).map_or(Beats::ZERO, |d| self.quarters(d));
        let at = (at + own).max(Beats::ZERO);
        if let Some(tempo) = node.attribute("tempo") {
            match tempo.trim().parse::<f64>() {
                Ok(quarters) if quarters > 0.0 && quarters.is_finite() => {
                    facts.tempi.push((at, RawTempo::PerMinute(quarters), true));
                }
                _ => self.doubt(doubts, format!("a tempo of {tempo:?} is passed over")),
            }
        }
        let playing = match node.attribute("pizzicato") {
            Some("yes") => Some(Playing::Pizz),
            Some("no") => Some(Playing::Arco),
            _ => None,
        };
        if let Some(playing) = playing {
            let same = |d: &(Beats, Option<u8>, RawKind)| {
                d.0 == at && matches!(&d.2, RawKind::Playing(p) if *p == playing)
            };
            if !self.bar.directions.iter().rev().take(NEAR).any(same) {
                self.push((at, None), RawKind::Playing(playing));
            }
        }
        let end = self.at_end(at);
        let signs = &mut facts.signs;
        if yes(node, "dacapo") {
            signs.jump = Some(Jump::DaCapo);
        }
        if node.attribute("dalsegno").is_some() {
            signs.jump = Some(Jump::DalSegno);
        }
        signs.to_coda |= node.attribute("tocoda").is_some();
        signs.fine |= node.attribute("fine").is_some_and(|f| f != "no");
        if node.attribute("segno").is_some() {
            if end { signs.segno_next = true } else { signs.segno = true }
        }
        if node.attribute("coda").is_some() {
            if end { signs.coda_next = true } else { signs.coda = true }
        }
        signs.forward |= yes(node, "forward-repeat");
    }
}

/// Words of one direction, which writers cut where the type face changes.
fn join(words: &mut String, next: &str) {
    let open = words.chars().next_back().is_some_and(|c| !c.is_whitespace());
    let closed = next.chars().next().is_some_and(|c| c.is_alphanumeric());
    if open && closed {
        words.push(' ');
    }
    words.push_str(next);
}

/// Jumps in words, for files without `sound` elements.
fn jumps(text: &str, signs: &mut Signs) {
    let plain: String = text.to_lowercase().chars().filter(|c| c.is_alphabetic()).collect();
    let jump = |short: &str, long: &str| {
        plain.contains(long)
            || plain
                .strip_prefix(short)
                .is_some_and(|r| r.is_empty() || r.starts_with("al") || r.starts_with("sin"))
    };
    // `Men. D.C.`: the letters stand behind the name of what is played again.
    let capitals: String = text.chars().filter(|c| c.is_alphabetic() || *c == '.').collect();
    let behind = capitals.contains(".D.C") || capitals.ends_with("D.C") || capitals.ends_with("D.C.");
    if jump("dc", "dacapo") || behind {
        signs.jump = Some(Jump::DaCapo);
        signs.jump_names |= !(plain.starts_with("dc") || plain.starts_with("dacapo")) || dance(&plain);
    } else if jump("ds", "dalsegno") {
        signs.jump = Some(Jump::DalSegno);
    } else if plain == "fine" {
        signs.fine = true;
    } else if plain == "tocoda" || plain == "alcoda" {
        signs.to_coda = true;
    }
}

/// Names of movements that have a trio, or are one of several (common practice, no source).
const DANCES: &[&str] = &["menu", "minu", "scherz"];
const TITLES: &[&str] = &["finale", "rondo", "rondeau"];

fn dance(plain: &str) -> bool {
    DANCES.iter().any(|d| plain.contains(d))
}

/// The title of a movement or a trio: short, and no jump.
fn heading(text: &str) -> Option<Heading> {
    let words: Vec<String> =
        text.split(|c: char| !c.is_alphabetic()).filter(|w| !w.is_empty()).map(str::to_lowercase).collect();
    let capital = text.trim_start().starts_with(char::is_uppercase);
    if !capital
        || words.len() > 5
        || words.iter().any(|w| matches!(w.as_str(), "d" | "dc" | "capo" | "fine" | "al"))
    {
        return None;
    }
    match words.first()?.as_str() {
        "trio" => Some(Heading::Trio),
        first if TITLES.contains(&first) => Some(Heading::Movement),
        _ if words.iter().any(|w| DANCES.iter().any(|d| w.starts_with(d))) => Some(Heading::Movement),
        _ => None,
    }
}
