//! How loud a cue will be, told before it is rendered: so that listening starts at a moderate level.

use crate::check::{OPEN_AT_10_M, room};
use crate::render::noted_loudness;
use crate::{Cue, Performed};
use ripieno_instruments::by_id;
use ripieno_units::{Decibels, math};

/// Where listening starts, LUFS, if the template asks for more: the level of films and albums of orchestral music.
const MODERATE: f64 = -18.0;

/// Most that is added or taken, dB.
const MOST: f64 = 40.0;

/// Seconds of a bin: the blocks in which loudness is measured (ITU-R BS.1770-5).
const BIN: f64 = 0.4;

/// Gates of BS.1770-5: below the first nothing counts, nor what lies so far below the mean of the rest.
const GATE: f64 = -70.0;
const BELOW: f64 = -10.0;

/// What the meter adds to the sound at the microphones, dB: two channels, less what its filter takes off low tones. What the room adds
/// is computed for each chair and is not in it. Measured: what the whole demo is, less what is told of it without this (`listen_speed`).
const METER: f64 = 1.1;

/// Sound pressure at 1 m in the open of a sound power, dB: 20 dB more than at 10 m.
const OPEN_AT_1_M: f64 = OPEN_AT_10_M + 20.0;

/// How long a stroke or a pluck counts, seconds.
const STROKE: f64 = 0.4;

/// Gain in dB with which a cue is listened to: the same for all that is chosen, so that castings are compared.
pub fn gain(cue: &Cue, performed: &Performed) -> f64 {
    let loudness = noted_loudness(&cue.folder).or_else(|| estimate(cue, performed));
    let wanted = cue.template.mix.loudness.min(MODERATE);
    loudness.map_or(0.0, |l| (wanted - l).clamp(-MOST, MOST))
}

/// Integrated loudness of the mix, LUFS, from instruments, their marks, players and distances; within a few dB.
pub fn estimate(cue: &Cue, performed: &Performed) -> Option<f64> {
    let timeline = &performed.performance.timeline;
    let count = (timeline.seconds(timeline.end()).0 / BIN).ceil().clamp(0.0, 1e5) as usize;
    let mut bins = vec![0.0_f64; count];
    for chair in &performed.performance.chairs {
        let Some(plan) = cue.template.chairs.iter().find(|c| c.id == chair.chair) else { continue };
        let instrument = by_id(&chair.instrument);
        let forte = instrument.and_then(|i| i.level).map_or(95.0, |l| l.forte);
        let decays = instrument.is_some_and(|i| i.decays || i.unpitched);
        // Levels of full scale are at 1 m in the open; the room's strength is told from the sound power.
        let room = room(cue, plan).gain_db - OPEN_AT_1_M;
        let level =
            forte - ripieno_sound::FORTE - ripieno_sound::FULL_SCALE + room + cue.template.mix.gain_db;
        for gesture in &chair.gestures {
            let (onset, end) = (gesture.onset.0, gesture.end.0);
            let last = if decays { end.min(onset + STROKE) } else { end };
            if !(onset.is_finite() && last > onset && onset >= 0.0) {
                continue;
            }
            let players = 10.0 * math::log10(f64::from(gesture.players.max(1)));
            let end = ((last / BIN) as usize + 1).min(count);
            let first = (onset / BIN) as usize;
            for (bin, sum) in bins.iter_mut().enumerate().take(end).skip(first) {
                let from = onset.max(bin as f64 * BIN);
                let share = (last.min((bin + 1) as f64 * BIN) - from).max(0.0) / BIN;
                let now =
                    if decays { gesture.attack.0 } else { chair.level.at(ripieno_units::Seconds(from)) };
                let power = Decibels(level + players + now.clamp(-60.0, 20.0)).amplitude();
                *sum += share * power * power;
            }
        }
    }
    let lufs = |power: f64| 10.0 * math::log10(power.max(1e-30)) + METER - 0.691;
    let mean = |least: f64| {
        let some: Vec<f64> = bins.iter().copied().filter(|p| lufs(*p) > least).collect();
        (!some.is_empty()).then(|| lufs(some.iter().sum::<f64>() / some.len() as f64))
    };
    mean(mean(GATE)? + BELOW)
}
