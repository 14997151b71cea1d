//! Pitches: what sounds, how it is spelled, and how a part is transposed.

use std::fmt;

/// A sounding pitch: the MIDI key and what it differs by.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Pitch {
    /// MIDI key; 60 is middle C. May lie outside 0 to 127 in a damaged or a playful score.
    pub key: i16,
    /// Cents above the key, -50 to 50: quarter tones and finer.
    pub cents: i16,
}

impl Pitch {
    /// A key of the keyboard, in tune with it.
    pub fn of_key(key: i16) -> Self {
        Self { key, cents: 0 }
    }

    /// In semitones, as MIDI counts them, with fractions.
    pub fn semitones(self) -> f64 {
        f64::from(self.key) + f64::from(self.cents) / 100.0
    }

    /// Moved by whole semitones.
    pub fn up(self, semitones: i16) -> Self {
        Self { key: self.key.saturating_add(semitones), ..self }
    }
}

/// A note name as written: letter, alteration, octave.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct Spelling {
    /// 0 for C up to 6 for B.
    pub step: u8,
    /// Alteration in cents: 100 for a sharp, -100 for a flat, 50 for a quarter tone up.
    pub alter: i16,
    /// Scientific octave: middle C begins octave 4.
    pub octave: i8,
}

/// Semitones above C of the seven letters.
pub const STEPS: [i16; 7] = [0, 2, 4, 5, 7, 9, 11];

impl Spelling {
    /// The pitch that these letters name, without transposition.
    pub fn pitch(self) -> Pitch {
        let natural = 12 * (i16::from(self.octave) + 1) + STEPS[usize::from(self.step.min(6))];
        let key = natural + self.alter.div_euclid(100) + i16::from(self.alter.rem_euclid(100) > 50);
        let cents = self.alter.rem_euclid(100);
        Pitch { key, cents: if cents > 50 { cents - 100 } else { cents } }
    }
}

impl fmt::Display for Spelling {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let letter = ["C", "D", "E", "F", "G", "A", "B"][usize::from(self.step.min(6))];
        let sign = match self.alter {
            0 => "",
            100 => "#",
            200 => "##",
            -100 => "b",
            -200 => "bb",
            a if a > 0 => "+",
            _ => "-",
        };
        write!(f, "{letter}{sign}{}", self.octave)
    }
}

/// Sounding minus written, as MusicXML's `transpose` element gives it (chromatic + 12 x octaves).
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Transposition {
    /// Semitones from written to sounding, octaves included.
    pub semitones: i16,
    /// Letters from written to sounding, octaves included.
    pub steps: i16,
}

/// Name of a sounding key as musicians say it: `C#4`, with C4 the middle C; of the black keys the commoner name.
pub fn key_name(key: i16) -> String {
    const NAMES: [&str; 12] = ["C", "C#", "D", "Eb", "E", "F", "F#", "G", "Ab", "A", "Bb", "B"];
    format!("{}{}", NAMES[usize::from(key.rem_euclid(12).unsigned_abs())], key.div_euclid(12) - 1)
}

/// Reads a key name: a number 0 to 127, or letter, `#` or `b`, octave (`"C#3"`), where `middle_c` is the octave
/// number that the speaker gives to MIDI key 60 (4 in the scientific convention). `None` if it is no key.
pub fn parse_key(text: &str, middle_c: i16) -> Option<u8> {
    let text = text.trim();
    if let Ok(number) = text.parse::<u8>() {
        return (number <= 127).then_some(number);
    }
    let mut chars = text.chars();
    let step = match chars.next()?.to_ascii_uppercase() {
        'C' => 0,
        'D' => 1,
        'E' => 2,
        'F' => 3,
        'G' => 4,
        'A' => 5,
        'B' => 6,
        _ => return None,
    };
    let rest = chars.as_str();
    let octave_at = rest.find(|c: char| c == '-' || c.is_ascii_digit())?;
    let alter: i16 = match &rest[..octave_at] {
        "" => 0,
        "#" | "♯" => 1,
        "##" => 2,
        "b" | "♭" => -1,
        "bb" => -2,
        _ => return None,
    };
    let octave: i16 = rest[octave_at..].parse().ok()?;
    if !(-20..=20).contains(&octave) {
        return None;
    }
    let key = 60 + 12 * (octave - middle_c) + STEPS[step] + alter;
    u8::try_from(key).ok().filter(|k| *k <= 127)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_and_octave_conventions() {
        assert_eq!(parse_key("C4", 4), Some(60));
        assert_eq!(parse_key("C3", 3), Some(60));
        assert_eq!(parse_key("Bb-1", 4), Some(10));
        assert_eq!(parse_key("c#0", 4), Some(13));
        assert_eq!(parse_key("36", 3), Some(36));
        assert_eq!(parse_key("H2", 4), None);
        assert_eq!(parse_key("C99", 4), None);
        assert_eq!(parse_key("", 4), None);
    }

    #[test]
    fn spelled_pitches() {
        let flat = Spelling { step: 6, alter: -100, octave: 3 };
        assert_eq!(flat.pitch(), Pitch::of_key(58));
        let quarter = Spelling { step: 0, alter: 50, octave: 4 };
        assert_eq!(quarter.pitch(), Pitch { key: 60, cents: 50 });
        let three_quarters = Spelling { step: 0, alter: 150, octave: 4 };
        assert_eq!(three_quarters.pitch(), Pitch { key: 61, cents: 50 });
    }
}
