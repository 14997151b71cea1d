//! `[deliver]`, in the plan or in the template: what is delivered, and how it is called.

use crate::diagnostic::did_you_mean;
use crate::toml::{File, span_of};
use crate::{Bits, FAMILIES, RATES, Template};
use toml_edit::TableLike;

/// What is to be delivered; what is not given is as usual. The plan goes before the template.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct DeliverPlan {
    /// `folder`, relative to the cue: `delivered`.
    pub folder: Option<String>,
    /// `names`: the pattern of the sound files, [`USUAL_NAMES`].
    pub names: Option<String>,
    /// `number`: the cue's, as the picture's list has it.
    pub number: Option<String>,
    /// `version`: 1.
    pub version: Option<String>,
    /// `originator`: who makes the files.
    pub originator: Option<String>,
    /// `stems`: [`StemKind::USUAL`].
    pub stems: Option<Vec<StemKind>>,
    /// `alternates`: none.
    pub alternates: Option<Vec<Without>>,
    /// `lead-in`: so many whole bars before bar 1 at least, in MIDI and sound alike.
    pub lead_in: Option<u32>,
    /// `click`: yes.
    pub click: Option<bool>,
    /// `midi`: yes.
    pub midi: Option<bool>,
    /// `breakdown`: yes.
    pub breakdown: Option<bool>,
    /// `before`: bars that the breakdown begins before a passage, 2.
    pub before: Option<u32>,
    /// `flac`: beside the WAV files, no.
    pub flac: Option<bool>,
    /// `rate`: as `[mix]`.
    pub rate: Option<u32>,
    /// `bits`: as `[mix]`.
    pub bits: Option<Bits>,
}

/// How sound files are called where nobody says otherwise.
pub const USUAL_NAMES: &str = "{number} {title} v{version} {stem}";

/// Words in braces that a pattern may hold.
pub const NAME_WORDS: [&str; 5] = ["number", "title", "version", "stem", "kind"];

/// Kinds of stems.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum StemKind {
    /// Sums by family.
    Families,
    /// Every chair in its hall.
    Chairs,
    /// Every chair without halls.
    Dry,
}

impl StemKind {
    /// What is delivered where nobody says otherwise.
    pub const USUAL: [Self; 2] = [Self::Families, Self::Chairs];

    /// All of them, with their words.
    pub const ALL: [(&str, Self); 3] =
        [("families", Self::Families), ("chairs", Self::Chairs), ("dry", Self::Dry)];

    /// From its word.
    pub fn parse(word: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|(w, _)| *w == word).map(|(_, kind)| kind)
    }
}

/// What an alternate mix leaves out.
#[derive(Clone, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Without {
    /// Whoever has the tune, while they have it.
    Tune,
    /// A family, by its name.
    Family(&'static str),
    /// A chair.
    Chair(String),
}

impl Without {
    /// From its words: `without tune`, `without percussion`, `without harp`.
    pub fn parse(text: &str) -> Option<Self> {
        let mut words = text.split_whitespace();
        if words.next() != Some("without") {
            return None;
        }
        let what = words.next()?;
        if words.next().is_some() { None } else { Self::of(what) }
    }

    /// From what is left out, in a word; `None` for no word.
    pub fn of(what: &str) -> Option<Self> {
        let what = what.trim();
        if what.is_empty() {
            return None;
        }
        Some(match FAMILIES.into_iter().find(|f| *f == what) {
            Some(family) => Self::Family(family),
            None if what == "tune" => Self::Tune,
            None => Self::Chair(what.to_string()),
        })
    }

    /// What is left out, in a word.
    pub fn word(&self) -> &str {
        match self {
            Self::Tune => "tune",
            Self::Family(family) => family,
            Self::Chair(chair) => chair,
        }
    }
}

impl DeliverPlan {
    /// What is given here, else what the other gives.
    #[must_use]
    pub fn or(&self, other: &Self) -> Self {
        let text = |a: &Option<String>, b: &Option<String>| a.clone().or_else(|| b.clone());
        Self {
            folder: text(&self.folder, &other.folder),
            names: text(&self.names, &other.names),
            number: text(&self.number, &other.number),
            version: text(&self.version, &other.version),
            originator: text(&self.originator, &other.originator),
            stems: self.stems.clone().or_else(|| other.stems.clone()),
            alternates: self.alternates.clone().or_else(|| other.alternates.clone()),
            lead_in: self.lead_in.or(other.lead_in),
            click: self.click.or(other.click),
            midi: self.midi.or(other.midi),
            breakdown: self.breakdown.or(other.breakdown),
            before: self.before.or(other.before),
            flac: self.flac.or(other.flac),
            rate: self.rate.or(other.rate),
            bits: self.bits.or(other.bits),
        }
    }

    /// Alternates without chairs that the template does not have: each with the nearest that it has.
    pub fn unknown_chairs(&self, template: &Template) -> Vec<(String, Option<String>)> {
        let known = || template.chairs.iter().map(|c| c.id.as_str());
        let missing = |w: &Without| match w {
            Without::Chair(id) if !known().any(|k| k == id) => {
                Some((id.clone(), crate::nearest(id, known()).map(str::to_string)))
            }
            _ => None,
        };
        self.alternates.iter().flatten().filter_map(missing).collect()
    }
}

const KEYS: [&str; 15] = [
    "folder",
    "names",
    "number",
    "version",
    "originator",
    "stems",
    "alternates",
    "lead-in",
    "click",
    "midi",
    "breakdown",
    "before",
    "flac",
    "rate",
    "bits",
];

/// Most bars before bar 1, or before a passage: more would be another piece (own limit).
const MOST_BARS: i64 = 16;

pub fn read(file: &mut File<'_>, table: &dyn TableLike) -> DeliverPlan {
    file.only(table, &KEYS, "[deliver]");
    let version = table.get("version").and_then(|item| match item.as_integer() {
        Some(number) => Some(number.to_string()),
        None => file.string(table, "version"),
    });
    let number = table.get("number").and_then(|item| match item.as_integer() {
        Some(number) => Some(number.to_string()),
        None => file.string(table, "number"),
    });
    let bars =
        |file: &mut File<'_>, key| file.whole(table, key, 0, MOST_BARS).and_then(|n| u32::try_from(n).ok());
    let lead_in = bars(file, "lead-in");
    let before = bars(file, "before");
    let rate = file.whole(table, "rate", 1, i64::MAX).and_then(|value| {
        let known = RATES.into_iter().find(|r| i64::from(*r) == value);
        if known.is_none() {
            let at = table.get("rate").map_or(0..0, span_of);
            let help = "expected 44100, 48000, 88200 or 96000 samples a second";
            file.error(at, format!("`rate` is {value}"), help);
        }
        known
    });
    let bits = file.whole(table, "bits", 1, i64::MAX).and_then(|value| {
        let known = Bits::of(value);
        if known.is_none() {
            let at = table.get("bits").map_or(0..0, span_of);
            file.error(at, format!("`bits` is {value}"), "expected 16, 24 or 32 (32 are floats)");
        }
        known
    });
    DeliverPlan {
        folder: folder(file, table),
        names: names(file, table),
        number,
        version,
        originator: file.string(table, "originator"),
        stems: stems(file, table),
        alternates: alternates(file, table),
        lead_in,
        click: file.boolean(table, "click"),
        midi: file.boolean(table, "midi"),
        breakdown: file.boolean(table, "breakdown"),
        before,
        flac: file.boolean(table, "flac"),
        rate,
        bits,
    }
}

fn folder(file: &mut File<'_>, table: &dyn TableLike) -> Option<String> {
    let folder = file.string(table, "folder")?;
    if folder.trim().is_empty() {
        let at = table.get("folder").map_or(0..0, span_of);
        file.error(at, "`folder` names no folder", "write its path, relative to the cue: \"delivered\"");
        return None;
    }
    // A plan may come from somebody else, and a template serves many cues: neither writes where nobody looks.
    if !stays_inside(folder.trim_end_matches('/')) {
        let at = table.get("folder").map_or(0..0, span_of);
        let help = "write a folder in it: folder = \"delivered\"; for another place run `ripieno deliver CUE -o DIR`";
        file.error(at, format!("`{folder}` is no folder in the cue's folder"), help);
        return None;
    }
    Some(folder)
}

/// Is it a path that leads to something in the folder that it is relative to, on every system?
pub(crate) fn stays_inside(path: &str) -> bool {
    !path.trim().is_empty()
        && !path.contains(['\\', ':'])
        && path.split('/').all(|part| !part.is_empty() && part != "..")
}

fn names(file: &mut File<'_>, table: &dyn TableLike) -> Option<String> {
    let names = file.string(table, "names")?;
    let at = table.get("names").map_or(0..0, span_of);
    match words_of(&names) {
        Err(()) => file.error(
            at,
            "a brace of `names` has no partner",
            format!("write words in braces: \"{USUAL_NAMES}\""),
        ),
        Ok(words) => {
            for word in words.iter().filter(|w| !NAME_WORDS.contains(w)) {
                let help = did_you_mean(word, NAME_WORDS, || format!("words are: {}", NAME_WORDS.join(", ")));
                file.error(at.clone(), format!("`names` has no word `{{{word}}}`"), help);
            }
            if !words.contains(&"stem") {
                let help = "write {stem} where the name of the stem is to stand";
                file.error(at, "`names` would give every file the same name", help);
            }
        }
    }
    Some(names)
}

/// The words in braces of a pattern.
fn words_of(pattern: &str) -> Result<Vec<&str>, ()> {
    let mut words = Vec::new();
    let mut rest = pattern;
    while let Some(at) = rest.find(['{', '}']) {
        let inside = rest[at..].strip_prefix('{').ok_or(())?;
        let (word, after) = inside.split_once('}').ok_or(())?;
        if word.contains('{') {
            return Err(());
        }
        words.push(word);
        rest = after;
    }
    Ok(words)
}

fn stems(file: &mut File<'_>, table: &dyn TableLike) -> Option<Vec<StemKind>> {
    table.get("stems")?;
    let mut out = Vec::new();
    for (word, at) in file.strings(table, "stems") {
        match StemKind::parse(&word) {
            Some(kind) if !out.contains(&kind) => out.push(kind),
            Some(_) => {}
            None => {
                let words = StemKind::ALL.map(|(w, _)| w);
                let help = did_you_mean(&word, words, || format!("stems are: {}", words.join(", ")));
                file.error(at, format!("there are no stems `{word}`"), help);
            }
        }
    }
    Some(out)
}

fn alternates(file: &mut File<'_>, table: &dyn TableLike) -> Option<Vec<Without>> {
    table.get("alternates")?;
    let mut out = Vec::new();
    for (text, at) in file.strings(table, "alternates") {
        match Without::parse(&text) {
            Some(without) if !out.contains(&without) => out.push(without),
            Some(_) => {}
            None => file.error(
                at,
                format!("the alternate `{text}` is not understood"),
                "write \"without tune\", \"without percussion\" or another family, or \"without\" and a chair",
            ),
        }
    }
    Some(out)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::Plan;

    fn parse(table: &str) -> (DeliverPlan, Vec<String>) {
        let text = format!("[cue]\ntitle = \"x\"\nmusic = \"x.mid\"\n[deliver]\n{table}");
        let (plan, found) = Plan::parse("cue.toml", &text);
        (plan.deliver, found.iter().map(ToString::to_string).collect())
    }

    #[test]
    fn what_is_written_is_understood() {
        let (plan, found) = parse(
            "names = \"{title} {stem}\"\nnumber = 3\nversion = \"2b\"\nstems = [\"chairs\", \"dry\"]\nflac = true\n\
             alternates = [\"without tune\", \"without percussion\", \"without harp\"]\nlead-in = 2\nbits = 24\n",
        );
        assert!(found.is_empty(), "{found:?}");
        assert_eq!(plan.number.as_deref(), Some("3"));
        assert_eq!(plan.stems, Some(vec![StemKind::Chairs, StemKind::Dry]));
        for folder in ["to client/mix/", "delivered", "./out"] {
            let (plan, found) = parse(&format!("folder = \"{folder}\""));
            assert!(found.is_empty() && plan.folder.as_deref() == Some(folder), "{found:?}");
        }
        let wanted = [Without::Tune, Without::Family("percussion"), Without::Chair("harp".into())];
        assert_eq!(plan.alternates.as_deref(), Some(&wanted[..]));
        let merged = plan.or(&DeliverPlan { version: Some("9".into()), click: Some(false), ..plan.clone() });
        assert_eq!((merged.version.as_deref(), merged.click), (Some("2b"), Some(false)));
    }

    #[test]
    fn what_is_not_is_said_with_its_place() {
        for (table, said) in [
            ("names = \"{titel} {stem}\"", "`title`"),
            ("names = \"{title}\"", "same name"),
            ("names = \"{title {stem}\"", "partner"),
            ("names = \"title} {stem}\"", "partner"),
            ("stems = [\"family\"]", "families"),
            ("alternates = [\"no tune\"]", "without"),
            ("alternates = [\"without\"]", "without"),
            ("lead-in = 99", "16"),
            ("folder = \"\"", "folder"),
            ("folder = \"/srv/out\"", "-o DIR"),
            ("folder = \"../out\"", "-o DIR"),
            ("folder = \"a/../../out\"", "-o DIR"),
            ("folder = 'C:\\out'", "-o DIR"),
            ("rate = 47999", "48000"),
            ("bits = 8", "24"),
            ("clik = true", "click"),
        ] {
            let (_, found) = parse(table);
            assert!(found.iter().any(|f| f.contains(said) && f.contains("cue.toml:5")), "{table}: {found:?}");
        }
    }
}
