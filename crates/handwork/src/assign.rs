//! The cheapest one-to-one assignment.

/// More than this on a side are assigned greedily: the exact way takes the cube of it.
const MOST: usize = 240;
/// What costs this much or more is not assigned.
pub const NEVER: f64 = 2.0;

/// For each row, the column it is assigned to, so that the sum of costs is least; what stays alone on either side costs 1.
///
/// Costs from 0; [`NEVER`] and above forbids a pair. The method of potentials (Kuhn 1955, Munkres 1957), rows one after the other.
pub fn assign(rows: usize, columns: usize, cost: &dyn Fn(usize, usize) -> f64) -> Vec<Option<usize>> {
    if rows == 0 || columns == 0 {
        return vec![None; rows];
    }
    if rows > MOST || columns > MOST {
        return greedy(rows, columns, cost);
    }
    // Each row may also take a column of its own at cost 1: to stay alone.
    let width = columns + rows;
    let price = |r: usize, c: usize| match c {
        _ if c < columns => {
            let p = cost(r, c);
            // A pair saves the column from staying alone, which costs 1 as well.
            if p >= NEVER { 1e6 } else { p - 1.0 }
        }
        _ if c - columns == r => 1.0,
        _ => 1e6,
    };
    let (mut u, mut v) = (vec![0.0; rows + 1], vec![0.0; width + 1]);
    let mut owner = vec![0usize; width + 1];
    let mut way = vec![0usize; width + 1];
    for row in 1..=rows {
        owner[0] = row;
        let mut at = 0;
        let mut least = vec![f64::INFINITY; width + 1];
        let mut used = vec![false; width + 1];
        loop {
            used[at] = true;
            let (r, mut delta, mut next) = (owner[at], f64::INFINITY, 0);
            for c in 1..=width {
                if used[c] {
                    continue;
                }
                let reduced = price(r - 1, c - 1) - u[r] - v[c];
                if reduced < least[c] {
                    least[c] = reduced;
                    way[c] = at;
                }
                if least[c] < delta {
                    delta = least[c];
                    next = c;
                }
            }
            for c in 0..=width {
                if used[c] {
                    u[owner[c]] += delta;
                    v[c] -= delta;
                } else {
                    least[c] -= delta;
                }
            }
            at = next;
            if owner[at] == 0 {
                break;
            }
        }
        while at != 0 {
            let before = way[at];
            owner[at] = owner[before];
            at = before;
        }
    }
    let mut out = vec![None; rows];
    for c in 1..=columns {
        if owner[c] > 0 && cost(owner[c] - 1, c - 1) < NEVER {
            out[owner[c] - 1] = Some(c - 1);
        }
    }
    out
}

fn greedy(rows: usize, columns: usize, cost: &dyn Fn(usize, usize) -> f64) -> Vec<Option<usize>> {
    let mut pairs: Vec<(f64, usize, usize)> = Vec::new();
    for r in 0..rows {
        for c in 0..columns {
            let p = cost(r, c);
            if p < NEVER {
                pairs.push((p, r, c));
            }
        }
    }
    pairs.sort_by(|a, b| a.0.total_cmp(&b.0).then((a.1, a.2).cmp(&(b.1, b.2))));
    let mut out = vec![None; rows];
    let mut taken = vec![false; columns];
    for (_, r, c) in pairs {
        if out[r].is_none() && !taken[c] {
            out[r] = Some(c);
            taken[c] = true;
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The least sum over every assignment, tried one by one.
    fn tried(rows: usize, free: &mut Vec<bool>, row: usize, cost: &dyn Fn(usize, usize) -> f64) -> f64 {
        if row == rows {
            return free.iter().filter(|f| **f).count() as f64;
        }
        let mut best = 1.0 + tried(rows, free, row + 1, cost);
        for c in 0..free.len() {
            if free[c] && cost(row, c) < NEVER {
                free[c] = false;
                best = best.min(cost(row, c) + tried(rows, free, row + 1, cost));
                free[c] = true;
            }
        }
        best
    }

    #[test]
    fn as_cheap_as_the_best_of_all() {
        let mut state = 1u64;
        for _ in 0..300 {
            let mut next = || {
                state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1);
                (state >> 40) as f64 / (1u64 << 24) as f64
            };
            let (rows, columns) = (1 + (next() * 5.0) as usize, 1 + (next() * 5.0) as usize);
            let table: Vec<f64> = (0..rows * columns).map(|_| next() * 2.4).collect();
            let cost = |r: usize, c: usize| table[r * columns + c];
            let found = assign(rows, columns, &cost);
            let pairs: f64 = found.iter().enumerate().map(|(r, c)| c.map_or(1.0, |c| cost(r, c))).sum();
            let alone = columns - found.iter().flatten().count();
            let best = tried(rows, &mut vec![true; columns], 0, &cost);
            assert!((pairs + alone as f64 - best).abs() < 1e-9, "{found:?}");
        }
    }
}
