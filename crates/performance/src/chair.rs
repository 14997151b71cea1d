//! One chair's part, performed.

use crate::Options;
use crate::gesture::{Tuning, make_gestures, settle};
use crate::level::{level_curve, swell_spans};
use crate::nature::Nature;
use crate::state::{State, States};
use crate::timing::Asynchrony;
use crate::voice::draft_voice;
use ripieno_instruments::Instrument;
use ripieno_music::{
    ChairPerformance, Clock, ControlKind, Curve, DirectionKind, Dynamic, Note, Part, Place, Timeline, named,
};
use ripieno_units::{Beats, Chance};
use std::collections::{BTreeMap, BTreeSet};

/// Who performs a part.
#[derive(Clone, Copy, Debug)]
pub struct Performer<'a> {
    /// What to play.
    pub part: &'a Part,
    /// On what.
    pub instrument: &'a Instrument,
    /// How many players sit in the chair.
    pub players: u16,
}

/// What all chairs share.
pub(crate) struct Stage<'a> {
    pub timeline: &'a Timeline,
    pub clock: &'a Clock,
    pub barlines: &'a [Beats],
    pub passages: &'a [(String, Beats)],
    pub options: &'a Options,
}

impl Stage<'_> {
    pub(crate) fn seconds(&self, at: Beats) -> f64 {
        self.clock.seconds(at).0
    }

    pub(crate) fn passage_at(&self, at: Beats) -> &str {
        let i = self.passages.partition_point(|p| p.1 <= at);
        self.passages.get(i.saturating_sub(1)).map_or("", |p| p.0.as_str())
    }
}

/// A note on its way to being a gesture.
pub(crate) struct Draft<'a> {
    pub note: &'a Note,
    pub place: Place,
    pub onset: f64,
    pub end: f64,
    /// Written end, in seconds.
    pub written_end: f64,
    pub state: State,
    pub articulation: &'static str,
    pub joined: bool,
    pub joins_on: bool,
    pub voice: u16,
    pub rank: usize,
    /// Key of the note that comes before it in its voice.
    pub from_key: Option<i16>,
    pub accent: f64,
    /// Onsets and ends of the quick repeats that it stands for, itself the first; empty for a single note.
    pub run: Vec<(f64, f64)>,
}

/// Performs one chair.
pub(crate) fn perform_chair(
    stage: &Stage<'_>,
    performer: &Performer<'_>,
    remarks: &mut Vec<String>,
) -> ChairPerformance {
    let part = performer.part;
    let nature = Nature::of(performer.instrument);
    let notes = &part.content.notes;
    let accents = accent_places(part);
    let states = States::of(&part.content.directions);

    // Voices: notes that follow each other.
    let mut voices: BTreeMap<(u8, u16), Vec<&Note>> = BTreeMap::new();
    for note in notes {
        voices.entry((note.staff, note.voice)).or_default().push(note);
    }
    let offsets = onset_offsets(stage, performer, nature);
    let mut drafts: Vec<Draft<'_>> = Vec::with_capacity(notes.len());
    for (index, ((staff, voice), line)) in voices.iter().enumerate() {
        draft_voice(
            stage,
            performer,
            nature,
            index,
            (*staff, *voice),
            line,
            &states,
            &offsets,
            &accents,
            &mut drafts,
            remarks,
        );
    }
    bow_together(&mut drafts);
    let swells = swell_spans(stage, &drafts);
    let level = level_curve(stage, performer, nature, &drafts, &swells);
    let mut gestures = Vec::with_capacity(drafts.len());
    let mut chance = Chance::named(stage.options.seed, &[&part.chair, "realise"]);
    let mut tuning = Tuning::new(stage, performer, nature);
    for (i, draft) in drafts.iter().enumerate() {
        let next = drafts[i + 1..].iter().take(24).find(|d| d.voice == draft.voice && d.onset > draft.onset);
        make_gestures(stage, performer, nature, draft, next, &level, &mut tuning, &mut chance, &mut gestures);
    }
    settle(&mut gestures);
    let pedal = part
        .content
        .directions
        .iter()
        .filter_map(|d| match d.kind {
            DirectionKind::Pedal { to } => {
                Some((stage.clock.seconds(d.at), stage.clock.seconds(to.max(d.at))))
            }
            _ => None,
        })
        .collect();
    ChairPerformance {
        chair: part.chair.clone(),
        instrument: performer.instrument.id.clone(),
        players: performer.players,
        gestures,
        level,
        kept: if stage.options.keep_curves { kept_curves(stage, part) } else { Vec::new() },
        pedal,
        sticks: sticks(stage, part),
    }
}

/// Hard and soft sticks, as the words of the part say.
fn sticks(stage: &Stage<'_>, part: &Part) -> Curve {
    let states = States::of(&part.content.directions);
    let mut walk = states.walk(1, 1);
    let mut points: Vec<(f64, f64)> = Vec::new();
    for direction in &part.content.directions {
        // A stroke may come a little before its place.
        let (at, now) = (stage.seconds(direction.at) - 0.05, walk.at(direction.at).sticks);
        let before = points.last().map_or(0.0, |p| p.1);
        if now != before {
            points.extend([(at, before), (at, now)]);
        }
    }
    Curve { points }
}

/// Players of one chair bow and tongue together: where some begin a connected note, those whose note says nothing else
/// play connected as well.
fn bow_together(drafts: &mut [Draft<'_>]) {
    let connected: BTreeSet<Beats> =
        drafts.iter().filter(|d| d.articulation == named::LEGATO).map(|d| d.note.at).collect();
    for draft in drafts.iter_mut().filter(|d| connected.contains(&d.note.at)) {
        if matches!(draft.articulation, named::SUSTAIN | named::DETACHE) && draft.note.marks.is_empty() {
            draft.articulation = named::LEGATO;
        }
    }
}

/// Places of sforzati.
fn accent_places(part: &Part) -> BTreeMap<Beats, f64> {
    let mut places = BTreeMap::new();
    for direction in &part.content.directions {
        if let DirectionKind::Dynamic(dynamic) = direction.kind {
            let decibels = match dynamic {
                Dynamic::Sf | Dynamic::Sfz | Dynamic::Fz | Dynamic::Rf | Dynamic::Rfz => 6.0,
                Dynamic::Sffz => 9.0,
                _ => continue,
            };
            places.insert(direction.at, decibels);
        }
    }
    places
}

/// Offset of each onset of the chair against the score, in seconds: one draw for all that begin together.
fn onset_offsets(stage: &Stage<'_>, performer: &Performer<'_>, nature: Nature) -> BTreeMap<Beats, f64> {
    let options = stage.options;
    let mut offsets = BTreeMap::new();
    if options.keep_timing || options.asynchrony <= 0.0 {
        return offsets;
    }
    let onsets: BTreeSet<Beats> = performer.part.content.notes.iter().map(|n| n.at).collect();
    let mut stream: Option<(String, Asynchrony)> = None;
    let mut before: Option<f64> = None;
    for at in onsets {
        let passage = stage.passage_at(at);
        if stream.as_ref().is_none_or(|s| s.0 != passage) {
            let fresh =
                Asynchrony::new(options.seed, &performer.part.chair, passage, nature, options.asynchrony);
            stream = Some((passage.to_string(), fresh));
        }
        let now = stage.seconds(at);
        if let Some((_, stream)) = &mut stream {
            offsets.insert(at, stream.next(now - before.unwrap_or(now - 1.0)));
        }
        before = Some(now);
    }
    offsets
}

/// The source's own controller curves, as steps.
fn kept_curves(stage: &Stage<'_>, part: &Part) -> Vec<(u8, Curve)> {
    let mut curves: BTreeMap<u8, Vec<(f64, f64)>> = BTreeMap::new();
    for control in &part.content.controls {
        let ControlKind::Controller(number) = control.kind else { continue };
        // Bank, data entry and channel mode are not expression.
        if matches!(number, 0 | 6 | 32 | 38 | 96..=101 | 120..) {
            continue;
        }
        let points = curves.entry(number).or_default();
        let at = stage.seconds(control.at);
        if let Some(last) = points.last().copied() {
            points.push((at.max(last.0), last.1));
        }
        points.push((at, f64::from(control.value)));
    }
    curves.into_iter().map(|(number, points)| (number, Curve { points })).collect()
}
