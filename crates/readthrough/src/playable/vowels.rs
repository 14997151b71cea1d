//! Which vowel a syllable is sung on, as far as its letters tell: the language is guessed from the words of the part.
//!
//! The rules of spelling are data (`data/closed-vowels.tsv`). What is not known counts as open: a false alarm costs more than a
//! vowel that nobody warned of.

use ripieno_music::{Syllable, SyllablePlace};
use std::sync::LazyLock;

static TABLE: &str = include_str!("../../data/closed-vowels.tsv");

/// So many words that only one language has make a text one of it.
const ENOUGH: usize = 2;

/// The language that is sung, as the table calls it; `None` for Latin, languages that are written as they sound, and bare syllables.
pub(crate) type Tongue = Option<&'static str>;

/// What languages that nobody knows are read as.
const PLAIN: &str = "plain";

/// One row of the table.
struct Row {
    what: &'static str,
    tongue: &'static str,
    letters: Vec<&'static str>,
    only: Vec<&'static str>,
    unless: Vec<&'static str>,
}

static ROWS: LazyLock<Vec<Row>> = LazyLock::new(|| {
    let rows = TABLE.lines().filter(|l| !l.is_empty() && !l.starts_with('#'));
    rows.map(|line| {
        let mut columns = line.split('\t');
        let mut word = || columns.next().unwrap_or_default().trim();
        let (what, tongue) = (word(), word());
        let [letters, only, unless] =
            std::array::from_fn(|_| word().split(' ').filter(|w| !w.is_empty()).collect());
        Row { what, tongue, letters, only, unless }
    })
    .collect()
});

/// The language of a text: the one that has the most of the short words.
pub(crate) fn tongue<'a>(syllables: impl Iterator<Item = &'a Syllable>) -> Tongue {
    let signs: Vec<&Row> = ROWS.iter().filter(|r| r.what == "sign").collect();
    let mut counts = vec![0_usize; signs.len()];
    for syllable in syllables.filter(|s| s.place == SyllablePlace::Single) {
        let word = letters(&syllable.text);
        for (count, row) in counts.iter_mut().zip(&signs) {
            *count += usize::from(row.letters.contains(&word.as_str()));
        }
    }
    let most = counts.iter().copied().max().filter(|most| *most >= ENOUGH)?;
    let mut best = counts.iter().zip(&signs).filter(|(count, _)| **count == most).map(|(_, row)| row.tongue);
    let first = best.next();
    // Of two that are as likely none is taken.
    if best.next().is_some() { None } else { first }
}

fn letters(text: &str) -> String {
    text.to_lowercase().chars().filter(|c| c.is_alphabetic()).collect()
}

fn is_vowel(c: char) -> bool {
    "aeiouyäöüáàâéèêëíìîïóòôúùûýœæ".contains(c)
}

/// Does what stands after the vowels begin so? The marks are those of the table.
fn begins(coda: &str, mark: &str) -> bool {
    match mark {
        "-" => coda.is_empty(),
        "~e" => coda.len() > 1 && coda.ends_with('e') && coda.chars().filter(|c| is_vowel(*c)).count() == 1,
        "~n" => {
            let next = coda.chars().nth(1);
            coda.starts_with(['n', 'm'])
                && next.is_none_or(|c| !is_vowel(c) && !coda.starts_with(&format!("{c}{c}")))
        }
        letters => coda.starts_with(letters),
    }
}

/// Does the syllable have a closed vowel alone: i, ee, u, oo, ü, y?
pub(crate) fn closed(syllable: &Syllable, tongue: Tongue) -> bool {
    let word = letters(&syllable.text);
    let tongue = tongue.unwrap_or(PLAIN);
    let rows = |what: &'static str| ROWS.iter().filter(move |r| r.what == what && r.tongue == tongue);
    let has = |what: &'static str, letters: &str| rows(what).any(|r| r.letters.contains(&letters));
    if syllable.place == SyllablePlace::Single && (has("open", &word) || has("closed", &word)) {
        return has("closed", &word);
    }
    // The vowels that sound, and what stands after them.
    let Some(from) = word.find(is_vowel) else { return false };
    let rest = &word[from..];
    let end = rest.find(|c| !is_vowel(c)).unwrap_or(rest.len());
    let (vowels, coda) = rest.split_at(end);
    if syllable.place == SyllablePlace::End && coda.is_empty() && has("ends", vowels) {
        return true;
    }
    let fits = |row: &Row| {
        row.letters.contains(&vowels)
            && (row.only.is_empty() || row.only.iter().any(|mark| begins(coda, mark)))
            && !row.unless.iter().any(|mark| begins(coda, mark))
    };
    let each = |row: &Row| vowels.chars().all(|c| row.letters.iter().any(|l| l.starts_with(c)));
    rows("vowels").any(fits) || rows("each").any(each)
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
    fn every_row_is_read() {
        for row in ROWS.iter() {
            assert!(["sign", "closed", "open", "vowels", "each", "ends"].contains(&row.what), "{}", row.what);
            assert!(!row.letters.is_empty() && !row.tongue.is_empty(), "{} {}", row.what, row.tongue);
        }
        assert!(ROWS.iter().any(|r| r.what == "each" && r.tongue == PLAIN));
    }

    #[test]
    fn closed_vowels() {
        for text in ["oo", "ee", "Ky", "mi", "lux", "tu", "du", "Für"] {
            assert!(closed(text, None), "{text}");
        }
        for text in ["ah", "lon", "ge", "Lu-a", "sky-a", "men", "", "tsk", "e", "noël"] {
            assert!(!closed(text, None), "{text}");
        }
    }

    #[test]
    fn by_language() {
        for text in [
            "you", "true", "who", "through", "blue", "few", "be", "he", "me", "she", "see", "sing,", "moon",
            "dream",
        ] {
            assert!(closed(text, Some("english")), "{text}");
        }
        for text in [
            "white,", "night.", "us;", "my", "sky", "high", "blind", "bear", "heart", "sun", "love", "bird",
            "die", "skies", "cried", "the", "I",
        ] {
            assert!(!closed(text, Some("english")), "{text}");
        }
        for (text, tongue) in [
            ("Lie", Some("german")),
            ("früh", Some("german")),
            ("nuit", Some("french")),
            ("vous", Some("french")),
            ("più", Some("italian")),
        ] {
            // `nuit` ends on i, but its letters are two vowels: not judged.
            assert_eq!(closed(text, tongue), text != "nuit", "{text}");
        }
        for (text, tongue) in [
            ("ein", Some("german")),
            ("cea", Some("italian")),
            ("mio", Some("italian")),
            ("vin", Some("french")),
        ] {
            assert!(!closed(text, tongue), "{text}");
        }
    }

    #[test]
    fn the_end_of_a_word_is_another_matter() {
        assert!(super::closed(&one("ly", SyllablePlace::End), Some("english")));
        assert!(!closed("fly", Some("english")));
    }

    #[test]
    fn the_language_is_guessed_from_short_words() {
        let text = |words: &str| -> Tongue {
            let all: Vec<Syllable> = words.split(' ').map(|w| one(w, SyllablePlace::Single)).collect();
            tongue(all.iter())
        };
        assert_eq!(text("the sea and thy shore"), Some("english"));
        assert_eq!(text("und ich bin nicht da"), Some("german"));
        assert_eq!(text("che non so di te"), Some("italian"));
        assert_eq!(text("Ky ri e lux"), None);
        assert_eq!(text("the Lord"), None);
    }
}
