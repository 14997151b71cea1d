//! The notes of one voice: when each begins and ends, how it is articulated, what it is joined to.

use crate::articulate::{self, Around, Timed};
use crate::chair::{Draft, Performer, Stage};
use crate::nature::Nature;
use crate::state::States;
use crate::timing::{self, Sounding};
use ripieno_music::{Arpeggio, Mark, Note, named};
use ripieno_units::Beats;
use std::collections::BTreeMap;

/// Works out onsets, ends, articulations and joins of one voice.
#[allow(clippy::too_many_arguments)]
pub(crate) fn draft_voice<'a>(
    stage: &Stage<'_>,
    performer: &Performer<'_>,
    nature: Nature,
    index: usize,
    (staff, voice): (u8, u16),
    line: &[&'a Note],
    states: &States,
    offsets: &BTreeMap<Beats, f64>,
    accents: &BTreeMap<Beats, f64>,
    drafts: &mut Vec<Draft<'a>>,
    remarks: &mut Vec<String>,
) {
    // Chords: notes of one onset, from the top.
    let mut chords: Vec<Vec<&'a Note>> = Vec::new();
    for note in line {
        match chords.last_mut() {
            Some(chord) if chord[0].at == note.at => chord.push(note),
            _ => chords.push(vec![note]),
        }
    }
    for chord in &mut chords {
        chord.sort_by_key(|n| std::cmp::Reverse(n.pitch().map_or(0, |p| p.key)));
    }
    let onset = |at: Beats| stage.seconds(at) + offsets.get(&at).copied().unwrap_or(0.0);
    let inference = infer_voice(stage, performer, nature, &chords, remarks);
    let mut walk = states.walk(staff, voice);
    let mut melisma = false;
    let first_draft = drafts.len();
    // Index in `drafts` of the notes of the chord before, by rank.
    let mut before: Vec<usize> = Vec::new();
    for (i, chord) in chords.iter().enumerate() {
        let at = chord[0].at;
        let state = walk.at(at).clone();
        let start = onset(at);
        let next_at = chords.get(i + 1).map(|c| c[0].at);
        let next_onset = next_at.map(&onset);
        let follows = before.first().is_some_and(|b| {
            let previous = drafts[*b].note;
            previous.end() >= at && (previous.end() - at) <= Beats::new(1, 4)
        });
        let mut now = Vec::with_capacity(chord.len());
        let text = chord.iter().find_map(|n| n.syllable.as_ref());
        if nature == Nature::Sung && text.is_some() {
            melisma = text.is_some_and(|s| s.extends);
        }
        let carried = nature == Nature::Sung && text.is_none() && (melisma || chord[0].slurred);
        for (rank, note) in chord.iter().enumerate() {
            let played = note.played.filter(|_| stage.options.keep_timing);
            let start = played.map_or(start, |p| stage.seconds(p.at));
            let written_end = stage.seconds(played.map_or(note.end(), |p| p.at + p.length));
            let seconds = stage.seconds(note.end()) - stage.seconds(at);
            let stroke_interval = note.tremolo.filter(|t| t.strokes > 0).map(|t| {
                let unit = note.length.min(Beats::whole(1));
                let tempo = f64::from(stage.timeline.tempo_at(at).micros) / 1e6;
                unit.quarters() / f64::from(1u32 << t.strokes.min(8)) * tempo
            });
            let inferred = inference.as_ref().and_then(|names| names[i]);
            let around = Around { state: &state, nature, seconds, stroke_interval, inferred };
            let mut articulation = articulate::choose(note, &around);
            let mut joined = note.slurred || carried;
            let mut joins_on = note.slurs_on;
            if inferred == Some(named::LEGATO) && articulation == named::LEGATO && note.velocity.is_some() {
                let last = before.get(rank.min(before.len().saturating_sub(1)));
                joined = last.is_some_and(|b| drafts[*b].articulation == named::LEGATO);
                joins_on = false; // set when the next note joins
            }
            if carried && matches!(articulation, named::SUSTAIN | named::DETACHE) {
                articulation = named::LEGATO;
            }
            joined &= follows && rank < before.len() && nature.sustains() && articulation != named::PIZZICATO;
            if note.tremolo.is_some() || note.syllable.is_some() && nature == Nature::Sung {
                joined &= note.tremolo.is_none() && note.slurred && note.syllable.is_none();
            }
            let mut accent = accents.get(&at).copied().unwrap_or(0.0);
            if note.marks.has(Mark::Accent) || articulation == named::ACCENT {
                accent += 3.0;
            }
            if note.marks.has(Mark::Marcato) || articulation == named::MARCATO {
                accent += 4.0;
            }
            now.push(drafts.len());
            drafts.push(Draft {
                note,
                place: stage.timeline.place(at),
                onset: start,
                end: written_end,
                written_end,
                state: state.clone(),
                articulation,
                joined,
                joins_on,
                // Voices of the score, then ranks within its chords: notes of one number follow each other.
                voice: (index as u16) * 16 + rank.min(15) as u16 + 1,
                rank,
                from_key: before.get(rank).and_then(|b| drafts[*b].note.pitch()).map(|p| p.key),
                accent,
                run: Vec::new(),
            });
        }
        // Ends of the chord before are known once this one is.
        for (rank, b) in before.iter().enumerate() {
            let next_joined = now.get(rank).is_some_and(|n| drafts[*n].joined);
            drafts[*b].joins_on = next_joined;
        }
        for d in &now {
            drafts[*d].end = sounding_end(stage, nature, &drafts[*d], next_at, next_onset);
        }
        before = now;
    }
    if let Some(last) = before.first().copied() {
        for draft in &mut drafts[last..] {
            draft.joins_on = false;
        }
    }
    gather_tremolos(drafts, first_draft);
    // A joined successor decides the end of the note before it: connected.
    for d in first_draft..drafts.len() {
        if drafts[d].joins_on {
            let voice = drafts[d].voice;
            if let Some(next) = drafts[d + 1..].iter().take(24).find(|n| n.voice == voice && n.joined) {
                let at = next.onset;
                drafts[d].end = at;
            }
        }
    }
    break_chords(&mut drafts[first_draft..]);
    breathe(stage, performer, nature, &mut drafts[first_draft..]);
}

/// Quick repeats of one pitch in a source without signs are one tremolo: one gesture, that is realised by the very notes.
fn gather_tremolos(drafts: &mut Vec<Draft<'_>>, first: usize) {
    let inferred = |d: &Draft<'_>| {
        d.articulation == named::TREMOLO
            && d.note.tremolo.is_none()
            && !d.state.trem
            && d.note.velocity.is_some()
    };
    let mut i = first;
    while i < drafts.len() {
        if inferred(&drafts[i]) {
            let (voice, pitch) = (drafts[i].voice, drafts[i].note.pitch());
            let mut count = 1;
            while let Some(next) = drafts.get(i + count)
                && inferred(next)
                && (next.voice, next.note.pitch()) == (voice, pitch)
            {
                count += 1;
            }
            if count > 1 {
                let run: Vec<(f64, f64)> = drafts[i..i + count].iter().map(|d| (d.onset, d.end)).collect();
                let (end, written_end) = (drafts[i + count - 1].end, drafts[i + count - 1].written_end);
                drafts.drain(i + 1..i + count);
                (drafts[i].end, drafts[i].written_end, drafts[i].run) = (end, written_end, run);
            } else {
                drafts[i].articulation = named::DETACHE;
            }
        }
        i += 1;
    }
}

/// What the notes tell where the source has no signs: one name a chord, or nothing.
fn infer_voice(
    stage: &Stage<'_>,
    performer: &Performer<'_>,
    nature: Nature,
    chords: &[Vec<&Note>],
    remarks: &mut Vec<String>,
) -> Option<Vec<Option<&'static str>>> {
    let unsigned = chords.iter().flatten().all(|n| {
        n.velocity.is_some() && !n.slurred && !n.slurs_on && n.marks.is_empty() && n.ornament.is_none()
    });
    if !unsigned || chords.is_empty() {
        return None;
    }
    // What was played tells more than where it is notated.
    let heard = |n: &Note| n.played.map_or((n.at, n.end()), |p| (p.at, p.at + p.length));
    let timed: Vec<Timed> = chords
        .iter()
        .map(|c| Timed {
            onset: stage.seconds(heard(c[0]).0),
            end: c.iter().map(|n| stage.seconds(heard(n).1)).fold(f64::MIN, f64::max),
            key: c[0].pitch().map_or(0, |p| p.key),
            velocity: f64::from(c[0].velocity.unwrap_or(64)),
        })
        .collect();
    let tangled = timed.windows(2).filter(|w| w[0].end - w[1].onset > 0.3 * (w[0].end - w[0].onset)).count();
    if tangled * 5 > timed.len() {
        return None;
    }
    let inference = articulate::infer(&timed, nature);
    if inference.no_evidence && nature.sustains() {
        remarks.push(format!(
            "{}: its notes fill their time and carry no signs, so nothing tells how they are to be articulated; played \
             legato below three notes a second and détaché above. Say it in the cell (`legato`, `stacc.`) to change that.",
            performer.part.chair
        ));
    }
    Some(inference.names)
}

/// When a note stops sounding.
fn sounding_end(
    stage: &Stage<'_>,
    nature: Nature,
    draft: &Draft<'_>,
    next_at: Option<Beats>,
    next_onset: Option<f64>,
) -> f64 {
    let onset = draft.onset;
    if stage.options.keep_timing {
        return draft.written_end.max(onset + 0.02);
    }
    let length = draft.written_end - onset;
    let share = articulate::sounding_share(draft.articulation);
    let contiguous = next_at.is_some_and(|n| n <= draft.note.end());
    let mut end = if nature.sustains() {
        // A gap of articulation is at most 80 ms on what is held (a long détaché note is not cut by a tenth).
        let shortened = onset + length * share;
        if matches!(draft.articulation, named::DETACHE | named::SUSTAIN | named::ACCENT) {
            shortened.max(draft.written_end - 0.080)
        } else {
            shortened
        }
    } else if draft.state.ring || draft.note.marks.has(Mark::LetRing) {
        draft.written_end + 3.0
    } else if matches!(draft.articulation, named::STACCATO | named::STACCATISSIMO) {
        onset + length * share
    } else {
        draft.written_end
    };
    if contiguous
        && !draft.state.ring
        && let Some(next) = next_onset
    {
        // Never over the next note of the voice, unless it is written so.
        if draft.note.end() <= next_at.unwrap_or(draft.note.end()) {
            end = end.min(next);
        }
    }
    end.max(onset + 0.030)
}

/// Broken chords: 35 to 60 ms a string, at most 0.45 s, the last note on the beat.
fn break_chords(drafts: &mut [Draft<'_>]) {
    let mut i = 0;
    while i < drafts.len() {
        let at = drafts[i].note.at;
        let count = drafts[i..].iter().take_while(|d| d.note.at == at).count();
        let chord = &mut drafts[i..i + count];
        let kind = chord.iter().find_map(|d| d.note.arpeggio);
        if count > 1 && matches!(kind, Some(Arpeggio::Up | Arpeggio::Down)) {
            let step = 0.045_f64.min(0.45 / (count - 1) as f64);
            for draft in chord {
                // Rank 0 is the top note.
                let after = if kind == Some(Arpeggio::Down) { draft.rank } else { count - 1 - draft.rank };
                draft.onset -= step * (count - 1 - after.min(count - 1)) as f64;
            }
        }
        i += count;
    }
}

/// Breaths of a player who is alone: the note before one is shortened.
fn breathe(stage: &Stage<'_>, performer: &Performer<'_>, nature: Nature, drafts: &mut [Draft<'_>]) {
    let alone = performer.players <= 1 && nature.breathes() && !stage.options.keep_timing;
    let marked_only = !alone;
    let Some(breath) = performer.instrument.breath.as_ref() else { return };
    let tops: Vec<usize> = (0..drafts.len()).filter(|i| drafts[*i].rank == 0).collect();
    let sounding: Vec<Sounding> = tops
        .iter()
        .map(|i| {
            let d = &drafts[*i];
            Sounding {
                onset: d.onset,
                end: d.end,
                tied_on: d.joins_on,
                marked: d.note.marks.has(Mark::BreathAfter) || d.note.marks.has(Mark::CaesuraAfter),
                at_barline: stage.barlines.binary_search(&d.note.end()).is_ok(),
            }
        })
        .collect();
    let hold = if marked_only { f64::INFINITY } else { breath.hold_p.min(2.0 * breath.hold_ff) };
    for i in timing::breaths(&sounding, hold) {
        let d = &mut drafts[tops[i]];
        let length = d.end - d.onset;
        // A quick breath takes 0.25 to 0.4 s, from the note before it.
        // Where it is asked for, a short note gives half of itself for it.
        let gap = if sounding[i].marked { 0.40_f64.min(0.5 * length) } else { 0.30_f64.min(0.35 * length) };
        let latest = sounding.get(i + 1).map_or(d.end, |n| n.onset) - gap;
        d.end = d.end.min(latest.max(d.onset + 0.5 * length));
    }
}
