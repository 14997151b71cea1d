//! Segments made into the notes and directions of one part.

use crate::around::around;
use crate::breath::breathe;
use crate::casting::{Casting, note};
use crate::cell::Segment;
use crate::lines::Strand;
use crate::marks::{put_on, slur_phrases};
use crate::{table, text};
use ripieno_music::{Content, Finding, Note, Playing, Severity};
use ripieno_plan::CellMark;
use ripieno_units::Beats;
use std::collections::BTreeMap;
use std::sync::Arc;

/// A segment with its strand and its notes.
pub(crate) struct Played<'a> {
    pub(crate) segment: &'a Segment,
    pub(crate) strand: Arc<Strand>,
    pub(crate) notes: Vec<Note>,
    /// From here on it has the word: its first pick-up note, or where it begins.
    pub(crate) entry: Beats,
}

/// What the chair plays, its strands made already: a slur looks at what is played before and after it.
pub(crate) fn content(
    casting: &Casting,
    chair: &str,
    segments: &[Segment],
    findings: &mut Vec<Finding>,
) -> Content {
    let mut played: Vec<Played> = Vec::new();
    for segment in segments {
        let at = casting.windows[segment.passage].map_or(segment.from, |w| w.start);
        let Some(strand) = casting.strand_made(&segment.key) else { continue };
        let notes = notes(casting, chair, segment, segments, &strand);
        let first = notes.first().map(|n| n.at);
        let entry = if segment.from < casting.score.timeline.start() {
            first.unwrap_or(at).min(at)
        } else {
            let pick_up = segment.pick_up.first().map(|i| strand.notes[*i].at);
            pick_up.unwrap_or(segment.from)
        };
        played.push(Played { segment, strand, notes, entry });
    }
    number_divisions(&mut played);
    // Text goes by the source's slurs: a cell's `legato` makes no melismas.
    lay_words(casting, chair, &mut played, findings);
    phrases(&mut played);
    cut_held(&mut played);
    let mut content = Content::default();
    around(casting, chair, &played, &mut content, findings);
    for one in &mut played {
        content.notes.append(&mut one.notes);
    }
    content.sort();
    breathe(casting, chair, &played, &mut content, findings);
    content
}

fn notes(casting: &Casting, chair: &str, segment: &Segment, all: &[Segment], strand: &Strand) -> Vec<Note> {
    let mut indices: Vec<usize> = segment.pick_up.clone();
    indices.extend(strand.within(segment.from, segment.to).filter(|i| !segment.left_off.contains(i)));
    // The neighbours of the same notes: a slur to or from them is a slur still.
    let own_signs = segment.own_signs(chair);
    let plays = |index: usize| {
        let at = strand.notes[index].at;
        indices.binary_search(&index).is_ok()
            || all.iter().filter(|s| s.division == segment.division && at >= s.from && at < s.to).any(|s| {
                let same = s.same_notes(segment) && !s.left_off.contains(&index);
                // The chair's own slur, over notes that it has from its own line and along with another.
                let own = || {
                    own_signs
                        && s.own_signs(chair)
                        && casting.strand_made(&s.key).is_some_and(|t| t.begins(at))
                };
                same || own()
            })
    };
    let silent_text = !own_signs && !table::sings(casting.template, chair);
    let reads = table::sounds_from_written(casting.template, chair);
    let mut notes: Vec<Note> = Vec::with_capacity(indices.len());
    for index in &indices {
        let source = &strand.notes[*index];
        let mut note = source.clone().moved(segment.octave);
        note.slurred = source.slurred && strand.before[*index].is_none_or(plays);
        let leads_on = strand.after[*index].is_none_or(plays);
        note.slurs_on = source.slurs_on && leads_on;
        if !leads_on {
            note.glide = None;
        }
        if silent_text {
            note.syllable = None;
        }
        respell(&mut note, segment, strand.transposition(source.at).semitones, reads);
        notes.push(note);
    }
    put_on(&mut notes, &segment.marks);
    notes
}

/// Keeps the written spelling where the chair reads as the source's player does; another would be misled by it.
fn respell(note: &mut Note, segment: &Segment, source_reads: i16, reads: Option<i16>) {
    let alike = segment.own || reads.is_some_and(|r| r == source_reads);
    let octaves = i8::try_from(segment.octave / 12).unwrap_or(0);
    let graces = note.graces.iter_mut().chain(&mut note.graces_after).map(|g| &mut g.written);
    for written in std::iter::once(&mut note.written).chain(graces) {
        if !alike {
            *written = None;
        } else if let Some(spelling) = written {
            spelling.octave = spelling.octave.saturating_add(octaves);
        }
    }
}

/// `legato`, over the barline between cells that go on with the same line.
fn phrases(played: &mut [Played]) {
    let legato = |p: &Played| p.segment.words().any(|w| *w == Playing::Legato);
    let mut done = vec![false; played.len()];
    for i in 0..played.len() {
        if done[i] || !legato(&played[i]) {
            continue;
        }
        let mut run = vec![i];
        for j in i + 1..played.len() {
            let last = run[run.len() - 1];
            if legato(&played[j]) && played[j].segment.continues(played[last].segment) {
                run.push(j);
            }
        }
        let mut notes: Vec<Note> = Vec::new();
        let mut lengths = Vec::new();
        for j in &run {
            done[*j] = true;
            lengths.push(played[*j].notes.len());
            notes.append(&mut played[*j].notes);
        }
        slur_phrases(&mut notes);
        let mut rest = notes.into_iter();
        for (j, length) in run.iter().zip(lengths) {
            played[*j].notes = rest.by_ref().take(length).collect();
        }
    }
}

/// Each division gets voice numbers of its own, and divisions that meet on one note play it as one.
fn number_divisions(played: &mut [Played]) {
    let passages: std::collections::BTreeSet<usize> =
        played.iter().filter(|p| p.segment.divisions > 1).map(|p| p.segment.passage).collect();
    for passage in passages {
        let mut next = 1;
        let mut numbers: BTreeMap<(usize, u16), u16> = BTreeMap::new();
        let mut sounding: Vec<(Beats, Beats, ripieno_music::NoteKind)> = Vec::new();
        let mut order: Vec<usize> = (0..played.len())
            .filter(|i| played[*i].segment.passage == passage && played[*i].segment.divisions > 1)
            .collect();
        order.sort_by_key(|i| played[*i].segment.division);
        for i in order {
            let division = played[i].segment.division;
            for note in &mut played[i].notes {
                note.voice = *numbers.entry((division, note.voice)).or_insert_with(|| {
                    next += 1;
                    next - 1
                });
            }
            let before = sounding.len();
            played[i].notes.retain(|n| {
                let same = (n.at, n.length, n.kind.clone());
                let doubled = sounding[..before].contains(&same);
                if !doubled {
                    sounding.push(same);
                }
                !doubled
            });
        }
    }
}

/// Cuts notes that are held into something else that the chair begins.
fn cut_held(played: &mut [Played]) {
    for i in 0..played.len() {
        let Some(end) = played[i].notes.iter().map(Note::end).max() else { continue };
        let segment = played[i].segment;
        let next = played
            .iter()
            .filter(|p| p.segment.from >= segment.to && p.entry < end)
            .filter(|p| p.segment.passage != segment.passage || p.segment.division == segment.division)
            .filter(|p| !p.notes.is_empty())
            .min_by_key(|p| p.entry);
        let Some(next) = next else { continue };
        let (at, starts) = (next.entry, next.notes.first().map_or(next.entry, |n| n.at));
        let goes_on =
            played.iter().any(|p| p.segment.passage == next.segment.passage && p.segment.same_notes(segment));
        if goes_on {
            continue;
        }
        for note in &mut played[i].notes {
            if note.end() > starts && note.at < at {
                note.length = at - note.at;
                note.slurs_on = false;
            }
        }
    }
}

/// A cell's text runs through all its turns.
fn lay_words(casting: &Casting, chair: &str, played: &mut [Played], findings: &mut Vec<Finding>) {
    let mut i = 0;
    while i < played.len() {
        let words = |p: &Played| {
            p.segment
                .marks
                .iter()
                .find_map(|m| if let CellMark::Words(t) = m { Some(t.clone()) } else { None })
        };
        let Some(text) = words(&played[i]) else {
            i += 1;
            continue;
        };
        let passage = played[i].segment.passage;
        let same = |p: &Played| p.segment.passage == passage && words(p).as_deref() == Some(text.as_str());
        let run = played[i..].iter().take_while(|p| same(p)).count();
        let mut tagged: Vec<(usize, Note)> = Vec::new();
        for (j, one) in played[i..i + run].iter_mut().enumerate() {
            tagged.extend(one.notes.drain(..).map(|n| (j, n)));
        }
        tagged.sort_by_key(|(_, n)| n.at);
        let (tags, mut notes): (Vec<usize>, Vec<Note>) = tagged.into_iter().unzip();
        if let Some(mismatch) = text::lay_under(&mut notes, &text) {
            let at = notes.first().map_or(played[i].entry, |n| n.at);
            let (message, remedy) = if mismatch.syllables < mismatch.notes {
                (
                    format!(
                        "The text has {} syllables for {} notes; the last is carried on.",
                        mismatch.syllables, mismatch.notes
                    ),
                    "Add syllables, `_` for a note that carries one on, or slurs.",
                )
            } else {
                (
                    format!(
                        "The text has {} syllables for {} notes; the rest is not sung.",
                        mismatch.syllables, mismatch.notes
                    ),
                    "Take syllables away, or fewer slurs.",
                )
            };
            note(
                findings,
                casting.finding("words-count", Severity::Advice, chair, at, message, remedy.into()),
            );
        }
        for (j, note) in tags.into_iter().zip(notes) {
            played[i + j].notes.push(note);
        }
        i += run;
    }
}
