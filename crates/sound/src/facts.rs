//! What the tables of plucked and struck bodies say: rows of an instrument, values that change along its keys.

use crate::body::{Hiss, Mallet};
use crate::tables::rows_of;
use ripieno_instruments::{Instrument, by_id};
use ripieno_music::named;
use ripieno_units::math;

/// A row: what it is about and its columns as they are written.
#[derive(Clone, Copy, Debug)]
pub struct Row {
    /// What it is about.
    pub what: &'static str,
    /// Its columns.
    pub value: &'static str,
    /// dB, mostly.
    pub level: &'static str,
    /// Seconds or a share of them.
    pub share: &'static str,
    /// Seconds.
    pub rise: &'static str,
}

/// The rows of an instrument in a table, or those of its family.
pub fn rows(table: &'static str, instrument: Option<&Instrument>) -> Vec<Row> {
    let column = |row: &[&'static str], i: usize| row.get(i).copied().unwrap_or("-");
    rows_of(table, instrument)
        .iter()
        .map(|r| Row {
            what: column(r, 1),
            value: column(r, 2),
            level: column(r, 3),
            share: column(r, 4),
            rise: column(r, 5),
        })
        .collect()
}

/// A value at a key. Written as a number, or as `key=value` with `;` between; between the keys it runs evenly, or, where all
/// are above zero and `even` is not set, by equal factors.
pub fn at_key(text: &str, key: u8, otherwise: f64) -> f64 {
    if let Ok(number) = text.parse() {
        return number;
    }
    let points: Vec<(f64, f64)> = text
        .split(';')
        .filter_map(|p| p.split_once('='))
        .filter_map(|(k, v)| Some((k.parse().ok()?, v.parse().ok()?)))
        .collect();
    if points.is_empty() {
        return otherwise;
    }
    if points.iter().all(|p| p.1 > 0.0) {
        let logs: Vec<(f64, f64)> = points.iter().map(|p| (p.0, math::ln(p.1))).collect();
        return math::exp(math::polyline(&logs, key.into()));
    }
    math::polyline(&points, key.into())
}

/// Numbers with `:` between; the last stands for those that are missing.
pub fn span<const N: usize>(text: &str, otherwise: f64) -> [f64; N] {
    let given: Vec<f64> = text.split(':').filter_map(|n| n.parse().ok()).collect();
    std::array::from_fn(|i| given.get(i).or(given.last()).copied().unwrap_or(otherwise))
}

/// What all bodies have: how loud, how bright, how damped.
#[derive(Clone, Debug)]
pub struct Common {
    /// dB re 1 pW.
    pub forte: f64,
    /// Seconds of the fall by 60 dB when damped; none rings on.
    pub damp: Option<f64>,
    /// What strikes.
    pub mallet: Mallet,
    /// Share of what still rings that a new stroke leaves.
    pub keeps: f64,
    /// Cents that a stroke at fff begins too high, and the seconds (time constant) in which it comes down.
    pub sharp: (f64, f64),
    /// Noise.
    pub hisses: Vec<Hiss>,
}

/// Reads what all bodies have.
pub fn common(rows: &[Row], key: u8, forte: Option<f64>) -> Common {
    let find = |what: &str| rows.iter().find(|r| r.what == what);
    let strike = find("strike");
    let at = |row: Option<&Row>, column: fn(&Row) -> &'static str, otherwise: f64| {
        row.map_or(otherwise, |r| at_key(column(r), key, otherwise))
    };
    let bright = find("bright");
    let sharp = find("sharp");
    let given = at(strike, |r| r.value, 90.0);
    Common {
        forte: forte.unwrap_or(given) + at(strike, |r| r.level, 0.0),
        damp: strike.map(|r| at_key(r.share, key, 0.0)).filter(|d| *d > 0.0),
        mallet: Mallet {
            bright: at(bright, |r| r.value, 3000.0).max(40.0),
            steep: at(bright, |r| r.level, 12.0),
            grows: at(bright, |r| r.share, 1.0),
            contact: 0.001 * at(strike, |r| r.rise, 2.0),
        },
        keeps: at(bright, |r| r.rise, 0.6).clamp(0.0, 1.0),
        sharp: (at(sharp, |r| r.value, 0.0), at(sharp, |r| r.share, 0.1)),
        hisses: rows
            .iter()
            .filter(|r| r.what == "noise")
            .map(|r| {
                let [hertz, octaves] = span(r.value, 1.0);
                Hiss {
                    hertz,
                    octaves: if r.value.contains(':') { octaves } else { 1.0 },
                    level: math::pow(10.0, at_key(r.level, key, -20.0) / 20.0),
                    fall: at_key(r.share, key, 0.1),
                    rise: at_key(r.rise, key, 0.0),
                }
            })
            .collect(),
    }
}

/// Seconds of the fall by 60 dB at a key, from the instrument table (the middle of its span), or this.
pub fn fall(instrument: Option<&Instrument>, key: u8, otherwise: f64) -> f64 {
    let points: Vec<(f64, f64)> = instrument
        .map_or(&[][..], |i| &i.decay[..])
        .iter()
        .map(|p| (f64::from(p.key), 0.5 * math::ln((p.shortest * p.longest).clamp(1e-4, 1e4))))
        .collect();
    if points.is_empty() { otherwise } else { math::exp(math::polyline(&points, key.into())) }
}

/// An instrument of the table, by the id of a stroke or of its chair.
pub fn instrument_of(stroke: Option<&str>, chair: &str) -> Option<&'static Instrument> {
    stroke.and_then(by_id).or_else(|| by_id(chair))
}

/// Octaves that the name of an articulation makes a stroke harder than usual.
pub fn harder(articulation: &str) -> f64 {
    let has = |word: &str| articulation.split(['-', ' ']).any(|w| w == word);
    let sticks = if has("hard") || has("wood") || has("metal") || has("sticks") {
        1.0
    } else if has("soft") || has("yarn") || has("felt") {
        -1.0
    } else {
        0.0
    };
    let accent = match articulation {
        named::MARCATO | named::ACCENT | named::SNAP_PIZZICATO => 0.25,
        _ => 0.0,
    };
    sticks + accent
}

/// Whether a note is stopped at its end by a hand, whatever rings on otherwise.
pub fn is_damped(articulation: &str) -> bool {
    matches!(articulation, named::STACCATO | named::STACCATISSIMO | named::SPICCATO)
        || articulation
            .split(['-', ' '])
            .any(|w| matches!(w, "damped" | "choked" | "secco" | "dead" | "closed"))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn values_run_along_the_keys() {
        assert_eq!(at_key("3.5", 60, 0.0), 3.5);
        assert_eq!(at_key("-", 60, 7.0), 7.0);
        assert!((at_key("48=1;72=4", 60, 0.0) - 2.0).abs() < 1e-12, "by equal factors");
        assert!((at_key("48=-2;72=4", 60, 0.0) - 1.0).abs() < 1e-12, "evenly");
        assert_eq!(span::<3>("1:2", 0.0), [1.0, 2.0, 2.0]);
    }

    #[test]
    fn words_make_a_stroke_harder() {
        assert!(harder("hard-mallets") > 0.5 && harder("soft") < -0.5);
        assert_eq!(harder("hardly"), 0.0);
    }
}
