//! Lays the bars out in playing order and joins what reaches over barlines.

use super::axis;
use super::header::PartInfo;
use super::order::Played;
use super::sheet::{PartSheet, RawNote, Sheet, TremoloKind};
use super::span::{self, Placed, SlurEnd, tie_key};
use super::warn::Doubts;
use crate::FormatError;
use rayon::prelude::*;
use ripieno_music::{
    Content, Grace, Note, NoteKind, Score, Syllable, Timeline, Track, Transposition, Tremolo,
};
use ripieno_units::Beats;
use std::collections::BTreeMap;

/// Unfolding may not swell a file beyond this: so many notes, and so many times those printed.
const LEAST_NOTES: usize = 150_000;
const TIMES_PRINTED: usize = 4;
const MOST_CELLS: usize = 20_000_000;

/// The whole score as played.
///
/// Errors: more notes than music has.
pub(super) fn score(sheet: Sheet, played: &[Played], mut doubts: Doubts) -> Result<Score, FormatError> {
    limit(&sheet, played)?;
    let timeline = axis::timeline(&sheet, played, &mut doubts);
    crate::bound::hold(&timeline, sheet.parts.len())?;
    let laid: Vec<(Track, Doubts)> = sheet
        .parts
        .par_iter()
        .map(|part| {
            let mut own = Doubts::default();
            (track(part, played, &timeline, &mut own), own)
        })
        .collect();
    let mut tracks = Vec::with_capacity(laid.len());
    for (track, own) in laid {
        tracks.push(track);
        doubts.append(own);
    }
    Ok(Score { title: sheet.title, composer: sheet.composer, timeline, tracks, warnings: doubts.done() })
}

fn limit(sheet: &Sheet, played: &[Played]) -> Result<(), FormatError> {
    let count = |bar: usize| -> usize {
        sheet.parts.iter().filter_map(|p| p.bars.get(bar)).map(|b| b.notes.len() + b.directions.len()).sum()
    };
    let counts: Vec<usize> = (0..sheet.bars.len()).map(count).collect();
    let unfolded: usize = played.iter().map(|p| counts[p.bar]).sum();
    let limit = LEAST_NOTES + TIMES_PRINTED * counts.iter().sum::<usize>();
    let cells = played.len().saturating_mul(sheet.parts.len());
    if unfolded > limit || cells > MOST_CELLS {
        return Err(FormatError::TooLarge {
            what: "the notes of the unfolded piece",
            found: unfolded.max(cells) as u64,
            limit: if unfolded > limit { limit as u64 } else { MOST_CELLS as u64 },
            remedy: "Look for a repeat sign with too high a number of times",
        });
    }
    Ok(())
}

fn track(part: &PartSheet, played: &[Played], timeline: &Timeline, doubts: &mut Doubts) -> Track {
    let info = &part.info;
    let mut layer = Layer {
        label: if info.name.is_empty() { info.id.clone() } else { info.name.clone() },
        ..Layer::default()
    };
    let mut transpositions: Vec<(Beats, Transposition)> = Vec::new();
    let mut turn = |at: Beats, t: Transposition| {
        let now = transpositions.last().map_or(Transposition::default(), |last| last.1);
        if now != t {
            transpositions.pop_if(|x| x.0 >= at);
            transpositions.push((at, t));
        }
    };
    for (index, (one, bar)) in played.iter().zip(&timeline.bars).enumerate() {
        let Some(printed) = part.bars.get(one.bar) else { continue };
        turn(bar.at, printed.transposition);
        printed.transpositions.iter().for_each(|(at, t)| turn(bar.at + *at, *t));
        layer.bar(
            printed.notes.iter().filter(|n| n.only.is_empty() || n.only.contains(&one.pass)),
            one.pass,
            (index, bar.at),
        );
        for (voice, graces) in &printed.dangling {
            layer.graces.entry(*voice).or_default().extend(graces.iter().map(|(at, g)| (bar.at + *at, *g)));
        }
        layer.slurs.extend(printed.slurs.iter().map(|s| SlurEnd { at: bar.at + s.at, bar: index, slur: *s }));
        layer.directions.extend(printed.directions.iter().map(|(at, staff, kind)| Placed {
            at: bar.at + *at,
            staff: *staff,
            kind: kind.clone(),
        }));
    }
    let content = layer.done(timeline, doubts);
    let PartInfo { id, name, abbreviation, instrument, program, percussion, .. } = info.clone();
    Track { id, name, abbreviation, instrument, program, channel: None, percussion, transpositions, content }
}

/// More ties of one pitch than this are never open in one part.
const MOST_OPEN: usize = 256;

/// A tie that waits for its next note.
struct Tie {
    note: usize,
    end: Beats,
    voice: u16,
    staff: u8,
    /// Index of the played bar that it begins in.
    bar: usize,
}

/// One part while it is laid out.
#[derive(Default)]
struct Layer {
    label: String,
    notes: Vec<Note>,
    ties: BTreeMap<(i16, i16), Vec<Tie>>,
    /// Grace notes that wait for a note in a later bar, by voice.
    graces: BTreeMap<u16, Vec<(Beats, Grace)>>,
    slurs: Vec<SlurEnd>,
    directions: Vec<Placed>,
    lone_ties: usize,
    /// Index of the played bar of the first of them.
    first_lone: Option<usize>,
}

impl Layer {
    fn bar<'a>(
        &mut self,
        notes: impl Iterator<Item = &'a RawNote>,
        pass: u32,
        (index, start): (usize, Beats),
    ) {
        self.expire(start);
        for raw in notes {
            let mut note = plain(raw, start, pass);
            if let Some(before) = self.graces.get_mut(&raw.voice) {
                let mut all: Vec<Grace> = before.drain(..).map(|g| g.1).collect();
                all.append(&mut note.graces);
                note.graces = all;
            }
            let key = tie_key(&note);
            let end = note.end();
            let joined = if raw.tie_stop { self.take(key, note.at, raw) } else { None };
            let place = match joined {
                Some(place) => {
                    self.join(place, note);
                    place
                }
                None => {
                    if raw.tie_stop {
                        self.lone(index);
                    }
                    self.notes.push(note);
                    self.notes.len() - 1
                }
            };
            if raw.tie_start {
                let waiting = self.ties.entry(key).or_default();
                if waiting.len() >= MOST_OPEN {
                    waiting.remove(0);
                }
                waiting.push(Tie { note: place, end, voice: raw.voice, staff: raw.staff, bar: index });
            }
        }
    }

    /// Counts a tie without partner, at the bar where it stands.
    fn lone(&mut self, bar: usize) {
        self.lone_ties += 1;
        self.first_lone = Some(self.first_lone.map_or(bar, |first| first.min(bar)));
    }

    /// Drops the ties whose next note did not come.
    fn expire(&mut self, at: Beats) {
        let mut lost: Vec<usize> = Vec::new();
        self.ties.retain(|_, list| {
            lost.extend(list.iter().filter(|t| t.end < at).map(|t| t.bar));
            list.retain(|t| t.end >= at);
            !list.is_empty()
        });
        lost.into_iter().for_each(|bar| self.lone(bar));
    }

    /// The note that a tie comes from: it ends where this one begins; of several, in the same voice, else staff.
    fn take(&mut self, key: (i16, i16), at: Beats, raw: &RawNote) -> Option<usize> {
        let list = self.ties.get_mut(&key)?;
        let best = list
            .iter()
            .enumerate()
            .filter(|(_, t)| t.end == at)
            .max_by_key(|(i, t)| (t.voice == raw.voice, t.staff == raw.staff, std::cmp::Reverse(*i)))?
            .0;
        Some(list.remove(best).note)
    }

    fn join(&mut self, index: usize, next: Note) {
        let Some(note) = self.notes.get_mut(index) else { return };
        note.length = note.length.max(next.end() - note.at);
        note.marks = note.marks.union(next.marks);
        note.ornament = note.ornament.or(next.ornament);
        note.tremolo = note.tremolo.or(next.tremolo);
        note.glide = next.glide.or(note.glide);
        if note.syllable.is_none() {
            note.syllable = next.syllable;
        }
        // Grace notes between tied notes sound at the end of the first.
        note.graces_after.extend(next.graces);
        note.graces_after.extend(next.graces_after);
    }

    fn done(mut self, timeline: &Timeline, doubts: &mut Doubts) -> Content {
        let held: Vec<usize> = self.ties.values().flatten().map(|t| t.bar).collect();
        held.into_iter().for_each(|bar| self.lone(bar));
        if let Some(bar) = self.first_lone.and_then(|first| timeline.bars.get(first)) {
            let message = match self.lone_ties {
                1 => "a tie has no partner; its note is not joined to another".to_owned(),
                n => format!("{n} ties have no partner (here is the first); their notes are not joined"),
            };
            doubts.bar(&self.label, &bar.printed, message);
        }
        let mut lonely = 0;
        for (voice, graces) in self.graces {
            for (at, grace) in graces {
                lonely += 1;
                self.notes.push(alone(at, voice, grace));
            }
        }
        if lonely > 0 {
            doubts.add(
                &self.label,
                match lonely {
                    1 => "a grace note stands before no note and becomes a short note".to_owned(),
                    n => format!("{n} grace notes stand before no note and become short notes"),
                },
            );
        }
        let mut content = Content { notes: self.notes, ..Content::default() };
        content.sort();
        span::slurs(&mut content.notes, self.slurs, &self.label, doubts);
        self.directions.sort_by_key(|d| d.at);
        content.directions = span::directions(self.directions, timeline.end(), &self.label, doubts);
        content
    }
}

/// A grace note that no note follows or goes before.
fn alone(at: Beats, voice: u16, grace: Grace) -> Note {
    let length = if grace.value.is_positive() { grace.value } else { Beats::new(1, 4) };
    Note {
        kind: NoteKind::Pitched(grace.pitch),
        written: grace.written,
        voice,
        ..Note::plain(at, length, grace.pitch.key)
    }
}

fn plain(raw: &RawNote, bar: Beats, pass: u32) -> Note {
    let tremolo = raw.tremolo.map(|t| Tremolo {
        strokes: t.strokes,
        with: if let TremoloKind::Joined(other) = t.kind { Some(other) } else { None },
    });
    Note {
        at: bar + raw.at,
        length: raw.length,
        kind: raw.kind.clone(),
        written: raw.written,
        voice: raw.voice,
        staff: raw.staff,
        velocity: None,
        struck: None,
        slurred: false,
        slurs_on: false,
        marks: raw.marks,
        ornament: raw.ornament,
        tremolo,
        glide: raw.glide,
        arpeggio: raw.arpeggio,
        graces: raw.graces.clone(),
        graces_after: raw.graces_after.clone(),
        named: None,
        syllable: verse(&raw.syllables, pass),
        played: None,
    }
}

/// On each pass of a repeat its own verse, where there is one.
fn verse(syllables: &[Syllable], pass: u32) -> Option<Syllable> {
    syllables.iter().find(|s| u32::from(s.verse) == pass).or_else(|| syllables.first()).cloned()
}
