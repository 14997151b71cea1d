//! What a file is, for whoever is given another one than is wanted.

static KINDS: &str = include_str!("../data/kinds.tsv");

/// What a file is by its first bytes, with its article: `a PDF`. `None` where they do not tell, as for plain text.
pub fn kind(bytes: &[u8]) -> Option<&'static str> {
    rows()
        .find(|(at, sign, _)| bytes.get(*at..).is_some_and(|rest| begins(rest, sign)))
        .map(|(.., what)| what)
}

/// The same as the rest of a sentence, `it is a PDF`; what cannot be told is shown.
pub fn described(bytes: &[u8]) -> String {
    if bytes.is_empty() {
        return "it is empty".into();
    }
    if let Some(what) = kind(bytes) {
        return format!("it is {what}");
    }
    let head: String = String::from_utf8_lossy(bytes).chars().take(12).collect();
    match head.contains(|c: char| c == char::REPLACEMENT_CHARACTER || (c.is_control() && !c.is_whitespace()))
    {
        true => "nothing tells what it is".into(),
        false => format!("it is a text that begins with “{}”", head.trim()),
    }
}

fn rows() -> impl Iterator<Item = (usize, &'static str, &'static str)> {
    KINDS.lines().filter(|l| !l.starts_with('#')).filter_map(|line| {
        let mut columns = line.split('\t');
        Some((columns.next()?.parse().ok()?, columns.next()?, columns.next()?))
    })
}

/// Do bytes begin as the hexadecimal digits say?
fn begins(bytes: &[u8], sign: &str) -> bool {
    let digits = sign
        .as_bytes()
        .chunks(2)
        .map(|pair| std::str::from_utf8(pair).ok().and_then(|pair| u8::from_str_radix(pair, 16).ok()));
    digits.enumerate().all(|(i, byte)| byte.is_some() && bytes.get(i).copied() == byte)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_row_is_told_and_has_its_source() {
        let lines: Vec<&str> = KINDS.lines().filter(|l| !l.starts_with('#')).collect();
        assert_eq!(rows().count(), lines.len());
        for ((at, sign, what), line) in rows().zip(&lines) {
            assert!(
                sign.len() >= 4
                    && sign.len() % 2 == 0
                    && line.split('\t').nth(3).is_some_and(|s| !s.is_empty()),
                "{line}"
            );
            let mut bytes = vec![0u8; at];
            bytes.extend(
                (0..sign.len() / 2).map(|i| u8::from_str_radix(&sign[2 * i..2 * i + 2], 16).unwrap()),
            );
            assert_eq!(kind(&bytes), Some(what), "{line}");
        }
        assert_eq!(kind(b""), None);
        assert_eq!(described(b""), "it is empty");
        assert_eq!(described(b"hello there\n"), "it is a text that begins with “hello there”");
        assert_eq!(described(&[0; 40]), "nothing tells what it is");
    }
}
