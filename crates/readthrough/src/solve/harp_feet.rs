//! The feet of a harpist when it is settled which pedals move for which notes: when each of them does, exactly and quickly.
//!
//! One pedal moves at a time, and the moves of one pedal follow each other, so a foot's work is a merging of at most seven rows,
//! one for each of its pedals. A state is how far each row has come; of the ways to reach it only those are kept that no other
//! beats in both price and time. A pedal waits while another can be moved at ease before it; what can no longer be done in
//! time is left at once. So few states are open at any moment, and the time grows with the number of moves.

use super::harp_pedals::{
    BUZZ, CHANGE, LATE, PedalMove, QUICK, SAME_STRING, Search, Setting, Solution, State, TWO_STEPS, UNSET,
};
use super::lane::{self, EPSILON, Job};
use std::collections::BTreeMap;

/// One move that a foot is asked for.
#[derive(Clone, Debug, PartialEq)]
pub struct Task {
    /// The pedal.
    pub letter: u8,
    /// The ways to make it: not before this, how long it takes, what that costs. The first is the best that there is.
    pub ways: Vec<(f64, f64, f64)>,
    /// Done by then, seconds.
    pub due: f64,
}

/// What becomes of the tasks of one foot.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Done {
    /// Task, way and job in the order in which the foot does them; what is not named is not done.
    pub order: Vec<(usize, usize, Job)>,
    /// What the ways cost, and what was left.
    pub cost: f64,
    /// So much is asked that ways were dropped that may have been part of a better one.
    pub cut: bool,
}

/// Seconds before the first move is due: time for everything that may be set before the music.
const BEFORE: f64 = 1000.0;

/// Ways to one state that are kept: more than this only where hardly anything can be done in time.
const WIDEST: usize = 24;

type Heads = [u32; 7];

#[derive(Clone, Copy)]
struct Node {
    cost: f64,
    free: f64,
    back: usize,
    /// Task and way; `None` as the way: not done.
    settled: (usize, Option<usize>),
}

/// The cheapest way for one foot to do its tasks, which are in the order of their due times; one that is not done costs `left`.
pub fn cheapest(tasks: &[Task], left: f64) -> Done {
    let mut rows: [Vec<usize>; 7] = Default::default();
    for (index, task) in tasks.iter().enumerate() {
        rows[usize::from(task.letter).min(6)].push(index);
    }
    let takes = tasks.iter().flat_map(|t| &t.ways).map(|w| w.1);
    let least = takes.fold(f64::INFINITY, f64::min).max(0.01);
    let mut cut = false;
    // What may be done at any time before the music is done in the time before it: a number, so that it can be counted from.
    let begin = tasks.first().map_or(0.0, |t| t.due) - BEFORE;
    // Node 0 is the start.
    let mut nodes = vec![Node { cost: 0.0, free: begin, back: 0, settled: (0, None) }];
    let mut layer: BTreeMap<Heads, Vec<usize>> = BTreeMap::from([([0; 7], vec![0])]);
    for _ in 0..tasks.len() {
        let mut next: BTreeMap<Heads, Vec<usize>> = BTreeMap::new();
        for (heads, open) in layer {
            let waiting: Vec<(usize, usize)> = (0..7)
                .filter_map(|row| rows[row].get(heads[row] as usize).map(|task| (row, *task)))
                .collect();
            for back in open {
                let (cost, free) = (nodes[back].cost, nodes[back].free);
                let mut put = |row: usize, task: usize, way: Option<usize>, cost: f64, free: f64| {
                    let mut heads = heads;
                    heads[row] += 1;
                    let front = next.entry(heads).or_default();
                    // Whoever is later can leave the few tasks that are begun in between.
                    let beats = |a: (f64, f64), b: (f64, f64)| {
                        let later = a.1 > b.1 + EPSILON;
                        let more = if later { left * ((a.1 - b.1) / least).ceil() } else { 0.0 };
                        a.0 + more <= b.0 + EPSILON
                    };
                    let of = |n: &usize| (nodes[*n].cost, nodes[*n].free);
                    if front.iter().any(|n| beats(of(n), (cost, free))) {
                        return;
                    }
                    front.retain(|n| !beats((cost, free), of(n)));
                    front.push(nodes.len());
                    if front.len() > WIDEST {
                        // The newest is not looked at: it is the next to be stored.
                        let costliest = (0..WIDEST)
                            .max_by(|a, b| nodes[front[*a]].cost.total_cmp(&nodes[front[*b]].cost));
                        front.swap_remove(costliest.unwrap_or(0));
                        cut = true;
                    }
                    nodes.push(Node { cost, free, back, settled: (task, way) });
                };
                // What can no longer be done in time is left now.
                let can = |task: &Task| task.ways.iter().any(|w| free.max(w.0) + w.1 <= task.due + EPSILON);
                if let Some((row, task)) = waiting.iter().find(|w| !can(&tasks[w.1])) {
                    put(*row, *task, None, cost + left, free);
                    continue;
                }
                // At its best, the first of them ends then: whoever would begin later can wait for it.
                let at_ease = |task: &Task| {
                    let (release, takes, price) = task.ways[0];
                    let end = free.max(release) + takes;
                    (price == 0.0 && end <= task.due + EPSILON).then_some(end)
                };
                let first = waiting.iter().filter_map(|w| at_ease(&tasks[w.1])).fold(f64::INFINITY, f64::min);
                for (row, task) in &waiting {
                    for (way, (release, takes, price)) in tasks[*task].ways.iter().enumerate() {
                        let (begin, end) = (free.max(*release), free.max(*release) + takes);
                        if begin < first - EPSILON && end <= tasks[*task].due + EPSILON {
                            put(*row, *task, Some(way), cost + price, end);
                        }
                    }
                }
                // Leaving one can always be put off until it is the next that is due.
                if let Some((row, task)) =
                    waiting.iter().min_by(|a, b| tasks[a.1].due.total_cmp(&tasks[b.1].due))
                {
                    put(*row, *task, None, cost + left, free);
                }
            }
        }
        layer = next;
    }
    let ends = layer.into_values().flatten();
    let best = ends.min_by(|a, b| nodes[*a].cost.total_cmp(&nodes[*b].cost).then(a.cmp(b))).unwrap_or(0);
    let mut done = Done { order: Vec::new(), cost: nodes[best].cost, cut };
    let mut at = best;
    while at != 0 {
        let Node { back, settled: (task, way), .. } = nodes[at];
        if let Some(way) = way {
            let (release, takes, _) = tasks[task].ways[way];
            done.order.push((
                task,
                way,
                Job { tag: tasks[task].letter, release, due: tasks[task].due, takes },
            ));
        }
        at = back;
    }
    done.order.reverse();
    done
}

impl Search<'_> {
    /// The strings of a solution, with the feet moved as well as can be.
    pub(super) fn retimed(&self, found: Solution) -> Solution {
        let better = self.timed(found.start, found.played.clone(), true);
        if better.cost <= found.cost { better } else { found }
    }

    /// The way through where it is settled on which strings each event is taken: the feet do the rest, each for itself.
    pub(super) fn timed(&self, initial: Setting, played: Vec<Setting>, narrowed: bool) -> Solution {
        let mut state = State::at(initial);
        let mut tasks: [Vec<Task>; 2] = Default::default();
        let mut task_of: [Vec<usize>; 2] = Default::default();
        let mut solution = Solution {
            start: initial,
            initial,
            moves: Vec::new(),
            played: Vec::new(),
            clashes: self.clashes.clone(),
            cost: 0.0,
            narrowed,
        };
        for (event, way) in played.iter().enumerate() {
            solution.cost += SAME_STRING * self.same_strings(&state, event, way);
            let mut after = state.clone();
            for letter in (0..7).filter(|l| way[*l] != UNSET) {
                after.position[letter] = way[letter];
                after.last[letter] = event as i32;
                if solution.initial[letter] == UNSET {
                    solution.initial[letter] = way[letter];
                }
            }
            for letter in (0..7).filter(|l| ![way[*l], state.position[*l]].contains(&UNSET)) {
                let (from, to) = (state.position[letter], way[letter]);
                if from == to {
                    continue;
                }
                solution.cost += CHANGE + if (from - to).abs() == 2 { TWO_STEPS } else { 0.0 };
                let (release, clean) = self.free_from(&state, &after, event, letter);
                let (slow, quick) = (self.facts.comfortable, self.facts.least);
                let mut ways = vec![(clean, slow, 0.0), (clean, quick, QUICK)];
                if release < clean - EPSILON {
                    ways.extend([(release, slow, BUZZ), (release, quick, BUZZ + QUICK)]);
                }
                let foot = self.foot[letter];
                tasks[foot].push(Task { letter: letter as u8, ways, due: self.events[event].at });
                task_of[foot].push(solution.moves.len());
                let after = usize::try_from(state.last[letter]).ok();
                let letter = letter as u8;
                solution.moves.push(PedalMove { letter, from, to, event, after, timed: None, buzz: false });
            }
            state = after;
        }
        for foot in 0..2 {
            let done = cheapest(&tasks[foot], LATE);
            solution.cost += done.cost;
            solution.narrowed |= done.cut;
            let jobs: Vec<Job> = done.order.iter().map(|o| o.2).collect();
            for ((task, way, _), timed) in done.order.iter().zip(lane::as_late_as_possible(&jobs)) {
                let one = &mut solution.moves[task_of[foot][*task]];
                (one.timed, one.buzz) = (Some(timed), *way > 1);
            }
        }
        solution.played = played;
        solution.cost += LATE * self.clashes.len() as f64;
        solution
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn task(letter: u8, release: f64, due: f64) -> Task {
        Task { letter, ways: vec![(release, 0.5, 0.0), (release, 0.2, 0.5)], due }
    }

    #[test]
    fn what_is_due_first_is_not_always_done_first() {
        let found = cheapest(&[task(0, 1.0, 1.6), task(1, 0.0, 1.7)], 20.0);
        assert_eq!((found.order.iter().map(|o| o.0).collect::<Vec<_>>(), found.cost), (vec![1, 0], 0.0));
        // Both within half a second: quickly, and if a third comes in between, one is left.
        let found = cheapest(&[task(0, 1.0, 1.5), task(1, 1.0, 1.5)], 20.0);
        assert!((found.cost - 1.0).abs() < 1e-9);
        let found = cheapest(&[task(0, 1.0, 1.5), task(1, 1.0, 1.5), task(2, 1.0, 1.5)], 20.0);
        assert!((found.cost - 21.0).abs() < 1e-9 && found.order.len() == 2);
    }

    #[test]
    fn many_moves_take_a_moment() {
        let tasks: Vec<Task> = (0..20_000u32)
            .map(|i| {
                let due = f64::from(i) * 0.13;
                task((i % 4) as u8, due - 0.4 - f64::from(i * 7 % 5) * 0.02, due)
            })
            .collect();
        assert!(cheapest(&tasks, 20.0).order.len() > 10_000);
    }
}
