//! Cells with their dynamics or their octave changed, for the changes that findings of balance carry.

use crate::Table;
pub use crate::playable::cell_edit::with_octave;
use crate::playable::cell_edit::words;
use ripieno_music::Dynamic;
use ripieno_plan::{CellMark, DynamicStep, Source};

/// dB between two marks.
pub const STEP: f64 = 4.5;

/// From ppp to fff.
fn marks() -> &'static [Dynamic] {
    &Dynamic::LADDER[1..9]
}

/// The mark nearest to a level in dB re mf.
pub fn nearest(level: f64) -> Dynamic {
    let index = ((level + 18.0) / STEP).round().clamp(0.0, 7.0) as usize;
    marks().get(index).copied().unwrap_or(Dynamic::Mf)
}

fn moved(mark: Dynamic, steps: i32) -> Option<Dynamic> {
    let Some(index) = marks().iter().position(|m| *m == mark) else {
        // Accents keep within the level; into nothing stays so. Marks that hold two levels cannot be moved by steps.
        return mark.level().is_none_or(|_| mark == Dynamic::Niente).then_some(mark);
    };
    marks().get(usize::try_from(index as i32 + steps).ok()?).copied()
}

/// The cell with its dynamics moved by `steps` marks, and the words for it ("mp instead of mf"). A cell without dynamics
/// gets one: the nearest to `level` (dB re mf), moved. `None` where marks end, or where the cell cannot be read.
pub fn with_steps(text: &str, steps: i32, level: f64) -> Option<(String, String)> {
    let mut cell = words(text)?;
    if let Some(CellMark::Dynamics(marks)) =
        cell.marks.iter_mut().find(|m| matches!(m, CellMark::Dynamics(_)))
    {
        let several = marks.len() > 1;
        let before = CellMark::Dynamics(marks.clone()).to_string();
        for mark in marks.iter_mut() {
            mark.dynamic = moved(mark.dynamic, steps)?;
        }
        let after = CellMark::Dynamics(marks.clone()).to_string();
        let text = cell.to_string();
        // Whoever reads of a whole hairpin wants to know the difference; the cell has the rest.
        let said = match several {
            true => format!("{} {} throughout", count(steps), if steps > 0 { "louder" } else { "softer" }),
            false => format!("{after} instead of {before}"),
        };
        return (before != after && words(&text).is_some()).then_some((text, said));
    }
    let dynamic = moved(nearest(level), steps)?;
    cell.marks.push(CellMark::Dynamics(vec![DynamicStep { hairpin: None, dynamic, at: None }]));
    let text = cell.to_string();
    words(&text)?;
    Some((text, format!("{} instead of about {}", dynamic.word(), nearest(level).word())))
}

/// So many marks of dynamics, in words.
fn count(steps: i32) -> String {
    match steps.abs() {
        1 => "a mark".into(),
        n => format!("{n} marks"),
    }
}

/// Whether a cell sets its own dynamics.
pub fn sets_dynamics(text: &str) -> bool {
    words(text).is_some_and(|c| c.marks.iter().any(|m| matches!(m, CellMark::Dynamics(_))))
}

/// Does a cell go with this chair, and if so, is all that it plays the other's, with the other's marks?
fn follows(text: &str, id: &str) -> Option<bool> {
    // Most cells do not name this chair; these need not be read.
    let has = |word: &str| {
        !word.is_empty()
            && text.as_bytes().windows(word.len()).any(|w| w.eq_ignore_ascii_case(word.as_bytes()))
    };
    if !has("col") || !has(id) {
        return None;
    }
    let cell = words(text)?;
    let of_it = |source: &Source| matches!(source, Source::Col { chair } if chair == id);
    let turns = || cell.divisions.iter().flatten().map(|t| &t.source);
    let own_marks = cell.marks.iter().any(|m| matches!(m, CellMark::AsWritten(_)));
    turns().any(of_it).then(|| !own_marks && turns().all(|s| of_it(s) || *s == Source::Tacet))
}

/// Chairs (by desk) that play `col` this one in the passage that holds a bar.
pub fn followers(table: &Table<'_>, desk: usize, bar: i32) -> Vec<usize> {
    following(table, desk, bar).map(|(i, _)| i).collect()
}

/// Those of them that play nothing else there, and nothing with marks of their own: what is changed of this chair is changed of all
/// that they play.
pub fn whole_followers(table: &Table<'_>, desk: usize, bar: i32) -> Vec<usize> {
    following(table, desk, bar).filter(|(_, whole)| *whole).map(|(i, _)| i).collect()
}

fn following<'a>(table: &'a Table<'_>, desk: usize, bar: i32) -> impl Iterator<Item = (usize, bool)> + 'a {
    let id = table.desks.get(desk).map_or("", |d| d.id());
    let desks = table.desks.iter().enumerate().filter(move |(i, _)| *i != desk);
    desks.filter_map(move |(i, d)| Some((i, follows(table.cell_at(d.id(), bar)?, id)?)))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn dynamics_move_by_marks() {
        let of = |text: &str, steps| with_steps(text, steps, 0.0).map(|c| c.0);
        assert_eq!(of("melody, mf", -1).as_deref(), Some("melody, mp"));
        assert_eq!(of("melody, pp < f (bar 5) > p", 1).as_deref(), Some("melody, p < ff (bar 5) > mp"));
        assert_eq!(with_steps("melody, pp < f", 1, 0.0).unwrap().1, "a mark louder throughout");
        assert_eq!(with_steps("melody, f", -2, 0.0).unwrap().1, "mp instead of f");
        assert_eq!(of("melody, p > niente", -1).as_deref(), Some("melody, pp > niente"));
        assert_eq!(of("melody, ppp", -1), None);
        assert_eq!(of("melody, fp", -1), None);
        assert_eq!(
            with_steps("as written", -1, 4.5).unwrap(),
            ("as written, mf".into(), "mf instead of about f".into())
        );
        assert_eq!(of("melody,, p", 1), None);
    }

    #[test]
    fn who_follows_wholly_goes_along() {
        for (text, whole) in [
            ("as written", None),
            ("col cello", None),
            ("col violin-2", Some(true)),
            ("tacet; from 3 col violin-2 8vb, p", Some(true)),
            ("div.: col violin-2 / col violin-2 8vb", Some(true)),
            ("col violin-2; from 144 as written", Some(false)),
            ("div.: col violin-2 / col cello", Some(false)),
            ("col violin-2, marks as written", Some(false)),
            ("col violin-2 8vb, rhythm as written", Some(false)),
        ] {
            assert_eq!(follows(text, "violin-2"), whole, "{text}");
        }
    }

    #[test]
    fn octaves_move() {
        assert_eq!(with_octave("melody, p", 12).as_deref(), Some("melody 8va, p"));
        assert_eq!(with_octave("tacet", 12), None);
    }
}
