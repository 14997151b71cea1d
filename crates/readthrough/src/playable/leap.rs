//! `leap`: wide leaps without the time for them. Those of voices are with the choir's rules.

use super::sheet::{Sheet, repeated_strokes};
use ripieno_instruments::{Family, players::limits};
use ripieno_music::{Finding, Severity};

/// After a rest of so many seconds it is an entry and no leap.
const ENTRY: f64 = 0.4;

/// So many positions and more are a way for the slide.
const FAR: u8 = 5;

/// How far a slide goes from one note to another at the least, in positions.
fn slide(first: &[u8], a: i16, b: i16) -> Option<u8> {
    let positions = |key: i16| {
        first
            .iter()
            .filter_map(move |f| u8::try_from(i16::from(*f) - key).ok().filter(|p| *p < 7))
            .collect::<Vec<u8>>()
    };
    let (from, to) = (positions(a), positions(b));
    from.iter().flat_map(|a| to.iter().map(|b| a.abs_diff(*b))).min()
}

/// Notes between which the slide has no time to go.
fn slides(sheet: &Sheet<'_>, out: &mut Vec<Finding>) {
    let Some(limits) = limits(&sheet.desk.instrument.id) else { return };
    let Some(each) = limits.slide_seconds else { return };
    let mut hits: Vec<usize> = Vec::new();
    let mut worst: Option<(u8, f64)> = None;
    for pair in sheet.voices.iter().flat_map(|v| v.windows(2)) {
        let (a, b) = (&sheet.notes[pair[0]], &sheet.notes[pair[1]]);
        let (Some(from), Some(to)) = (a.key, b.key) else { continue };
        let interval = b.from - a.from;
        let Some(way) = slide(&limits.slide_first, from, to).filter(|way| *way >= FAR) else { continue };
        if interval < f64::from(way) * each {
            hits.extend([pair[0], pair[1]]);
            if worst.is_none_or(|w| interval < w.1) {
                worst = Some((way, interval));
            }
        }
    }
    hits.sort_unstable();
    hits.dedup();
    let Some((way, interval)) = worst else { return };
    for stretch in sheet.runs(&hits) {
        out.push(
            sheet
                .found("leap", Severity::Hard, &stretch)
                .says(format!(
                    "{} ({}) with the slide {way} positions apart in {interval:.2} s; it wants about {:.2} s",
                    super::range::capital(&stretch.count()),
                    sheet.span(&stretch),
                    f64::from(way) * each,
                ))
                .remedy("Give the notes more time, write others, or ask for an instrument with a valve to F, which has the low ones nearer")
                .done(),
        );
    }
}

pub(crate) fn check(sheet: &Sheet<'_>, out: &mut Vec<Finding>) {
    slides(sheet, out);
    if sheet.desk.instrument.family == Family::Voices {
        return;
    }
    let Some((widest, time)) = limits(&sheet.desk.instrument.id).and_then(|l| l.leap) else { return };
    let lips = sheet.desk.instrument.family == Family::Brass;
    // From half as wide again on, lips want the more time the wider it is: a quarter more for half an octave.
    let wants = |leap: i16| match lips {
        true => time * (1.0 + (f64::from(leap) - 1.5 * widest).max(0.0) / 24.0),
        false => time,
    };
    let mut hits: Vec<usize> = Vec::new();
    let mut most: Vec<(usize, i16, f64)> = Vec::new();
    for pair in sheet.voices.iter().flat_map(|v| v.windows(2)) {
        let (a, b) = (&sheet.notes[pair[0]], &sheet.notes[pair[1]]);
        let (Some(low), Some(high)) = (a.key, b.key) else { continue };
        let (leap, interval) = ((high - low).abs(), b.from - a.from);
        let hit = f64::from(leap) > widest && interval < wants(leap) && b.from - a.to < ENTRY;
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
                    "{leaps} of up to {leap} semitones in {interval:.2} s; the {} wants about {:.2} s for that",
                    sheet.desk.instrument.name(),
                    wants(*leap),
                ))
                .remedy("Give the notes more time, bring them within an octave, or share the line between two players")
                .done(),
        );
    }
}
