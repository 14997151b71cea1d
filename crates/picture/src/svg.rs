//! Writing SVG and the text inside it.

use std::fmt::Write as _;

/// Text as it may stand in HTML, SVG and their attributes.
pub fn escape(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for c in text.chars() {
        match c {
            '&' => out.push_str("&amp;"),
            '<' => out.push_str("&lt;"),
            '>' => out.push_str("&gt;"),
            '"' => out.push_str("&quot;"),
            '\'' => out.push_str("&#39;"),
            // Control characters are not allowed in XML.
            c if c.is_control() && c != '\n' && c != '\t' => out.push(' '),
            c => out.push(c),
        }
    }
    out
}

/// Beyond this a coordinate is written as any number: hundredths of it are no longer exact.
const FAR: f64 = 1e12;

/// A coordinate, to a hundredth, without needless zeros. What is no number stands at 0.
pub fn number(x: f64) -> String {
    let mut out = String::with_capacity(8);
    push_number(&mut out, x);
    out
}

/// The same, put at the end of a text. A board has a hundred thousand of them: they are put together from whole hundredths.
fn push_number(out: &mut String, x: f64) {
    if !x.is_finite() {
        out.push('0');
        return;
    }
    if x.abs() > FAR {
        let _ = write!(out, "{x:.0}");
        return;
    }
    let all = (x * 100.0).round() as i64;
    if all < 0 {
        out.push('-');
    }
    let (whole, part) = (all.unsigned_abs() / 100, (all.unsigned_abs() % 100) as u8);
    let _ = write!(out, "{whole}");
    if part > 0 {
        out.push('.');
        out.push(char::from(b'0' + part / 10));
        if part % 10 > 0 {
            out.push(char::from(b'0' + part % 10));
        }
    }
}

/// Path data, built up command by command.
#[derive(Clone, Debug, Default)]
pub struct Path(String);

impl Path {
    /// Nothing yet.
    pub fn new() -> Self {
        Self::default()
    }

    /// Is there nothing to draw?
    pub fn is_empty(&self) -> bool {
        self.0.is_empty()
    }

    /// Begins a new stroke.
    pub fn to(&mut self, x: f64, y: f64) -> &mut Self {
        self.put("M", &[x, y])
    }

    /// A straight line.
    pub fn line(&mut self, x: f64, y: f64) -> &mut Self {
        self.put("L", &[x, y])
    }

    /// A level line.
    pub fn across(&mut self, x: f64) -> &mut Self {
        self.put("H", &[x])
    }

    /// A Bézier curve with two handles.
    pub fn curve(&mut self, a: (f64, f64), b: (f64, f64), end: (f64, f64)) -> &mut Self {
        self.put("C", &[a.0, a.1, b.0, b.1, end.0, end.1])
    }

    fn put(&mut self, command: &str, numbers: &[f64]) -> &mut Self {
        self.0.push_str(command);
        for (i, x) in numbers.iter().enumerate() {
            if i > 0 {
                self.0.push(' ');
            }
            push_number(&mut self.0, *x);
        }
        self
    }

    /// Closes the stroke.
    pub fn close(&mut self) -> &mut Self {
        self.0.push('Z');
        self
    }

    /// The data for `d`.
    pub fn data(&self) -> &str {
        &self.0
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn text_is_harmless_and_numbers_are_short() {
        assert_eq!(escape("<b a=\"1\">&'\u{1}"), "&lt;b a=&quot;1&quot;&gt;&amp;&#39; ");
        assert_eq!(
            [-1.0, -0.5, 0.05, 1e13, -7.999].map(number),
            ["-1", "-0.5", "0.05", "10000000000000", "-8"]
        );
        assert_eq!([1.0, -0.001, 2.346, 10.0, f64::NAN].map(number), ["1", "0", "2.35", "10", "0"]);
        let mut path = Path::new();
        path.to(0.0, 1.5).line(2.0, 3.0).across(4.0).close();
        assert_eq!(path.data(), "M0 1.5L2 3H4Z");
    }
}
