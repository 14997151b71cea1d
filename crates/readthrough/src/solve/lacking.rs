//! Notes that an instrument lacks: whistles and chanters, natural horns and trumpets, bells, bars and dulcimers; and which
//! key of it would have them.

use super::bars::bars;
use super::spots::{list, name, names};
use crate::desk::Found;
use crate::rules::{Concern, Rule};
use crate::{Desk, Table};
use ripieno_instruments::{Having, NaturalBrass, Whistle, bars_of, natural_of, whistle_of};
use ripieno_music::{Change, Edit, Finding, Note, Severity};
use std::collections::BTreeMap;

/// The rules of this module.
pub const RULES: &[Rule] = &[
    Rule {
        name: "lacks-note",
        concern: Concern::Notes,
        asks: "has the instrument these notes at all",
        source: "tubular bells C4 to F5, to G5 on professional sets; bars, crotales, dulcimers: Adler, The Study of Orchestration, \
                 from memory; the harmonic series",
    },
    Rule {
        name: "whistle-key",
        concern: Concern::Notes,
        asks: "which whistle or chanter, in which key, has these notes",
        source: "a diatonic scale with a forked flat seventh; keys that are built: from memory, common practice",
    },
];

/// A player needs so many seconds of rest to take another whistle or another crook. Common practice, no source.
const CHANGE_SECONDS: f64 = 2.0;

/// Does this module judge the compass of an instrument, so that a rule on ranges need not?
pub fn covers(instrument: &str) -> bool {
    whistle_of(instrument).is_some() || natural_of(instrument).is_some() || bars_of(instrument).is_some()
}

/// Every desk with an instrument that lacks notes.
pub fn check(table: &Table<'_>) -> Vec<Finding> {
    table
        .desks
        .iter()
        .flat_map(|desk| {
            let id = desk.instrument.id.as_str();
            if let Some(whistle) = whistle_of(id) {
                whistles(table, desk, whistle)
            } else if let Some(brass) = natural_of(id) {
                natural(table, desk, brass)
            } else if let Some(set) = bars_of(id) {
                bars(table, desk, set)
            } else {
                Vec::new()
            }
        })
        .collect()
}

/// One note of a part that has a pitch.
pub(super) struct Sounding<'a> {
    pub(super) note: &'a Note,
    pub(super) key: u8,
    start: f64,
    end: f64,
}

pub(super) fn sounding<'a>(table: &Table<'_>, desk: &Desk<'a>) -> Vec<Sounding<'a>> {
    let mut all: Vec<Sounding<'a>> = desk
        .part
        .content
        .notes
        .iter()
        .filter_map(|note| {
            let key = note.pitch().and_then(|p| u8::try_from(p.key).ok())?;
            let (start, end) = (table.clock.seconds(note.at).0, table.clock.seconds(note.end()).0);
            Some(Sounding { note, key, start, end })
        })
        .collect();
    all.sort_by(|a, b| a.start.total_cmp(&b.start));
    all
}

/// The key that a chair has: from its kit, else from its name (`Low whistle in G`).
fn key_of(desk: &Desk<'_>) -> Option<String> {
    if let Some(key) = desk.kit.and_then(|k| k.key.clone()) {
        return Some(key);
    }
    let name = desk.chair.name.as_deref()?;
    let at = name.to_lowercase().rfind(" in ")?;
    let key = name.get(at + 4..)?.trim();
    (!key.is_empty()).then(|| key.to_string())
}

/// How badly a note is lacked: what a key is chosen by.
fn badness(having: Having) -> f64 {
    match having {
        Having::Plain => 0.0,
        Having::Forked => 0.01,
        Having::Barely => 1.0,
        Having::Hand => 1.5,
        Having::Not => 3.0,
    }
}

/// Keys as they change over a part, each for the notes from an index on: the least lacking with the fewest changes, and
/// those only in rests. A Viterbi search over keys.
fn changing(
    notes: &[Sounding<'_>],
    keys: usize,
    having: &dyn Fn(usize, u8) -> Having,
) -> Vec<(usize, usize)> {
    // A change is worth it for any note that is lacked.
    const CHANGE: f64 = 0.5;
    let mut costs = vec![0.0_f64; keys];
    let mut back: Vec<Vec<usize>> = Vec::with_capacity(notes.len());
    let mut silent_since = f64::NEG_INFINITY;
    for (i, note) in notes.iter().enumerate() {
        let may_change = i > 0 && note.start - silent_since >= CHANGE_SECONDS;
        silent_since = silent_since.max(note.end);
        let best =
            costs.iter().enumerate().min_by(|a, b| a.1.total_cmp(b.1)).map_or((0, 0.0), |(k, c)| (k, *c));
        let mut from = Vec::with_capacity(keys);
        let mut next = Vec::with_capacity(keys);
        for (k, cost) in costs.iter().enumerate() {
            let (came, before) =
                if may_change && best.1 + CHANGE < *cost { (best.0, best.1 + CHANGE) } else { (k, *cost) };
            from.push(came);
            next.push(before + badness(having(k, note.key)));
        }
        back.push(from);
        costs = next;
    }
    let mut at = costs.iter().enumerate().min_by(|a, b| a.1.total_cmp(b.1)).map_or(0, |a| a.0);
    let mut chosen = vec![at; notes.len()];
    for i in (1..notes.len()).rev() {
        at = back[i][at];
        chosen[i - 1] = at;
    }
    let mut spans: Vec<(usize, usize)> = Vec::new();
    for (i, key) in chosen.into_iter().enumerate() {
        if spans.last().is_none_or(|s| s.1 != key) {
            spans.push((i, key));
        }
    }
    spans
}

/// What to do about the key: one that has everything, or several in turn, or the best.
struct Advised {
    remedy: String,
    change: Option<Change>,
}

fn advise(
    table: &Table<'_>,
    desk: &Desk<'_>,
    notes: &[Sounding<'_>],
    what: &str,
    keys: &[(String, u8)],
    now: Option<usize>,
    having: &dyn Fn(usize, u8) -> Having,
) -> Advised {
    let total = |k: usize| -> f64 { notes.iter().map(|n| badness(having(k, n.key))).sum() };
    let lacked = |k: usize| notes.iter().filter(|n| having(k, n.key) > Having::Forked).count();
    let best = (0..keys.len()).filter(|k| Some(*k) != now).min_by(|a, b| {
        // Of two that are alike, the one nearer to what the player has.
        let far = |k: usize| now.map_or(0, |n| keys[n].1.abs_diff(keys[k].1));
        total(*a).total_cmp(&total(*b)).then(far(*a).cmp(&far(*b)))
    });
    let Some(best) = best else { return Advised { remedy: "No remedy found".into(), change: None } };
    let kit = |key: &str| {
        let edit = Edit::Kit { chair: desk.id().to_string(), key: "key".into(), value: format!("\"{key}\"") };
        Some(Change { edits: vec![edit] })
    };
    if lacked(best) == 0 {
        let key = &keys[best].0;
        return Advised { remedy: format!("Take {what} in {key}, which has all of them"), change: kit(key) };
    }
    let spans = changing(notes, keys.len(), having);
    let left = |spans: &[(usize, usize)]| -> usize {
        spans
            .iter()
            .enumerate()
            .map(|(s, (from, key))| {
                let to = spans.get(s + 1).map_or(notes.len(), |n| n.0);
                notes[*from..to].iter().filter(|n| having(*key, n.key) > Having::Forked).count()
            })
            .sum()
    };
    if spans.len() > 1 && left(&spans) == 0 {
        let places: Vec<String> = spans
            .iter()
            .map(|(from, key)| {
                format!("in {} from bar {}", keys[*key].0, table.timeline.place(notes[*from].note.at).bar)
            })
            .collect();
        return Advised { remedy: format!("Change {what} in the rests: {}", list(&places)), change: None };
    }
    if now.is_none_or(|n| lacked(best) < lacked(n)) {
        let key = &keys[best].0;
        let rest = lacked(best);
        let s = if rest == 1 { "" } else { "s" };
        return Advised {
            remedy: format!("No key has all of them; {what} in {key} lacks {rest} note{s}"),
            change: None,
        };
    }
    Advised {
        remedy: format!("No key of {what} has all of them: give these notes to another instrument"),
        change: None,
    }
}

/// Different keys of notes, from the lowest.
pub(super) fn different<'a>(notes: impl Iterator<Item = &'a Sounding<'a>>) -> Vec<u8> {
    let mut keys: Vec<u8> = notes.map(|n| n.key).collect();
    keys.sort_unstable();
    keys.dedup();
    keys
}

fn whistles(table: &Table<'_>, desk: &Desk<'_>, whistle: &Whistle) -> Vec<Finding> {
    let notes = sounding(table, desk);
    let asked = key_of(desk);
    let key = asked.as_deref().filter(|k| whistle.low(k).is_some()).unwrap_or(&whistle.usual).to_string();
    let Some(low) = whistle.low(&key) else { return Vec::new() };
    let missing: Vec<&Sounding<'_>> =
        notes.iter().filter(|n| whistle.having(low, n.key) > Having::Forked).collect();
    let (Some(first), Some(last)) = (missing.first(), missing.last()) else { return Vec::new() };
    let instrument = desk.instrument.name().to_lowercase();
    let what =
        format!("{} {instrument}", if instrument.starts_with(['a', 'e', 'i', 'o']) { "an" } else { "a" });
    let now = whistle.keys.iter().position(|k| k.1 == low);
    let having = |k: usize, key: u8| whistle.keys.get(k).map_or(Having::Not, |w| whistle.having(w.1, key));
    let advised = advise(table, desk, &notes, &what, &whistle.keys, now, &having);
    let none = different(missing.iter().copied().filter(|n| whistle.having(low, n.key) == Having::Not));
    let half = different(missing.iter().copied().filter(|n| whistle.having(low, n.key) == Having::Barely));
    let mut says = Vec::new();
    if !none.is_empty() {
        says.push(format!("{} it does not have", names(&none)));
    }
    if !half.is_empty() {
        says.push(format!("{} only with half a hole, slowly", names(&half)));
    }
    let severity = if none.is_empty() { Severity::Hard } else { Severity::Impossible };
    let place = |n: &Sounding<'_>| table.timeline.place(n.note.at);
    vec![
        Found::new("whistle-key", severity, desk.id(), place(first))
            .to(place(last).bar)
            .says(format!(
                "{}: of {what} in {key}, {} ({} of {} notes)",
                desk.name(),
                says.join(", "),
                missing.len(),
                notes.len()
            ))
            .remedy(advised.remedy)
            .change(advised.change)
            .done(),
    ]
}

/// Natural horns and trumpets: the crook is the kit's, or the one that the part is written for, or in the chair's name.
fn natural(table: &Table<'_>, desk: &Desk<'_>, brass: &NaturalBrass) -> Vec<Finding> {
    let notes = sounding(table, desk);
    let asked = key_of(desk).and_then(|k| brass.fundamental(&k));
    let kit = desk.kit.is_some_and(|k| k.key.is_some());
    // Written C2 is the fundamental of every crook.
    let written = |n: &Sounding<'_>| -> Option<u8> {
        let w = n.note.written?.pitch().key;
        u8::try_from(36 + i16::from(n.key) - w).ok()
    };
    let tube = |n: &Sounding<'_>| if kit { asked } else { written(n).or(asked) };
    let crook = |fundamental: u8| {
        brass.crooks.iter().find(|c| c.1 == fundamental).map_or_else(|| name(fundamental), |c| c.0.clone())
    };
    let mut findings = Vec::new();
    let mut lacked: BTreeMap<u8, Vec<&Sounding<'_>>> = BTreeMap::new();
    for note in &notes {
        let Some(fundamental) = tube(note) else { continue };
        // Beyond its range altogether: that is told by itself.
        if desk.instrument.hard.is_some_and(|range| !range.holds(i16::from(note.key))) {
            continue;
        }
        if brass.having(fundamental, note.key) > Having::Forked {
            lacked.entry(fundamental).or_default().push(note);
        }
    }
    for (fundamental, missing) in &lacked {
        let of: Vec<&Sounding<'_>> = notes.iter().filter(|n| tube(n) == Some(*fundamental)).collect();
        // Which crook would have them, for the notes that this one has now.
        let having = |k: usize, key: u8| brass.crooks.get(k).map_or(Having::Not, |c| brass.having(c.1, key));
        let all: Vec<Sounding<'_>> =
            of.iter().map(|n| Sounding { note: n.note, key: n.key, start: n.start, end: n.end }).collect();
        let now = brass.crooks.iter().position(|c| c.1 == *fundamental);
        let advised = advise(table, desk, &all, "a crook", &brass.crooks, now, &having);
        // One crook for the whole part: a change of the kit would change the others too.
        let change = if lacked.len() == 1 && of.len() == notes.len() { advised.change.clone() } else { None };
        let kinds = [
            (Having::Not, Severity::Hard, "no harmonic of the tube"),
            (Having::Hand, Severity::Advice, "only with the hand in the bell, muffled"),
            (Having::Barely, Severity::Advice, "a harmonic that is out of tune, which the lip corrects"),
        ];
        for (having, severity, how) in kinds {
            let these: Vec<&Sounding<'_>> =
                missing.iter().copied().filter(|n| brass.having(*fundamental, n.key) == having).collect();
            let (Some(first), Some(last)) = (these.first(), these.last()) else { continue };
            let keys = different(these.iter().copied());
            let is = if keys.len() == 1 { "is" } else { "are each" };
            let many =
                if these.len() > keys.len() { format!(" ({} notes)", these.len()) } else { String::new() };
            let place = |n: &Sounding<'_>| table.timeline.place(n.note.at);
            findings.push(
                Found::new("lacks-note", severity, desk.id(), place(first))
                    .to(place(last).bar)
                    .says(format!(
                        "{}: without valves, in {}, {} {is} {how}{many}",
                        desk.name(),
                        crook(*fundamental),
                        names(&keys)
                    ))
                    .remedy(match (&advised.change, having) {
                        (Some(_), _) => format!("{}; an instrument with valves has them too", advised.remedy),
                        (None, Having::Hand) => "Stop them by hand, or take an instrument with valves".into(),
                        (None, Having::Barely) => {
                            "Leave them to the lip, or take an instrument with valves".into()
                        }
                        (None, _) => "Take an instrument with valves, or give these notes to another".into(),
                    })
                    .change(change.clone())
                    .done(),
            );
        }
    }
    findings
}
