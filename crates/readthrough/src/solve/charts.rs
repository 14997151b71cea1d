//! What stands in a harp's and a timpanist's part beside the notes: pedals and tunings, from the search.

use super::harp_pedals::Setting;
use crate::Table;
use ripieno_music::Place;
use ripieno_units::Beats;

/// Every chart of a cue, in score order.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Charts {
    /// One for each harp.
    pub pedals: Vec<PedalChart>,
    /// One for each timpanist.
    pub tunings: Vec<TuningChart>,
}

/// The pedals of one harp.
#[derive(Clone, Debug, PartialEq)]
pub struct PedalChart {
    /// The chair.
    pub chair: String,
    /// The setting before the first note: -1 flat, 0 natural, 1 sharp, for the letters C to B.
    pub start: Setting,
    /// How the strings without pedal are tuned: key of the string at natural, position.
    pub fixed: Vec<(i16, i8)>,
    /// In order of place.
    pub changes: Vec<PedalChange>,
}

/// Pedals that move at one place.
#[derive(Clone, Debug, PartialEq)]
pub struct PedalChange {
    /// Where the feet move, as late as they can.
    pub at: Place,
    /// Letters (0 for C up to 6 for B) and their new positions.
    pub pedals: Vec<(u8, i8)>,
    /// The setting after it.
    pub setting: Setting,
    /// There is time for all of it.
    pub in_time: bool,
}

/// The tunings of one set of timpani.
#[derive(Clone, Debug, PartialEq)]
pub struct TuningChart {
    /// The chair.
    pub chair: String,
    /// Diameters in inches, from the lowest drum to the highest.
    pub drums: Vec<u16>,
    /// MIDI key of each drum before the first note; `None` for one that is not needed.
    pub start: Vec<Option<i16>>,
    /// In order of place.
    pub changes: Vec<TuningChange>,
}

/// One drum that is retuned.
#[derive(Clone, Debug, PartialEq)]
pub struct TuningChange {
    /// When the foot begins, as late as it can.
    pub at: Place,
    /// Where the new note is struck.
    pub needed: Place,
    /// Index of the drum in the chart.
    pub drum: usize,
    /// From this MIDI key.
    pub from: i16,
    /// To this one.
    pub to: i16,
    /// There is time for it.
    pub in_time: bool,
}

/// The charts of every harp and timpanist at the table.
pub fn charts(table: &Table<'_>) -> Charts {
    Charts {
        pedals: table.desks.iter().filter_map(|d| super::harp::chart(table, d)).collect(),
        tunings: table.desks.iter().filter_map(|d| super::timpani::chart(table, d)).collect(),
    }
}

/// The sign of a pedal's position, as names of notes have it everywhere.
fn sign(position: i8) -> &'static str {
    match position {
        -1 => "b",
        1 => "#",
        _ => "",
    }
}

/// A note or the setting of a pedal as a printed part has it, with the engraver's signs: `Eb2` is E flat with its octave; a
/// bare letter (a pedal in the middle) has its natural.
pub fn in_print(name: &str) -> String {
    let (letter, rest) = name.split_at(name.len().min(1));
    let (sign, rest) = match rest.as_bytes().first() {
        Some(b'b') => ("\u{266d}", &rest[1..]),
        Some(b'#') => ("\u{266f}", &rest[1..]),
        None => ("\u{266e}", rest),
        Some(_) => ("", rest),
    };
    format!("{letter}{sign}{rest}")
}

/// A letter with the sign of its position: `F#`; in the middle, none.
pub fn pedal(letter: u8, position: i8) -> String {
    format!("{}{}", char::from(b"CDEFGAB"[usize::from(letter.min(6))]), sign(position))
}

/// The same in a sentence: `F natural`.
pub(super) fn pedal_said(letter: u8, position: i8) -> String {
    pedal(letter, position) + if position == 0 { " natural" } else { "" }
}

/// A setting as harpists write it: left foot, bar, right foot.
pub fn diagram(setting: &Setting) -> String {
    let facts = ripieno_instruments::harp();
    let foot = |letters: &[u8]| {
        let all: Vec<String> = letters.iter().map(|l| pedal(*l, setting[usize::from(*l).min(6)])).collect();
        all.join(" ")
    };
    let (left, right) = facts.order.split_at(facts.left.min(7));
    format!("{} | {}", foot(left), foot(right))
}

/// A bar and beat in words; thirds and smaller parts of a beat by two decimals.
pub fn place_words(place: Place) -> String {
    format!("bar {}, beat {}", place.bar, beat_words(place.beat))
}

/// A beat in figures, without needless noughts.
pub fn beat_words(beat: f64) -> String {
    let text = format!("{beat:.2}");
    text.trim_end_matches('0').trim_end_matches('.').to_string()
}

/// The name of a key of a drum: the flats that timpanists write, B flat and E flat before all, and F sharp.
pub fn drum_note(key: i16) -> String {
    const NAMES: [&str; 12] = ["C", "Db", "D", "Eb", "E", "F", "F#", "G", "Ab", "A", "Bb", "B"];
    format!("{}{}", NAMES[usize::from(key.rem_euclid(12) as u16)], key.div_euclid(12) - 1)
}

impl PedalChart {
    /// Line by line: the setting to begin with, then each change with its place.
    pub fn lines(&self) -> Vec<String> {
        let mut lines = vec![format!("at the start: {}", diagram(&self.start))];
        let tuned: Vec<String> = self
            .fixed
            .iter()
            .filter(|(_, position)| *position != 0)
            .map(|(key, position)| {
                let letter = letter_of(*key);
                format!("{}{}", pedal(letter, *position), key.div_euclid(12) - 1)
            })
            .collect();
        if !tuned.is_empty() {
            lines.push(format!("strings without pedal: {}", tuned.join(", ")));
        }
        for change in &self.changes {
            let pedals: Vec<String> = change.pedals.iter().map(|(l, p)| pedal(*l, *p)).collect();
            let late = if change.in_time { "" } else { " (no time)" };
            lines.push(format!("{}: {}{late}", place_words(change.at), pedals.join(", ")));
        }
        lines
    }
}

impl TuningChart {
    /// Line by line: the tuning to begin with, then each change with its place.
    pub fn lines(&self) -> Vec<String> {
        let drums = self.drums.iter().zip(&self.start).map(|(inches, key)| {
            format!("{inches} in {}", key.map_or_else(|| "free".to_string(), drum_note))
        });
        let mut lines = vec![format!("at the start: {}", drums.collect::<Vec<_>>().join(", "))];
        for change in &self.changes {
            let inches = self.drums.get(change.drum).copied().unwrap_or_default();
            let late = if change.in_time { "" } else { " (no time)" };
            lines.push(format!(
                "{}: {inches} in {} to {}, struck in {}{late}",
                place_words(change.at),
                drum_note(change.from),
                drum_note(change.to),
                place_words(change.needed),
            ));
        }
        lines
    }
}

/// What a finding adds where a search was cut short: what is said can be done, but there may be better.
pub(super) fn cut_words(narrowed: bool) -> &'static str {
    if narrowed { " (the part is too busy to try every way: there may be a better one)" } else { "" }
}

/// The letter of a string by its key at natural.
pub(super) fn letter_of(key: i16) -> u8 {
    let class = key.rem_euclid(12);
    super::harp_pedals::LETTERS.iter().position(|l| *l == class).unwrap_or(0) as u8
}

/// The place that a player would write: the last beat, half or quarter of a beat between two times, else the later time.
pub(super) fn written_place(table: &Table<'_>, earliest: f64, latest: f64) -> Place {
    use ripieno_units::Seconds;
    let low = table.clock.quarters(Seconds(earliest.max(-1e6)));
    let high = table.clock.quarters(Seconds(latest)).max(table.timeline.start().quarters());
    let bar = table.timeline.bar_at(Beats::approximate(high));
    let beat = bar.metre.beat().quarters().max(1e-3);
    let from = bar.at.quarters();
    for part in [1.0, 2.0, 4.0] {
        let unit = beat / part;
        let place = from + ((high - from) / unit + 1e-6).floor() * unit;
        if place >= low - 1e-6 {
            return table.timeline.place(Beats::approximate(place));
        }
    }
    table.timeline.place(Beats::approximate(high))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn plain_text_and_printed_parts_have_signs_of_their_own() {
        assert_eq!((pedal(5, -1), pedal(3, 1), pedal(6, 0)), ("Ab".into(), "F#".into(), "B".into()));
        assert_eq!(["Ab", "F#", "B", "Eb2", "C3"].map(in_print), ["A♭", "F♯", "B♮", "E♭2", "C3"]);
    }
}
