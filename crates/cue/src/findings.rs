//! Findings as text.

use crate::{Checked, finding_name};
use ripieno_music::{Finding, Severity};
use ripieno_readthrough::solve::charts;
use std::fmt::Write as _;

/// Most findings of one severity that a text lists; JSON has all.
const MOST: usize = 200;

/// A number with its noun: `1 chair`, `18 chairs`.
pub fn counted(count: usize, one: &str) -> String {
    format!("{count} {one}{}", if count == 1 { "" } else { "s" })
}

/// The read-through as text.
pub fn findings_text(checked: &Checked) -> String {
    let mut text = String::new();
    listed(&mut text, checked, "Write `for = \"session\"` under [cue] to see them.");
    if !checked.accepted.is_empty() {
        let _ = writeln!(text, "\nAccepted");
        for (finding, reason) in &checked.accepted {
            let _ = writeln!(text, "  {:<28} {} ({reason})", finding_name(finding), finding.message);
        }
    }
    for idle in &checked.idle {
        let _ = writeln!(text, "[accept] `{idle}` silences nothing any more; take it out of the plan.");
    }
    if let Some(taken) = taken(checked) {
        let _ = writeln!(
            text,
            "\nA remedy marked = is exact: `ripieno check CUE --take {taken}` writes it into the plan."
        );
    }
    pedals_and_tunings(&mut text, checked);
    arc(&mut text, checked);
    caution(&mut text, checked);
    text
}

/// The findings, and how many are folded away; `folded` says how to see those.
pub(crate) fn listed(text: &mut String, checked: &Checked, folded: &str) {
    let all = &checked.findings;
    if all.is_empty() {
        text.push_str("Read through: nothing found that stands in the way.\n");
    } else {
        let _ = writeln!(text, "Read through: {}.", counts(all));
    }
    for finding in all.iter().take(MOST) {
        one(text, checked, finding);
    }
    if all.len() > MOST {
        let _ = writeln!(text, "  and {} more; `--json` has them all", all.len() - MOST);
    }
    if !checked.folded.is_empty() {
        let _ = writeln!(
            text,
            "\nFor samples, folded away: {} of breath, hands and stamina, which living players would feel. {folded}",
            counts(&checked.folded)
        );
    }
}

/// The names of some findings whose remedy can be taken.
pub(crate) fn taken(checked: &Checked) -> Option<String> {
    let exact = checked.findings.iter().filter(|f| f.change.is_some());
    let names: Vec<String> = exact.map(|f| checked.name(f)).take(3).collect();
    (!names.is_empty()).then(|| names.join(" "))
}

pub(crate) fn caution(text: &mut String, checked: &Checked) {
    if checked.findings.iter().chain(&checked.folded).any(|f| f.severity > Severity::Advice) {
        text.push_str(
            "\nWhat is heard is an estimate. Players and singers judge for themselves: their health comes first.\n",
        );
    }
}

fn counts(all: &[Finding]) -> String {
    let of = |severity| all.iter().filter(|f| f.severity == severity).count();
    let said = [
        (of(Severity::Impossible), "that cannot be done"),
        (of(Severity::Hard), "hard"),
        (of(Severity::Advice), "to know"),
    ];
    let said: Vec<String> = said.iter().filter(|s| s.0 > 0).map(|(n, what)| format!("{n} {what}")).collect();
    said.join(", ")
}

/// A sentence with one sign at its end: a question keeps its own.
pub fn ended(sentence: &str) -> String {
    match sentence.trim_end_matches('.') {
        asked if asked.ends_with(['?', '!', '…']) => asked.to_string(),
        said => format!("{said}."),
    }
}

/// A sentence as people write them: a capital, and one sign at its end. Dynamics stay small.
pub fn sentence(text: &str) -> String {
    let text = ended(text);
    let word = text.split_whitespace().next().unwrap_or_default();
    let dynamic = word.chars().all(|c| "pmfszr.".contains(c));
    let mut chars = text.chars();
    match chars.next().filter(|_| !dynamic) {
        Some(first) => first.to_uppercase().chain(chars).collect(),
        None => text,
    }
}

/// One finding, its remedy, and the change that can be taken.
pub(crate) fn one(text: &mut String, checked: &Checked, finding: &Finding) {
    let to = if finding.to_bar > finding.bar { format!(" to {}", finding.to_bar) } else { String::new() };
    let beat = (finding.beat * 100.0).round() / 100.0;
    let beat = if to.is_empty() && beat != 1.0 { format!(", beat {beat}") } else { String::new() };
    let printed = checked.in_print.beside(finding.bar, finding.to_bar);
    let printed = printed.map_or(String::new(), |p| format!(" ({p})"));
    let _ = writeln!(
        text,
        "  {:<10} {:<16} {}, bar {}{to}{beat}{printed}: {}",
        finding.severity.word(),
        finding.rule,
        finding.chair,
        finding.bar,
        sentence(&finding.message)
    );
    let _ = writeln!(text, "             > {}", sentence(&finding.remedy));
    if let Some(change) = &finding.change {
        let _ = writeln!(text, "             = {}: {change}", checked.name(finding));
    }
}

/// What harpists and timpanists write into their parts.
pub(crate) fn pedals_and_tunings(text: &mut String, checked: &Checked) {
    for chart in &checked.charts.pedals {
        let _ = writeln!(text, "\nPedals, {}: {}", chart.chair, charts::diagram(&chart.start));
        for change in &chart.changes {
            let moved: Vec<String> = change.pedals.iter().map(|(l, p)| charts::pedal(*l, *p)).collect();
            let late = if change.in_time { "" } else { "  (no time)" };
            let _ = writeln!(text, "  {:<22} {}{late}", charts::place_words(change.at), moved.join(", "));
        }
    }
    for chart in &checked.charts.tunings {
        let drums: Vec<String> = chart
            .drums
            .iter()
            .zip(&chart.start)
            .map(|(inches, key)| format!("{inches} in {}", key.map_or("unused".into(), charts::drum_note)))
            .collect();
        let _ = writeln!(text, "\nTunings, {}: {}", chart.chair, drums.join(", "));
        for change in &chart.changes {
            let late = if change.in_time { "" } else { "  (no time)" };
            let inches = chart.drums.get(change.drum).copied().unwrap_or(0);
            let _ = writeln!(
                text,
                "  {:<22} {inches} in from {} to {}, for {}{late}",
                charts::place_words(change.at),
                charts::drum_note(change.from),
                charts::drum_note(change.to),
                charts::place_words(change.needed)
            );
        }
    }
}

pub(crate) fn arc(text: &mut String, checked: &Checked) {
    let arc = &checked.arc;
    if arc.bars.iter().all(|b| b.sones <= 0.0) {
        return;
    }
    let _ = writeln!(text, "\nThe arc, by estimate");
    if let Some(climax) = &arc.climax {
        let who = |what: &str, chairs: &[String]| match chairs.len() {
            0 => String::new(),
            _ => format!("; {what} {}", chairs.join(", ")),
        };
        let printed = checked.in_print.beside(climax.bar, climax.bar);
        // With nothing before it, it exceeds nothing.
        let exceeds = match climax.exceeds {
            more if more >= 1.005 => format!(", {more:.2} times the loudest of the passages before"),
            _ => String::new(),
        };
        let _ = writeln!(
            text,
            "  climax in bar {}{}: {:.0} sones{exceeds}{}{}",
            climax.bar,
            printed.map_or(String::new(), |p| format!(" ({p})")),
            climax.sones,
            who("there enter", &climax.enters),
            who("after a long rest come back", &climax.returns),
        );
    }
    for family in &arc.families {
        let _ = writeln!(
            text,
            "  {:<12} bar {:>3} to {:>3}, in {}",
            family.who,
            family.from_bar,
            family.to_bar,
            counted(family.bars as usize, "bar")
        );
    }
    let late: Vec<String> =
        arc.chairs.iter().filter(|c| c.from_bar > 1).map(|c| format!("{} ({})", c.who, c.from_bar)).collect();
    if !late.is_empty() {
        let _ = writeln!(text, "  held back until bar: {}", late.join(", "));
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn sentences_have_a_capital_and_one_sign_at_their_end() {
        assert_eq!(sentence("let the harpist respell it"), "Let the harpist respell it.");
        assert_eq!(sentence("Did you mean `flute`?"), "Did you mean `flute`?");
        assert_eq!(sentence("pp in bar 3."), "pp in bar 3.");
        assert_eq!(sentence("étouffez"), "Étouffez.");
        assert_eq!(sentence(""), ".");
    }
}
