//! A manual's name for an articulation, in the words of patch cards.

use ripieno_music::{Colour, Playing, named, words};

/// Words of manuals that are no marks of scores (common practice, no source).
const PLAIN: &[(&str, &str)] = &[
    ("sustain", named::SUSTAIN),
    ("sustained", named::SUSTAIN),
    ("sus", named::SUSTAIN),
    ("sust", named::SUSTAIN),
    ("long", named::SUSTAIN),
    ("longs", named::SUSTAIN),
    ("short", named::STACCATO),
    ("shorts", named::STACCATO),
    ("stac", named::STACCATO),
    ("spic", named::SPICCATO),
    ("accent", named::ACCENT),
    ("accented", named::ACCENT),
    ("glissando", named::GLISSANDO),
    ("gliss", named::GLISSANDO),
    ("portamento", named::GLISSANDO),
    ("crescendo", named::SWELL),
    ("bartok", named::SNAP_PIZZICATO),
    ("bartók", named::SNAP_PIZZICATO),
    ("snap", named::SNAP_PIZZICATO),
    ("tremolos", named::TREMOLO),
    ("rolls", named::ROLL),
];

/// The name in the words of cards, its colour, and all of its words as one name.
pub(crate) fn normal(name: &str) -> (String, Option<Colour>, String) {
    let lower = name.to_lowercase();
    let split: Vec<&str> = lower.split(|c: char| !c.is_alphanumeric()).filter(|w| !w.is_empty()).collect();
    let own_words = split.join("-");
    let mut states: Vec<Playing> = words::mark(&lower).into_iter().collect();
    if states.is_empty() {
        states = words::playing(&lower);
    }
    let (mut colour, mut articulation): (Option<Colour>, Option<&str>) = (None, None);
    for state in states {
        match (colour_of(&state), articulation_of(&state)) {
            (Some(found), _) => colour = colour.or(Some(found)),
            (None, found) => articulation = articulation.or(found),
        }
    }
    let plain = split.iter().find_map(|w| PLAIN.iter().find(|p| p.0 == *w)).map(|p| p.1);
    // A snapped pizzicato is no plain one; a long marcato is one all the same.
    if plain == Some(named::SNAP_PIZZICATO) || articulation.is_none() {
        articulation = plain.or(articulation);
    }
    if split.iter().any(|w| w.starts_with("trill") || *w == "tr") {
        let half = ["half", "semi", "semitone", "minor", "ht", "m2", "1", "hs"];
        articulation =
            Some(if split.iter().any(|w| half.contains(w)) { named::TRILL_1 } else { named::TRILL_2 });
    }
    let name = match (articulation, colour) {
        (Some(name), _) => name.to_string(),
        (None, Some(_)) => named::SUSTAIN.to_string(),
        (None, None) => own_words.clone(),
    };
    (name, colour, own_words)
}

fn colour_of(state: &Playing) -> Option<Colour> {
    Some(match state {
        Playing::ConSord => Colour::ConSord,
        Playing::SulPont => Colour::SulPont,
        Playing::SulTasto => Colour::SulTasto,
        Playing::Harmonics => Colour::Harmonics,
        Playing::ColLegnoBattuto | Playing::ColLegnoTratto => Colour::ColLegno,
        Playing::Flutter => Colour::Flutter,
        Playing::Stopped => Colour::Stopped,
        Playing::NonVib => Colour::NonVib,
        _ => return None,
    })
}

fn articulation_of(state: &Playing) -> Option<&'static str> {
    Some(match state {
        Playing::Pizz => named::PIZZICATO,
        Playing::Trem(true) => named::TREMOLO,
        Playing::Legato => named::LEGATO,
        Playing::Staccato => named::STACCATO,
        Playing::Staccatissimo => named::STACCATISSIMO,
        Playing::Spiccato => named::SPICCATO,
        Playing::Portato => named::PORTATO,
        Playing::Marcato => named::MARCATO,
        Playing::Detache | Playing::Tenuto => named::DETACHE,
        Playing::Roll => named::ROLL,
        Playing::Swell => named::SWELL,
        _ => return None,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn manual_names() {
        for (name, articulation, colour) in [
            ("Legato", "legato", None),
            ("Stacc.", "staccato", None),
            ("Bartok pizz", "snap-pizzicato", None),
            ("Con sord. tremolo", "tremolo", Some(Colour::ConSord)),
            ("Sul tasto", "sustain", Some(Colour::SulTasto)),
            ("Trill (semitone)", "trill-1", None),
            ("Trill whole", "trill-2", None),
            ("Marcato long", "marcato", None),
            ("Long flautando", "sustain", Some(Colour::SulTasto)),
            ("Col legno", "sustain", Some(Colour::ColLegno)),
            ("Gliss. up", "glissando", None),
            ("Doit & fall!", "doit-fall", None),
        ] {
            let (found, tint, _) = normal(name);
            assert_eq!((found.as_str(), tint), (articulation, colour), "{name}");
        }
    }
}
