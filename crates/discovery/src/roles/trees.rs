//! How likely a track has the tune, by its numbers: many small trees of questions, each of which adds to the sum.
//!
//! Gradient boosting after J. H. Friedman ("Greedy function approximation: a gradient boosting machine", 2001). Written by
//! `tests/cross/tune.py --fit`; see there from what.

use super::evidence::NUMBERS;
use std::sync::LazyLock;

/// One line a tree: its nodes, the root first. `7<0.5:1:2` asks whether number 7 is at most 0.5 and goes on at node 1 if so and
/// else at node 2; `=0.04` adds to the sum.
const TREES: &str = include_str!("../../data/tune.txt");

/// A question, or an answer.
#[derive(Clone, Copy, Debug)]
struct Node {
    /// Which number is asked for; `NUMBERS` for an answer.
    number: u16,
    /// Nodes to go on at, as indices of all nodes.
    next: [u16; 2],
    /// The bound, or the answer.
    value: f64,
}

struct Trees {
    nodes: Vec<Node>,
    roots: Vec<usize>,
}

static ALL: LazyLock<Trees> = LazyLock::new(|| {
    let mut all = Trees { nodes: Vec::new(), roots: Vec::new() };
    for line in TREES.lines().filter(|l| !l.trim().is_empty() && !l.starts_with('#')) {
        let first = all.nodes.len();
        let nodes: Option<Vec<Node>> = line.split_whitespace().map(|word| node(word, first)).collect();
        // A line that cannot be read is left out: the tests see to it that there is none.
        let Some(nodes) = nodes.filter(|n| !n.is_empty() && goes_down(n, first)) else { continue };
        all.roots.push(first);
        all.nodes.extend(nodes);
    }
    all
});

fn node(word: &str, first: usize) -> Option<Node> {
    if let Some(value) = word.strip_prefix('=') {
        return Some(Node { number: NUMBERS as u16, next: [0; 2], value: value.parse().ok()? });
    }
    let (number, rest) = word.split_once('<')?;
    let mut parts = rest.split(':');
    let value = parts.next()?.parse().ok()?;
    let mut next = || u16::try_from(first + parts.next()?.parse::<usize>().ok()?).ok();
    Some(Node { number: number.parse().ok()?, value, next: [next()?, next()?] })
}

/// Every question leads on to nodes after it, so that each way ends.
fn goes_down(nodes: &[Node], first: usize) -> bool {
    nodes.iter().enumerate().all(|(i, node)| {
        let on = |next: &u16| (first + i + 1..first + nodes.len()).contains(&usize::from(*next));
        usize::from(node.number) == NUMBERS
            || (usize::from(node.number) < NUMBERS && node.next.iter().all(on))
    })
}

/// Log odds of having the tune, up to a constant.
pub(super) fn likely(numbers: &[f64; NUMBERS]) -> f64 {
    let all = &*ALL;
    let mut sum = 0.0;
    for root in &all.roots {
        let mut at = *root;
        while let Some(node) = all.nodes.get(at) {
            let Some(x) = numbers.get(usize::from(node.number)) else {
                sum += node.value;
                break;
            };
            at = usize::from(node.next[usize::from(*x > node.value)]);
        }
    }
    sum
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_line_is_a_tree() {
        let lines = TREES.lines().filter(|l| !l.trim().is_empty() && !l.starts_with('#')).count();
        assert_eq!(ALL.roots.len(), lines);
        assert!(lines >= 100, "{lines}");
        assert!(likely(&[0.0; NUMBERS]).is_finite());
    }

    #[test]
    fn lines_that_are_no_trees_are_none() {
        assert!(node("7<0.5:1", 0).is_none());
        assert!(node("seven", 0).is_none());
        let round = [node("7<0.5:0:1", 0).unwrap(), node("=1", 0).unwrap()];
        assert!(!goes_down(&round, 0));
        let good = [node("7<0.5:1:2", 10).unwrap(), node("=1", 10).unwrap(), node("=-1", 10).unwrap()];
        assert!(goes_down(&good, 10));
    }
}
