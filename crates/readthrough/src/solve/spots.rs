//! Places of one kind gathered into findings, one for each stretch; and words for notes.

use crate::desk::Found;
use ripieno_music::{Change, Finding, Place, Severity};

/// Places of one kind that are so many bars apart, or fewer, are one stretch.
const STRETCH_BARS: i32 = 4;

/// One place where something is the matter.
#[derive(Clone, Debug, PartialEq)]
pub struct Spot {
    /// Where.
    pub at: Place,
    /// How grave.
    pub severity: Severity,
    /// What, with the figures: a sentence without its full stop.
    pub says: String,
    /// What to do.
    pub remedy: String,
    /// The change that does it.
    pub change: Option<Change>,
}

/// One finding for each stretch of places of one severity: it tells of the first, and counts the others.
pub fn gather(rule: &'static str, chair: &str, spots: &[Spot]) -> Vec<Finding> {
    let mut findings = Vec::new();
    for severity in [Severity::Impossible, Severity::Hard, Severity::Advice] {
        let mut open: Vec<&Spot> = Vec::new();
        for spot in spots.iter().filter(|s| s.severity == severity) {
            if let Some(last) = open.last()
                && (spot.at.bar - last.at.bar > STRETCH_BARS || spot.change != last.change)
            {
                findings.extend(one(rule, chair, &open));
                open.clear();
            }
            open.push(spot);
        }
        findings.extend(one(rule, chair, &open));
    }
    findings
}

fn one(rule: &'static str, chair: &str, spots: &[&Spot]) -> Option<Finding> {
    let (first, last) = (spots.first()?, spots.last()?);
    let says = match spots.len() {
        1 => first.says.clone(),
        n => format!(
            "{}; {} more such place{} to bar {}",
            first.says,
            n - 1,
            if n == 2 { "" } else { "s" },
            last.at.bar
        ),
    };
    Some(
        Found::new(rule, first.severity, chair, first.at)
            .to(last.at.bar)
            .says(says)
            .remedy(first.remedy.clone())
            .change(first.change.clone())
            .done(),
    )
}

/// `F#4`: a sounding pitch by name, sharps.
pub fn name(key: u8) -> String {
    ripieno_music::key_name(i16::from(key))
}

/// `C4, E4 and G4`.
pub fn names(keys: &[u8]) -> String {
    list(&keys.iter().map(|k| name(*k)).collect::<Vec<_>>())
}

/// `a, b and c`.
pub fn list(words: &[String]) -> String {
    match words {
        [] => String::new(),
        [one] => one.clone(),
        [most @ .., last] => format!("{} and {last}", most.join(", ")),
    }
}

/// `a fifth`, `a tenth`, by the number of semitones.
pub fn interval(semitones: u8) -> &'static str {
    const NAMES: [&str; 25] = [
        "a unison",
        "a minor second",
        "a second",
        "a minor third",
        "a third",
        "a fourth",
        "a tritone",
        "a fifth",
        "a minor sixth",
        "a sixth",
        "a minor seventh",
        "a seventh",
        "an octave",
        "a minor ninth",
        "a ninth",
        "a minor tenth",
        "a tenth",
        "an eleventh",
        "an augmented eleventh",
        "a twelfth",
        "a minor thirteenth",
        "a thirteenth",
        "a minor fourteenth",
        "a fourteenth",
        "two octaves",
    ];
    NAMES.get(usize::from(semitones)).copied().unwrap_or("more than two octaves")
}

/// The nth, as a word up to ten.
pub fn ordinal(n: usize) -> String {
    const WORDS: [&str; 11] =
        ["", "first", "second", "third", "fourth", "fifth", "sixth", "seventh", "eighth", "ninth", "tenth"];
    WORDS.get(n).filter(|w| !w.is_empty()).map_or_else(|| format!("{n}th"), |w| (*w).to_string())
}

/// A number as a word, up to twelve.
pub fn number(n: u16) -> String {
    const WORDS: [&str; 13] = [
        "none", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten", "eleven",
        "twelve",
    ];
    WORDS.get(usize::from(n)).map_or_else(|| n.to_string(), |w| (*w).to_string())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn spot(bar: i32, severity: Severity) -> Spot {
        let at = Place { bar, beat: 1.0 };
        Spot { at, severity, says: format!("trouble {bar}"), remedy: "rest".into(), change: None }
    }

    #[test]
    fn a_stretch_is_one_finding() {
        let spots: Vec<Spot> = [1, 2, 4, 20, 21].map(|b| spot(b, Severity::Hard)).to_vec();
        let found = gather("stops", "viola", &spots);
        let bars: Vec<(i32, i32)> = found.iter().map(|f| (f.bar, f.to_bar)).collect();
        assert_eq!(bars, [(1, 4), (20, 21)]);
        assert_eq!(found[0].message, "trouble 1; 2 more such places to bar 4");
        assert_eq!(found[1].message, "trouble 20; 1 more such place to bar 21");
        assert!(gather("stops", "viola", &[]).is_empty());
    }

    #[test]
    fn words() {
        assert_eq!(names(&[60, 64, 67]), "C4, E4 and G4");
        assert_eq!((name(61), name(21)), ("C#4".into(), "A0".into()));
        assert_eq!((interval(16), interval(99)), ("a tenth", "more than two octaves"));
        assert_eq!((ordinal(3), ordinal(14)), ("third".into(), "14th".into()));
    }
}
