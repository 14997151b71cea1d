//! The range of a patch as two noteheads on a staff, with a change of clef between them where one clef does not reach.

use crate::staff::{Clef, ClefSign, Head, accidental, clef, head, ledgers, sign_of};
use crate::svg::{Path, escape, number};
use ripieno_music::Spelling;
use std::fmt::Write as _;

/// Points between two lines.
const GAP: f64 = 7.0;

/// Most ledger lines at which a head can still be read.
const MOST_LEDGERS: u32 = 3;

/// A key by its commoner name.
fn spelled(key: u8) -> Spelling {
    // C, C sharp, D, E flat, E, F, F sharp, G, A flat, A, B flat, B.
    const STEPS: [(u8, i16); 12] = [
        (0, 0),
        (0, 100),
        (1, 0),
        (2, -100),
        (2, 0),
        (3, 0),
        (3, 100),
        (4, 0),
        (5, -100),
        (5, 0),
        (6, -100),
        (6, 0),
    ];
    let (step, alter) = STEPS[usize::from(key % 12)];
    Spelling { step, alter, octave: (key / 12) as i8 - 1 }
}

/// The clefs, those that are read most first.
const CLEFS: [(ClefSign, i8); 7] = [
    (ClefSign::Treble, 0),
    (ClefSign::Bass, 0),
    (ClefSign::Treble, 1),
    (ClefSign::Bass, -1),
    (ClefSign::Treble, 2),
    (ClefSign::Bass, -2),
    (ClefSign::Treble, 3),
];

/// The first clef in which all of these can be read; the one nearest to that if none.
fn that_reads(notes: &[Spelling]) -> Clef {
    let all = CLEFS.map(|(sign, octaves)| Clef { sign, octaves });
    let most = |clef: &Clef| notes.iter().map(|n| ledgers(clef.position(*n))).max().unwrap_or(0);
    let good = all.iter().find(|c| most(c) <= MOST_LEDGERS);
    good.or_else(|| all.iter().min_by_key(|c| most(c))).copied().unwrap_or_default()
}

/// Draws a range. `names` are the two keys as the card calls them.
pub fn range(low: u8, high: u8, names: (&str, &str)) -> String {
    let notes = [spelled(low.min(127)), spelled(high.min(127))];
    let both = that_reads(&notes);
    let one = notes.iter().all(|n| ledgers(both.position(*n)) <= MOST_LEDGERS);
    let clefs = if one { [both, both] } else { notes.map(|n| that_reads(&[n])) };
    let positions = [clefs[0].position(notes[0]), clefs[1].position(notes[1])];
    let above = positions.iter().copied().max().unwrap_or(0).max(6);
    let below = positions.iter().copied().min().unwrap_or(0).min(-6);
    let half = GAP / 2.0;
    let middle = f64::from(above) * half + 2.2 * GAP;
    let height = middle - f64::from(below) * half + GAP + 17.0;
    let (mut staff, mut ink, mut ledger) = (Path::new(), Path::new(), Path::new());
    let mut words = String::new();
    let mut x = 4.0;
    let put_clef = |ink: &mut Path, words: &mut String, at: Clef, x: f64| {
        clef(ink, at.sign, x, middle, GAP);
        if let Some(figure) = at.figure() {
            let y = if at.octaves > 0 { middle - 3.6 * GAP } else { middle + 4.6 * GAP };
            let _ = write!(
                words,
                r#"<text class="octave" x="{}" y="{}" font-size="9" text-anchor="middle">{figure}</text>"#,
                number(x + 1.3 * GAP),
                number(y)
            );
        }
    };
    for i in 0..2 {
        if i == 0 || clefs[0] != clefs[1] {
            put_clef(&mut ink, &mut words, clefs[i], x);
            x += 3.6 * GAP;
        }
        x += 2.6 * GAP;
        let position = positions[i];
        let y = middle - f64::from(position) * half;
        if notes[i].alter != 0 {
            accidental(&mut ink, sign_of(notes[i].alter), x - 1.9 * GAP, y, GAP);
        }
        head(&mut ink, Head::Oval, x, y, GAP);
        let lines = i32::try_from(ledgers(position)).unwrap_or(0);
        for n in 1..=lines {
            let line = middle - f64::from(position.signum() * (4 + 2 * n)) * half;
            ledger.to(x - 1.1 * GAP, line).across(x + 1.1 * GAP);
        }
        let name = if i == 0 { names.0 } else { names.1 };
        let _ = write!(
            words,
            r#"<text class="key" x="{}" y="{}" font-size="11.5" text-anchor="middle">{}</text>"#,
            number(x),
            number(height - 4.0),
            escape(name)
        );
        x += 2.6 * GAP;
    }
    for line in -2..=2 {
        staff.to(2.0, middle + f64::from(line) * GAP).across(x);
    }
    format!(
        r#"<svg class="staff range" viewBox="0 0 {w} {h}" width="{w}" height="{h}" role="img" aria-label="sounds from {} to {}"><path class="staff-line" d="{}"/><path class="staff-ledger" d="{}"/><path class="staff-head" d="{}"/>{words}</svg>"#,
        escape(names.0),
        escape(names.1),
        staff.data(),
        ledger.data(),
        ink.data(),
        w = number(x + 4.0),
        h = number(height),
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn keys_have_their_place() {
        assert_eq!(spelled(60), Spelling { step: 0, alter: 0, octave: 4 });
        assert_eq!(spelled(61), Spelling { step: 0, alter: 100, octave: 4 });
        assert_eq!(spelled(0).octave, -1);
        // Every key comes back from its spelling.
        for key in 0..=127_u8 {
            let s = spelled(key);
            let back = 12 * (i16::from(s.octave) + 1)
                + [0_i16, 2, 4, 5, 7, 9, 11][usize::from(s.step)]
                + s.alter / 100;
            assert_eq!(back, i16::from(key));
        }
    }

    #[test]
    fn a_clef_in_which_it_can_be_read() {
        let clef = |key| that_reads(&[spelled(key)]);
        assert_eq!((clef(67).sign, clef(67).octaves), (ClefSign::Treble, 0));
        assert_eq!((clef(36).sign, clef(36).octaves), (ClefSign::Bass, 0));
        assert_eq!((clef(24).sign, clef(24).octaves), (ClefSign::Bass, -1));
        assert_eq!((clef(100).sign, clef(100).octaves), (ClefSign::Treble, 1));
        // A viola's range has one clef, a harp's has two.
        assert_eq!(range(55, 76, ("G3", "E5")).matches("octave").count(), 0);
        for low in 0..=127_u8 {
            for high in [low, low.saturating_add(30).min(127), 127] {
                let svg = range(low, high, ("a", "<b>"));
                assert!(!svg.contains("NaN") && svg.contains("&lt;b&gt;"));
            }
        }
    }
}
