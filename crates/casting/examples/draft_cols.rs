//! Drafts plans from music files, casts them, and says what came back: `draft_cols FILE...`.

use ripieno_casting::{DraftOptions, cast, draft};
use ripieno_plan::{Plan, Source, Template};
use std::collections::BTreeSet;
use std::time::Instant;

fn main() {
    for file in std::env::args().skip(1) {
        let bytes = std::fs::read(&file).expect("a file");
        let score = match ripieno_formats::read_score(&bytes) {
            Ok(s) => s,
            Err(e) => {
                println!("{file}: {e}");
                continue;
            }
        };
        let t0 = Instant::now();
        let reading = ripieno_discovery::read(&score);
        let t1 = Instant::now();
        let options = DraftOptions { title: None, music: file.clone(), template: "template.toml".into() };
        let d = draft(&score, &reading, &options);
        let t2 = Instant::now();
        let (plan, faults) = Plan::parse("cue.toml", &d.cue);
        let (template, more) = Template::parse("template.toml", &d.template);
        if std::env::var("SHOW").is_ok() {
            println!("{}", d.cue);
        }
        if !faults.is_empty() || !more.is_empty() {
            println!("FAULTS {faults:?} {more:?}");
        }
        let (parts, findings) = cast(&score, &plan, &template);
        for f in findings {
            if f.rule != "col-octave" {
                println!("{f:?}");
            }
        }
        let seats = ripieno_casting::chairs_of(&score);
        let mut missing = 0;
        let mut total = 0;
        let (mut found, mut cols, mut exact, mut exact_cols, mut pitches, mut pitch_cols) =
            (0, 0, 0, 0, 0, 0);
        for seat in &seats {
            let part = parts.iter().find(|p| p.chair == seat.id);
            let notes = &score.tracks[seat.track].content.notes;
            let got: &[ripieno_music::Note] = part.map_or(&[], |p| &p.content.notes);
            total += notes.len();
            let mut a: Vec<_> = notes.iter().collect();
            let mut b: Vec<_> = got.iter().collect();
            a.sort_by_key(|n| (n.at, n.pitch(), n.length));
            b.sort_by_key(|n| (n.at, n.pitch(), n.length));
            missing += a.len().abs_diff(b.len()) + a.iter().zip(&b).filter(|(a, b)| !a.plays_as(b)).count();
            let mut bars: BTreeSet<i32> = BTreeSet::new();
            let mut same: BTreeSet<i32> = BTreeSet::new();
            let mut pitched: BTreeSet<i32> = BTreeSet::new();
            for dbl in reading.doublings.iter().filter(|x| x.track == seat.track) {
                let theirs = &score.tracks[dbl.of].content.notes;
                for bar in dbl.from_bar..=dbl.to_bar {
                    let Some(b) = score.timeline.bar_numbered(bar) else { continue };
                    let inside = |n: &&ripieno_music::Note| n.at >= b.at && n.at < b.at + b.length;
                    let mut mine: Vec<_> = notes.iter().filter(inside).collect();
                    let mut others: Vec<_> = theirs.iter().filter(inside).collect();
                    if mine.is_empty() {
                        continue;
                    }
                    bars.insert(bar);
                    mine.sort_by_key(|n| (n.at, n.pitch()));
                    others.sort_by_key(|n| (n.at, n.pitch()));
                    if mine.len() == others.len()
                        && mine.iter().zip(&others).all(|(a, b)| {
                            let mut m = (**b).clone().moved(dbl.semitones);
                            m.syllable = a.syllable.clone();
                            a.plays_as(&m)
                        })
                    {
                        same.insert(bar);
                    }
                    if mine.len() == others.len()
                        && mine.iter().zip(&others).all(|(a, b)| {
                            (a.at, a.length, a.pitch())
                                == (b.at, b.length, b.pitch().map(|p| p.up(dbl.semitones)))
                        })
                    {
                        pitched.insert(bar);
                    }
                }
            }
            found += bars.len();
            exact += same.len();
            pitches += pitched.len();
            for bar in &bars {
                let passage = plan.passages.iter().find(|p| p.from_bar <= *bar && p.to_bar >= *bar);
                let Some(cell) = passage.and_then(|p| p.cells.iter().find(|c| c.chair == seat.id)) else {
                    continue;
                };
                let turns = &cell.words.divisions[0];
                let b = score.timeline.bar_numbered(*bar).expect("a bar");
                let all = notes.iter().filter(|n| n.at >= b.at && n.at < b.at + b.length).all(|n| {
                    let turn = turns.iter().rev().find(|t| {
                        t.from.is_none_or(|w| {
                            score.timeline.at(w.bar, w.beat.unwrap_or(1.0)).is_some_and(|at| at <= n.at)
                        })
                    });
                    turn.is_some_and(|t| matches!(t.source, Source::Col { .. }))
                });
                let all = all
                    || reading
                        .doublings
                        .iter()
                        .filter(|x| x.track == seat.track && x.from_bar <= *bar && x.to_bar >= *bar)
                        .any(|x| {
                            let Some(other) = seats.iter().find(|s| s.track == x.of) else { return false };
                            let Some(cell) =
                                passage.and_then(|p| p.cells.iter().find(|c| c.chair == other.id))
                            else {
                                return false;
                            };
                            let turns = &cell.words.divisions[0];
                            score.tracks[x.of]
                                .content
                                .notes
                                .iter()
                                .filter(|n| n.at >= b.at && n.at < b.at + b.length)
                                .all(|n| {
                                    let turn = turns.iter().rev().find(|t| {
                                        t.from.is_none_or(|w| {
                                            score
                                                .timeline
                                                .at(w.bar, w.beat.unwrap_or(1.0))
                                                .is_some_and(|at| at <= n.at)
                                        })
                                    });
                                    turn.is_some_and(|t| t.source == Source::Col { chair: seat.id.clone() })
                                })
                        });
                if !all && same.contains(bar) && std::env::var("LOST").is_ok() {
                    let d: Vec<String> = reading
                        .doublings
                        .iter()
                        .filter(|x| x.track == seat.track && x.from_bar <= *bar && x.to_bar >= *bar)
                        .map(|x| {
                            format!(
                                "{} {} {}-{}",
                                seats.iter().find(|s| s.track == x.of).map_or("", |s| &s.id),
                                x.semitones,
                                x.from_bar,
                                x.to_bar
                            )
                        })
                        .collect();
                    println!(
                        "LOST {} bar {bar} [{}-{}] {d:?}: {}",
                        seat.id,
                        passage.unwrap().from_bar,
                        passage.unwrap().to_bar,
                        cell.words
                    );
                }
                if all {
                    cols += 1;
                    if same.contains(bar) {
                        exact_cols += 1;
                    }
                    if pitched.contains(bar) {
                        pitch_cols += 1;
                    }
                }
            }
        }
        println!(
            "{}: {total} notes, {missing} differ; doubled bars {found}, col {cols} ({:.0} %), same pitches+lengths {pitches} (col {pitch_cols}), same notes {exact} (col {exact_cols} {:.0} %); read {:?} draft {:?}",
            file.rsplit('/').next().unwrap_or(""),
            100.0 * cols as f64 / found.max(1) as f64,
            100.0 * exact_cols as f64 / exact.max(1) as f64,
            t1 - t0,
            t2 - t1
        );
    }
}
