//! The trade's words: what stands in scores, and in the cells of a casting plan, to say how to play.
//!
//! One grammar for both, so that what a composer reads in a score can be written in a cell. Italian, English, German
//! and French as common in printed scores (common practice, no source).

use crate::Playing;

/// Reads a direction from a score (`"div. a 2, con sord."`) into the states that it sets, in order.
/// Words that mean nothing for the playing are passed over.
pub fn playing(text: &str) -> Vec<Playing> {
    let lower = text.to_lowercase().replace(['(', ')', '[', ']', '"'], " ");
    let mut found = Vec::new();
    for piece in lower.split([',', ';', '/', '\n']).map(str::trim).filter(|p| !p.is_empty()) {
        if let Some(one) = mark(piece) {
            // `1., 2.` is one direction: both.
            match (found.last_mut(), one) {
                (Some(Playing::Players(before)), Playing::Players(more)) => *before |= more,
                (_, one) => found.push(one),
            }
        } else {
            found.extend(within(piece));
        }
    }
    found
}

/// Reads one mark as it stands alone (`"pizz."`, `"a 2"`, `"div. a 3"`). `None` if it is none of the trade's.
pub fn mark(text: &str) -> Option<Playing> {
    let text = text.trim().to_lowercase();
    let text = text.as_str();
    if let Some(playing) = numbered(text) {
        return Some(playing);
    }
    let bare = text.trim_end_matches(['.', ':']).trim();
    EXACT.iter().find(|(words, _)| words.contains(&bare)).map(|(_, p)| p.clone())
}

/// `a 2`, `a2`, `à 2`, `zu 2`, `1.`, `1. 2.`, `I`, `div. a 3`, `div. in 3`, `div. 2`.
fn numbered(text: &str) -> Option<Playing> {
    let number =
        |s: &str| s.trim().trim_end_matches('.').trim().parse::<u8>().ok().filter(|n| (1..=32).contains(n));
    for lead in ["a", "à", "zu"] {
        if let Some(n) = text.strip_prefix(lead).and_then(|r| number(r.trim_start_matches(['.', ' ']))) {
            return Some(Playing::Together(n));
        }
    }
    for lead in ["div.", "div", "divisi", "divisés", "geteilt", "get.", "divided"] {
        if let Some(rest) = text.strip_prefix(lead) {
            let rest = rest.trim().trim_start_matches(['.']).trim();
            let rest = ["a ", "à ", "in ", "en "].iter().find_map(|l| rest.strip_prefix(l)).unwrap_or(rest);
            if let Some(n) = number(rest.trim_matches(['(', ')'])) {
                return Some(Playing::Div(n));
            }
        }
    }
    let mut players = 0u32;
    for word in text.split([' ', '&', '+']).filter(|w| !w.is_empty()) {
        let n = match word {
            "i." | "i" => 1,
            "ii." | "ii" => 2,
            "iii." | "iii" => 3,
            "iv." | "iv" => 4,
            w if w.ends_with('.') => number(w)?,
            _ => return None,
        };
        players |= 1u32.checked_shl(u32::from(n) - 1)?;
    }
    (players != 0).then_some(Playing::Players(players))
}

/// Finds the words inside a longer phrase (`"Pizz. molto vibrato"`, `"senza sordini al fine"`).
fn within(text: &str) -> Vec<Playing> {
    let words: Vec<&str> =
        text.split([' ', '-']).map(|w| w.trim_matches(['.', ':', '!'])).filter(|w| !w.is_empty()).collect();
    let mut found = Vec::new();
    let mut i = 0;
    while i < words.len() {
        let longest = (1..=4.min(words.len() - i)).rev().find_map(|n| {
            let phrase = words[i..i + n].join(" ");
            if n > 1
                && let Some(Playing::Div(parts @ 1..)) = numbered(&phrase)
            {
                return Some((n, Playing::Div(parts)));
            }
            // Inside a phrase a lone letter or number is not a direction.
            (phrase.len() > 2)
                .then(|| EXACT.iter().find(|(w, _)| w.contains(&phrase.as_str())))
                .flatten()
                .map(|(_, p)| (n, p.clone()))
        });
        match longest {
            Some((n, playing)) => {
                found.push(playing);
                i += n;
            }
            None => i += 1,
        }
    }
    found
}

/// Without full stops at the end; longest phrases are tried first.
static EXACT: &[(&[&str], Playing)] = &[
    (
        &[
            "arco",
            "archi",
            "col arco",
            "coll' arco",
            "coll'arco",
            "bogen",
            "mit bogen",
            "gestrichen",
            "archet",
            "avec l'archet",
        ],
        Playing::Arco,
    ),
    (&["pizz", "pizzicato", "pizzic", "pizzicati", "gezupft", "pincé"], Playing::Pizz),
    (
        &["col legno", "col legno battuto", "col legno batt", "c.l", "c.l. batt", "mit dem holz"],
        Playing::ColLegnoBattuto,
    ),
    (&["col legno tratto", "col legno tr", "c.l. tratto"], Playing::ColLegnoTratto),
    (
        &[
            "con sord",
            "con sordino",
            "con sordini",
            "con sordina",
            "sord",
            "sordino",
            "sordini",
            "mit dämpfer",
            "mit dämpfern",
            "m. dpf",
            "gedämpft",
            "avec sourdine",
            "avec sourdines",
            "avec sourd",
            "sourdine",
            "sourdines",
            "sourd",
            "muted",
            "mute",
            "mutes on",
            "mute on",
            "with mute",
            "with mutes",
            "mettez la sourdine",
            "mettez les sourdines",
        ],
        Playing::ConSord,
    ),
    (
        &[
            "senza sord",
            "senza sordino",
            "senza sordini",
            "senza sordina",
            "ohne dämpfer",
            "o. dpf",
            "sans sourdine",
            "sans sourdines",
            "sans sourd",
            "ôtez les sourdines",
            "ôtez vite la sourdine",
            "ôtez vite les sourdines",
            "enlevez la sourdine",
            "enlevez les sourdines",
            "ôtez la sourdine",
            "otez les sourdines",
            "unmuted",
            "mutes off",
            "mute off",
            "mute out",
            "via sord",
            "via sordini",
            "via sordino",
            "without mute",
            "dämpfer weg",
            "dämpfer ab",
        ],
        Playing::SenzaSord,
    ),
    (
        &[
            "sul pont",
            "sul ponticello",
            "ponticello",
            "s. pont",
            "s.p",
            "am steg",
            "sur le chevalet",
            "au chevalet",
        ],
        Playing::SulPont,
    ),
    (
        &[
            "sul tasto",
            "sulla tastiera",
            "sul tast",
            "flautando",
            "flaut",
            "s. tasto",
            "s.t",
            "am griffbrett",
            "sur la touche",
            "tasto",
        ],
        Playing::SulTasto,
    ),
    (
        &[
            "ord",
            "ordinario",
            "nat",
            "naturale",
            "modo ord",
            "modo ordinario",
            "pos. nat",
            "pos nat",
            "gewöhnlich",
            "position naturelle",
            "normale",
            "norm",
            "jeu ordinaire",
            "jeu ord",
            "position nat",
        ],
        Playing::Ord,
    ),
    (
        &["harm", "harmonics", "harmonic", "flag", "flageolet", "armonici", "sons harmoniques"],
        Playing::Harmonics,
    ),
    (
        &["non vib", "non vibrato", "senza vib", "senza vibrato", "ohne vibrato", "n.v", "sans vibrato"],
        Playing::NonVib,
    ),
    (&["vib", "vibrato", "con vib", "con vibrato", "molto vib", "molto vibrato"], Playing::Vib),
    (&["trem", "tremolo", "tremolando"], Playing::Trem(true)),
    (&["non trem", "non tremolo", "senza trem", "senza tremolo"], Playing::Trem(false)),
    (
        &[
            "flutter",
            "flutter tongue",
            "flutter tonguing",
            "flutter-tongue",
            "flz",
            "flatterzunge",
            "flttrz",
            "frull",
            "frullato",
        ],
        Playing::Flutter,
    ),
    (&["gestopft", "gest", "bouché", "bouche", "chiuso", "stopped", "chiusi", "bouchés"], Playing::Stopped),
    (&["offen", "ouvert", "open", "aperto", "aperti", "ouverts"], Playing::Open),
    (&["legato", "leg", "sempre legato", "legatissimo", "molto legato", "gebunden", "lié"], Playing::Legato),
    (&["staccato", "stacc", "sempre stacc", "sempre staccato", "gestoßen", "abgestoßen"], Playing::Staccato),
    (&["staccatissimo", "staccatiss"], Playing::Staccatissimo),
    (&["spiccato", "spicc", "saltando", "sautillé"], Playing::Spiccato),
    (&["tenuto", "ten"], Playing::Tenuto),
    (&["portato", "port", "louré"], Playing::Portato),
    (&["marcato", "marc", "marcatissimo", "ben marcato"], Playing::Marcato),
    (&["detache", "détaché", "det", "dét", "non legato"], Playing::Detache),
    (&["div", "divisi", "divided", "divisés", "geteilt", "get", "divise"], Playing::Div(0)),
    (&["unis", "unisoni", "unisono", "unison", "uniti", "zus", "zusammen"], Playing::Unis),
    (&["non div", "non divisi", "nicht geteilt", "non divisés"], Playing::NonDiv),
    (&["solo", "allein", "seul", "one player", "1 solo", "soli"], Playing::Solo),
    (&["tutti", "alle", "tous", "gli altri", "all"], Playing::Tutti),
    (
        &[
            "l.v",
            "lv",
            "l.v. sempre",
            "sempre l.v",
            "laissez vibrer",
            "lasciar vibrare",
            "let ring",
            "klingen lassen",
        ],
        Playing::LetRing,
    ),
    (
        &[
            "étouffez",
            "etouffez",
            "non l.v",
            "senza l.v",
            "secco",
            "sec",
            "damp",
            "étouffé",
            "abdämpfen",
            "dampened",
        ],
        Playing::Damp,
    ),
    (&["roll", "rolled", "wirbel"], Playing::Roll),
    (&["strokes", "single strokes"], Playing::Strokes),
    (&["swell"], Playing::Swell),
    (&["soft mallets", "soft sticks", "soft beaters"], Playing::Mallets(false)),
    (&["hard mallets", "hard sticks", "wood sticks", "hard beaters", "holzschlägel"], Playing::Mallets(true)),
];

/// Every word that a cell may use for a mark, for hints and completion.
pub fn vocabulary() -> impl Iterator<Item = &'static str> {
    EXACT.iter().filter_map(|(words, _)| words.first().copied())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn single_marks() {
        assert_eq!(mark("pizz."), Some(Playing::Pizz));
        assert_eq!(mark("a 2"), Some(Playing::Together(2)));
        assert_eq!(mark("a2."), Some(Playing::Together(2)));
        assert_eq!(mark("1. 3."), Some(Playing::Players(0b101)));
        assert_eq!(mark("div. a 3"), Some(Playing::Div(3)));
        assert_eq!(mark("div."), Some(Playing::Div(0)));
        assert_eq!(mark("non div."), Some(Playing::NonDiv));
        assert_eq!(mark("Allegro"), None);
        assert_eq!(mark("l.v."), Some(Playing::LetRing));
        assert_eq!(mark("l.v. sempre"), Some(Playing::LetRing));
        assert_eq!(mark("non l.v."), Some(Playing::Damp));
    }

    #[test]
    fn phrases() {
        assert_eq!(playing("Div. a 2, con sord."), [Playing::Div(2), Playing::ConSord]);
        assert_eq!(playing("senza sordini al fine"), [Playing::SenzaSord]);
        assert_eq!(playing("pizz. e cresc."), [Playing::Pizz]);
        assert_eq!(playing("Allegro con brio"), []);
        assert_eq!(playing("tous div. en 2"), [Playing::Tutti, Playing::Div(2)]);
        assert_eq!(playing("ôtez vite la sourdine"), [Playing::SenzaSord]);
        assert_eq!(playing("1., 2."), [Playing::Players(0b11)]);
        assert_eq!(playing("a. 2"), [Playing::Together(2)]);
        assert_eq!(playing("arco sul pont."), [Playing::Arco, Playing::SulPont]);
        assert_eq!(playing("gestrichen, mit Dämpfer"), [Playing::Arco, Playing::ConSord]);
        assert_eq!(playing("sehr gebunden"), [Playing::Legato]);
        assert_eq!(playing("gezupft"), [Playing::Pizz]);
    }
}
