//! A source that was played, read as the plan's `[source]` says.

use ripieno_discovery::played;
use ripieno_music::{Content, Note, Played, Score, Track};
use ripieno_patches::read_back::{self, PlayedTrack};
use ripieno_performance::Nature;
use ripieno_plan::{ChairPlan, PatchCard, SourcePlan, SourceTrack, Template};
use ripieno_units::Seconds;
use std::collections::BTreeMap;

/// The same note on two layered cards begins within this, in seconds.
const LAYERED: f64 = 0.030;
/// How often it is asked which notes were joined: first of the beat alone, then of what all lines were found to play.
const ROUNDS: usize = 3;

/// A source with what is to be read of it.
struct Source<'a> {
    score: &'a Score,
    plan: &'a SourcePlan,
    template: &'a Template,
    cards: &'a BTreeMap<String, Vec<PatchCard>>,
    /// The entry of `[source.tracks]` that each track falls under.
    of_track: Vec<Option<usize>>,
}

/// Reads the music as `[source]` says: bars before bar 1, calls and delays of cards, switches, tracks of one chair, notated
/// places. Remarks are in words.
pub(crate) fn apply(
    score: Score,
    source: &SourcePlan,
    template: &Template,
    cards: &BTreeMap<String, Vec<PatchCard>>,
) -> (Score, Vec<String>) {
    if source.is_empty() {
        return (score, Vec::new());
    }
    let mut score = score;
    let mut remarks = Vec::new();
    played::count_from(&mut score, source.lead_in);
    let mut of_track: Vec<Option<usize>> = vec![None; score.tracks.len()];
    for (entry, one) in source.tracks.iter().enumerate() {
        let wanted = one.track.trim().to_lowercase();
        let same = |t: &Track| t.name.trim().to_lowercase() == wanted || t.id == one.track;
        let mut any = false;
        for (i, track) in score.tracks.iter().enumerate() {
            if of_track[i].is_none() && same(track) {
                (of_track[i], any) = (Some(entry), true);
            }
        }
        if !any {
            remarks.push(format!(
                "[source.tracks] names \"{}\", but no track with notes has that name; look at the spelling",
                one.track
            ));
        }
    }
    let whole = Source { score: &score, plan: source, template, cards, of_track };
    let mut ground = played::Ground::bare(&score.timeline);
    let (mut tracks, mut said) = whole.tracks(&ground);
    // Where notes are heard says which of them were joined, and that says where they are heard.
    let rounds = if source.played && whole.joins() { ROUNDS } else { 1 };
    for _ in 1..rounds {
        ground = played::ground(&Score { tracks, ..score.clone() });
        (tracks, said) = whole.tracks(&ground);
    }
    remarks.extend(said);
    score.tracks = tracks;
    if source.played {
        let (notated, said) = played::notate(&score);
        score = notated;
        remarks.extend(said);
        played::trim(&mut score);
        played::trim_end(&mut score);
    }
    (score, remarks)
}

impl Source<'_> {
    fn card(&self, one: &SourceTrack) -> Option<&PatchCard> {
        let id = one.chair.as_deref()?;
        self.template.chairs.iter().find(|c| c.id == id)?;
        self.cards.get(id)?.get(one.card.checked_sub(1)?)
    }

    /// Does a card have a delay of its own for joined notes?
    fn joins(&self) -> bool {
        let cards = self.plan.tracks.iter().filter_map(|one| self.card(one));
        cards.flat_map(|c| &c.articulations).any(|a| a.delays.first != a.delays.joined)
    }

    /// The tracks as they are heard, those of one chair together.
    fn tracks(&self, ground: &played::Ground) -> (Vec<Track>, Vec<String>) {
        let score = self.score;
        let mut remarks = Vec::new();
        let mut tracks: Vec<Track> = Vec::new();
        let mut done = vec![false; self.plan.tracks.len()];
        // Notes of cards that are layered, to find what is there twice.
        let mut layered: BTreeMap<String, Vec<Note>> = BTreeMap::new();
        for (i, track) in score.tracks.iter().enumerate() {
            let Some(entry) = self.of_track[i] else {
                tracks.push(track.clone());
                continue;
            };
            if done[entry] {
                continue;
            }
            let one = &self.plan.tracks[entry];
            let card = self.card(one);
            // What is played on one patch is read together: a note may be joined to one of another track.
            let same = |k: usize| {
                let other = &self.plan.tracks[k];
                k == entry || card.is_some() && (&other.chair, other.card) == (&one.chair, one.card)
            };
            let entries: Vec<usize> = (0..done.len()).filter(|k| !done[*k] && same(*k)).collect();
            entries.iter().for_each(|k| done[*k] = true);
            let content = match card {
                Some(card) => self.through_card(&entries, card, ground, &mut remarks),
                None => by_switches(score, one, &self.of_entry(entry)),
            };
            let Some(id) = &one.chair else {
                tracks.push(Track { content, ..track.clone() });
                continue;
            };
            if card.is_some_and(|c| c.layered) {
                layered.entry(id.clone()).or_default().extend(content.notes);
                continue;
            }
            match tracks.iter_mut().find(|t| t.id == *id) {
                Some(track) => {
                    track.content.notes.extend(content.notes);
                    track.content.directions.extend(content.directions);
                    track.content.controls.extend(content.controls);
                    track.content.sort();
                }
                None => tracks.push(Track {
                    id: id.clone(),
                    name: id.clone(),
                    percussion: track.percussion,
                    program: track.program,
                    content,
                    ..Track::default()
                }),
            }
        }
        self.lay(layered, &mut tracks);
        (tracks, remarks)
    }

    /// Indices of the tracks that fall under an entry.
    fn of_entry(&self, entry: usize) -> Vec<usize> {
        (0..self.of_track.len()).filter(|k| self.of_track[*k] == Some(entry)).collect()
    }

    /// Adds what layered cards play and their chair does not have yet.
    fn lay(&self, layered: BTreeMap<String, Vec<Note>>, tracks: &mut Vec<Track>) {
        let clock = self.score.timeline.clock();
        for (id, notes) in layered {
            let Some(track) = tracks.iter_mut().find(|t| t.id == id) else {
                let content = Content { notes, ..Content::default() };
                tracks.push(Track { id: id.clone(), name: id, content, ..Track::default() });
                continue;
            };
            for note in notes {
                let near = |other: &Note| {
                    other.kind == note.kind
                        && (clock.seconds(other.at).0 - clock.seconds(note.at).0).abs() < LAYERED
                };
                if !track.content.notes.iter().any(near) {
                    track.content.notes.push(note);
                }
            }
            track.content.sort();
        }
    }

    fn through_card(
        &self,
        entries: &[usize],
        card: &PatchCard,
        ground: &played::Ground,
        remarks: &mut Vec<String>,
    ) -> Content {
        let plans = || entries.iter().map(|k| (*k, &self.plan.tracks[*k]));
        let id = plans().find_map(|(_, one)| one.chair.as_deref()).unwrap_or("");
        let chair: Option<&ChairPlan> = self.template.chairs.iter().find(|c| c.id == id);
        let instrument = chair.and_then(|c| ripieno_instruments::by_id(&c.instrument));
        let unpitched = instrument.is_some_and(|i| i.unpitched);
        let holds = instrument.is_none_or(|i| Nature::of(i).sustains());
        let played: Vec<PlayedTrack<'_>> = plans()
            .map(|(k, one)| PlayedTrack {
                tracks: self.of_entry(k),
                card,
                before: one.playing.as_deref().and_then(|p| spoken(card, p)),
                unpitched,
                holds,
            })
            .collect();
        let likely = |at: f64| ground.likely(id, at);
        let ground = read_back::Ground { spread: ground.spread, likely: &likely };
        let read = read_back::read_back(self.score, &played, &ground);
        let notes = read.content.notes.len();
        let names = plans().map(|(_, one)| format!("\"{}\"", one.track)).collect::<Vec<_>>().join(", ");
        if read.undecided > 0 {
            let first = card.articulations.first().map_or("", |a| a.name.as_str());
            remarks.push(format!(
                "{names}: before {} of its {notes} notes the patch \"{}\" is called to nothing; taken for {first}. `playing` in \
                 [source.tracks] says what they are",
                read.undecided, card.patch
            ));
        }
        if read.outside > 0 {
            remarks.push(format!(
                "{names}: {} of its {notes} notes lie outside what the patch \"{}\" sounds; they were kept. Are they switches \
                 that the card does not name?",
                read.outside, card.patch
            ));
        }
        read.content
    }
}

/// The articulation of a card that a track's name says.
fn spoken(card: &PatchCard, playing: &str) -> Option<usize> {
    let same = |a: &ripieno_plan::ArticulationCard, colour: bool| {
        a.name == playing && (a.colour.is_none() || colour)
            || a.colour.is_some_and(|c| format!("{} {}", a.name, c.word()) == playing || c.word() == playing)
    };
    let find = |colour| card.articulations.iter().position(|a| same(a, colour));
    find(false).or_else(|| find(true))
}

/// Without a card: switches leave the notes and name what follows, the delay is taken out.
fn by_switches(score: &Score, one: &SourceTrack, tracks: &[usize]) -> Content {
    let clock = score.timeline.clock();
    let mut out = Content::default();
    let switch = |note: &Note| {
        let key = note.pitch()?.key;
        one.switches.iter().find(|s| i16::from(s.0) == key)
    };
    let mut playing = one.playing.clone();
    let all = tracks.iter().filter_map(|i| score.tracks.get(*i));
    let mut notes: Vec<&Note> = all.clone().flat_map(|t| &t.content.notes).collect();
    notes.sort_by_key(|n| (n.at, switch(n).is_none()));
    for note in notes {
        if let Some((_, name)) = switch(note) {
            // A key that nobody knows the meaning of leaves what the track's name says.
            playing = name.clone().or_else(|| one.playing.clone());
            continue;
        }
        let mut note = note.clone();
        if one.delay_ms != 0.0 {
            let later = |at: ripieno_units::Beats| {
                let seconds = clock.seconds(at).0 + one.delay_ms / 1000.0;
                ripieno_units::Beats::approximate(clock.quarters(Seconds(seconds)))
            };
            let end = later(note.end());
            note.at = later(note.at);
            note.length = (end - note.at).max(ripieno_units::Beats::new(1, 960));
        }
        note.played = Some(Played { at: note.at, length: note.length });
        if let Some(name) = &playing {
            read_back::put(&mut note, name);
        }
        out.notes.push(note);
    }
    for track in all {
        out.directions.extend(track.content.directions.iter().cloned());
        out.controls.extend(track.content.controls.iter().copied());
    }
    out.sort();
    out
}

#[cfg(test)]
mod tests {
    use super::*;
    use ripieno_formats::midi::{self, MidiEvent, MidiFile, MidiTrack};
    use ripieno_plan::{ArticulationCard, Call, CallKind, DelayCurve, Delays, KeyMode};
    use ripieno_units::Chance;

    /// Anything that a MIDI file can hold: tempi from 1 µs to 16 s a quarter, metres, releases without notes, notes without
    /// release, text where nobody expects it.
    fn file(chance: &mut Chance) -> MidiFile {
        let mut tracks = Vec::new();
        for t in 0..1 + chance.below(5) {
            let mut now = 0u64;
            let mut events = Vec::new();
            for _ in 0..chance.below(120) {
                now += [0, 1, 3, 60, 240, 480, 5000][chance.below(7)];
                let (channel, key) = (chance.below(16) as u8, chance.below(128) as u8);
                let value = chance.below(128) as u8;
                events.push((
                    now,
                    match chance.below(if t == 0 { 12 } else { 9 }) {
                        0..=3 => MidiEvent::NoteOn { channel, key, velocity: value },
                        4..=5 => MidiEvent::NoteOff { channel, key, velocity: value },
                        6 => MidiEvent::Controller { channel, number: key, value },
                        7 => MidiEvent::Program { channel, program: value },
                        8 => MidiEvent::Lyric("la".into()),
                        9 => MidiEvent::Tempo([1, 20_000, 400_000, 612_345, 16_777_215][chance.below(5)]),
                        10 => MidiEvent::Metre { beats: 1 + value % 17, unit_power: key % 6 },
                        _ => MidiEvent::Marker("bar 1".into()),
                    },
                ));
            }
            let name =
                ["Violin 1", "VN1 leg", "VN1 spicc", "", "Timpani", "Horn 1 con sord"][chance.below(6)];
            tracks.push(MidiTrack { name: name.into(), port: None, events });
        }
        MidiFile { ticks_per_quarter: [1, 96, 480, 3840][chance.below(4)], tracks }
    }

    fn card(chance: &mut Chance) -> PatchCard {
        let mut card = PatchCard::plain("violin");
        card.one_voice = chance.below(2) == 0;
        card.layered = chance.below(5) == 0;
        card.transpose = [0, 12, -12][chance.below(3)];
        card.articulations.clear();
        for name in ["legato", "staccato", "tremolo", "trill-1", "pizzicato"].iter().take(1 + chance.below(5))
        {
            let curve = |chance: &mut Chance| DelayCurve {
                pairs: (0..chance.below(3)).map(|i| (1 + 60 * i as u8, chance.between(0.0, 250.0))).collect(),
            };
            let kind = match chance.below(5) {
                0 => CallKind::Key { key: chance.below(128) as u8, mode: KeyMode::Latch, velocity: 1 },
                1 => CallKind::Key { key: chance.below(128) as u8, mode: KeyMode::Held, velocity: 1 },
                2 => CallKind::Controller { number: chance.below(128) as u8, value: chance.below(128) as u8 },
                3 => CallKind::Program { program: chance.below(128) as u8, bank: None },
                _ => CallKind::Velocity { low: 1, high: 1 + chance.below(127) as u8 },
            };
            card.articulations.push(ArticulationCard {
                name: (*name).into(),
                calls: if chance.below(4) == 0 { Vec::new() } else { vec![Call { kind }] },
                delays: Delays { first: curve(chance), joined: curve(chance) },
                overlap_ms: chance.between(-50.0, 80.0),
                ..PatchCard::plain("violin").articulations[0].clone()
            });
        }
        card
    }

    #[test]
    fn keys_that_call_are_found_in_music_set_on_the_grid() {
        let on = |at: u64, key, length: u64| {
            [
                (at, MidiEvent::NoteOn { channel: 0, key, velocity: 80 }),
                (at + length, MidiEvent::NoteOff { channel: 0, key, velocity: 64 }),
            ]
        };
        let track = |name: &str, call: Option<u8>, low: u8, from: u64| {
            let call = call.into_iter().flat_map(|key| on(from - 60, key, 40));
            let notes = (0..16).flat_map(|i| on(from + 480 * i, low + [0, 4, 7][(i % 3) as usize], 480));
            let mut events: Vec<(u64, MidiEvent)> = call.chain(notes).collect();
            events.sort_by_key(|e| e.0);
            MidiTrack { name: name.into(), port: None, events }
        };
        let read = |tracks: Vec<MidiTrack>| {
            let score = midi::read(&midi::write(&MidiFile { ticks_per_quarter: 480, tracks })).unwrap();
            crate::source::hear(score, None)
        };
        let heard = read(vec![
            track("Violins 1 Legato", Some(24), 67, 480),
            track("Violins 1 Tremolo", Some(26), 67, 480 * 20),
            track("Cellos", None, 43, 480),
        ]);
        assert!(!heard.plan.played, "{:?}", heard.plan);
        let found: Vec<(&str, usize)> =
            heard.score.tracks.iter().map(|t| (t.id.as_str(), t.content.notes.len())).collect();
        assert_eq!(found.len(), 2, "{found:?}");
        assert_eq!((found[0], found[1].1), (("violins-1", 32), 16));
        // The track's name says more than the guess of what a key means.
        let shaken = heard.score.tracks[0].content.notes.iter().filter(|n| n.tremolo.is_some()).count();
        assert_eq!(shaken, 16);
        // Low notes of a careless writer are no calls: long, or near the others.
        for (key, length) in [(24, 480), (54, 40)] {
            let mut careless = track("Violins 1", None, 67 - 12, 480 * 4);
            careless.events.splice(0..0, on(480 * 4 - 480, key, length));
            assert_eq!(read(vec![careless]).score.tracks[0].content.notes.len(), 17, "{key}");
        }
    }

    #[test]
    fn no_midi_file_and_no_card_stops_the_reading() {
        // A file with its cards takes a quarter of a second.
        let cases = std::env::var("RIPIENO_CASES").ok().and_then(|c| c.parse().ok()).unwrap_or(1000u64) / 20;
        let (mut read, mut notes) = (0, 0);
        for case in 0..cases {
            let mut chance = Chance::named(case, &["any MIDI file"]);
            let Ok(score) = midi::read(&midi::write(&file(&mut chance))) else { continue };
            let chair = ChairPlan {
                id: "violins-1".into(),
                instrument: "violin".into(),
                track: Some("VN1".into()),
                ..ChairPlan::default()
            };
            let template = Template { chairs: vec![chair], ..Template::default() };
            let cards =
                BTreeMap::from([("violins-1".to_string(), vec![card(&mut chance), card(&mut chance)])]);
            for own in [None, Some((&template, &cards))] {
                let mut plan = crate::source::propose(&score, own);
                // Also what was not played is asked to be read so.
                plan.played = true;
                plan.lead_in = chance.below(3) as u32;
                let (found, _) = apply(score.clone(), &plan, &template, &cards);
                read += 1;
                notes += found.tracks.iter().map(|t| t.content.notes.len()).sum::<usize>();
                for note in found.tracks.iter().flat_map(|t| &t.content.notes) {
                    assert!(note.length.is_positive(), "case {case}: a note without length");
                }
            }
        }
        // What is drawn must reach the reading.
        assert!(read as u64 > cases && notes as u64 > 10 * cases, "{read} files with {notes} notes");
    }
}
