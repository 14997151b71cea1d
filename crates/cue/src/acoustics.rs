//! What halls measure: those that are built in, a cue's own, an impulse response.

use crate::render::{Halls, impulse};
use crate::{Cue, CueError};
use rayon::prelude::*;
use ripieno_hall::{Measures, Room};
use std::path::{Path, PathBuf};

/// A hall with its figures.
#[derive(Clone, Debug, PartialEq)]
pub struct HallReport {
    /// Its id, or the name that the template gives it, or the file.
    pub id: String,
    /// For people.
    pub name: String,
    /// Cubic metres; none for an impulse response.
    pub volume: Option<f64>,
    /// Reverberation times that it is made for, seconds from 63 Hz to 8 kHz by octave; none for an impulse response.
    pub wanted: Option<[f64; 8]>,
    /// What it measures at the main microphones, by octave (ISO 3382-1), from a source in the middle of the stage.
    pub measures: Vec<Measures>,
}

/// Sample rate at which halls are measured.
const RATE: u32 = 48_000;

fn report(id: &str, name: &str, room: &Room, recorded: bool) -> HallReport {
    let hall = room.hall();
    HallReport {
        id: id.to_string(),
        name: name.to_string(),
        volume: (!recorded).then(|| hall.volume()),
        wanted: (!recorded).then_some(hall.wanted),
        measures: room.measures(),
    }
}

/// The halls that are built in, measured.
pub fn built_in_halls() -> Vec<HallReport> {
    let halls = ripieno_hall::halls();
    halls.par_iter().map(|h| report(&h.id, &h.name, &ripieno_hall::prepare(h, RATE), false)).collect()
}

/// The halls that a cue's chairs are sent to, measured. Errors: an impulse response that cannot be read.
pub fn cue_halls(cue: &Cue) -> Result<Vec<HallReport>, CueError> {
    let halls = Halls::all(cue, RATE)?;
    let named: Vec<_> = halls.named().collect();
    Ok(named.par_iter().map(|(name, hall)| report(name, name, &hall.room, hall.recorded)).collect())
}

/// Measures a hall that is built in, all halls of a cue, or an impulse response, whichever the word names.
///
/// Errors: a word that names nothing; a cue that cannot be opened; a file that is no impulse response.
pub fn measure_halls(word: &Path) -> Result<Vec<HallReport>, CueError> {
    if let Some(hall) = word.to_str().and_then(ripieno_hall::by_id) {
        return Ok(vec![report(&hall.id, &hall.name, &ripieno_hall::prepare(hall, RATE), false)]);
    }
    let place = |message: String| CueError::Place { path: PathBuf::from(word), message };
    if word.is_dir() || word.extension().is_some_and(|e| e == "toml") {
        return cue_halls(&Cue::open(word)?);
    }
    if word.is_file() {
        let room = impulse(word, RATE).map_err(place)?;
        return Ok(vec![report(&word.display().to_string(), "impulse response", &room, true)]);
    }
    let ids: Vec<&str> = ripieno_hall::halls().iter().map(|h| h.id.as_str()).collect();
    let near = word.to_str().and_then(|w| ripieno_plan::nearest(w, ids.iter().copied()));
    let help =
        near.map_or_else(|| format!("there are: {}", ids.join(", ")), |n| format!("did you mean `{n}`?"));
    Err(place(format!("this is no built-in hall, no cue and no sound file; {help}")))
}
