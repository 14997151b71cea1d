//! Who may lead whom, bar by bar: chairs may lead each other in turn within one passage.

use super::passages::Stretch;
use ripieno_music::{Doubling, Reading, Score};
use ripieno_units::Beats;
use std::collections::BTreeMap;

/// The order of the chairs in part of a passage.
pub(super) struct Order {
    from: Beats,
    to: Beats,
    /// By seat: who may lead has the lower rank.
    ranks: BTreeMap<usize, usize>,
}

/// The rank of each seat of a list, after those that lead it; where that goes round in a circle, who leads more first. `led`:
/// leaders with followers.
fn ranks(seats: &[usize], led: &[(usize, usize)]) -> BTreeMap<usize, usize> {
    // By seat: whom it leads, and whom it follows, of those that have no rank yet.
    let mut open: BTreeMap<usize, [Vec<usize>; 2]> =
        seats.iter().map(|seat| (*seat, [Vec::new(), Vec::new()])).collect();
    let there = |seat: &usize| seats.contains(seat);
    for (leader, follower) in led.iter().filter(|(a, b)| a != b && there(a) && there(b)) {
        for (seat, other, which) in [(leader, follower, 0), (follower, leader, 1)] {
            if let Some(links) = open.get_mut(seat) {
                links[which].push(*other);
            }
        }
    }
    let mut ranks = BTreeMap::new();
    // Of equal ones the first in the score.
    let worth =
        |[leads, follows]: &[Vec<usize>; 2]| (!follows.is_empty(), follows.len() as i64 - leads.len() as i64);
    while let Some(seat) = open.iter().min_by_key(|(_, links)| worth(links)).map(|(seat, _)| *seat) {
        let [leads, follows] = open.remove(&seat).unwrap_or_default();
        ranks.insert(seat, ranks.len());
        for (others, which) in [(leads, 1), (follows, 0)] {
            for other in others {
                if let Some(links) = open.get_mut(&other) {
                    links[which].retain(|one| *one != seat);
                }
            }
        }
    }
    ranks
}

/// Who goes before whom, in each part of a passage in which the same doublings were found.
pub(super) fn orders(
    score: &Score,
    reading: &Reading,
    seat_of: &[Option<usize>],
    stretch: &Stretch,
) -> Vec<Order> {
    let timeline = &score.timeline;
    let here = |d: &&Doubling| d.from_bar <= stretch.to_bar && d.to_bar >= stretch.from_bar && !d.coincides;
    let doublings: Vec<&Doubling> = reading.doublings.iter().filter(here).collect();
    let mut bars: Vec<i32> = doublings.iter().flat_map(|d| [d.from_bar, d.to_bar + 1]).collect();
    bars.push(stretch.from_bar);
    bars.retain(|bar| (stretch.from_bar..=stretch.to_bar).contains(bar));
    bars.sort_unstable();
    bars.dedup();
    // What lies before the first bar of all belongs to the first order.
    let begins = |bar: &i32| match timeline.bar_numbered(*bar) {
        Some(found) if *bar > stretch.from_bar => found.at.max(stretch.begins),
        _ => stretch.begins,
    };
    let ends = bars.iter().skip(1).map(begins).chain([stretch.ends]);
    let seat = |track: usize| seat_of.get(track).copied().flatten();
    bars.iter()
        .zip(ends)
        .map(|(bar, to)| {
            let holds = |d: &&&Doubling| d.from_bar <= *bar && d.to_bar >= *bar;
            let led = doublings.iter().filter(holds).filter_map(|d| Some((seat(d.of)?, seat(d.track)?)));
            Order { from: begins(bar), to, ranks: ranks(&stretch.playing, &led.collect::<Vec<_>>()) }
        })
        .collect()
}

/// When may a seat not go with another one? In order, what adjoins as one.
pub(super) fn not_after(orders: &[Order], seat: usize, leader: usize) -> Vec<(Beats, Beats)> {
    let after = |o: &&Order| match (o.ranks.get(&leader), o.ranks.get(&seat)) {
        (Some(leader), Some(own)) => leader > own,
        _ => true,
    };
    let mut times: Vec<(Beats, Beats)> = Vec::new();
    for order in orders.iter().filter(after) {
        match times.last_mut() {
            Some(last) if last.1 == order.from => last.1 = order.to,
            _ => times.push((order.from, order.to)),
        }
    }
    times
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn leaders_go_first_and_circles_by_how_many_they_lead() {
        let order = |led: &[(usize, usize)]| {
            let ranks = ranks(&[0, 1, 2, 3], led);
            let mut seats: Vec<usize> = ranks.keys().copied().collect();
            seats.sort_by_key(|seat| ranks[seat]);
            seats
        };
        assert_eq!(order(&[]), [0, 1, 2, 3]);
        assert_eq!(order(&[(3, 0), (0, 2), (3, 2)]), [3, 0, 1, 2]);
        // 1 and 2 lead each other; 2 leads another one too.
        assert_eq!(order(&[(1, 2), (2, 1), (2, 3)]), [0, 2, 1, 3]);
        // Nobody goes before himself, and who is not there counts for nothing.
        assert_eq!(order(&[(1, 1), (9, 0), (3, 2)]), [3, 0, 1, 2]);
    }

    #[test]
    fn times_that_adjoin_are_one() {
        let order = |from: i64, led: (usize, usize)| Order {
            from: Beats::whole(from),
            to: Beats::whole(from + 4),
            ranks: ranks(&[0, 1], &[led]),
        };
        let orders = [order(0, (0, 1)), order(4, (0, 1)), order(8, (1, 0)), order(12, (0, 1))];
        let times = |seat, leader| not_after(&orders, seat, leader);
        assert_eq!(times(0, 1), [(Beats::whole(0), Beats::whole(8)), (Beats::whole(12), Beats::whole(16))]);
        assert_eq!(times(1, 0), [(Beats::whole(8), Beats::whole(12))]);
    }
}
