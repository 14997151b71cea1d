//! Two changes of one text, joined line by line.
//!
//! Each side is read as edits of the lines it was made from. Edits of neighbouring lines stand beside each other, as cells of a
//! plan do; only where both sides have changed the same line must one of them give way.

use std::ops::Range;

/// Tables of more fields than this are not filled: what differs then counts as one edit.
const MOST_FIELDS: usize = 16 << 20;

/// Lines `from..to` of the origin are to read `lines`.
#[derive(Clone, Debug, PartialEq, Eq)]
struct Change<'a> {
    from: usize,
    to: usize,
    lines: Vec<&'a str>,
}

/// Both changes in one text, and whether theirs has taken the place of ours anywhere.
pub(super) fn join(origin: &str, ours: &str, theirs: &str) -> (String, bool) {
    let (origin, ours, theirs) = (lines(origin), lines(ours), lines(theirs));
    let (mine, other) = (changes(&origin, &ours), changes(&origin, &theirs));
    let mut all: Vec<Change> = Vec::new();
    let mut lost = false;
    for mut change in mine {
        if other.contains(&change) {
            continue;
        }
        if let Some(beside) =
            other.iter().find(|o| o.from == o.to && (o.from, o.to) == (change.from, change.to))
        {
            lost |= give_way(&mut change, beside);
        }
        match other.iter().any(|o| overlap(o, &change)) {
            true => lost = true,
            false => all.push(change),
        }
    }
    all.extend(other);
    // Where both insert, ours stands first: the sort keeps their order.
    all.sort_by_key(|c| (c.from, c.to));
    let mut out = String::new();
    let mut at = 0;
    for change in all {
        out.extend(origin.get(at..change.from).unwrap_or_default().iter().copied());
        for line in &change.lines {
            // A last line may have come without its end.
            if !out.is_empty() && !out.ends_with('\n') {
                out.push('\n');
            }
            out.push_str(line);
        }
        at = change.to.max(at);
    }
    out.extend(origin.get(at..).unwrap_or_default().iter().copied());
    (out, lost)
}

/// Where both insert at one place, a key that both insert is theirs. Whole tables stand side by side.
fn give_way(ours: &mut Change, theirs: &Change) -> bool {
    let table = |line: &&str| line.trim_start().starts_with('[');
    if ours.lines.iter().chain(&theirs.lines).any(table) {
        return false;
    }
    let twice = |line: &&str| line.contains('=') && theirs.lines.iter().any(|t| key(t) == key(line));
    let lost = ours.lines.iter().any(|line| twice(line) && !theirs.lines.contains(line));
    ours.lines.retain(|line| !twice(line));
    lost
}

/// Do both touch a line? Insertions stand beside everything but the middle of what the other replaces.
fn overlap(a: &Change, b: &Change) -> bool {
    match (a.from == a.to, b.from == b.to) {
        (true, true) => false,
        (true, false) => b.from < a.from && a.from < b.to,
        (false, true) => a.from < b.from && b.from < a.to,
        (false, false) => a.from < b.to && b.from < a.to,
    }
}

fn lines(text: &str) -> Vec<&str> {
    text.split_inclusive('\n').collect()
}

/// How `new` comes from `old`, in the order of lines.
fn changes<'a>(old: &[&str], new: &'a [&'a str]) -> Vec<Change<'a>> {
    let head = old.iter().zip(new).take_while(|(a, b)| a == b).count();
    let (old_rest, new_rest) = (&old[head..], &new[head..]);
    let tail = old_rest.iter().rev().zip(new_rest.iter().rev()).take_while(|(a, b)| a == b).count();
    let (a, b) = (&old_rest[..old_rest.len() - tail], &new_rest[..new_rest.len() - tail]);
    let mut out = Vec::new();
    for (old, new_range) in gaps(&common(a, b), (0..a.len(), 0..b.len())) {
        // A line that says something else about the same thing is that line, changed; what is beside it came or went.
        let old_keys: Vec<&str> = a[old.clone()].iter().map(|l| key(l)).collect();
        let new_keys: Vec<&str> = b[new_range.clone()].iter().map(|l| key(l)).collect();
        let pairs: Vec<(usize, usize)> = common(&old_keys, &new_keys)
            .into_iter()
            .map(|(x, y)| (old.start + x, new_range.start + y))
            .collect();
        let mut put = |from: usize, to: usize, first: usize, end: usize| {
            let lines = new[head + first..head + end].to_vec();
            out.push(Change { from: head + from, to: head + to, lines });
        };
        let between = gaps(&pairs, (old, new_range));
        let mut all: Vec<_> = pairs.iter().map(|(x, y)| (*x..*x + 1, *y..*y + 1)).chain(between).collect();
        all.sort_by_key(|(o, n)| (o.start, n.start));
        for (o, n) in all {
            if o.len() == n.len() {
                o.zip(n).for_each(|(x, y)| put(x, x + 1, y, y + 1));
            } else {
                put(o.start, o.end, n.start, n.end);
            }
        }
    }
    out
}

/// What stands between pairs of places, and before the first and after the last; nothing that is empty on both sides.
fn gaps(pairs: &[(usize, usize)], whole: (Range<usize>, Range<usize>)) -> Vec<(Range<usize>, Range<usize>)> {
    let (mut i, mut j) = (whole.0.start, whole.1.start);
    let mut out = Vec::new();
    for (x, y) in pairs.iter().copied().chain([(whole.0.end, whole.1.end)]) {
        if (i, j) != (x, y) {
            out.push((i..x, j..y));
        }
        (i, j) = (x + 1, y + 1);
    }
    out
}

/// What a line is about: its key, or all of it.
fn key(line: &str) -> &str {
    line.split_once('=').map_or(line, |(key, _)| key.trim())
}

/// The longest sequence of lines that both have, as pairs of places.
fn common(a: &[&str], b: &[&str]) -> Vec<(usize, usize)> {
    let width = b.len() + 1;
    if a.is_empty() || b.is_empty() || (a.len() + 1).saturating_mul(width) > MOST_FIELDS {
        return Vec::new();
    }
    let mut longest = vec![0_u32; (a.len() + 1) * width];
    for i in (0..a.len()).rev() {
        for j in (0..b.len()).rev() {
            longest[i * width + j] = if a[i] == b[j] {
                longest[(i + 1) * width + j + 1] + 1
            } else {
                longest[(i + 1) * width + j].max(longest[i * width + j + 1])
            };
        }
    }
    let (mut i, mut j) = (0, 0);
    let mut out = Vec::new();
    while i < a.len() && j < b.len() {
        if a[i] == b[j] {
            out.push((i, j));
            (i, j) = (i + 1, j + 1);
        } else if longest[(i + 1) * width + j] >= longest[i * width + j + 1] {
            i += 1;
        } else {
            j += 1;
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn neighbours_stand_beside_each_other_and_the_same_line_is_theirs() {
        let origin = "a\nb\nc\nd\n";
        assert_eq!(join(origin, "a\nB\nc\nd\n", "a\nb\nC\nd\n"), ("a\nB\nC\nd\n".into(), false));
        assert_eq!(join(origin, "a\nB\nc\nD\n", "a\nX\nc\nd\n"), ("a\nX\nc\nD\n".into(), true));
        assert_eq!(join(origin, "a\nb\nx\nc\nd\n", "a\nb\ny\nc\nd\n"), ("a\nb\nx\ny\nc\nd\n".into(), false));
        assert_eq!(
            join("a = 1\n", "a = 1\nb = 2\nc = 1\n", "a = 1\nb = 3\n"),
            ("a = 1\nc = 1\nb = 3\n".into(), true)
        );
        let keyed = join("a = 1\n", "a = 2\nb = 2\n", "a = 3\n");
        assert_eq!(keyed, ("a = 3\nb = 2\n".into(), true));
        assert_eq!(join(origin, "a\nc\nd\n", "a\nb\nc\nd\ne"), ("a\nc\nd\ne".into(), false));
    }

    proptest! {
        /// What only one has changed is as that one has it, and what both have changed alike is no quarrel.
        #[test]
        fn one_change_alone_is_kept(origin in "([a-d]\n){0,12}", new in "([a-d]\n){0,12}") {
            prop_assert_eq!(join(&origin, &new, &origin), (new.clone(), false));
            prop_assert_eq!(join(&origin, &origin, &new), (new.clone(), false));
            prop_assert_eq!(join(&origin, &new, &new), (new.clone(), false));
        }

        /// Lines that are changed each by one alone are all there.
        #[test]
        fn lines_changed_by_one_alone_are_there(who in proptest::collection::vec(0..3_u8, 1..30)) {
            let text = |change: &dyn Fn(usize, u8) -> String| -> String {
                who.iter().enumerate().map(|(i, w)| change(i, *w)).collect()
            };
            let origin = text(&|i, _| format!("{i}\n"));
            let ours = text(&|i, w| if w == 1 { format!("{i} ours\n") } else { format!("{i}\n") });
            let theirs = text(&|i, w| if w == 2 { format!("{i} theirs\n") } else { format!("{i}\n") });
            let both = text(&|i, w| match w { 1 => format!("{i} ours\n"), 2 => format!("{i} theirs\n"), _ => format!("{i}\n") });
            prop_assert_eq!(join(&origin, &ours, &theirs), (both, false));
        }
    }
}
