//! One chair's part, performed.

use crate::articulate::{self, Around, Timed};
use crate::curve::{self, SwellSpan};
use crate::nature::Nature;
use crate::ornament::{self, Small};
use crate::realise::{self, Frame};
use crate::state::{State, States};
use crate::sung;
use crate::timing::{self, Asynchrony, Sounding};
use crate::Options;
use ripieno_instruments::Instrument;
use ripieno_music::{
    Arpeggio, ChairPerformance, Clock, Colour, ControlKind, Curve, DirectionKind, Dynamic, Gesture, Glide, Mark,
    Note, NoteKind, OrnamentKind, Part, Place, Realisation, Stroke, Sung, Syllable, Timeline, named,
};
use ripieno_units::{Beats, Chance, Decibels, Seconds};
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
    fn seconds(&self, at: Beats) -> f64 {
        self.clock.seconds(at).0
    }

    fn passage_at(&self, at: Beats) -> &str {
        let i = self.passages.partition_point(|p| p.1 <= at);
        self.passages.get(i.saturating_sub(1)).map_or("", |p| p.0.as_str())
    }
}

/// A note on its way to being a gesture.
struct Draft<'a> {
    note: &'a Note,
    place: Place,
    onset: f64,
    end: f64,
    /// Written end, in seconds.
    written_end: f64,
    state: State,
    articulation: &'static str,
    joined: bool,
    joins_on: bool,
    voice: u16,
    rank: usize,
    /// Key of the note that comes before it in its voice.
    from_key: Option<i16>,
    accent: f64,
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
        draft_voice(stage, performer, nature, index, (*staff, *voice), line, &states, &offsets, &accents, &mut drafts, remarks);
    }
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
            DirectionKind::Pedal { to } => Some((stage.clock.seconds(d.at), stage.clock.seconds(to.max(d.at)))),
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
            let fresh = Asynchrony::new(options.seed, &performer.part.chair, passage, nature, options.asynchrony);
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

/// Works out onsets, ends, articulations and joins of one voice.
#[allow(clippy::too_many_arguments)]
fn draft_voice<'a>(
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
            let written_end = stage.seconds(note.end());
            let seconds = written_end - stage.seconds(at);
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
        for d in last..drafts.len() {
            drafts[d].joins_on = false;
        }
    }
    // A joined successor decides the end of the note before it: connected.
    let count = drafts.len();
    for d in first_draft..count {
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
    let timed: Vec<Timed> = chords
        .iter()
        .map(|c| Timed {
            onset: stage.seconds(c[0].at),
            end: c.iter().map(|n| stage.seconds(n.end())).fold(f64::MIN, f64::max),
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
    if contiguous && !draft.state.ring && let Some(next) = next_onset {
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
        let gap = 0.30_f64.min(0.35 * length);
        let latest = sounding.get(i + 1).map_or(d.end, |n| n.onset) - gap;
        d.end = d.end.min(latest.max(d.onset + 0.5 * length));
    }
}

/// Stretches that grow to a barline.
fn swell_spans(stage: &Stage<'_>, drafts: &[Draft<'_>]) -> Vec<SwellSpan> {
    let mut spans: Vec<SwellSpan> = Vec::new();
    for draft in drafts.iter().filter(|d| d.articulation == named::SWELL) {
        let (from, end) = (draft.note.at, draft.note.end());
        // The barline at its end, or the first one after it.
        let i = stage.barlines.partition_point(|b| *b < end);
        let peak = stage.barlines.get(i).copied().unwrap_or(end);
        if spans.last().is_none_or(|s| s.peak <= from) {
            spans.push(SwellSpan { from, peak, to: peak });
        }
    }
    spans
}

/// Marks, phrase, height and accents as one curve.
fn level_curve(
    stage: &Stage<'_>,
    performer: &Performer<'_>,
    nature: Nature,
    drafts: &[Draft<'_>],
    swells: &[SwellSpan],
) -> Curve {
    let part = performer.part;
    let marked = part.content.directions.iter().any(|d| {
        matches!(d.kind, DirectionKind::Hairpin { .. })
            || matches!(d.kind, DirectionKind::Dynamic(m) if m.level().is_some())
    });
    let mut tops: Vec<&Draft<'_>> = drafts.iter().filter(|d| d.rank == 0).collect();
    tops.sort_by(|a, b| a.onset.total_cmp(&b.onset));
    let velocities: BTreeSet<u8> = tops.iter().filter_map(|d| d.note.velocity).collect();
    // Velocities that are all one tell nothing.
    let by_velocity = velocities.len() > 1 && (!marked || stage.options.keep_velocity);
    let base = if by_velocity {
        played_level(&tops)
    } else {
        curve::marked_level(&part.content.directions, swells, stage.clock, stage.timeline.end())
    };
    let mut curves = vec![base];
    if !by_velocity && nature.sustains() {
        curves.push(phrase_level(&tops));
    }
    if nature.sustains() {
        curves.push(accent_level(&tops));
        if performer.instrument.id.contains("trombone") {
            curves.push(soft_tongue(&tops));
        }
    }
    let mut sum = curve::sum(&curves);
    for point in &mut sum.points {
        point.1 = point.1.clamp(-45.0, 18.0);
    }
    sum
}

/// Velocities as levels: 1 to 127 over the range from ppp to fff.
fn played_level(tops: &[&Draft<'_>]) -> Curve {
    let mut points: Vec<(f64, f64)> = Vec::new();
    for draft in tops {
        let Some(velocity) = draft.note.velocity else { continue };
        let level = -18.0 + 31.5 * (f64::from(velocity) - 1.0) / 126.0;
        if let Some(last) = points.last().copied() {
            if draft.onset <= last.0 {
                continue;
            }
            points.push(((draft.onset - 0.040).max(last.0), last.1));
        }
        points.push((draft.onset, level));
    }
    if points.is_empty() { Curve::flat(0.0) } else { Curve { points } }
}

/// Phrase arch in level (2 dB at the ends, turning point 0.6, power 2) and high-loud (3 dB an octave about the part's
/// mean, halved and held within 2 dB): Friberg, Bresin and Sundberg 2006.
fn phrase_level(tops: &[&Draft<'_>]) -> Curve {
    let keys: Vec<f64> = tops.iter().filter_map(|d| d.note.pitch()).map(|p| f64::from(p.key)).collect();
    if keys.is_empty() {
        return Curve::flat(0.0);
    }
    let mean = keys.iter().sum::<f64>() / keys.len() as f64;
    let mut points: Vec<(f64, f64)> = Vec::new();
    let mut from = 0;
    while from < tops.len() {
        let mut to = from;
        while to + 1 < tops.len()
            && tops[to + 1].onset - tops[to].end < 0.25
            && !tops[to].note.marks.has(Mark::BreathAfter)
        {
            to += 1;
        }
        let (start, end) = (tops[from].onset, tops[to].end);
        // A single note or an endless line is no phrase.
        let arched = to > from + 1 && end - start < 30.0;
        for draft in &tops[from..=to] {
            let x = ((draft.onset - start) / (end - start).max(1e-6)).clamp(0.0, 1.0);
            let d = if x < 0.6 { (0.6 - x) / 0.6 } else { (x - 0.6) / 0.4 };
            let arch = if arched { -2.0 * d * d } else { 0.0 };
            let high = draft.note.pitch().map_or(0.0, |p| (f64::from(p.key) - mean) / 8.0);
            let level = arch + high.clamp(-2.0, 2.0);
            if points.last().is_none_or(|p| p.0 < draft.onset) {
                points.push((draft.onset, level));
            }
        }
        from = to + 1;
    }
    Curve { points }
}

/// Accents: up on the beat, gone with a time constant of 150 ms.
fn accent_level(tops: &[&Draft<'_>]) -> Curve {
    let mut points: Vec<(f64, f64)> = vec![];
    for draft in tops.iter().filter(|d| d.accent > 0.0) {
        let at = draft.onset;
        while points.last().is_some_and(|p| p.0 >= at - 0.010) {
            points.pop();
        }
        points.push((at - 0.010, points.last().map_or(0.0, |p| p.1)));
        for (after, share) in [(0.0, 1.0), (0.075, 0.61), (0.15, 0.37), (0.30, 0.135), (0.55, 0.0)] {
            points.push((at + after, draft.accent * share));
        }
    }
    if points.is_empty() { Curve::flat(0.0) } else { Curve { points } }
}

/// A trombone cannot slur between slide positions: a soft tongue, heard as a dip of 4 dB in 40 ms.
fn soft_tongue(tops: &[&Draft<'_>]) -> Curve {
    let mut points: Vec<(f64, f64)> = Vec::new();
    for draft in tops.iter().filter(|d| d.joined) {
        let at = draft.onset;
        if points.last().is_some_and(|p| p.0 >= at - 0.030) {
            continue;
        }
        points.extend([(at - 0.030, 0.0), (at - 0.008, -4.0), (at + 0.020, 0.0)]);
    }
    if points.is_empty() { Curve::flat(0.0) } else { Curve { points } }
}

/// Small deviations of pitch.
struct Tuning {
    chance: Chance,
    chair: f64,
    spread: f64,
    amount: f64,
}

impl Tuning {
    fn new(stage: &Stage<'_>, performer: &Performer<'_>, nature: Nature) -> Self {
        let mut chance = Chance::named(stage.options.seed, &[&performer.part.chair, "tuning"]);
        let amount = if nature.fixed_pitch() { 0.0 } else { stage.options.intonation };
        let chair = chance.normal(2.0).clamp(-5.0, 5.0);
        Self { chance, chair, spread: if performer.players > 1 { 3.0 } else { 2.0 }, amount }
    }

    fn next(&mut self) -> f64 {
        self.amount * (self.chair + self.chance.normal(self.spread).clamp(-9.0, 9.0))
    }
}

/// Turns one draft into its gestures: graces, the note itself or what realises it.
#[allow(clippy::too_many_arguments)]
fn make_gestures(
    stage: &Stage<'_>,
    performer: &Performer<'_>,
    nature: Nature,
    draft: &Draft<'_>,
    next: Option<&Draft<'_>>,
    level: &Curve,
    tuning: &mut Tuning,
    chance: &mut Chance,
    out: &mut Vec<Gesture>,
) {
    let note = draft.note;
    let tempo = stage.timeline.tempo_at(note.at).quarters_per_minute();
    let (key, stroke) = match &note.kind {
        NoteKind::Pitched(pitch) => (midi_key(pitch.key), None),
        NoteKind::Unpitched { stroke } => (stroke_key(stroke, performer), Some(stroke.clone())),
    };
    let microtone = note.pitch().map_or(0.0, |p| f64::from(p.cents));
    let mut colour = draft.state.colour();
    if note.marks.has(Mark::Harmonic) {
        colour = Some(Colour::Harmonics);
    } else if note.marks.has(Mark::Stopped) && nature == Nature::Brass {
        colour = Some(Colour::Stopped);
    } else if note.marks.has(Mark::Open) && colour == Some(Colour::Stopped) {
        colour = None;
    }
    if !nature.sustains() && colour == Some(Colour::NonVib) {
        colour = None;
    }
    let noise = chance.normal(0.5).clamp(-1.5, 1.5);
    let attack_at = |t: f64| level.at(Seconds(t)) + if nature.sustains() { 0.0 } else { draft.accent };
    let mut onset = draft.onset;
    let mut joined = draft.joined;
    let mut articulation = draft.articulation;
    let sung = (nature == Nature::Sung).then(|| note.syllable.as_ref()).flatten();
    let base = Gesture {
        onset: Seconds(onset),
        end: Seconds(draft.end.max(onset + 0.02)),
        place: draft.place,
        key,
        cents: microtone + tuning.next(),
        stroke,
        articulation: String::new(),
        colour,
        joined: false,
        joins_on: draft.joins_on,
        attack: Decibels::ZERO,
        realisation: None,
        glide: Seconds::ZERO,
        bend: Vec::new(),
        sung: None,
        voice: draft.voice,
        players: draft.state.players.unwrap_or(performer.players).min(performer.players.max(1)),
    };
    let plain = |s: &Small, articulation: &str, joined: bool, joins_on: bool| Gesture {
        onset: Seconds(s.onset),
        end: Seconds(s.end.max(s.onset + 0.015)),
        key: midi_key(s.key),
        articulation: articulation.to_string(),
        joined,
        joins_on,
        attack: Decibels(attack_at(s.onset) + s.level),
        ..base.clone()
    };

    // Grace notes.
    if !note.graces.is_empty() {
        let before = out.iter().rev().take(32).find(|g| g.voice == draft.voice).map(|g| g.onset.0);
        let free = before.map_or(1.0, |b| onset - b);
        let placed = ornament::graces(&note.graces, onset, draft.end - onset, free, tempo);
        let first = placed.notes.first().map_or(onset, |s| s.onset);
        if let Some(last) = out.iter_mut().rev().take(32).find(|g| g.voice == draft.voice && g.onset.0 < first) {
            trim(last, first);
            last.joins_on = false;
        }
        let slurred = nature.sustains() && note.graces.iter().all(|g| g.slurred);
        let name = match (nature.sustains(), slurred) {
            (true, true) => named::LEGATO,
            (true, false) => named::DETACHE,
            (false, _) => named::SUSTAIN,
        };
        for (i, small) in placed.notes.iter().enumerate() {
            let mut grace = plain(small, name, slurred && i > 0, slurred);
            grace.cents -= microtone;
            out.push(grace);
        }
        onset = placed.main;
        joined = slurred;
        if slurred && matches!(articulation, named::SUSTAIN | named::DETACHE) {
            articulation = named::LEGATO;
        }
    }
    let end = draft.end.max(onset + 0.02);
    let glide = match (joined, draft.from_key, note.pitch()) {
        (true, Some(from), Some(to)) => nature.glide(to.key.saturating_sub(from)),
        _ => 0.0,
    };
    let mut gesture = Gesture {
        onset: Seconds(onset),
        end: Seconds(end),
        articulation: articulation.to_string(),
        joined,
        attack: Decibels(attack_at(onset) + noise),
        glide: Seconds(glide),
        sung: sung.map(|s| place_syllable(s, onset, end, draft, next)),
        ..base.clone()
    };
    let frame = Frame { onset, end, key, attack: attack_at(onset) };

    // What is more than one note.
    let other = note.tremolo.and_then(|t| t.with).map(|p| midi_key(p.key));
    match articulation {
        named::TREMOLO | named::ROLL => {
            let rate = realise::rate(nature, &performer.instrument.id, key);
            let whole = Frame { end: draft.written_end.max(onset + 0.02), ..frame };
            gesture.end = Seconds(whole.end);
            gesture.realisation = Some(realise::strokes(whole, other, rate, articulation, chance));
            out.push(gesture);
            return;
        }
        named::SWELL => {
            let i = stage.barlines.partition_point(|b| *b < note.end());
            let peak = stage.barlines.get(i).map_or(end, |b| stage.seconds(*b)).max(onset + 0.05);
            gesture.end = Seconds(peak);
            gesture.attack = Decibels(level.at(Seconds(onset)));
            if nature.is_struck() {
                let rate = realise::rate(nature, &performer.instrument.id, key);
                let frame = Frame { end: peak, attack: 0.0, ..frame };
                let mut realisation = realise::strokes(frame, None, rate, named::SWELL, chance);
                for stroke in &mut realisation.strokes {
                    stroke.attack = Decibels(level.at(stroke.onset) + 0.3 * stroke.attack.0);
                }
                gesture.realisation = Some(realisation);
            }
            out.push(gesture);
            return;
        }
        named::TRILL_1 | named::TRILL_2 => {
            let small = ornament::trill(note, onset, end, tempo, chance);
            gesture.realisation = Some(Realisation {
                articulation: articulation.to_string(),
                strokes: to_strokes(&small, &attack_at),
            });
            out.push(gesture);
            return;
        }
        named::GLISSANDO => {
            let target = next.and_then(|n| n.note.pitch()).map_or(key, |p| midi_key(p.key));
            let whole = Frame { end: draft.written_end.max(onset + 0.02), ..frame };
            gesture.end = Seconds(whole.end);
            let keys = glissando_keys(stage, performer, nature, note);
            gesture.realisation = Some(realise::glissando(whole, target, &keys, articulation));
            if nature.sustains() || note.glide == Some(Glide::Slide) {
                let semitones = f64::from(target) - f64::from(key);
                gesture.bend = realise::slide_bend(whole.end - onset, semitones);
            }
            out.push(gesture);
            return;
        }
        _ => {}
    }
    // Counted tremolo: notes of their own.
    if let Some(tremolo) = note.tremolo
        && tremolo.strokes > 0
        && !(nature.is_struck() && draft.state.rolled == Some(false))
    {
        let unit = note.length.min(Beats::whole(1)).scaled(1, 1 << tremolo.strokes.min(8));
        let count = note.length.ratio(unit).round().clamp(1.0, 4000.0) as i64;
        let written = draft.written_end - onset;
        for i in 0..count {
            let start = onset + written * i as f64 / count as f64;
            let length = written / count as f64;
            let share = articulate::sounding_share(articulation).min(0.92);
            let mut one = gesture.clone();
            (one.onset, one.end) = (Seconds(start), Seconds(start + length * share));
            one.key = other.filter(|_| i % 2 == 1).unwrap_or(key);
            one.place = stage.timeline.place(note.at + unit * i);
            (one.joined, one.joins_on, one.glide) = (false, false, Seconds::ZERO);
            one.attack = Decibels(attack_at(start) + if i > 0 && !nature.sustains() { -draft.accent } else { 0.0 });
            if i > 0 {
                one.sung = None;
            }
            out.push(one);
        }
        return;
    }
    // Short ornaments.
    if note.ornament.is_some_and(|o| o.kind == OrnamentKind::Slide) {
        gesture.bend = ornament::slide(end - onset).into_iter().map(|(t, c)| (Seconds(t), c)).collect();
    } else if let Some(small) = ornament::small(note, onset, end) {
        let name = match (nature.sustains(), articulation) {
            (true, named::SUSTAIN | named::DETACHE) => named::LEGATO,
            _ => articulation,
        };
        let count = small.len();
        for (i, s) in small.iter().enumerate() {
            let connected = nature.sustains();
            let mut one = plain(s, name, if i == 0 { joined } else { connected }, i + 1 < count && connected);
            if i + 1 == count {
                one.joins_on = draft.joins_on;
            }
            if i == 0 {
                one.sung = gesture.sung.clone();
            }
            out.push(one);
        }
        return;
    }
    // A turned end without a trill.
    if !note.graces_after.is_empty() {
        let each = 0.055_f64.min(0.3 * (end - onset) / note.graces_after.len() as f64);
        let start = end - each * note.graces_after.len() as f64;
        gesture.end = Seconds(start);
        gesture.joins_on = nature.sustains();
        out.push(gesture);
        for (i, grace) in note.graces_after.iter().enumerate() {
            let small = Small {
                onset: start + each * i as f64,
                end: start + each * (i + 1) as f64,
                key: grace.pitch.key,
                level: -1.0,
            };
            let name = if nature.sustains() { named::LEGATO } else { articulation };
            out.push(plain(&small, name, nature.sustains(), nature.sustains() && i + 1 < note.graces_after.len()));
        }
        return;
    }
    out.push(gesture);
}

fn to_strokes(small: &[Small], attack_at: &dyn Fn(f64) -> f64) -> Vec<Stroke> {
    small
        .iter()
        .enumerate()
        .map(|(i, s)| Stroke {
            onset: Seconds(s.onset),
            end: Seconds(s.end),
            key: midi_key(s.key),
            attack: Decibels(attack_at(s.onset) + s.level),
            joined: i > 0,
        })
        .collect()
}

fn place_syllable(syllable: &Syllable, onset: f64, end: f64, draft: &Draft<'_>, next: Option<&Draft<'_>>) -> Sung {
    let interval = next.map_or(end - onset, |n| n.onset - draft.onset);
    Sung {
        syllable: syllable.clone(),
        consonant: Seconds(sung::consonant_start(&syllable.text, onset, interval)),
        coda: Seconds(sung::coda_start(&syllable.text, onset, end)),
    }
}

fn midi_key(key: i16) -> u8 {
    key.clamp(0, 127) as u8
}

/// General MIDI percussion key of a stroke, middle C where it has none.
fn stroke_key(stroke: &str, performer: &Performer<'_>) -> u8 {
    let own = || performer.instrument.gm_key;
    ripieno_instruments::by_id(stroke).and_then(|i| i.gm_key).or_else(own).unwrap_or(60)
}

/// The keys that a glissando runs over: the harp's seven letters, else the white keys of keyboards and bars, else all.
fn glissando_keys(stage: &Stage<'_>, performer: &Performer<'_>, nature: Nature, note: &Note) -> Vec<u8> {
    let scale: &[i16] = &[0, 2, 4, 5, 7, 9, 11];
    let fifths = stage.timeline.key_at(note.at).map_or(0, |k| i16::from(k.fifths));
    match nature {
        Nature::Plucked if performer.instrument.id == "harp" => {
            let tonic = (fifths * 7).rem_euclid(12);
            (0..=127u8).filter(|k| scale.contains(&(i16::from(*k) - tonic).rem_euclid(12))).collect()
        }
        Nature::Keyboard | Nature::Struck => (0..=127u8).filter(|k| scale.contains(&(i16::from(*k) % 12))).collect(),
        _ => (0..=127u8).collect(),
    }
}

/// Cuts a gesture short, its strokes with it.
fn trim(gesture: &mut Gesture, at: f64) {
    if gesture.end.0 <= at {
        return;
    }
    gesture.end = Seconds(at.max(gesture.onset.0 + 0.010));
    if let Some(realisation) = &mut gesture.realisation {
        realisation.strokes.retain(|s| s.onset.0 < at - 0.005);
        for stroke in &mut realisation.strokes {
            stroke.end = Seconds(stroke.end.0.min(at));
        }
    }
}

/// In order of onset; one pitch sounds once at a time: what is written twice at one onset is one sound, and what is
/// struck again while it sounds is released first.
fn settle(gestures: &mut Vec<Gesture>) {
    gestures.sort_by(|a, b| a.onset.total_cmp(&b.onset).then(a.key.cmp(&b.key)).then(a.voice.cmp(&b.voice)));
    let mut sounding: BTreeMap<(u8, Option<String>), usize> = BTreeMap::new();
    let mut kept: Vec<Gesture> = Vec::with_capacity(gestures.len());
    for gesture in gestures.drain(..) {
        let name = (gesture.key, gesture.stroke.clone());
        if let Some(i) = sounding.get(&name).copied() {
            let last = &mut kept[i];
            if gesture.onset.0 - last.onset.0 < 0.012 {
                if gesture.end.0 > last.end.0 && last.realisation.is_none() {
                    last.end = gesture.end;
                }
                last.joins_on |= gesture.joins_on;
                continue;
            }
            trim(last, gesture.onset.0);
        }
        sounding.insert(name, kept.len());
        kept.push(gesture);
    }
    *gestures = kept;
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
