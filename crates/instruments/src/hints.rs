//! What else a name says: articulation, solo, key.

/// The articulation that a track name's word stands for, in the words of patch cards.
pub(crate) fn articulation(token: &str) -> Option<&'static str> {
    Some(match token {
        "leg" | "legato" => "legato",
        "spicc" | "spic" | "spiccato" => "spiccato",
        "stacc" | "stac" | "staccato" => "staccato",
        "pizz" | "pizzicato" => "pizzicato",
        "trem" | "tremolo" => "tremolo",
        "marc" | "marcato" => "marcato",
        "sus" | "sustain" | "long" | "longs" | "sustains" => "sustain",
        "det" | "detache" => "detache",
        "portato" => "portato",
        "sord" | "sordino" | "sordini" | "muted" | "mute" | "mutes" => "con-sord",
        "harm" | "harmonics" | "flageolet" => "harmonics",
        "pont" | "ponticello" => "sul-pont",
        "tasto" | "flaut" | "flautando" => "sul-tasto",
        "trill" | "trills" => "trill-2",
        "short" | "shorts" => "staccato",
        _ => return None,
    })
}

/// Words that say nothing about the instrument.
pub(crate) fn filler(token: &str) -> bool {
    matches!(
        token,
        "div"
            | "divisi"
            | "tutti"
            | "section"
            | "sect"
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
            | "and"
            | "u"
            | "the"
            | "of"
            | "track"
            | "staff"
            | "midi"
            | "no"
            | "nr"
            | "mit"
            | "zu"
            | "a"
            | "stands"
            | "pult"
    )
}

/// Pitch class of a key token, as scores name transpositions: English, German and solmisation.
pub(crate) fn key(token: &str, next: Option<&str>) -> Option<(i8, usize)> {
    let flat = next.is_some_and(|n| matches!(n, "flat" | "bemol" | "bemolle" | "b"));
    let sharp = next.is_some_and(|n| matches!(n, "sharp" | "diese" | "diesis"));
    let class = match token {
        "c" | "ut" | "do" => 0,
        "des" | "db" => 1,
        "d" | "re" => 2,
        "es" | "eb" | "mib" => 3,
        "e" | "mi" => 4,
        "f" | "fa" => 5,
        "ges" | "gb" => 6,
        "g" | "sol" => 7,
        "as" | "ab" => 8,
        "a" | "la" => 9,
        "bb" | "sib" => 10,
        "b" => 10,
        "h" => 11,
        "si" => 11,
        _ => return None,
    };
    if flat {
        Some(((class + 11) % 12, 2))
    } else if sharp {
        Some(((class + 1) % 12, 2))
    } else {
        Some((class, 1))
    }
}
