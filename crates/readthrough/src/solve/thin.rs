//! Thinning of what a search follows: what is no better than another, and what is past a width.

/// Drops states that are no better than another in any way, and what is past the width: whether there was any of the latter,
/// and how many comparisons that took, not many more than `allowed`.
pub(super) fn thin<S>(
    states: &mut Vec<S>,
    width: usize,
    allowed: u64,
    cost: impl Fn(&S) -> f64,
    as_good: impl Fn(&S, &S) -> bool,
) -> (bool, u64) {
    if states.len() < 2 {
        return (false, 0);
    }
    states.sort_by(|a, b| cost(a).total_cmp(&cost(b)));
    let mut kept: Vec<S> = Vec::with_capacity(states.len().min(width));
    let (mut narrowed, mut compared) = (false, 0);
    for one in states.drain(..) {
        if compared > allowed {
            narrowed = true;
            break;
        }
        compared += kept.len() as u64;
        if kept.iter().any(|k| as_good(k, &one)) {
            continue;
        }
        if kept.len() >= width {
            narrowed = true;
            break;
        }
        kept.push(one);
    }
    *states = kept;
    (narrowed, compared)
}
