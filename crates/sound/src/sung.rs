//! Text as mouth shapes: vowels, what voiced consonants sound like, hisses and bursts.

use crate::tables::{number, numbers, rows};
use ripieno_units::{Decibels, math};

static VOWELS: &str = include_str!("../data/vowels.tsv");
static CONSONANTS: &str = include_str!("../data/consonants.tsv");

/// The shapes that are told apart, in their order: vowels, then nearly closed mouths.
pub const SHAPES: [&str; 11] = ["a", "e", "i", "o", "u", "m", "n", "l", "r", "v", "b"];

/// The shape of a hum.
const HUM: u8 = 5;

/// A shape of a voice's mouth.
#[derive(Clone, Debug)]
pub struct Vowel {
    /// Hertz, amplitude, bandwidth in hertz.
    formants: Vec<[f64; 3]>,
}

impl Vowel {
    /// dB at a frequency. Where the voice sings above its first formant, the mouth follows (J. Sundberg).
    pub fn at(&self, hertz: f64, pitch: f64) -> f64 {
        let mut power = 1e-8;
        for (i, [centre, amplitude, width]) in self.formants.iter().enumerate() {
            let centre = if i == 0 { centre.max(pitch) } else { *centre };
            // A resonance of two poles, steeper above its centre than below. Powers are added: whether neighbours strengthen or
            // weaken each other between their centres depends on the throat, and a formant stands out of its neighbour's flank.
            let flank = if hertz > centre { 0.5 * (1.0 + hertz / centre) } else { 1.0 };
            let away = flank * (hertz - centre) / (0.5 * width);
            power += amplitude * amplitude / (1.0 + away * away);
        }
        Decibels::from_amplitude(math::sqrt(power)).0
    }
}

/// Standard deviation of a formant from singer to singer of a choir, as a share of its frequency (3 to 5 %, S. Ternström, from memory).
const FORMANTS_APART: f64 = 0.04;

/// All shapes of a voice, with a factor on the frequencies, of a soloist or of a choir's singers together.
pub fn vowels(voice: &str, factor: f64, singers: u16) -> Vec<Vowel> {
    let choir = singers > 1;
    // Men in choirs sing without the cluster near 3 kHz that soloists have (J. Sundberg).
    let cluster = if choir && matches!(voice, "tenor" | "bass") { -6.0 } else { 0.0 };
    SHAPES
        .iter()
        .map(|letter| {
            let row = rows(VOWELS)
                .find(|r| (r[0] == voice || r[0] == "any") && r[1] == *letter)
                .unwrap_or_default();
            let column = |i: usize| row.get(i).map(|c| numbers(c, ' ')).unwrap_or_default();
            let (hertz, levels, widths) = (column(2), column(3), column(4));
            let formants = hertz
                .iter()
                .zip(&levels)
                .zip(&widths)
                .enumerate()
                .map(|(i, ((f, l), w))| {
                    let apart = if choir { 2.0 * FORMANTS_APART * f * factor } else { 0.0 };
                    let level = if i >= 2 { l + cluster } else { *l };
                    [f * factor, Decibels(level).amplitude(), math::sqrt(w * w + apart * apart)]
                })
                .collect();
            Vowel { formants }
        })
        .collect()
}

/// The vowel of a syllable and, in a diphthong, the one that it ends in: from its first vowel letters, with the commonest pairs
/// of English and German. A syllable of nothing but consonants is hummed.
pub fn vowel(text: &str) -> (u8, Option<u8>) {
    let lower = text.to_lowercase();
    let mut letters = lower.chars().skip_while(|c| !is_vowel(*c));
    let Some(first) = letters.next() else {
        return (if lower.contains(['m', 'n']) { HUM } else { 0 }, None);
    };
    match (first, letters.next().unwrap_or(' ')) {
        ('o', 'o' | 'u') => (4, None),
        ('e', 'e' | 'a') | ('i', 'e') => (2, None),
        ('a', 'u') => (0, Some(4)),
        ('a' | 'e', 'i') => (0, Some(2)),
        ('a' | 'e', 'y') => (1, Some(2)),
        ('o', 'i' | 'y') | ('e' | 'ä', 'u') => (3, Some(2)),
        ('o', 'w') => (3, Some(4)),
        ('y', 'o') => (2, Some(4)),
        ('a' | 'á' | 'à' | 'â' | 'å', _) => (0, None),
        ('e' | 'é' | 'è' | 'ê' | 'ë' | 'ä' | 'æ', _) => (1, None),
        ('i' | 'í' | 'ì' | 'î' | 'ï' | 'y' | 'ü', _) => (2, None),
        ('o' | 'ó' | 'ò' | 'ô' | 'ö' | 'ø' | 'œ', _) => (3, None),
        _ => (4, None),
    }
}

fn is_vowel(c: char) -> bool {
    "aeiouyäöüáéíóúàèìòùâêîôûåæøœëïãõ".contains(c)
}

/// A consonant.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Consonant {
    /// Shape of the mouth and dB of the voice, if it sounds.
    pub voice: Option<(u8, f64)>,
    /// Hertz and dB of its hiss or burst.
    pub noise: Option<(f64, f64)>,
    /// A burst at its end.
    pub burst: bool,
    /// Share of the cluster's time.
    pub share: f64,
}

/// The consonants of a syllable before its vowel and after it, their shares of each cluster adding up to one.
pub fn consonants(text: &str) -> (Vec<Consonant>, Vec<Consonant>) {
    let lower: String = text.to_lowercase().chars().filter(|c| c.is_alphabetic()).collect();
    let Some(first) = lower.find(is_vowel) else {
        // Hummed: the consonant is the tone.
        let nasal = lower.find(['m', 'n']).unwrap_or(lower.len());
        return (cluster(&lower[..nasal]), Vec::new());
    };
    let last = lower.char_indices().rev().find(|(_, c)| is_vowel(*c)).map_or(0, |(i, c)| i + c.len_utf8());
    // A `w` or `h` after a vowel belongs to it.
    let coda = lower.get(last.max(first)..).unwrap_or_default().trim_start_matches(['w', 'h']);
    (cluster(&lower[..first]), cluster(coda))
}

fn cluster(mut letters: &str) -> Vec<Consonant> {
    let mut found: Vec<Consonant> = Vec::new();
    while let Some(next) = letters.chars().next() {
        let row = rows(CONSONANTS).find(|r| letters.starts_with(r[0]));
        letters = &letters[row.as_ref().map_or(next.len_utf8(), |r| r[0].len())..];
        let Some(row) = row.filter(|r| r.len() > 6) else { continue };
        let shape = SHAPES.iter().position(|s| *s == row[1]);
        found.push(Consonant {
            voice: shape.map(|s| (s as u8, number(&row, 2))),
            noise: row[3].parse().ok().map(|hertz| (hertz, number(&row, 4))),
            burst: row[5] == "burst",
            share: number(&row, 6).max(1.0),
        });
    }
    let whole: f64 = found.iter().map(|c| c.share).sum();
    found.iter_mut().for_each(|c| c.share /= whole);
    found
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn syllables_have_their_vowels() {
        let cases =
            [("ah", 0), ("Glo", 3), ("moon", 4), ("Ky", 2), ("lux", 4), ("stein", 0), ("", 0), ("mm", HUM)];
        for (text, wanted) in cases {
            assert_eq!(vowel(text).0, wanted, "{text}");
        }
        assert_eq!(vowel("laud"), (0, Some(4)));
    }

    #[test]
    fn clusters_have_their_sounds() {
        let (before, after) = consonants("sta");
        assert_eq!((before.len(), after.len()), (2, 0));
        assert_eq!(before[0].noise.map(|n| n.0), Some(6800.0));
        assert!(before[1].burst && before[1].voice.is_none());
        assert!((before[0].share + before[1].share - 1.0).abs() < 1e-9);
        let (before, after) = consonants("lamb");
        assert_eq!(before[0].voice.map(|v| SHAPES[usize::from(v.0)]), Some("l"));
        assert_eq!(after.len(), 2);
        assert_eq!(consonants("oo"), (Vec::new(), Vec::new()));
        assert_eq!(consonants("mm"), (Vec::new(), Vec::new()));
    }

    /// Every voice of the table has all shapes, of five formants.
    #[test]
    fn shapes_are_whole() {
        for voice in ["soprano", "alto", "tenor", "bass"] {
            let all = vowels(voice, 1.0, 12);
            assert!(all.len() == SHAPES.len() && all.iter().all(|v| v.formants.len() == 5), "{voice}");
        }
    }
}
