//! Spelling: by the source, else by the key; and how a player reads it who sounds elsewhere.

use ripieno_music::{Pitch, Spelling, Transposition};

/// Semitones above C of the seven letters.
const NATURAL: [i16; 7] = [0, 2, 4, 5, 7, 9, 11];
/// Letters by fifths: C G D A E B F.
const BY_FIFTHS: [u8; 7] = [0, 4, 1, 5, 2, 6, 3];
/// A written key beyond so many signs is written as its enharmonic neighbour (common practice, no source).
const MOST_SIGNS: i32 = 6;

/// A key signature as it is written.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(crate) struct WrittenKey {
    /// Sharps; flats below zero.
    pub fifths: i8,
    /// Minor?
    pub minor: bool,
    /// Letters that spellings are moved by because of the enharmonic change: -1, 0 or 1.
    pub moved: i16,
}

/// The letters of so many semitones: those of the usual interval (major second for two, minor third for three, perfect fifth
/// for seven).
pub(crate) fn transposition(semitones: i16) -> Transposition {
    let letters = [0, 1, 1, 2, 2, 3, 3, 4, 5, 5, 6, 6];
    let size = semitones.unsigned_abs();
    let steps = 7 * (size / 12) as i16 + letters[usize::from(size % 12)];
    Transposition { semitones, steps: steps * semitones.signum() }
}

/// The key that a player reads where `fifths` sounds.
pub(crate) fn written_key(fifths: i8, minor: bool, by: Transposition) -> WrittenKey {
    if by.semitones % 12 == 0 {
        return WrittenKey { fifths, minor, moved: 0 };
    }
    let exact = i32::from(fifths) - 7 * i32::from(by.semitones) + 12 * i32::from(by.steps);
    let (turned, moved) = match exact {
        e if e > MOST_SIGNS => (e - 12, 1),
        e if e < -MOST_SIGNS => (e + 12, -1),
        e => (e, 0),
    };
    WrittenKey { fifths: turned.clamp(-7, 7) as i8, minor, moved }
}

/// What each letter is altered by in a key, in cents.
pub(crate) fn alters(fifths: i8) -> [i16; 7] {
    std::array::from_fn(|step| {
        // The place of the natural letter on the line of fifths, F = -1 to B = 5.
        let place = BY_FIFTHS.iter().position(|s| usize::from(*s) == step).unwrap_or(0) as i16;
        let place = if place == 6 { -1 } else { place };
        100 * (i16::from(fifths) + 5 - place).div_euclid(7)
    })
}

fn of_letters(pitch: Pitch, letters: i16) -> Spelling {
    let (step, octave) = (letters.rem_euclid(7), letters.div_euclid(7));
    let natural = 12 * (octave + 1) + NATURAL[step as usize];
    Spelling {
        step: step as u8,
        alter: 100 * (pitch.key - natural) + pitch.cents,
        octave: octave.clamp(-100, 100) as i8,
    }
}

fn letters(spelling: Spelling) -> i16 {
    7 * i16::from(spelling.octave) + i16::from(spelling.step.min(6))
}

/// A pitch spelled by a key: the tones of the key and its near neighbours on the line of fifths. In minor the raised sixth and
/// seventh are near (common practice, no source).
pub(crate) fn by_key(pitch: Pitch, fifths: i8, minor: bool) -> Spelling {
    let key = pitch.key.clamp(-128, 255);
    let class = i32::from(key).rem_euclid(12);
    let low = i32::from(fifths) - if minor { 3 } else { 4 };
    let mut place = low + (7 * class - low).rem_euclid(12);
    // F flat to B sharp: nothing double.
    if place > 12 {
        place -= 12;
    } else if place < -8 {
        place += 12;
    }
    let step = BY_FIFTHS[place.rem_euclid(7) as usize];
    let alter = (place + 1).div_euclid(7) as i16;
    let octave = (key - alter - NATURAL[usize::from(step)]).div_euclid(12) - 1;
    Spelling { step, alter: 100 * alter + pitch.cents, octave: octave as i8 }
}

/// The spelling of what sounds: from the source's own where that fits the pitch by some transposition.
pub(crate) fn sounding(pitch: Pitch, written: Option<Spelling>, fifths: i8, minor: bool) -> Spelling {
    let Some(written) = written else { return by_key(pitch, fifths, minor) };
    let heard = written.pitch();
    if heard == pitch {
        return written;
    }
    let by = transposition(pitch.key.saturating_sub(heard.key));
    let moved = of_letters(pitch, letters(written).saturating_add(by.steps));
    let bent = moved.alter.abs() > 200 || (moved.alter.abs() > 150 && written.alter.abs() <= 150);
    if heard.cents != pitch.cents || bent { by_key(pitch, fifths, minor) } else { moved }
}

/// How the player reads what sounds.
pub(crate) fn read(pitch: Pitch, sounding: Spelling, by: Transposition, key: WrittenKey) -> Spelling {
    let up = pitch.up(-by.semitones);
    let moved = of_letters(up, letters(sounding).saturating_sub(by.steps).saturating_add(key.moved));
    if moved.alter.abs() > 200 || (moved.alter.abs() > 150 && sounding.alter.abs() <= 150) {
        return by_key(up, key.fifths, key.minor);
    }
    moved
}

/// The neighbour a letter above or below, as it would be in the key, and the one that is wanted.
pub(crate) fn neighbour(main: Spelling, wanted: Pitch, above: bool) -> Spelling {
    of_letters(wanted, letters(main) + if above { 1 } else { -1 })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn keys_alter_their_letters() {
        assert_eq!(alters(2), [100, 0, 0, 100, 0, 0, 0]);
        assert_eq!(alters(-3), [0, 0, -100, 0, 0, -100, -100]);
        assert_eq!((alters(7), alters(-7), alters(0)), ([100; 7], [-100; 7], [0; 7]));
    }

    /// Adler, The Study of Orchestration (from memory): the clarinet in B flat reads a tone higher, the horn in F a fifth.
    #[test]
    fn players_read_their_keys() {
        let key = |fifths, semitones| written_key(fifths, false, transposition(semitones)).fifths;
        assert_eq!((key(0, -2), key(0, -7), key(0, -3), key(0, 3), key(0, -9)), (2, 1, -3, 3, 3));
        // Concert B major on a clarinet in B flat: D flat, not C sharp.
        assert_eq!(key(5, -2), -5);
        assert_eq!(key(3, 12), 3);
    }

    #[test]
    fn spelled_by_key() {
        let said = |key, fifths, minor| by_key(Pitch::of_key(key), fifths, minor).to_string();
        assert_eq!(
            (said(66, 0, false), said(70, 0, false), said(63, -3, false)),
            ("F#4".into(), "Bb4".into(), "Eb4".into())
        );
        assert_eq!(
            (said(68, 0, true), said(71, -7, false), said(60, 7, false)),
            ("G#4".into(), "Cb5".into(), "B#3".into())
        );
        for key in 0..128 {
            for fifths in -7..=7 {
                for minor in [false, true] {
                    assert_eq!(by_key(Pitch::of_key(key), fifths, minor).pitch().key, key);
                }
            }
        }
    }

    #[test]
    fn every_reading_sounds_as_it_should() {
        for semitones in -30..30 {
            let by = transposition(semitones);
            for fifths in -7..=7 {
                let key = written_key(fifths, false, by);
                for sound in 20..100 {
                    let pitch = Pitch::of_key(sound);
                    let spelled = read(pitch, sounding(pitch, None, fifths, false), by, key);
                    assert_eq!(spelled.pitch().key + semitones, sound);
                    assert!(spelled.alter.abs() <= 200);
                }
            }
        }
    }
}
