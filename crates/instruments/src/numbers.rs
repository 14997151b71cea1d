//! Numbers in names: which desk or player.

/// The number that a token is, 1 to 16.
pub(crate) fn number(token: &str) -> Option<u8> {
    if let Ok(n) = token.parse::<u8>() {
        return (1..=16).contains(&n).then_some(n);
    }
    Some(match token {
        "i" | "primo" | "prima" | "primi" | "prime" | "first" | "erste" | "erster" | "ersten" | "premier"
        | "premiers" | "premiere" | "premieres" => 1,
        "ii" | "secondo" | "seconda" | "secondi" | "seconde" | "second" | "zweite" | "zweiter"
        | "zweiten" | "seconds" | "deuxieme" | "deuxiemes" => 2,
        "iii" | "terzo" | "third" | "dritte" | "troisieme" => 3,
        "iv" | "quarto" | "fourth" | "vierte" | "quatrieme" => 4,
        "v" => 5,
        "vi" => 6,
        "vii" => 7,
        "viii" => 8,
        _ => return None,
    })
}

/// Is the token the ending of an ordinal (`1st`, `2nd`, `1er`)?
pub(crate) fn ordinal_ending(token: &str) -> bool {
    matches!(token, "st" | "nd" | "rd" | "th" | "er" | "ere" | "re" | "eme" | "e" | "o" | "a" | "te" | "ste")
}
