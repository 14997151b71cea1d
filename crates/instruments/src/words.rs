//! Names as tokens: without case, accents, stops and spacing.

/// A word or a number of a name.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) struct Token {
    /// Lower case, without accents: letters only, or digits only.
    pub text: String,
    /// What stands between it and the token before.
    pub before: String,
    /// Stands in brackets.
    pub aside: bool,
    /// The token after follows a full stop.
    pub stopped: bool,
}

impl Token {
    pub(crate) fn is_number(&self) -> bool {
        self.text.starts_with(|c: char| c.is_ascii_digit())
    }
}

/// Most tokens that are looked at: a name has few, a damaged file may have very many.
const MOST_TOKENS: usize = 40;

/// Tokens of a name: letters and digits apart, and a capital after a small letter begins a word.
pub(crate) fn tokens(name: &str) -> Vec<Token> {
    let mut out: Vec<Token> = Vec::new();
    let mut between = String::new();
    let mut depth = 0_u8;
    let mut last = Kind::Gap;
    let mut last_small = false;
    let mut chars = name.chars().peekable();
    while let Some(c) = chars.next() {
        let Some((plain, kind)) = plain(c) else { continue };
        if out.len() >= MOST_TOKENS {
            break;
        }
        if kind == Kind::Gap {
            match c {
                '(' | '[' => depth = depth.saturating_add(1),
                ')' | ']' => depth = depth.saturating_sub(1),
                '.' => {
                    if last != Kind::Gap
                        && let Some(token) = out.last_mut()
                    {
                        token.stopped = true;
                    }
                }
                _ => {}
            }
            between.push(c);
            last = Kind::Gap;
            continue;
        }
        if matches!(c, '♭' | '♯') && out.is_empty() {
            continue;
        }
        // The sign of alteration belongs to the letter before it, even in `B ♭`.
        if matches!(c, '♭' | '♯')
            && let Some(token) = out.last_mut().filter(|t| !t.is_number())
        {
            token.text.push_str(if c == '♭' { "b" } else { "is" });
            between.clear();
            last = Kind::Letter;
            last_small = true;
            continue;
        }
        // `VlnLeg`, but not `McX` or `BB`; a plural's small s after capitals (`VLNs`) stays where it is.
        let capital_begins = last_small
            && c.is_uppercase()
            && (matches!(c, 'I' | 'V') || chars.peek().is_some_and(|n| n.is_alphanumeric()));
        if kind != last || capital_begins {
            out.push(Token {
                text: String::new(),
                before: std::mem::take(&mut between),
                aside: depth > 0,
                stopped: false,
            });
        }
        if let Some(token) = out.last_mut() {
            token.text.push_str(&plain);
        }
        last = kind;
        last_small = c.is_lowercase();
    }
    out
}

#[derive(Clone, Copy, PartialEq, Eq)]
enum Kind {
    Gap,
    Letter,
    Digit,
}

/// A character without case and accent; `None` for what leaves no trace (`d'am.` is `dam`).
fn plain(c: char) -> Option<(String, Kind)> {
    if c.is_ascii_digit() {
        return Some((c.to_string(), Kind::Digit));
    }
    let low: String = c.to_lowercase().collect();
    let folded = match low.as_str() {
        "à" | "á" | "â" | "ã" | "å" | "ä" => "a",
        "è" | "é" | "ê" | "ë" => "e",
        "ì" | "í" | "î" | "ï" => "i",
        "ò" | "ó" | "ô" | "õ" | "ø" | "ö" => "o",
        "ù" | "ú" | "û" | "ü" => "u",
        "ç" => "c",
        "ñ" => "n",
        "ß" => "ss",
        "œ" => "oe",
        "æ" => "ae",
        "♭" => "b",
        "♯" => "is",
        "'" | "’" | "`" | "´" | "\u{301}" | "\u{300}" | "\u{302}" | "\u{308}" | "\u{327}" => return None,
        "º" | "°" | "ª" => " ",
        other if c.is_alphabetic() => other,
        _ => " ",
    };
    let kind = if folded == " " { Kind::Gap } else { Kind::Letter };
    Some((folded.to_string(), kind))
}

/// The texts of a name's tokens.
pub(crate) fn texts(name: &str) -> Vec<String> {
    tokens(name).into_iter().map(|t| t.text).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn case_accents_stops_and_spacing_do_not_matter() {
        assert_eq!(texts("Cor Anglais"), texts("COR_anglais."));
        assert_eq!(texts("Flûte en sol"), ["flute", "en", "sol"]);
        assert_eq!(texts("VN1leg"), ["vn", "1", "leg"]);
        assert_eq!(texts("VlnLeg"), ["vln", "leg"]);
        assert_eq!(texts("ViolinII"), ["violin", "ii"]);
        assert_eq!(texts("VlnsI_Sus"), ["vlns", "i", "sus"]);
        assert_eq!(texts("B♭ Clarinet"), ["bb", "clarinet"]);
        assert_eq!(texts("clarinette en si ♭"), ["clarinette", "en", "sib"]);
        assert_eq!(texts("Hautbois d’amour"), ["hautbois", "damour"]);
        assert_eq!(texts(""), [""; 0]);
        assert_eq!(texts("Große"), ["grosse"]);
    }
}
