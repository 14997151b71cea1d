//! Two versions of a cue: what changed, by passage and chair, in words.
//!
//! Bars are matched by what the music holds in them (a longest common subsequence); between matched bars, bars that remain on
//! both sides are taken in turn as the same bar with other notes. All that follows is compared bar by bar.

use crate::{Cue, CueError, stages};
use ripieno_music::{Content, Score};
use ripieno_plan::ChairPlan;
use std::collections::{BTreeMap, BTreeSet};
use std::path::Path;

/// Tables larger than this are not made: where so many bars differ, they are taken in turn.
const MOST_PAIRS: usize = 4_000_000;

/// One change.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Change {
    /// The passage, by its later name.
    pub passage: Option<String>,
    /// The chair.
    pub chair: Option<String>,
    /// First and last bar, as the later version counts; of what was taken out, as the earlier one does.
    pub bars: (i32, i32),
    /// `bars`, `metre`, `tempo`, `music`, `passage`, `chair`, `cell`, `notes` or `setting`.
    pub kind: &'static str,
    /// In a sentence.
    pub message: String,
}

/// Opens a version: a folder with a cue.toml, or with one in `plan/`.
pub fn version(path: &Path) -> Result<Cue, CueError> {
    let inside = path.join("plan");
    let delivered = !path.join("cue.toml").is_file() && inside.join("cue.toml").is_file();
    Cue::open(if delivered { &inside } else { path })
}

/// A note as it stands in its bar: place, length, pitch or stroke.
type InBar = (ripieno_units::Beats, ripieno_units::Beats, String);

fn by_bar(score: &Score, content: &Content) -> Vec<Vec<InBar>> {
    let mut bars = vec![Vec::new(); score.timeline.bars.len()];
    for note in &content.notes {
        let i = score.timeline.bar_index(note.at);
        let pitch =
            note.pitch().map_or_else(|| format!("{:?}", note.kind), |p| format!("{} {}", p.key, p.cents));
        bars[i].push((note.at - score.timeline.bars[i].at, note.length, pitch));
    }
    bars.iter_mut().for_each(|b| b.sort());
    bars
}

/// How many of these notes are not among those.
fn lacking(these: &[InBar], those: &[InBar]) -> usize {
    let mut left: BTreeMap<&InBar, usize> = BTreeMap::new();
    those.iter().for_each(|n| *left.entry(n).or_default() += 1);
    let gone = these.iter().filter(|n| match left.get_mut(n) {
        Some(count) if *count > 0 => {
            *count -= 1;
            false
        }
        _ => true,
    });
    gone.count()
}

/// For each later bar, the earlier one that it was.
fn align<T: PartialEq>(old: &[T], new: &[T]) -> Vec<Option<usize>> {
    let head = old.iter().zip(new).take_while(|(a, b)| a == b).count();
    let tail = old[head..].iter().rev().zip(new[head..].iter().rev()).take_while(|(a, b)| a == b).count();
    let (a, b) = (&old[head..old.len() - tail], &new[head..new.len() - tail]);
    let mut inner: Vec<(usize, usize)> = Vec::new();
    if a.len() * b.len() <= MOST_PAIRS {
        let width = b.len() + 1;
        let mut table = vec![0u32; (a.len() + 1) * width];
        for i in (0..a.len()).rev() {
            for j in (0..b.len()).rev() {
                table[i * width + j] = match a[i] == b[j] {
                    true => table[(i + 1) * width + j + 1] + 1,
                    false => table[(i + 1) * width + j].max(table[i * width + j + 1]),
                };
            }
        }
        let (mut i, mut j) = (0, 0);
        while i < a.len() && j < b.len() {
            if a[i] == b[j] {
                inner.push((i, j));
                (i, j) = (i + 1, j + 1);
            } else if table[(i + 1) * width + j] >= table[i * width + j + 1] {
                i += 1;
            } else {
                j += 1;
            }
        }
    }
    inner.push((a.len(), b.len()));
    let mut out: Vec<Option<usize>> = (0..head).map(Some).collect();
    let (mut i, mut j) = (0, 0);
    for (to_i, to_j) in inner {
        let pairs = (to_i - i).min(to_j - j);
        out.extend((0..to_j - j).map(|k| (k < pairs).then_some(head + i + k)));
        if to_j < b.len() {
            out.push(Some(head + to_i));
        }
        (i, j) = (to_i + 1, to_j + 1);
    }
    out.extend((old.len() - tail..old.len()).map(Some));
    out
}

fn bars_text(from: i32, to: i32) -> String {
    if from == to { format!("bar {from}") } else { format!("bars {from} to {to}") }
}

fn notes_text(count: usize) -> String {
    if count == 1 { "1 note".into() } else { format!("{count} notes") }
}

fn name(chair: &ChairPlan) -> &str {
    chair.name.as_deref().unwrap_or(&chair.id)
}

/// Neighbouring numbers of bars as stretches.
fn runs(bars: impl IntoIterator<Item = (i32, usize)>) -> Vec<(i32, i32, usize)> {
    let mut out: Vec<(i32, i32, usize)> = Vec::new();
    for (bar, count) in bars {
        match out.last_mut() {
            Some(last) if last.1 + 1 == bar => (last.1, last.2) = (bar, last.2 + count),
            _ => out.push((bar, bar, count)),
        }
    }
    out
}

/// What changed from one version to another, in order: the whole, the music, passages, chairs, then cell by cell.
pub fn compare(old: &Cue, new: &Cue) -> Vec<Change> {
    let mut out = Vec::new();
    let bars = &new.score.timeline.bars;
    let whole = (bars.first().map_or(1, |b| b.number), bars.last().map_or(1, |b| b.number));
    let mut say = |passage: Option<&str>, chair: Option<&str>, bars: (i32, i32), kind, message: String| {
        let (passage, chair) = (passage.map(str::to_string), chair.map(str::to_string));
        out.push(Change { passage, chair, bars, kind, message });
    };
    let was = matched(old, new);
    let number = |i: usize| old.score.timeline.bars[i].number;
    // Bars, metre, tempo.
    for (from, to, _) in runs(bars.iter().zip(&was).filter(|b| b.1.is_none()).map(|b| (b.0.number, 1))) {
        say(None, None, (from, to), "bars", format!("{} put in", bars_text(from, to)));
    }
    let kept: BTreeSet<usize> = was.iter().flatten().copied().collect();
    let gone = (0..old.score.timeline.bars.len()).filter(|i| !kept.contains(i)).map(|i| (number(i), 1));
    for (from, to, _) in runs(gone) {
        say(
            None,
            None,
            (from, to),
            "bars",
            format!("{} of the earlier version taken out", bars_text(from, to)),
        );
    }
    let pairs: Vec<(usize, usize)> = was.iter().enumerate().filter_map(|(j, i)| Some((j, (*i)?))).collect();
    let mut told = (None, None);
    for (j, i) in &pairs {
        let (a, b) = (&old.score.timeline.bars[*i], &bars[*j]);
        let metre = (a.metre != b.metre).then_some((a.metre, b.metre));
        if let Some((was, is)) = metre.filter(|_| told.0 != metre) {
            let message =
                format!("from bar {}: {}/{}, was {}/{}", b.number, is.beats, is.unit, was.beats, was.unit);
            say(None, None, (b.number, whole.1), "metre", message);
        }
        let tempi = (old.score.timeline.tempo_at(a.at), new.score.timeline.tempo_at(b.at));
        let tempo = (tempi.0.micros != tempi.1.micros).then_some((tempi.0.micros, tempi.1.micros));
        if tempo.is_some() && told.1 != tempo {
            let minute = |t: ripieno_music::Tempo| (t.quarters_per_minute() * 10.0).round() / 10.0;
            let message = format!(
                "from bar {}: {} quarter notes a minute, was {}",
                b.number,
                minute(tempi.1),
                minute(tempi.0)
            );
            say(None, None, (b.number, whole.1), "tempo", message);
        }
        told = (metre, tempo);
    }
    // The music itself, track by track.
    let empty = Content::default();
    for track in &new.score.tracks {
        let before = old.score.tracks.iter().find(|t| t.name == track.name && t.channel == track.channel);
        let a = by_bar(&old.score, before.map_or(&empty, |t| &t.content));
        let b = by_bar(&new.score, &track.content);
        let other = pairs
            .iter()
            .map(|(j, i)| (bars[*j].number, lacking(&b[*j], &a[*i]).max(lacking(&a[*i], &b[*j]))));
        for (from, to, count) in runs(other.filter(|o| o.1 > 0)) {
            let notes = if count == 1 { "1 other note".into() } else { format!("{count} other notes") };
            let message = format!("the music: {} has {notes} in {}", track.name, bars_text(from, to));
            say(None, None, (from, to), "music", message);
        }
    }
    // Passages.
    let inside = |p: &ripieno_plan::PassagePlan, bar: i32| (p.from_bar..=p.to_bar).contains(&bar);
    let before_of = |p: &ripieno_plan::PassagePlan| {
        let share = |q: &&ripieno_plan::PassagePlan| {
            pairs.iter().filter(|(j, i)| inside(p, bars[*j].number) && inside(q, number(*i))).count()
        };
        old.plan.passages.iter().rev().max_by_key(share).filter(|q| share(q) > 0)
    };
    let mut followed: BTreeMap<&str, Vec<&str>> = BTreeMap::new();
    for p in &new.plan.passages {
        let at = (p.from_bar, p.to_bar);
        match before_of(p) {
            None => say(
                Some(&p.name),
                None,
                at,
                "passage",
                format!("{} is new, {}", p.name, bars_text(at.0, at.1)),
            ),
            Some(q) => followed.entry(&q.name).or_default().push(&p.name),
        }
    }
    for q in &old.plan.passages {
        let at = (q.from_bar, q.to_bar);
        match followed.get(q.name.as_str()).map(Vec::as_slice) {
            None => say(None, None, at, "passage", format!("{} is gone, or part of another passage", q.name)),
            Some([one]) if *one != q.name => {
                say(Some(one), None, at, "passage", format!("{one} was called {}", q.name));
            }
            Some([_]) => {}
            Some(several) => {
                let message = format!("{} is now split: {}", q.name, several.join(", "));
                say(several.first().copied(), None, at, "passage", message);
            }
        }
    }
    chairs(old, new, whole, &mut say);
    cells(old, new, &pairs, &before_of, &mut say);
    out
}

type Say<'a> = dyn FnMut(Option<&str>, Option<&str>, (i32, i32), &'static str, String) + 'a;

fn matched(old: &Cue, new: &Cue) -> Vec<Option<usize>> {
    let signs = |cue: &Cue| -> Vec<(ripieno_units::Beats, Vec<Vec<InBar>>)> {
        let tracks: Vec<_> = cue.score.tracks.iter().map(|t| by_bar(&cue.score, &t.content)).collect();
        let bars = cue.score.timeline.bars.iter().enumerate();
        bars.map(|(i, b)| (b.length, tracks.iter().map(|t| t[i].clone()).filter(|n| !n.is_empty()).collect()))
            .collect()
    };
    align(&signs(old), &signs(new))
}

fn chairs(old: &Cue, new: &Cue, whole: (i32, i32), say: &mut Say<'_>) {
    let find = |cue: &'_ Cue, id: &str| cue.template.chairs.iter().find(|c| c.id == id).cloned();
    for chair in &new.template.chairs {
        let Some(before) = find(old, &chair.id) else {
            let message = format!("{} is new: {}, {} playing", name(chair), chair.instrument, chair.players);
            say(None, Some(&chair.id), whole, "chair", message);
            continue;
        };
        let mut told = Vec::new();
        if before.instrument != chair.instrument {
            told.push(format!("plays {}, was {}", chair.instrument, before.instrument));
        }
        if before.players != chair.players {
            told.push(format!("has {} players, was {}", chair.players, before.players));
        }
        if old.cards.get(&chair.id) != new.cards.get(&chair.id) {
            told.push("has another patch, or its card says other things".into());
        }
        if before.seat != chair.seat {
            told.push("sits elsewhere".into());
        }
        if words(&before.placing) != words(&chair.placing) {
            told.push("has another hall, send or equaliser".into());
        }
        if !told.is_empty() {
            say(None, Some(&chair.id), whole, "chair", format!("{} {}", name(chair), told.join("; ")));
        }
    }
    for chair in old.template.chairs.iter().filter(|c| find(new, &c.id).is_none()) {
        say(None, Some(&chair.id), whole, "chair", format!("{} is taken out", name(chair)));
    }
    if words(&old.template.stage) != words(&new.template.stage) {
        say(None, None, whole, "setting", "the halls, the seating or the families' sends are others".into());
    }
    let (a, b) = (&old.template.mix, &new.template.mix);
    if a.loudness != b.loudness {
        say(None, None, whole, "setting", format!("loudness {} LUFS, was {}", b.loudness, a.loudness));
    }
    if (a.gain_db, a.true_peak, a.hall_db) != (b.gain_db, b.true_peak, b.hall_db) {
        say(
            None,
            None,
            whole,
            "setting",
            "the gain, the true peak or the halls' level of the mix are others".into(),
        );
    }
    if old.plan.settings != new.plan.settings {
        say(
            None,
            None,
            whole,
            "setting",
            "the settings of the performance are others (seed, freedom, what is kept)".into(),
        );
    }
}

/// A value as it prints itself, without its places in the file: those move with every line above.
fn words(value: &impl std::fmt::Debug) -> String {
    let text = format!("{value:?}");
    let mut parts = text.split("span: ");
    let first = parts.next().unwrap_or_default().to_string();
    parts.fold(first, |mut all, part| {
        all.push_str(part.split_once('}').map_or(part, |p| p.1));
        all
    })
}

fn cells<'a>(
    old: &'a Cue,
    new: &Cue,
    pairs: &[(usize, usize)],
    before_of: &dyn Fn(&ripieno_plan::PassagePlan) -> Option<&'a ripieno_plan::PassagePlan>,
    say: &mut Say<'_>,
) {
    let (then, now) = (stages::cast(old).0, stages::cast(new).0);
    let played = |cue: &Cue, parts: &[ripieno_music::Part], chair: &str| {
        let empty = Content::default();
        by_bar(&cue.score, parts.iter().find(|p| p.chair == chair).map_or(&empty, |p| &p.content))
    };
    let text = |passage: &ripieno_plan::PassagePlan, chair: &str| {
        let cell = passage.cells.iter().find(|c| c.chair == chair);
        cell.map_or("tacet", |c| c.text.trim()).split_whitespace().collect::<Vec<_>>().join(" ")
    };
    for chair in &new.template.chairs {
        let (a, b) = (played(old, &then, &chair.id), played(new, &now, &chair.id));
        for passage in &new.plan.passages {
            let at = (passage.from_bar, passage.to_bar);
            let Some(before) = before_of(passage) else { continue };
            let inside = |bar: i32| (at.0..=at.1).contains(&bar);
            let bars = &new.score.timeline.bars;
            let differ: Vec<(i32, usize, usize)> = pairs
                .iter()
                .filter(|(j, _)| inside(bars[*j].number))
                .map(|(j, i)| (bars[*j].number, lacking(&b[*j], &a[*i]), lacking(&a[*i], &b[*j])))
                .filter(|d| d.1 + d.2 > 0)
                .collect();
            let (more, fewer) = differ.iter().fold((0, 0), |sum, d| (sum.0 + d.1, sum.1 + d.2));
            let other = more.min(fewer);
            let mut counted = Vec::new();
            if other > 0 {
                counted.push(format!("{} changed", notes_text(other)));
            }
            if more > fewer {
                counted.push(format!("{} more", notes_text(more - fewer)));
            }
            if fewer > more {
                counted.push(format!("{} fewer", notes_text(fewer - more)));
            }
            let (was, is) = (text(before, &chair.id), text(passage, &chair.id));
            let counted = counted.join(", ");
            if was != is {
                let tail = if counted.is_empty() {
                    "; the notes are the same".into()
                } else {
                    format!("; {counted}")
                };
                let message = match is.as_str() {
                    "tacet" => format!("{}: {} is now silent (was: {was}){tail}", passage.name, name(chair)),
                    _ => format!("{}: {} now plays: {is} (was: {was}){tail}", passage.name, name(chair)),
                };
                say(Some(&passage.name), Some(&chair.id), at, "cell", message);
            } else {
                for (from, to, _) in runs(differ.iter().map(|d| (d.0, 0))) {
                    let part = differ.iter().filter(|d| (from..=to).contains(&d.0));
                    let count = part.fold((0, 0), |s, d| (s.0 + d.1, s.1 + d.2));
                    let message = format!(
                        "{}: {} has {} other than before in {}",
                        passage.name,
                        name(chair),
                        notes_text(count.0.max(count.1)),
                        bars_text(from, to)
                    );
                    say(Some(&passage.name), Some(&chair.id), (from, to), "notes", message);
                }
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn bars_are_found_again_behind_bars_that_were_put_in_or_taken_out() {
        let bars = |text: &str| text.chars().collect::<Vec<_>>();
        let (one, more) = (bars("abcdef"), bars("abxycdef"));
        assert_eq!(align(&one, &more), [Some(0), Some(1), None, None, Some(2), Some(3), Some(4), Some(5)]);
        assert_eq!(align(&more, &one), [Some(0), Some(1), Some(4), Some(5), Some(6), Some(7)]);
        assert_eq!(align(&one, &bars("abXdef")), [0, 1, 2, 3, 4, 5].map(Some));
        assert_eq!(align(&bars(""), &bars("ab")), [None, None]);
        assert_eq!(
            align(&bars("aXbYc"), &bars("aPbQRc")),
            [Some(0), Some(1), Some(2), Some(3), None, Some(4)]
        );
    }
}
