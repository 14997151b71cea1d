//! From a name to an instrument, its chair and its players.

use crate::hints;
use crate::matching::{self, Form};
use crate::numbers;
use crate::words::tokens;
use crate::{Family, Instrument, by_id, table};

/// What is known of a part or track.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Query<'a> {
    /// Its name.
    pub name: &'a str,
    /// Its abbreviation.
    pub abbreviation: Option<&'a str>,
    /// A standard sound id or the name of its score instrument.
    pub sound: Option<&'a str>,
    /// General MIDI program, from 0.
    pub program: Option<u8>,
    /// On the percussion channel, or on an unpitched staff.
    pub percussion: bool,
    /// Sounding minus written, in semitones.
    pub transposition: Option<i16>,
}

/// What it is taken for.
#[derive(Clone, Debug, PartialEq)]
pub struct Guess {
    /// The instrument.
    pub instrument: &'static Instrument,
    /// A stem for the chair's id: `violins-1`, `horns-1-2`.
    pub chair: String,
    /// Which players or desks, from the name.
    pub numbers: Vec<u8>,
    /// How many players.
    pub players: u16,
    /// Pitch class of the key that it stands in (`in F` is 5).
    pub key: Option<i8>,
    /// Articulations that the name hints at, in the words of patch cards.
    pub articulations: Vec<String>,
    /// A solo.
    pub solo: bool,
    /// Whether it is certain.
    pub certainty: Certainty,
}

/// How certain a guess is.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Certainty {
    /// Certain.
    Sure,
    /// Not certain: why.
    Unsure(String),
}

/// What the rest of the score tells about a single letter or an ambiguous word.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
struct Context {
    /// Soprano, alto and tenor parts stand in the score.
    choir: bool,
    /// Violins stand in the score.
    strings: bool,
}

/// Guesses one name alone. `None` if nothing is known of it.
pub fn recognise(query: &Query<'_>) -> Option<Guess> {
    guess(query, Context::default())
}

/// Guesses the names of a whole score, where each helps to understand the others.
pub fn recognise_all(queries: &[Query<'_>]) -> Vec<Option<Guess>> {
    let alone: Vec<Option<Guess>> = queries.iter().map(recognise).collect();
    let has = |wanted: &dyn Fn(&Instrument) -> bool| {
        alone.iter().flatten().filter(|g| wanted(g.instrument)).count()
    };
    let voice_words =
        ["soprano", "alto", "tenor", "tenore", "alt", "sopran", "s", "a", "t", "canto", "soprani", "alti"];
    let voices = queries
        .iter()
        .filter(|q| tokens(q.name).first().is_some_and(|t| voice_words.contains(&t.as_str())))
        .count();
    let context = Context { choir: voices >= 2, strings: has(&|i| i.id == "violin" || i.id == "viola") >= 1 };
    let mut guesses: Vec<Option<Guess>> = queries.iter().map(|q| guess(q, context)).collect();
    // A handful of strings without double basses is chamber music: one player to a part.
    let chamber = (2..=6).contains(&guesses.len())
        && guesses.iter().all(|g| {
            g.as_ref()
                .is_some_and(|g| g.instrument.family == Family::Strings && g.instrument.id != "double-bass")
        });
    if chamber {
        for guess in guesses.iter_mut().flatten() {
            guess.players = 1;
            let numbers: Vec<String> = guess.numbers.iter().map(u8::to_string).collect();
            let stem = &guess.instrument.chair.0;
            guess.chair =
                if numbers.is_empty() { stem.clone() } else { format!("{stem}-{}", numbers.join("-")) };
        }
    }
    guesses
}

struct Parsed {
    words: Vec<String>,
    numbers: Vec<u8>,
    articulations: Vec<String>,
    solo: bool,
    key: Option<i8>,
}

fn parse(name: &str) -> Parsed {
    let all = tokens(name);
    let mut parsed =
        Parsed { words: Vec::new(), numbers: Vec::new(), articulations: Vec::new(), solo: false, key: None };
    let mut i = 0;
    while i < all.len() {
        let token = all[i].as_str();
        let next = all.get(i + 1).map(String::as_str);
        let single = all.len() == 1;
        // `in F`, `en la`, `in Es`.
        if i > 0
            && matches!(token, "in" | "en")
            && let Some((class, used)) = next.and_then(|n| hints::key(n, all.get(i + 2).map(String::as_str)))
        {
            parsed.key = Some(class);
            i += 1 + used;
            continue;
        }
        if let Some(n) = numbers::number(token).filter(|_| !single) {
            // A lone roman `v` or `i` at the front belongs to a name (`V. I`).
            let letter = token.len() == 1 && token.chars().all(|c| c.is_alphabetic()) && i == 0;
            if !letter {
                if !parsed.numbers.contains(&n) {
                    parsed.numbers.push(n);
                }
                i += 1;
                if next.is_some_and(numbers::ordinal_ending) && token.parse::<u8>().is_ok() {
                    i += 1;
                }
                continue;
            }
        }
        if matches!(token, "solo" | "soli" | "soliste" | "soloist") {
            parsed.solo = true;
        } else if let Some(name) = hints::articulation(token).filter(|_| i > 0) {
            if !parsed.articulations.iter().any(|a| a == name) {
                parsed.articulations.push(name.to_string());
            }
        } else if hints::filler(token) && i > 0 && !(token == "a" || token == "e") {
            // Says nothing; `div(2)` counts nobody.
            if matches!(token, "div" | "divisi") && next.is_some_and(|n| numbers::number(n).is_some()) {
                i += 1;
            }
        } else {
            parsed.words.push(token.to_string());
        }
        i += 1;
    }
    parsed
}

fn guess(query: &Query<'_>, context: Context) -> Option<Guess> {
    let mut parsed = parse(query.name);
    let mut found = by_name(&parsed, query, context);
    // `Vln. 2 Solo` beside the name `Violin`: the abbreviation tells the rest.
    if let Some(short) = query.abbreviation.map(parse) {
        parsed.solo |= short.solo;
        if parsed.numbers.is_empty() {
            parsed.numbers = short.numbers;
        }
    }
    if found.is_none()
        && let Some(short) = query.abbreviation
    {
        let parsed = parse(short);
        found = by_name(&parsed, query, context).map(|(i, f, k, _)| {
            (i, f, k, Some(format!("its name is not known; its abbreviation \"{short}\" is")))
        });
    }
    if found.is_none()
        && let Some(sound) = query.sound
    {
        let by_sound = table().iter().find(|i| i.sounds.iter().any(|s| s == sound));
        found = by_sound
            .map(|i| (i, Form::Singular, None, Some(format!("known by its sound \"{sound}\" alone"))));
        if found.is_none() {
            found = by_name(&parse(sound), query, context).map(|(i, f, k, _)| {
                (i, f, k, Some(format!("known by the name of its sound, \"{sound}\", alone")))
            });
        }
    }
    if found.is_none() && query.percussion {
        found = by_id("percussion")
            .map(|i| (i, Form::Singular, None, Some("stands on a percussion staff".to_string())));
    }
    if found.is_none()
        && let Some(program) = query.program
    {
        let first = table().iter().find(|i| i.programs.first() == Some(&program));
        let any = first.or_else(|| table().iter().find(|i| i.programs.contains(&program)));
        found = any.map(|i| {
            (
                i,
                Form::Singular,
                None,
                Some(format!("known by its General MIDI program {} alone", program + 1)),
            )
        });
    }
    let (mut instrument, form, key, mut doubt) = found?;
    let key = parsed.key.or(key);
    if let Some(variant) = variant(instrument, key, query.transposition) {
        instrument = variant;
    }
    if parsed.solo
        && instrument.family == Family::Voices
        && let Some(solo) = soloist(instrument)
    {
        instrument = solo;
    }
    let section = instrument.is_section() && !parsed.solo;
    let plural = section || form == Form::Plural || parsed.numbers.len() > 1;
    let stem = if plural { &instrument.chair.1 } else { &instrument.chair.0 };
    let numbers: Vec<String> = parsed.numbers.iter().map(u8::to_string).collect();
    let mut chair = if numbers.is_empty() { stem.clone() } else { format!("{stem}-{}", numbers.join("-")) };
    if parsed.solo && !chair.starts_with("solo") && instrument.family != Family::Voices {
        chair = format!("solo-{chair}");
    }
    let players = if section {
        // The second violins are two fewer (full orchestra: 16, 14, 12, 10, 8).
        if instrument.id == "violin" && parsed.numbers.first() == Some(&2) { 14 } else { instrument.players }
    } else if parsed.solo {
        1
    } else if !parsed.numbers.is_empty() {
        parsed.numbers.len() as u16
    } else if form == Form::Plural {
        2
    } else {
        1
    };
    if query.percussion && !instrument.unpitched && instrument.family != Family::Percussion && doubt.is_none()
    {
        doubt = Some("its name is of a pitched instrument, but it stands on a percussion staff".into());
    }
    Some(Guess {
        instrument,
        chair,
        numbers: parsed.numbers,
        players,
        key,
        articulations: parsed.articulations,
        solo: parsed.solo,
        certainty: doubt.map_or(Certainty::Sure, Certainty::Unsure),
    })
}

type Found = (&'static Instrument, Form, Option<i8>, Option<String>);

fn by_name(parsed: &Parsed, query: &Query<'_>, context: Context) -> Option<Found> {
    let words = &parsed.words;
    if words.is_empty() {
        return None;
    }
    let choose = |list: Vec<(&'static Instrument, Form)>| pick(&list, words, query, context);
    let mut exact = matching::exact(words);
    if matches!(words.join(" ").as_str(), "bass" | "basso" | "basse" | "bassi" | "basses" | "b") {
        exact = ["choir-basses", "double-bass"]
            .into_iter()
            .filter_map(by_id)
            .map(|i| (i, Form::Singular))
            .collect();
    }
    if !exact.is_empty() {
        let (instrument, form, doubt) = choose(exact)?;
        return Some((instrument, form, None, doubt));
    }
    // A key before the name: `F Horn`, `Bb Clarinet`, `C-G Timpani`.
    let mut rest = words.as_slice();
    let mut key = None;
    while rest.len() > 1
        && let Some((class, used)) = hints::key(&rest[0], rest.get(1).map(String::as_str))
    {
        key = key.or(Some(class));
        if used >= rest.len() {
            break;
        }
        rest = &rest[used..];
        let found = matching::exact(rest);
        if !found.is_empty() {
            let (instrument, form, doubt) = choose(found)?;
            return Some((instrument, form, key, doubt));
        }
    }
    // `Horn (alto)`: the height of its crook, not a voice.
    let without: Vec<String> = rest
        .iter()
        .filter(|w| !matches!(w.as_str(), "alto" | "basso" | "hoch" | "tief" | "acuto"))
        .cloned()
        .collect();
    if without.len() < rest.len() && !without.is_empty() {
        let found = matching::exact(&without);
        if found.iter().any(|f| f.0.many_keys) {
            let (instrument, form, doubt) = choose(found)?;
            return Some((instrument, form, key, doubt));
        }
    }
    // The longest stretch that is a name; single letters say too little here.
    let (start, length, list) = matching::longest(words)?;
    let named = words[start..start + length].join(" ");
    if named.chars().count() < 3 && length == 1 {
        return None;
    }
    let (instrument, form, doubt) = choose(list)?;
    let left: Vec<&str> = words
        .iter()
        .enumerate()
        .filter(|(i, _)| *i < start || *i >= start + length)
        .map(|(_, w)| w.as_str())
        .collect();
    let others = left.iter().any(|w| {
        let found = matching::exact(&[(*w).to_string()]);
        w.len() > 2 && !found.is_empty() && !found.iter().any(|f| f.0.id == instrument.id)
    });
    let doubt = doubt.or_else(|| {
        if others {
            Some(format!(
                "\"{}\" names several instruments; taken for the one in \"{named}\"",
                query.name.trim()
            ))
        } else if left.iter().any(|w| {
            let same = matching::exact(&[(*w).to_string()]);
            w.len() > 1 && !same.iter().any(|f| f.0.id == instrument.id)
        }) {
            Some(format!("of \"{}\" only \"{named}\" is understood", query.name.trim()))
        } else {
            None
        }
    });
    Some((instrument, form, key, doubt))
}

/// One of several instruments that bear a name.
fn pick(
    list: &[(&'static Instrument, Form)],
    words: &[String],
    query: &Query<'_>,
    context: Context,
) -> Option<(&'static Instrument, Form, Option<String>)> {
    let first = list.first()?;
    if list.len() == 1 {
        return Some((first.0, first.1, None));
    }
    let name = words.join(" ");
    let of = |wanted: &dyn Fn(&Instrument) -> bool| list.iter().find(|(i, _)| wanted(i)).copied();
    // Voices and basses: the score decides.
    let voice =
        of(&|i| i.family == Family::Voices && i.is_section()).or_else(|| of(&|i| i.family == Family::Voices));
    let string = of(&|i| i.family == Family::Strings);
    let bassy = name.starts_with("bas") || name == "b";
    let chosen = match (voice, string) {
        (Some(v), Some(s)) if bassy => {
            let low = query.transposition == Some(-12);
            let (taken, why) = if low || (context.strings && !context.choir) {
                (s, "the double basses")
            } else {
                (v, "the bass voices")
            };
            return Some((
                taken.0,
                taken.1,
                Some(format!("\"{}\" may be voices or double basses; taken for {why}", query.name.trim())),
            ));
        }
        (Some(v), _) if context.choir => Some(v),
        _ => None,
    };
    if let Some((instrument, form)) = chosen {
        return Some((instrument, form, None));
    }
    // A transposition that fits one of them decides.
    if let Some(semitones) = query.transposition {
        let fits: Vec<_> = list.iter().filter(|(i, _)| i.transposition == semitones).collect();
        if let [(instrument, form)] = fits[..] {
            return Some((instrument, *form, None));
        }
    }
    // A full name is more than an abbreviation.
    let full: Vec<_> = list.iter().filter(|(_, form)| *form != Form::Short).collect();
    if let [(instrument, form)] = full[..] {
        return Some((instrument, *form, None));
    }
    let (taken, form) = *full.first().copied().unwrap_or(first);
    let all: Vec<&str> = list.iter().map(|(i, _)| i.id.as_str()).collect();
    Some((
        taken,
        form,
        Some(format!("\"{}\" may be {}; taken for {}", query.name.trim(), all.join(" or "), taken.id)),
    ))
}

/// The instrument of its kind that stands in this key, or has this transposition.
fn variant(
    instrument: &'static Instrument,
    key: Option<i8>,
    transposition: Option<i16>,
) -> Option<&'static Instrument> {
    let kin: &[&str] = match instrument.id.as_str() {
        "clarinet" | "clarinet-a" | "clarinet-eb" | "clarinet-d" | "clarinet-c" => {
            &["clarinet", "clarinet-a", "clarinet-eb", "clarinet-d", "clarinet-c"]
        }
        "trumpet" | "trumpet-c" | "trumpet-d" | "trumpet-eb" | "trumpet-f" => {
            &["trumpet", "trumpet-c", "trumpet-d", "trumpet-eb", "trumpet-f"]
        }
        _ => return None,
    };
    let of = |id: &&str| by_id(id);
    if let Some(semitones) = transposition.filter(|t| *t != 0)
        && let Some(found) = kin.iter().filter_map(of).find(|i| i.transposition == semitones)
    {
        return Some(found);
    }
    let class = key?;
    kin.iter().filter_map(of).find(|i| i.transposition.rem_euclid(12) == i16::from(class))
}

fn soloist(instrument: &Instrument) -> Option<&'static Instrument> {
    by_id(match instrument.id.as_str() {
        "choir-sopranos" => "solo-soprano",
        "choir-altos" => "solo-alto",
        "choir-tenors" => "solo-tenor",
        "choir-basses" => "solo-bass",
        _ => return None,
    })
}
