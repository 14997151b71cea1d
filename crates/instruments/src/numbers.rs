//! Numbers in names: which desk or player, and how many.

use crate::words::Token;

/// What the numbers of a name say.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub(crate) struct Number {
    /// Place of the token.
    pub at: usize,
    /// Its value.
    pub value: u8,
    /// A plain figure without a stop or ending, which before a plural counts players.
    pub plain: bool,
}

/// Reads the numbers among tokens and marks them as used. Those that count something else (divisions, desks,
/// microphones, versions) are marked without being given.
pub(crate) fn numbers(tokens: &[Token], used: &mut [bool]) -> (Vec<Number>, Option<u8>) {
    let mut found: Vec<Number> = Vec::new();
    let mut players = None;
    let mut i = 0;
    while i < tokens.len() {
        let token = &tokens[i];
        let before = i.checked_sub(1).map(|k| tokens[k].text.as_str()).unwrap_or_default();
        let after = tokens.get(i + 1);
        let value = if used[i] { None } else { number(&token.text, i, tokens) };
        let Some(value) = value else {
            i += 1;
            continue;
        };
        used[i] = true;
        if token.is_number() && before == "a" && i > 1 {
            // `a 2`: both players.
            used[i - 1] = true;
            if i >= 2 && matches!(tokens[i - 2].text.as_str(), "div" | "divisi" | "divise") {
                i += 1;
                continue;
            }
            players = Some(value);
        } else if counts_something_else(before) {
            used[i - 1] = true;
        } else if (1..=16).contains(&value) {
            let ending = after.is_some_and(|t| t.before.is_empty() && ordinal_ending(&t.text));
            if token.is_number() && ending {
                used[i + 1] = true;
            }
            // `1-4` is 1 to 4.
            let dash = token.before.trim().chars().all(|c| matches!(c, '-' | '–' | '—'))
                && token.before.trim() != "";
            if let Some(first) = found.last().filter(|f| dash && f.at + 1 == i && f.value < value) {
                for between in first.value + 1..value {
                    found.push(Number { at: i, value: between, plain: false });
                }
            }
            let plain = token.is_number() && !token.stopped && !ending;
            found.push(Number { at: i, value, plain });
        }
        i += 1;
    }
    (found, players)
}

fn counts_something_else(word: &str) -> bool {
    matches!(
        word,
        "div"
            | "divisi"
            | "divise"
            | "desk"
            | "desks"
            | "pult"
            | "pulte"
            | "pulten"
            | "stand"
            | "stands"
            | "mic"
            | "mics"
            | "take"
            | "version"
            | "ver"
            | "layer"
            | "copy"
            | "bus"
            | "ch"
            | "channel"
            | "track"
            | "trk"
            | "midi"
            | "staff"
            | "rr"
            | "leggio"
    )
}

/// The number that a token is.
fn number(token: &str, at: usize, tokens: &[Token]) -> Option<u8> {
    if token.starts_with(|c: char| c.is_ascii_digit()) {
        return token.parse().ok();
    }
    Some(match token {
        "i" => 1,
        "ii" => 2,
        "iii" => 3,
        "iv" | "iiii" => 4,
        // `V. I` is a violin.
        "v" if at > 0 && tokens.iter().take(at).any(|t| t.text.len() > 1) => 5,
        "vi" if at > 0 => 6,
        "vii" => 7,
        "viii" => 8,
        "primo" | "prima" | "primi" | "prime" | "first" | "erste" | "erster" | "ersten" | "erstes"
        | "premier" | "premiers" | "premiere" | "premieres" | "one" => 1,
        "secondo" | "seconda" | "secondi" | "seconde" | "second" | "seconds" | "secondes" | "zweite"
        | "zweiter" | "zweiten" | "zweites" | "deuxieme" | "deuxiemes" | "two" => 2,
        "terzo" | "terza" | "terzi" | "third" | "dritte" | "dritter" | "dritten" | "drittes"
        | "troisieme" | "three" => 3,
        "quarto" | "quarta" | "quarti" | "fourth" | "vierte" | "vierter" | "vierten" | "viertes"
        | "quatrieme" | "four" => 4,
        _ => return None,
    })
}

/// The ending of an ordinal in figures: `1st`, `2nd`, `1er`, `2me`, `1a`.
fn ordinal_ending(token: &str) -> bool {
    matches!(
        token,
        "st" | "nd"
            | "rd"
            | "th"
            | "er"
            | "ers"
            | "ere"
            | "eres"
            | "re"
            | "res"
            | "eme"
            | "emes"
            | "e"
            | "es"
            | "o"
            | "a"
            | "i"
            | "d"
            | "ds"
            | "de"
            | "des"
            | "me"
            | "mes"
            | "te"
            | "ter"
            | "do"
            | "da"
            | "mo"
            | "ma"
    )
}
