//! Where a line may begin to be played in another octave: where it breathes, never inside a run.

use crate::{Desk, Table};
use ripieno_music::Note;
use ripieno_units::Beats;

/// A leap ends a figure, semitones: from a fourth on (common practice, no source).
const LEAP: i16 = 5;

/// Does the line of a desk breathe at a place: after a rest, at the start of a slur, at a leap, or after a note twice as long as the next?
pub(crate) fn breathes(desk: &Desk<'_>, at: Beats) -> bool {
    let notes = || desk.part.content.notes.iter();
    let before = notes().filter(|n| n.at < at).max_by_key(|n| (n.end(), n.at));
    let after = notes().filter(|n| n.at >= at).min_by_key(|n| n.at);
    let (Some(before), Some(after)) = (before, after) else { return true };
    if before.end() > at {
        return false;
    }
    if before.end() < after.at {
        return true;
    }
    if before.slurs_on || after.slurred {
        return false;
    }
    let key = |n: &Note| n.pitch().map(|p| p.key);
    let leap = key(before).zip(key(after)).is_none_or(|(a, b)| (a - b).abs() >= LEAP);
    // Slurs begin at the barlines of a run too: only one after a note of a crotchet or more is a phrase.
    let phrase = after.slurs_on && before.length >= Beats::whole(1);
    leap || phrase || before.length >= after.length * 2
}

/// May the cell of a desk that holds a bar be moved by an octave as a whole: do both its ends lie where the line breathes?
pub(crate) fn may_move(table: &Table<'_>, desk: &Desk<'_>, bar: i32) -> bool {
    let Some(passage) = table.passage_at(bar) else { return true };
    let from = table.timeline.bar_numbered(passage.from_bar).map(|b| b.at);
    let to = table.timeline.bar_numbered(passage.to_bar).map(|b| b.at + b.length);
    from.into_iter().chain(to).all(|at| breathes(desk, at))
}
