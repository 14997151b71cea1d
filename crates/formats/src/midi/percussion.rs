//! What a key of the percussion channel strikes.

/// Channel 10, counted from 0.
pub(super) const CHANNEL: u8 = 9;

/// Key, id in the instrument table, name in the General MIDI map.
static MAP: &str = include_str!("percussion.tsv");

/// The instrument that a key of the percussion channel strikes, by its id in the instrument table; `key-NN` for
/// keys that have none there.
pub fn stroke(key: u8) -> String {
    let row = MAP.lines().filter(|l| !l.starts_with('#')).find_map(|line| {
        let mut columns = line.split('\t');
        let number: u8 = columns.next()?.parse().ok()?;
        (number == key).then(|| columns.next()).flatten()
    });
    row.map_or_else(|| format!("key-{key}"), str::to_string)
}

/// All of them, by key.
pub(super) fn strokes() -> Vec<String> {
    (0..128).map(stroke).collect()
}
