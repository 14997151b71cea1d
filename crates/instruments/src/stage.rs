//! Where chairs sit and how instruments radiate.

use crate::load::by_id;
use std::collections::BTreeMap;
use std::sync::OnceLock;
use toml_edit::{DocumentMut, Item, TableLike};

static SEATING: &str = include_str!("../data/seating.toml");
static DIRECTIVITY: &str = include_str!("../data/directivity.toml");

/// A source is this far above its floor, metres: a seated player (common practice).
const ABOVE_FLOOR: f64 = 1.2;

/// A place on the stage, in metres. The conductor stands at 0, 0.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct StageSeat {
    /// To the conductor's right.
    pub x: f64,
    /// Upstage, away from the audience.
    pub y: f64,
    /// Of the source, above the floor of the front of the stage.
    pub z: f64,
    /// How far the chair reaches to each side.
    pub half_width: f64,
}

/// How chairs sit that share one place, metres.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Together {
    /// From chair to chair.
    pub apart: f64,
    /// From rank to rank.
    pub behind: f64,
}

/// How an instrument radiates: a circular piston with a shadow behind it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Radiation {
    /// Metres; 0 radiates everywhere alike.
    pub radius: f64,
    /// Where its axis points, degrees to the player's right of straight ahead.
    pub azimuth: f64,
    /// Degrees above the horizon.
    pub elevation: f64,
    /// dB straight behind re the axis, where the wavelength is small.
    pub back: f64,
}

#[derive(Default)]
struct Scheme {
    chairs: BTreeMap<String, StageSeat>,
    seats: BTreeMap<String, StageSeat>,
    families: BTreeMap<String, StageSeat>,
}

/// The seating schemes, `american` (the usual one) first.
pub fn seatings() -> impl Iterator<Item = &'static str> {
    schemes().iter().map(|(name, _)| name.as_str())
}

/// The schemes, and how chairs sit that share a place.
type Seating = (Vec<(String, Scheme)>, Together);

fn seating() -> &'static Seating {
    static ALL: OnceLock<Seating> = OnceLock::new();
    ALL.get_or_init(|| {
        read_seating(SEATING).unwrap_or_else(|_| (Vec::new(), Together { apart: 1.0, behind: 1.0 }))
    })
}

fn schemes() -> &'static [(String, Scheme)] {
    &seating().0
}

/// How chairs sit that share one place.
pub fn together() -> Together {
    seating().1
}

/// Where a chair sits: by its id, else by its instrument, else by its family, in that scheme and then in the usual one. None for
/// an unknown scheme, or for an unknown instrument whose chair's id says nothing either.
pub fn seat(scheme: &str, chair: &str, instrument: &str) -> Option<StageSeat> {
    let asked = &schemes().iter().find(|(name, _)| name == scheme)?.1;
    let usual = &schemes().first()?.1;
    let known = by_id(instrument);
    let id = known.map_or(instrument, |i| i.id.as_str());
    // The longest name that the chair's id begins with, whole words only.
    let named =
        |s: &Scheme| s.chairs.iter().rev().find(|(name, _)| begins(chair, name)).map(|(_, seat)| *seat);
    let by_family = |s: &Scheme| known.and_then(|i| s.families.get(i.family.word())).copied();
    named(asked)
        .or_else(|| named(usual))
        .or_else(|| asked.seats.get(id).copied())
        .or_else(|| usual.seats.get(id).copied())
        .or_else(|| by_family(asked))
        .or_else(|| by_family(usual))
}

/// `violins-1-solo` begins with `violins-1`; `violins-10` does not.
fn begins(chair: &str, name: &str) -> bool {
    chair.strip_prefix(name).is_some_and(|rest| rest.is_empty() || rest.starts_with('-'))
}

/// How an instrument radiates: by its id, else as its family does. None for an unknown instrument.
pub fn directivity(instrument: &str) -> Option<Radiation> {
    static ALL: OnceLock<[BTreeMap<String, Radiation>; 2]> = OnceLock::new();
    let [instruments, families] = ALL.get_or_init(|| read_directivity(DIRECTIVITY).unwrap_or_default());
    let known = by_id(instrument)?;
    instruments.get(&known.id).or_else(|| families.get(known.family.word())).copied()
}

fn document(text: &str) -> Result<DocumentMut, String> {
    text.parse().map_err(|e| format!("{e}"))
}

fn number(table: &dyn TableLike, key: &str) -> Result<f64, String> {
    let value = table.get(key).and_then(Item::as_value);
    let number = value.and_then(|v| v.as_float().or_else(|| v.as_integer().map(|n| n as f64)));
    number.ok_or_else(|| format!("{key}: a number is needed"))
}

fn entries<'a>(table: &'a dyn TableLike, key: &str) -> Result<Vec<(String, &'a dyn TableLike)>, String> {
    let list = table.get(key).and_then(Item::as_table_like).ok_or_else(|| format!("no {key}"))?;
    let entry = |(name, item): (&str, &'a Item)| {
        Ok((name.to_string(), item.as_table_like().ok_or_else(|| format!("{name}: a table is needed"))?))
    };
    list.iter().map(entry).collect()
}

/// A tag, or a list of tags, of which each stands in full under `[sources]`.
fn cited(document: &DocumentMut, entry: &dyn TableLike) -> Result<(), String> {
    let sources = document.get("sources").and_then(Item::as_table_like).ok_or("no [sources]")?;
    let item = entry.get("source").ok_or("no source")?;
    let tags: Vec<&str> = match (item.as_str(), item.as_array()) {
        (Some(tag), _) => vec![tag],
        (_, Some(tags)) => tags.iter().filter_map(|t| t.as_str()).collect(),
        _ => Vec::new(),
    };
    match tags.iter().find(|t| !sources.contains_key(t)) {
        None if !tags.is_empty() => Ok(()),
        unknown => Err(format!("source: {} is not in [sources]", unknown.unwrap_or(&"it"))),
    }
}

fn read_seating(text: &str) -> Result<Seating, String> {
    let document = document(text)?;
    let mut schemes = Vec::new();
    for (name, item) in document.iter().filter(|(name, _)| *name != "sources" && *name != "together") {
        let table = item.as_table_like().ok_or_else(|| format!("{name}: a table is needed"))?;
        cited(&document, table).map_err(|e| format!("{name}: {e}"))?;
        let seats = |key: &str| -> Result<BTreeMap<String, StageSeat>, String> {
            if !table.contains_key(key) {
                return Ok(BTreeMap::new());
            }
            let of = |(id, entry): (String, &dyn TableLike)| {
                let read = || {
                    Ok(StageSeat {
                        x: number(entry, "x")?,
                        y: number(entry, "y")?,
                        z: ABOVE_FLOOR + number(entry, "riser")?,
                        half_width: number(entry, "half-width")?,
                    })
                };
                let seat = read().map_err(|e: String| format!("{name}: {id}: {e}"))?;
                Ok((id, seat))
            };
            entries(table, key)?.into_iter().map(of).collect()
        };
        schemes.push((
            name.to_string(),
            Scheme { chairs: seats("chairs")?, seats: seats("seats")?, families: seats("families")? },
        ));
    }
    schemes.sort_by_key(|(name, _)| name != "american");
    let table = document.get("together").and_then(Item::as_table_like).ok_or("no [together]")?;
    cited(&document, table).map_err(|e| format!("together: {e}"))?;
    let together = Together { apart: number(table, "apart")?, behind: number(table, "behind")? };
    Ok((schemes, together))
}

fn read_directivity(text: &str) -> Result<[BTreeMap<String, Radiation>; 2], String> {
    let document = document(text)?;
    let read = |key: &str| {
        let of = |(id, entry): (String, &dyn TableLike)| {
            let read = || {
                cited(&document, entry)?;
                Ok(Radiation {
                    radius: number(entry, "radius")?,
                    azimuth: number(entry, "azimuth")?,
                    elevation: number(entry, "elevation")?,
                    back: number(entry, "back")?,
                })
            };
            let radiation = read().map_err(|e: String| format!("{id}: {e}"))?;
            Ok::<_, String>((id, radiation))
        };
        entries(document.as_table(), key)?.into_iter().map(of).collect::<Result<BTreeMap<_, _>, _>>()
    };
    Ok([read("instrument")?, read("family")?])
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::facts::Family;
    use crate::load::table;

    #[test]
    fn the_data_files_parse_and_name_instruments() {
        let (schemes, together) = read_seating(SEATING).unwrap();
        assert!(together.apart > 0.5 && together.behind > 0.5);
        assert_eq!(schemes.iter().map(|(n, _)| n.as_str()).collect::<Vec<_>>(), ["american", "german"]);
        for (scheme, all) in &schemes {
            for id in all.seats.keys() {
                assert!(by_id(id).is_some_and(|i| i.id == *id), "{scheme}: {id}");
            }
        }
        let [instruments, families] = read_directivity(DIRECTIVITY).unwrap();
        assert_eq!(families.len(), 7);
        for (id, r) in &instruments {
            assert!(by_id(id).is_some_and(|i| i.id == *id), "{id}");
            assert!((0.0..0.3).contains(&r.radius) && (-15.0..=0.0).contains(&r.back), "{id}");
        }
    }

    #[test]
    fn every_instrument_has_a_seat_and_radiates() {
        for instrument in table() {
            for scheme in seatings() {
                let seat = seat(scheme, &instrument.chair.0, &instrument.id);
                let seat = seat.unwrap_or_else(|| panic!("{scheme}: {}", instrument.id));
                assert!(
                    seat.x.abs() + seat.half_width <= 8.0 && (0.0..=14.2).contains(&seat.y),
                    "{}",
                    instrument.id
                );
                assert!((1.2..4.5).contains(&seat.z));
            }
            assert!(directivity(&instrument.id).is_some(), "{}", instrument.id);
        }
        // Where the table of instruments has a seat of its own, both say the same for the usual scheme, percussion apart, which
        // is spread out here.
        for instrument in table().iter().filter(|i| i.family != Family::Percussion) {
            let seat = seat("american", "a-chair", &instrument.id).unwrap();
            let apart = (seat.x - instrument.seat.x).abs() + (seat.y - instrument.seat.y).abs();
            assert!(apart < 0.01, "{}", instrument.id);
        }
    }

    /// The strings from left to right, as the schemes are defined.
    #[test]
    fn schemes_order_the_strings() {
        let x = |scheme: &str, chair: &str, id: &str| seat(scheme, chair, id).unwrap().x;
        let order = |scheme: &str, chairs: [(&str, &str); 4]| {
            let xs = chairs.map(|(chair, id)| x(scheme, chair, id));
            assert!(xs.is_sorted(), "{scheme}: {xs:?}");
        };
        order(
            "american",
            [("violins-1", "violin"), ("violins-2", "violin"), ("violas", "viola"), ("cellos", "cello")],
        );
        order(
            "german",
            [("violins-1", "violin"), ("cellos", "cello"), ("violas", "viola"), ("violins-2", "violin")],
        );
        assert!(x("american", "double-basses", "double-bass") > 5.0);
        assert!(x("german", "double-basses", "double-bass") < -5.0);
        // Parts of a section sit with it, chairs of other numbers do not.
        assert_eq!(x("german", "violins-2-div", "violin"), x("german", "violins-2", "violin"));
        assert_eq!(x("german", "violins", "violin"), x("german", "violins-1", "violin"));
        // An id that another id stands for.
        assert_eq!(x("american", "a", "contrabass"), x("american", "a", "double-bass"));
        assert_eq!(seat("roman", "violins-1", "violin"), None);
        assert_eq!(seat("american", "kazoo", "kazoo"), None);
        assert_eq!(directivity("kazoo"), None);
    }

    #[test]
    fn an_error_names_the_entry_and_the_key() {
        let text = "[sources]\na = \"b\"\n[american]\nsource = \"a\"\n[american.seats]\nkazoo = { x = 1 }\n";
        assert_eq!(read_seating(text).err().unwrap(), "american: kazoo: y: a number is needed");
        let text = "[sources]\n[family]\n[instrument]\nkazoo = { radius = 1, source = [\"c\"] }\n";
        assert_eq!(read_directivity(text).err().unwrap(), "kazoo: source: c is not in [sources]");
    }
}
