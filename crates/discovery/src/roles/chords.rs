//! Chords that are spread over tracks: which voice each has.

use super::lines::Tone;
use ripieno_music::{ChordVoice, Role, RoleFound, Score};

/// Two tracks share one voice of the chord where their mean pitches are no further apart than this (semitones).
const ONE_VOICE: f64 = 0.5;

/// Gives the tracks that hold or break chords together their places, from the top.
pub(super) fn number(score: &Score, roles: &mut [RoleFound], lines: &[Vec<Tone>], from: usize, to: usize) {
    let bars = &score.timeline.bars;
    let (Some(begin), Some(end)) =
        (bars.get(from).map(|b| b.at.quarters()), to.checked_sub(1).and_then(|t| bars.get(t)))
    else {
        return;
    };
    let end = (end.at + end.length).quarters();
    for wanted in [Role::Held, Role::Figure] {
        let mut centres: Vec<(f64, usize)> = Vec::new();
        for (track, _) in roles.iter().enumerate().filter(|(_, r)| r.role == wanted) {
            let (mut sum, mut time) = (0.0, 0.0);
            let tones = &lines[track];
            let first = tones.partition_point(|t| t.end <= begin);
            for tone in tones[first..].iter().take_while(|t| t.at < end) {
                let length = tone.end.min(end) - tone.at.max(begin);
                (sum, time) = (sum + f64::from(tone.key) * length, time + length);
            }
            if time > 0.0 {
                centres.push((sum / time, track));
            }
        }
        centres.sort_by(|a, b| b.0.total_cmp(&a.0).then(a.1.cmp(&b.1)));
        let mut voices: Vec<(u8, usize)> = Vec::new();
        let mut voice = 0u8;
        let mut last = f64::MAX;
        for (centre, track) in centres {
            if last - centre > ONE_VOICE {
                voice = voice.saturating_add(1);
            }
            last = centre;
            voices.push((voice, track));
        }
        if voice >= 2 {
            for (own, track) in voices {
                roles[track].chord = Some(ChordVoice { voice: own, of: voice });
            }
        }
    }
}
