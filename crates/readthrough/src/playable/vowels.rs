//! Which vowel a syllable is sung on, as far as its letters tell: the language is guessed from the words of the part.
//!
//! Rules of spelling as singers learn them; common practice, no source. What is not known counts as open: a false alarm costs more
//! than a vowel that nobody warned of.

use ripieno_music::{Syllable, SyllablePlace};

/// The language that is sung.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(crate) enum Tongue {
    English,
    German,
    French,
    Italian,
    /// Latin, languages that are written as they sound, and bare syllables.
    #[default]
    Plain,
}

/// Short words that only one of the languages has.
const SIGNS: [(Tongue, &[&str]); 4] = [
    (
        Tongue::English,
        &["the", "and", "of", "with", "my", "thy", "thee", "you", "is", "he", "shall", "his", "our", "for"],
    ),
    (
        Tongue::German,
        &["und", "der", "das", "die", "ich", "nicht", "ist", "mit", "dem", "den", "ein", "wie", "auf"],
    ),
    (
        Tongue::French,
        &["le", "les", "des", "du", "est", "et", "mon", "une", "dans", "pour", "que", "qui", "nous", "vous"],
    ),
    (
        Tongue::Italian,
        &["che", "di", "il", "mio", "della", "con", "è", "gli", "non", "nel", "del", "per", "mia", "cor"],
    ),
];
/// So many of them make a language.
const ENOUGH: usize = 2;

impl Tongue {
    /// The language of a text.
    pub(crate) fn of<'a>(syllables: impl Iterator<Item = &'a Syllable>) -> Self {
        let mut counts = [0_usize; SIGNS.len()];
        for syllable in syllables.filter(|s| s.place == SyllablePlace::Single) {
            let word = letters(&syllable.text);
            for (count, (_, signs)) in counts.iter_mut().zip(SIGNS) {
                *count += usize::from(signs.contains(&word.as_str()));
            }
        }
        let most = counts.iter().copied().max().unwrap_or(0);
        let mut best = counts.iter().zip(SIGNS).filter(|(count, _)| **count == most).map(|(_, s)| s.0);
        match (best.next(), best.next()) {
            (Some(tongue), None) if most >= ENOUGH => tongue,
            _ => Self::Plain,
        }
    }
}

fn letters(text: &str) -> String {
    text.to_lowercase().chars().filter(|c| c.is_alphabetic()).collect()
}

fn is_vowel(c: char) -> bool {
    "aeiouyäöüáàâéèêëíìîïóòôúùûýœæ".contains(c)
}

/// Does the syllable have a closed vowel alone: i, ee, u, oo, ü, y?
pub(crate) fn closed(syllable: &Syllable, tongue: Tongue) -> bool {
    // `ho-ly`, `glo-ry`, but `sky`.
    let ends_word = syllable.place == SyllablePlace::End;
    let word = letters(&syllable.text);
    // The vowels that sound, and what stands before and after them.
    let Some(from) = word.find(is_vowel) else { return false };
    let rest = &word[from..];
    let end = rest.find(|c| !is_vowel(c)).unwrap_or(rest.len());
    let (onset, vowels, coda) = (&word[..from], &rest[..end], &rest[end..]);
    match tongue {
        Tongue::English => {
            (ends_word && word.ends_with('y') && vowels == "y") || english(&word, onset, vowels, coda)
        }
        Tongue::German => matches!(vowels, "i" | "u" | "ü" | "y" | "ie"),
        Tongue::French => {
            matches!(vowels, "i" | "u" | "y" | "ou" | "î" | "û" | "oû" | "où" | "ie" | "ue" | "oue")
                && !nasal(coda)
        }
        Tongue::Italian => italian(vowels),
        Tongue::Plain => match vowels {
            "oo" | "ee" => true,
            v => v.chars().all(|c| "iuyüíìîïúùûý".contains(c)),
        },
    }
}

/// `in`, `un`: open nasals.
fn nasal(coda: &str) -> bool {
    let mut letters = coda.chars();
    matches!(letters.next(), Some('n' | 'm')) && !matches!(letters.next(), Some('n' | 'm'))
}

/// Glides before the vowel are no vowels: in `fiume` u is sung, in `cea`, `gia`, `quo` what comes after.
fn italian(vowels: &str) -> bool {
    vowels.chars().all(|c| "iuìùíú".contains(c))
}

/// Whole words that the rules would get wrong.
const CLOSED_WORDS: [&str; 16] = [
    "you", "through", "who", "to", "do", "be", "he", "me", "she", "we", "ye", "the", "two", "soul's",
    "youth", "group",
];
const OPEN_WORDS: [&str; 11] =
    ["their", "heart", "hearts", "bear", "wear", "pear", "great", "break", "blood", "flood", "i"];

fn english(word: &str, onset: &str, vowels: &str, coda: &str) -> bool {
    if OPEN_WORDS.contains(&word) || word == "the" {
        return false;
    }
    if CLOSED_WORDS.contains(&word) {
        return true;
    }
    // `bird`, `turn`, `word`: the r opens it.
    let by_r = coda.starts_with('r');
    let silent_e =
        coda.len() > 1 && coda.ends_with('e') && coda.chars().filter(|c| is_vowel(*c)).count() == 1;
    match vowels {
        // `light`, `mind`, `child`, `white`, `my`, `die` are sung on ah.
        "i" => {
            !(by_r
                || silent_e
                || coda.starts_with("gh")
                || coda.starts_with("nd")
                || coda.starts_with("ld")
                || coda.is_empty())
        }
        "y" | "ie" if coda.is_empty() => onset.is_empty(),
        // `skies`, `cried`.
        "ie" if matches!(coda, "s" | "d") => false,
        "ie" | "ee" | "ea" => {
            !by_r
                && !(vowels == "ea"
                    && (coda.starts_with('d')
                        || coda.starts_with("th")
                        || coda.starts_with("lth")
                        || coda.starts_with("v")))
        }
        "oo" => !by_r,
        "ue" | "ui" | "ew" => true,
        "e" if coda.starts_with('w') => true,
        // `true`, `Luke`, `pure`; `us`, `sun`, `must` are open.
        "u" => silent_e && !by_r,
        "eu" => true,
        _ => false,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn one(text: &str, place: SyllablePlace) -> Syllable {
        Syllable { text: text.into(), place, extends: false, verse: 1 }
    }

    fn closed(text: &str, tongue: Tongue) -> bool {
        super::closed(&one(text, SyllablePlace::Single), tongue)
    }

    #[test]
    fn closed_vowels() {
        for text in ["oo", "ee", "Ky", "mi", "lux", "tu", "du", "Für"] {
            assert!(closed(text, Tongue::Plain), "{text}");
        }
        for text in ["ah", "lon", "ge", "Lu-a", "sky-a", "men", "", "tsk", "e", "noël"] {
            assert!(!closed(text, Tongue::Plain), "{text}");
        }
    }

    #[test]
    fn by_language() {
        for text in [
            "you", "true", "who", "through", "blue", "few", "be", "he", "me", "she", "see", "sing,", "moon",
            "dream",
        ] {
            assert!(closed(text, Tongue::English), "{text}");
        }
        for text in [
            "white,", "night.", "us;", "my", "sky", "high", "blind", "bear", "heart", "sun", "love", "bird",
            "die", "skies", "cried", "the", "I",
        ] {
            assert!(!closed(text, Tongue::English), "{text}");
        }
        for (text, tongue) in [
            ("Lie", Tongue::German),
            ("früh", Tongue::German),
            ("nuit", Tongue::French),
            ("vous", Tongue::French),
            ("più", Tongue::Italian),
        ] {
            // `nuit` ends on i, but its letters are two vowels: not judged.
            assert_eq!(closed(text, tongue), text != "nuit", "{text}");
        }
        for (text, tongue) in [
            ("ein", Tongue::German),
            ("cea", Tongue::Italian),
            ("mio", Tongue::Italian),
            ("vin", Tongue::French),
        ] {
            assert!(!closed(text, tongue), "{text}");
        }
    }

    #[test]
    fn the_end_of_a_word_is_another_matter() {
        assert!(super::closed(&one("ly", SyllablePlace::End), Tongue::English));
        assert!(!closed("fly", Tongue::English));
    }

    #[test]
    fn the_language_is_guessed_from_short_words() {
        let text = |words: &str| -> Tongue {
            let all: Vec<Syllable> = words.split(' ').map(|w| one(w, SyllablePlace::Single)).collect();
            Tongue::of(all.iter())
        };
        assert_eq!(text("the sea and thy shore"), Tongue::English);
        assert_eq!(text("und ich bin nicht da"), Tongue::German);
        assert_eq!(text("che non so di te"), Tongue::Italian);
        assert_eq!(text("Ky ri e lux"), Tongue::Plain);
        assert_eq!(text("the Lord"), Tongue::Plain);
    }
}
