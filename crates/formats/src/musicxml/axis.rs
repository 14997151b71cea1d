//! Bars, metres, keys, tempi and marks as played: the time axis.

use super::count::{dotted, value};
use super::order::Played;
use super::sheet::{RawTempo, Sheet};
use super::warn::Doubts;
use super::xml::{child_text, children, text};
use ripieno_music::{Bar, Key, Metre, Tempo, TimeMark, TimeMarkKind, Timeline};
use ripieno_units::Beats;
use roxmltree::Node;

const COMMON: Metre = Metre { beats: 4, unit: 4 };
/// Standard MIDI Files 1.0: 120 quarters a minute where nothing is said.
const UNSAID: f64 = 120.0;

/// For each printed bar what holds before it, and the changes within it.
type Printed<T> = Vec<(Option<T>, Vec<(Beats, T)>)>;

/// The time axis.
pub(super) fn timeline(sheet: &Sheet, played: &[Played], doubts: &mut Doubts) -> Timeline {
    let metres = metres(sheet);
    let lengths: Vec<Beats> = (0..sheet.bars.len()).map(|i| length(sheet, i, metres[i], doubts)).collect();
    let bars = bars(sheet, played, &metres, &lengths);
    let mut timeline = Timeline { bars, tempi: Vec::new(), keys: Vec::new(), marks: Vec::new() };
    tempi(sheet, played, &mut timeline, doubts);
    keys(sheet, played, &mut timeline);
    marks(sheet, played, &mut timeline);
    timeline
}

fn metres(sheet: &Sheet) -> Vec<Metre> {
    let mut metre = COMMON;
    sheet
        .bars
        .iter()
        .map(|bar| {
            metre = bar.metre.unwrap_or(metre);
            metre
        })
        .collect()
}

/// What a bar lasts. As far as notes and rests reach, which may be less than the metre says (pick-ups, bars that a repeat
/// sign divides) or more. Two things are taken for slips of the writer: one part that is too long while the others fill the
/// metre, and one part that is too short while the others rest for a whole bar.
fn length(sheet: &Sheet, bar: usize, metre: Metre, doubts: &mut Doubts) -> Beats {
    let full = metre.bar();
    let (mut most, mut playing, mut within) = (Beats::ZERO, 0usize, 0usize);
    let (mut rests, mut short, mut exact) = (Beats::ZERO, Beats::ZERO, false);
    let mut agreed = true;
    for one in sheet.parts.iter().filter_map(|p| p.bars.get(bar)) {
        if one.notes.is_empty() && one.dangling.is_empty() {
            rests = rests.max(one.fill).max(one.rest_fill);
            agreed &= !one.fill.is_positive() || !short.is_positive() || one.fill == short;
            short = short.max(one.fill);
            exact |= one.fill == full || one.rest_fill == full;
        } else {
            most = most.max(one.fill);
            playing += 1;
            within += usize::from(one.fill <= full);
            exact |= one.fill == full;
        }
    }
    if playing == 0 || !most.is_positive() {
        // A rest that is written as one for the whole bar says nothing of its length.
        let said = if sheet.bars[bar].implicit { rests } else { short };
        // Rests that are written out past the metre mean it where all parts have them so: a cadenza of somebody else's.
        let most = if agreed && said == short { said } else { said.min(full) };
        return if said.is_positive() { most } else { full };
    }
    if most > full && exact && 2 * within > playing {
        let printed = &sheet.bars[bar].printed;
        doubts.add(format!("bar {printed}"), "is longer than its metre in some parts; the metre holds");
        return full;
    }
    if most < full && rests == full && playing == 1 { full } else { most }
}

fn bars(sheet: &Sheet, played: &[Played], metres: &[Metre], lengths: &[Beats]) -> Vec<Bar> {
    let mut at = Beats::ZERO;
    let mut bars = Vec::with_capacity(played.len());
    // A short first bar is a pick-up: it is bar 0 and ends where time begins.
    let pick_up = played.first().is_some_and(|p| {
        let facts = &sheet.bars[p.bar];
        played.len() > 1 && lengths[p.bar] < metres[p.bar].bar()
            || (played.len() > 1
                && (facts.implicit || facts.printed == "0")
                && lengths[p.bar] <= metres[p.bar].bar())
    });
    for (i, one) in played.iter().enumerate() {
        let length = lengths[one.bar];
        if i == 0 && pick_up {
            at -= length;
        }
        bars.push(Bar {
            at,
            length,
            metre: metres[one.bar],
            number: i as i32 + i32::from(!pick_up),
            printed: sheet.bars[one.bar].printed.clone(),
        });
        at += length;
    }
    bars
}

fn tempi(sheet: &Sheet, played: &[Played], timeline: &mut Timeline, doubts: &mut Doubts) {
    // As printed: a mark that counts from the tempo before it needs that one first.
    let mut now: Option<f64> = None;
    let mut said = false;
    let printed: Printed<f64> = sheet
        .bars
        .iter()
        .map(|bar| {
            let before = now;
            let mut here: Vec<(Beats, RawTempo, bool)> = bar.tempi.clone();
            // A number for playback goes before the printed mark at the same place.
            here.sort_by_key(|t| (t.0, !t.2));
            here.dedup_by_key(|t| t.0);
            let list = here
                .into_iter()
                .map(|(at, tempo, _)| {
                    let quarters = match tempo {
                        RawTempo::PerMinute(q) => q,
                        RawTempo::Times(t) => now.unwrap_or(UNSAID) * t,
                    };
                    now = Some(quarters);
                    said = true;
                    (at, quarters)
                })
                .collect();
            (before, list)
        })
        .collect();
    if !said {
        doubts.add("the tempo", "is not given; 120 quarters a minute are taken");
    }
    let first = printed.iter().find_map(|(_, l)| l.first()).map_or(UNSAID, |t| t.1);
    let mut push = |at: Beats, quarters: f64| {
        let tempo = Tempo::per_minute(at, quarters);
        match timeline.tempi.last_mut() {
            Some(last) if last.at == at => *last = tempo,
            Some(last) if last.micros == tempo.micros => {}
            _ => timeline.tempi.push(tempo),
        }
    };
    let opening = printed.first().and_then(|(_, l)| l.iter().find(|t| t.0.is_zero())).map_or(first, |t| t.1);
    let mut before = None;
    for (bar, one) in timeline.bars.iter().zip(played) {
        let (start, list) = &printed[one.bar];
        // A jump goes to the tempo that was printed there.
        if before.is_none_or(|b| b + 1 != one.bar) {
            push(bar.at, start.unwrap_or(opening));
        }
        for (at, quarters) in list {
            push(bar.at + *at, *quarters);
        }
        before = Some(one.bar);
    }
    timeline.tempi.sort_by_key(|t| t.at);
}

/// The key that most parts sound in: horns, trumpets and timpani are often written without signature.
fn keys(sheet: &Sheet, played: &[Played], timeline: &mut Timeline) {
    let vote = |keys: &mut Vec<Key>| -> Option<Key> {
        let mut best: Option<(usize, Key)> = None;
        for (i, key) in keys.iter().enumerate() {
            let count = keys.iter().filter(|k| (k.fifths, k.minor) == (key.fifths, key.minor)).count();
            let first = keys[..i].iter().all(|k| (k.fifths, k.minor) != (key.fifths, key.minor));
            if first && best.is_none_or(|(c, _)| count > c) {
                best = Some((count, *key));
            }
        }
        best.map(|b| b.1)
    };
    // At most this many parts vote: enough for any score, and bounded for a damaged one.
    let voters: Vec<_> = sheet.parts.iter().filter(|p| !p.info.percussion).take(64).collect();
    let mut now: Vec<Option<Key>> = vec![None; voters.len()];
    let mut printed: Printed<Key> = Vec::with_capacity(sheet.bars.len());
    let mut held = None;
    for i in 0..sheet.bars.len() {
        let before = held;
        let mut changes: Vec<(Beats, usize, Key)> = Vec::new();
        for (v, part) in voters.iter().enumerate() {
            if let Some(bar) = part.bars.get(i) {
                changes.extend(bar.keys.iter().map(|(at, key)| (*at, v, *key)));
            }
        }
        changes.sort_by_key(|c| c.0);
        let mut list: Vec<(Beats, Key)> = Vec::new();
        for place in changes.chunk_by(|a, b| a.0 == b.0) {
            for (_, v, key) in place {
                now[*v] = Some(*key);
            }
            let mut all: Vec<Key> = now.iter().flatten().copied().collect();
            if let Some(key) = vote(&mut all) {
                list.push((place[0].0, key));
                held = Some(key);
            }
        }
        printed.push((before, list));
    }
    let mut push = |at: Beats, key: Key| {
        let key = Key { at, ..key };
        match timeline.keys.last_mut() {
            Some(last) if last.at == at => *last = key,
            Some(last) if (last.fifths, last.minor) == (key.fifths, key.minor) => {}
            _ => timeline.keys.push(key),
        }
    };
    let mut before = None;
    for (bar, one) in timeline.bars.iter().zip(played) {
        let (start, list) = &printed[one.bar];
        if let (true, Some(key)) = (before.is_none_or(|b| b + 1 != one.bar), start) {
            push(bar.at, *key);
        }
        for (at, key) in list {
            push(bar.at + *at, *key);
        }
        before = Some(one.bar);
    }
}

fn marks(sheet: &Sheet, played: &[Played], timeline: &mut Timeline) {
    let end = timeline.end();
    let mut found: Vec<TimeMark> = Vec::new();
    for (bar, one) in timeline.bars.iter().zip(played) {
        let facts = &sheet.bars[one.bar];
        let sides = [(facts.double[0], bar.at), (facts.double[1], bar.at + bar.length)];
        for (_, at) in sides.into_iter().filter(|(there, at)| *there && *at < end && *at > timeline.start()) {
            let same = |m: &TimeMark| m.kind == TimeMarkKind::DoubleBar && m.at == at;
            if !found.iter().rev().take(8).any(same) {
                found.push(TimeMark { at, kind: TimeMarkKind::DoubleBar, text: String::new() });
            }
        }
        for (at, kind, text) in &facts.marks {
            found.push(TimeMark { at: bar.at + *at, kind: *kind, text: text.clone() });
        }
    }
    found.sort_by_key(|m| m.at);
    timeline.marks = found;
}

/// A metronome mark: a beat and its number a minute, or one beat set equal to another.
pub(super) fn metronome(node: Node<'_, '_>) -> Option<RawTempo> {
    let mut beats: Vec<Beats> = Vec::new();
    for item in node.children().filter(Node::is_element) {
        match item.tag_name().name() {
            "beat-unit" => beats.push(value(text(item))?),
            "beat-unit-dot" => {
                let last = beats.last_mut()?;
                *last = dotted(*last, 1);
            }
            "beat-unit-tied" => {
                let more =
                    dotted(value(child_text(item, "beat-unit")?)?, children(item, "beat-unit-dot").count());
                *beats.last_mut()? += more;
            }
            "metronome-note" => {
                beats.push(dotted(
                    value(child_text(item, "metronome-type")?)?,
                    children(item, "metronome-dot").count(),
                ));
            }
            "per-minute" => {
                let number: String = text(item)
                    .chars()
                    .skip_while(|c| !c.is_ascii_digit())
                    .take_while(|c| c.is_ascii_digit() || matches!(c, '.' | ','))
                    .collect();
                let number: f64 = number.replace(',', ".").trim_end_matches('.').parse().ok()?;
                let quarters = number * beats.first()?.quarters();
                return (quarters > 0.0 && quarters.is_finite()).then_some(RawTempo::PerMinute(quarters));
            }
            _ => {}
        }
    }
    // The beat on the left as it was lasts as long as the beat on the right from here on.
    let [left, right] = beats[..] else { return None };
    left.is_positive().then(|| RawTempo::Times(right.ratio(left)))
}
