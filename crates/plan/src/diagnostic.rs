//! Complaints about what the composer wrote.

use std::fmt;

/// A stretch of a text, in bytes.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Span {
    /// First byte.
    pub start: usize,
    /// One past the last byte.
    pub end: usize,
}

/// One complaint, with its place and what would be right.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Diagnostic {
    /// The file, as the composer names it.
    pub file: String,
    /// Line, from 1.
    pub line: usize,
    /// Column in characters, from 1.
    pub column: usize,
    /// The bytes concerned.
    pub span: Span,
    /// What is wrong.
    pub message: String,
    /// What was expected, or the nearest valid word, or what to do.
    pub help: String,
    /// A warning lets the work go on.
    pub warning: bool,
}

impl fmt::Display for Diagnostic {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let kind = if self.warning { "warning: " } else { "" };
        write!(f, "{}:{}:{}: {kind}{}", self.file, self.line, self.column, self.message)?;
        if !self.help.is_empty() {
            write!(f, "\n    {}", self.help)?;
        }
        Ok(())
    }
}

/// The candidate that is nearest to `word` by edits (insert, delete, replace, swap), if it is near enough to be meant:
/// at most a third of its letters away, or 1 for short words.
pub fn nearest<'a>(word: &str, candidates: impl IntoIterator<Item = &'a str>) -> Option<&'a str> {
    let allowed = (word.chars().count() / 3).max(1);
    candidates
        .into_iter()
        .map(|c| (edits(&word.to_lowercase(), &c.to_lowercase()), c))
        .filter(|(d, _)| *d <= allowed)
        .min_by_key(|(d, _)| *d)
        .map(|(_, c)| c)
}

/// Optimal string alignment distance.
fn edits(a: &str, b: &str) -> usize {
    let (a, b): (Vec<char>, Vec<char>) = (a.chars().take(64).collect(), b.chars().take(64).collect());
    let mut rows = vec![vec![0usize; b.len() + 1]; a.len() + 1];
    for (i, row) in rows.iter_mut().enumerate() {
        row[0] = i;
    }
    for j in 0..=b.len() {
        rows[0][j] = j;
    }
    for i in 1..=a.len() {
        for j in 1..=b.len() {
            let change = usize::from(a[i - 1] != b[j - 1]);
            let mut best = (rows[i - 1][j] + 1).min(rows[i][j - 1] + 1).min(rows[i - 1][j - 1] + change);
            if i > 1 && j > 1 && a[i - 1] == b[j - 2] && a[i - 2] == b[j - 1] {
                best = best.min(rows[i - 2][j - 2] + 1);
            }
            rows[i][j] = best;
        }
    }
    rows[a.len()][b.len()]
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn near_words() {
        assert_eq!(nearest("legatto", ["legato", "staccato"]), Some("legato"));
        assert_eq!(nearest("voilins-1", ["violins-1", "violas"]), Some("violins-1"));
        assert_eq!(nearest("xyz", ["legato"]), None);
    }
}
