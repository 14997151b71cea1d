//! What several rules say of the same notes, or of the same strain, is one finding.

use crate::Table;
use ripieno_instruments::Family;
use ripieno_music::Finding;

/// What the first says, the second need not say of the same bars again; where the second has something of its own it is taken in.
const SAME: &[(&str, &str, bool)] = &[
    ("soft-extreme", "range-comfort", false),
    ("loud-extreme", "range-comfort", false),
    ("tessitura", "range-comfort", true),
    ("tessitura", "leap-sung", true),
    ("vowel-high", "text-high", true),
];
/// So many voices of a piece that all lie high, and without instruments: it is the pitch of the piece.
const VOICES: usize = 3;

/// The findings of one desk, each strain once.
pub(super) fn once(mut found: Vec<Finding>) -> Vec<Finding> {
    for (first, second, tell) in SAME {
        let mut kept: Vec<Finding> = Vec::with_capacity(found.len());
        let firsts: Vec<(i32, i32)> =
            found.iter().filter(|f| f.rule == *first).map(|f| (f.bar, f.to_bar)).collect();
        let mut taken: Vec<((i32, i32), Finding)> = Vec::new();
        for finding in found {
            let holds = |span: &&(i32, i32)| span.0 <= finding.bar && finding.to_bar <= span.1;
            let same = (finding.rule == *second && finding.severity <= most(first))
                .then(|| firsts.iter().find(holds));
            match same.flatten() {
                Some(span) => taken.push((*span, finding)),
                None => kept.push(finding),
            }
        }
        if *tell {
            for (span, finding) in taken {
                let into = kept.iter_mut().find(|f| f.rule == *first && (f.bar, f.to_bar) == span);
                if let Some(into) = into {
                    into.message.push_str("; ");
                    into.message.push_str(&lower(&finding.message));
                }
            }
        }
        found = kept;
    }
    found
}

/// Only what is no graver is taken in.
fn most(rule: &str) -> ripieno_music::Severity {
    use ripieno_music::Severity as S;
    if rule == "vowel-high" || rule == "tessitura" { S::Hard } else { S::Impossible }
}

fn lower(text: &str) -> String {
    let mut letters = text.chars();
    letters.next().map_or_else(String::new, |c| c.to_lowercase().chain(letters).collect())
}

/// Where voices without instruments all lie high, that is one matter: old music in high clefs is sung lower.
pub(super) fn high_clefs(table: &Table<'_>, found: &mut Vec<Finding>) {
    let voice = |d: &crate::Desk<'_>| d.instrument.family == Family::Voices;
    if !table.desks.iter().all(voice) {
        return;
    }
    let high = |f: &Finding| f.rule == "vowel-high";
    let mut chairs: Vec<&str> = found.iter().filter(|f| high(f)).map(|f| f.chair.as_str()).collect();
    chairs.sort_unstable();
    chairs.dedup();
    if chairs.len() < VOICES || 2 * chairs.len() <= table.desks.len() {
        return;
    }
    let names: Vec<&str> =
        table.desks.iter().filter(|d| chairs.contains(&d.id())).map(|d| d.name()).collect();
    let said = match names.as_slice() {
        [most @ .., last] => format!("{} and {last}", most.join(", ")),
        [] => return,
    };
    let last = found.iter().filter(|f| high(f)).map(|f| f.to_bar).max().unwrap_or(0);
    let message = format!(
        "The piece lies high for {said}: again and again closed vowels stand where they cannot be kept without pressing"
    );
    let Some(first) = found.iter().position(high) else { return };
    let mut one = found[first].clone();
    (one.message, one.to_bar, one.change) = (message, last, None);
    one.remedy = "Without instruments it can be sung lower, as music in high clefs was; else open the vowels; spare the voices: the singers' own judgement comes first".into();
    found.retain(|f| !high(f));
    found.push(one);
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::Found;
    use ripieno_music::{Place, Severity};

    #[test]
    fn one_strain_is_one_finding() {
        let found = |rule, severity, bar, to, says: &str| {
            Found::new(rule, severity, "sopranos", Place { bar, beat: 1.0 }).to(to).says(says).done()
        };
        let all = once(vec![
            found("range-comfort", Severity::Advice, 29, 32, "15 notes outside"),
            found("range-comfort", Severity::Advice, 50, 52, "2 notes outside"),
            found("tessitura", Severity::Hard, 29, 36, "Lies high for long"),
            found("vowel-high", Severity::Hard, 29, 32, "Closed vowel"),
            found("text-high", Severity::Advice, 29, 32, "16 syllables"),
        ]);
        let told: Vec<(&str, &str)> = all.iter().map(|f| (f.rule, f.message.as_str())).collect();
        assert_eq!(
            told,
            [
                ("range-comfort", "2 notes outside"),
                ("tessitura", "Lies high for long; 15 notes outside"),
                ("vowel-high", "Closed vowel; 16 syllables"),
            ]
        );
    }
}
