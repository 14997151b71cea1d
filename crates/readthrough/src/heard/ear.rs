//! Excitation patterns of what the chairs play, kept: most notes come again.

use super::slots::{Sound, Sounds, Voice, mean_decay};
use super::{Spectra, Spectrum};
use crate::Table;
use rayon::prelude::*;
use ripieno_hearing::{Pattern, Scale, excitation};
use ripieno_units::quick::ratio;
use std::borrow::Cow;
use std::collections::{BTreeMap, BTreeSet, HashMap};
use std::sync::{Arc, RwLock};

/// Levels are rounded to this many dB for the spectrum, which changes slowly with them; the rest is made up for exactly.
pub const LEVEL_STEP: f64 = 3.0;
/// The same for the level at the ear, on which only the spread of masking depends.
const EAR_STEP: f64 = 6.0;
/// Plucked strings of bowed instruments, where their spectra know no pizzicato: T60 from low to high (1.5 s on a bass, 0.4 s
/// on a violin: instruments note 5.10, common practice), and their level (-6 to -10 dB: instruments note 10.2, from memory).
const PIZZICATO: (f64, f64, f64) = (1.5, 0.4, -8.0);

/// What a pattern depends on.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
struct Kept {
    voice: Voice,
    level: i16,
    ear: i16,
}

/// The sound of a voice.
struct Told {
    /// Its time to fall by 60 dB, and what it is softer by.
    decay: (Option<f64>, f64),
    /// In steps, rising; with the spectrum at each.
    levels: Vec<i16>,
    spectra: Vec<Spectrum>,
}

impl Told {
    fn at(&self, level: i16) -> Option<&Spectrum> {
        self.spectra.get(self.levels.binary_search(&level).ok()?)
    }
}

/// The listener.
pub struct Ear<'a> {
    pub scale: Scale,
    table: &'a Table<'a>,
    spectra: &'a dyn Spectra,
    strokes: Vec<Option<String>>,
    told: HashMap<Voice, Told>,
    patterns: RwLock<HashMap<Kept, Arc<Pattern>>>,
}

impl std::fmt::Debug for Ear<'_> {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Ear").field("strokes", &self.strokes).finish_non_exhaustive()
    }
}

impl<'a> Ear<'a> {
    /// Learns all that is played.
    pub fn new(table: &'a Table<'a>, spectra: &'a dyn Spectra, sounds: &Sounds) -> Self {
        let mut ear = Self {
            scale: Scale::coarse(),
            table,
            spectra,
            strokes: sounds.strokes.clone(),
            told: HashMap::new(),
            patterns: RwLock::new(HashMap::new()),
        };
        // What each voice plays at which levels; the spectra of one voice are told at once, and its decay with them.
        let mut voices: BTreeMap<Voice, (bool, BTreeSet<i16>)> = BTreeMap::new();
        for sound in sounds.slots.iter().flatten() {
            let (plucked, levels) = voices.entry(sound.voice).or_default();
            *plucked = sound.plucked;
            levels.insert((sound.level / LEVEL_STEP).round() as i16);
        }
        let voices: Vec<(Voice, bool, Vec<i16>)> = voices
            .into_iter()
            .map(|(v, (plucked, levels))| (v, plucked, levels.into_iter().collect()))
            .collect();
        let told: Vec<(Voice, Told)> = voices
            .into_par_iter()
            .map(|(voice, plucked, levels)| (voice, ear.tell(voice, plucked, levels)))
            .collect();
        ear.told = told.into_iter().collect();
        let mut keys: BTreeSet<Kept> = BTreeSet::new();
        for sound in sounds.slots.iter().flatten() {
            keys.insert(ear.key(sound, 0.0).0);
        }
        // In order of voices.
        let keys: Vec<Kept> = keys.into_iter().collect();
        let of_voices: Vec<&[Kept]> = keys.chunk_by(|a, b| a.voice == b.voice).collect();
        let made = of_voices.into_par_iter().flat_map_iter(|kept| {
            let told = kept.first().and_then(|k| ear.told.get(&k.voice));
            ear.make(kept, |level| told.and_then(|t| t.at(level)))
        });
        let made: Vec<(Kept, Arc<Pattern>)> = made.collect();
        ear.patterns = RwLock::new(made.into_iter().collect());
        ear
    }

    /// A voice at these levels (in steps, rising).
    fn tell(&self, voice: Voice, plucked: bool, levels: Vec<i16>) -> Told {
        let at: Vec<f64> = levels.iter().map(|l| f64::from(*l) * LEVEL_STEP).collect();
        let spectra = self.spectra_of(voice, &at);
        let middle = spectra.get(spectra.len() / 2).and_then(|s| s.decay);
        Told { decay: decay_of(voice, plucked, middle), levels, spectra }
    }

    /// The sound of one player, before the room, at a level in steps of [`LEVEL_STEP`].
    pub fn spectrum(&self, voice: Voice, step: i16) -> Cow<'_, Spectrum> {
        if let Some(told) = self.told.get(&voice).and_then(|t| t.at(step)) {
            return Cow::Borrowed(told);
        }
        Cow::Owned(self.spectra_of(voice, &[f64::from(step) * LEVEL_STEP]).pop().unwrap_or_default())
    }

    fn spectra_of(&self, voice: Voice, levels: &[f64]) -> Vec<Spectrum> {
        let Some(desk) = self.table.desks.get(usize::from(voice.instrument)) else {
            return vec![Spectrum::default(); levels.len()];
        };
        let stroke = self.strokes.get(usize::from(voice.stroke)).and_then(Option::as_deref);
        self.spectra.at_levels(&desk.instrument.id, stroke, f64::from(voice.key), levels, voice.colour)
    }

    /// Its pattern's key and the power that is left to make up for, with the level moved by `shift` dB.
    fn key(&self, sound: &Sound, shift: f64) -> (Kept, f64) {
        let (decay, softer) = self.told.get(&sound.voice).map_or((None, 0.0), |t| t.decay);
        let room = self.table.desks.get(usize::from(sound.desk)).map_or(0.0, |d| d.room.gain_db);
        let room = if room.is_finite() { room.clamp(-120.0, 60.0) } else { 0.0 };
        let level = sound.level + shift;
        let step = (level / LEVEL_STEP).round();
        let gain = sound.gain + softer + room;
        let ear = (gain / EAR_STEP).round();
        let left = level - step * LEVEL_STEP + gain - ear * EAR_STEP;
        let mut power = ratio(left);
        if let Some(decay) = decay {
            power *= mean_decay(decay, sound.age, sound.to - sound.from);
        }
        (Kept { voice: sound.voice, level: step as i16, ear: ear as i16 }, power)
    }

    /// The patterns of one voice, with its spectra by level.
    fn make<'s>(
        &self,
        kept: &[Kept],
        spectrum: impl Fn(i16) -> Option<&'s Spectrum>,
    ) -> Vec<(Kept, Arc<Pattern>)> {
        let mut made = Vec::with_capacity(kept.len());
        for one in kept {
            let gain = f64::from(one.ear) * EAR_STEP;
            let components: Vec<(f64, f64)> = spectrum(one.level)
                .map_or_else(Vec::new, |s| s.components.iter().map(|c| (c.0, c.1 + gain)).collect());
            made.push((*one, Arc::new(excitation(&self.scale, &components))));
        }
        made
    }

    /// The pattern of a sound at the listener, and the power to multiply it with.
    pub fn pattern(&self, sound: &Sound, shift: f64) -> (Arc<Pattern>, f64) {
        let (key, power) = self.key(sound, shift);
        // A poisoned lock still holds whole patterns.
        if let Some(found) = self.patterns.read().unwrap_or_else(|e| e.into_inner()).get(&key) {
            return (found.clone(), power);
        }
        let told = self.spectrum(key.voice, key.level);
        let made = self.make(&[key], |_| Some(&told));
        let mut kept = self.patterns.write().unwrap_or_else(|e| e.into_inner());
        kept.extend(made);
        (kept.entry(key).or_insert_with(|| Arc::new(Pattern::zero(&self.scale))).clone(), power)
    }
}

/// Time to fall by 60 dB, and dB that a voice is softer by than its spectra say.
fn decay_of(voice: Voice, plucked: bool, told: Option<f64>) -> (Option<f64>, f64) {
    let found = told.filter(|d| d.is_finite() && *d > 0.0);
    if plucked && found.is_none() {
        let (low, high, level) = PIZZICATO;
        let x = ((f64::from(voice.key) - 28.0) / 60.0).clamp(0.0, 1.0);
        return (Some(low + (high - low) * x), level);
    }
    (found, 0.0)
}
