//! What is known of an instrument.

/// Families, in score order.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Family {
    /// Flutes, reeds, whistles, pipes.
    Woodwind,
    /// Horns, trumpets, trombones, tubas.
    Brass,
    /// Struck, shaken and scraped instruments, with pitch or without.
    Percussion,
    /// Played from keys: piano, celesta, organ, harpsichord.
    Keyboard,
    /// Plucked or struck strings without keys: harp, guitar, dulcimer.
    Plucked,
    /// Solo voices and choirs.
    Voices,
    /// Bowed strings.
    Strings,
}

/// What each family is called: in files that users and we write, and as a score prints it. The one place where this is said; in
/// score order, as the families are.
const CALLED: [(Family, &str, &str); 7] = [
    (Family::Woodwind, "woodwind", "Woodwinds"),
    (Family::Brass, "brass", "Brass"),
    (Family::Percussion, "percussion", "Percussion"),
    (Family::Keyboard, "keyboard", "Keyboards"),
    (Family::Plucked, "plucked", "Plucked"),
    (Family::Voices, "voices", "Voices"),
    (Family::Strings, "strings", "Strings"),
];

impl Family {
    /// The words of all of them, in score order.
    pub const WORDS: [&'static str; CALLED.len()] = {
        let mut words = [""; CALLED.len()];
        let mut i = 0;
        while i < words.len() {
            words[i] = CALLED[i].1;
            i += 1;
        }
        words
    };

    /// The word that files use.
    pub const fn word(self) -> &'static str {
        CALLED[self as usize].1
    }

    /// As a score prints it.
    pub const fn printed(self) -> &'static str {
        CALLED[self as usize].2
    }

    /// The family that files call so.
    pub fn by_word(word: &str) -> Option<Self> {
        CALLED.iter().find(|(_, w, _)| *w == word).map(|(family, ..)| *family)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn families_are_called_by_their_own_names() {
        for (i, (family, word, printed)) in CALLED.into_iter().enumerate() {
            assert_eq!((family as usize, family.word(), family.printed()), (i, word, printed));
            assert_eq!((Family::by_word(word), Family::WORDS[i]), (Some(family), word));
        }
        assert_eq!(Family::by_word("winds"), None);
        // Not all that is plucked is a harp.
        assert_eq!(Family::Plucked.printed(), "Plucked");
    }
}

/// Clefs.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Clef {
    /// G on the second line.
    Treble,
    /// Treble, sounding an octave lower (the small 8 below).
    TrebleOctaveLower,
    /// C on the third line.
    Alto,
    /// C on the fourth line.
    Tenor,
    /// F on the fourth line.
    Bass,
    /// No pitch.
    Percussion,
}

/// Sounding pitches as MIDI keys, inclusive.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Range {
    /// Lowest.
    pub low: u8,
    /// Highest.
    pub high: u8,
}

impl Range {
    /// Does it hold this key?
    pub fn holds(&self, key: i16) -> bool {
        (i16::from(self.low)..=i16::from(self.high)).contains(&key)
    }
}

/// Names in four languages: the singular first, then the plural, then other forms that scores print.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Names {
    /// English.
    pub english: Vec<String>,
    /// Italian.
    pub italian: Vec<String>,
    /// German.
    pub german: Vec<String>,
    /// French.
    pub french: Vec<String>,
}

impl Names {
    /// All names, English first.
    pub fn all(&self) -> impl Iterator<Item = &str> {
        let lists = [&self.english, &self.italian, &self.german, &self.french];
        lists.into_iter().flatten().map(String::as_str)
    }
}

/// What one breath gives a player or singer.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Breath {
    /// Air flow at piano, litres a second.
    pub flow_p: f64,
    /// Air flow at fortissimo, litres a second.
    pub flow_ff: f64,
    /// Usable air, litres.
    pub litres: f64,
    /// Longest hold at piano, seconds.
    pub hold_p: f64,
    /// Longest hold at fortissimo, seconds.
    pub hold_ff: f64,
}

/// What one bow gives on one note; longer notes change the bow.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Bow {
    /// Hold at piano, seconds.
    pub hold_p: f64,
    /// Hold at fortissimo, seconds.
    pub hold_ff: f64,
}

/// How much sounds at once.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Polyphony {
    /// Independent voices that one player leads.
    pub voices: u8,
    /// Most notes that one player sounds at once.
    pub notes: u8,
    /// Most notes of a broken chord (the bowed strings' three and four).
    pub broken: u8,
}

/// Notes a second on one pitch.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Repetition {
    /// The plain way: single tongue, détaché, one finger or one stick after another.
    pub single: f64,
    /// The quick way (double tongue, spiccato, alternate sticks), if there is one.
    pub fast: Option<f64>,
    /// Strokes a second of an unmeasured tremolo or roll: slowest and quickest.
    pub roll: Option<(f64, f64)>,
    /// Plucked with the finger on a bowed string.
    pub pizzicato: Option<f64>,
}

/// Sound power of one player, dB re 1 pW.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Level {
    /// At forte.
    pub forte: f64,
    /// Usable at pianissimo.
    pub pp: f64,
    /// Usable at fortissimo.
    pub ff: f64,
}

/// From the start of a note to its steady level, in milliseconds: shortest and longest of each kind.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Attack {
    /// Accented, or struck.
    pub sharp: (f64, f64),
    /// Portato.
    pub soft: (f64, f64),
}

/// How long an undamped note takes to fall by 60 dB.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct DecayPoint {
    /// At this MIDI key; 60 for instruments without pitch.
    pub key: u8,
    /// Shortest, seconds.
    pub shortest: f64,
    /// Longest, seconds.
    pub longest: f64,
}

/// Where it sits by default (American seating): metres from the conductor.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Seat {
    /// To the conductor's right.
    pub x: f64,
    /// Upstage.
    pub y: f64,
}

/// Who sings, which decides the vowels' formants.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum VoiceType {
    /// Women.
    Woman,
    /// Men.
    Man,
    /// Boys and girls.
    Child,
    /// Women and men together.
    Mixed,
}

/// Where a group of values comes from.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Citation {
    /// Which values: `range`, `breath`, `level` and so on.
    pub of: String,
    /// The source, in full.
    pub source: String,
}

/// One instrument, one voice, or one section of a choir.
#[derive(Clone, Debug, PartialEq)]
pub struct Instrument {
    /// Its id: a-z, 0-9, `-`.
    pub id: String,
    /// Other ids that mean it.
    pub also: Vec<String>,
    /// Names as scores print them.
    pub names: Names,
    /// Abbreviations on scores and in track names.
    pub abbreviations: Vec<String>,
    /// Standard sound ids of MusicXML.
    pub sounds: Vec<String>,
    /// Stem of a chair of one player, and of several: `flute`, `flutes`.
    pub chair: (String, String),
    /// Family.
    pub family: Family,
    /// Place in a score, from the top.
    pub order: u16,
    /// Clefs, the usual one first.
    pub clefs: Vec<Clef>,
    /// Clefs in a score at sounding pitch, the usual one first, each with the octaves of its small figure (-1: the 8 below).
    pub concert: Vec<(Clef, i8)>,
    /// Semitones: sounding minus written. For instruments in many keys (natural horn), that of the commonest.
    pub transposition: i16,
    /// Built in several keys, so that `in D` in a name says which.
    pub many_keys: bool,
    /// Struck or shaken without pitch.
    pub unpitched: bool,
    /// What can be sounded at all. None without pitch.
    pub hard: Option<Range>,
    /// Pedal notes below what it has: the fundamentals of a tube that otherwise begins with its second partial.
    pub pedals: Option<Range>,
    /// What is comfortable and even. None without pitch.
    pub comfortable: Option<Range>,
    /// Winds and voices.
    pub breath: Option<Breath>,
    /// Bowed strings.
    pub bow: Option<Bow>,
    /// How much sounds at once.
    pub polyphony: Polyphony,
    /// How quickly a note is repeated.
    pub repetition: Repetition,
    /// Notes die away by themselves.
    pub decays: bool,
    /// General MIDI programs, from 0, the usual one first.
    pub programs: Vec<u8>,
    /// Key of the General MIDI percussion channel.
    pub gm_key: Option<u8>,
    /// Sound power of one player, where known.
    pub level: Option<Level>,
    /// Attack, where known.
    pub attack: Option<Attack>,
    /// Decay from low to high, for what decays.
    pub decay: Vec<DecayPoint>,
    /// Default seat.
    pub seat: Seat,
    /// Players of a chair: a whole section of strings or of a choir, else 1.
    pub players: u16,
    /// Who sings.
    pub voice: Option<VoiceType>,
    /// Where the values come from.
    pub sources: Vec<Citation>,
}

impl Instrument {
    /// The source of a group of values (`range`, `breath`, `level` …), if it has one.
    pub fn source(&self, of: &str) -> Option<&str> {
        self.sources.iter().find(|c| c.of == of).map(|c| c.source.as_str())
    }

    /// Its English name.
    pub fn name(&self) -> &str {
        self.names.english.first().map_or(self.id.as_str(), String::as_str)
    }

    /// Played by a section: strings and choirs.
    pub fn is_section(&self) -> bool {
        self.players > 1
    }
}
