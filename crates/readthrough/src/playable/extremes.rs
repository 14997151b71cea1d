//! `soft-extreme`, `loud-extreme`: registers that cannot be soft, or cannot be loud.

use super::cell_edit::with_dynamics;
use super::range::capital;
use super::sheet::{Read, Sheet, level_of, pitch_name, said};
use ripieno_instruments::players::{Extreme, limits};
use ripieno_music::{Finding, Severity};

/// Half the step between two dynamic marks, dB: what lies nearer to the mark is that mark.
const HALF_STEP: f64 = 2.25;
/// Phrases and metre move a note's level about its mark by less than this, dB: nearly a whole mark (4.5 dB). A note that is marked
/// with what the instrument can do is never complained of.
const SHAPING: f64 = 4.0;
/// A rest after which lips are fresh again, seconds (common practice, no source).
const FRESH: f64 = 1.0;
/// Shorter notes pass by without notice, seconds.
const PASSING: f64 = 0.2;

pub(crate) fn check(sheet: &Sheet<'_>, out: &mut Vec<Finding>) {
    let Some(limits) = limits(&sheet.desk.instrument.id) else { return };
    side(sheet, &limits.soft, true, out);
    side(sheet, &limits.loud, false, out);
}

fn side(sheet: &Sheet<'_>, extremes: &[Extreme], soft: bool, out: &mut Vec<Finding>) {
    for extreme in extremes {
        let Some(bound) = level_of(&extreme.mark) else { continue };
        let beyond = |r: &Read<'_>| {
            let level = if soft { r.level < bound - SHAPING } else { r.level > bound + SHAPING };
            level && r.marked() && r.key.is_some_and(|k| extreme.range.holds(k)) && r.seconds() >= PASSING
        };
        let mut hits: Vec<usize> = Vec::new();
        // Runs of such notes, as long as what can be managed and longer.
        let mut run: Vec<usize> = Vec::new();
        let mut close = |run: &mut Vec<usize>| {
            let seconds: f64 = run.iter().map(|i| sheet.notes[*i].seconds()).sum();
            if seconds > extreme.seconds {
                hits.append(run);
            }
            run.clear();
        };
        for (i, read) in sheet.notes.iter().enumerate().filter(|(_, r)| beyond(r)) {
            if run.last().is_some_and(|l| read.from - sheet.notes[*l].to > FRESH) {
                close(&mut run);
            }
            run.push(i);
        }
        close(&mut run);
        for stretch in sheet.stretches(&hits) {
            let marks: Vec<&Read<'_>> = stretch.hits.iter().map(|i| &sheet.notes[*i]).collect();
            let by_level = |a: &&&Read<'_>, b: &&&Read<'_>| a.level.total_cmp(&b.level);
            let most = if soft { marks.iter().min_by(by_level) } else { marks.iter().max_by(by_level) };
            let asked = most.map_or("", |r| r.mark());
            let (rule, way, bound_said) = if soft {
                ("soft-extreme", "softer", format!("{} is about the softest", extreme.mark))
            } else {
                ("loud-extreme", "louder", format!("{} is about the loudest", extreme.mark))
            };
            let held = if extreme.seconds > 0.0 {
                format!(" for longer than {}", said(extreme.seconds))
            } else {
                String::new()
            };
            let name = sheet.desk.instrument.name();
            let whole = limits_cell(sheet, &stretch.hits, &extreme.mark);
            let remedy = match (&whole, soft) {
                (Some(_), _) => format!("Mark the passage {} for this chair", extreme.mark),
                (None, true) => {
                    format!("Mark it {}, or give it to an instrument that has it in its middle", extreme.mark)
                }
                (None, false) => format!(
                    "Mark it {}, thin out what plays over it, or double it with an instrument that is strong there",
                    extreme.mark
                ),
            };
            out.push(
                sheet
                    .found(rule, Severity::Hard, &stretch)
                    .says(format!(
                        "{} ({}) at {asked}: between {} and {} the {name} does not go {way}{held}; {bound_said}",
                        capital(&stretch.count()),
                        sheet.span(&stretch),
                        pitch_name(i16::from(extreme.range.low)),
                        pitch_name(i16::from(extreme.range.high)),
                    ))
                    .remedy(remedy)
                    .change(whole)
                    .done(),
            );
        }
    }
}

/// A change of the cell's dynamics to this mark, where all that the chair has in the passage is at one level: a mark for the whole
/// cell would take away what else is written.
fn limits_cell(sheet: &Sheet<'_>, hits: &[usize], mark: &str) -> Option<ripieno_music::Change> {
    let first = &sheet.notes[*hits.first()?];
    let bar = sheet.place(first.note.at).bar;
    let passage = sheet.table.passage_at(bar)?;
    let cell = sheet.desk.part.cells.iter().find(|c| c.passage == passage.name)?;
    let mut inside = sheet.notes.iter().filter(|r| r.note.at >= cell.from && r.note.at < cell.to);
    if !inside.all(|r| (r.level - first.level).abs() < HALF_STEP) {
        return None;
    }
    let text = with_dynamics(sheet.table.cell_at(sheet.desk.id(), bar)?, mark)?;
    sheet.table.cell_change(sheet.desk.id(), bar, text)
}
