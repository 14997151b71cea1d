//! The table, read once from the data files.

use crate::facts::{
    Attack, Bow, Breath, Citation, Clef, DecayPoint, Family, Instrument, Level, Names, Polyphony, Range,
    Repetition, Seat, VoiceType,
};
use std::collections::BTreeMap;
use std::sync::OnceLock;
use toml_edit::{DocumentMut, Item, TableLike, Value};

static PITCHED: &str = include_str!("../data/instruments.toml");
static UNPITCHED: &str = include_str!("../data/percussion.toml");
static AMBIGUOUS: &str = include_str!("../data/ambiguities.toml");

/// Words that mean several instruments.
pub(crate) struct Ambiguity {
    /// The words.
    pub names: Vec<String>,
    /// Ids, the usual one first.
    pub may: Vec<String>,
    /// Doubtful whatever else is known.
    pub always_doubtful: bool,
    /// A chair of its own.
    pub chair: Option<String>,
}

struct Loaded {
    table: Vec<Instrument>,
    by_id: BTreeMap<String, usize>,
}

fn loaded() -> &'static Loaded {
    static LOADED: OnceLock<Loaded> = OnceLock::new();
    LOADED.get_or_init(|| {
        // The files are part of the program; the tests below read them with their errors.
        let mut table = Vec::new();
        for text in [PITCHED, UNPITCHED] {
            table.extend(read(text).unwrap_or_default());
        }
        table.sort_by_key(|i: &Instrument| i.order);
        let mut by_id = BTreeMap::new();
        for (index, instrument) in table.iter().enumerate() {
            for id in instrument.also.iter().chain([&instrument.id]) {
                by_id.entry(id.clone()).or_insert(index);
            }
        }
        Loaded { table, by_id }
    })
}

/// All instruments, in score order.
pub fn table() -> &'static [Instrument] {
    &loaded().table
}

/// The instrument of an id.
pub fn by_id(id: &str) -> Option<&'static Instrument> {
    let all = loaded();
    all.by_id.get(id).and_then(|index| all.table.get(*index))
}

/// All ids, in score order.
pub fn ids() -> impl Iterator<Item = &'static str> {
    table().iter().map(|i| i.id.as_str())
}

/// All words that mean several instruments.
pub(crate) fn ambiguities() -> &'static [Ambiguity] {
    static LIST: OnceLock<Vec<Ambiguity>> = OnceLock::new();
    LIST.get_or_init(|| read_ambiguities(AMBIGUOUS).unwrap_or_default())
}

fn read_ambiguities(text: &str) -> Result<Vec<Ambiguity>, String> {
    let document: DocumentMut = text.parse().map_err(|e| format!("{e}"))?;
    let entries = document.get("word").and_then(Item::as_array_of_tables).ok_or("no [[word]]")?;
    entries
        .iter()
        .map(|entry| {
            Ok(Ambiguity {
                names: words(entry, "names")?,
                may: words(entry, "may")?,
                always_doubtful: entry.get("always-doubtful").and_then(Item::as_bool).unwrap_or(false),
                chair: entry.get("chair").and_then(Item::as_str).map(str::to_string),
            })
        })
        .collect()
}

/// Reads a data file. The error names the instrument and the key.
fn read(text: &str) -> Result<Vec<Instrument>, String> {
    let document: DocumentMut = text.parse().map_err(|e| format!("{e}"))?;
    let sources = document.get("sources").and_then(Item::as_table_like).ok_or("no [sources]")?;
    let entries = document.get("instrument").and_then(Item::as_array_of_tables).ok_or("no [[instrument]]")?;
    entries
        .iter()
        .map(|entry| {
            let id = entry.get("id").and_then(Item::as_str).unwrap_or("(no id)");
            instrument(entry, sources).map_err(|e| format!("{id}: {e}"))
        })
        .collect()
}

fn instrument(entry: &dyn TableLike, sources: &dyn TableLike) -> Result<Instrument, String> {
    let mut cited = Citations { sources, list: Vec::new() };
    let family = family(&word(entry, "family")?)?;
    let names = group(entry, "names", &mut cited)?.ok_or("no names")?;
    let range = group(entry, "range", &mut cited)?;
    let breath = group(entry, "breath", &mut cited)?;
    let bow = group(entry, "bow", &mut cited)?;
    let polyphony = group(entry, "polyphony", &mut cited)?.ok_or("no polyphony")?;
    let repetition = group(entry, "repetition", &mut cited)?.ok_or("no repetition")?;
    let midi = group(entry, "midi", &mut cited)?.ok_or("no midi")?;
    let level = group(entry, "level", &mut cited)?;
    let attack = group(entry, "attack", &mut cited)?;
    let decay = group(entry, "decay", &mut cited)?;
    let seat = group(entry, "seat", &mut cited)?.ok_or("no seat")?;
    let written = group(entry, "written", &mut cited)?.ok_or("no written")?;
    let section = group(entry, "section", &mut cited)?;
    let clefs: Vec<Clef> = words(written, "clefs")?.iter().map(|c| clef(c)).collect::<Result<_, _>>()?;
    let transposition = number(written, "transposition")? as i16;
    let concert = match group(entry, "concert", &mut cited)? {
        Some(table) => words(table, "clefs")?.iter().map(|c| figured(c)).collect::<Result<_, _>>()?,
        None => at_sounding_pitch(&clefs, transposition),
    };
    let chair = words(entry, "chair")?;
    let [one, several] = chair.as_slice() else { return Err("chair: two words are needed".into()) };
    let unpitched = entry.get("unpitched").and_then(Item::as_bool).unwrap_or(false);
    let pair = |table: &dyn TableLike, key: &str| -> Result<(f64, f64), String> {
        match numbers(table, key)?.as_slice() {
            [a] => Ok((*a, *a)),
            [a, b] => Ok((*a, *b)),
            _ => Err(format!("{key}: one number or two are needed")),
        }
    };
    let reach = |key: &str| -> Result<Option<Range>, String> {
        let Some(range) = range else { return Ok(None) };
        match words(range, key)?.as_slice() {
            [low, high] => Ok(Some(Range { low: pitch(low)?, high: pitch(high)? })),
            _ => Err(format!("range.{key}: two pitches are needed")),
        }
    };
    Ok(Instrument {
        id: word(entry, "id")?,
        also: optional_words(entry, "also")?,
        names: Names {
            english: words(names, "english")?,
            italian: words(names, "italian")?,
            german: words(names, "german")?,
            french: words(names, "french")?,
        },
        abbreviations: optional_words(entry, "abbreviations")?,
        sounds: optional_words(midi, "sounds")?,
        chair: (one.clone(), several.clone()),
        family,
        order: number(entry, "order")? as u16,
        clefs,
        concert,
        transposition,
        many_keys: written.get("many-keys").and_then(Item::as_bool).unwrap_or(false),
        unpitched,
        hard: reach("hard")?,
        pedals: if range.is_some_and(|r| r.contains_key("pedals")) { reach("pedals")? } else { None },
        comfortable: reach("comfortable")?,
        breath: match breath {
            None => None,
            Some(b) => Some(Breath {
                flow_p: number(b, "flow-p")?,
                flow_ff: number(b, "flow-ff")?,
                litres: number(b, "litres")?,
                hold_p: number(b, "hold-p")?,
                hold_ff: number(b, "hold-ff")?,
            }),
        },
        bow: match bow {
            None => None,
            Some(b) => Some(Bow { hold_p: number(b, "hold-p")?, hold_ff: number(b, "hold-ff")? }),
        },
        polyphony: {
            let notes = number(polyphony, "notes")? as u8;
            let broken = optional_number(polyphony, "broken")?.map_or(notes, |n| n as u8);
            Polyphony { voices: number(polyphony, "voices")? as u8, notes, broken }
        },
        repetition: Repetition {
            single: number(repetition, "single")?,
            fast: optional_number(repetition, "fast")?,
            roll: if repetition.contains_key("roll") { Some(pair(repetition, "roll")?) } else { None },
            pizzicato: optional_number(repetition, "pizzicato")?,
        },
        decays: entry.get("decays").and_then(Item::as_bool).unwrap_or(false),
        programs: optional_numbers(midi, "programs")?.iter().map(|n| *n as u8).collect(),
        gm_key: optional_number(midi, "key")?.map(|n| n as u8),
        level: match level {
            None => None,
            Some(l) => Some(Level { forte: number(l, "forte")?, pp: number(l, "pp")?, ff: number(l, "ff")? }),
        },
        attack: match attack {
            None => None,
            Some(a) => Some(Attack { sharp: pair(a, "sharp")?, soft: pair(a, "soft")? }),
        },
        decay: decay.map_or(Ok(Vec::new()), decay_points)?,
        seat: match numbers(seat, "at")?.as_slice() {
            [x, y] => Seat { x: *x, y: *y },
            _ => return Err("seat.at: two numbers are needed".into()),
        },
        players: match section {
            None => 1,
            Some(s) => number(s, "players")? as u16,
        },
        voice: match entry.get("voice").and_then(Item::as_str) {
            None => None,
            Some(v) => Some(voice(v)?),
        },
        sources: cited.list,
    })
}

struct Citations<'a> {
    sources: &'a dyn TableLike,
    list: Vec<Citation>,
}

/// A group of values, which must say its source.
fn group<'a>(
    entry: &'a dyn TableLike,
    key: &str,
    cited: &mut Citations<'_>,
) -> Result<Option<&'a dyn TableLike>, String> {
    let Some(item) = entry.get(key) else { return Ok(None) };
    let table = item.as_table_like().ok_or_else(|| format!("{key}: a table is needed"))?;
    let mut full = Vec::new();
    for tag in one_or_more(table, "source").ok_or_else(|| format!("{key}: no source"))? {
        let source = cited.sources.get(&tag).and_then(Item::as_str);
        full.push(source.ok_or_else(|| format!("{key}: the source {tag} is not in [sources]"))?.to_string());
    }
    cited.list.push(Citation { of: key.to_string(), source: full.join("; ") });
    Ok(Some(table))
}

pub(crate) fn one_or_more(table: &dyn TableLike, key: &str) -> Option<Vec<String>> {
    let value = table.get(key)?.as_value()?;
    match value {
        Value::String(s) => Some(vec![s.value().clone()]),
        Value::Array(a) => a.iter().map(|v| v.as_str().map(str::to_string)).collect(),
        _ => None,
    }
}

pub(crate) fn word(table: &dyn TableLike, key: &str) -> Result<String, String> {
    table.get(key).and_then(Item::as_str).map(str::to_string).ok_or_else(|| format!("{key}: text is needed"))
}

pub(crate) fn words(table: &dyn TableLike, key: &str) -> Result<Vec<String>, String> {
    let array = table.get(key).and_then(Item::as_array).ok_or_else(|| format!("{key}: a list is needed"))?;
    array.iter().map(|v| v.as_str().map(str::to_string)).collect::<Option<_>>().ok_or(format!("{key}: text"))
}

pub(crate) fn optional_words(table: &dyn TableLike, key: &str) -> Result<Vec<String>, String> {
    if table.contains_key(key) { words(table, key) } else { Ok(Vec::new()) }
}

pub(crate) fn as_number(value: &Value) -> Option<f64> {
    value.as_float().or_else(|| value.as_integer().map(|n| n as f64))
}

pub(crate) fn number(table: &dyn TableLike, key: &str) -> Result<f64, String> {
    let value = table.get(key).and_then(Item::as_value).and_then(as_number);
    value.ok_or_else(|| format!("{key}: a number is needed"))
}

pub(crate) fn optional_number(table: &dyn TableLike, key: &str) -> Result<Option<f64>, String> {
    if table.contains_key(key) { number(table, key).map(Some) } else { Ok(None) }
}

pub(crate) fn numbers(table: &dyn TableLike, key: &str) -> Result<Vec<f64>, String> {
    if let Ok(one) = number(table, key) {
        return Ok(vec![one]);
    }
    let array =
        table.get(key).and_then(Item::as_array).ok_or_else(|| format!("{key}: numbers are needed"))?;
    array.iter().map(as_number).collect::<Option<_>>().ok_or_else(|| format!("{key}: numbers are needed"))
}

fn optional_numbers(table: &dyn TableLike, key: &str) -> Result<Vec<f64>, String> {
    if table.contains_key(key) { numbers(table, key) } else { Ok(Vec::new()) }
}

/// `decay = { points = [["C4", 3, 5], …] }`; `points = [["-", 5, 10]]` without pitch.
fn decay_points(table: &dyn TableLike) -> Result<Vec<DecayPoint>, String> {
    let points = table.get("points").and_then(Item::as_array).ok_or("decay.points: a list is needed")?;
    points
        .iter()
        .map(|point| {
            let values = point.as_array()?;
            let name = values.get(0)?.as_str()?;
            let key = if name == "-" { 60 } else { pitch(name).ok()? };
            let shortest = as_number(values.get(1)?)?;
            let longest = values.get(2).map_or(Some(shortest), as_number)?;
            Some(DecayPoint { key, shortest, longest })
        })
        .collect::<Option<_>>()
        .ok_or_else(|| "decay.points: [pitch, shortest, longest] is needed".to_string())
}

/// `C#4`, `Bb3`: scientific pitch names, C4 = 60.
pub(crate) fn pitch(name: &str) -> Result<u8, String> {
    let wrong = || format!("\"{name}\" is no pitch; C4 or Bb3 is expected");
    let mut letters = name.chars();
    let step = match letters.next() {
        Some('C') => 0,
        Some('D') => 2,
        Some('E') => 4,
        Some('F') => 5,
        Some('G') => 7,
        Some('A') => 9,
        Some('B') => 11,
        _ => return Err(wrong()),
    };
    let rest = letters.as_str();
    let (alter, octave) = match (rest.strip_prefix('#'), rest.strip_prefix('b')) {
        (Some(octave), _) => (1, octave),
        (_, Some(octave)) => (-1, octave),
        _ => (0, rest),
    };
    let octave: i32 = octave.parse().map_err(|_| wrong())?;
    u8::try_from((octave + 1) * 12 + step + alter).map_err(|_| wrong())
}

fn family(word: &str) -> Result<Family, String> {
    Family::by_word(word).ok_or_else(|| format!("family: {word} is none"))
}

fn clef(word: &str) -> Result<Clef, String> {
    Ok(match word {
        "treble" => Clef::Treble,
        "treble-8vb" => Clef::TrebleOctaveLower,
        "alto" => Clef::Alto,
        "tenor" => Clef::Tenor,
        "bass" => Clef::Bass,
        "percussion" => Clef::Percussion,
        _ => return Err(format!("clefs: {word} is none")),
    })
}

/// A clef with its figure: `bass-8vb`, `treble-15ma`.
fn figured(word: &str) -> Result<(Clef, i8), String> {
    let figures = [("-8vb", -1), ("-8va", 1), ("-15mb", -2), ("-15ma", 2)];
    match figures.iter().find_map(|(f, octaves)| Some((word.strip_suffix(f)?, *octaves))) {
        Some((plain, octaves)) => Ok((clef(plain)?, octaves)),
        None => Ok((clef(word)?, 0)),
    }
}

/// At sounding pitch an instrument keeps its clefs and the whole octaves that it sounds away from them; a voice that reads the
/// treble clef an octave lower reads others as they sound (common practice, no source).
fn at_sounding_pitch(clefs: &[Clef], transposition: i16) -> Vec<(Clef, i8)> {
    let octaves = if clefs.contains(&Clef::TrebleOctaveLower) { 0 } else { (transposition / 12) as i8 };
    clefs
        .iter()
        .map(|clef| match clef {
            Clef::TrebleOctaveLower => (Clef::Treble, -1),
            other => (*other, octaves),
        })
        .collect()
}

fn voice(word: &str) -> Result<VoiceType, String> {
    Ok(match word {
        "woman" => VoiceType::Woman,
        "man" => VoiceType::Man,
        "child" => VoiceType::Child,
        "mixed" => VoiceType::Mixed,
        _ => return Err(format!("voice: {word} is none")),
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_data_files_parse_and_ids_are_unique() {
        let mut all = read(PITCHED).unwrap();
        all.extend(read(UNPITCHED).unwrap());
        assert_eq!(all.len(), table().len());
        let mut seen = std::collections::BTreeSet::new();
        for instrument in &all {
            for id in instrument.also.iter().chain([&instrument.id]) {
                assert!(seen.insert(id.clone()), "{id} twice");
                assert!(id.chars().all(|c| c.is_ascii_lowercase() || c.is_ascii_digit() || c == '-'), "{id}");
            }
        }
        let mut orders: Vec<u16> = all.iter().map(|i| i.order).collect();
        orders.sort_unstable();
        orders.dedup();
        assert_eq!(orders.len(), all.len(), "two instruments have one place in the score");
    }

    #[test]
    fn ambiguities_name_instruments_of_the_table() {
        for ambiguity in read_ambiguities(AMBIGUOUS).unwrap() {
            assert!(ambiguity.may.len() > 1, "{:?} is not ambiguous", ambiguity.names);
            for id in &ambiguity.may {
                assert!(by_id(id).is_some(), "{:?}: {id}", ambiguity.names);
            }
        }
    }

    #[test]
    fn an_error_names_the_instrument_and_the_key() {
        let error = read("[sources]\n[[instrument]]\nid = \"kazoo\"\nfamily = \"toys\"\n").unwrap_err();
        assert_eq!(error, "kazoo: family: toys is none");
        let error =
            read("[sources]\n[[instrument]]\nid = \"kazoo\"\nfamily = \"brass\"\nnames = {}\n").unwrap_err();
        assert_eq!(error, "kazoo: names: no source");
        assert!(pitch("X4").is_err() && pitch("C99").is_err() && pitch("").is_err());
        assert_eq!(pitch("Cb1"), Ok(23));
        assert_eq!(pitch("A4"), Ok(69));
    }
}
