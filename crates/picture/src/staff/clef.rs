//! Clefs: which line is which pitch, where signatures stand, which clef suits.

use ripieno_music::Spelling;

/// Letters in an octave.
const LETTERS: i32 = 7;

/// The sign of a clef.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash)]
pub enum ClefSign {
    /// G on the second line.
    #[default]
    Treble,
    /// C on the third line.
    Alto,
    /// C on the fourth line.
    Tenor,
    /// F on the fourth line.
    Bass,
}

/// A clef with the small figure that says in which octave it sounds.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash)]
pub struct Clef {
    /// Its sign.
    pub sign: ClefSign,
    /// Octaves from what it shows to what sounds: -1 for the small 8 below, 2 for the 15 above. -3 to 3.
    pub octaves: i8,
}

/// Letters from C of octave 0 up to a spelled pitch.
pub fn letters(spelling: Spelling) -> i32 {
    LETTERS * i32::from(spelling.octave) + i32::from(spelling.step.min(6))
}

impl Clef {
    /// A clef without a figure.
    pub fn plain(sign: ClefSign) -> Self {
        Self { sign, octaves: 0 }
    }

    /// Letters from C of octave 0 to the middle line, as it sounds.
    fn middle(self) -> i32 {
        let written = match self.sign {
            ClefSign::Treble => 4 * LETTERS + 6,
            ClefSign::Alto => 4 * LETTERS,
            ClefSign::Tenor => 3 * LETTERS + 5,
            ClefSign::Bass => 3 * LETTERS + 1,
        };
        written + LETTERS * i32::from(self.octaves.clamp(-3, 3))
    }

    /// Half spaces above the middle line at which a sounding pitch stands: the lines are -4, -2, 0, 2, 4.
    pub fn position(self, spelling: Spelling) -> i32 {
        letters(spelling) - self.middle()
    }

    /// Half spaces above the middle line at which the signs of a key signature stand, in their order.
    ///
    /// The sharps of a tenor clef begin low, so that none needs a ledger line (common practice, no source).
    pub fn signature(self, fifths: i8) -> Vec<i32> {
        let count = usize::from(fifths.unsigned_abs().min(7));
        let (sharps, flats) = ([4, 1, 5, 2, -1, 3, 0], [0, 3, -1, 2, -2, 1, -3]);
        // Against the treble clef, where C stands.
        let shift = match self.sign {
            ClefSign::Treble => 0,
            ClefSign::Alto => -1,
            ClefSign::Bass => -2,
            ClefSign::Tenor => 1,
        };
        match (fifths > 0, self.sign) {
            (true, ClefSign::Tenor) => [-2, 2, -1, 3, 0, 4, 1].into_iter().take(count).collect(),
            (true, _) => sharps.into_iter().take(count).map(|p| p + shift).collect(),
            (false, _) => flats.into_iter().take(count).map(|p| p + shift).collect(),
        }
    }

    /// The small figure at the clef, if there is one.
    pub fn figure(self) -> Option<&'static str> {
        match self.octaves.unsigned_abs() {
            0 => None,
            1 => Some("8"),
            2 => Some("15"),
            _ => Some("22"),
        }
    }

    /// How it is said.
    pub fn word(self) -> String {
        let sign = match self.sign {
            ClefSign::Treble => "treble",
            ClefSign::Alto => "alto",
            ClefSign::Tenor => "tenor",
            ClefSign::Bass => "bass",
        };
        let octave = match self.octaves {
            0 => return format!("{sign} clef"),
            -1 => "an octave lower",
            1 => "an octave higher",
            n if n < 0 => "two octaves lower",
            _ => "two octaves higher",
        };
        format!("{sign} clef, sounding {octave}")
    }

    /// Of several clefs, in the order in which the instrument likes to read them, the one with fewest ledger lines.
    pub fn that_suits(clefs: &[Self], notes: impl Iterator<Item = Spelling> + Clone) -> Self {
        // A reader leaves the usual clef only where it spares a ledger line at every other note (common practice, no source).
        const RELUCTANCE: f64 = 0.5;
        let cost = |clef: &Self| {
            let count = notes.clone().count().max(1) as f64;
            notes.clone().map(|s| f64::from(ledgers(clef.position(s)))).sum::<f64>() / count
        };
        let mut best = clefs.first().copied().unwrap_or_default();
        for clef in clefs.iter().skip(1) {
            if cost(clef) + RELUCTANCE < cost(&best) {
                best = *clef;
            }
        }
        best
    }
}

/// How many ledger lines a position needs.
pub fn ledgers(position: i32) -> u32 {
    (position.unsigned_abs().saturating_sub(4)) / 2
}

#[cfg(test)]
mod tests {
    use super::*;

    fn note(step: u8, octave: i8) -> Spelling {
        Spelling { step, alter: 0, octave }
    }

    #[test]
    fn clefs_stand_where_theory_says() {
        let at = |sign, step, octave| Clef::plain(sign).position(note(step, octave));
        // Middle C: one ledger line below the treble staff, one above the bass staff, on the alto's middle line, on the tenor's
        // fourth line.
        assert_eq!(at(ClefSign::Treble, 0, 4), -6);
        assert_eq!(at(ClefSign::Bass, 0, 4), 6);
        assert_eq!(at(ClefSign::Alto, 0, 4), 0);
        assert_eq!(at(ClefSign::Tenor, 0, 4), 2);
        // Each clef names its line: G4 on the second, F3 on the fourth.
        assert_eq!(at(ClefSign::Treble, 4, 4), -2);
        assert_eq!(at(ClefSign::Bass, 3, 3), 2);
        // Outer spaces of treble and bass (FACE, "good boys": E4 to F5, G2 to A3).
        assert_eq!((at(ClefSign::Treble, 2, 4), at(ClefSign::Treble, 3, 5)), (-4, 4));
        assert_eq!((at(ClefSign::Bass, 4, 2), at(ClefSign::Bass, 5, 3)), (-4, 4));
        assert_eq!([-6, -5, -4, 4, 5, 6, 8].map(ledgers), [1, 0, 0, 0, 0, 1, 2]);
        // A double bass sounds its low E an octave below the first ledger line under the bass staff.
        let basses = Clef { sign: ClefSign::Bass, octaves: -1 };
        assert_eq!(basses.position(note(2, 1)), Clef::plain(ClefSign::Bass).position(note(2, 2)));
        // A tenor's middle C under the small 8 stands in the third space.
        assert_eq!(Clef { sign: ClefSign::Treble, octaves: -1 }.position(note(0, 4)), 1);
        assert_eq!(Clef { sign: ClefSign::Treble, octaves: 2 }.position(note(4, 6)), -2);
    }

    #[test]
    fn signatures_name_the_right_letters() {
        let sharps = [3, 0, 4, 1, 5, 2, 6];
        for sign in [ClefSign::Treble, ClefSign::Alto, ClefSign::Tenor, ClefSign::Bass] {
            let clef = Clef::plain(sign);
            for fifths in -7..=7i8 {
                let places = clef.signature(fifths);
                assert_eq!(places.len(), usize::from(fifths.unsigned_abs()));
                for (i, place) in places.iter().enumerate() {
                    let letter = if fifths > 0 { sharps[i] } else { sharps[6 - i] };
                    assert_eq!((clef.middle() + place).rem_euclid(7), letter, "{sign:?} {fifths} {i}");
                    assert!(place.abs() <= 5, "{sign:?} {fifths}: inside the staff, or on its edge");
                }
            }
        }
    }

    #[test]
    fn the_usual_clef_is_left_only_for_good_reason() {
        let cello = [ClefSign::Bass, ClefSign::Tenor, ClefSign::Treble].map(Clef::plain);
        let chosen = |notes: &[Spelling]| Clef::that_suits(&cello, notes.iter().copied()).sign;
        assert_eq!(chosen(&[]), ClefSign::Bass);
        assert_eq!(chosen(&[note(0, 2), note(0, 4)]), ClefSign::Bass);
        assert_eq!(chosen(&[note(2, 4), note(4, 4)]), ClefSign::Tenor);
        assert_eq!(chosen(&[note(2, 5), note(5, 5)]), ClefSign::Treble);
    }
}
