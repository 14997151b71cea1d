//! Names as tokens: without case, accents, stops and spacing.

/// Lower-case tokens; letters and digits apart, accents dropped.
pub(crate) fn tokens(name: &str) -> Vec<String> {
    let mut out: Vec<String> = Vec::new();
    let mut last = ' ';
    for c in name.chars() {
        let plain = plain(c);
        for c in plain.chars() {
            let kind = |c: char| {
                if c.is_ascii_digit() {
                    1
                } else if c.is_alphabetic() {
                    2
                } else {
                    0
                }
            };
            if kind(c) == 0 {
                last = ' ';
                continue;
            }
            // A capital after a small letter begins a word: `ViolinII` does not, `VnI` does not matter.
            if kind(last) != kind(c) || out.is_empty() {
                out.push(String::new());
            }
            if let Some(word) = out.last_mut() {
                word.extend(c.to_lowercase());
            }
            last = c;
        }
    }
    out
}

/// A letter without its accent; signs of alteration as letters.
fn plain(c: char) -> String {
    let one = match c {
        'à' | 'á' | 'â' | 'ã' | 'å' | 'À' | 'Á' | 'Â' | 'ä' | 'Ä' => "a",
        'è' | 'é' | 'ê' | 'ë' | 'È' | 'É' | 'Ê' => "e",
        'ì' | 'í' | 'î' | 'ï' | 'Î' => "i",
        'ò' | 'ó' | 'ô' | 'õ' | 'ø' | 'Ô' | 'ö' | 'Ö' => "o",
        'ù' | 'ú' | 'û' | 'ü' | 'Ü' | 'Û' => "u",
        'ç' | 'Ç' => "c",
        'ñ' => "n",
        'ß' => "ss",
        'œ' | 'Œ' => "oe",
        'æ' => "ae",
        '♭' => "b",
        '♯' | '#' => " sharp ",
        '\'' | '’' => "",
        _ => return c.to_string(),
    };
    one.to_string()
}
