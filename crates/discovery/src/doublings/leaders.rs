//! Of several that move together: one leader.

use super::lines::Lines;
use super::stretch::{Stretch, without};

/// Leaves out what a common leader says already: where a chair goes with two others, and one of these goes with the other,
/// the chair names only that other.
///
/// Each step leaves chair and former leader both bound to the one that stays, so that whoever moved together still does.
pub(super) fn gather(lines: &Lines, mut all: Vec<Stretch>) -> Vec<Stretch> {
    let tracks = lines.lines.len();
    let mut index = 0;
    let mut of_chair: Vec<Vec<usize>> = vec![Vec::new(); tracks];
    for (i, stretch) in all.iter().enumerate() {
        of_chair[stretch.chair].push(i);
    }
    let mut gone = vec![false; all.len()];
    while index < all.len() {
        let stretch = all[index].clone();
        let mut taken: Vec<(usize, usize)> = Vec::new();
        for with_leader in of_chair[stretch.chair].iter().filter(|i| !gone[**i]) {
            let leader = &all[*with_leader];
            if leader.of == stretch.of || leader.to < stretch.from || leader.from > stretch.to {
                continue;
            }
            for follows in of_chair[stretch.of].iter().filter(|i| !gone[**i]) {
                let other = &all[*follows];
                let from = stretch.from.max(leader.from).max(other.from);
                let to = stretch.to.min(leader.to).min(other.to);
                if other.of == leader.of && from <= to {
                    taken.push((from, to));
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
                    gone.push(false);
                    all.push(piece);
                }
            }
        }
        index += 1;
    }
    all.into_iter().zip(gone).filter(|(_, gone)| !gone).map(|(stretch, _)| stretch).collect()
}
