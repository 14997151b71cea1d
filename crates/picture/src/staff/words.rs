//! Room for words: how wide they are at most, and where they stand so that none covers another.

/// Sizes of the words in the picture, in pixels.
pub mod size {
    /// Marks and calls.
    pub const WORDS: f64 = 11.5;
    /// Dynamics.
    pub const DYNAMIC: f64 = 15.0;
    /// Bar numbers and times.
    pub const NUMBER: f64 = 10.5;
}

/// The most that a character of a book serif or the system's sans advances, in parts of the size, upright or italic. On the
/// safe side of the widths of common fonts (Times- and Palatino-like serifs, wide sans faces), measured by eye.
fn advance(c: char) -> f64 {
    match c {
        'i' | 'j' | 'l' | '.' | ',' | ':' | ';' | '\'' | '|' | '!' | ' ' => 0.42,
        'f' | 't' | 'r' | '(' | ')' | '[' | ']' | '/' | '-' | '"' | 'I' => 0.52,
        'm' | 'w' | 'M' | 'W' | '@' | '%' | '&' | '—' | '…' => 1.12,
        'A'..='Z' => 0.86,
        'a'..='z' | '0'..='9' | '_' | '<' | '>' | '=' | '+' => 0.70,
        c if (c as u32) < 0x80 => 0.75,
        c if (c as u32) < 0x0250 => 0.90,
        // Wide scripts and signs.
        _ => 1.30,
    }
}

/// The most that a line of words takes, in pixels.
pub fn width(text: &str, size: f64) -> f64 {
    size * text.chars().map(advance).sum::<f64>()
}

/// A line of words, cut with an ellipsis where it would be wider than `room` pixels.
pub fn cut(text: &str, size: f64, room: f64) -> String {
    if width(text, size) <= room {
        return text.to_string();
    }
    let mut left = room / size - advance('…');
    let kept = text.chars().take_while(|c| {
        left -= advance(*c);
        left >= 0.0
    });
    let kept: String = kept.collect();
    format!("{}…", kept.trim_end())
}

/// Which row each span stands in, the first where it touches none before it; `None` where `rows` are not enough.
/// Spans are (from, to) in pixels, in order of `from`; between two lie at least `space` pixels.
pub fn in_rows(spans: &[(f64, f64)], rows: usize, space: f64) -> Vec<Option<usize>> {
    let mut ends: Vec<f64> = Vec::new();
    spans
        .iter()
        .map(|(from, to)| {
            let row = match ends.iter().position(|end| end + space <= *from) {
                Some(row) => row,
                None if ends.len() < rows => {
                    ends.push(f64::NEG_INFINITY);
                    ends.len() - 1
                }
                None => return None,
            };
            ends[row] = *to;
            Some(row)
        })
        .collect()
}

/// What is covered above (or below) the staff, as rectangles: what comes later stands beyond what is there.
#[derive(Clone, Debug)]
pub struct Sky {
    /// How far from the middle the sky begins, pixels.
    floor: f64,
    taken: Vec<(f64, f64, f64)>,
}

impl Sky {
    /// An open sky from `floor` pixels on.
    pub fn new(floor: f64) -> Self {
        Self { floor, taken: Vec::new() }
    }

    /// Covers from `x0` to `x1` up to `height`.
    pub fn cover(&mut self, x0: f64, x1: f64, height: f64) {
        self.taken.push((x0, x1, height));
    }

    /// How high it is covered between `x0` and `x1`.
    pub fn height(&self, x0: f64, x1: f64) -> f64 {
        let meets = |t: &&(f64, f64, f64)| t.0 < x1 && x0 < t.1;
        self.taken.iter().filter(meets).map(|t| t.2).fold(self.floor, f64::max)
    }

    /// How high it is covered anywhere.
    pub fn top(&self) -> f64 {
        self.taken.iter().map(|t| t.2).fold(self.floor, f64::max)
    }

    /// A place for something `high` pixels high, `space` beyond what is there: how far its near edge lies.
    pub fn place(&mut self, x0: f64, x1: f64, high: f64, space: f64) -> f64 {
        let near = self.height(x0, x1) + space;
        self.cover(x0, x1, near + high);
        near
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn long_words_are_cut() {
        assert_eq!(cut("sul ponticello", 10.0, 1000.0), "sul ponticello");
        let short = cut("sul ponticello", 10.0, 50.0);
        assert!(short.ends_with('…') && width(&short, 10.0) <= 50.0, "{short}");
    }

    proptest! {
        #[test]
        fn rows_never_collide(mut spans in prop::collection::vec((0.0..500.0f64, 0.1..80.0f64), 0..60)) {
            spans.sort_by(|a, b| a.0.total_cmp(&b.0));
            let spans: Vec<_> = spans.iter().map(|(x, w)| (*x, x + w)).collect();
            let rows = in_rows(&spans, 4, 3.0);
            for i in 0..spans.len() {
                for j in 0..i {
                    let apart = spans[j].1 + 3.0 <= spans[i].0;
                    prop_assert!(rows[i].is_none() || rows[i] != rows[j] || apart);
                }
            }
        }

        #[test]
        fn the_sky_never_covers_what_is_there(things in prop::collection::vec((0.0..300.0f64, 1.0..60.0f64, 1.0..20.0f64), 0..40)) {
            let mut sky = Sky::new(10.0);
            let mut placed: Vec<(f64, f64, f64, f64)> = Vec::new();
            for (x, w, h) in things {
                let near = sky.place(x, x + w, h, 2.0);
                for (a, b, low, high) in &placed {
                    prop_assert!(x + w <= *a || *b <= x || near >= *high || near + h <= *low);
                }
                placed.push((x, x + w, near, near + h));
            }
        }
    }
}
