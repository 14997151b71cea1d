//! The whole file: conductor track, one track a card, lead-in; intents and findings.

use crate::schedule::{self, Item, Timed};
use crate::{ChairPatches, Intent, PatchOutput, Placement, TICKS, TrackSummary, control, reader, select};
use rayon::prelude::*;
use ripieno_formats::midi::{MidiEvent, MidiFile, MidiTrack};
use ripieno_music::{ChairPerformance, Clock, Finding, Metre, Performance, Place, Severity, Timeline};
use ripieno_plan::PatchCard;
use ripieno_units::{Beats, Seconds};
use std::collections::BTreeMap;

/// A heard onset further off than this is late, in seconds.
const LATE: f64 = 0.0009;

struct Built {
    name: String,
    port: Option<String>,
    events: Vec<Timed>,
}

/// What comes out of one chair.
struct Chair {
    built: Vec<Built>,
    intents: Vec<Intent>,
    findings: Vec<Finding>,
    tracks: Vec<TrackSummary>,
}

pub fn play(
    performance: &Performance,
    patches: &[ChairPatches],
    placement: Placement,
    least_lead_in: u32,
) -> PatchOutput {
    let clock = performance.timeline.clock();
    let passages: Vec<i64> = performance.passages.iter().map(|p| schedule::tick(&clock, p.1.0)).collect();
    // Chairs know nothing of each other: side by side, then in their order.
    let chairs: Vec<Chair> = performance
        .chairs
        .par_iter()
        .filter_map(|chair| {
            let set = patches.iter().find(|p| p.chair == chair.chair)?;
            Some(play_chair(chair, set, &clock, &passages, placement))
        })
        .collect();
    let mut built: Vec<Built> = Vec::new();
    let mut intents = Vec::new();
    let mut findings = Vec::new();
    let mut tracks = Vec::new();
    for chair in chairs {
        built.extend(chair.built);
        intents.extend(chair.intents);
        findings.extend(chair.findings);
        tracks.extend(chair.tracks);
    }
    // Whole bars before bar 1, as many as the earliest event needs.
    let timeline = &performance.timeline;
    let earliest = built.iter().flat_map(|b| b.events.iter().map(|e| e.tick)).min().unwrap_or(0);
    let earliest = earliest.min(timeline.start().ticks(TICKS.into()));
    let metre = timeline.bar_at(Beats::ZERO).metre;
    let bar = metre.bar().ticks(TICKS.into()).max(1);
    let lead_in_bars = (((-earliest).max(0) + bar - 1) / bar).max(i64::from(least_lead_in));
    let shift = lead_in_bars * bar;
    let mut file = MidiFile { ticks_per_quarter: TICKS, tracks: vec![conductor(performance, metre, shift)] };
    for track in built {
        let events = track.events.into_iter().map(|e| ((e.tick + shift).max(0) as u64, e.event)).collect();
        file.tracks.push(MidiTrack { name: track.name, port: track.port, events });
    }
    let lead_in = Seconds((-schedule::seconds(&clock, -shift)).max(0.0));
    PatchOutput { file, lead_in, lead_in_bars: lead_in_bars as u32, intents, findings, tracks }
}

/// One chair on all of its cards.
fn play_chair(
    chair: &ChairPerformance,
    set: &ChairPatches,
    clock: &Clock,
    passages: &[i64],
    placement: Placement,
) -> Chair {
    let plays: Vec<Vec<usize>> = chair.gestures.iter().map(|g| select::cards(&set.cards, g)).collect();
    let mut out = Chair { built: Vec::new(), intents: Vec::new(), findings: Vec::new(), tracks: Vec::new() };
    for (number, card) in set.cards.iter().enumerate() {
        let mut items = schedule::items(chair, card, &|g| plays[g].contains(&number));
        if items.is_empty() {
            continue;
        }
        schedule::settle(&mut items, card);
        schedule::place(&mut items, card, clock, placement);
        let mut events = schedule::sequence(&mut items, card, clock, passages);
        let curves = control::events(chair, card, &items, clock);
        let name = if number == 0 { set.track.clone() } else { format!("{}/{}", set.track, number + 1) };
        let control_events = curves.len();
        let busiest_second = busiest(&curves, clock);
        events.extend(curves);
        events.sort_by_key(|e| (e.tick, e.order));
        check(&mut items, card, &events);
        if placement == Placement::Compensated {
            mark_late(&mut items, clock);
        }
        out.tracks.push(TrackSummary {
            chair: chair.chair.clone(),
            track: name.clone(),
            patch: card.patch.clone(),
            used: usage(&items, card),
            control_events,
            busiest_second,
        });
        out.intents.extend(items.iter().map(|item| intent(chair, &name, card, item, clock)));
        out.built.push(Built { name, port: set.port.clone(), events });
    }
    out.intents.sort_by(|a, b| a.onset.total_cmp(&b.onset));
    out.findings = collect(chair, &out.intents, &set.cards);
    out
}

/// What the finished track will do, against what was meant.
fn check(items: &mut [Item], card: &PatchCard, events: &[Timed]) {
    let found = reader::articulations(card, events.iter().map(|e| &e.event));
    // The reader lists note-ons in the order of the events: by tick, then as they were pushed.
    let mut order: Vec<usize> = (0..items.len()).filter(|i| items[*i].sent).collect();
    order.sort_by_key(|i| items[*i].on);
    for (i, used) in order.into_iter().zip(found) {
        if let Some(used) = used.filter(|u| *u != items[i].used) {
            items[i].used = used;
            items[i].findings.push(select::OTHER);
        }
    }
}

fn mark_late(items: &mut [Item], clock: &Clock) {
    for item in items.iter_mut().filter(|i| i.sent) {
        let heard = schedule::seconds(clock, item.on) + item.delay;
        if (heard - item.onset).abs() > LATE {
            item.findings.push(select::LATE);
        }
    }
}

fn usage(items: &[Item], card: &PatchCard) -> Vec<(String, usize, f64)> {
    let mut counts: BTreeMap<usize, usize> = BTreeMap::new();
    for item in items.iter().filter(|i| i.sent) {
        *counts.entry(item.used).or_default() += 1;
    }
    counts
        .into_iter()
        .map(|(used, count)| {
            let a = &card.articulations[used];
            let name = a.colour.map_or(a.name.clone(), |c| format!("{} {}", a.name, c.word()));
            (name, count, a.delays.first.at(64))
        })
        .collect()
}

fn busiest(events: &[Timed], clock: &Clock) -> usize {
    // A curve sent on several channels counts once.
    let mut times: Vec<(i64, u8)> = events
        .iter()
        .filter_map(|e| match e.event {
            MidiEvent::Controller { number, .. } => Some((e.tick, number)),
            _ => None,
        })
        .collect();
    times.sort_unstable();
    times.dedup();
    let seconds: Vec<f64> = times.iter().map(|t| schedule::seconds(clock, t.0)).collect();
    let mut most = 0;
    let mut from = 0;
    for to in 0..seconds.len() {
        while seconds[to] - seconds[from] >= 1.0 {
            from += 1;
        }
        most = most.max(to + 1 - from);
    }
    most
}

fn intent(chair: &ChairPerformance, track: &str, card: &PatchCard, item: &Item, clock: &Clock) -> Intent {
    let used = &card.articulations[item.used];
    Intent {
        chair: chair.chair.clone(),
        track: track.to_string(),
        channel: item.channel + 1,
        place: item.place,
        key: item.key,
        onset: Seconds(item.onset),
        end: Seconds(item.end),
        note_on: item.sent.then(|| Seconds(schedule::seconds(clock, item.on))),
        note_off: item.sent.then(|| Seconds(schedule::seconds(clock, item.off))),
        articulation: item.articulation.clone(),
        colour: item.colour,
        used: used.name.clone(),
        used_colour: used.colour,
        joined: item.joined,
        velocity: item.velocity,
        pencil: false,
        findings: item.findings.clone(),
    }
}

/// One finding for each rule and articulation of a chair, at its first place.
fn collect(chair: &ChairPerformance, intents: &[Intent], cards: &[PatchCard]) -> Vec<Finding> {
    struct Group<'a> {
        first: &'a Intent,
        count: usize,
        to_bar: i32,
    }
    let mut groups: BTreeMap<(&'static str, String), Group<'_>> = BTreeMap::new();
    let no_card = cards.iter().all(|c| c.patch == PatchCard::NO_CARD);
    for intent in intents {
        for rule in &intent.findings {
            if no_card && *rule == select::FALL_BACK {
                continue; // nobody has said what this chair's patch can do
            }
            let asked = describe(&intent.articulation, intent.colour.map(|c| c.word()));
            let group = groups.entry((rule, asked)).or_insert(Group {
                first: intent,
                count: 0,
                to_bar: intent.place.bar,
            });
            group.count += 1;
            group.to_bar = group.to_bar.max(intent.place.bar);
        }
    }
    let patch = cards.first().map_or("", |c| c.patch.as_str());
    groups
        .into_iter()
        .map(|((rule, asked), group)| {
            let Place { bar, beat } = group.first.place;
            let used = describe(&group.first.used, group.first.used_colour.map(|c| c.word()));
            let (message, remedy) = explain(rule, &asked, &used, group.count, patch, group.first);
            Finding {
                rule,
                severity: if rule == select::FALL_BACK { Severity::Advice } else { Severity::Hard },
                chair: chair.chair.clone(),
                bar,
                beat,
                to_bar: group.to_bar,
                message,
                remedy,
                change: None,
                source: "the chair's patch card",
            }
        })
        .collect()
}

fn describe(name: &str, colour: Option<&str>) -> String {
    colour.map_or(name.to_string(), |c| format!("{name} {c}"))
}

fn explain(
    rule: &str,
    asked: &str,
    used: &str,
    count: usize,
    patch: &str,
    first: &Intent,
) -> (String, String) {
    let notes = if count == 1 { "1 note".to_string() } else { format!("{count} notes") };
    let ask = if count == 1 { "asks" } else { "ask" };
    match rule {
        select::FALL_BACK => (
            format!("{notes} {ask} for {asked}; the patch “{patch}” has none, {used} is played"),
            format!("add an articulation {asked} to the card, or name one in `instead`"),
        ),
        select::KEY => (
            format!(
                "{notes} of key {} and others lie outside what the patch “{patch}” sounds; not sent",
                first.key
            ),
            "widen `sounding` in the card, or change the octave in the cell".into(),
        ),
        select::TWO => (
            format!(
                "{notes} {ask} for {asked} where the patch can do one thing at a time; {used} is played, or the top note alone"
            ),
            "give the chair a second card, or call this articulation by channel or velocity".into(),
        ),
        select::NO_RETURN => (
            format!(
                "{notes} {ask} for the articulation without call after another was latched; {used} is played"
            ),
            "give that articulation a call of its own in the card".into(),
        ),
        select::LATE => (
            format!(
                "{notes} so close to the one before that the patch's delay cannot be made up: heard late"
            ),
            "lessen `speaks-after-ms`, or choose a quicker articulation for this run".into(),
        ),
        select::REPEAT => (
            format!("{notes} repeated quicker than the patch can"),
            "choose an articulation for repeated notes, or let two chairs alternate".into(),
        ),
        _ => (
            format!("{notes} {ask} for {asked}, but the calls of the card lead to {used}"),
            "look at the card's calls: velocities or a channel leave no room for this articulation".into(),
        ),
    }
}

/// Tempo, metre, keys and markers. `shift` is the lead-in in ticks.
fn conductor(performance: &Performance, lead_metre: Metre, shift: i64) -> MidiTrack {
    let timeline: &Timeline = &performance.timeline;
    let at = |beats: Beats| (beats.ticks(TICKS.into()) + shift).max(0) as u64;
    let metre_event = |m: Metre| MidiEvent::Metre {
        beats: m.beats.min(255) as u8,
        unit_power: m.unit.max(1).trailing_zeros().min(255) as u8,
    };
    let mut events: Vec<(u64, u8, MidiEvent)> = vec![(0, 1, metre_event(lead_metre))];
    let mut now = lead_metre;
    let pick_up = timeline.start() < Beats::ZERO;
    for bar in timeline.bars.iter().filter(|b| !(pick_up && b.at < Beats::ZERO)) {
        if bar.metre != now {
            now = bar.metre;
            events.push((at(bar.at), 1, metre_event(now)));
        }
    }
    let mut tempo = timeline.tempo_at(timeline.start().min(Beats::ZERO)).micros;
    events.push((0, 0, MidiEvent::Tempo(tempo)));
    for change in &timeline.tempi {
        if change.micros != tempo && change.at > timeline.start() {
            tempo = change.micros;
            events.push((at(change.at), 0, MidiEvent::Tempo(tempo)));
        }
    }
    for key in &timeline.keys {
        events.push((at(key.at), 2, MidiEvent::Key { fifths: key.fifths.clamp(-7, 7), minor: key.minor }));
    }
    events.push((at(Beats::ZERO), 3, MidiEvent::Marker("bar 1".into())));
    let clock = timeline.clock();
    for (name, seconds, _) in &performance.passages {
        let tick = (schedule::tick(&clock, seconds.0) + shift).max(0) as u64;
        events.push((tick, 4, MidiEvent::Marker(name.clone())));
    }
    events.sort_by_key(|e| (e.0, e.1));
    MidiTrack {
        name: "conductor".into(),
        port: None,
        events: events.into_iter().map(|e| (e.0, e.2)).collect(),
    }
}
