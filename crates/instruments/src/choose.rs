//! One of several instruments that a name may mean, by what else is known.

use crate::analysis::{Analysis, analyse};
use crate::guess::Query;
use crate::matching::Hit;
use crate::{Family, Instrument, by_id, table};

/// What the rest of the score tells.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(crate) struct Context {
    /// At least three of soprano, alto, tenor and bass stand in the score.
    pub choir: bool,
    /// Parts that have words under their notes.
    pub sung: usize,
    /// Family of the part above.
    pub above: Option<Family>,
}

/// What a part's sound says: the standard id and the name of the score instrument, apart.
pub(crate) struct Sound<'a> {
    pub id: Option<&'a str>,
    pub name: Option<String>,
}

/// Roots of the standard sound ids of MusicXML.
const ROOTS: [&str; 12] = [
    "wind.",
    "brass.",
    "strings.",
    "voice.",
    "keyboard.",
    "pluck.",
    "drum.",
    "metal.",
    "wood.",
    "rattle.",
    "effect.",
    "pitched-percussion.",
];

impl<'a> Sound<'a> {
    pub(crate) fn of(query: &Query<'a>) -> Self {
        let text = query.sound.unwrap_or_default();
        let is_id = |w: &str| ROOTS.iter().any(|r| w.starts_with(r));
        let id = text.split_whitespace().find(|w| is_id(w));
        let name: Vec<&str> = text.split_whitespace().filter(|w| !is_id(w)).collect();
        Sound { id, name: (!name.is_empty()).then(|| name.join(" ")) }
    }

    /// The instruments of the standard id: of the longest beginning of it that is known.
    pub(crate) fn instruments(&self) -> Vec<&'static Instrument> {
        let Some(mut id) = self.id else { return Vec::new() };
        loop {
            let found: Vec<_> = table().iter().filter(|i| i.sounds.iter().any(|s| s == id)).collect();
            if !found.is_empty() {
                return found;
            }
            match id.rsplit_once('.') {
                Some((shorter, _)) => id = shorter,
                None => return found,
            }
        }
    }
}

/// How much a range that does not fit speaks against a voice at most: less than its words speak for it.
const MOST_STRAIN: i32 = 5;

/// What was chosen.
pub(crate) struct Choice {
    pub instrument: &'static Instrument,
    /// Something other than the usual meaning spoke for it, or nothing else was possible.
    pub sure: bool,
}

/// Points for an instrument, by what is known beside the name.
fn points(
    instrument: &Instrument,
    analysis: &Analysis,
    short: Option<&Analysis>,
    query: &Query<'_>,
    sound: &Sound<'_>,
    context: Context,
) -> i32 {
    let mut points = 0;
    let by_sound = sound.instruments();
    if by_sound.iter().any(|i| i.id == instrument.id) {
        points += 8;
    } else if by_sound.iter().any(|i| i.family == instrument.family) {
        points += 2;
    }
    if let Some(name) = &sound.name {
        for hit in analyse(name).hits {
            if hit.may.iter().any(|i| i.id == instrument.id) {
                points += if hit.may.len() == 1 { 6 } else { 2 };
            }
        }
    }
    if let Some(short) = short
        && short.hits.iter().any(|h| h.may.len() == 1 && h.may[0].id == instrument.id)
    {
        points += 6;
    }
    if let Some(semitones) = query.transposition {
        let same_key = analysis.key.is_some_and(|k| (semitones - i16::from(k)).rem_euclid(12) == 0);
        if semitones != 0 && instrument.transposition == semitones {
            points += 3;
        } else if instrument.many_keys && same_key {
            points += 4;
        }
    }
    if query.program.is_some_and(|p| instrument.programs.contains(&p)) && !query.percussion {
        points += 3;
    }
    if query.percussion {
        points += if instrument.unpitched { 4 } else { -2 };
    }
    if context.choir && instrument.family == Family::Voices && instrument.is_section() {
        points += 3;
    }
    if query.sung && instrument.family == Family::Voices {
        points += 6;
    }
    if context.sung == 1 && instrument.id == "voice" {
        points += 2;
    }
    match context.above {
        Some(Family::Strings) if instrument.family == Family::Strings => points += 4,
        Some(Family::Voices) if instrument.family == Family::Voices => points += 1,
        _ => {}
    }
    // Of what `Viol.` stands for, only violins are numbered as a rule.
    if instrument.id == "violin" && !analysis.numbers.is_empty() {
        points += 3;
    }
    if analysis.solo && instrument.id.starts_with("solo-") {
        points += 5;
    }
    points
}

/// Chooses among what a hit may mean.
pub(crate) fn choose(
    hit: &Hit,
    analysis: &Analysis,
    short: Option<&Analysis>,
    query: &Query<'_>,
    sound: &Sound<'_>,
    context: Context,
) -> Option<Choice> {
    let first = *hit.may.first()?;
    let mut may = hit.may.clone();
    // `Choir Bass`, `Strings Bass`: the word beside it decides.
    for other in analysis.hits.iter().filter(|h| h.at != hit.at) {
        let wanted: Vec<_> = may
            .iter()
            .copied()
            .filter(|i| match other.may.as_slice() {
                [group] if group.id == "mixed-choir" => i.family == Family::Voices && i.is_section(),
                [group] if is_group(group) => i.family == group.family,
                _ => true,
            })
            .collect();
        if !wanted.is_empty() {
            may = wanted;
        }
    }
    if let [only] = may[..] {
        return Some(Choice { instrument: only, sure: true });
    }
    // Where any part of a choir may be meant, their ranges tell.
    let any = may.iter().filter(|i| choir_part(i)).count() > 1;
    let strained = |i: &Instrument| query.compass.filter(|_| any).and_then(|c| strain(i, c)).unwrap_or(0);
    let all =
        |i: &Instrument| points(i, analysis, short, query, sound, context) - strained(i).min(MOST_STRAIN);
    let mut ranked: Vec<(i32, &'static Instrument)> = may.iter().map(|i| (all(i), *i)).collect();
    ranked.sort_by_key(|(p, _)| std::cmp::Reverse(*p));
    match ranked[..] {
        [(best, instrument), (next, _), ..] if best > next && best > 0 => {
            Some(Choice { instrument, sure: best >= 3 })
        }
        _ => Some(Choice { instrument: may.first().copied().unwrap_or(first), sure: false }),
    }
}

/// How badly a compass lies for a voice: semitones outside its comfortable range and half of those between the middles.
/// `None` for what is no part of a choir.
fn strain(instrument: &Instrument, (low, high): (i16, i16)) -> Option<i32> {
    let range = instrument.comfortable.filter(|_| choir_part(instrument))?;
    let (bottom, top) = (i16::from(range.low), i16::from(range.high));
    let outside = (bottom - low).max(0) + (high - top).max(0);
    let apart = ((low + high) - (bottom + top)).abs() / 4;
    Some(i32::from(outside + apart))
}

fn choir_part(instrument: &Instrument) -> bool {
    instrument.family == Family::Voices && instrument.is_section() && instrument.id != "mixed-choir"
}

/// The singers whose range a part with words lies in: of a choir where several parts are sung, else one.
pub(crate) fn voice_by_compass(query: &Query<'_>, context: Context) -> Option<&'static Instrument> {
    let compass = query.compass?;
    let parts = table().iter().filter(|i| choir_part(i) && soloist(i).is_some());
    let (_, part) = parts.filter_map(|i| Some((strain(i, compass)?, i))).min_by_key(|(s, _)| *s)?;
    match context.sung {
        _ if context.choir => Some(part),
        3.. => Some(part),
        1 if part.id == "choir-sopranos" || part.id == "choir-altos" => by_id("voice"),
        _ => soloist(part),
    }
}

/// A family or a body of players rather than one of them.
pub(crate) fn is_group(instrument: &Instrument) -> bool {
    matches!(instrument.id.as_str(), "strings" | "brass-section" | "percussion" | "mixed-choir" | "voice")
}

/// The instrument of its kind that stands in this key.
pub(crate) fn variant(
    instrument: &'static Instrument,
    key: Option<i8>,
    transposition: Option<i16>,
    sound: &Sound<'_>,
) -> &'static Instrument {
    let sound_name = sound.name.as_deref().map(analyse);
    let natural = |id: &str| {
        let named =
            sound_name.as_ref().is_some_and(|a| a.hits.iter().any(|h| h.may.iter().all(|i| i.id == id)));
        named || sound.instruments().iter().any(|i| i.id == id)
    };
    let kin: &[&str] = match instrument.id.as_str() {
        "clarinet" => &["clarinet", "clarinet-a", "clarinet-c", "clarinet-d", "clarinet-eb"],
        "trumpet" => &["trumpet", "trumpet-c", "trumpet-d", "trumpet-eb", "trumpet-f"],
        "flute" => &["flute", "alto-flute"],
        _ => &[],
    };
    let swap = match instrument.id.as_str() {
        "trumpet" | "trumpet-c" | "trumpet-d" | "trumpet-eb" | "trumpet-f" if natural("natural-trumpet") => {
            by_id("natural-trumpet")
        }
        "horn" if natural("natural-horn") => by_id("natural-horn"),
        _ => None,
    };
    if let Some(instrument) = swap {
        return instrument;
    }
    let of = |class: i16| {
        let mut all = kin.iter().filter_map(|id| by_id(id));
        all.find(|i| i.transposition.rem_euclid(12) == class)
    };
    let by_key = key.map(i16::from).and_then(of);
    // A name without key: the transposition tells it, where it is one of these keys.
    let by_transposition =
        || transposition.filter(|t| *t != 0 || instrument.id != "flute").and_then(|t| of(t.rem_euclid(12)));
    let by_sound = || {
        let all = sound.instruments();
        kin.iter().filter_map(|id| by_id(id)).find(|i| all.len() == 1 && all[0].id == i.id)
    };
    match key {
        Some(_) => by_key.unwrap_or(instrument),
        None => by_transposition().or_else(by_sound).unwrap_or(instrument),
    }
}

/// The solo voice of a choir section.
pub(crate) fn soloist(instrument: &Instrument) -> Option<&'static Instrument> {
    by_id(match instrument.id.as_str() {
        "choir-sopranos" => "solo-soprano",
        "choir-altos" => "solo-alto",
        "choir-tenors" => "solo-tenor",
        "choir-basses" => "solo-bass",
        "mixed-choir" => "voice",
        _ => return None,
    })
}
