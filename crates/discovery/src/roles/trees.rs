//! How likely a track has the tune, by its numbers: many small trees of questions, each of which adds to the sum.
//!
//! Gradient boosting after J. H. Friedman ("Greedy function approximation: a gradient boosting machine", 2001). Written by
//! `tests/cross/tune.py --fit`; see there from what.

use super::evidence::NUMBERS;
use std::sync::LazyLock;

/// One line a tree: its nodes, the root first. `7<0.5:1:2` asks whether number 7 is at most 0.5 and goes on at node 1 if so and
/// else at node 2; `=0.04` adds to the sum.
const TREES: &str = include_str!("../../data/tune.txt");

/// Questions of one tree, at most.
const MOST: usize = 3;

/// A question, or an answer.
#[derive(Clone, Copy, Debug)]
enum Node {
    /// Is this number more than the bound? Then on at the second of two nodes of its tree, else at the first.
    Question {
        number: u8,
        bound: f64,
        next: [usize; 2],
    },
    Answer(f64),
}

/// A tree with all of its questions asked at once: what is answered to each of the sets of those that are true. A processor
/// does that in less time than it needs to guess which way the next question goes.
#[derive(Clone, Copy, Debug)]
struct Tree {
    /// Which numbers are asked for, and by how much each must be passed; a tree of fewer questions asks for what is never true.
    numbers: [u8; MOST],
    bounds: [f64; MOST],
    /// By the questions that are true, the first of them counting 1, the second 2 and so on.
    answers: [f64; 1 << MOST],
}

static ALL: LazyLock<Vec<Tree>> = LazyLock::new(|| {
    // A line that cannot be read is left out: the tests see to it that there is none.
    TREES.lines().filter(|l| !l.trim().is_empty() && !l.starts_with('#')).filter_map(tree).collect()
});

fn tree(line: &str) -> Option<Tree> {
    let nodes: Vec<Node> = line.split_whitespace().map(node).collect::<Option<_>>()?;
    // Every question leads on to nodes after it, so that each way ends.
    let down = |(i, node): (usize, &Node)| match node {
        Node::Question { next, .. } => next.iter().all(|n| (i + 1..nodes.len()).contains(n)),
        Node::Answer(_) => true,
    };
    let mut tree = Tree { numbers: [0; MOST], bounds: [f64::INFINITY; MOST], answers: [0.0; 1 << MOST] };
    let questions: Vec<usize> =
        (0..nodes.len()).filter(|i| matches!(nodes[*i], Node::Question { .. })).collect();
    if nodes.is_empty() || !nodes.iter().enumerate().all(down) || questions.len() > MOST {
        return None;
    }
    for (place, question) in questions.iter().enumerate() {
        if let Node::Question { number, bound, .. } = nodes[*question] {
            (tree.numbers[place], tree.bounds[place]) = (number, bound);
        }
    }
    for (truths, answer) in tree.answers.iter_mut().enumerate() {
        let mut at = 0;
        *answer = loop {
            match nodes[at] {
                Node::Answer(answer) => break answer,
                Node::Question { next, .. } => {
                    let place = questions.iter().position(|q| *q == at).unwrap_or(0);
                    at = next[truths >> place & 1];
                }
            }
        };
    }
    Some(tree)
}

fn node(word: &str) -> Option<Node> {
    if let Some(answer) = word.strip_prefix('=') {
        return Some(Node::Answer(answer.parse().ok()?));
    }
    let (number, rest) = word.split_once('<')?;
    let mut parts = rest.split(':');
    let bound = parts.next()?.parse().ok()?;
    let mut next = || parts.next()?.parse().ok();
    let number = number.parse().ok().filter(|n| usize::from(*n) < NUMBERS)?;
    Some(Node::Question { number, bound, next: [next()?, next()?] })
}

/// Log odds of having the tune, up to a constant.
pub(super) fn likely(numbers: &[f64; NUMBERS]) -> f64 {
    let answer = |tree: &Tree| {
        let asked = tree.numbers.iter().zip(&tree.bounds).enumerate();
        let truths = asked
            .map(|(place, (number, bound))| usize::from(numbers[usize::from(*number)] > *bound) << place);
        tree.answers[truths.sum::<usize>()]
    };
    ALL.iter().map(answer).sum()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_line_is_a_tree() {
        let lines = TREES.lines().filter(|l| !l.trim().is_empty() && !l.starts_with('#')).count();
        assert_eq!(ALL.len(), lines);
        assert!(lines >= 100, "{lines}");
        assert!(likely(&[0.0; NUMBERS]).is_finite());
    }

    #[test]
    fn lines_that_are_no_trees_are_none() {
        for line in ["", "7<0.5:1", "seven", "7<0.5:0:1 =1", "7<0.5:1:3 =1 =2", "71<0.5:1:2 =1 =2"] {
            assert!(tree(line).is_none(), "{line}");
        }
        assert!(tree("7<0:1:2 8<0:3:4 9<0:5:6 6<0:7:8 =1 =2 =3 =4 =5").is_none());
    }

    #[test]
    fn questions_asked_at_once_are_answered_as_one_by_one() {
        let found = tree("0<0:1:6 1<0:2:5 2<0:3:4 =1 =2 =3 =4").unwrap();
        for (truths, answer) in
            [(0, 1.0), (4, 2.0), (2, 3.0), (6, 3.0), (1, 4.0), (3, 4.0), (5, 4.0), (7, 4.0)]
        {
            assert_eq!(found.answers[truths], answer, "{truths}");
        }
        assert_eq!(tree("=5").unwrap().answers, [5.0; 8]);
        let mut numbers = [0.0; NUMBERS];
        let sum = likely(&numbers);
        numbers[4] = 0.6;
        assert_ne!(likely(&numbers), sum);
    }
}
