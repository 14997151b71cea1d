//! A source that was played: reading it by the plan's `[source]`, and proposing that section for a new cue.

use ripieno_discovery::played;
use ripieno_instruments::{Query, recognise};
use ripieno_music::{Content, Note, Played, Score, TimeMarkKind, Track};
use ripieno_patches::read_back::{self, PlayedTrack};
use ripieno_plan::{ChairPlan, PatchCard, SourcePlan, SourceTrack, Template};
use ripieno_units::Seconds;
use std::collections::BTreeMap;
use std::fmt::Write;

/// The same note on two layered cards begins within this, in seconds.
const LAYERED: f64 = 0.030;

/// A source, read as what was found of it proposes.
pub(crate) struct Heard {
    pub score: Score,
    /// What `[source]` is to say.
    pub plan: SourcePlan,
    /// The chair of the template that each track is; none for a track that is no chair of it.
    pub chairs: Vec<Option<String>>,
    pub remarks: Vec<String>,
}

/// Reads a source that may have been played, through the cards of the composer's template where there is one.
pub(crate) fn hear(score: Score, own: Option<(&Template, &BTreeMap<String, Vec<PatchCard>>)>) -> Heard {
    let plan = propose(&score, own);
    let none = (Template::default(), BTreeMap::new());
    let (template, cards) = own.unwrap_or((&none.0, &none.1));
    let (score, remarks) = apply(score, &plan, template, cards);
    let chair = |t: &Track| plan.tracks.iter().find_map(|p| p.chair.clone().filter(|c| *c == t.id));
    let chairs = score.tracks.iter().map(chair).collect();
    Heard { score, plan, chairs, remarks }
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
    let mut tracks: Vec<Track> = Vec::new();
    let mut done = vec![false; source.tracks.len()];
    // The card of each note's track, to find what is there twice.
    let mut layered: BTreeMap<String, Vec<Note>> = BTreeMap::new();
    for (i, track) in score.tracks.iter().enumerate() {
        let Some(entry) = of_track[i] else {
            tracks.push(track.clone());
            continue;
        };
        if std::mem::replace(&mut done[entry], true) {
            continue;
        }
        let one = &source.tracks[entry];
        let indices: Vec<usize> = (i..score.tracks.len()).filter(|k| of_track[*k] == Some(entry)).collect();
        let chair = one.chair.as_deref().and_then(|id| template.chairs.iter().find(|c| c.id == id));
        let card = chair
            .and_then(|c| cards.get(&c.id))
            .and_then(|all| one.card.checked_sub(1).and_then(|n| all.get(n)));
        let content = match card {
            Some(card) => through_card(&score, one, indices, card, chair, &mut remarks),
            None => by_switches(&score, one, &indices),
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
    let clock = score.timeline.clock();
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
    score.tracks = tracks;
    if source.played {
        let (notated, said) = played::notate(&score);
        score = notated;
        remarks.extend(said);
        played::trim(&mut score);
    }
    (score, remarks)
}

fn through_card(
    score: &Score,
    one: &SourceTrack,
    tracks: Vec<usize>,
    card: &PatchCard,
    chair: Option<&ChairPlan>,
    remarks: &mut Vec<String>,
) -> Content {
    let before = one.playing.as_deref().and_then(|p| {
        let same = |a: &ripieno_plan::ArticulationCard, colour: bool| {
            a.name == p && (a.colour.is_none() || colour)
                || a.colour.is_some_and(|c| format!("{} {}", a.name, c.word()) == p || c.word() == p)
        };
        let find = |colour| card.articulations.iter().position(|a| same(a, colour));
        find(false).or_else(|| find(true))
    });
    let unpitched =
        chair.and_then(|c| ripieno_instruments::by_id(&c.instrument)).is_some_and(|i| i.unpitched);
    let read = read_back::read_back(score, &PlayedTrack { tracks, card, before, unpitched });
    let notes = read.content.notes.len();
    if read.undecided > 0 {
        let first = card.articulations.first().map_or("", |a| a.name.as_str());
        remarks.push(format!(
            "\"{}\": before {} of its {notes} notes the patch \"{}\" is called to nothing; taken for {first}. `playing` in \
             [source.tracks] says what they are",
            one.track, read.undecided, card.patch
        ));
    }
    if read.outside > 0 {
        remarks.push(format!(
            "\"{}\": {} of its {notes} notes lie outside what the patch \"{}\" sounds; they were kept. Are they switches that the \
             card does not name?",
            one.track, read.outside, card.patch
        ));
    }
    read.content
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
            playing = name.clone().or(if name.is_none() { None } else { playing });
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

/// What a new cue's `[source]` is to say. `template` with its cards, where the composer has one.
pub(crate) fn propose(
    score: &Score,
    template: Option<(&Template, &BTreeMap<String, Vec<PatchCard>>)>,
) -> SourcePlan {
    let mut plan = SourcePlan::default();
    // Files of this program say where bar 1 is.
    let bar_one = score
        .timeline
        .marks
        .iter()
        .find(|m| m.kind == TimeMarkKind::Marker && m.text.trim().eq_ignore_ascii_case("bar 1"));
    if let Some(mark) = bar_one
        && let Some(i) = score.timeline.bars.iter().position(|b| b.at == mark.at)
    {
        plan.lead_in = u32::try_from(i).unwrap_or(0);
    }
    plan.played = played::is_played_score(score);
    let mut named: Vec<&str> = Vec::new();
    for track in score.tracks.iter().filter(|t| !t.content.notes.is_empty()) {
        let name = track.name.trim();
        if name.is_empty() || named.contains(&name) {
            continue;
        }
        if let Some((template, cards)) = template
            && let Some((chair, card, playing)) = seat(track, score, template, cards)
        {
            named.push(name);
            // What is written and not played has no calls, and lies on the beat.
            let through = plan.played || plan.lead_in > 0;
            plan.tracks.push(SourceTrack {
                track: name.to_string(),
                chair: Some(chair),
                card: if through { card } else { 0 },
                playing: playing.filter(|_| through),
                ..SourceTrack::default()
            });
        }
    }
    if !plan.played {
        return plan;
    }
    let switches = played::switches(score);
    let merges = if template.is_none() { played::merges(score) } else { Vec::new() };
    for (index, track) in score.tracks.iter().enumerate() {
        let name = track.name.trim();
        if name.is_empty() || named.contains(&name) || track.content.notes.is_empty() {
            continue;
        }
        let mut one = SourceTrack { track: name.to_string(), ..SourceTrack::default() };
        for merge in &merges {
            if let Some((_, playing)) = merge.tracks.iter().find(|t| t.0 == index) {
                one.chair = Some(merge.chair.clone());
                one.playing = playing.first().cloned();
            }
        }
        for found in switches.iter().filter(|s| s.track == index) {
            if let Ok(key) = u8::try_from(found.key) {
                one.switches.push((key, found.meaning.map(str::to_string)));
            }
        }
        if let Some(delay) = played::early(score, &track.content) {
            one.delay_ms = (delay * 1000.0).round();
        }
        if one != (SourceTrack { track: name.to_string(), ..SourceTrack::default() }) {
            named.push(name);
            plan.tracks.push(one);
        }
    }
    plan
}

/// The chair that plays a track, the number of its card, and what the track's name says of its playing.
fn seat(
    track: &Track,
    score: &Score,
    template: &Template,
    cards: &BTreeMap<String, Vec<PatchCard>>,
) -> Option<(String, usize, Option<String>)> {
    let name = track.name.trim().to_lowercase();
    let word = |c: &ChairPlan| c.track.clone().unwrap_or_else(|| c.id.clone()).trim().to_lowercase();
    // By the name itself, else by the longest beginning, else by what instrument it names.
    let begins = |c: &&ChairPlan| {
        name.strip_prefix(&word(c)).is_some_and(|r| !r.starts_with(|l: char| l.is_alphanumeric() || l == '-'))
    };
    let guess = guess(&track.name);
    let chair = template.chairs.iter().find(|c| word(c) == name);
    let chair = chair.or_else(|| template.chairs.iter().filter(begins).max_by_key(|c| word(c).len()));
    let chair = chair.or_else(|| {
        let stem = &guess.as_ref()?.chair;
        let means = |text: &str| self::guess(text).is_some_and(|g| g.chair == *stem);
        let all = &template.chairs;
        all.iter().find(|c| c.id == *stem).or_else(|| {
            all.iter().find(|c| means(&word(c)) || c.name.as_deref().is_some_and(means) || means(&c.id))
        })
    })?;
    let rest = name.strip_prefix(&word(chair)).unwrap_or("");
    let words = guess.map(|g| g.articulations).unwrap_or_default();
    let own = cards.get(&chair.id).map_or(&[][..], Vec::as_slice);
    let has = |c: &PatchCard, w: &str| {
        c.articulations.iter().any(|a| a.name == w || a.colour.is_some_and(|k| k.word() == w))
    };
    // `/2` is how this program names the track of a second card.
    let number: Option<usize> = rest
        .strip_prefix('/')
        .and_then(|r| r.split(|c: char| !c.is_ascii_digit()).next().and_then(|n| n.parse().ok()));
    let number = number.filter(|n| (1..=own.len()).contains(n)).or_else(|| {
        let by_name = words.iter().find_map(|w| own.iter().position(|c| has(c, w)));
        by_name.map(|n| n + 1)
    });
    let number = number.unwrap_or(usize::from(!own.is_empty()));
    // What follows the chair's name may be the card's own word, one that no score has.
    let spoken = rest.trim_matches(|c: char| !c.is_alphanumeric()).trim();
    let card = number.checked_sub(1).and_then(|n| own.get(n));
    let written = card.and_then(|c| {
        let full = |a: &ripieno_plan::ArticulationCard| {
            a.colour.map_or(a.name.clone(), |k| format!("{} {}", a.name, k.word()))
        };
        c.articulations.iter().map(full).find(|n| *n == spoken)
    });
    let _ = score;
    Some((chair.id.clone(), number, written.or_else(|| words.first().cloned())))
}

fn guess(name: &str) -> Option<ripieno_instruments::Guess> {
    recognise(&Query { name, ..Query::default() })
}

/// `[source]` as text for `cue.toml`; empty where there is nothing to say.
pub(crate) fn text(plan: &SourcePlan) -> String {
    let mut text = String::new();
    if plan.is_empty() {
        return text;
    }
    if plan.played {
        text.push_str("\n[performance]\nkeep     = [\"timing\", \"velocity\"]   # as it was played; the parts have the notated places\n");
    }
    text.push_str("\n# How the music is read: it was played or performed, not written.\n[source]\n");
    let _ = writeln!(text, "played   = {}", plan.played);
    if plan.lead_in > 0 {
        let _ = writeln!(text, "lead-in  = {}   # bars of the file before bar 1", plan.lead_in);
    }
    if !plan.tracks.is_empty() {
        text.push_str(
            "\n# Tracks that one chair plays, the card each was played on, what its name says of its playing; keys that call and \
             are not heard.\n[source.tracks]\n",
        );
    }
    for one in &plan.tracks {
        let mut parts: Vec<String> = Vec::new();
        parts.extend(one.chair.iter().map(|c| format!("chair = {}", quoted(c))));
        if one.card > 0 {
            parts.push(format!("card = {}", one.card));
        }
        parts.extend(one.playing.iter().map(|p| format!("playing = {}", quoted(p))));
        if one.delay_ms != 0.0 {
            parts.push(format!("delay-ms = {}", one.delay_ms));
        }
        if !one.switches.is_empty() {
            let keys: Vec<String> = one
                .switches
                .iter()
                .map(|(key, name)| {
                    format!("\"{}\" = {}", key_name(*key), quoted(name.as_deref().unwrap_or("?")))
                })
                .collect();
            parts.push(format!("switches = {{ {} }}", keys.join(", ")));
        }
        let _ = writeln!(text, "{} = {{ {} }}", quoted(&one.track), parts.join(", "));
    }
    text
}

fn key_name(key: u8) -> String {
    const NAMES: [&str; 12] = ["C", "C#", "D", "D#", "E", "F", "F#", "G", "G#", "A", "A#", "B"];
    format!("{}{}", NAMES[usize::from(key % 12)], i16::from(key / 12) - 1)
}

fn quoted(text: &str) -> String {
    let mut out = String::from("\"");
    for c in text.chars() {
        match c {
            '"' | '\\' => out.extend(['\\', c]),
            c if c.is_control() => {
                let _ = write!(out, "\\u{:04X}", u32::from(c));
            }
            c => out.push(c),
        }
    }
    out.push('"');
    out
}
