//! Instruments that have some notes and lack others: read from `data/notes.toml`.

use crate::facts::Range;
use crate::hands::{entries, range, source};
use crate::load::{number, numbers, pitch, word};
use std::sync::OnceLock;
use toml_edit::{DocumentMut, Item, TableLike};

static NOTES: &str = include_str!("../data/notes.toml");

/// How an instrument comes by a note.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Having {
    /// Plainly.
    Plain,
    /// By a cross-fingering, in pitch or nearly.
    Forked,
    /// With half a hole closed, slowly; or a harmonic that is out of tune; or on large sets only.
    Barely,
    /// With the hand in the bell, muffled.
    Hand,
    /// Not at all.
    Not,
}

/// A whistle or a chanter: one scale, built in several keys.
#[derive(Clone, Debug, PartialEq)]
pub struct Whistle {
    /// Keys, with their lowest notes.
    pub keys: Vec<(String, u8)>,
    /// The usual key.
    pub usual: String,
    /// Notes in semitones above the key.
    pub plain: Vec<u8>,
    /// Cross-fingered.
    pub forked: Vec<u8>,
    /// Half-holed.
    pub half: Vec<u8>,
    /// How far it goes, semitones.
    pub compass: u8,
    /// Where the values come from.
    pub source: String,
}

impl Whistle {
    /// How a whistle whose lowest note is `low` has a note.
    pub fn having(&self, low: u8, key: u8) -> Having {
        let Some(above) = key.checked_sub(low).filter(|a| *a <= self.compass) else { return Having::Not };
        let degree = above % 12;
        if self.plain.contains(&degree) {
            Having::Plain
        } else if self.forked.contains(&degree) {
            Having::Forked
        } else if self.half.contains(&degree) {
            Having::Barely
        } else {
            Having::Not
        }
    }

    /// The lowest note of the one in a key.
    pub fn low(&self, key: &str) -> Option<u8> {
        same_key(&self.keys, key)
    }
}

/// Brass without valves.
#[derive(Clone, Debug, PartialEq)]
pub struct NaturalBrass {
    /// Crooks, with their fundamentals.
    pub crooks: Vec<(String, u8)>,
    /// Harmonics that are played.
    pub harmonics: Vec<u8>,
    /// Those of them that are out of tune.
    pub out_of_tune: Vec<u8>,
    /// The lip brings those to a semitone within so many cents.
    pub lip: f64,
    /// The hand lowers by so many semitones.
    pub hand: u8,
    /// Where the values come from.
    pub source: String,
}

/// Semitones of a harmonic above the fundamental, to the nearest: 12 log2 n.
pub fn harmonic(n: u8) -> u8 {
    (12.0 * ripieno_units::math::log2(f64::from(n.max(1)))).round() as u8
}

impl NaturalBrass {
    /// How a tube of this fundamental has a note.
    pub fn having(&self, fundamental: u8, key: u8) -> Having {
        let at = |n: &u8| fundamental.saturating_add(harmonic(*n));
        let lipped = |n: &u8| {
            let cents = 1200.0 * ripieno_units::math::log2(f64::from((*n).max(1)));
            (cents - 100.0 * (f64::from(key) - f64::from(fundamental))).abs() <= self.lip
        };
        if self.harmonics.iter().any(|n| !self.out_of_tune.contains(n) && at(n) == key) {
            Having::Plain
        } else if self.out_of_tune.iter().any(|n| self.harmonics.contains(n) && lipped(n)) {
            Having::Barely
        } else if self.harmonics.iter().any(|n| at(n) > key && at(n) - key <= self.hand) {
            Having::Hand
        } else {
            Having::Not
        }
    }

    /// The fundamental of a crook.
    pub fn fundamental(&self, key: &str) -> Option<u8> {
        same_key(&self.crooks, key)
    }
}

/// A set of bars, bells or strings.
#[derive(Clone, Debug, PartialEq)]
pub struct BarSet {
    /// What most sets have.
    pub usual: Range,
    /// What the largest have.
    pub large: Range,
    /// Pitch classes that most lack, semitones above C.
    pub lacking: Vec<u8>,
    /// Where the values come from.
    pub source: String,
}

impl BarSet {
    /// How a set has a note.
    pub fn having(&self, key: u8) -> Having {
        if !self.large.holds(i16::from(key)) {
            Having::Not
        } else if !self.usual.holds(i16::from(key)) || self.lacking.contains(&(key % 12)) {
            Having::Barely
        } else {
            Having::Plain
        }
    }
}

/// `Eb`, `e flat`, `E♭`, `D` ... in a list; sharps and flats of one sound are one key.
fn same_key(list: &[(String, u8)], key: &str) -> Option<u8> {
    let wanted = plain(key);
    list.iter().find(|(name, _)| plain(name) == wanted).map(|(_, low)| *low).or_else(|| {
        let sound = sound(&wanted)?;
        // `Bb` where there is a high and a low one: the first that sounds so.
        list.iter().find(|(name, _)| sound_of(name) == Some(sound)).map(|(_, low)| *low)
    })
}

fn plain(key: &str) -> String {
    key.trim().to_lowercase().replace('♭', "b").replace('♯', "#").replace(" flat", "b").replace(" sharp", "#")
}

fn sound_of(name: &str) -> Option<u8> {
    sound(&plain(name))
}

/// Pitch class of a key's name.
fn sound(key: &str) -> Option<u8> {
    let word = key.split_whitespace().next()?;
    let mut letters = word.chars();
    let letter = letters.next()?.to_ascii_uppercase();
    let sign = letters.as_str();
    matches!(sign, "" | "#" | "b").then_some(())?;
    pitch(&format!("{letter}{sign}4")).ok().map(|k| k % 12)
}

#[derive(Default)]
struct All {
    whistles: Vec<(Vec<String>, Whistle)>,
    natural: Vec<(Vec<String>, NaturalBrass)>,
    bars: Vec<(Vec<String>, BarSet)>,
}

fn all() -> &'static All {
    static ALL: OnceLock<All> = OnceLock::new();
    // The file is part of the program; the tests below read it with its errors.
    ALL.get_or_init(|| read(NOTES).unwrap_or_default())
}

fn of<'a, T>(list: &'a [(Vec<String>, T)], id: &str) -> Option<&'a T> {
    list.iter().find(|(ids, _)| ids.iter().any(|i| i == id)).map(|(_, value)| value)
}

/// The whistle of an id of the table.
pub fn whistle_of(id: &str) -> Option<&'static Whistle> {
    of(&all().whistles, id)
}

/// The natural horn or trumpet of an id of the table.
pub fn natural_of(id: &str) -> Option<&'static NaturalBrass> {
    of(&all().natural, id)
}

/// The set of bars of an id of the table.
pub fn bars_of(id: &str) -> Option<&'static BarSet> {
    of(&all().bars, id)
}

fn small(entry: &dyn TableLike, key: &str) -> Result<Vec<u8>, String> {
    Ok(numbers(entry, key)?.iter().map(|n| *n as u8).collect())
}

fn keys(entry: &dyn TableLike, key: &str) -> Result<Vec<(String, u8)>, String> {
    let list =
        entry.get(key).and_then(Item::as_table_like).ok_or_else(|| format!("{key}: a table is needed"))?;
    list.iter()
        .map(|(name, item)| {
            let low = item.as_str().ok_or_else(|| format!("{key}.{name}: a pitch is needed"))?;
            Ok((name.to_string(), pitch(low)?))
        })
        .collect()
}

fn read(text: &str) -> Result<All, String> {
    let document: DocumentMut = text.parse().map_err(|e| format!("{e}"))?;
    let whistles = entries(&document, "whistle", |entry, _| {
        Ok(Whistle {
            keys: keys(entry, "keys")?,
            usual: word(entry, "usual")?,
            plain: small(entry, "plain")?,
            forked: small(entry, "forked")?,
            half: small(entry, "half")?,
            compass: (12.0 * number(entry, "octaves")? + number(entry, "over")?) as u8,
            source: source(&document, entry)?,
        })
    })?;
    let natural = entries(&document, "natural", |entry, _| {
        Ok(NaturalBrass {
            crooks: keys(entry, "crooks")?,
            harmonics: small(entry, "harmonics")?,
            out_of_tune: small(entry, "false")?,
            lip: number(entry, "lip-cents")?,
            hand: number(entry, "hand")? as u8,
            source: source(&document, entry)?,
        })
    })?;
    let bars = entries(&document, "bars", |entry, _| {
        Ok(BarSet {
            usual: range(entry, "usual")?,
            large: range(entry, "large")?,
            lacking: small(entry, "lacking")?,
            source: source(&document, entry)?,
        })
    })?;
    Ok(All { whistles, natural, bars })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::load::by_id;

    #[test]
    fn the_data_file_parses_and_agrees_with_the_table() {
        let all = read(NOTES).unwrap();
        for (ids, whistle) in &all.whistles {
            let low = whistle.low(&whistle.usual).unwrap();
            for id in ids {
                let range = by_id(id).unwrap().hard.unwrap();
                assert_eq!((range.low, range.high), (low, low + whistle.compass), "{id}");
            }
        }
        for (ids, brass) in &all.natural {
            assert!(brass.crooks.iter().all(|(_, f)| (22..=43).contains(f)), "{ids:?}");
        }
        for (ids, set) in &all.bars {
            for id in ids {
                let range = by_id(id).unwrap().hard.unwrap();
                assert!(set.large.low <= range.low && set.large.high >= range.high, "{id}");
            }
        }
    }

    #[test]
    fn a_whistle_in_d_has_d_major_and_c_natural() {
        let whistle = whistle_of("low-whistle").unwrap();
        let low = whistle.low("D").unwrap();
        let have = |key| whistle.having(low, key);
        assert!([62, 64, 66, 67, 69, 71, 73, 74, 86].iter().all(|k| have(*k) == Having::Plain));
        assert_eq!(have(72), Having::Forked);
        assert_eq!(have(65), Having::Barely);
        // No hole lies below E that could be halved for E flat; and nothing is below D or above two octaves.
        assert_eq!([have(63), have(61), have(87)], [Having::Not; 3]);
    }

    #[test]
    fn keys_by_any_spelling() {
        let whistle = whistle_of("tin-whistle").unwrap();
        assert_eq!(whistle.low("e flat"), whistle.low("Eb"));
        assert_eq!(whistle.low("D#"), whistle.low("Eb"));
        assert_eq!(whistle.low("H"), None);
        assert_eq!(whistle.low(""), None);
    }

    #[test]
    fn the_harmonic_series() {
        // The series on C2, as every handbook prints it: C2 C3 G3 C4 E4 G4 Bb4 C5 D5 E5 F#5 G5 A5(Ab5) Bb5 B5 C6.
        let series: Vec<u8> = (1..=16).map(|n| 36 + harmonic(n)).collect();
        assert_eq!(series, [36, 48, 55, 60, 64, 67, 70, 72, 74, 76, 78, 79, 80, 82, 83, 84]);
        let horn = natural_of("natural-horn").unwrap();
        let f = horn.fundamental("F").unwrap();
        assert_eq!(horn.having(f, 65), Having::Plain);
        // B3 is written F sharp 4, a semitone under the sixth harmonic: stopped by hand.
        assert_eq!(horn.having(f, 59), Having::Hand);
        let trumpet = natural_of("natural-trumpet").unwrap();
        assert_eq!(trumpet.having(38, 63), Having::Not);
        // Baroque parts in D write G and G sharp for the eleventh, B flat and B for the thirteenth.
        assert_eq!([79, 80, 82, 83].map(|k| trumpet.having(38, k)), [Having::Barely; 4]);
    }
}
