//! What players can and cannot do beyond the table: extremes by register, leaps, trills, voices, and how long things take.
//!
//! Read once from `data/players.toml`. What is not there is not known, and nobody is checked for it.

use crate::facts::Range;
use crate::load::{as_number, number, one_or_more, optional_number, pitch, words};
use std::collections::BTreeMap;
use std::sync::OnceLock;
use toml_edit::{Array, DocumentMut, Item, TableLike};

static PLAYERS: &str = include_str!("../data/players.toml");

/// A register with the dynamic that bounds it.
#[derive(Clone, Debug, PartialEq)]
pub struct Extreme {
    /// The register.
    pub range: Range,
    /// The softest or loudest mark that it gives, as written: `mp`.
    pub mark: String,
    /// So many seconds beyond the mark can be managed.
    pub seconds: f64,
}

/// Two neighbouring notes of a trill, as MIDI keys.
pub type TrillPair = (u8, u8);

/// What is known of the players of one instrument.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Limits {
    /// Registers that cannot be soft.
    pub soft: Vec<Extreme>,
    /// Registers that cannot be loud.
    pub loud: Vec<Extreme>,
    /// Leaps wider than so many semitones want at least so many seconds from onset to onset.
    pub leap: Option<(f64, f64)>,
    /// Notes a second under a slur: easily, and at most.
    pub scale: Option<(f64, f64)>,
    /// Trills without a fingering.
    pub trills_impossible: Vec<TrillPair>,
    /// Trills with a poor one.
    pub trills_hard: Vec<TrillPair>,
    /// No trill below this key.
    pub trills_from: Option<u8>,
    /// Widest tremolo between two notes, semitones.
    pub tremolo: Option<f64>,
    /// High notes up to here are daily work, though they lie above the comfortable range.
    pub daily_to: Option<u8>,
    /// What a slide gives in its first position, as keys; empty where there is none.
    pub slide_first: Vec<u8>,
    /// Seconds from one position of a slide to the next.
    pub slide_seconds: Option<f64>,
    /// Where a voice's mean pitch lies well.
    pub tessitura: Option<Range>,
    /// Closed vowels cannot be kept from this key on.
    pub open_above: Option<u8>,
    /// Words are lost from this key on.
    pub text_above: Option<u8>,
    /// Other instruments (ids) that the player may take up.
    pub changes: Vec<String>,
    /// Where the values come from.
    pub source: String,
}

/// Seconds that things take.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Times {
    /// Strings: to put the mute on, to take it off.
    pub mute_strings: (f64, f64),
    /// Brass: the same.
    pub mute_brass: (f64, f64),
    /// Onset to onset, from bow to finger.
    pub to_pizzicato: f64,
    /// Onset to onset, from finger to bow.
    pub to_arco: f64,
    /// To take up another instrument in peace, and in haste.
    pub change: (f64, f64),
    /// To turn a page.
    pub page: f64,
}

/// What lasts: shares of time and longest stretches.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Stamina {
    /// The window that shares are taken over, seconds.
    pub window: f64,
    /// Share of it that may lie in the top of the range: brass, voices.
    pub high: (f64, f64),
    /// Where the top begins, in semitones below the end of the comfortable range: brass, voices.
    pub top: (f64, f64),
    /// Longest playing without a rest that recovers, seconds: brass, voices.
    pub without_rest: (f64, f64),
    /// A rest that recovers, seconds.
    pub recovery: f64,
}

#[derive(Default)]
struct Loaded {
    limits: BTreeMap<String, Limits>,
    times: Times,
    stamina: Stamina,
}

fn loaded() -> &'static Loaded {
    static LOADED: OnceLock<Loaded> = OnceLock::new();
    // The file is part of the program; a test reads it with its errors.
    LOADED.get_or_init(|| read(PLAYERS).unwrap_or_default())
}

/// What is known of the players of an instrument, by its id in the table.
pub fn limits(id: &str) -> Option<&'static Limits> {
    loaded().limits.get(id)
}

/// How long things take.
pub fn times() -> &'static Times {
    &loaded().times
}

/// What lasts.
pub fn stamina() -> &'static Stamina {
    &loaded().stamina
}

fn read(text: &str) -> Result<Loaded, String> {
    let document: DocumentMut = text.parse().map_err(|e| format!("{e}"))?;
    let table = |key: &str| document.get(key).and_then(Item::as_table_like).ok_or(format!("no [{key}]"));
    let sources = table("sources")?;
    let (t, s) = (table("times")?, table("stamina")?);
    cited(t, sources)?;
    cited(s, sources)?;
    let both = |of: &dyn TableLike, a: &str, b: &str| Ok::<_, String>((number(of, a)?, number(of, b)?));
    let times = Times {
        mute_strings: both(t, "mute-on-strings", "mute-off-strings")?,
        mute_brass: both(t, "mute-on-brass", "mute-off-brass")?,
        to_pizzicato: number(t, "to-pizzicato")?,
        to_arco: number(t, "to-arco")?,
        change: both(t, "change-instrument", "change-instrument-least")?,
        page: number(t, "page-turn")?,
    };
    let stamina = Stamina {
        window: number(s, "window")?,
        high: both(s, "high-brass", "high-voice")?,
        top: both(s, "top-brass", "top-voice")?,
        without_rest: both(s, "without-rest-brass", "without-rest-voice")?,
        recovery: number(s, "recovery")?,
    };
    let mut limits = BTreeMap::new();
    for entry in document.get("player").and_then(Item::as_array_of_tables).ok_or("no [[player]]")? {
        let id = entry.get("id").and_then(Item::as_str).ok_or("a player without id")?;
        let one = player(entry, sources).map_err(|e| format!("{id}: {e}"))?;
        if limits.insert(id.to_string(), one).is_some() {
            return Err(format!("{id} stands twice"));
        }
    }
    Ok(Loaded { limits, times, stamina })
}

fn player(entry: &dyn TableLike, sources: &dyn TableLike) -> Result<Limits, String> {
    let key = |name: &str| entry.get(name).and_then(Item::as_str).map(pitch).transpose();
    let pair = |name: &str| -> Result<Option<(f64, f64)>, String> {
        let Some(array) = entry.get(name).and_then(Item::as_array) else { return Ok(None) };
        match array.iter().map(as_number).collect::<Option<Vec<f64>>>().as_deref() {
            Some([a, b]) => Ok(Some((*a, *b))),
            _ => Err(format!("{name}: two numbers are needed")),
        }
    };
    let trills = |name: &str| -> Result<Vec<TrillPair>, String> {
        rows(entry, name)?.into_iter().map(|row| two_pitches(row, name)).collect()
    };
    let tessitura = match entry.get("tessitura").and_then(Item::as_array) {
        Some(array) => Some(two_pitches(array, "tessitura").map(|(low, high)| Range { low, high })?),
        None => None,
    };
    let slide_first = match entry.get("slide-first").and_then(Item::as_array) {
        Some(array) => {
            let keys = array.iter().map(|v| v.as_str().and_then(|name| pitch(name).ok()));
            keys.collect::<Option<Vec<u8>>>().ok_or("slide-first: pitches are needed")?
        }
        None => Vec::new(),
    };
    Ok(Limits {
        soft: extremes(entry, "soft")?,
        loud: extremes(entry, "loud")?,
        leap: pair("leap")?,
        scale: pair("scale")?,
        trills_impossible: trills("trills-impossible")?,
        trills_hard: trills("trills-hard")?,
        trills_from: key("trills-from")?,
        tremolo: optional_number(entry, "tremolo")?,
        daily_to: key("daily-to")?,
        slide_first,
        slide_seconds: optional_number(entry, "slide-seconds")?,
        tessitura,
        open_above: key("open-above")?,
        text_above: key("text-above")?,
        changes: if entry.contains_key("changes-from") { words(entry, "changes-from")? } else { Vec::new() },
        source: cited(entry, sources)?,
    })
}

fn cited(entry: &dyn TableLike, sources: &dyn TableLike) -> Result<String, String> {
    let mut full = Vec::new();
    for tag in one_or_more(entry, "source").ok_or("no source")? {
        let source = sources.get(&tag).and_then(Item::as_str);
        full.push(source.ok_or_else(|| format!("the source {tag} is not in [sources]"))?.to_string());
    }
    Ok(full.join("; "))
}

fn rows<'a>(entry: &'a dyn TableLike, name: &str) -> Result<Vec<&'a Array>, String> {
    let Some(item) = entry.get(name) else { return Ok(Vec::new()) };
    let rows = item.as_array().and_then(|a| a.iter().map(|v| v.as_array()).collect::<Option<Vec<_>>>());
    rows.ok_or_else(|| format!("{name}: a list of lists is needed"))
}

fn two_pitches(row: &Array, name: &str) -> Result<(u8, u8), String> {
    let at = |i: usize| {
        row.get(i).and_then(|v| v.as_str()).ok_or_else(|| format!("{name}: two pitches are needed"))
    };
    Ok((pitch(at(0)?)?, pitch(at(1)?)?))
}

fn extremes(entry: &dyn TableLike, name: &str) -> Result<Vec<Extreme>, String> {
    rows(entry, name)?
        .into_iter()
        .map(|row| {
            let (low, high) = two_pitches(row, name)?;
            let mark =
                row.get(2).and_then(|v| v.as_str()).ok_or_else(|| format!("{name}: a dynamic is needed"))?;
            let seconds = row.get(3).and_then(as_number).unwrap_or(0.0);
            Ok(Extreme { range: Range { low, high }, mark: mark.to_string(), seconds })
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::by_id;

    #[test]
    fn the_file_reads_and_fits_the_table() {
        let all = read(PLAYERS).unwrap();
        assert!(all.limits.len() > 30);
        for (id, limits) in &all.limits {
            let instrument = by_id(id).unwrap_or_else(|| panic!("{id} is no instrument"));
            let hard = instrument.hard.unwrap();
            let within = |k: u8| hard.holds(i16::from(k));
            for extreme in limits.soft.iter().chain(&limits.loud) {
                assert!(within(extreme.range.low) && within(extreme.range.high), "{id}: {extreme:?}");
                assert!(
                    extreme.range.low <= extreme.range.high && extreme.seconds >= 0.0,
                    "{id}: {extreme:?}"
                );
                let marks = ["pp", "p", "mp", "mf", "f"];
                assert!(marks.contains(&extreme.mark.as_str()), "{id}: {extreme:?}");
            }
            for (main, upper) in limits.trills_impossible.iter().chain(&limits.trills_hard) {
                assert!(within(*main) && within(*upper), "{id}: {main} {upper}");
                assert!((1..=2).contains(&(upper - main)), "{id}: {main} {upper}");
            }
            assert!(limits.scale.is_none_or(|(easy, most)| easy < most), "{id}");
            assert!(
                limits.tessitura.is_none_or(|t| within(t.low) && within(t.high) && t.low < t.high),
                "{id}"
            );
            assert!(limits.changes.iter().all(|c| by_id(c).is_some()), "{id}");
            assert!(!limits.source.is_empty(), "{id}");
        }
        assert!(all.times.page > 0.0 && all.stamina.window > all.stamina.recovery);
    }

    #[test]
    fn an_error_names_the_player() {
        let head = PLAYERS.split("[[player]]").next().unwrap();
        let error = |entry: &str| read(&format!("{head}[[player]]\n{entry}")).err().unwrap();
        assert_eq!(error("id = \"kazoo\"\n"), "kazoo: no source");
        assert_eq!(error("id = \"kazoo\"\nsource = \"x\"\n"), "kazoo: the source x is not in [sources]");
        assert!(error("id = \"kazoo\"\nleap = [1]\nsource = \"common\"\n").contains("two numbers"));
    }
}
