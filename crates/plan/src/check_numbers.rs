//! Numbers of the plan that nothing bears out: players that a chair does not have, beats and bars that the music does not have.

use crate::diagnostic::did_you_mean;
use crate::source::{place_words, playing_words};
use crate::toml::{File, Inside, span_of};
use crate::{Diagnostic, PlacedCell, Plan, Template};
use ripieno_music::Playing;
use std::ops::Range;
use toml_edit::{Item, Table};

/// The bars of the music, for whoever knows nothing else of it.
pub trait Bars {
    /// The number of the last bar.
    fn last(&self) -> i32;
    /// How many beats a bar has; `None` for a number that is no bar's.
    fn beats(&self, bar: i32) -> Option<f64>;
}

/// `3`, `2.5`: a number of beats as a person says it.
fn said(beats: f64) -> String {
    let text = format!("{beats:.2}");
    text.trim_end_matches('0').trim_end_matches('.').to_string()
}

/// Players that a cell asks for and that nobody has, as warnings. Where single players have chairs of their own (`horn-3`), scores
/// count through the section: `3.` is the third horn, and `a 2` in a flute's chair means both flutes.
pub(crate) fn players(file: &mut File<'_>, template: &Template, cell: &PlacedCell) {
    let Some(chair) = template.chairs.iter().find(|c| c.id == cell.chair) else { return };
    let section = || template.chairs.iter().filter(|c| c.instrument == chair.instrument);
    let has: u32 = section().map(|c| u32::from(c.players)).sum();
    let inside = Inside::new(file.text, cell.span);
    for (word, at) in playing_words(&cell.text) {
        let asked = match word {
            Playing::Together(n) => u32::from(n),
            Playing::Players(set) => u32::BITS - set.leading_zeros(),
            _ => continue,
        };
        if asked > has {
            let players = if has == 1 { "player" } else { "players" };
            let who = match section().count() {
                1 => format!("`{}` has {has} {players}", chair.id),
                n => format!("the {n} chairs like `{}` have {has} {players}", chair.id),
            };
            let fewer =
                if has == 1 { "take it out".to_string() } else { format!("write a number up to {has}") };
            let help = format!("{fewer}, or `players = {asked}` under [chair.{}] in the template", chair.id);
            file.warn(inside.place(at), format!("`{}` asks for {asked} players; {who}", word.word()), help);
        }
    }
}

/// `[kit.CHAIR]` and `[accept]` of chairs that the template does not have.
pub(crate) fn chairs(file: &mut File<'_>, plan: &Plan, template: &Template) {
    let known = || template.chairs.iter().map(|c| c.id.as_str());
    let all = || format!("its chairs: {}", known().collect::<Vec<_>>().join(", "));
    for kit in plan.kits.iter().filter(|k| known().all(|c| c != k.chair)) {
        let message = format!("[kit.{}]: the template has no chair `{}`", kit.chair, kit.chair);
        file.error(kit.span.start..kit.span.end, message, did_you_mean(&kit.chair, known(), all));
    }
    for accepted in &plan.accepted {
        let Some(chair) = accepted.chair.as_deref().filter(|c| known().all(|k| k != *c)) else { continue };
        let message = format!("[accept] silences nothing here: the template has no chair `{chair}`");
        file.warn(accepted.span.start..accepted.span.end, message, did_you_mean(chair, known(), all));
    }
}

impl Plan {
    /// Warnings of places that the music does not have: it may be another tomorrow, so the work goes on. `file` and `text` are
    /// the plan's.
    pub fn check_bars(&self, bars: &dyn Bars, file: &str, text: &str) -> Vec<Diagnostic> {
        let mut file = File::new(file, text);
        for cell in self.passages.iter().flat_map(|p| &p.cells) {
            for (place, at) in place_words(&cell.text) {
                let Some(fault) = place.beat.and_then(|beat| beyond(bars, place.bar, beat)) else { continue };
                let at = Inside::new(file.text, cell.span).place(at);
                file.warn(at, fault.0, fault.1);
            }
        }
        self.steps_and_hits(&mut file, bars);
        file.complaints()
    }

    /// `[[picture.hit]]`, `[[tempo]]` and `[[metre]]`.
    fn steps_and_hits(&self, file: &mut File<'_>, bars: &dyn Bars) {
        let mut found: Vec<(&str, usize, &str, (String, String))> = Vec::new();
        for hit in self.picture.iter().flat_map(|p| &p.hits) {
            let Some((bar, beat)) = hit.place else { continue };
            if let Some(fault) = missing(bars, bar, "no tempo brings the music onto this hit") {
                found.push(("hit", hit.index, "bar", fault));
            } else if let Some(fault) = beyond(bars, bar, beat) {
                found.push(("hit", hit.index, "beat", fault));
            }
        }
        for (i, tempo) in self.tempi.iter().enumerate() {
            if let Some(fault) = missing(bars, tempo.bar, "this tempo is passed over") {
                found.push(("tempo", i, "bar", fault));
            } else if let Some(fault) = beyond(bars, tempo.bar, tempo.beat) {
                found.push(("tempo", i, "beat", fault));
            }
        }
        for (i, metre) in self.metres.iter().enumerate() {
            if let Some(fault) = missing(bars, metre.bar, "this metre is passed over") {
                found.push(("metre", i, "bar", fault));
            }
        }
        if found.is_empty() {
            return;
        }
        // Where each number stands is looked up only now: plans are read on every edit, and nearly all have no such fault.
        let root = File::new("", file.text).document();
        for (table, index, key, (message, help)) in found {
            file.warn(place_of(&root, table, index, key), message, help);
        }
    }
}

fn missing(bars: &dyn Bars, bar: i32, so: &str) -> Option<(String, String)> {
    if bars.beats(bar).is_some() {
        return None;
    }
    let last = bars.last();
    let help = format!("name a bar up to {last}; bars are counted in the unfolded piece");
    Some((format!("the music has no bar {bar}, it ends with bar {last}: {so}"), help))
}

/// What is to be said of a beat that its bar does not have.
fn beyond(bars: &dyn Bars, bar: i32, beat: f64) -> Option<(String, String)> {
    let has = bars.beats(bar)?;
    // What is said in decimals is off by a little.
    if beat < has + 1.0 - 1e-9 {
        return None;
    }
    let (noun, has) = (if has == 1.0 { "beat" } else { "beats" }, said(has));
    let message = format!("bar {bar} has {has} {noun}, and no beat {}", said(beat));
    Some((message, format!("name a beat of that bar, or the bar in which you want it: {}.1", bar + 1)))
}

/// The value of a key in the table of a number in a list of tables.
fn place_of(root: &Table, list: &str, index: usize, key: &str) -> Range<usize> {
    let holder =
        if list == "hit" { root.get("picture").and_then(Item::as_table_like) } else { Some(root as _) };
    let table = holder
        .and_then(|h| h.get(list))
        .and_then(Item::as_array_of_tables)
        .and_then(|tables| tables.get(index));
    table.and_then(|t| t.get(key)).map_or(0..0, span_of)
}

#[cfg(test)]
mod tests {
    use super::*;

    struct SixEight;

    impl Bars for SixEight {
        fn last(&self) -> i32 {
            72
        }

        fn beats(&self, bar: i32) -> Option<f64> {
            (1..=72).contains(&bar).then_some(6.0)
        }
    }

    const HEAD: &str = "[cue]\nmusic = \"x.mid\"\n[lines]\nmelody = { track = \"Lead\" }\n";
    const CELLS: &str = "[[passage]]\nbars = [1, 8]\n[passage.casting]\n";

    /// All that is said of a plan, for a template with two clarinets and timpani.
    fn said_of(text: &str) -> Vec<String> {
        let chair = |id: &str, instrument: &str| format!("[chair.{id}]\ninstrument = \"{instrument}\"\n");
        let template = chair("clarinets", "clarinet")
            + "players = 2\n"
            + &chair("timpani", "timpani")
            + &chair("horn-1", "horn")
            + &chair("horn-2", "horn");
        let (template, faults) = Template::parse("template.toml", &template);
        assert!(faults.is_empty(), "{faults:?}");
        let (plan, mut found) = Plan::parse("cue.toml", text);
        found.extend(plan.check_against(&template, "cue.toml", text));
        found.extend(plan.check_bars(&SixEight, "cue.toml", text));
        found.iter().map(ToString::to_string).collect()
    }

    #[test]
    fn players_that_a_chair_has_not() {
        for (cell, column, said) in [
            ("melody, a 7", 22, "`clarinets` has 2 players"),
            ("melody, 9.", 22, "`clarinets` has 2 players"),
            ("melody, p, 1. 3.", 25, "players = 3"),
        ] {
            let all = said_of(&format!("{HEAD}{CELLS}clarinets = \"{cell}\"\n"));
            let place = format!("cue.toml:8:{column}: warning: ");
            assert!(all.len() == 1 && all[0].starts_with(&place) && all[0].contains(said), "{cell}: {all:?}");
        }
        for (cell, right) in [("melody, 2.", true), ("melody, a 2", true), ("melody, a 3", false)] {
            let all = said_of(&format!("{HEAD}{CELLS}horn-2 = \"{cell}\"\n"));
            assert_eq!(all.is_empty(), right, "{cell}: {all:?}");
        }
        for cell in ["melody, a 2", "melody, 2.", "melody, 1. 2.", "melody, \"a 7\"", "melody, solo"] {
            let all = said_of(&format!("{HEAD}{CELLS}clarinets = '{cell}'\n"));
            assert!(all.is_empty(), "{cell}: {all:?}");
        }
    }

    #[test]
    fn beats_that_a_bar_has_not() {
        for (cell, column) in [
            ("melody from 3.9", 26),
            ("melody, p < f (3.7)", 29),
            ("melody, breath (bar 2.8)", 34),
            ("melody to 2.7.5", 24),
        ] {
            let all = said_of(&format!("{HEAD}{CELLS}clarinets = \"{cell}\"\n"));
            let place = format!("cue.toml:8:{column}: warning: bar ");
            assert!(
                all.len() == 1 && all[0].starts_with(&place) && all[0].contains("has 6 beats"),
                "{cell}: {all:?}"
            );
        }
        for cell in ["melody from 3.6", "melody to 2.6.9", "melody, p < f (bar 5)", "melody, \"from 3.9\""] {
            let all = said_of(&format!("{HEAD}{CELLS}clarinets = '{cell}'\n"));
            assert!(all.is_empty(), "{cell}: {all:?}");
        }
    }

    #[test]
    fn chairs_that_are_not_there() {
        let all = said_of(&format!("{HEAD}[kit.timpany]\ndrums = [32]\n"));
        assert!(all.len() == 1 && all[0].starts_with("cue.toml:5:6: "), "{all:?}");
        assert!(all[0].contains("did you mean `timpani`?"), "{all:?}");
        let all = said_of(&format!("{HEAD}[accept]\n\"range@clarinet:3\" = \"so\"\n\"range\" = \"so\"\n"));
        assert!(all.len() == 1 && all[0].starts_with("cue.toml:6:1: warning"), "{all:?}");
        assert!(all[0].contains("did you mean `clarinets`?"), "{all:?}");
    }

    #[test]
    fn bars_that_the_music_has_not() {
        let hits = "[picture]\nrate = 25\n[[picture.hit]]\nat = \"00:00:09:00\"\nbar = 300\n\
            [[picture.hit]]\nat = \"00:00:05:00\"\nbar = 4\nbeat = 7.0\n";
        let all = said_of(&format!("{HEAD}{hits}"));
        assert!(all.len() == 2, "{all:?}");
        assert!(
            all[0].starts_with("cue.toml:9:7: warning") && all[0].contains("ends with bar 72"),
            "{all:?}"
        );
        assert!(all[1].starts_with("cue.toml:13:8: warning") && all[1].contains("6 beats"), "{all:?}");
        let steps =
            "[[tempo]]\nbar = 2\nbpm = 90\n[[tempo]]\nbar = 80\nbpm = 96\n[[metre]]\nbar = 90\nbeats = 5\n";
        let all = said_of(&format!("{HEAD}{steps}"));
        assert!(all.len() == 2 && all[0].starts_with("cue.toml:9:7:") && all[1].contains("metre"), "{all:?}");
    }
}
