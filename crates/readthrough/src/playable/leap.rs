//! `leap`: wide leaps without the time for them. Those of voices are with the choir's rules.

use super::sheet::{Sheet, repeated_strokes};
use ripieno_instruments::{Family, players::limits};
use ripieno_music::{Finding, Severity};

/// After a rest of so many seconds it is an entry and no leap.
const ENTRY: f64 = 0.4;

pub(crate) fn check(sheet: &Sheet<'_>, out: &mut Vec<Finding>) {
    if sheet.desk.instrument.family == Family::Voices {
        return;
    }
    let Some((widest, time)) = limits(&sheet.desk.instrument.id).and_then(|l| l.leap) else { return };
    let mut hits: Vec<usize> = Vec::new();
    let mut most: Vec<(usize, i16, f64)> = Vec::new();
    for pair in sheet.voices.iter().flat_map(|v| v.windows(2)) {
        let (a, b) = (&sheet.notes[pair[0]], &sheet.notes[pair[1]]);
        let (Some(low), Some(high)) = (a.key, b.key) else { continue };
        let (leap, interval) = ((high - low).abs(), b.from - a.from);
        let hit = f64::from(leap) > widest && interval < time && b.from - a.to < ENTRY;
        if hit && !repeated_strokes(a) && !repeated_strokes(b) {
            hits.push(pair[1]);
            most.push((pair[1], leap, interval));
        }
    }
    hits.sort_unstable();
    for stretch in sheet.runs(&hits) {
        let worst = most.iter().filter(|m| stretch.hits.contains(&m.0)).max_by_key(|m| m.1);
        let Some((_, leap, interval)) = worst else { continue };
        let leaps = if stretch.hits.len() == 1 {
            "A leap".to_string()
        } else {
            format!("{} leaps", stretch.hits.len())
        };
        out.push(
            sheet
                .found("leap", Severity::Hard, &stretch)
                .says(format!(
                    "{leaps} of up to {leap} semitones in {:.2} s; beyond {widest:.0} semitones the {} wants about {time:.2} s",
                    interval,
                    sheet.desk.instrument.name(),
                ))
                .remedy("Give the notes more time, bring them within an octave, or share the line between two players")
                .done(),
        );
    }
}
