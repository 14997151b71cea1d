//! From a name to an instrument, its chair and its players.

use crate::analysis::{Analysis, analyse};
use crate::choose::{self, Context, Sound};
use crate::matching::Hit;
use crate::{Family, Instrument, by_id, table};

/// What is known of a part or track.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Query<'a> {
    /// Its name.
    pub name: &'a str,
    /// Its abbreviation.
    pub abbreviation: Option<&'a str>,
    /// A standard sound id of MusicXML (`wind.flutes.flute`), the name of its score instrument, or both.
    pub sound: Option<&'a str>,
    /// General MIDI program, from 0.
    pub program: Option<u8>,
    /// On the percussion channel, or on an unpitched staff.
    pub percussion: bool,
    /// Sounding minus written, in semitones, where the source says it.
    pub transposition: Option<i16>,
    /// Its notes have words under them.
    pub sung: bool,
    /// Lowest and highest sounding note, MIDI keys.
    pub compass: Option<(i16, i16)>,
}

/// What it is taken for.
#[derive(Clone, Debug, PartialEq)]
pub struct Guess {
    /// The instrument.
    pub instrument: &'static Instrument,
    /// A stem for the chair's id: `violins-1`, `horns-1-2`. Two parts may have the same one.
    pub chair: String,
    /// Which players or desks, from the name.
    pub numbers: Vec<u8>,
    /// How many players.
    pub players: u16,
    /// Pitch class of the key that it stands in (`in F` is 5), from the name or the transposition.
    pub key: Option<i8>,
    /// Articulations and colours that the name hints at, in the words of patch cards.
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

impl Guess {
    /// Adds a doubt; the first stays.
    pub(crate) fn doubt(&mut self, why: impl FnOnce() -> String) {
        if self.certainty == Certainty::Sure {
            self.certainty = Certainty::Unsure(why());
        }
    }
}

/// Guesses one name alone. `None` if nothing is known of it.
pub fn recognise(query: &Query<'_>) -> Option<Guess> {
    recognise_in(query, Context::default())
}

pub(crate) fn recognise_in(query: &Query<'_>, context: Context) -> Option<Guess> {
    let sound = Sound::of(query);
    let name = analyse(query.name);
    let short = query.abbreviation.map(analyse);
    if !name.hits.is_empty() {
        return by_name(&name, query.name, short.as_ref(), query, &sound, context);
    }
    let by_other = by_other(query, context, &sound, &name, short.as_ref());
    let a_voice = |g: &Guess| g.instrument.family == Family::Voices;
    if !query.sung || by_other.as_ref().is_some_and(a_voice) {
        return by_other;
    }
    let Some(voice) = choose::voice_by_compass(query, context) else { return by_other };
    let mut guess = plain(voice, &name, query);
    guess.doubt(|| format!("{}; taken by its words and its compass", unknown(query)));
    Some(guess)
}

fn unknown(query: &Query<'_>) -> String {
    match query.name.trim() {
        "" => "it has no name".to_string(),
        known => format!("its name \"{known}\" is not known"),
    }
}

/// Guesses what no instrument's name says.
fn by_other(
    query: &Query<'_>,
    context: Context,
    sound: &Sound<'_>,
    name: &Analysis,
    short: Option<&Analysis>,
) -> Option<Guess> {
    // The name without an instrument (`Solo`, `leg`) still says what it says.
    let finish = |guess: Option<Guess>, by: &str| {
        guess.map(|mut g| {
            let before = std::mem::replace(&mut g.certainty, Certainty::Sure);
            g.doubt(|| match before {
                Certainty::Sure => format!("{}; taken by {by}", unknown(query)),
                Certainty::Unsure(why) => format!("{}; taken by {by}; {why}", unknown(query)),
            });
            g
        })
    };
    if let (Some(text), Some(short)) = (query.abbreviation, short)
        && !short.hits.is_empty()
    {
        return finish(
            by_name(short, text, None, query, sound, context),
            &format!("its abbreviation \"{text}\""),
        );
    }
    if let Some(text) = &sound.name {
        let analysis = analyse(text);
        if !analysis.hits.is_empty() {
            let guess = by_name(&analysis, text, None, query, sound, context);
            return finish(guess.map(|g| with_numbers(g, name)), &format!("its instrument \"{text}\""));
        }
    }
    if let (Some(instrument), Some(id)) = (sound.instruments().first(), sound.id) {
        return finish(Some(plain(instrument, name, query)), &format!("its sound {id}"));
    }
    if query.percussion {
        return finish(by_id("percussion").map(|i| plain(i, name, query)), "its percussion staff");
    }
    let program = query.program?;
    let usual = table().iter().find(|i| i.programs.first() == Some(&program));
    let instrument = usual.or_else(|| table().iter().find(|i| i.programs.contains(&program)))?;
    finish(
        Some(plain(instrument, name, query)),
        &format!("its General MIDI program {} alone", u16::from(program) + 1),
    )
}

/// A guess that no name gave.
fn plain(instrument: &'static Instrument, analysis: &Analysis, query: &Query<'_>) -> Guess {
    let hit =
        Hit { at: 0, length: 0, may: vec![instrument], plural: false, always_doubtful: false, chair: None };
    assemble(instrument, &hit, analysis, None, query, Certainty::Sure)
}

fn with_numbers(mut guess: Guess, name: &Analysis) -> Guess {
    for articulation in &name.articulations {
        if !guess.articulations.contains(articulation) {
            guess.articulations.push(articulation.clone());
        }
    }
    if guess.numbers.is_empty() && !name.numbers.is_empty() {
        guess.numbers = name.numbers.iter().map(|n| n.value).collect();
        guess.chair = chair(guess.instrument, None, &guess.numbers, guess.solo, false);
        guess.players = players(guess.instrument, &guess.numbers, guess.solo, false, None);
    }
    guess
}

fn by_name(
    analysis: &Analysis,
    text: &str,
    short: Option<&Analysis>,
    query: &Query<'_>,
    sound: &Sound<'_>,
    context: Context,
) -> Option<Guess> {
    let text = text.split_whitespace().collect::<Vec<_>>().join(" ");
    // A family beside one of its members says nothing new; nor does a doubtful word beside the certain one.
    let members = |h: &&Hit| {
        let [group] = h.may.as_slice() else {
            return !analysis
                .hits
                .iter()
                .any(|o| o.may.len() == 1 && h.may.iter().any(|i| i.id == o.may[0].id));
        };
        let same =
            |o: &Hit| o.at != h.at && o.may.iter().any(|i| i.family == group.family && i.id != group.id);
        !(choose::is_group(group) && analysis.hits.iter().any(same))
    };
    let mut hits: Vec<&Hit> = analysis.hits.iter().filter(members).collect();
    if hits.is_empty() {
        hits = analysis.hits.iter().collect();
    }
    let hit = *hits.iter().find(|h| h.may.len() == 1).or(hits.first())?;
    let choice = choose::choose(hit, analysis, short, query, sound, context)?;
    let mut certainty = Certainty::Sure;
    let mut doubt = |why: String| {
        if certainty == Certainty::Sure {
            certainty = Certainty::Unsure(why);
        }
    };
    let several =
        hits.iter().filter(|h| h.at != hit.at).any(|h| !h.may.iter().any(|i| i.id == choice.instrument.id));
    let named = analysis.words(hit);
    if several {
        doubt(format!("\"{text}\" names several instruments; taken for the one in \"{named}\""));
    }
    if hit.always_doubtful || !choice.sure {
        let names: Vec<String> = hit.may.iter().map(|i| i.name().to_lowercase()).collect();
        doubt(format!(
            "\"{named}\" may be {}; taken for {}",
            names.join(" or "),
            choice.instrument.name().to_lowercase()
        ));
    } else if hit.may.len() > 1 && is_choir_part(choice.instrument) && !context.choir && !has_choir(analysis)
    {
        doubt(format!("\"{named}\" may be a choir or a soloist; taken for the choir"));
    }
    if !analysis.left.is_empty() {
        doubt(format!("of \"{text}\" only \"{named}\" is understood"));
    }
    let by_sound = sound.instruments();
    if !by_sound.is_empty()
        && !by_sound.iter().any(|i| i.family == choice.instrument.family)
        && hit.chair.is_none()
    {
        let other = by_sound[0].name().to_lowercase();
        doubt(format!("its name says {}, its sound says {other}", choice.instrument.name().to_lowercase()));
    }
    if query.percussion && !choice.instrument.unpitched && choice.instrument.family != Family::Percussion {
        doubt("its name is of an instrument with pitch, but it stands on a percussion staff".to_string());
    }
    let mut key = analysis.key;
    // `E Horn` as a whole is in the list of abbreviations; its letter is the key if a horn was chosen.
    if key.is_none() && choice.instrument.many_keys && hit.may.len() > 1 && hit.length > 1 {
        key = crate::hints::key(&analysis.tokens[hit.at].text, None).map(|k| k.0);
    }
    if key.is_none() && hit.may.len() > 1 && hit.length > 1 && choice.instrument.id == "clarinet" {
        key = Some(10);
    }
    let class = query.transposition.map(|t| t.rem_euclid(12) as i8);
    if analysis.key_is_b && class == Some(11) {
        key = class;
    }
    let instrument = choose::variant(choice.instrument, key, query.transposition, sound);
    let with_key = Analysis { key, ..analysis.clone() };
    Some(assemble(instrument, hit, &with_key, short, query, certainty))
}

fn is_choir_part(instrument: &Instrument) -> bool {
    instrument.family == Family::Voices
        && choose::soloist(instrument).is_some()
        && instrument.id != "mixed-choir"
}

fn has_choir(analysis: &Analysis) -> bool {
    analysis.hits.iter().any(|h| h.may.iter().any(|i| i.id == "mixed-choir"))
}

fn assemble(
    instrument: &'static Instrument,
    hit: &Hit,
    analysis: &Analysis,
    short: Option<&Analysis>,
    query: &Query<'_>,
    certainty: Certainty,
) -> Guess {
    let mut numbers = numbers_of(hit, analysis);
    let plural = hit.plural || analysis.section;
    let mut solo = analysis.solo;
    let mut together = analysis.together;
    // `2 Flöten` counts; `2. Flöte` is the second.
    if let [only] = numbers[..]
        && only >= 2
        && hit.plural
        && !instrument.is_section()
        && analysis.numbers.iter().any(|n| n.value == only && n.plain && n.at < hit.at)
    {
        together = Some(only);
        numbers.clear();
    }
    if let Some(short) = short {
        let agrees =
            short.hits.is_empty() || short.hits.iter().any(|h| h.may.iter().any(|i| i.id == instrument.id));
        if agrees {
            solo |= short.solo;
            if numbers.is_empty() {
                numbers = short.numbers.iter().map(|n| n.value).collect();
            }
        }
    }
    let mut seen = Vec::new();
    numbers.retain(|n| {
        let fresh = !seen.contains(n);
        seen.push(*n);
        fresh
    });
    let instrument = if solo { choose::soloist(instrument).unwrap_or(instrument) } else { instrument };
    let solo = solo || (instrument.id.starts_with("solo-") && instrument.family == Family::Voices);
    let class = query.transposition.map(|t| t.rem_euclid(12) as i8);
    let keyed = instrument.many_keys || ["clarinet", "trumpet"].iter().any(|k| instrument.id.starts_with(k));
    let mut guess = Guess {
        instrument,
        chair: chair(instrument, hit.chair, &numbers, solo, plural),
        players: players(instrument, &numbers, solo, plural, together),
        key: analysis.key.or(class.filter(|_| keyed)),
        numbers,
        articulations: analysis.articulations.clone(),
        solo,
        certainty,
    };
    if guess.instrument.id == "violin" && guess.numbers.is_empty() && !guess.solo {
        guess.doubt(|| "first or second violins is not said".to_string());
    }
    guess
}

/// The numbers that go with a hit: those between it and the next; else those before it (`12 - Horns 1-4`, `2. Flöte`).
fn numbers_of(hit: &Hit, analysis: &Analysis) -> Vec<u8> {
    let next = analysis.hits.iter().map(|h| h.at).find(|at| *at > hit.at).unwrap_or(usize::MAX);
    let last = analysis.hits.iter().filter(|h| h.at < hit.at).map(|h| h.at + h.length).max().unwrap_or(0);
    let within = |from: usize, to: usize| -> Vec<u8> {
        analysis.numbers.iter().filter(|n| n.at >= from && n.at < to).map(|n| n.value).collect()
    };
    let after = within(hit.at, next);
    if after.is_empty() { within(last, hit.at) } else { after }
}

/// The stem of a chair's id.
pub(crate) fn chair(
    instrument: &Instrument,
    own: Option<&str>,
    numbers: &[u8],
    solo: bool,
    plural: bool,
) -> String {
    let section = instrument.is_section() && !solo;
    let several = numbers.len() > 1 || (plural && numbers.is_empty());
    let stem = if section || several { &instrument.chair.1 } else { &instrument.chair.0 };
    let mut id = own.unwrap_or(stem).to_string();
    if solo && !id.starts_with("solo") {
        id = format!("solo-{id}");
    }
    for number in numbers {
        id.push_str(&format!("-{number}"));
    }
    id
}

/// How many players: a section of strings by the full orchestra's 16 14 12 10 8, a divided one its share; winds by
/// their numbers.
pub(crate) fn players(
    instrument: &Instrument,
    numbers: &[u8],
    solo: bool,
    plural: bool,
    together: Option<u8>,
) -> u16 {
    let counted = u16::try_from(numbers.len()).unwrap_or(1).max(together.map_or(0, u16::from));
    if solo {
        return counted.max(1);
    }
    if instrument.is_section() {
        return match (instrument.id.as_str(), numbers) {
            ("violin", [2, ..]) => 14,
            _ if choose::is_group(instrument) => instrument.players,
            ("violin", _) | (_, []) => instrument.players,
            // `Soprano 1`, `Violoncello 2`: half of them.
            (_, [_]) => (instrument.players / 2).max(1),
            _ => instrument.players,
        };
    }
    if counted > 0 {
        counted
    } else if plural && instrument.chair.0 != instrument.chair.1 {
        2
    } else {
        1
    }
}
