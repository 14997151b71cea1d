//! What else a name says: articulation, solo, key, and what says nothing.

/// Articulations and colours that a track name's words stand for, in the words of patch cards.
pub(crate) fn articulation(token: &str, after: Option<&str>) -> Option<(&'static str, usize)> {
    // Two words.
    let two = match (token, after.unwrap_or_default()) {
        ("con" | "c", "sord" | "sordino" | "sordini")
        | ("avec", "sourdine" | "sourdines")
        | ("mit", "dampfer") => Some("con-sord"),
        ("sul" | "s", "pont" | "ponticello") | ("am", "steg") => Some("sul-pont"),
        ("sul" | "s", "tasto") | ("am", "griffbrett") => Some("sul-tasto"),
        ("col" | "c", "legno") => Some("col-legno"),
        ("non" | "no", "vib" | "vibrato") | ("senza", "vib" | "vibrato") => Some("non-vib"),
        ("half" | "minor", "trill" | "trills" | "tr")
        | ("trill" | "trills" | "tr", "ht" | "hs" | "min" | "m") => Some("trill-1"),
        ("whole" | "major", "trill" | "trills" | "tr") | ("trill" | "trills" | "tr", "wt" | "ws" | "maj") => {
            Some("trill-2")
        }
        _ => None,
    };
    if let Some(name) = two {
        return Some((name, 2));
    }
    let one = match token {
        "leg" | "legato" | "lega" => "legato",
        "spicc" | "spic" | "spiccato" | "sautille" => "spiccato",
        "stacc" | "stac" | "staccato" | "short" | "shorts" | "staccatissimo" => "staccato",
        "pizz" | "pizzicato" | "piz" | "pzz" => "pizzicato",
        "trem" | "tremolo" | "trems" | "tremolos" => "tremolo",
        "marc" | "marcato" => "marcato",
        "sus" | "sust" | "sustain" | "sustains" | "sustained" | "long" | "longs" | "arco" => "sustain",
        "det" | "detache" => "detache",
        "portato" | "port" | "tenuto" => "portato",
        "accent" | "accents" => "accent",
        "sord" | "sordino" | "sordini" | "muted" | "mute" | "mutes" | "gedampft" | "sourdine" => "con-sord",
        "harm" | "harms" | "harmonics" | "harmonic" | "flageolet" | "flag" => "harmonics",
        "pont" | "ponticello" => "sul-pont",
        "tasto" | "flaut" | "flautando" => "sul-tasto",
        "legno" => "col-legno",
        "flutter" | "flz" | "flatterzunge" | "frull" => "flutter",
        "stopped" | "gestopft" | "bouche" | "chiuso" => "stopped",
        "nv" => "non-vib",
        "trill" | "trills" => "trill-2",
        "roll" | "rolls" => "roll",
        "gliss" | "glissando" | "glisses" => "glissando",
        "swell" | "swells" => "swell",
        _ => return None,
    };
    Some((one, 1))
}

/// Words that ask for one player.
pub(crate) fn solo(token: &str) -> bool {
    matches!(token, "solo" | "soli" | "sola" | "soliste" | "soloist" | "solistes" | "principal")
}

/// Words of a performance that several play alike: the whole section.
pub(crate) fn filler(token: &str) -> bool {
    matches!(
        token,
        "div"
            | "divisi"
            | "divise"
            | "geteilt"
            | "tutti"
            | "section"
            | "sect"
            | "sec"
            | "ens"
            | "ensemble"
            | "unis"
            | "player"
            | "players"
            | "desk"
            | "desks"
            | "part"
            | "con"
            | "sul"
            | "und"
            | "e"
            | "et"
            | "ed"
            | "and"
            | "u"
            | "the"
            | "of"
            | "track"
            | "trk"
            | "staff"
            | "midi"
            | "no"
            | "nr"
            | "mit"
            | "zu"
            | "a"
            | "stands"
            | "stand"
            | "pult"
            | "pulte"
            | "mic"
            | "mics"
            | "mix"
            | "main"
            | "new"
            | "copy"
            | "take"
            | "gli"
            | "altri"
            | "le"
            | "la"
            | "les"
            | "der"
            | "die"
            | "das"
            | "du"
            | "in"
            | "en"
            | "b"
            | "all"
            | "alle"
            | "full"
            | "concert"
            | "orchestral"
            | "orchestra"
            | "live"
            | "real"
            | "grosse"
            | "grand"
            | "cantata"
            | "concertante"
            | "ripieno"
            | "ripieni"
            | "obbligato"
            | "obligat"
            | "group"
            | "gr"
            | "only"
            | "arts"
            | "art"
            | "ks"
            | "patch"
            | "inst"
            | "instrument"
            | "alto"
            | "basso"
            | "n"
            | "l"
            | "r"
    )
}

/// A word of a key with what it takes: pitch class and number of tokens. English, German, Italian and French.
pub(crate) fn key(token: &str, after: Option<&str>) -> Option<(i8, usize)> {
    let after = after.unwrap_or_default();
    let class = match token {
        "c" | "ut" | "do" => 0,
        "cis" | "des" | "db" | "reb" => 1,
        "d" | "re" => 2,
        "dis" | "es" | "eb" | "mib" => 3,
        "e" | "mi" => 4,
        "f" | "fa" => 5,
        "fis" | "ges" | "gb" | "solb" => 6,
        "g" | "sol" => 7,
        "gis" | "as" | "ab" | "lab" => 8,
        "a" | "la" => 9,
        // German B, which is what scores mean by B almost always; English B natural is told by the transposition.
        "ais" | "bb" | "b" | "sib" => 10,
        "h" | "si" => 11,
        _ => return None,
    };
    let flat = matches!(after, "flat" | "fl" | "bemol" | "bemolle" | "bem");
    // `si b`, not `B b`.
    let flat = flat || (after == "b" && matches!(token, "si" | "mi" | "la" | "re" | "sol"));
    let sharp = matches!(after, "sharp" | "diese" | "diesis");
    match (flat, sharp) {
        (true, _) if token == "b" => Some((10, 2)),
        (true, _) => Some(((class + 11) % 12, 2)),
        (_, true) if token == "b" => Some((0, 2)),
        (_, true) => Some(((class + 1) % 12, 2)),
        _ => Some((class, 1)),
    }
}

/// High or low crook after a key: `in B alto`, `in Si b basso`, `(alto)`.
pub(crate) fn crook(token: &str) -> bool {
    matches!(
        token,
        "alto"
            | "basso"
            | "hoch"
            | "tief"
            | "aigu"
            | "grave"
            | "acuto"
            | "high"
            | "low"
            | "bass"
            | "bas"
            | "haut"
    )
}
