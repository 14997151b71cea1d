//! What casting asks of the instrument table.

use ripieno_instruments::{
    Certainty, Family, Instrument, Query, by_id, recognise as recognise_one, recognise_all, table,
};
use ripieno_music::{Score, Track};
use ripieno_plan::Template;

/// What plays from two staves with chords, when nothing else is known.
pub(crate) const ANY_KEYS: &str = "piano";
/// What is struck, when nothing else is known.
pub(crate) const ANY_DRUM: &str = "snare-drum";

/// A guess at what a track is.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) struct Known {
    pub(crate) instrument: String,
    pub(crate) chair: String,
    pub(crate) players: u16,
    pub(crate) articulations: Vec<String>,
    pub(crate) doubt: Option<String>,
}

fn of_chair(template: &Template, chair: &str) -> Option<&'static Instrument> {
    by_id(&template.chairs.iter().find(|c| c.id == chair)?.instrument)
}

/// Sounding minus written, in semitones; `None` for what has no pitch or is not known.
pub(crate) fn sounds_from_written(template: &Template, chair: &str) -> Option<i16> {
    of_chair(template, chair).filter(|i| !i.unpitched).map(|i| i.transposition)
}

/// Does the chair sing?
pub(crate) fn sings(template: &Template, chair: &str) -> bool {
    of_chair(template, chair).is_some_and(|i| i.voice.is_some() || i.family == Family::Voices)
}

/// Does the instrument of this id sing?
pub(crate) fn instrument_sings(id: &str) -> bool {
    by_id(id).is_some_and(|i| i.voice.is_some() || i.family == Family::Voices)
}

/// Is there an instrument of this id?
pub(crate) fn exists(id: &str) -> bool {
    by_id(id).is_some()
}

/// Is it a bowed string instrument?
pub(crate) fn is_bowed(id: &str) -> bool {
    by_id(id).is_some_and(|i| i.bow.is_some())
}

/// A chair's id for one player where the table has one for several: `violin-1` for `violins-1`.
pub(crate) fn one_player(id: &str, chair: &str) -> String {
    let Some(instrument) = by_id(id) else { return chair.to_owned() };
    let (one, several) = &instrument.chair;
    match chair.strip_prefix(several.as_str()) {
        Some(rest) if rest.is_empty() || rest.starts_with('-') => format!("{one}{rest}"),
        _ => chair.to_owned(),
    }
}

/// The bowed section, or the keyboard where there are chords, whose comfortable range holds the notes best: its middle
/// nearest to theirs.
pub(crate) fn by_range(low: i16, high: i16, chords: bool) -> Option<(&'static str, u16)> {
    if chords {
        return None;
    }
    table()
        .iter()
        .filter(|i| i.family == Family::Strings && i.bow.is_some() && i.is_section())
        .filter_map(|i| {
            let range = i.comfortable.as_ref().or(i.hard.as_ref())?;
            let middle = (i16::from(range.low) + i16::from(range.high)) - (low + high);
            (range.holds(low) && range.holds(high)).then_some((middle.abs(), i))
        })
        .min_by_key(|(distance, i)| (*distance, i.order))
        .map(|(_, i)| (i.id.as_str(), i.players))
}

/// What the names of the score's tracks say, each helping to understand the others; `None` where a name says nothing.
pub(crate) fn recognise(score: &Score) -> Vec<Option<Known>> {
    let queries: Vec<Query> = score.tracks.iter().map(query).collect();
    let guesses = recognise_all(&queries);
    guesses
        .into_iter()
        .map(|guess| {
            let guess = guess?;
            Some(Known {
                instrument: guess.instrument.id.clone(),
                chair: guess.chair,
                players: guess.players,
                articulations: guess.articulations,
                doubt: match guess.certainty {
                    Certainty::Sure => None,
                    Certainty::Unsure(why) => Some(why),
                },
            })
        })
        .collect()
}

fn query(track: &Track) -> Query<'_> {
    Query {
        name: track.own_name().unwrap_or_default(),
        abbreviation: track.abbreviation.as_deref(),
        sound: track.instrument.as_deref(),
        program: track.program,
        percussion: track.percussion,
        transposition: track.transpositions.first().map(|(_, t)| t.semitones),
        sung: track.is_sung(),
        compass: track.compass(),
    }
}

/// One singer, by the table.
const SINGER: &str = "voice";

/// The only part of the score that is sung, in one line on one staff, where no name says who sings: a song's voice.
pub(crate) fn sole_singer(score: &Score) -> Option<usize> {
    let mut sung = score.tracks.iter().enumerate().filter(|(_, t)| t.is_sung());
    let (index, track) = sung.next().filter(|_| sung.next().is_none())?;
    let notes = &track.content.notes;
    let one_line = notes.iter().all(|n| n.staff <= 1) && notes.windows(2).all(|two| two[0].at != two[1].at);
    let says = |name: &str| recognise_one(&Query { name, ..Query::default() }).is_some();
    let choir = track.instrument.as_ref().is_some_and(|i| i.to_lowercase().contains("choir"));
    (one_line && !choir && !track.own_name().is_some_and(says)).then_some(index)
}

/// What a singer is.
pub(crate) fn singer() -> Option<Known> {
    let instrument = by_id(SINGER)?;
    let (instrument, chair) = (instrument.id.clone(), instrument.chair.0.clone());
    Some(Known { instrument, chair, players: 1, articulations: Vec::new(), doubt: None })
}

/// A track without a name is called by what plays it, and its chair too.
pub(crate) fn called(id: &str, players: u16) -> Option<(String, String)> {
    let instrument = by_id(id)?;
    let (one, several) = &instrument.chair;
    let chair = if players > 1 { several } else { one };
    let several = instrument.names.english.get(1).filter(|_| players > 1);
    Some((several.map_or(instrument.name(), String::as_str).to_owned(), chair.clone()))
}
