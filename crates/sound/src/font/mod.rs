//! A chair through the presets of a SoundFont (SF2: Creative, SoundFont Technical Specification 2.04, 2006, from memory).
//!
//! [`Font::read`] takes the bytes of a file, [`FontVoice`] plays a chair with it as the house's own voice would: dry, in one
//! channel, at the level of the instrument.

mod notes;
mod play;

pub use play::FontVoice;

use ripieno_signal::measure::rms;
use rustysynth::{SoundFont, Synthesizer, SynthesizerSettings};
use std::collections::BTreeMap;
use std::io::Read;
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::sync::{Arc, Mutex, PoisonError};

/// Why a chair has no sound from a SoundFont.
#[derive(Clone, Debug, PartialEq)]
pub enum FontError {
    /// The file is of another kind.
    NotSoundFont {
        /// What it begins with.
        found: String,
    },
    /// Damaged or cut off.
    Damaged(String),
    /// It cannot be read from its disk.
    Source(String),
    /// The setup names no preset.
    NoPresets,
    /// A preset that is not there.
    NoPreset {
        /// What was asked for.
        asked: Preset,
        /// The nearest that are there, with their names.
        near: Vec<(Preset, String)>,
    },
    /// A preset that is silent where the instrument plays.
    Silent {
        /// Which.
        asked: Preset,
        /// At this key.
        key: u8,
    },
    /// A sample rate outside 16 to 192 kHz.
    Rate(u32),
}

impl std::fmt::Display for FontError {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::NotSoundFont { found } => {
                write!(f, "this is not a SoundFont: {found}. Give the path of an .sf2 file")
            }
            Self::Damaged(what) => write!(f, "the SoundFont is damaged: {what}. Copy or download it again"),
            Self::Source(what) => write!(f, "the SoundFont cannot be read: {what}. Check the disk it is on"),
            Self::NoPresets => write!(f, "no preset is named. Name at least one, by bank and program"),
            Self::NoPreset { asked, near } => {
                write!(f, "the SoundFont has no preset {asked}. ")?;
                if near.is_empty() {
                    return write!(f, "It has none at all: choose another file");
                }
                write!(f, "Choose one that it has, such as ")?;
                for (i, (preset, name)) in near.iter().enumerate() {
                    write!(f, "{}{preset} ({name})", if i > 0 { ", " } else { "" })?;
                }
                Ok(())
            }
            Self::Silent { asked, key } => write!(
                f,
                "the preset {asked} gives no sound at key {key}. Choose another preset, or transpose by an octave"
            ),
            Self::Rate(rate) => {
                write!(f, "a SoundFont cannot play at {rate} Hz. Render at 44100, 48000, 88200 or 96000 Hz")
            }
        }
    }
}

impl std::error::Error for FontError {}

/// A preset by its numbers.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct Preset {
    /// 0 to 127; 128 for percussion.
    pub bank: u16,
    /// 0 to 127, counted from 0.
    pub program: u8,
}

impl std::fmt::Display for Preset {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "{}:{}", self.bank, self.program)
    }
}

/// How a chair uses a SoundFont.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct FontSetup {
    /// Presets by the name of an articulation or a colour; an empty name is the one for all others.
    pub presets: Vec<(String, Preset)>,
    /// Semitones up, where the samples lie an octave off.
    pub transpose: i8,
    /// Cents up, where the samples are out of tune.
    pub cents: f64,
    /// Decibels louder.
    pub gain: f64,
}

/// A SoundFont in memory, shared by all chairs that play with it.
pub struct Font {
    inner: Arc<SoundFont>,
    /// RMS of presets at a key and the velocity of mf; see [`Font::loudness`].
    measured: Mutex<BTreeMap<(Preset, u8), f64>>,
}

/// Velocity of mf (common practice: MIDI velocity 80).
const MF: u8 = 80;

/// A gain on everything inside the player, taken back outside: it holds gains below a thousandth to be nothing and changes by less
/// to be none, which would cut tails and roughen swells.
const INSIDE: f32 = 64.0;

impl Font {
    /// Reads an SF2 file to its end.
    pub fn read(source: &mut impl Read) -> Result<Arc<Self>, FontError> {
        let mut bytes = Vec::new();
        source.take(4 << 30).read_to_end(&mut bytes).map_err(|e| FontError::Source(e.to_string()))?;
        check(&bytes)?;
        // The reader is not ours: on some damaged files it panics on a sum that overflows.
        let font = catch_unwind(|| SoundFont::new(&mut &bytes[..]))
            .map_err(|_| FontError::Damaged("its numbers make no sense".into()))?
            .map_err(|e| FontError::Damaged(e.to_string()))?;
        Ok(Arc::new(Self { inner: Arc::new(font), measured: Mutex::default() }))
    }

    /// All presets with their names, in order.
    pub fn presets(&self) -> Vec<(Preset, String)> {
        let mut presets: Vec<(Preset, String)> = self
            .inner
            .get_presets()
            .iter()
            .filter_map(|p| {
                let bank = u16::try_from(p.get_bank_number()).ok()?;
                let program = u8::try_from(p.get_patch_number()).ok()?;
                Some((Preset { bank, program }, p.get_name().trim().to_string()))
            })
            .collect();
        presets.sort();
        presets
    }

    /// Whether it has a preset; the error names those that are nearest.
    pub fn check(&self, asked: Preset) -> Result<(), FontError> {
        let mut near = self.presets();
        if near.iter().any(|(p, _)| *p == asked) {
            return Ok(());
        }
        near.sort_by_key(|(p, _)| (p.program.abs_diff(asked.program), p.bank.abs_diff(asked.bank)));
        near.truncate(5);
        Err(FontError::NoPreset { asked, near })
    }

    fn player(&self, sample_rate: u32) -> Result<Synthesizer, FontError> {
        let mut settings = SynthesizerSettings::new(i32::try_from(sample_rate).unwrap_or(0));
        settings.block_size = play::BLOCK;
        settings.maximum_polyphony = 256;
        settings.enable_reverb_and_chorus = false;
        let mut player =
            Synthesizer::new(&self.inner, &settings).map_err(|_| FontError::Rate(sample_rate))?;
        player.set_master_volume(INSIDE);
        Ok(player)
    }

    /// [`loudness`] of both sides together at a key, played mf. Measured once.
    fn loudness(&self, preset: Preset, key: u8) -> Result<f64, FontError> {
        let lock = || self.measured.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some(known) = lock().get(&(preset, key)) {
            return Ok(*known);
        }
        let mut player = self.player(MEASURED)?;
        play::select(&mut player, 0, preset);
        let sound = catch_unwind(AssertUnwindSafe(|| {
            player.note_on(0, key.into(), MF.into());
            let (mut left, mut right) = (vec![0.0; 12 * TENTH], vec![0.0; 12 * TENTH]);
            player.render(&mut left, &mut right);
            left.iter().zip(&right).map(|(l, r)| (l + r) / INSIDE).collect::<Vec<f32>>()
        }))
        .map_err(|_| FontError::Damaged(format!("the preset {preset} cannot be played")))?;
        let found = loudness(&sound);
        if !(found > 1e-7 && found.is_finite()) {
            return Err(FontError::Silent { asked: preset, key });
        }
        lock().insert((preset, key), found);
        Ok(found)
    }
}

/// Samples a second at which loudness is measured, and a tenth of them.
const MEASURED: u32 = 44_100;
const TENTH: usize = MEASURED as usize / 10;

/// RMS of a note of 1.2 s: of the middle of what is held, of the loudest tenth of a second of what dies away by 6 dB.
fn loudness(sound: &[f32]) -> f64 {
    let loudest = sound.chunks(TENTH).map(rms).fold(0.0, f64::max);
    let late = rms(&sound[(8 * TENTH).min(sound.len())..(11 * TENTH).min(sound.len())]);
    if late > 0.5 * loudest { rms(&sound[3 * TENTH..11 * TENTH]) } else { loudest }
}

impl std::fmt::Debug for Font {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "Font {{ presets: {} }}", self.inner.get_presets().len())
    }
}

/// Whether the head is that of a SoundFont and no chunk claims more than there is.
fn check(bytes: &[u8]) -> Result<(), FontError> {
    if !(bytes.starts_with(b"RIFF") && bytes.get(8..12) == Some(b"sfbk")) {
        let head: String = bytes.iter().take(4).flat_map(|b| b.escape_ascii()).map(char::from).collect();
        let found =
            if bytes.is_empty() { "it is empty".into() } else { format!("it begins with \"{head}\"") };
        return Err(FontError::NotSoundFont { found });
    }
    claims(&bytes[12..], 0)
}

/// Chunks within chunks: the reader would reserve what they claim.
fn claims(bytes: &[u8], depth: usize) -> Result<(), FontError> {
    let mut rest = bytes;
    while let Some((head, after)) = rest.split_at_checked(8) {
        let size = u32::from_le_bytes([head[4], head[5], head[6], head[7]]) as usize;
        let Some((body, next)) = after.split_at_checked(size) else {
            return Err(FontError::Damaged(format!(
                "a part of {size} bytes is announced where {} are left",
                after.len()
            )));
        };
        if head.starts_with(b"LIST") && depth == 0 && body.len() > 4 {
            claims(&body[4..], depth + 1)?;
        }
        // Parts of odd length are followed by a byte of padding, which some writers forget.
        rest = if size % 2 == 1 && next.first() == Some(&0) { &next[1..] } else { next };
    }
    Ok(())
}
