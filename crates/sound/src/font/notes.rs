//! What a chair plays on a SoundFont: keys, velocities, presets, levels.

use super::play::{BLOCK, RESERVE};
use super::{Font, FontError, FontSetup, INSIDE, MEASURED, Preset, loudness};
use crate::{Manner, Options, render};
use ripieno_instruments::Instrument;
use ripieno_music::{ChairPerformance, Colour, Curve, Gesture, named};
use ripieno_units::{Decibels, Seconds, math};
use std::collections::BTreeMap;

/// Velocity by level in dB re mf (common practice: pp near 30, mf 80, fff 127).
const VELOCITY: [(f64, f64); 3] = [(-18.0, 30.0), (0.0, 80.0), (13.5, 127.0)];

/// How long a note goes on under the one that is slurred to it, seconds.
const OVERLAP: f64 = 0.030;

/// One note for the player.
#[derive(Clone, Debug)]
pub struct Note {
    /// Blocks from time zero.
    pub on: i64,
    pub off: i64,
    /// Seconds.
    pub onset: f64,
    /// What is sent.
    pub key: u8,
    /// What is sent.
    pub velocity: u8,
    /// By which it is played.
    pub preset: Preset,
    /// Cents that do not fit the key.
    pub cents: f64,
    /// Seconds from the onset, cents.
    pub bend: Vec<(f64, f64)>,
    /// dB that the level of the chair is moved by.
    pub offset: f64,
    /// Whether the level of the chair is followed while it sounds.
    pub follows: bool,
    /// Plucked on an instrument that is bowed.
    pub plucked: bool,
    /// What is struck.
    pub stroke: Option<String>,
    /// Counted through all players, [`CHANNELS`] each.
    pub channel: usize,
}

/// Channels of a player that are used: the first nine, as the tenth is percussion's own. Each note has one to itself, and so its
/// own bend and level.
pub const CHANNELS: usize = 9;

/// Most players of a chair: beyond, notes share channels.
const PLAYERS: usize = 16;

/// Seconds for which a note is heard after its end.
const RINGS: f64 = 1.5;

/// What a chair plays.
pub fn notes(
    chair: &ChairPerformance,
    instrument: Option<&Instrument>,
    setup: &FontSetup,
    options: &Options,
) -> Vec<Note> {
    let unpitched = instrument.is_some_and(|i| i.unpitched);
    let decays = unpitched || instrument.is_some_and(|i| i.decays);
    let rate = f64::from(options.sample_rate);
    let tuning = if options.tuning > 0.0 { 1200.0 * math::log2(options.tuning / 440.0) } else { 0.0 };
    let block = |t: f64| math::floor(t * rate / BLOCK as f64 + 0.5) as i64;
    let mut notes = Vec::new();
    let mut put =
        |gesture: &Gesture, onset: f64, end: f64, key: u8, attack: f64, preset: Preset, joins_on: bool| {
            let kit = unpitched || gesture.stroke.is_some() || preset.bank == 128;
            let sane = [onset, end, attack].iter().all(|x| x.is_finite() && x.abs() < 1e6) && end > onset;
            if !sane {
                return;
            }
            let plucked = !decays
                && (matches!(gesture.articulation.as_str(), named::PIZZICATO | named::SNAP_PIZZICATO)
                    || gesture.colour == Some(Colour::ColLegno));
            let move_by = if kit { 0 } else { i16::from(setup.transpose) };
            let key = if kit && key == 0 { 60 } else { key };
            let cents = if kit { 0.0 } else { gesture.cents + tuning + setup.cents };
            // Beyond half a semitone it is another key.
            let steps = math::floor(cents / 100.0 + 0.5).clamp(-24.0, 24.0);
            let share =
                f64::from(gesture.players.clamp(1, chair.players.max(1))) / f64::from(chair.players.max(1));
            let end = pedalled(chair, if joins_on { end + OVERLAP } else { end });
            let on = block(onset);
            notes.push(Note {
                on,
                off: block(end).max(on + 1),
                onset,
                key: (i16::from(key.min(127)) + move_by + steps as i16).clamp(0, 127) as u8,
                velocity: (math::polyline(&VELOCITY, attack) + 0.5) as u8,
                preset,
                cents: if cents.is_finite() { cents - 100.0 * steps } else { 0.0 },
                bend: gesture.bend.iter().map(|(t, c)| (t.0, c.clamp(-2400.0, 2400.0))).collect(),
                offset: attack - chair.level.at(Seconds(onset)) + 10.0 * math::log10(share),
                // What is struck or plucked keeps its level.
                follows: !decays && !plucked,
                plucked,
                stroke: gesture.stroke.clone(),
                channel: 0,
            });
        };
    for gesture in &chair.gestures {
        let own = own_preset(setup, gesture, &gesture.articulation);
        match &gesture.realisation {
            // Note by note, unless a preset plays it whole.
            Some(r) if own.is_none() && gesture.bend.is_empty() && !r.strokes.is_empty() => {
                let preset = own_preset(setup, gesture, &r.articulation).or_else(|| other(setup));
                let Some(preset) = preset else { continue };
                for (i, s) in r.strokes.iter().enumerate() {
                    let joins_on = r.strokes.get(i + 1).map_or(gesture.joins_on, |n| n.joined);
                    put(gesture, s.onset.0, s.end.0, s.key, s.attack.0, preset, joins_on);
                }
            }
            _ => {
                let Some(preset) = own.or_else(|| other(setup)) else { continue };
                let (onset, end) = (gesture.onset.0, gesture.end.0);
                put(gesture, onset, end, gesture.key, gesture.attack.0, preset, gesture.joins_on);
            }
        }
    }
    notes.sort_by(|a, b| a.onset.total_cmp(&b.onset).then(a.key.cmp(&b.key)));
    deal(&mut notes, block(RINGS));
    notes
}

/// Gives each note a channel that is free, or else a new one, or else the one that will be free soonest.
fn deal(notes: &mut [Note], rings: i64) {
    let mut free: Vec<i64> = Vec::new();
    for note in notes {
        let soonest = (0..free.len()).min_by_key(|i| free[*i]);
        let channel = match soonest {
            Some(i) if free[i] <= note.on || free.len() >= PLAYERS * CHANNELS => i,
            _ => {
                free.push(i64::MIN);
                free.len() - 1
            }
        };
        free[channel] = note.off + rings;
        note.channel = channel;
    }
}

/// The end of a note, put off while the pedal is down.
fn pedalled(chair: &ChairPerformance, end: f64) -> f64 {
    let held = chair.pedal.iter().find(|(down, up)| down.0 <= end && end < up.0);
    held.map_or(end, |(_, up)| up.0)
}

/// The preset that is named for a colour or an articulation.
fn own_preset(setup: &FontSetup, gesture: &Gesture, articulation: &str) -> Option<Preset> {
    let named = |name: &str| setup.presets.iter().find(|(n, _)| n == name).map(|(_, p)| *p);
    gesture.colour.and_then(|c| named(c.word())).or_else(|| named(articulation))
}

/// The preset for all others.
fn other(setup: &FontSetup) -> Option<Preset> {
    let plain = setup.presets.iter().find(|(name, _)| name.is_empty());
    plain.or(setup.presets.first()).map(|(_, p)| *p)
}

/// The factor on the players' output, so that their mf is as loud as the house orchestra's; presets that differ in level are evened
/// out in the notes.
pub fn gain(
    font: &Font,
    chair: &ChairPerformance,
    instrument: Option<&Instrument>,
    setup: &FontSetup,
    notes: &mut [Note],
) -> Result<f32, FontError> {
    let unpitched = instrument.is_some_and(|i| i.unpitched);
    let mut keys: Vec<u8> = notes.iter().map(|n| n.key).collect();
    keys.sort_unstable();
    let middle = i16::from(keys.get(keys.len() / 2).copied().unwrap_or(60)) - i16::from(setup.transpose);
    let range = instrument.and_then(|i| i.comfortable.or(i.hard));
    let middle = range.map_or(middle, |r| i16::from(r.low) / 2 + i16::from(r.high) / 2);
    let mut known: BTreeMap<(Preset, u8, bool, Option<String>), f64> = BTreeMap::new();
    let mut factors = Vec::with_capacity(notes.len());
    for note in notes.iter() {
        let kit = unpitched || note.preset.bank == 128;
        let (ours, theirs) = if kit {
            (note.key, note.key)
        } else {
            (middle.clamp(0, 127) as u8, (middle + i16::from(setup.transpose)).clamp(0, 127) as u8)
        };
        let kind = (note.preset, theirs, note.plucked, note.stroke.clone());
        let factor = match known.get(&kind) {
            Some(factor) => *factor,
            None => {
                let factor = house(chair, ours, note) / font.loudness(note.preset, theirs)?;
                known.insert(kind, factor);
                factor
            }
        };
        factors.push(factor);
    }
    let most = factors.iter().copied().fold(0.0, f64::max);
    for (note, factor) in notes.iter_mut().zip(factors) {
        note.offset += 20.0 * math::log10((factor / most).max(1e-6));
    }
    let wanted = Decibels(RESERVE + setup.gain.clamp(-60.0, 30.0)).amplitude();
    Ok((most * wanted) as f32 / INSIDE)
}

/// RMS of the house orchestra at a key, played mf, measured as the presets are.
fn house(chair: &ChairPerformance, key: u8, note: &Note) -> f64 {
    let Some(model) = chair.gestures.first() else { return 0.0 };
    let gesture = Gesture {
        onset: Seconds::ZERO,
        end: Seconds(1.2),
        key,
        cents: 0.0,
        stroke: note.stroke.clone(),
        articulation: if note.plucked { named::PIZZICATO } else { named::SUSTAIN }.into(),
        colour: None,
        joined: false,
        joins_on: false,
        attack: Decibels::ZERO,
        realisation: None,
        bend: Vec::new(),
        sung: None,
        voice: 1,
        players: chair.players,
        ..model.clone()
    };
    let alone = ChairPerformance {
        gestures: vec![gesture],
        level: Curve::flat(0.0),
        kept: Vec::new(),
        pedal: Vec::new(),
        sticks: Curve::default(),
        chair: chair.chair.clone(),
        instrument: chair.instrument.clone(),
        players: chair.players,
    };
    let options = Options { sample_rate: MEASURED, tuning: 440.0, seed: 0, manner: Manner::Living };
    loudness(&render(&alone, &options, Seconds::ZERO, Seconds(1.2)))
}
