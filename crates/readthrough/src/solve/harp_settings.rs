//! The settings of a harp's seven pedals, and what they sound.

/// Semitones above C of the letters C to B.
pub const LETTERS: [i16; 7] = [0, 2, 4, 5, 7, 9, 11];
/// Position of a pedal that nothing has asked for yet.
pub const UNSET: i8 = 2;

/// A setting: position (-1, 0, 1) of the letters C to B.
pub type Setting = [i8; 7];

/// The pitch class of a letter in a position.
pub fn pitch_class(letter: usize, position: i8) -> u8 {
    (LETTERS[letter] + i16::from(position)).rem_euclid(12) as u8
}

/// The pitch classes of a setting, as bits.
pub fn sounds(setting: &Setting) -> u16 {
    (0..7).fold(0, |set, letter| set | 1 << pitch_class(letter, setting[letter]))
}

/// Every setting of the seven pedals, all flat first.
pub fn settings() -> impl Iterator<Item = Setting> {
    (0..3usize.pow(7)).map(|index| {
        let mut rest = index;
        std::array::from_fn(|_| {
            let position = (rest % 3) as i8 - 1;
            rest /= 3;
            position
        })
    })
}

/// The settings on which a glissando sounds these pitch classes (as bits) and no other.
pub fn glissando_settings(classes: u16) -> Vec<Setting> {
    settings().filter(|s| sounds(s) == classes).collect()
}

/// Letters and positions that sound a pitch class: one or two, three for none.
pub fn spellings(class: u8) -> Vec<(u8, i8)> {
    let all = (0..7u8).flat_map(|letter| [-1i8, 0, 1].map(|position| (letter, position)));
    all.filter(|(letter, position)| pitch_class(usize::from(*letter), *position) == class).collect()
}
