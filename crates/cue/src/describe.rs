//! What was found in a piece, as text: what is the matter first, then what the piece is made of.

use crate::findings::{arc, caution, counted, listed, pedals_and_tunings, taken};
use crate::{InPrint, Read};
use ripieno_music::{Doubling, PassageFound, Role, Track};
use std::fmt::Write as _;

/// Most leaders of doublings that a passage lists; JSON has all.
const MOST_LEADERS: usize = 4;

/// What was found in a piece, as text.
pub fn describe(read: &Read) -> String {
    let mut text = head(read);
    text.push('\n');
    listed(&mut text, &read.checked, "`--for session` shows them.");
    if let Some(taken) = taken(&read.checked) {
        let _ = writeln!(
            text,
            "\nA remedy marked = is exact: `ripieno new DIR --music FILE` makes a cue of the piece, and there `ripieno check DIR --take {taken}` writes it into the plan."
        );
    }
    arc(&mut text, &read.checked);
    pedals_and_tunings(&mut text, &read.checked);
    caution(&mut text, &read.checked);
    let _ = writeln!(text, "\nWhat it is made of");
    for passage in &read.reading.passages {
        one(&mut text, read, passage);
    }
    text.push_str("\n`ripieno new DIR --music FILE` makes a cue of it.\n");
    text
}

fn head(read: &Read) -> String {
    let timeline = &read.cue.score.timeline;
    let title = if read.cue.plan.title.is_empty() { "Untitled" } else { &read.cue.plan.title };
    let seconds = timeline.seconds(timeline.end()).0.round().max(0.0) as u64;
    let bars = timeline.bars.iter().filter(|b| b.number > 0).count();
    let mut text = format!(
        "{title}\n{}, {}:{:02}, {}\n",
        counted(bars, "bar"),
        seconds / 60,
        seconds % 60,
        counted(read.chairs.len(), "chair")
    );
    numbering(&mut text, &read.checked.in_print, bars);
    text
}

/// How the bars are counted, where the print counts otherwise.
fn numbering(text: &mut String, print: &InPrint, bars: usize) {
    if !print.differs() {
        return;
    }
    let printed = print.count();
    let mut said = Vec::new();
    if printed < bars {
        said.push(format!(
            "repeats are played out and their bars counted on: {printed} bars in print, {bars} here"
        ));
    }
    if print.movements() > 1 {
        said.push(format!(
            "{} movements, whose printed numbers begin again, are counted on as one",
            print.movements()
        ));
    }
    if said.is_empty() {
        said.push("bars are counted from the first whole one".to_owned());
    }
    let _ = writeln!(
        text,
        "Bar numbers: {}; a printed number stands in brackets where it is another.",
        said.join("; ")
    );
}

fn one(text: &mut String, read: &Read, passage: &PassageFound) {
    let because = match passage.because.len() {
        0 => String::new(),
        _ => format!("  ({})", passage.because.join(", ")),
    };
    let (from, to) = (passage.from_bar, passage.to_bar);
    let printed = read.checked.in_print.beside(from, to).map_or(String::new(), |p| format!(" ({p})"));
    let bars = if from == to { format!("bar {from}") } else { format!("bars {from} to {to}") };
    let _ = writeln!(text, "\n{}  {bars}{printed}{because}", passage.name);
    for role in [Role::Tune, Role::Counter, Role::Figure, Role::Held, Role::Punctuation, Role::Bass] {
        let mut who: Vec<String> = passage
            .roles
            .iter()
            .enumerate()
            .filter(|(_, r)| r.role == role)
            .filter_map(|(track, r)| {
                let chair = read.chair(track)?;
                Some(r.chord.map_or(chair.to_string(), |c| format!("{chair} ({} of {})", c.voice, c.of)))
            })
            .collect();
        if role == Role::Tune {
            who.extend(handed_over(read, passage));
        }
        if !who.is_empty() {
            let _ = writeln!(text, "  {:<15} {}", role.word(), who.join(", "));
        }
    }
    doublings(text, read, from, to);
}

/// Who else has the tune for a bar or more of the passage: `viola in bars 5 to 8`.
fn handed_over(read: &Read, passage: &PassageFound) -> Vec<String> {
    let timeline = &read.cue.score.timeline;
    let mut spans: Vec<(usize, Vec<(i32, i32)>)> = Vec::new();
    for span in &read.reading.tune {
        let has = passage.roles.get(span.track).is_none_or(|r| r.role == Role::Tune);
        let (first, last) = (timeline.bar_index(span.from), timeline.bar_index(span.to));
        // Whole bars alone: a beat that is handed over is no change of who leads.
        let whole = |i: &usize| {
            let bar = &timeline.bars[*i];
            span.from <= bar.at && bar.at + bar.length <= span.to
        };
        for i in (first..=last.min(timeline.bars.len().saturating_sub(1))).filter(whole) {
            let number = timeline.bars[i].number;
            if has || number < passage.from_bar || number > passage.to_bar {
                continue;
            }
            let of = match spans.iter().position(|s| s.0 == span.track) {
                Some(at) => at,
                None => {
                    spans.push((span.track, Vec::new()));
                    spans.len() - 1
                }
            };
            match spans[of].1.last_mut() {
                Some(last) if last.1 + 1 == number => last.1 = number,
                _ => spans[of].1.push((number, number)),
            }
        }
    }
    let one = |(track, bars): &(usize, Vec<(i32, i32)>)| {
        let each = bars.iter().map(|(a, b)| if a == b { a.to_string() } else { format!("{a} to {b}") });
        let word = if matches!(bars[..], [(a, b)] if a == b) { "bar" } else { "bars" };
        Some(format!("{} in {word} {}", read.chair(*track)?, each.collect::<Vec<_>>().join(", ")))
    };
    spans.iter().filter_map(one).collect()
}

/// A line for each leader, those with most followers first.
fn doublings(text: &mut String, read: &Read, from: i32, to: i32) {
    let all = &read.reading.doublings;
    // Who has which voice of a chord is said of the chord, and a root under a figure of nobody.
    let said = |d: &&Doubling| d.from_bar <= to && d.to_bar >= from && !d.coincides;
    let here: Vec<&Doubling> = all.iter().filter(said).collect();
    // A singer whose notes an instrument has among others leads it all the same.
    let sings = |track: usize| read.cue.score.tracks.get(track).is_some_and(Track::is_sung);
    let mut within: Vec<(usize, usize)> = Vec::new();
    let mut leaders: Vec<(usize, Vec<(usize, i16)>)> = Vec::new();
    for d in &here {
        if sings(d.track) && !sings(d.of) {
            if !within.contains(&(d.track, d.of)) {
                within.push((d.track, d.of));
            }
            continue;
        }
        let follower = (d.track, d.semitones);
        match leaders.iter_mut().find(|l| l.0 == d.of) {
            Some((_, followers)) if followers.contains(&follower) => {}
            Some((_, followers)) => followers.push(follower),
            None => leaders.push((d.of, vec![follower])),
        }
    }
    leaders.sort_by_key(|l| std::cmp::Reverse(l.1.len()));
    for (of, followers) in leaders.iter().take(MOST_LEADERS) {
        let Some(leader) = read.chair(*of) else { continue };
        let said = followers.iter().filter_map(|follower| {
            let those = here.iter().filter(|d| d.of == *of && (d.track, d.semitones) == *follower).copied();
            Some(format!("{}{}", read.chair(follower.0)?, with(&those.collect::<Vec<_>>(), from, to)))
        });
        let said: Vec<String> = said.collect();
        let _ = writeln!(text, "  {:<15} {}", format!("col {leader}"), said.join(", "));
    }
    for pair @ (singer, of) in within {
        if let (Some(singer), Some(of)) = (read.chair(singer), read.chair(of)) {
            let those = here.iter().filter(|d| (d.track, d.of) == pair).copied().collect::<Vec<_>>();
            let with = with(&those, from, to);
            let _ = writeln!(text, "  {:<15} {of}{with}, among its other notes", format!("col {singer}"));
        }
    }
    let more: usize = leaders.iter().skip(MOST_LEADERS).map(|l| l.1.len()).sum();
    if more > 0 {
        let _ = writeln!(text, "  {:<15} {more} more; `--json` has them all", "col others");
    }
}

/// How a chair goes with its leader in a passage: ` 8va (3 to 5, 7; 95 %; in a slower rhythm)`.
fn with(those: &[&Doubling], from: i32, to: i32) -> String {
    let octave = match those.first().map_or(0, |d| d.semitones) {
        0 => "",
        12 => " 8va",
        -12 => " 8vb",
        24 => " 15ma",
        -24 => " 15mb",
        n if n > 0 => " 22ma",
        _ => " 22mb",
    };
    let mut beside = Vec::new();
    if !those.iter().any(|d| d.from_bar <= from && d.to_bar >= to) {
        let span = |d: &&Doubling| match (d.from_bar.max(from), d.to_bar.min(to)) {
            (a, b) if a == b => a.to_string(),
            (a, b) => format!("{a} to {b}"),
        };
        let word = if those.len() == 1 && those[0].from_bar.max(from) == those[0].to_bar.min(to) {
            "bar"
        } else {
            "bars"
        };
        beside.push(format!("{word} {}", those.iter().map(span).collect::<Vec<_>>().join(", ")));
    }
    let share = those.iter().map(|d| d.share).fold(1.0, f64::min);
    if share < 0.995 {
        beside.push(format!("{:.0} %", 100.0 * share));
    }
    beside.extend(those.iter().find_map(|d| d.simplified.as_ref()).map(ToString::to_string));
    if beside.is_empty() { octave.to_owned() } else { format!("{octave} ({})", beside.join("; ")) }
}
