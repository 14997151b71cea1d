//! What hands reach and do on strings, bars and keys: read from `data/hands.toml`.

use crate::facts::Range;
use crate::load::{by_id, number, numbers, one_or_more, optional_number, pitch, words};
use ripieno_units::math;
use std::sync::OnceLock;
use toml_edit::{DocumentMut, Item, TableLike};

static HANDS: &str = include_str!("../data/hands.toml");

/// A fingerboard and the hand on it. Lengths in millimetres.
#[derive(Clone, Debug, PartialEq)]
pub struct Strings {
    /// Open strings as MIDI keys, from the lowest.
    pub open: Vec<u8>,
    /// The lowest string can be let down to this key.
    pub extension: Option<u8>,
    /// From nut to bridge.
    pub length: f64,
    /// First to fourth finger, at rest.
    pub rest: f64,
    /// First to fourth finger, stretched at ease.
    pub ease: f64,
    /// First to fourth finger, at most.
    pub widest: f64,
    /// Highest stopped note, semitones above the open string.
    pub highest: u8,
    /// Strings in a row that one finger stops at once.
    pub barre: u8,
    /// Strings sound together only as neighbours.
    pub bowed: bool,
    /// Semitones above the open string from which the thumb stops too, and how far it opens to the third finger.
    pub thumb: Option<(u8, f64)>,
    /// Where the values come from.
    pub source: String,
}

impl Strings {
    /// Distance of a note so many semitones above the open string from the nut, millimetres: the string is divided as
    /// its frequency is multiplied (L (1 - 2^(-n/12))).
    pub fn place(&self, semitones: u8) -> f64 {
        self.length * (1.0 - math::exp2(-f64::from(semitones) / 12.0))
    }
}

/// Bars or strings that are struck with sticks. Lengths in millimetres.
#[derive(Clone, Debug, PartialEq)]
pub struct Sticks {
    /// From one natural to the next, at the low and at the high end.
    pub natural: (f64, f64),
    /// What it is laid out over.
    pub range: Range,
    /// Two sticks of one hand, at most; 0 where a hand has but one.
    pub hand: f64,
    /// Both hands apart, at most.
    pub reach: f64,
    /// Speed of a hand at ease, millimetres a second.
    pub ease: f64,
    /// Speed of a hand at most, millimetres a second.
    pub fastest: f64,
    /// Where the values come from.
    pub source: String,
}

impl Sticks {
    /// Where a note lies, millimetres from the lowest: naturals as on a keyboard, accidentals between them.
    pub fn place(&self, key: u8) -> f64 {
        let (low, high) = (naturals(self.range.low), naturals(self.range.high));
        let at = naturals(key) - low;
        let all = (high - low).max(1.0);
        // Widths change evenly from end to end: the sum of what lies below.
        self.natural.0 * at + (self.natural.1 - self.natural.0) * at * at / (2.0 * all)
    }
}

/// A keyboard and the hands on it.
#[derive(Clone, Debug, PartialEq)]
pub struct Keyboard {
    /// Naturals between the outer keys of a hand, at ease.
    pub ease: f64,
    /// The same, at most.
    pub widest: f64,
    /// A pedal can hold for the hands.
    pub pedal: bool,
    /// Notes for the feet, and what they reach.
    pub feet: Option<(u8, Range)>,
    /// Where the values come from.
    pub source: String,
}

/// Strokes without pitch.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Strokes {
    /// Ids that one stroke takes both hands for.
    pub two_hands: Vec<String>,
    /// Ids that a foot can strike in a kit.
    pub feet: Vec<String>,
    /// Ids that are kits.
    pub kits: Vec<String>,
}

/// Place of a key on a keyboard, in naturals from C of octave -1: C 0, C sharp 0.5, D 1 ... B 6.
pub fn naturals(key: u8) -> f64 {
    const AT: [f64; 12] = [0.0, 0.5, 1.0, 1.5, 2.0, 3.0, 3.5, 4.0, 4.5, 5.0, 5.5, 6.0];
    7.0 * f64::from(key / 12) + AT[usize::from(key % 12)]
}

#[derive(Default)]
struct Hands {
    strings: Vec<(Vec<String>, Strings)>,
    sticks: Vec<(Vec<String>, Sticks)>,
    keyboards: Vec<(Vec<String>, Keyboard)>,
    strokes: Strokes,
}

fn hands() -> &'static Hands {
    static ALL: OnceLock<Hands> = OnceLock::new();
    // The file is part of the program; the tests below read it with its errors.
    ALL.get_or_init(|| read(HANDS).unwrap_or_default())
}

fn of<'a, T>(list: &'a [(Vec<String>, T)], id: &str) -> Option<&'a T> {
    list.iter().find(|(ids, _)| ids.iter().any(|i| i == id)).map(|(_, value)| value)
}

/// The fingerboard of an instrument, by its id in the table.
pub fn strings_of(id: &str) -> Option<&'static Strings> {
    of(&hands().strings, id)
}

/// The bars of an instrument, by its id in the table.
pub fn sticks_of(id: &str) -> Option<&'static Sticks> {
    of(&hands().sticks, id)
}

/// The keyboard of an instrument, by its id in the table.
pub fn keyboard_of(id: &str) -> Option<&'static Keyboard> {
    of(&hands().keyboards, id)
}

/// What strokes without pitch take.
pub fn strokes() -> &'static Strokes {
    &hands().strokes
}

/// A list of tables with the ids and the source of each.
pub(crate) fn entries<T>(
    document: &DocumentMut,
    key: &str,
    make: impl Fn(&dyn TableLike, &[String]) -> Result<T, String>,
) -> Result<Vec<(Vec<String>, T)>, String> {
    let list = document.get(key).and_then(Item::as_array_of_tables).ok_or(format!("no [[{key}]]"))?;
    list.iter()
        .map(|entry| {
            let ids = words(entry, "instruments").map_err(|e| format!("{key}: {e}"))?;
            let known = ids.iter().find(|i| by_id(i).is_none_or(|known| known.id != **i));
            if let Some(unknown) = known {
                return Err(format!("{key}: {unknown} is no instrument of the table"));
            }
            make(entry, &ids)
                .map(|value| (ids.clone(), value))
                .map_err(|e| format!("{}: {e}", ids.join(", ")))
        })
        .collect()
}

/// The sources of an entry, in full.
pub(crate) fn source(document: &DocumentMut, entry: &dyn TableLike) -> Result<String, String> {
    let sources = document.get("sources").and_then(Item::as_table_like).ok_or("no [sources]")?;
    let mut full = Vec::new();
    for tag in one_or_more(entry, "source").ok_or("no source")? {
        let one = sources.get(&tag).and_then(Item::as_str);
        full.push(one.ok_or_else(|| format!("the source {tag} is not in [sources]"))?);
    }
    Ok(full.join("; "))
}

/// Two pitches.
pub(crate) fn range(entry: &dyn TableLike, key: &str) -> Result<Range, String> {
    match words(entry, key)?.as_slice() {
        [low, high] => Ok(Range { low: pitch(low)?, high: pitch(high)? }),
        _ => Err(format!("{key}: two pitches are needed")),
    }
}

pub(crate) fn yes(entry: &dyn TableLike, key: &str) -> Result<bool, String> {
    entry.get(key).and_then(Item::as_bool).ok_or_else(|| format!("{key}: true or false is needed"))
}

fn read(text: &str) -> Result<Hands, String> {
    let document: DocumentMut = text.parse().map_err(|e| format!("{e}"))?;
    let strings = entries(&document, "strings", |entry, _| {
        let extension = match entry.get("extension").and_then(Item::as_str) {
            Some(name) => Some(pitch(name)?),
            None => None,
        };
        let thumb = match optional_number(entry, "thumb-from")? {
            Some(from) => Some((from as u8, number(entry, "thumb-mm")?)),
            None => None,
        };
        Ok(Strings {
            open: words(entry, "open")?.iter().map(|o| pitch(o)).collect::<Result<_, _>>()?,
            extension,
            length: number(entry, "length-mm")?,
            rest: number(entry, "rest-mm")?,
            ease: number(entry, "ease-mm")?,
            widest: number(entry, "widest-mm")?,
            highest: number(entry, "highest")? as u8,
            barre: number(entry, "barre")? as u8,
            bowed: yes(entry, "bowed")?,
            thumb,
            source: source(&document, entry)?,
        })
    })?;
    let sticks = entries(&document, "sticks", |entry, ids| {
        let natural = match numbers(entry, "natural-mm")?.as_slice() {
            [low, high] => (*low, *high),
            _ => return Err("natural-mm: two numbers are needed".into()),
        };
        let range = ids.first().and_then(|i| by_id(i)).and_then(|i| i.hard).ok_or("it has no range")?;
        Ok(Sticks {
            natural,
            range,
            hand: number(entry, "hand-mm")?,
            reach: number(entry, "reach-mm")?,
            ease: number(entry, "ease-mm-s")?,
            fastest: number(entry, "fastest-mm-s")?,
            source: source(&document, entry)?,
        })
    })?;
    let keyboards = entries(&document, "keyboard", |entry, _| {
        let feet = match optional_number(entry, "feet")? {
            Some(notes) => Some((notes as u8, range(entry, "pedals")?)),
            None => None,
        };
        Ok(Keyboard {
            ease: number(entry, "ease")?,
            widest: number(entry, "widest")?,
            pedal: yes(entry, "pedal")?,
            feet,
            source: source(&document, entry)?,
        })
    })?;
    let entry = document.get("strokes").and_then(Item::as_table_like).ok_or("no [strokes]")?;
    source(&document, entry)?;
    let strokes = Strokes {
        two_hands: words(entry, "two-hands")?,
        feet: words(entry, "feet")?,
        kits: words(entry, "kits")?,
    };
    let ids = [&strokes.two_hands, &strokes.feet, &strokes.kits];
    if let Some(unknown) = ids.into_iter().flatten().find(|i| by_id(i).is_none()) {
        return Err(format!("strokes: {unknown} is no instrument of the table"));
    }
    Ok(Hands { strings, sticks, keyboards, strokes })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_data_file_parses_and_its_values_make_sense() {
        let all = read(HANDS).unwrap();
        for (ids, strings) in &all.strings {
            assert!(strings.open.windows(2).all(|w| w[0] < w[1]), "{ids:?}");
            assert!(strings.rest <= strings.ease && strings.ease <= strings.widest, "{ids:?}");
            // The table's own range is within what the strings give.
            for id in ids {
                let range = by_id(id).unwrap().hard.unwrap();
                let low = strings.extension.unwrap_or(strings.open[0]);
                assert_eq!(range.low, low, "{id}");
                assert!(range.high <= strings.open[strings.open.len() - 1] + strings.highest, "{id}");
            }
        }
        for (ids, sticks) in &all.sticks {
            assert!(sticks.ease < sticks.fastest, "{ids:?}");
            let places: Vec<f64> = (sticks.range.low..=sticks.range.high).map(|k| sticks.place(k)).collect();
            assert!(places.windows(2).all(|w| w[0] < w[1]), "{ids:?}");
        }
        assert!(all.keyboards.iter().all(|(_, k)| k.ease <= k.widest));
    }

    #[test]
    fn half_a_string_is_the_octave_and_two_thirds_the_fifth() {
        let violin = strings_of("violin").unwrap();
        assert!((violin.place(12) - 164.0).abs() < 1e-9);
        // The equal fifth is two cents narrow of 1/3 of the string.
        assert!((violin.place(7) - 328.0 / 3.0).abs() < 0.3);
        assert_eq!(violin.place(0), 0.0);
    }

    #[test]
    fn an_octave_of_low_marimba_is_a_twelfth_of_high() {
        // The two ends of the span that a hand is said to have, in the same millimetres.
        let marimba = sticks_of("marimba").unwrap();
        let low = marimba.place(48) - marimba.place(36);
        let high = marimba.place(96) - marimba.place(77);
        assert!((low - 440.0).abs() < 15.0 && (high - 460.0).abs() < 15.0, "{low} {high}");
        assert_eq!(naturals(60), 35.0);
        assert_eq!(naturals(61), 35.5);
        assert_eq!(naturals(72) - naturals(60), 7.0);
    }

    #[test]
    fn errors_name_the_entry() {
        let error = |text: &str| read(text).map(|_| ()).unwrap_err();
        assert_eq!(
            error("[sources]\n[[strings]]\ninstruments = [\"kazoo\"]"),
            "strings: kazoo is no instrument of the table"
        );
        assert_eq!(
            error("[sources]\n[[strings]]\ninstruments = [\"violin\"]"),
            "violin: open: a list is needed"
        );
    }
}
