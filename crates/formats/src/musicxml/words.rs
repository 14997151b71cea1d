//! What words in a score mean.

use super::sheet::RawKind;
use ripieno_music::{Dynamic, Mark, OrnamentKind, Playing, words};

/// An ornament of the folk wind instruments by name.
pub(super) fn ornament(text: &str) -> Option<OrnamentKind> {
    let name = text.trim().trim_end_matches('.').to_lowercase().replace(['-', '_'], " ");
    Some(match name.as_str() {
        "cut" => OrnamentKind::Cut,
        "strike" => OrnamentKind::Strike,
        "short roll" => OrnamentKind::ShortRoll,
        "long roll" => OrnamentKind::LongRoll,
        "cran" => OrnamentKind::Cran,
        "slide" => OrnamentKind::Slide,
        _ => return None,
    })
}

/// A sign at one note by name.
pub(super) fn mark(text: &str) -> Option<Mark> {
    Some(match words::mark(text)? {
        Playing::Staccato => Mark::Staccato,
        Playing::Staccatissimo => Mark::Staccatissimo,
        Playing::Spiccato => Mark::Spiccato,
        Playing::Tenuto => Mark::Tenuto,
        Playing::Portato => Mark::Portato,
        Playing::Marcato => Mark::Marcato,
        Playing::Harmonics => Mark::Harmonic,
        Playing::Stopped => Mark::Stopped,
        Playing::Open => Mark::Open,
        Playing::LetRing => Mark::LetRing,
        Playing::Damp => Mark::Damp,
        _ => return None,
    })
}

/// An ornament by the name of its glyph (W3C Standard Music Font Layout 1.4, from memory), which writers give where the sign
/// has no element in the place where it stands.
pub(super) fn glyph_ornament(name: &str) -> Option<OrnamentKind> {
    Some(match name {
        "ornamentTrill" => OrnamentKind::Trill,
        "ornamentShortTrill" => OrnamentKind::UpperMordent,
        "ornamentMordent" => OrnamentKind::Mordent,
        "ornamentTurn" | "ornamentTurnUp" => OrnamentKind::Turn,
        "ornamentTurnInverted" | "ornamentTurnSlash" => OrnamentKind::InvertedTurn,
        "ornamentHaydn" => OrnamentKind::Haydn,
        "ornamentSchleifer" => OrnamentKind::Schleifer,
        _ => return None,
    })
}

/// A sign at one note by the name of its glyph; source as [`glyph_ornament`].
pub(super) fn glyph_mark(name: &str) -> Option<Mark> {
    let sign = name.trim_end_matches("Above").trim_end_matches("Below");
    Some(match sign {
        "articAccent" => Mark::Accent,
        "articStaccato" => Mark::Staccato,
        "articTenuto" => Mark::Tenuto,
        "articTenutoStaccato" => Mark::Portato,
        "articStaccatissimo" | "articStaccatissimoWedge" | "articStaccatissimoStroke" => Mark::Staccatissimo,
        "articMarcato" => Mark::Marcato,
        "articSoftAccent" => Mark::SoftAccent,
        "articStress" => Mark::Stress,
        "articUnstress" => Mark::Unstress,
        "articLaissezVibrer" => Mark::LetRing,
        "stringsUpBow" => Mark::UpBow,
        "stringsDownBow" => Mark::DownBow,
        "stringsHarmonic" => Mark::Harmonic,
        "fermata" => Mark::Fermata,
        _ => return None,
    })
}

/// Words of tempo and of its changes (common practice, no source).
const TEMPO: &[&str] = &[
    "allegro",
    "allegretto",
    "andante",
    "andantino",
    "adagio",
    "adagietto",
    "largo",
    "larghetto",
    "lento",
    "grave",
    "presto",
    "prestissimo",
    "moderato",
    "vivace",
    "vivo",
    "maestoso",
    "tempo",
    "rit",
    "ritard",
    "ritardando",
    "riten",
    "ritenuto",
    "rall",
    "rallent",
    "rallentando",
    "accel",
    "accelerando",
    "stringendo",
    "string",
    "allargando",
    "mosso",
    "langsam",
    "schnell",
    "bewegt",
    "bewegter",
    "lebhaft",
    "mässig",
    "mäßig",
    "ruhig",
    "lent",
    "vite",
    "vif",
    "modéré",
    "animé",
    "animato",
    "doppio",
    "schneller",
    "langsamer",
    "zurückhaltend",
    "zeitmass",
    "zeitmaß",
    "pressez",
    "cédez",
    "retenu",
    "vivacissimo",
];

/// Is it a tempo, or a change of one?
pub(super) fn is_tempo(text: &str) -> bool {
    tokens(text).any(|t| TEMPO.contains(&t.as_str()))
}

fn tokens(text: &str) -> impl Iterator<Item = String> + '_ {
    text.split(|c: char| !c.is_alphabetic()).filter(|t| !t.is_empty()).map(str::to_lowercase)
}

/// What words set, in order. Empty: nothing for the playing.
pub(super) fn meaning(text: &str, dashes: Option<u8>) -> Vec<RawKind> {
    if let Some(kind) = ornament(text) {
        return vec![RawKind::Ornament(kind)];
    }
    let mut found: Vec<RawKind> = Vec::new();
    // Dynamics are written small: `Horn in F` is none.
    found.extend(
        text.split(|c: char| !c.is_alphabetic())
            .filter(|t| !t.is_empty() && t.chars().all(|c| matches!(c, 'p' | 'f' | 'm' | 's' | 'z' | 'r')))
            .filter_map(Dynamic::parse)
            .map(RawKind::Dynamic),
    );
    let mut before = String::new();
    let nothing = {
        let lower = text.to_lowercase();
        lower.contains("niente") || lower.contains("morendo")
    };
    for token in tokens(text) {
        let negated = matches!(before.as_str(), "senza" | "non" | "ohne" | "sans" | "no");
        let louder = match token.as_str() {
            "cresc" | "crescendo" | "crescendosi" | "wachsend" => Some(true),
            "dim" | "dimin" | "diminuendo" | "decresc" | "decrescendo" | "calando" | "morendo" | "smorz"
            | "smorzando" | "perdendosi" | "abnehmend" => Some(false),
            _ => None,
        };
        if let Some(louder) = louder.filter(|_| !negated) {
            found.push(RawKind::Gradual { louder, niente: nothing && !louder, dashes });
        }
        before = token;
    }
    found.extend(words::playing(text).into_iter().map(RawKind::Playing));
    found
}

#[cfg(test)]
mod tests {
    use super::*;

    fn names(text: &str) -> Vec<String> {
        meaning(text, None)
            .iter()
            .map(|k| match k {
                RawKind::Dynamic(d) => d.word().to_owned(),
                RawKind::Gradual { louder, niente, .. } => {
                    format!("{}{}", if *louder { "<" } else { ">" }, if *niente { "0" } else { "" })
                }
                RawKind::Playing(p) => format!("{p:?}"),
                RawKind::Ornament(o) => format!("{o:?}"),
                _ => String::new(),
            })
            .collect()
    }

    #[test]
    fn words_and_what_they_set() {
        assert_eq!(names("sempre pp"), ["pp"]);
        assert_eq!(names("poco a poco cresc."), ["<"]);
        assert_eq!(names("senza cresc."), Vec::<String>::new());
        assert_eq!(names("dim. e morendo"), [">0", ">0"]);
        assert_eq!(names("Horn in F"), Vec::<String>::new());
        assert_eq!(names("p dolce"), ["p"]);
        assert_eq!(names("pizz."), ["Pizz"]);
        assert_eq!(names("long roll"), ["LongRoll"]);
        assert_eq!(names("mf espress., arco"), ["mf", "Arco"]);
        assert!(is_tempo("Tempo I") && is_tempo("poco rit.") && !is_tempo("dolce"));
    }
}
