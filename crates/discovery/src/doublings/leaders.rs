//! Of several that move together: one leader.

use super::lines::Lines;
use super::stretch::{Stretch, without};
use std::collections::BTreeMap;

/// Leaves out what a common leader says already: where a chair goes with two others, and one of these goes with the other,
/// the chair names only that other.
///
/// Each step leaves chair and former leader both bound to the one that stays, so that whoever moved together still does.
///
/// Who has the same line goes before who has it as one voice of chords or in a figure: where basses go with a tuba, and both with
/// the lowest notes of a harp, the basses name the tuba.
pub(super) fn gather(lines: &Lines, mut all: Vec<Stretch>) -> Vec<Stretch> {
    let tracks = lines.lines.len();
    let mut index = 0;
    let mut of_chair: Vec<Vec<usize>> = vec![Vec::new(); tracks];
    // By chair, then leader: asked for every two of those who move together.
    let mut of_both: Vec<BTreeMap<usize, Vec<usize>>> = vec![BTreeMap::new(); tracks];
    for (i, stretch) in all.iter().enumerate() {
        of_chair[stretch.chair].push(i);
        of_both[stretch.chair].entry(stretch.of).or_default().push(i);
    }
    let mut gone = vec![false; all.len()];
    let mut chord: Vec<bool> = all.iter().map(|s| s.coincides(lines)).collect();
    while index < all.len() {
        let stretch = all[index].clone();
        let mut taken: Vec<(usize, usize)> = Vec::new();
        'leaders: for with_leader in of_chair[stretch.chair].iter().filter(|i| !gone[**i]) {
            let leader = &all[*with_leader];
            if leader.of == stretch.of || leader.to < stretch.from || leader.from > stretch.to {
                continue;
            }
            // The one that the other goes with stays, unless that one has chords and the other the line itself.
            let (above, below) = match (chord[index], chord[*with_leader]) {
                (false, true) => continue,
                (true, false) => (stretch.of, leader.of),
                _ => (leader.of, stretch.of),
            };
            let followers = of_both[below].get(&above).into_iter().flatten();
            for follows in followers.filter(|i| !gone[**i]) {
                let other = &all[*follows];
                let from = stretch.from.max(leader.from).max(other.from);
                let to = stretch.to.min(leader.to).min(other.to);
                if from <= to {
                    taken.push((from, to));
                }
                if (from, to) == (stretch.from, stretch.to) {
                    // All of it: others can take no more.
                    break 'leaders;
                }
            }
        }
        if !taken.is_empty() {
            gone[index] = true;
            for piece in without(lines, stretch, &taken) {
                let same = piece.from == all[index].from && piece.to == all[index].to;
                if same {
                    gone[index] = false;
                } else {
                    // Already without what is taken: it is not looked at again.
                    of_chair[piece.chair].push(all.len());
                    of_both[piece.chair].entry(piece.of).or_default().push(all.len());
                    gone.push(false);
                    chord.push(piece.coincides(lines));
                    all.push(piece);
                }
            }
        }
        index += 1;
    }
    all.into_iter().zip(gone).filter(|(_, gone)| !gone).map(|(stretch, _)| stretch).collect()
}
