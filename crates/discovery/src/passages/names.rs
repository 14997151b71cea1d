//! Names of passages: the source's own, else by the rehearsal mark that they follow, else letters by likeness of content.
//!
//! A score with rehearsal marks has its own order of letters or numbers, into which no others may be mixed: a passage found
//! between them is `A2` after the mark `A`, `14b` after the mark `14`, and before the first of them `(before A)`. In a score
//! without, a passage that comes again in other colours is `A'`, the third time `A''`.

use super::{Seam, likeness::likeness, marks::first_whole_bar};
use crate::survey::Survey;
use ripieno_music::Score;
use std::collections::BTreeSet;

/// Passages are alike from here on: mean likeness of bars, 0 to 1. Set on generated arrangements (`tests/cross/passages.py`).
const ALIKE: f64 = 0.8;
/// No more passages than this are compared with each other by content; a piece of more has closely set marks of its own.
const MOST_COMPARED: usize = 200;

/// A mark of more characters is the name of a section and no letter or number to count on from.
const SHORT: usize = 3;
/// From so many such marks on a score is one with rehearsal marks.
const MARKED: usize = 2;

/// One name for each seam, none twice.
pub(super) fn names(score: &Score, survey: &Survey, seams: &[Seam]) -> Vec<String> {
    // The source's own names come first, so that no found name takes one of them.
    let mut taken: BTreeSet<String> = BTreeSet::new();
    let own: Vec<Option<String>> =
        seams.iter().map(|seam| seam.name.as_ref().map(|name| numbered(name, &mut taken))).collect();
    let short = |name: &str| name.chars().count() <= SHORT && name.chars().all(char::is_alphanumeric);
    let marks: BTreeSet<&str> = seams.iter().filter_map(|s| s.name.as_deref()).filter(|n| short(n)).collect();
    if marks.len() >= MARKED {
        by_marks(seams, own, &mut taken)
    } else {
        by_likeness(score, survey, seams, own, taken)
    }
}

/// Names after the mark that stands before.
fn by_marks(seams: &[Seam], own: Vec<Option<String>>, taken: &mut BTreeSet<String>) -> Vec<String> {
    let first = seams.iter().find_map(|s| s.name.as_deref()).unwrap_or_default();
    let before = format!("(before {first})");
    // What is counted on from, and how many passages it has so far.
    let (mut stem, mut count) = (before, 0);
    own.into_iter()
        .map(|own| match own {
            Some(name) => {
                (stem, count) = (name.clone(), 1);
                name
            }
            None => loop {
                count += 1;
                let name = if count == 1 { stem.clone() } else { counted(&stem, count) };
                if taken.insert(name.to_lowercase()) {
                    break name;
                }
            },
        })
        .collect()
}

/// The second passage of `A` is `A2`, of `14` is `14b` (`142` would be another mark), of `Storm` is `Storm 2`.
fn counted(stem: &str, count: usize) -> String {
    match (stem.chars().next_back(), u8::try_from(count)) {
        (Some(last), Ok(count @ 2..=26)) if last.is_numeric() => {
            format!("{stem}{}", char::from(b'a' + count - 1))
        }
        (Some(last), _) if last.is_alphabetic() && stem.chars().count() <= SHORT => format!("{stem}{count}"),
        _ => format!("{stem} {count}"),
    }
}

fn by_likeness(
    score: &Score,
    survey: &Survey,
    seams: &[Seam],
    mut names: Vec<Option<String>>,
    mut taken: BTreeSet<String>,
) -> Vec<String> {
    let first = first_whole_bar(&score.timeline);
    let spans: Vec<(usize, usize)> = seams
        .iter()
        .enumerate()
        .map(|(i, s)| {
            let from = if s.bar == 0 { first.min(survey.bars) } else { s.bar };
            (from, seams.get(i + 1).map_or(survey.bars, |next| next.bar))
        })
        .collect();
    // Families: the first passage of each, its letter and how often it came.
    let mut families: Vec<(usize, String, usize)> = Vec::new();
    let mut letters = 0;
    for i in 0..seams.len() {
        if names[i].is_some() {
            continue;
        }
        let like = families
            .iter()
            .enumerate()
            .take(MOST_COMPARED)
            .map(|(f, (other, _, _))| (likeness(survey, spans[*other], spans[i]), f))
            .filter(|(likeness, _)| *likeness >= ALIKE)
            .max_by(|a, b| a.0.total_cmp(&b.0).then(b.1.cmp(&a.1)));
        let name = if let Some((_, f)) = like {
            let (_, letter, times) = &mut families[f];
            *times += 1;
            primed(letter, *times, &mut taken)
        } else {
            let mut name = letter(letters);
            while taken.contains(&name.to_lowercase()) || family_taken(&name, &taken) {
                letters += 1;
                name = letter(letters);
            }
            letters += 1;
            families.push((i, name.clone(), 1));
            taken.insert(name.to_lowercase());
            name
        };
        names[i] = Some(name);
    }
    names.into_iter().flatten().collect()
}

/// A letter that the source uses with a number or a dash is left to the source.
fn family_taken(name: &str, taken: &BTreeSet<String>) -> bool {
    let name = name.to_lowercase();
    taken.contains(&format!("{name}'")) || taken.contains(&format!("{name} (2)"))
}

fn numbered(name: &str, taken: &mut BTreeSet<String>) -> String {
    let mut candidate = name.to_owned();
    let mut n = 1;
    while !taken.insert(candidate.to_lowercase()) {
        n += 1;
        candidate = format!("{name} ({n})");
    }
    candidate
}

/// `A'`, `A''`, `A'''`, `A (5)`.
fn primed(letter: &str, times: usize, taken: &mut BTreeSet<String>) -> String {
    let mut times = times;
    loop {
        let name = if times <= 4 {
            format!("{letter}{}", "'".repeat(times - 1))
        } else {
            format!("{letter} ({times})")
        };
        if taken.insert(name.to_lowercase()) {
            return name;
        }
        times += 1;
    }
}

/// A to Z, then AA, AB ...
fn letter(mut index: usize) -> String {
    let mut name = String::new();
    loop {
        name.insert(0, char::from(b'A' + (index % 26) as u8));
        if index < 26 {
            return name;
        }
        index = index / 26 - 1;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn named(marks: &[&str]) -> Vec<String> {
        let seam =
            |name: &&str| Seam { name: (!name.is_empty()).then(|| (*name).to_owned()), ..Seam::default() };
        let seams: Vec<Seam> = marks.iter().map(seam).collect();
        let mut taken = BTreeSet::new();
        let own = seams.iter().map(|s| s.name.as_ref().map(|n| numbered(n, &mut taken))).collect();
        by_marks(&seams, own, &mut taken)
    }

    #[test]
    fn between_marks_a_passage_is_named_after_the_one_before() {
        assert_eq!(
            named(&["", "", "A", "", "", "B", "C"]),
            ["(before A)", "(before A) 2", "A", "A2", "A3", "B", "C"]
        );
        assert_eq!(
            named(&["1", "", "2", "Storm", "", "AA", ""]),
            ["1", "1b", "2", "Storm", "Storm 2", "AA", "AA2"]
        );
    }

    #[test]
    fn no_name_comes_twice() {
        // The score has an A2 of its own; and a repeat brings A again.
        assert_eq!(named(&["A", "", "A2", "", "A", ""]), ["A", "A3", "A2", "A2b", "A (2)", "A (2) 2"]);
        let mut many = named(&[["1"].as_slice(), &[""; 40]].concat());
        let all = many.len();
        many.sort();
        many.dedup();
        assert_eq!((many.len(), all), (41, 41));
    }
}
