//! Sung syllables in time: the vowel falls on the beat, its consonants come before it.

use std::sync::OnceLock;

static TABLE: &str = include_str!("../data/consonants.tsv");

fn table() -> &'static [(&'static str, f64)] {
    static PARSED: OnceLock<Vec<(&'static str, f64)>> = OnceLock::new();
    PARSED.get_or_init(|| {
        let mut rows: Vec<(&str, f64)> = TABLE
            .lines()
            .filter(|l| !l.starts_with('#'))
            .filter_map(|l| {
                let (letters, ms) = l.split_once('\t')?;
                Some((letters, ms.trim().parse::<f64>().ok()? / 1000.0))
            })
            .collect();
        // Longest first, so that `sch` is not read as `s`.
        rows.sort_by_key(|r| std::cmp::Reverse(r.0.len()));
        rows
    })
}

fn is_vowel(c: char) -> bool {
    "aeiouyäöüáéíóúàèìòùâêîôûåæøœëïãõ".contains(c)
}

/// Seconds that the consonants before the first vowel, and after the last, take at rest.
pub fn clusters(text: &str) -> (f64, f64) {
    let lower: String = text.to_lowercase().chars().filter(|c| c.is_alphabetic()).collect();
    let Some(first) = lower.find(is_vowel) else { return (length(&lower), 0.0) };
    let last = lower.char_indices().rev().find(|(_, c)| is_vowel(*c)).map_or(0, |(i, c)| i + c.len_utf8());
    (length(&lower[..first]), length(&lower[last..]))
}

fn length(mut letters: &str) -> f64 {
    let mut total = 0.0;
    while let Some(first) = letters.chars().next() {
        let step = table().iter().find(|(l, _)| letters.starts_with(l));
        total += step.map_or(0.0, |s| s.1);
        letters = &letters[step.map_or(first.len_utf8(), |s| s.0.len())..];
    }
    total
}

/// When the first consonant begins: at most 0.4 of the interval from the onset before, and half of what sounded there.
pub fn consonant_start(text: &str, onset: f64, interval: f64) -> f64 {
    onset - clusters(text).0.min(0.4 * interval.max(0.0))
}

/// When the last consonant begins: inside the note, at most a third of it.
pub fn coda_start(text: &str, onset: f64, end: f64) -> f64 {
    end - clusters(text).1.min((end - onset) / 3.0)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Worked example: tempo 120, "sta" on beat 3; s 110 ms and t 70 ms put the first noise 180 ms before the beat.
    #[test]
    fn sta() {
        assert!((consonant_start("sta", 1.0, 0.5) - 0.82).abs() < 1e-9);
        assert_eq!(clusters("oo"), (0.0, 0.0));
        assert!(clusters("nacht").1 > 0.15);
        assert!((consonant_start("sta", 1.0, 0.2) - 0.92).abs() < 1e-9, "held to 0.4 of a short interval");
    }
}
