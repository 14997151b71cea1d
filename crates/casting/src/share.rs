//! A line of chords shared out to voices.
//!
//! Voices keep their order (none crosses), the highest takes the highest note and the lowest the lowest, and the rest
//! move as little as they can: at each chord the monotone assignment of least total movement, by dynamic programming
//! over voices and notes (after Tymoczko, The geometry of musical chords, 2006: between sorted chords the assignment in
//! order is the shortest).

use ripieno_music::Note;
use ripieno_units::Beats;

/// Notes that begin less than this after the first are one chord: a hand's spread, shorter than any written value.
const TOGETHER: (i64, i64) = (1, 16);

/// Semitones that leaving out an outer note, an inner note, or the rest of a held note is worth.
const DROP_OUTER: i64 = 3000;
const DROP_INNER: i64 = 1000;
const LEAVE_HELD: i64 = 30;
/// A voice cannot join a note that another has begun.
const JOIN_HELD: i64 = 60;
/// Two voices on one note: sooner on the outer notes than inside.
const DOUBLE_OUTER: i64 = 1;
const DOUBLE_INNER: i64 = 2;

/// The voices of a line, from the top, and what did not fit.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Shared {
    /// One line for each voice, from the highest.
    pub voices: Vec<Vec<Note>>,
    /// Notes that no voice could take, with their onsets.
    pub left_out: Vec<Beats>,
}

/// Shares `notes` (in order of onset) out to `count` voices. Where the source itself has that many voices, each with
/// one note at a time, they are the voices, ordered by their mean pitch.
pub fn share(notes: &[Note], count: usize) -> Shared {
    let count = count.max(1);
    if let Some(voices) = written_voices(notes, count) {
        return Shared { voices, left_out: Vec::new() };
    }
    let mut shared = Shared { voices: vec![Vec::new(); count], left_out: Vec::new() };
    // What each voice plays at the moment: index into `notes`.
    let mut playing: Vec<Option<usize>> = vec![None; count];
    // Where each voice was last.
    let mut last: Vec<Option<i64>> = vec![None; count];
    for chord in chords(notes) {
        let onset = notes[chord[0]].at;
        let latest = chord.iter().map(|i| notes[*i].at).max().unwrap_or(onset);
        for voice in &mut playing {
            if voice.is_some_and(|i| notes[i].end() <= latest) {
                *voice = None;
            }
        }
        let mut candidates: Vec<(usize, bool)> = chord.iter().map(|i| (*i, false)).collect();
        for held in playing.iter().flatten() {
            if !candidates.iter().any(|(i, _)| i == held) {
                candidates.push((*held, true));
            }
        }
        candidates.sort_by_key(|(i, held)| (-height(&notes[*i]), *held, *i));
        let assignment = assign(notes, &candidates, &playing, &last);
        for (voice, taken) in assignment.iter().enumerate() {
            let (index, held) = candidates[*taken];
            if held {
                if playing[voice] != Some(index) {
                    stop(&mut shared.voices[voice], &mut playing[voice], onset);
                }
                continue;
            }
            stop(&mut shared.voices[voice], &mut playing[voice], notes[index].at);
            let mut note = notes[index].clone();
            note.voice = 1;
            last[voice] = Some(height(&note));
            shared.voices[voice].push(note);
            playing[voice] = Some(index);
        }
        for (j, (index, held)) in candidates.iter().enumerate() {
            if !held && !assignment.contains(&j) {
                shared.left_out.push(notes[*index].at);
            }
        }
    }
    shared
}

/// Number of notes in the largest chord, at least 1: the count of voices where the plan names none.
pub fn largest_chord(notes: &[Note]) -> usize {
    chords(notes).map(|c| c.len()).max().unwrap_or(1)
}

fn stop(voice: &mut [Note], playing: &mut Option<usize>, at: Beats) {
    if playing.take().is_some()
        && let Some(note) = voice.last_mut()
        && note.end() > at
        && note.at < at
    {
        note.length = at - note.at;
        note.slurs_on = false;
    }
}

/// In cents, for order and distance; unpitched strokes are all alike.
fn height(note: &Note) -> i64 {
    note.pitch().map_or(0, |p| i64::from(p.key) * 100 + i64::from(p.cents))
}

/// Indices of the notes of each chord, in order of onset.
fn chords(notes: &[Note]) -> impl Iterator<Item = Vec<usize>> {
    let mut next = 0;
    std::iter::from_fn(move || {
        let first = notes.get(next)?.at;
        let until = first + Beats::new(TOGETHER.0, TOGETHER.1);
        let from = next;
        while notes.get(next).is_some_and(|n| n.at < until) {
            next += 1;
        }
        Some((from..next).collect())
    })
}

/// For each voice from the top the candidate (sorted from the top) that it takes.
fn assign(
    notes: &[Note],
    candidates: &[(usize, bool)],
    playing: &[Option<usize>],
    last: &[Option<i64>],
) -> Vec<usize> {
    let (voices, count) = (playing.len(), candidates.len());
    let new: Vec<usize> = (0..count).filter(|j| !candidates[*j].1).collect();
    let outer = |j: usize| new.first() == Some(&j) || new.last() == Some(&j);
    let leave = |j: usize| match candidates[j].1 {
        true => LEAVE_HELD * 100,
        false if outer(j) => DROP_OUTER * 100,
        false => DROP_INNER * 100,
    };
    // Sums of what it costs to leave out the candidates before each.
    let mut left = vec![0i64; count + 1];
    for j in 0..count {
        left[j + 1] = left[j] + leave(j);
    }
    let step = |voice: usize, j: usize| {
        let (index, held) = candidates[j];
        if held {
            return if playing[voice] == Some(index) { 0 } else { JOIN_HELD * 100 };
        }
        last[voice].map_or(0, |from| (height(&notes[index]) - from).abs())
    };
    let double = |j: usize| if outer(j) { DOUBLE_OUTER * 100 } else { DOUBLE_INNER * 100 };
    let mut cost = vec![vec![i64::MAX; count]; voices];
    let mut from = vec![vec![0usize; count]; voices];
    for j in 0..count {
        cost[0][j] = left[j] + step(0, j);
    }
    for voice in 1..voices {
        for j in 0..count {
            for i in 0..=j {
                let between = if i == j { double(j) } else { left[j] - left[i + 1] };
                let total = cost[voice - 1][i].saturating_add(between + step(voice, j));
                if total < cost[voice][j] {
                    cost[voice][j] = total;
                    from[voice][j] = i;
                }
            }
        }
    }
    let end = |j: usize| cost[voices - 1][j].saturating_add(left[count] - left[j + 1]);
    let mut j = (0..count).min_by_key(|j| end(*j)).unwrap_or(0);
    let mut taken = vec![0; voices];
    for voice in (0..voices).rev() {
        taken[voice] = j;
        j = from[voice][j];
    }
    taken
}

/// The source's own voices, highest first, if there are exactly `count` and each has one note at a time.
fn written_voices(notes: &[Note], count: usize) -> Option<Vec<Vec<Note>>> {
    let mut keys: Vec<(u8, u16)> = notes.iter().map(|n| (n.staff, n.voice)).collect();
    keys.sort_unstable();
    keys.dedup();
    if keys.len() != count || count < 2 {
        return None;
    }
    let mut voices = Vec::new();
    for key in keys {
        let own: Vec<Note> = notes.iter().filter(|n| (n.staff, n.voice) == key).cloned().collect();
        if own.windows(2).any(|w| w[0].end() > w[1].at) {
            return None;
        }
        let mean = own.iter().map(height).sum::<i64>() / own.len().max(1) as i64;
        voices.push((mean, own));
    }
    voices.sort_by_key(|(mean, _)| -mean);
    Some(
        voices
            .into_iter()
            .map(|(_, own)| own.into_iter().map(|n| Note { voice: 1, ..n }).collect())
            .collect(),
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    fn chord(at: i64, keys: &[i16]) -> Vec<Note> {
        keys.iter().map(|k| Note::plain(Beats::whole(at), Beats::whole(1), *k)).collect()
    }

    fn keys(voice: &[Note]) -> Vec<i16> {
        voice.iter().filter_map(Note::pitch).map(|p| p.key).collect()
    }

    #[test]
    fn equal_chords_are_taken_in_order() {
        let notes = [chord(0, &[60, 64, 67]), chord(1, &[59, 65, 67])].concat();
        let shared = share(&notes, 3);
        assert_eq!(shared.voices.iter().map(|v| keys(v)).collect::<Vec<_>>(), [[67, 67], [64, 65], [60, 59]]);
        assert!(shared.left_out.is_empty());
    }

    #[test]
    fn fewer_notes_are_doubled_without_crossing_and_with_least_movement() {
        let notes = [chord(0, &[60, 64, 67]), chord(1, &[60, 67]), chord(2, &[60, 65, 69])].concat();
        let shared = share(&notes, 3);
        // The middle voice goes from 64 to 67 (3 semitones) and not to 60 (4).
        assert_eq!(keys(&shared.voices[1]), [64, 67, 65]);
        assert_eq!(keys(&shared.voices[0]), [67, 67, 69]);
    }

    #[test]
    fn more_notes_leave_out_inside() {
        let notes = [chord(0, &[60, 64, 67]), chord(1, &[48, 60, 64, 67, 72])].concat();
        let shared = share(&notes, 3);
        assert_eq!(shared.voices.iter().map(|v| keys(v)[1]).collect::<Vec<_>>(), [72, 64, 48]);
        assert_eq!(shared.left_out.len(), 2);
    }

    #[test]
    fn published_voice_leading_with_one_doubling() {
        // Tymoczko 2006, supplement: {4, 7, 11, 0} to {4, 8, 11, 3}: (4, 4, 7, 11, 0) to (3, 4, 8, 11, 11), total 3.
        // In register: five voices from 0 4 4 7 11 to -1 3 4 8 11.
        let before: Vec<Option<i64>> = [71, 67, 64, 64, 60].map(|k| Some(k * 100)).to_vec();
        let notes = chord(0, &[71, 68, 64, 63, 59]);
        let candidates: Vec<(usize, bool)> = (0..5).map(|i| (i, false)).collect();
        let taken = assign(&notes, &candidates, &[None; 5], &before);
        let moved: i64 =
            taken.iter().zip(&before).map(|(j, b)| (height(&notes[*j]) - b.unwrap()).abs()).sum();
        assert_eq!(moved, 300);
    }

    #[test]
    fn held_notes_stay_where_others_move() {
        let mut notes = vec![
            Note::plain(Beats::ZERO, Beats::whole(4), 60),
            Note::plain(Beats::ZERO, Beats::whole(4), 67),
            Note::plain(Beats::ZERO, Beats::whole(2), 64),
            Note::plain(Beats::whole(2), Beats::whole(2), 65),
        ];
        notes.sort_by_key(|n| n.at);
        let shared = share(&notes, 3);
        assert_eq!(keys(&shared.voices[1]), [64, 65]);
        assert_eq!(shared.voices[0][0].length, Beats::whole(4));
        assert_eq!(shared.voices[2][0].length, Beats::whole(4));
    }

    #[test]
    fn written_voices_are_kept_where_they_are_as_many() {
        let mut low = chord(0, &[72]);
        low[0].voice = 2;
        let mut notes = chord(0, &[60]);
        notes.extend(low);
        notes.extend(chord(1, &[62]));
        let shared = share(&notes, 2);
        assert_eq!(keys(&shared.voices[0]), [72]);
        assert_eq!(keys(&shared.voices[1]), [60, 62]);
    }
}
