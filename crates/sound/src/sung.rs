//! Vowels and consonants.

use crate::tables::{numbers, rows};
use ripieno_units::{Decibels, math};

static VOWELS: &str = include_str!("../data/vowels.tsv");

/// The vowels that are told apart, in their order.
const LETTERS: [&str; 5] = ["a", "e", "i", "o", "u"];

/// A vowel of a voice.
#[derive(Clone, Debug)]
pub struct Vowel {
    /// Hertz, amplitude, bandwidth in hertz.
    formants: Vec<[f64; 3]>,
}

impl Vowel {
    /// dB at a frequency. Where the voice sings above its first formant, the mouth follows (J. Sundberg).
    pub fn at(&self, hertz: f64, pitch: f64, solo: bool) -> f64 {
        let mut sum = 1e-4;
        for (i, [centre, amplitude, width]) in self.formants.iter().enumerate() {
            let centre = if i == 0 { centre.max(pitch) } else { *centre };
            // Choirs sing without the cluster near 3 kHz that soloists have.
            let amplitude = if i >= 2 && !solo { amplitude * 0.5 } else { *amplitude };
            // Wider than a single throat: vowels move while they are sung.
            let away = (hertz - centre) / (0.9 * width);
            sum += amplitude / math::sqrt(1.0 + away * away);
        }
        Decibels::from_amplitude(sum).0
    }
}

/// a e i o u of a voice, with a factor on the frequencies.
pub fn vowels(voice: &str, factor: f64) -> Vec<Vowel> {
    LETTERS
        .iter()
        .map(|letter| {
            let row = rows(VOWELS).find(|r| r[0] == voice && r[1] == *letter).unwrap_or_default();
            let column = |i: usize| row.get(i).map(|c| numbers(c, ' ')).unwrap_or_default();
            let (hertz, levels, widths) = (column(2), column(3), column(4));
            let formants = hertz
                .iter()
                .zip(&levels)
                .zip(&widths)
                .map(|((f, l), w)| [f * factor, Decibels(*l).amplitude(), *w])
                .collect();
            Vowel { formants }
        })
        .collect()
}

/// Number of the vowel of a syllable: of its first vowel letter, with the commonest pairs of English (`oo`, `ee`, `ou`).
pub fn vowel(text: &str) -> u8 {
    let lower = text.to_lowercase();
    let mut letters = lower.chars().skip_while(|c| !is_vowel(*c));
    let first = letters.next().unwrap_or('a');
    match (first, letters.next().unwrap_or(' ')) {
        ('o', 'o' | 'u') => 4,
        ('e', 'e' | 'a') | ('i', 'e') => 2,
        ('a' | 'á' | 'à' | 'â' | 'å', _) => 0,
        ('e' | 'é' | 'è' | 'ê' | 'ë' | 'ä' | 'æ', _) => 1,
        ('i' | 'í' | 'ì' | 'î' | 'ï' | 'y' | 'ü', _) => 2,
        ('o' | 'ó' | 'ò' | 'ô' | 'ö' | 'ø' | 'œ', _) => 3,
        _ => 4,
    }
}

fn is_vowel(c: char) -> bool {
    "aeiouyäöüáéíóúàèìòùâêîôûåæøœëïãõ".contains(c)
}

/// The hiss of a syllable's consonants: hertz of its centre, and whether there is one, before and after the vowel. Voiced
/// consonants are left to a later voice.
pub fn hiss(text: &str) -> (Option<f64>, Option<f64>) {
    let lower: String = text.to_lowercase().chars().filter(|c| c.is_alphabetic()).collect();
    let first = lower.find(is_vowel).unwrap_or(lower.len());
    let last = lower.char_indices().rev().find(|(_, c)| is_vowel(*c)).map_or(0, |(i, c)| i + c.len_utf8());
    let of = |letters: &str| {
        letters.chars().find_map(|c| match c {
            's' | 'z' | 'x' | 'ß' => Some(6500.0),
            'c' | 't' => Some(4500.0),
            'f' | 'v' => Some(3500.0),
            'k' | 'q' | 'p' => Some(2000.0),
            'h' => Some(1500.0),
            _ => None,
        })
    };
    (of(&lower[..first]), of(lower.get(last.max(first)..).unwrap_or_default()))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn syllables_have_their_vowels() {
        let cases =
            [("ah", 0), ("Glo", 3), ("moon", 4), ("Ky", 2), ("lux", 4), ("stein", 1), ("", 0), ("mm", 0)];
        for (text, wanted) in cases {
            assert_eq!(vowel(text), wanted, "{text}");
        }
        assert_eq!(hiss("sta").0, Some(6500.0));
        assert_eq!(hiss("nacht").1, Some(4500.0));
        assert_eq!(hiss("oo"), (None, None));
    }

    /// Every voice of the table has five vowels of five formants.
    #[test]
    fn vowels_are_whole() {
        for voice in ["soprano", "alto", "tenor", "bass"] {
            assert!(vowels(voice, 1.0).iter().all(|v| v.formants.len() == 5), "{voice}");
        }
    }
}
