//! A cell's text with one thing changed, for the change that a finding carries.
//!
//! All of them read the cell, change its words and write it out again, so that what comes back is a valid cell. `None`: the
//! text is no cell, or the change would change nothing or cannot be said.

use ripieno_music::Playing;
use ripieno_plan::{CellMark, CellWords, PlaceWord, Source};
use std::collections::BTreeSet;

/// Farthest octave mark (`22ma`), in semitones.
const FARTHEST: i16 = 36;

/// Reads a cell that is already in use: what stands after a comma and is no word of the trade is an articulation of a card.
pub fn words(text: &str) -> Option<CellWords> {
    let (cell, faults) = CellWords::parse(text);
    if faults.is_empty() {
        return Some(cell);
    }
    let mut cards: BTreeSet<String> = BTreeSet::new();
    for part in text.split([';', '/']) {
        cards.extend(part.split(',').skip(1).map(|p| p.trim().to_lowercase()));
    }
    let (cell, faults) = CellWords::parse_with(text, &|word| cards.contains(word));
    faults.is_empty().then_some(cell)
}

/// The cell with everything it plays moved by whole octaves (semitones: a multiple of 12), divisions and all turns alike.
pub fn with_octave(text: &str, semitones: i16) -> Option<String> {
    if semitones == 0 || semitones % 12 != 0 {
        return None;
    }
    let mut cell = words(text)?;
    for turn in cell.divisions.iter_mut().flatten().filter(|t| t.source != Source::Tacet) {
        turn.octave = turn.octave.checked_add(semitones).filter(|o| o.abs() <= FARTHEST)?;
    }
    written(&cell, text)
}

/// The cell with these dynamics (`mf`, `p < f`) in place of its own.
pub fn with_dynamics(text: &str, dynamics: &str) -> Option<String> {
    let mut cell = words(text)?;
    let (new, faults) = CellWords::parse(&format!("tacet, {dynamics}"));
    let new = new.marks.into_iter().find(|m| matches!(m, CellMark::Dynamics(_)));
    let new = new.filter(|_| faults.is_empty())?;
    match cell.marks.iter_mut().find(|m| matches!(m, CellMark::Dynamics(_))) {
        Some(old) => *old = new,
        None => cell.marks.push(new),
    }
    written(&cell, text)
}

/// The cell with a mark of the trade or an ornament (`solo`, `a 2`, `senza sord.`, `words "oo"`), which takes the place of those
/// that it contradicts.
pub fn with_mark(text: &str, mark: &str) -> Option<String> {
    let mut cell = words(text)?;
    let (new, faults) = CellWords::parse(&format!("tacet, {mark}"));
    if !faults.is_empty() {
        return None;
    }
    for mark in new.marks {
        match mark {
            CellMark::Breath(places) => add_breaths(&mut cell, places),
            CellMark::Dynamics(_) => return with_dynamics(text, &mark.to_string()),
            mark => {
                cell.marks.retain(|old| !contradict(old, &mark));
                cell.marks.push(mark);
            }
        }
    }
    written(&cell, text)
}

/// The cell without the marks of the trade that read as this one (`trill`, `con sord.`).
pub fn without_mark(text: &str, mark: &str) -> Option<String> {
    let mut cell = words(text)?;
    let (out, faults) = CellWords::parse(&format!("tacet, {mark}"));
    if !faults.is_empty() {
        return None;
    }
    cell.marks.retain(|m| !out.marks.contains(m));
    written(&cell, text)
}

/// The cell with breaths before these places, besides those that it has.
pub fn with_breaths(text: &str, places: &[PlaceWord]) -> Option<String> {
    let mut cell = words(text)?;
    add_breaths(&mut cell, places.to_vec());
    written(&cell, text)
}

fn add_breaths(cell: &mut CellWords, places: Vec<PlaceWord>) {
    let old = cell.marks.iter_mut().find_map(|m| if let CellMark::Breath(p) = m { Some(p) } else { None });
    let key = |p: &PlaceWord| (p.bar, p.beat.unwrap_or(1.0));
    let sorted = |all: &mut Vec<PlaceWord>| {
        all.sort_by(|a, b| key(a).0.cmp(&key(b).0).then(key(a).1.total_cmp(&key(b).1)));
        all.dedup_by(|a, b| key(a) == key(b));
    };
    match old {
        Some(old) => {
            old.extend(places);
            sorted(old);
        }
        None if places.is_empty() => {}
        None => {
            let mut places = places;
            sorted(&mut places);
            cell.marks.push(CellMark::Breath(places));
        }
    }
}

/// Two marks that cannot both hold.
fn contradict(old: &CellMark, new: &CellMark) -> bool {
    match (old, new) {
        (CellMark::Playing(a), CellMark::Playing(b)) => a == b || kind(a).is_some_and(|k| kind(b) == Some(k)),
        (CellMark::Ornament(_), CellMark::Ornament(_)) | (CellMark::Words(_), CellMark::Words(_)) => true,
        (a, b) => a == b,
    }
}

/// Words of one kind take each other's place.
fn kind(word: &Playing) -> Option<u8> {
    use Playing as P;
    Some(match word {
        P::Solo | P::Tutti | P::Players(_) | P::Together(_) => 0,
        P::Div(_) | P::Unis | P::NonDiv => 1,
        P::ConSord | P::SenzaSord => 2,
        P::Arco | P::Pizz | P::ColLegnoBattuto | P::ColLegnoTratto => 3,
        P::Trem(_) => 4,
        P::NonVib | P::Vib => 5,
        P::Stopped | P::Open => 6,
        P::LetRing | P::Damp => 7,
        P::Roll | P::Strokes => 8,
        P::Mallets(_) => 9,
        P::Legato
        | P::Staccato
        | P::Staccatissimo
        | P::Spiccato
        | P::Tenuto
        | P::Portato
        | P::Marcato
        | P::Detache => 10,
        P::SulPont | P::SulTasto => 11,
        _ => return None,
    })
}

fn written(cell: &CellWords, before: &str) -> Option<String> {
    let text = cell.to_string();
    (text != before && words(&text).is_some()).then_some(text)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn octaves_of_every_kind_of_source() {
        let up = |text| with_octave(text, 12);
        assert_eq!(up("melody, p").as_deref(), Some("melody 8va, p"));
        assert_eq!(up("col oboe 8vb, p").as_deref(), Some("col oboe, p"));
        assert_eq!(up("as written").as_deref(), Some("as written 8va"));
        assert_eq!(
            up("div.: melody / melody 8vb; from 3 tacet").as_deref(),
            Some("div.: melody 8va / melody; from 3 tacet")
        );
        assert_eq!(up("tacet"), None);
        assert_eq!(up("melody 22ma"), None);
        assert_eq!(with_octave("melody", 7), None);
        assert_eq!(with_octave("melody,, p", 12), None);
    }

    #[test]
    fn articulations_of_cards_stay() {
        assert_eq!(with_octave("melody, p, doit-fall", -24).as_deref(), Some("melody 15mb, p, doit-fall"));
    }

    #[test]
    fn dynamics_and_marks() {
        assert_eq!(with_dynamics("melody, p < f, legato", "mf").as_deref(), Some("melody, mf, legato"));
        assert_eq!(with_dynamics("melody", "p < f (bar 5)").as_deref(), Some("melody, p < f (bar 5)"));
        assert_eq!(with_dynamics("melody", "loud"), None);
        assert_eq!(with_mark("melody, tutti, p", "solo").as_deref(), Some("melody, p, solo"));
        assert_eq!(with_mark("melody, solo", "solo"), None);
        assert_eq!(with_mark("melody, con sord.", "senza sord.").as_deref(), Some("melody, senza sord."));
        assert_eq!(without_mark("melody, trill, p", "trill").as_deref(), Some("melody, p"));
        assert_eq!(without_mark("melody, p", "trill"), None);
    }

    #[test]
    fn breaths_are_gathered_in_order() {
        let at = |bar, beat| PlaceWord { bar, beat };
        let once = with_breaths("melody, p", &[at(5, Some(3.0)), at(3, None)]).unwrap();
        assert_eq!(once, "melody, p, breath (bar 3) (5.3)");
        assert_eq!(with_breaths(&once, &[at(3, Some(1.0))]), None);
        assert_eq!(
            with_breaths(&once, &[at(4, Some(1.5))]).as_deref(),
            Some("melody, p, breath (bar 3) (4.1.5) (5.3)")
        );
    }
}
