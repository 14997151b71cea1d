//! What is to be done for each chair.

use super::kept::Kept;
use super::origin::{Print, Sound};
use super::place::{Loudness, Way};
use super::stem::{self, Form};
use super::stretch::Stretch;
use super::{Watch, prints};
use crate::fingerprint::Fingerprint;
use crate::{Cue, CueError, Performed, folder};
use ripieno_music::ChairPerformance;
use ripieno_plan::{ChairPlan, FontPlan, Origin as Planned};
use ripieno_sound::font::{Font, FontSetup, FontVoice, Preset};
use ripieno_sound::{Manner, Options};
use ripieno_units::Seconds;
use std::collections::BTreeMap;
use std::path::PathBuf;
use std::sync::Arc;

/// A chair that sounds.
#[derive(Clone, Copy)]
pub struct Chair<'a> {
    pub plan: &'a ChairPlan,
    /// What it plays; a print may sound without.
    pub performance: Option<&'a Arc<ChairPerformance>>,
}

/// Where its sound comes from.
#[derive(Clone)]
pub enum Origin {
    /// Played by the house orchestra.
    House,
    /// A recording: its file, and when its first sample sounds, in seconds from bar 1.
    Print { path: PathBuf, starts: Seconds },
    /// Played with a SoundFont; its stamp tells a file that has changed.
    Font { font: Arc<Font>, setup: FontSetup, stamp: String },
    /// Nothing of it sounds here: it comes from outside, and there is no recording.
    Silent,
}

impl Origin {
    /// How loud it comes.
    pub fn loudness(&self) -> Loudness {
        match self {
            Self::House | Self::Font { .. } | Self::Silent => Loudness::AtOneMetre,
            Self::Print { .. } => Loudness::AsHeard,
        }
    }
}

/// The chairs that sound, in score order: those that play, and those that have a recording.
pub fn chairs<'a>(cue: &'a Cue, performed: &'a Performed, only: &[String]) -> Vec<Chair<'a>> {
    let wanted = |id: &str| only.is_empty() || only.iter().any(|o| o == id);
    let playing = |id: &str| performed.performance.chairs.iter().find(|c| c.chair == id);
    cue.template
        .chairs
        .iter()
        .filter(|c| wanted(&c.id))
        .map(|plan| Chair { plan, performance: playing(&plan.id) })
        .filter(|c| c.performance.is_some() || matches!(c.plan.origin, Planned::Print { .. }))
        .collect()
}

/// SoundFonts that were read, or why they were not.
pub type Fonts = BTreeMap<PathBuf, Result<Arc<Font>, String>>;

/// Decides where a chair's sound comes from. What cannot be read is said, and the house orchestra plays instead.
pub fn origin(
    cue: &Cue,
    performed: &Performed,
    chair: &Chair<'_>,
    rate: u32,
    fonts: &mut Fonts,
    remarks: &mut Vec<String>,
) -> Origin {
    let id = &chair.plan.id;
    let otherwise = |remarks: &mut Vec<String>, why: String| {
        let (origin, instead) = match chair.performance {
            Some(_) if !chair.plan.outside => (Origin::House, "the house orchestra plays instead"),
            _ => (Origin::Silent, "it is silent"),
        };
        remarks.push(format!("{id}: {why}; {instead}"));
        origin
    };
    match &chair.plan.origin {
        Planned::Print { path, align, .. } => {
            let path = cue.print_path(path);
            if path.is_dir() {
                let why =
                    format!("the print {} is a folder, not a file; name the recording in it", path.display());
                return otherwise(remarks, why);
            }
            match Print::open(&path, rate, 0.0) {
                Ok(_) => {
                    let lead_in = performed.patches.lead_in;
                    let shift = prints::look_at(cue, performed, chair, &path, *align, remarks);
                    Origin::Print { path, starts: -lead_in - shift }
                }
                Err(error) => otherwise(remarks, format!("the print {}: {error}", path.display())),
            }
        }
        Planned::Font(plan) => match font(cue, chair, plan, rate, fonts) {
            Ok(origin) => origin,
            Err(why) => otherwise(remarks, why),
        },
        Planned::House if chair.plan.outside => {
            remarks.push(format!(
                "{id} comes from outside and has no print: it stands in the performed MIDI and is silent in the mix"
            ));
            Origin::Silent
        }
        Planned::House => Origin::House,
    }
}

/// The font of a chair, tried out.
fn font(
    cue: &Cue,
    chair: &Chair<'_>,
    plan: &FontPlan,
    rate: u32,
    fonts: &mut Fonts,
) -> Result<Origin, String> {
    let path = cue.beside_template().join(&plan.file);
    let told = |why: String| format!("the SoundFont {}: {why}", path.display());
    let read = fonts.entry(path.clone()).or_insert_with(|| {
        if path.is_dir() {
            return Err("this is a folder, not a file; name the SoundFont in it".into());
        }
        let mut file = std::fs::File::open(&path).map_err(|e| match e.kind() {
            std::io::ErrorKind::NotFound => {
                "there is no such file; paths are relative to the template".into()
            }
            _ => e.to_string(),
        })?;
        Font::read(&mut file).map_err(|e| e.to_string())
    });
    let font = Arc::clone(read.as_ref().map_err(|why| told(why.clone()))?);
    let preset = |(bank, program)| Preset { bank, program };
    let mut presets = vec![(String::new(), preset(plan.preset))];
    presets.extend(plan.presets.iter().map(|(name, p)| (name.clone(), preset(*p))));
    let transpose = i8::try_from(plan.transpose).unwrap_or(0);
    let setup = FontSetup { presets, transpose, cents: plan.cents, gain: 0.0 };
    if let Some(performance) = chair.performance {
        FontVoice::new(&font, performance, &setup, &options(cue, rate), Seconds(0.0))
            .map_err(|e| told(e.to_string()))?;
    }
    Ok(Origin::Font { font, setup, stamp: folder::stamp(&path) })
}

/// A chair to be rendered.
pub struct Job<'a> {
    pub chair: Chair<'a>,
    pub key: String,
    origin: Origin,
    way: Way<'a>,
    seconds: Seconds,
}

impl<'a> Job<'a> {
    pub fn new(
        cue: &Cue,
        chair: Chair<'a>,
        origin: Origin,
        way: Way<'a>,
        stretch: &Stretch,
        form: Form,
    ) -> Self {
        let key = key(cue, chair, &origin, &way, stretch, form);
        Self { chair, key, origin, way, seconds: stretch.from }
    }

    /// Renders the stem and keeps it.
    pub fn render(
        &self,
        cue: &Cue,
        stretch: &Stretch,
        form: Form,
        kept: &Kept,
        watch: &dyn Watch,
    ) -> Result<(), CueError> {
        let sound = self.sound(cue, stretch, form)?;
        let responses = match &sound {
            Sound::Print(print) => self.way.responses(print.channels()),
            Sound::Voice(voice) => self.way.responses(voice.desks()),
        };
        stem::render(sound, &responses, form, kept, &self.key, watch)
    }

    fn sound(&self, cue: &Cue, stretch: &Stretch, form: Form) -> Result<Sound<'a>, CueError> {
        let rate = form.shape.sample_rate;
        match (&self.origin, self.chair.performance) {
            (Origin::Print { path, starts }, _) => {
                let shift = (*starts - stretch.from).0;
                let print = Print::open(path, rate, shift)
                    .map_err(|message| CueError::Place { path: path.clone(), message })?;
                Ok(Sound::Print(Box::new(print)))
            }
            (Origin::House, Some(performance)) => {
                Ok(Sound::Voice(ripieno_sound::voice(performance, &options(cue, rate), self.seconds)))
            }
            (Origin::Font { font, setup, .. }, Some(performance)) => {
                let voice = FontVoice::new(font, performance, setup, &options(cue, rate), self.seconds)
                    .map_err(|e| CueError::Place {
                        path: cue.template_path.clone(),
                        message: format!("the chair `{}`: {e}", self.chair.plan.id),
                    })?;
                Ok(Sound::Voice(Box::new(voice)))
            }
            (Origin::Silent | Origin::House | Origin::Font { .. }, _) => Ok(Sound::Voice(Box::new(Silence))),
        }
    }
}

/// How the house orchestra plays.
pub fn options(cue: &Cue, rate: u32) -> Options {
    let settings = &cue.plan.settings;
    Options { sample_rate: rate, tuning: settings.a, seed: settings.seed, manner: Manner::Living }
}

/// Nothing.
pub struct Silence;

impl ripieno_sound::Voice for Silence {
    fn desks(&self) -> usize {
        1
    }

    fn next(&mut self, frames: usize, desks: &mut Vec<Vec<f32>>) {
        desks.resize_with(1, Vec::new);
        desks[0].clear();
        desks[0].resize(frames, 0.0);
    }
}

/// The fingerprint of all that makes a stem.
pub fn key(
    cue: &Cue,
    chair: Chair<'_>,
    origin: &Origin,
    way: &Way<'_>,
    stretch: &Stretch,
    form: Form,
) -> String {
    let rate = form.shape.sample_rate;
    let print = Fingerprint::default()
        .of(&env!("RIPIENO_SOUND"))
        .of(&(stretch.from.0.to_bits(), form))
        .of(&way.made_of());
    let print = match origin {
        Origin::House => print.of(&options(cue, rate)).of(&chair.performance),
        Origin::Print { path, starts } => print.of(&folder::stamp(path)).of(&starts.0.to_bits()),
        Origin::Font { setup, stamp, .. } => {
            print.of(&options(cue, rate)).of(&chair.performance).of(&(setup, stamp))
        }
        Origin::Silent => print.of(&"silent"),
    };
    print.to_string()
}
