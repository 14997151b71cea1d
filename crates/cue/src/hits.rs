//! Hits in the performed MIDI: a marker each where the picture has it, and the offset that ties the file to the picture.

use crate::Cue;
use ripieno_formats::midi::MidiEvent;
use ripieno_music::Performance;
use ripieno_patches::{PatchOutput, TICKS};
use ripieno_timing::{FrameRate, Timecode};
use ripieno_units::{Beats, Seconds};

/// The bits of the rate in the hours of an SMPTE offset (Standard MIDI Files 1.0): 24, 25, 30 drop, 30. 23.976 is not among them,
/// and stands as 24; 29.97 without drop stands as 30.
fn bits(rate: FrameRate) -> u8 {
    match rate {
        FrameRate::F23976 | FrameRate::F24 => 0,
        FrameRate::F25 => 1,
        FrameRate::F2997Drop => 2,
        FrameRate::F2997 | FrameRate::F30 => 3,
    }
}

/// Adds them to the first track.
pub(crate) fn mark(cue: &Cue, performance: &Performance, output: &mut PatchOutput) {
    let Some(picture) = &cue.plan.picture else { return };
    let timeline = &performance.timeline;
    let clock = timeline.clock();
    let shift = timeline.bar_at(Beats::ZERO).metre.bar().ticks(TICKS.into()) * i64::from(output.lead_in_bars);
    let Some(track) = output.file.tracks.first_mut() else { return };
    for hit in &picture.hits {
        let quarters = clock.quarters(Seconds(hit.at.since(picture.zero())));
        let tick = (quarters * f64::from(TICKS)).round() as i64 + shift;
        if let Ok(tick) = u64::try_from(tick) {
            let text = format!("hit {} {}", hit.at, hit.what);
            track.events.push((tick, MidiEvent::Marker(text.trim_end().to_string())));
        }
    }
    track.events.sort_by_key(|e| e.0);
    // In hundredths of frames, the finest that the offset says: 99.6 of them are a frame more.
    let lead = (picture.rate.frames(output.lead_in.0) * 100.0).round() as i64;
    let start = Timecode::new(picture.zero().frame + (-lead).div_euclid(100), picture.rate);
    let hundredths = (-lead).rem_euclid(100) as u8;
    let [h, m, s, f] = start.fields().map(|n| n as u8);
    track.events.insert(0, (0, MidiEvent::FrameOffset([bits(picture.rate) << 5 | h, m, s, f, hundredths])));
}
