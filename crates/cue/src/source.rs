//! A source that was played: proposing the plan's `[source]` for a new cue.

use ripieno_discovery::played;
use ripieno_instruments::{Query, recognise};
use ripieno_music::{Score, TimeMarkKind, Track};
use ripieno_plan::{ChairPlan, PatchCard, SourcePlan, SourceTrack, Template, quoted};
use std::collections::BTreeMap;
use std::fmt::Write;

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
    let (score, remarks) = crate::source_read::apply(score, &plan, template, cards);
    let chair = |t: &Track| plan.tracks.iter().find_map(|p| p.chair.clone().filter(|c| *c == t.id));
    let chairs = score.tracks.iter().map(chair).collect();
    Heard { score, plan, chairs, remarks }
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
    // Set on the grid by hand or machine, and for patches all the same: keys that call, several tracks for one chair.
    let set =
        !plan.played && score.tracks.iter().all(|t| t.content.notes.iter().all(|n| n.written.is_none()));
    if !plan.played && !set {
        return plan;
    }
    let mut switches = played::switches(score);
    switches.retain(|found| plan.played || found.clear);
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
                // What the track's name says is surer than a guess.
                let guess = found.meaning.filter(|_| one.playing.is_none());
                one.switches.push((key, guess.map(str::to_string)));
            }
        }
        if plan.played
            && let Some(delay) = played::early(score, &track.content)
        {
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
    // A sketch says what is played, and not who plays it: the bass line is no bass.
    let sketched = ripieno_music::names_a_line(&name);
    let guess = guess(&track.name).filter(|_| !sketched);
    // By the name itself, else by the longest beginning, else by what instrument it names.
    let begins = |c: &&ChairPlan| {
        !sketched
            && name
                .strip_prefix(&word(c))
                .is_some_and(|r| !r.starts_with(|l: char| l.is_alphanumeric() || l == '-'))
    };
    let chair = template.chairs.iter().find(|c| word(c) == name);
    let chair = chair.or_else(|| template.chairs.iter().filter(begins).max_by_key(|c| word(c).len()));
    let chair = chair.or_else(|| {
        let stem = &guess.as_ref()?.chair;
        let means = |text: &str| self::guess(text).is_some_and(|g| g.chair == *stem);
        let all = &template.chairs;
        all.iter().find(|c| c.id == *stem).or_else(|| {
            all.iter().find(|c| means(&word(c)) || c.name.as_deref().is_some_and(means) || means(&c.id))
        })
    });
    let chair = chair.or_else(|| only_one(template, guess.as_ref()?))?;
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

/// The only chair of the instrument that is named, or of the same in another key (`trumpet-d`, a `trumpet`).
fn only_one<'a>(template: &'a Template, guess: &ripieno_instruments::Guess) -> Option<&'a ChairPlan> {
    if guess.solo || guess.certainty != ripieno_instruments::Certainty::Sure {
        return None;
    }
    let exact = |c: &&ChairPlan| c.instrument == guess.instrument.id;
    let near = |c: &&ChairPlan| plain(&c.instrument) == plain(&guess.instrument.id);
    let only = |all: &mut dyn Iterator<Item = &'a ChairPlan>| all.next().filter(|_| all.next().is_none());
    only(&mut template.chairs.iter().filter(exact)).or_else(|| only(&mut template.chairs.iter().filter(near)))
}

/// An instrument's id without its key, which is written with one or two letters.
fn plain(id: &str) -> &str {
    id.rsplit_once('-').filter(|(_, key)| key.len() < 3).map_or(id, |(plain, _)| plain)
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
    text.push_str(if plan.played || plan.lead_in > 0 {
        "\n# How the music is read: it was played or performed, not written.\n[source]\n"
    } else {
        "\n# How the music is read: it was set for patches.\n[source]\n"
    });
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
