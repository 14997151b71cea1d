//! What the harp's pedals and the timpanist's drums can do, read once from the data files.

use crate::facts::Range;
use std::sync::OnceLock;
use toml_edit::{DocumentMut, Item, TableLike, Value};

static HARP: &str = include_str!("../data/harp.toml");
static TIMPANI: &str = include_str!("../data/timpani.toml");

/// The pedal harp.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct HarpFacts {
    /// Letters by pedal from left to right, 0 for C up to 6 for B.
    pub order: [u8; 7],
    /// So many of them are the left foot's.
    pub left: usize,
    /// Lowest string at natural, MIDI key.
    pub low: i16,
    /// Highest string at natural, MIDI key.
    pub high: i16,
    /// Highest wire string at natural, MIDI key.
    pub wire: i16,
    /// Strings that no pedal moves, MIDI keys at natural.
    pub fixed: Vec<i16>,
    /// Seconds for one change with one foot, at ease.
    pub comfortable: f64,
    /// The same, quickly.
    pub quick: f64,
    /// The least.
    pub least: f64,
    /// The pedal is home so many seconds before the string is plucked.
    pub home: f64,
    /// Seconds after the pluck in which a gut or nylon string buzzes when its pedal moves.
    pub string_rings: f64,
    /// The same of a wire string.
    pub wire_rings: f64,
    /// Fingers of one hand that play.
    pub fingers: usize,
    /// Widest chord of one hand, in strings counted inclusively.
    pub reach: i16,
}

/// One size of drum; MIDI keys.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct DrumFacts {
    /// Diameter in inches.
    pub inches: u16,
    /// What is usually asked of it.
    pub usual: Range,
    /// Where it sounds best.
    pub best: Range,
    /// What it can be brought to.
    pub extended: Range,
}

/// Timpani.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct TimpaniFacts {
    /// Every size, the largest first.
    pub drums: Vec<DrumFacts>,
    /// Inches of the set that a player has unless told otherwise.
    pub set: Vec<u16>,
    /// Seconds for one retuning with its check, at ease.
    pub comfortable: f64,
    /// The least with a check, apart from [`TimpaniFacts::by_semitone`].
    pub checked: f64,
    /// Seconds on top for each semitone.
    pub by_semitone: f64,
    /// By the gauge alone, without a check.
    pub gauge: f64,
    /// Widest glissando by pedal, semitones.
    pub glissando: i16,
    /// Strokes closer than this, in seconds, want neighbouring drums.
    pub travel: f64,
}

impl TimpaniFacts {
    /// A drum by its inches.
    pub fn drum(&self, inches: u16) -> Option<&DrumFacts> {
        self.drums.iter().find(|d| d.inches == inches)
    }
}

/// The pedal harp.
pub fn harp() -> &'static HarpFacts {
    static READ: OnceLock<HarpFacts> = OnceLock::new();
    // The files are part of the program; the tests below read them with their errors.
    READ.get_or_init(|| read_harp(HARP).unwrap_or_default())
}

/// Timpani.
pub fn timpani() -> &'static TimpaniFacts {
    static READ: OnceLock<TimpaniFacts> = OnceLock::new();
    READ.get_or_init(|| read_timpani(TIMPANI).unwrap_or_default())
}

fn read_harp(text: &str) -> Result<HarpFacts, String> {
    let document: DocumentMut = text.parse().map_err(|e| format!("{e}"))?;
    let [pedals, strings, fixed, change, ringing, hand] =
        ["pedals", "strings", "fixed", "change", "ringing", "hand"].map(|name| group(&document, name));
    let (pedals, strings, fixed) = (pedals?, strings?, fixed?);
    let (change, ringing, hand) = (change?, ringing?, hand?);
    let letters = pedals.get("order").and_then(Item::as_array).ok_or("pedals.order: a list is needed")?;
    let order: Vec<u8> = letters
        .iter()
        .map(|l| l.as_str().and_then(|l| "CDEFGAB".find(l)).map(|place| place as u8))
        .collect::<Option<_>>()
        .ok_or("pedals.order: letters are needed")?;
    Ok(HarpFacts {
        order: order.try_into().map_err(|_| "pedals.order: seven letters are needed")?,
        left: number(pedals, "left")? as usize,
        low: number(strings, "low")? as i16,
        high: number(strings, "high")? as i16,
        wire: number(strings, "wire")? as i16,
        fixed: numbers(fixed, "keys")?.iter().map(|k| *k as i16).collect(),
        comfortable: number(change, "comfortable")?,
        quick: number(change, "quick")?,
        least: number(change, "least")?,
        home: number(change, "home")?,
        string_rings: number(ringing, "string")?,
        wire_rings: number(ringing, "wire")?,
        fingers: number(hand, "fingers")? as usize,
        reach: number(hand, "strings")? as i16,
    })
}

fn read_timpani(text: &str) -> Result<TimpaniFacts, String> {
    let document: DocumentMut = text.parse().map_err(|e| format!("{e}"))?;
    let [set, tuning, glissando, travel] =
        ["set", "tuning", "glissando", "travel"].map(|name| group(&document, name));
    let (set, tuning, glissando, travel) = (set?, tuning?, glissando?, travel?);
    let list = document.get("drum").and_then(Item::as_array_of_tables).ok_or("no [[drum]]")?;
    let mut drums = Vec::new();
    for drum in list {
        sourced(&document, drum, "drum")?;
        drums.push(DrumFacts {
            inches: number(drum, "inches")? as u16,
            usual: range(drum, "usual")?,
            best: range(drum, "best")?,
            extended: range(drum, "extended")?,
        });
    }
    drums.sort_by_key(|d| std::cmp::Reverse(d.inches));
    Ok(TimpaniFacts {
        drums,
        set: numbers(set, "drums")?.iter().map(|d| *d as u16).collect(),
        comfortable: number(tuning, "comfortable")?,
        checked: number(tuning, "checked")?,
        by_semitone: number(tuning, "by-semitone")?,
        gauge: number(tuning, "gauge")?,
        glissando: number(glissando, "semitones")? as i16,
        travel: number(travel, "seconds")?,
    })
}

/// A group of values, which must say its source.
fn group<'a>(document: &'a DocumentMut, name: &str) -> Result<&'a dyn TableLike, String> {
    let table = document.get(name).and_then(Item::as_table_like).ok_or_else(|| format!("no [{name}]"))?;
    sourced(document, table, name)?;
    Ok(table)
}

fn sourced(document: &DocumentMut, table: &dyn TableLike, name: &str) -> Result<(), String> {
    let tags: Vec<&str> = match table.get("source").and_then(Item::as_value) {
        Some(Value::String(tag)) => vec![tag.value()],
        Some(Value::Array(tags)) => tags.iter().filter_map(Value::as_str).collect(),
        _ => Vec::new(),
    };
    let known = |tag: &&str| document.get("sources").and_then(|s| s.get(tag)).is_some();
    if tags.is_empty() || !tags.iter().all(known) {
        return Err(format!("{name}: no source, or one that is not in [sources]"));
    }
    Ok(())
}

fn as_number(value: &Value) -> Option<f64> {
    value.as_float().or_else(|| value.as_integer().map(|n| n as f64))
}

fn number(table: &dyn TableLike, key: &str) -> Result<f64, String> {
    let value = table.get(key).and_then(Item::as_value).and_then(as_number);
    value.ok_or_else(|| format!("{key}: a number is needed"))
}

fn numbers(table: &dyn TableLike, key: &str) -> Result<Vec<f64>, String> {
    let list = table.get(key).and_then(Item::as_array).ok_or_else(|| format!("{key}: a list is needed"))?;
    list.iter().map(as_number).collect::<Option<_>>().ok_or_else(|| format!("{key}: numbers are needed"))
}

fn range(table: &dyn TableLike, key: &str) -> Result<Range, String> {
    match numbers(table, key)?.as_slice() {
        [low, high] => Ok(Range { low: *low as u8, high: *high as u8 }),
        _ => Err(format!("{key}: two keys are needed")),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_files_are_whole_and_every_group_has_a_source() {
        let harp = read_harp(HARP).unwrap();
        let mut letters = harp.order;
        letters.sort_unstable();
        assert_eq!(letters, [0, 1, 2, 3, 4, 5, 6]);
        // 47 strings, seven letters an octave from C1 to G7.
        assert_eq!((harp.high - harp.low) / 12 * 7 + 5, 47);
        assert!(harp.least < harp.quick && harp.quick < harp.comfortable);
        let timpani = read_timpani(TIMPANI).unwrap();
        assert!(timpani.set.iter().all(|inches| timpani.drum(*inches).is_some()));
        for drum in &timpani.drums {
            assert!(drum.extended.low <= drum.usual.low && drum.usual.low <= drum.best.low, "{drum:?}");
            assert!(drum.best.high <= drum.usual.high && drum.usual.high <= drum.extended.high, "{drum:?}");
        }
    }

    #[test]
    fn a_group_without_source_is_refused() {
        assert!(read_harp(&HARP.replacen("source = \"pedals\"", "", 1)).is_err());
        assert!(read_timpani(&TIMPANI.replace("papastefan = ", "other = ")).is_err());
    }
}
