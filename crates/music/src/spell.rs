//! Sounding pitches as letters: from the source's own spelling where it has one, else by the key.

use crate::{Pitch, Spelling};

/// Place on the line of fifths, C at 0, of a spelling: F -1, G 1, Bb -2, F# 6.
fn on_the_line(spelling: Spelling) -> i32 {
    const LETTERS: [i32; 7] = [0, 2, 4, -1, 1, 3, 5];
    LETTERS[usize::from(spelling.step.min(6))] + 7 * (f64::from(spelling.alter) / 100.0).round() as i32
}

/// The letters of a place on the line of fifths at a sounding pitch; the place must name its key.
fn named(place: i32, pitch: Pitch) -> Spelling {
    let step = (4 * place).rem_euclid(7) as u8;
    let sharps = (place + 1).div_euclid(7);
    let natural = i32::from(pitch.key) - sharps;
    Spelling {
        step,
        alter: (100 * sharps) as i16 + pitch.cents,
        octave: (natural.div_euclid(12) - 1).clamp(-20, 20) as i8,
    }
}

/// A sounding pitch in a key: the name nearest to the key's own notes on the line of fifths; of two as near, the sharp in minor
/// (the raised seventh), the flat in major (common practice, no source).
pub fn by_key(pitch: Pitch, fifths: i8, minor: bool) -> Spelling {
    // The seven notes of the signature lie from one fifth below its major tonic to five above: their middle is two above.
    let middle = i32::from(fifths.clamp(-7, 7)) + 2;
    let place = (i32::from(pitch.key) * 7).rem_euclid(12);
    let away = |p: i32| (p - middle).abs();
    let all = [-24, -12, 0, 12].map(|shift| place + shift);
    let least = all.iter().copied().map(away).min().unwrap_or(0);
    let mut near = all.into_iter().filter(|p| away(*p) == least);
    let best = if minor { near.next_back() } else { near.next() };
    named(best.unwrap_or(place), pitch)
}

/// A sounding pitch as the source spells it for its reader, brought to sounding pitch; by the key where that cannot be.
pub fn sounding(pitch: Pitch, written: Option<Spelling>, fifths: i8, minor: bool) -> Spelling {
    /// Fifths up that an interval of so many semitones up is, by the common names of intervals: a minor third is -3.
    const INTERVALS: [i32; 12] = [0, -5, 2, -3, 4, -1, 6, 1, -4, 3, -2, 5];
    let Some(written) = written else { return by_key(pitch, fifths, minor) };
    let apart = (i32::from(written.pitch().key) - i32::from(pitch.key)).rem_euclid(12);
    let place = on_the_line(written) - INTERVALS[apart as usize];
    let spelled = named(place, pitch);
    // Beyond double signs nothing is read any more; a name that means another key would lie.
    if (-15..=19).contains(&place) && spelled.pitch().key == pitch.key && spelled.alter.abs() <= 250 {
        spelled
    } else {
        by_key(pitch, fifths, minor)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn name(key: i16, fifths: i8, minor: bool) -> String {
        by_key(Pitch::of_key(key), fifths, minor).to_string()
    }

    #[test]
    fn notes_of_the_key_and_their_neighbours() {
        // C major, E flat major, A major, G minor: notes of the scale, then chromatic ones as harmony books spell them.
        assert_eq!(
            [60, 62, 64, 65, 67, 69, 71].map(|k| name(k, 0, false)),
            ["C4", "D4", "E4", "F4", "G4", "A4", "B4"]
        );
        assert_eq!([63, 68, 70, 66].map(|k| name(k, -3, false)), ["Eb4", "Ab4", "Bb4", "Gb4"]);
        assert_eq!([61, 66, 68, 63].map(|k| name(k, 3, false)), ["C#4", "F#4", "G#4", "D#4"]);
        assert_eq!([66, 63, 70].map(|k| name(k, -2, true)), ["F#4", "Eb4", "Bb4"]);
        // A minor has a raised seventh; C major a lowered sixth.
        assert_eq!((name(68, 0, true), name(68, 0, false)), ("G#4".into(), "Ab4".into()));
        // Seven sharps and seven flats spell their own scales.
        assert_eq!((name(60, 7, false), name(59, -7, false)), ("B#3".into(), "Cb4".into()));
    }

    #[test]
    fn every_key_is_named_rightly() {
        for key in 0..128i16 {
            for fifths in -7..=7 {
                for minor in [false, true] {
                    assert_eq!(by_key(Pitch::of_key(key), fifths, minor).pitch(), Pitch::of_key(key));
                }
            }
        }
    }

    #[test]
    fn a_transposed_reader_keeps_the_letters() {
        // A clarinet in B flat reads F sharp 5 and sounds E 5; reads B flat 4 and sounds A flat 4, not G sharp.
        let read = |step, alter, octave| Some(Spelling { step, alter, octave });
        assert_eq!(sounding(Pitch::of_key(76), read(3, 100, 5), 0, false).to_string(), "E5");
        assert_eq!(sounding(Pitch::of_key(68), read(6, -100, 4), 0, true).to_string(), "Ab4");
        // A horn in F reads D sharp 5 and sounds G sharp 4.
        assert_eq!(sounding(Pitch::of_key(68), read(1, 100, 5), 0, false).to_string(), "G#4");
        // At the octave nothing changes but the octave.
        assert_eq!(sounding(Pitch::of_key(46), read(5, 100, 3), 0, false).to_string(), "A#2");
    }
}
