//! Reads the data files.

use crate::bands::Octaves;
use crate::hall::{Hall, Side, Surface};
use crate::microphones::{Array, Microphone};
use ripieno_signal::Position;
use ripieno_units::Decibels;
use toml_edit::{DocumentMut, InlineTable, Item, TableLike, Value};

const MATERIALS: &str = include_str!("../data/materials.toml");
const MICROPHONES: &str = include_str!("../data/microphones.toml");
const ROOMS: [&str; 8] = [
    include_str!("../data/rooms/dry-studio.toml"),
    include_str!("../data/rooms/rehearsal-room.toml"),
    include_str!("../data/rooms/session-stage.toml"),
    include_str!("../data/rooms/theatre.toml"),
    include_str!("../data/rooms/chamber-hall.toml"),
    include_str!("../data/rooms/concert-hall.toml"),
    include_str!("../data/rooms/chapel.toml"),
    include_str!("../data/rooms/stone-church.toml"),
];

fn document(text: &str) -> Result<DocumentMut, String> {
    text.parse().map_err(|e| format!("{e}"))
}

fn as_number(value: &Value) -> Option<f64> {
    value.as_float().or_else(|| value.as_integer().map(|n| n as f64))
}

fn number(table: &dyn TableLike, key: &str) -> Result<f64, String> {
    let value = table.get(key).and_then(Item::as_value).and_then(as_number);
    value.ok_or_else(|| format!("{key}: a number is needed"))
}

fn numbers<const N: usize>(table: &dyn TableLike, key: &str) -> Result<[f64; N], String> {
    let wrong = || format!("{key}: {N} numbers are needed");
    let array = table.get(key).and_then(Item::as_array).ok_or_else(wrong)?;
    let all: Option<Vec<f64>> = array.iter().map(as_number).collect();
    all.and_then(|all| all.try_into().ok()).ok_or_else(wrong)
}

fn word(table: &dyn TableLike, key: &str) -> Result<String, String> {
    table.get(key).and_then(Item::as_str).map(str::to_string).ok_or_else(|| format!("{key}: text is needed"))
}

/// Every group of values names a source, which stands in full under `[sources]`.
fn cited(sources: Option<&Item>, table: &dyn TableLike) -> Result<(), String> {
    let tag = word(table, "source")?;
    let known = sources.and_then(Item::as_table_like).is_some_and(|s| s.contains_key(&tag));
    if known { Ok(()) } else { Err(format!("source: {tag} is not in [sources]")) }
}

/// Absorption of a material by octave; 63 Hz as 125 Hz, 8 kHz as 4 kHz.
fn material(materials: &dyn TableLike, name: &str) -> Result<Octaves, String> {
    let entry = materials
        .get(name)
        .and_then(Item::as_table_like)
        .ok_or_else(|| format!("{name}: no such material"))?;
    let six: [f64; 6] = numbers(entry, "absorption").map_err(|e| format!("{name}: {e}"))?;
    Ok(std::array::from_fn(|b| six[b.saturating_sub(1).min(5)]))
}

pub fn halls() -> Result<Vec<Hall>, String> {
    let file = document(MATERIALS)?;
    let materials = file.get("material").and_then(Item::as_table_like).ok_or("no [material]")?;
    for (name, entry) in materials.iter() {
        let entry = entry.as_table_like().ok_or_else(|| format!("{name}: a table is needed"))?;
        cited(file.get("sources"), entry).map_err(|e| format!("{name}: {e}"))?;
    }
    ROOMS.iter().map(|text| hall(text, materials)).collect()
}

fn hall(text: &str, materials: &dyn TableLike) -> Result<Hall, String> {
    let file = document(text)?;
    let id = word(file.as_table(), "id")?;
    let read = || {
        let file = file.as_table();
        let mut hall = Hall {
            id: id.clone(),
            name: word(file, "name")?,
            width: number(file, "width")?,
            height: number(file, "height")?,
            upstage: number(file, "upstage")?,
            downstage: number(file, "downstage")?,
            surfaces: Vec::new(),
            scattering: number(file, "scattering")?,
            wanted: numbers(file, "wanted")?,
        };
        word(file, "source")?;
        let sides = ["floor", "ceiling", "left", "right", "upstage", "downstage"];
        let surfaces = file.get("surfaces").and_then(Item::as_table_like).ok_or("no [surfaces]")?;
        for (key, side) in sides.into_iter().zip(Side::ALL) {
            let list = surfaces
                .get(key)
                .and_then(Item::as_array)
                .ok_or_else(|| format!("{key}: a list is needed"))?;
            let mut bare = hall.side_area(side);
            for entry in list {
                let entry: &InlineTable =
                    entry.as_inline_table().ok_or_else(|| format!("{key}: tables are needed"))?;
                // One without area takes what the others leave.
                let area = if entry.contains_key("area") { number(entry, "area")? } else { bare };
                bare -= area;
                if bare < -1e-6 {
                    return Err(format!("{key}: more than {} m2", hall.side_area(side)));
                }
                let material_name = word(entry, "material")?;
                let absorption = material(materials, &material_name)?;
                hall.surfaces.push(Surface { side, material: material_name, area, absorption });
            }
        }
        Ok(hall)
    };
    read().map_err(|e: String| format!("{id}: {e}"))
}

/// The arrays, in the order tree, near, wide, far.
pub fn arrays() -> Result<Vec<Array>, String> {
    let file = document(MICROPHONES)?;
    ["tree", "near", "wide", "far"]
        .into_iter()
        .map(|name| {
            let table = file.get(name).and_then(Item::as_table_like).ok_or_else(|| format!("no [{name}]"))?;
            let read = || {
                cited(file.get("sources"), table)?;
                let list = table
                    .get("microphones")
                    .and_then(Item::as_array)
                    .ok_or("microphones: a list is needed")?;
                let microphones = list.iter().map(|entry| {
                    let entry = entry.as_inline_table().ok_or("microphones: tables are needed")?;
                    let [x, y, z] = numbers(entry, "at")?;
                    let gain = Decibels(number(entry, "gain")?);
                    Ok(Microphone { position: Position { x, y, z }, gain, side: number(entry, "side")? })
                });
                Ok(Array {
                    name: name.to_string(),
                    level: Decibels(number(table, "level")?),
                    microphones: microphones.collect::<Result<_, String>>()?,
                })
            };
            read().map_err(|e: String| format!("{name}: {e}"))
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_error_names_the_room_and_the_key() {
        let file = document(MATERIALS).unwrap();
        let materials = file.get("material").and_then(Item::as_table_like).unwrap();
        let error = hall("id = \"barn\"\nname = \"Barn\"\nwidth = \"wide\"", materials).unwrap_err();
        assert_eq!(error, "barn: width: a number is needed");
        assert_eq!(material(materials, "velvet").unwrap_err(), "velvet: no such material");
    }
}
