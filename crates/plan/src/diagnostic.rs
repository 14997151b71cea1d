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

impl Diagnostic {
    /// An error at a place of a text.
    pub fn at(file: &str, text: &str, span: Span, message: String, help: String) -> Self {
        let (line, column) = Lines::new(text).place(span.start);
        Self { file: file.to_string(), line, column, span, message, help, warning: false }
    }
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

impl std::error::Error for Diagnostic {}

/// Where lines begin, to turn bytes into line and column.
pub(crate) struct Lines<'a> {
    text: &'a str,
    starts: Vec<usize>,
}

impl<'a> Lines<'a> {
    pub fn new(text: &'a str) -> Self {
        let ends = text.bytes().enumerate().filter(|(_, b)| *b == b'\n').map(|(i, _)| i + 1);
        Self { text, starts: std::iter::once(0).chain(ends).collect() }
    }

    /// Which line a byte lies in, from 0.
    pub fn index(&self, byte: usize) -> usize {
        self.starts.partition_point(|s| *s <= byte).saturating_sub(1)
    }

    /// The bytes of a line, its line end included.
    pub fn range(&self, index: usize) -> std::ops::Range<usize> {
        let at = |i: usize| self.starts.get(i).copied().unwrap_or(self.text.len());
        at(index)..at(index + 1)
    }

    pub fn count(&self) -> usize {
        self.starts.len()
    }

    /// Line and column in characters, both from 1.
    pub fn place(&self, byte: usize) -> (usize, usize) {
        let byte =
            (0..=byte.min(self.text.len())).rev().find(|b| self.text.is_char_boundary(*b)).unwrap_or(0);
        let line = self.index(byte);
        let start = self.starts.get(line).copied().unwrap_or(0);
        (line + 1, self.text[start..byte].chars().count() + 1)
    }
}

/// The candidate that is nearest to `word` by edits (insert, delete, replace, swap), if it is near enough to be meant:
/// at most a third of its letters away, 1 for short words, none for single letters; else the shortest one that begins with the word.
pub fn nearest<'a>(word: &str, candidates: impl IntoIterator<Item = &'a str>) -> Option<&'a str> {
    let word = word.to_lowercase();
    let length = word.chars().count();
    let allowed = (length / 3).max(usize::from(length > 1));
    let (mut near, mut longer): (Option<(usize, &str)>, Option<&str>) = (None, None);
    for candidate in candidates {
        let lower = candidate.to_lowercase();
        if lower.chars().count().abs_diff(length) <= allowed {
            let distance = edits(&word, &lower);
            if distance <= allowed && near.is_none_or(|(d, _)| distance < d) {
                near = Some((distance, candidate));
            }
        }
        if length >= 3 && lower.starts_with(&word) && longer.is_none_or(|l| candidate.len() < l.len()) {
            longer = Some(candidate);
        }
    }
    near.map(|(_, c)| c).or(longer)
}

/// A question with the nearest word, or what else is to be said.
pub(crate) fn did_you_mean<'a>(
    word: &str,
    candidates: impl IntoIterator<Item = &'a str>,
    otherwise: impl FnOnce() -> String,
) -> String {
    nearest(word, candidates).map_or_else(otherwise, |near| format!("did you mean `{near}`?"))
}

/// Optimal string alignment distance.
fn edits(a: &str, b: &str) -> usize {
    let (a, b): (Vec<char>, Vec<char>) = (a.chars().take(64).collect(), b.chars().take(64).collect());
    let mut rows = vec![vec![0usize; b.len() + 1]; a.len() + 1];
    for (i, row) in rows.iter_mut().enumerate() {
        row[0] = i;
    }
    for (j, cell) in rows[0].iter_mut().enumerate() {
        *cell = j;
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
        assert_eq!(nearest("g", ["p", "f"]), None);
        assert_eq!(nearest("clar", ["bass-clarinet", "clarinets", "clarinet"]), Some("clarinet"));
    }

    /// Worked examples of the distance: "ca" to "abc" is 3 by optimal string alignment (Boytsov 2011, section 2.2,
    /// from memory), "kitten" to "sitting" is 3 (Levenshtein's classic example).
    #[test]
    fn distances() {
        assert_eq!(edits("ca", "abc"), 3);
        assert_eq!(edits("kitten", "sitting"), 3);
        assert_eq!(edits("form", "from"), 1);
    }

    #[test]
    fn places_count_characters() {
        let lines = Lines::new("ab\nçd\n");
        assert_eq!(lines.place(0), (1, 1));
        assert_eq!(lines.place(5), (2, 2));
        assert_eq!(lines.place(4), (2, 1));
        assert_eq!(lines.place(99), (3, 1));
    }
}
