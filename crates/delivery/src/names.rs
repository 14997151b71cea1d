//! File names by a pattern, safe on every system.

use std::collections::BTreeSet;

/// Bytes of a name without its ending: file systems take 255, the names of folders around it and of copies (`name (2)`) add to
/// it (own limit).
pub const MOST_BYTES: usize = 160;

/// What may stand in a pattern.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Fields {
    /// `{number}`.
    pub number: String,
    /// `{title}`.
    pub title: String,
    /// `{version}`.
    pub version: String,
    /// `{stem}`.
    pub stem: String,
    /// `{kind}`: mix, family, chair, dry, print, alternate, click.
    pub kind: String,
}

/// Names that Windows keeps for devices, with any ending (Microsoft, Naming Files, Paths, and Namespaces).
const DEVICES: [&str; 4] = ["con", "prn", "aux", "nul"];

/// One text as a safe part of a path: no character that a system reserves (`< > : " / \ | ? *` and controls), no dot, space or
/// hyphen at the start, no dot or space at the end, no name of a device, no more than [`MOST_BYTES`]. Never empty.
pub fn safe(text: &str) -> String {
    let reserved = |c: char| c.is_control() || "<>:\"/\\|?*".contains(c) || is_invisible(c);
    let mut out = String::new();
    for c in text.chars() {
        match c {
            '/' | '\\' | '|' | ':' => out.push('-'),
            c if reserved(c) => {}
            c if c.is_whitespace() => out.push(' '),
            c => out.push(c),
        }
    }
    let mut out = out.split(' ').filter(|w| !w.is_empty()).collect::<Vec<_>>().join(" ");
    cut(&mut out, MOST_BYTES);
    let trimmed = out.trim_start_matches(['.', ' ', '-']).trim_end_matches(['.', ' ']);
    let mut out = if trimmed.is_empty() { "unnamed".to_string() } else { trimmed.to_string() };
    let stem = out.split('.').next().unwrap_or("").trim_end().to_lowercase();
    let numbered = ["com", "lpt"].iter().any(|d| {
        stem.strip_prefix(d).is_some_and(|n| {
            n.chars().count() == 1 && n.chars().all(|c| c.is_ascii_digit() || "¹²³".contains(c))
        })
    });
    if DEVICES.contains(&stem.as_str()) || numbered {
        out.insert(0, '_');
    }
    out
}

/// Marks that are not seen and turn the direction of writing: two names that look the same would differ.
fn is_invisible(c: char) -> bool {
    matches!(c, '\u{200B}'..='\u{200F}' | '\u{202A}'..='\u{202E}' | '\u{2060}'..='\u{206F}' | '\u{FEFF}')
}

fn cut(text: &mut String, most: usize) {
    if text.len() > most {
        let end = (0..=most).rev().find(|i| text.is_char_boundary(*i)).unwrap_or(0);
        text.truncate(end);
    }
}

/// A name by a pattern such as `{number} {title} v{version} {stem}`. A word in braces that has no text goes, with what stands
/// between it and the space before. Where it all is too long the title is cut, and then the stem.
pub fn by_pattern(pattern: &str, fields: &Fields) -> String {
    let mut fields = fields.clone();
    let raw = fill(pattern, &fields);
    let over = raw.len().saturating_sub(MOST_BYTES);
    if over > 0 {
        let left = fields.title.len().saturating_sub(over).max(8);
        cut(&mut fields.title, left);
        let over = fill(pattern, &fields).len().saturating_sub(MOST_BYTES);
        let left = fields.stem.len().saturating_sub(over).max(8);
        cut(&mut fields.stem, left);
    }
    safe(&fill(pattern, &fields))
}

fn fill(pattern: &str, fields: &Fields) -> String {
    let word = |name: &str| match name {
        "number" => fields.number.as_str(),
        "title" => &fields.title,
        "version" => &fields.version,
        "stem" => &fields.stem,
        "kind" => &fields.kind,
        _ => "",
    };
    let mut parts = Vec::new();
    for part in pattern.split(' ') {
        let (mut out, mut rest) = (String::new(), part);
        let (mut any, mut words) = (false, 0);
        while let Some((before, after)) = rest.split_once('{') {
            let (name, after) = after.split_once('}').unwrap_or((after, ""));
            let text = word(name).trim();
            words += 1;
            any |= !text.is_empty();
            out.push_str(before);
            out.push_str(text);
            rest = after;
        }
        out.push_str(rest);
        if words == 0 || any {
            parts.push(out);
        }
    }
    parts.join(" ")
}

/// Names that are given out once each, also where a system does not tell capitals from small letters.
#[derive(Clone, Debug, Default)]
pub struct Names {
    taken: BTreeSet<String>,
}

impl Names {
    /// A path of this folder, name and ending that no other has: `name`, else `name (2)`.
    pub fn take(&mut self, folder: &str, name: &str, ending: &str) -> String {
        let path = |name: &str| match folder {
            "" => format!("{name}.{ending}"),
            folder => format!("{folder}/{name}.{ending}"),
        };
        let mut wanted = path(name);
        let mut number = 2;
        while !self.taken.insert(wanted.to_lowercase()) {
            wanted = path(&format!("{name} ({number})"));
            number += 1;
        }
        wanted
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn fields(number: &str, title: &str, stem: &str) -> Fields {
        Fields {
            number: number.into(),
            title: title.into(),
            version: "1".into(),
            stem: stem.into(),
            kind: "chair".into(),
        }
    }

    #[test]
    fn patterns() {
        let usual = ripieno_plan::USUAL_NAMES;
        assert_eq!(by_pattern(usual, &fields("1m3", "Night Ferry", "harp")), "1m3 Night Ferry v1 harp");
        assert_eq!(by_pattern(usual, &fields("", "Night Ferry", "harp")), "Night Ferry v1 harp");
        assert_eq!(by_pattern("{title}_{kind}-{stem}", &fields("", "A/B: c?", "x")), "A-B- c_chair-x");
        assert_eq!(by_pattern("{stem}", &fields("", "", "CON")), "_CON");
        assert_eq!(by_pattern("{stem}", &fields("", "", "..")), "unnamed");
        let long = by_pattern(usual, &fields("1", &"é".repeat(400), "second violins"));
        assert!(long.len() <= MOST_BYTES && long.ends_with("second violins"), "{long}");
    }

    #[test]
    fn no_two_are_the_same() {
        let mut names = Names::default();
        assert_eq!(names.take("stems", "Harp", "wav"), "stems/Harp.wav");
        assert_eq!(names.take("stems", "harp", "wav"), "stems/harp (2).wav");
        assert_eq!(names.take("", "harp", "wav"), "harp.wav");
    }

    proptest! {
        /// Whatever the composer writes: one part of a path that every system takes, the same when made again.
        #[test]
        fn every_name_is_safe(title in "\\PC{0,300}|[ -~]{0,40}|[.<>:\"/|?* \\\\-]{0,9}", stem in "\\PC{0,60}", number in "[^a-z]{0,9}") {
            for pattern in [ripieno_plan::USUAL_NAMES, "{stem}", "{title}", "{number}.{title}"] {
                let name = by_pattern(pattern, &fields(&number, &title, &stem));
                prop_assert!(!name.is_empty() && name.len() <= MOST_BYTES + 1, "{name:?}");
                prop_assert!(!name.chars().any(|c| c.is_control() || "<>:\"/\\|?*".contains(c)), "{name:?}");
                prop_assert!(!name.starts_with(['.', ' ', '-']) && !name.ends_with(['.', ' ']), "{name:?}");
                prop_assert_eq!(safe(&name), name.clone());
                let device = name.split('.').next().unwrap_or("").trim_end().to_lowercase();
                prop_assert!(!["con", "nul", "com1", "lpt9"].contains(&device.as_str()), "{name:?}");
            }
        }

        #[test]
        fn collisions_are_resolved(list in prop::collection::vec("[aAbB]{1,2}", 1..30)) {
            let mut names = Names::default();
            let all: BTreeSet<String> =
                list.iter().map(|n| names.take("x", n, "wav").to_lowercase()).collect();
            prop_assert_eq!(all.len(), list.len());
        }
    }
}
