//! Handwork on a cue: pencil.toml beside cue.toml, taken from edited files, put onto what is computed.

use crate::{Cue, CueError, PerformOptions, folder, stages};
use ripieno_formats::midi::MidiEvent;
use ripieno_handwork::{
    Anchor, Axis, AxisBar, Control, Fit, Mark, NoteName, Sounded, TICKS, Who, Written, WrittenNote,
    WrittenTrack,
};
use ripieno_music::{Clock, Place};
use ripieno_patches::{Intent, PatchOutput, reader};
use ripieno_plan::{CallKind, KeyMode, PatchCard};
use ripieno_units::Seconds;
use std::collections::{BTreeMap, BTreeSet};
use std::path::PathBuf;

/// A pencil mark as it stands.
#[derive(Clone, Debug, PartialEq)]
pub struct Pencilled {
    /// Its number in pencil.toml.
    pub id: u32,
    /// The chair.
    pub chair: String,
    /// The passage it was made in.
    pub passage: String,
    /// Where it is now.
    pub bar: i32,
    /// Beat from 1.0.
    pub beat: f64,
    /// What it says.
    pub message: String,
    /// Why it no longer fits, if so.
    pub no_longer: Option<String>,
}

fn path_of(cue: &Cue) -> PathBuf {
    cue.folder.join("pencil.toml")
}

pub(crate) fn text_of(cue: &Cue) -> Result<String, CueError> {
    let path = path_of(cue);
    if path.exists() { folder::read_text(&path, "") } else { Ok(String::new()) }
}

/// The marks of a cue. Errors: a pencil.toml that cannot be read.
pub fn marks(cue: &Cue) -> Result<Vec<Mark>, CueError> {
    let wrong = |message| CueError::Place { path: path_of(cue), message };
    ripieno_handwork::parse(&text_of(cue)?).map_err(wrong)
}

pub(crate) fn keep(cue: &Cue, marks: &[Mark]) -> Result<(), CueError> {
    let before = text_of(cue)?;
    let wrong = |message| CueError::Place { path: path_of(cue), message };
    let after = ripieno_handwork::write(&before, marks).map_err(wrong)?;
    if after == before {
        return Ok(());
    }
    if !before.is_empty() {
        folder::write_file(&cue.folder.join(".ripieno").join("pencil-before.toml"), before.as_bytes())?;
    }
    folder::write_file(&path_of(cue), after.as_bytes())
}

fn axis(cue: &Cue) -> Axis {
    let bars = cue.score.timeline.bars.iter();
    let bars = bars.map(|b| AxisBar { number: b.number, at: b.at, unit: b.metre.beat() }).collect();
    Axis { passages: stages::passages(cue), bars }
}

fn tick(clock: &Clock, at: Seconds) -> i64 {
    (clock.quarters(at) * TICKS as f64).round() as i64
}

fn name_of(used: &str, colour: Option<ripieno_music::Colour>) -> String {
    colour.map_or(used.to_string(), |c| format!("{used} {}", c.word()))
}

/// Which of the chair's cards a track is.
fn card_number(cue: &Cue, chair: &str, track: &str) -> usize {
    let plan = cue.template.chairs.iter().find(|c| c.id == chair);
    let own = plan.and_then(|c| c.track.as_deref()).unwrap_or(chair);
    track.strip_prefix(own).and_then(|t| t.strip_prefix('/')).and_then(|n| n.parse().ok()).unwrap_or(1)
}

/// What was computed, note by note; with the index of each note's intent.
pub(crate) fn written(cue: &Cue, out: &PatchOutput) -> (Written, Vec<Vec<Option<usize>>>) {
    let timeline = &cue.score.timeline;
    let clock = timeline.clock();
    let lead = tick(&clock, Seconds(0.0)) - tick(&clock, Seconds(-out.lead_in.0));
    let mut all = Written { lead, axis: axis(cue), ..Written::default() };
    let mut links = Vec::new();
    for (number, track) in out.file.tracks.iter().enumerate() {
        if number == 0 {
            let tempi = track.events.iter();
            all.tempi = tempi
                .filter_map(|(t, e)| match e {
                    MidiEvent::Tempo(micros) => Some((*t as i64 - lead, *micros)),
                    _ => None,
                })
                .collect();
            continue;
        }
        let Some(summary) = out.tracks.get(number - 1) else { continue };
        let card_index = card_number(cue, &summary.chair, &summary.track);
        let card = cue.cards.get(&summary.chair).and_then(|c| c.get(card_index - 1));
        let mut one = WrittenTrack {
            chair: summary.chair.clone(),
            card: card_index as u32,
            name: track.name.clone(),
            ..WrittenTrack::default()
        };
        let calls = card.iter().flat_map(|c| &c.articulations).flat_map(|a| &a.calls);
        for call in calls {
            match call.kind {
                CallKind::Key { key, .. } => one.call_keys.push(key),
                CallKind::Controller { number, .. } => one.calls.push(Control::Controller(number)),
                CallKind::Program { bank, .. } => {
                    one.calls.push(Control::Program);
                    if bank.is_some() {
                        one.calls.extend([Control::Controller(0), Control::Controller(32)]);
                    }
                }
                _ => {}
            }
        }
        let mut meant: BTreeMap<(i64, u8, u8), usize> = BTreeMap::new();
        for (i, intent) in out
            .intents
            .iter()
            .enumerate()
            .filter(|i| i.1.track == summary.track && i.1.chair == summary.chair)
        {
            if let Some(on) = intent.note_on {
                meant.insert((tick(&clock, on), intent.channel - 1, intent.key), i);
            }
        }
        let mut open: BTreeMap<(u8, u8), usize> = BTreeMap::new();
        let mut link = Vec::new();
        let mut ordinals: BTreeMap<(ripieno_units::Beats, u8), u32> = BTreeMap::new();
        for (at, event) in &track.events {
            let at = *at as i64 - lead;
            match *event {
                MidiEvent::NoteOn { channel, key, velocity } => {
                    let now = Sounded { on: at, key, channel, velocity, off: at + 1 };
                    let intent = meant.get(&(at, channel, key)).copied();
                    let who = intent.map_or(Who::Call, |i| {
                        let Place { bar, beat } = out.intents[i].place;
                        let place = timeline.at(bar, beat).unwrap_or_default();
                        let ordinal = ordinals.entry((place, key)).or_default();
                        *ordinal += 1;
                        Who::Computed(NoteName { at: place, key, ordinal: *ordinal })
                    });
                    let used = intent.map(|i| name_of(&out.intents[i].used, out.intents[i].used_colour));
                    open.insert((channel, key), one.notes.len());
                    link.push(intent);
                    let used = used.unwrap_or_default();
                    one.notes.push(WrittenNote { now, computed: now, who, sent: true, used });
                }
                MidiEvent::NoteOff { channel, key, .. } => {
                    if let Some(n) = open.remove(&(channel, key)) {
                        one.notes[n].now.off = at;
                        one.notes[n].computed.off = at;
                    }
                }
                _ => one.rest.push((at, event.clone())),
            }
        }
        one.computed = one.rest.clone();
        all.tracks.push(one);
        links.push(link);
    }
    (all, links)
}

fn card<'a>(cue: &'a Cue, track: &WrittenTrack) -> Option<&'a PatchCard> {
    cue.cards.get(&track.chair)?.get((track.card as usize).checked_sub(1)?)
}

/// The articulation of every note of a track that is no call, by the rule of its card.
fn heard(card: &PatchCard, track: &WrittenTrack) -> Vec<(usize, Option<usize>)> {
    let events = track.linked();
    let found = reader::articulations(card, events.iter().map(|e| &e.1));
    // The reader passes calls over by their key.
    let notes =
        events.iter().filter_map(|e| e.2).filter(|n| !track.call_keys.contains(&track.notes[*n].now.key));
    notes.zip(found).collect()
}

pub(crate) fn names(cue: &Cue, track: &WrittenTrack) -> Vec<(usize, Option<String>)> {
    let Some(card) = card(cue, track) else { return Vec::new() };
    // A card that calls by other keys than when the track was written does not tell what was played then.
    let key = |kind: &CallKind| if let CallKind::Key { key, .. } = kind { Some(*key) } else { None };
    let mut keys = card.articulations.iter().flat_map(|a| &a.calls).filter_map(|c| key(&c.kind));
    if !keys.by_ref().eq(track.call_keys.iter().copied()) {
        return Vec::new();
    }
    let name = |u: usize| card.articulations.get(u).map(|a| name_of(&a.name, a.colour));
    heard(card, track).into_iter().map(|(n, u)| (n, u.and_then(name))).collect()
}

/// So many times calls are put and the track is read again: a call settles its note and may unsettle those behind it.
const ROUNDS: usize = 64;

/// Calls put before the notes that would be played with another articulation than they are to be, in place of those that stand
/// there.
fn call(card: &PatchCard, track: &mut WrittenTrack, wanted: &BTreeMap<usize, String>) {
    let named: Vec<String> = card.articulations.iter().map(|a| name_of(&a.name, a.colour)).collect();
    // A note that no call reaches is left.
    let mut given_up = BTreeSet::new();
    for _ in 0..ROUNDS {
        let mut before: Option<&String> = None;
        let mut wrong: Vec<(usize, usize)> = Vec::new();
        for (n, used) in heard(card, track) {
            let Some(to) = wanted.get(&n) else {
                before = None;
                continue;
            };
            let off = used.and_then(|u| named.get(u)) != Some(to);
            // Of several in turn that want the same, the first one's call is for all.
            if off && before != Some(to) && given_up.insert(n) {
                wrong.extend(named.iter().position(|name| name == to).map(|u| (n, u)));
            }
            before = off.then_some(to);
        }
        if wrong.is_empty() {
            return;
        }
        for (n, u) in &wrong {
            put_call(card, track, *n, *u);
        }
        let called: BTreeSet<usize> = wrong.iter().map(|w| w.0).collect();
        drop_idle(card, track, &called, wanted);
    }
}

/// The call of an articulation just before a note.
fn put_call(card: &PatchCard, track: &mut WrittenTrack, n: usize, u: usize) {
    let note = track.notes[n].now;
    let channel = card.channel.clamp(1, 16) - 1;
    let at = note.on - 1;
    for one in &card.articulations[u].calls {
        match one.kind {
            CallKind::Key { key, mode, velocity } => {
                let off = if mode == KeyMode::Held { note.off } else { note.on + 1 };
                let now = Sounded { on: at, key, channel, velocity, off };
                let used = String::new();
                track.notes.push(WrittenNote { now, computed: now, who: Who::Call, sent: true, used });
            }
            CallKind::Controller { number, value } => {
                track.rest.push((at, MidiEvent::Controller { channel, number, value }));
            }
            CallKind::Program { program, bank } => {
                for (number, value) in bank.into_iter().flat_map(|b| [(0, b.0), (32, b.1)]) {
                    track.rest.push((at, MidiEvent::Controller { channel, number, value }));
                }
                track.rest.push((at, MidiEvent::Program { channel, program }));
            }
            _ => {}
        }
    }
    track.rest.sort_by_key(|e| e.0);
}

/// Takes out the calling keys that stand between a newly called note and the note before it, and that nothing hears any more.
fn drop_idle(
    card: &PatchCard,
    track: &mut WrittenTrack,
    called: &BTreeSet<usize>,
    wanted: &BTreeMap<usize, String>,
) {
    let events = track.linked();
    let mut idle = Vec::new();
    let mut since: Vec<usize> = Vec::new();
    for n in events.iter().filter_map(|e| e.2) {
        if track.notes[n].who == Who::Call {
            since.push(n);
            continue;
        }
        if called.contains(&n) {
            let at = track.notes[n].now.on - 1;
            idle.extend(since.iter().copied().filter(|c| track.notes[*c].now.on < at));
        }
        since.clear();
    }
    if idle.is_empty() {
        return;
    }
    let settled = |track: &WrittenTrack| -> Vec<bool> {
        let right = |u: Option<usize>, to: &String| {
            u.and_then(|u| card.articulations.get(u)).is_some_and(|a| name_of(&a.name, a.colour) == *to)
        };
        heard(card, track).iter().map(|(n, u)| wanted.get(n).is_none_or(|to| right(*u, to))).collect()
    };
    let before = settled(track);
    idle.iter().for_each(|c| track.notes[*c].sent = false);
    if settled(track) != before {
        idle.iter().for_each(|c| track.notes[*c].sent = true);
    }
}

/// Puts marks onto a computed file. Gives what became of each mark, and the file as it now is, note by note.
pub(crate) fn put(cue: &Cue, out: &mut PatchOutput, marks: &[Mark]) -> (Vec<Fit>, Written) {
    let (mut all, links) = written(cue, out);
    if marks.is_empty() {
        return (Vec::new(), all);
    }
    let (lead, places) = (all.lead, all.axis.clone());
    let before = all.tracks.clone();
    let (fits, called) = ripieno_handwork::apply(&mut all.tracks, &places, lead, marks);
    let clock = cue.score.timeline.clock();
    let seconds = |t: i64| clock.seconds_of(t as f64 / TICKS as f64);
    for (t, track) in all.tracks.iter_mut().enumerate() {
        let own: Vec<&(usize, usize, String)> = called.iter().filter(|c| c.0 == t).collect();
        if *track == before[t] && own.is_empty() {
            continue;
        }
        let mut wanted: BTreeMap<usize, String> = BTreeMap::new();
        for (n, note) in
            track.notes.iter().enumerate().filter(|n| n.1.who != Who::Call && !n.1.used.is_empty())
        {
            wanted.insert(n, note.used.clone());
        }
        own.iter().for_each(|(_, n, name)| drop(wanted.insert(*n, name.clone())));
        if let Some(card) = card(cue, track) {
            call(card, track, &wanted);
        }
        let events = track.events().into_iter().map(|(at, e)| ((at + lead).max(0) as u64, e)).collect();
        out.file.tracks[t + 1].events = events;
        for (n, link) in links[t].iter().enumerate() {
            let (Some(i), note) = (link, &track.notes[n]) else { continue };
            let played = own.iter().find(|c| c.1 == n);
            if *note == before[t].notes[n] && played.is_none() {
                continue;
            }
            let intent: &mut Intent = &mut out.intents[*i];
            let (on, off) = (seconds(note.now.on), seconds(note.now.off));
            if let (Some(was_on), Some(was_off)) = (intent.note_on, intent.note_off) {
                intent.onset = Seconds(intent.onset.0 + on.0 - was_on.0);
                intent.end = Seconds(intent.end.0 + off.0 - was_off.0);
            }
            intent.note_on = note.sent.then_some(on);
            intent.note_off = note.sent.then_some(off);
            (intent.key, intent.velocity, intent.channel) =
                (note.now.key, note.now.velocity, note.now.channel + 1);
            intent.pencil = true;
            let found = card(cue, track)
                .zip(played)
                .and_then(|(c, p)| c.articulations.iter().find(|a| name_of(&a.name, a.colour) == p.2));
            if let Some(a) = found {
                (intent.used, intent.used_colour) = (a.name.clone(), a.colour);
            }
        }
    }
    (fits, all)
}

/// Puts the cue's marks onto what was computed. Gives how they stand, and the file note by note if there are any.
pub(crate) fn onto(cue: &Cue, out: &mut PatchOutput) -> (Vec<Pencilled>, Option<Written>) {
    // A pencil.toml that cannot be read is an error when a cue is opened, and a warning of it while it is being worked on.
    let marks = marks(cue).unwrap_or_default();
    if marks.is_empty() {
        return (Vec::new(), None);
    }
    let (fits, all) = put(cue, out, &marks);
    (told(&marks, &fits, &all.axis), Some(all))
}

fn told(marks: &[Mark], fits: &[Fit], axis: &Axis) -> Vec<Pencilled> {
    let one = |(mark, fit): (&Mark, &Fit)| {
        let (bar, beat) = ripieno_handwork::place_words(mark, axis);
        let Anchor { passage, .. } = &mark.anchor;
        Pencilled {
            id: mark.id,
            chair: mark.chair.clone(),
            passage: passage.clone(),
            bar,
            beat,
            message: ripieno_handwork::words(&mark.what),
            no_longer: match fit {
                Fit::Made => None,
                Fit::NoLonger(why) => Some(why.clone()),
            },
        }
    };
    marks.iter().zip(fits).map(one).collect()
}

/// The marks of a cue and how they stand.
pub fn pencil(cue: &Cue) -> Result<Vec<Pencilled>, CueError> {
    let marks = marks(cue)?;
    let mut out = stages::plain(cue, PerformOptions::default()).patches;
    let (fits, all) = put(cue, &mut out, &marks);
    Ok(told(&marks, &fits, &all.axis))
}

/// Takes marks out: one by its number, or all.
pub fn rub_out(cue: &Cue, id: Option<u32>) -> Result<(), CueError> {
    let mut marks = marks(cue)?;
    let before = marks.len();
    marks.retain(|m| id.is_some_and(|id| m.id != id));
    if let Some(id) = id.filter(|_| marks.len() == before) {
        return Err(CueError::Refused(format!("there is no pencil mark {id}; `ripieno pencil` lists them")));
    }
    keep(cue, &marks)
}
