//! Ornaments and grace notes as times and keys.
//!
//! Timmers and others 2002, Windsor and others 2001 for grace notes; Moore 1992 for trills; the folk wind ornaments after
//! tutors of the whistle (common practice).

use ripieno_music::{Grace, Note, OrnamentKind};
use ripieno_units::{Chance, math};

/// One short note of an ornament.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Small {
    /// Seconds.
    pub onset: f64,
    /// Seconds.
    pub end: f64,
    /// MIDI key, unbounded.
    pub key: i16,
    /// Level against the note that it adorns, dB.
    pub level: f64,
}

/// How long a crossed grace note is, in seconds, at a tempo in quarters a minute: it shrinks less than the tempo grows.
pub fn acciaccatura(quarters_per_minute: f64) -> f64 {
    (70.0 * math::pow(100.0 / quarters_per_minute.max(1.0), 0.3)).clamp(40.0, 110.0) / 1000.0
}

/// Where grace notes fall: before the main note, or (one that is not crossed) on its beat, at its cost.
pub struct Graces {
    /// The grace notes in order.
    pub notes: Vec<Small>,
    /// Onset of the main note in seconds.
    pub main: f64,
}

/// Places the grace notes of a note. `before` is the time free before it, in seconds.
pub fn graces(graces: &[Grace], onset: f64, length: f64, before: f64, quarters_per_minute: f64) -> Graces {
    if let [one] = graces
        && !one.slashed
        && one.value >= ripieno_units::Beats::new(1, 2)
    {
        // An appoggiatura takes half of the main note, two thirds of a dotted one, at most 600 ms.
        let taken = (0.5 * length).min(0.600);
        let small = Small { onset, end: onset + taken, key: one.pitch.key, level: 1.0 };
        return Graces { notes: vec![small], main: onset + taken };
    }
    let count = graces.len() as f64;
    let each = if graces.len() == 1 { acciaccatura(quarters_per_minute) } else { 0.055 };
    // At most 35 % of what lies before, but never quicker than 30 ms a note.
    let total = (count * each).min((0.35 * before.max(0.0)).max(0.030 * count));
    let each = total / count.max(1.0);
    let notes = graces
        .iter()
        .enumerate()
        .map(|(i, g)| {
            let start = onset - total + each * i as f64;
            Small { onset: start, end: start + each, key: g.pitch.key, level: -2.0 }
        })
        .collect();
    Graces { notes, main: onset }
}

/// A trill's notes, from the main note, over `onset..end`; the turned end (`after`) at its close.
pub fn trill(note: &Note, onset: f64, end: f64, tempo: f64, chance: &mut Chance) -> Vec<Small> {
    let main = note.pitch().map_or(60, |p| p.key);
    let above = note.ornament.and_then(|o| o.above).map_or(main + 2, |p| p.key);
    let close = (0.065 * note.graces_after.len() as f64).min(0.4 * (end - onset));
    let length = end - onset - close;
    // 12 to 14 notes a second, a little with the tempo.
    let rate = 2.0 * (5.2 + 0.8 * tempo / 100.0).min(7.0);
    let mut count = (length * rate).round().max(1.0) as usize;
    if count > 3 && count.is_multiple_of(2) && !note.graces_after.is_empty() {
        count += 1; // ends on the main note before its turn
    }
    // Speed over the course: quickens by an eighth in the first third, the last pair broadens by 15 %.
    let weights: Vec<f64> = (0..count)
        .map(|i| {
            let x = i as f64 / count as f64;
            let course = if x < 1.0 / 3.0 { 1.125 - 0.375 * x } else { 1.0 };
            let last = if i + 2 >= count && count > 4 { 1.15 } else { 1.0 };
            course * last * (1.0 + chance.normal(0.04).clamp(-0.1, 0.1))
        })
        .collect();
    let total: f64 = weights.iter().sum();
    let mut at = onset;
    let mut notes: Vec<Small> = weights
        .iter()
        .enumerate()
        .map(|(i, w)| {
            let start = at;
            at += length * w / total;
            let x = (i as f64 + 0.5) / count as f64;
            let arch = 1.5 * (4.0 * x * (1.0 - x)) - 0.75;
            Small { onset: start, end: at, key: if i % 2 == 0 { main } else { above }, level: arch }
        })
        .collect();
    let each = close / note.graces_after.len().max(1) as f64;
    for (i, grace) in note.graces_after.iter().enumerate() {
        let start = onset + length + each * i as f64;
        notes.push(Small { onset: start, end: start + each, key: grace.pitch.key, level: -1.0 });
    }
    notes
}

/// The notes of a short ornament, or `None` if the note is too short for it or it is none of these.
pub fn small(note: &Note, onset: f64, end: f64) -> Option<Vec<Small>> {
    let ornament = note.ornament?;
    let main = note.pitch()?.key;
    let up = ornament.above.map_or(main + 2, |p| p.key);
    let down = ornament.below.map_or(main - 1, |p| p.key);
    let length = end - onset;
    // `pattern`: keys with their lengths in seconds; 0 shares out what is left.
    let place = |pattern: &[(i16, f64)], quiet: f64| -> Vec<Small> {
        let fixed: f64 = pattern.iter().map(|p| p.1).sum();
        let open = pattern.iter().filter(|p| p.1 <= 0.0).count().max(1) as f64;
        let rest = (length - fixed).max(0.0) / open;
        let mut at = onset;
        pattern
            .iter()
            .map(|(key, seconds)| {
                let start = at;
                at += if *seconds > 0.0 { *seconds } else { rest };
                let level = if *key == main { 0.0 } else { quiet };
                Small { onset: start, end: at, key: *key, level }
            })
            .collect()
    };
    let quick = 0.055_f64.min(length / 5.0);
    let turn = (length / 8.0).clamp(0.055, 0.090).min(length / 5.0);
    // Length of a folk grace: 20 to 45 ms.
    let tick = 0.035;
    Some(match ornament.kind {
        OrnamentKind::UpperMordent => place(&[(main, quick), (up, quick), (main, 0.0)], -1.0),
        OrnamentKind::Mordent => place(&[(main, quick), (down, quick), (main, 0.0)], -1.0),
        OrnamentKind::Turn => place(&[(up, turn), (main, turn), (down, turn), (main, 0.0)], -1.0),
        OrnamentKind::InvertedTurn => place(&[(down, turn), (main, turn), (up, turn), (main, 0.0)], -1.0),
        OrnamentKind::DelayedTurn => {
            place(&[(main, 0.0), (up, turn), (main, turn), (down, turn), (main, turn)], -1.0)
        }
        OrnamentKind::DelayedInvertedTurn => {
            place(&[(main, 0.0), (down, turn), (main, turn), (up, turn), (main, turn)], -1.0)
        }
        OrnamentKind::Schleifer => place(&[(main - 4, quick), (main - 2, quick), (main, 0.0)], -1.0),
        OrnamentKind::Haydn => {
            place(&[(main, quick), (up, quick), (main, quick), (down, quick), (main, 0.0)], -1.0)
        }
        OrnamentKind::Cut if length >= 0.09 => place(&[(main + 3, tick), (main, 0.0)], -5.0),
        OrnamentKind::Strike if length >= 0.09 => place(&[(down, tick), (main, 0.0)], -5.0),
        OrnamentKind::ShortRoll if length >= 0.24 => {
            let half = length / 2.0 - tick;
            place(&[(main + 3, tick), (main, half), (down, tick), (main, 0.0)], -5.0)
        }
        OrnamentKind::LongRoll if length >= 0.36 => {
            let third = length / 3.0;
            place(&[(main, third), (main + 3, tick), (main, third - tick), (down, tick), (main, 0.0)], -5.0)
        }
        OrnamentKind::Cran if length >= 0.30 => {
            let third = length / 3.0;
            place(
                &[(main, third), (main + 3, tick), (main, third - tick), (main + 5, tick), (main, 0.0)],
                -5.0,
            )
        }
        _ => return None,
    })
}

/// The inflection of a folk slide: from a scale step below, 80 to 200 ms, at most half of the note.
pub fn slide(length: f64) -> Vec<(f64, f64)> {
    let over = 0.15_f64.min(0.5 * length);
    (0..=6)
        .map(|k| {
            let x = f64::from(k) / 6.0;
            (over * x, -200.0 * (1.0 - x * x * (3.0 - 2.0 * x)))
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use ripieno_music::{Ornament, Pitch};
    use ripieno_units::Beats;

    /// Windsor and others 2001: grace notes scale less than the tempo; at 45 and 75 a minute they differ by
    /// (75/45)^0.3 = 1.166, where proportion would give 1.667.
    #[test]
    fn grace_notes_scale_less_than_tempo() {
        assert!((acciaccatura(45.0) / acciaccatura(75.0) - 1.1656).abs() < 1e-3);
    }

    #[test]
    fn an_acciaccatura_leaves_the_main_note_on_its_beat() {
        let grace = Grace {
            pitch: Pitch::of_key(62),
            written: None,
            slashed: true,
            value: Beats::new(1, 2),
            slurred: true,
        };
        let placed = graces(&[grace], 2.0, 0.5, 0.5, 100.0);
        assert_eq!(placed.main, 2.0);
        assert!((placed.notes[0].onset - 1.93).abs() < 1e-9);
        let long = graces(&[Grace { slashed: false, ..grace }], 2.0, 1.0, 0.5, 100.0);
        assert_eq!(long.main, 2.5);
    }

    /// A trill of 1 s at 6.5 cycles a second has 13 notes (worked example of the methods on ornaments).
    #[test]
    fn a_second_of_trill() {
        let mut note = Note::plain(Beats::ZERO, Beats::whole(1), 72);
        note.ornament =
            Some(Ornament { kind: OrnamentKind::Trill, above: Some(Pitch::of_key(73)), below: None });
        let tempo = (6.5 - 5.2) / 0.8 * 100.0;
        let notes = trill(&note, 0.0, 1.0, tempo, &mut Chance::named(1, &["t"]));
        assert_eq!(notes.len(), 13);
        assert_eq!(notes[1].key, 73);
        assert!((notes[12].end - 1.0).abs() < 1e-9);
        assert!(notes.windows(2).all(|w| (w[0].end - w[1].onset).abs() < 1e-9));
    }

    #[test]
    fn a_long_roll_falls_in_thirds() {
        let mut note = Note::plain(Beats::ZERO, Beats::whole(1), 67);
        note.ornament =
            Some(Ornament { kind: OrnamentKind::LongRoll, above: None, below: Some(Pitch::of_key(66)) });
        let notes = small(&note, 0.0, 0.6).unwrap();
        let onsets: Vec<f64> = notes.iter().filter(|n| n.key != 67).map(|n| n.onset).collect();
        assert!((onsets[0] - 0.2).abs() < 1e-9 && (onsets[1] - 0.4).abs() < 1e-9);
        assert!(small(&note, 0.0, 0.3).is_none(), "too short for a long roll");
    }
}
