//! The halls of a cue: which there are, and the rooms that they become.

use crate::{Cue, CueError, folder};
use ripieno_formats::audio;
use ripieno_hall::Room;
use ripieno_plan::{Diagnostic, HallKind, HallPlan, Named, Placing, Span, StagePlan, Template};
use ripieno_signal::{Stereo, resample};
use ripieno_units::{Decibels, Seconds};
use std::collections::BTreeMap;
use std::path::Path;

/// A hall that a chair can be sent to.
pub struct Sounding {
    pub room: Room,
    /// Amplitude of all that it adds.
    pub gain: f64,
    /// It is an impulse response of the user's own.
    pub recorded: bool,
    /// Whatever changes it, in words, for the fingerprints of the stems.
    pub made_of: String,
}

/// The rooms of a cue by the names that its template uses.
pub struct Halls {
    by_name: BTreeMap<String, Sounding>,
}

/// Longest impulse response that is read, seconds: stone churches ring for ten.
const LONGEST: f64 = 30.0;

impl Halls {
    /// Makes all rooms that these placings are sent to.
    pub fn prepare<'a>(
        cue: &Cue,
        placings: impl IntoIterator<Item = &'a Placing>,
        rate: u32,
    ) -> Result<Self, CueError> {
        let stage = &cue.template.stage;
        let mut names: Vec<&str> = stage.common.iter().map(|c| c.name.as_str()).collect();
        names.extend(placings.into_iter().map(|p| name(p, stage)));
        names.sort_unstable();
        names.dedup();
        let mut by_name = BTreeMap::new();
        for name in names {
            by_name.insert(name.to_string(), sounding(cue, name, rate)?);
        }
        Ok(Self { by_name })
    }

    /// All halls that a cue's template names.
    pub fn all(cue: &Cue, rate: u32) -> Result<Self, CueError> {
        let template = &cue.template;
        let placings: Vec<Placing> =
            template.chairs.iter().map(|c| super::place::placing(template, c)).collect();
        Self::prepare(cue, &placings, rate)
    }

    /// The halls with their names, by name.
    pub fn named(&self) -> impl Iterator<Item = (&str, &Sounding)> {
        self.by_name.iter().map(|(name, hall)| (name.as_str(), hall))
    }

    /// A hall of this name; names were checked when the cue was opened.
    pub fn get(&self, name: &str) -> Option<&Sounding> {
        self.by_name.get(name)
    }

    /// Seconds until the last of them has died away.
    pub fn longest(&self) -> Seconds {
        let seconds = |s: &Sounding| s.room.tail().frames() as f64 / s.room.sample_rate();
        Seconds(self.by_name.values().map(seconds).fold(0.0, f64::max))
    }
}

/// The hall of a placing.
pub fn name<'a>(placing: &'a Placing, stage: &'a StagePlan) -> &'a str {
    placing.hall.as_ref().map_or(&stage.hall.name, |h| &h.name)
}

fn sounding(cue: &Cue, name: &str, rate: u32) -> Result<Sounding, CueError> {
    let stage = &cue.template.stage;
    let plain = HallPlan {
        name: name.to_string(),
        kind: HallKind::Room(Named { name: name.to_string(), span: Span::default() }),
        // The template's one time is that of the hall of all who name none.
        reverberation: stage.reverberation.filter(|_| name == stage.hall.name),
        gain_db: 0.0,
    };
    let plan = stage.halls.iter().find(|h| h.name == name).unwrap_or(&plain);
    let room = match &plan.kind {
        HallKind::Room(word) => {
            let hall = ripieno_hall::by_id(&word.name).cloned().unwrap_or_default();
            let hall = match plan.reverberation {
                Some(seconds) => hall.lasting(Seconds(seconds)),
                None => hall,
            };
            ripieno_hall::prepare(&hall, rate)
        }
        HallKind::Impulse { path, .. } => {
            let path = cue.beside_template().join(path);
            let wrong = |message: String| CueError::Place {
                path: path.clone(),
                message: format!("{message} (the impulse response of the hall `{name}`)"),
            };
            impulse(&path, rate).map_err(wrong)?
        }
    };
    let mut made_of = format!("{plan:?}");
    if let HallKind::Impulse { path, .. } = &plan.kind {
        made_of += &folder::stamp(&cue.beside_template().join(path));
    }
    let recorded = matches!(plan.kind, HallKind::Impulse { .. });
    Ok(Sounding {
        room,
        recorded,
        gain: Decibels(plan.gain_db + cue.template.mix.hall_db).amplitude(),
        made_of,
    })
}

/// A room from a sound file, at this sample rate.
pub fn impulse(path: &Path, rate: u32) -> Result<Room, String> {
    let file = std::fs::File::open(path).map_err(|e| match e.kind() {
        std::io::ErrorKind::NotFound => {
            "there is no such file; paths are relative to the template".to_string()
        }
        _ => e.to_string(),
    })?;
    let sound = audio::read(file, LONGEST).map_err(|e| e.to_string())?;
    let channels = resampled(sound.channels, sound.sample_rate, rate)?;
    let mut channels = channels.into_iter();
    let left = channels.next().unwrap_or_default();
    let right = channels.next().unwrap_or_else(|| left.clone());
    ripieno_hall::from_impulse(&Stereo { left, right }, rate).map_err(|e| e.to_string())
}

fn resampled(channels: Vec<Vec<f32>>, from: u32, to: u32) -> Result<Vec<Vec<f32>>, String> {
    if from == to { Ok(channels) } else { resample(&channels, from, to).map_err(|e| e.to_string()) }
}

/// Complaints about names of halls, seating and impulse responses that are not there.
pub fn check(template: &Template, file: &str, text: &str, beside: &Path) -> Vec<Diagnostic> {
    let stage = &template.stage;
    let mut found = Vec::new();
    let mut say = |span: Span, message: String, help: String| {
        found.push(Diagnostic::at(file, text, span, message, help));
    };
    let rooms: Vec<&str> = ripieno_hall::halls().iter().map(|h| h.id.as_str()).collect();
    let own: Vec<&str> = stage.halls.iter().map(|h| h.name.as_str()).collect();
    let all: Vec<&str> = own.iter().chain(&rooms).copied().collect();
    let mut words: Vec<(&Named, &[&str])> = vec![(&stage.hall, &all)];
    words.extend(stage.common.iter().map(|w| (w, &all[..])));
    let placings = stage.families.iter().map(|f| &f.1).chain(template.chairs.iter().map(|c| &c.placing));
    words.extend(placings.filter_map(|p| p.hall.as_ref()).map(|w| (w, &all[..])));
    for hall in &stage.halls {
        match &hall.kind {
            HallKind::Room(word) => words.push((word, &rooms)),
            HallKind::Impulse { path, span } => {
                if !beside.join(path).is_file() {
                    let message =
                        format!("there is no file `{path}`, the impulse response of `{}`", hall.name);
                    say(*span, message, "its path is relative to the template".into());
                }
            }
        }
    }
    for (word, known) in words {
        if !known.contains(&word.name.as_str()) {
            let near = ripieno_plan::nearest(&word.name, known.iter().copied());
            let help = near.map_or_else(
                || format!("there are: {}", known.join(", ")),
                |n| format!("did you mean `{n}`?"),
            );
            say(word.span, format!("there is no hall `{}`", word.name), help);
        }
    }
    let schemes: Vec<&str> = ripieno_instruments::seatings().collect();
    if !schemes.contains(&stage.seating.name.as_str()) {
        let help = format!("seatings are: {}", schemes.join(", "));
        say(stage.seating.span, format!("there is no seating `{}`", stage.seating.name), help);
    }
    found
}
