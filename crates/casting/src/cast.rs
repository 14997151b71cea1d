//! The whole casting: segments of every chair, pick-ups between them, parts.

use crate::casting::{Casting, note};
use crate::cell::Segment;
use crate::realise::content;
use rayon::prelude::*;
use ripieno_music::{Cell, Content, Finding, Part, Score, Severity};
use ripieno_plan::{CellMark, Plan, Source, Template};
use ripieno_units::Beats;

/// Makes the parts: one for every chair that plays a note, in template order, in score time, at sounding pitch. The
/// rules stand at the head of this crate.
///
/// A plan that asks for what is not there (a line, a track, a voice, a bar, a chair) makes a finding that says so, and
/// the rest is cast. `Part::cells` has one cell for every passage, silent ones without a line; a line's voice is part
/// of its name there (`chords.2`).
pub fn cast(score: &Score, plan: &Plan, template: &Template) -> (Vec<Part>, Vec<Finding>) {
    let mut casting = Casting::new(score, plan, template);
    let (cells, chairs) = arrange(&mut casting);
    let mut findings = std::mem::take(&mut casting.findings);
    // What the strands of a chair find comes before what its notes find.
    let of_strands: Vec<Vec<Finding>> = template
        .chairs
        .iter()
        .zip(&chairs)
        .map(|(chair, segments)| {
            casting.make_strands(&chair.id, segments);
            std::mem::take(&mut casting.findings)
        })
        .collect();
    let played: Vec<(Content, Vec<Finding>)> = (template.chairs.par_iter().zip(&chairs))
        .map(|(chair, segments)| {
            let mut found = Vec::new();
            (content(&casting, &chair.id, segments, &mut found), found)
        })
        .collect();
    let mut parts = Vec::new();
    for (((chair, cells), (content, found)), before) in
        template.chairs.iter().zip(cells).zip(played).zip(of_strands)
    {
        before.into_iter().chain(found).for_each(|f| note(&mut findings, f));
        if !content.notes.is_empty() {
            parts.push(Part { chair: chair.id.clone(), content, cells });
        }
    }
    (parts, findings)
}

/// The cells of every chair, and its segments with the pick-ups that it takes and leaves.
pub(crate) fn arrange(casting: &mut Casting) -> (Vec<Vec<Cell>>, Vec<Vec<Segment>>) {
    unknown_chairs(casting);
    let template = casting.template;
    let (cells, mut chairs): (Vec<_>, Vec<_>) =
        template.chairs.iter().map(|chair| gather(casting, &chair.id)).unzip();
    casting.make_ready(&chairs);
    pick_ups(casting, &mut chairs);
    (cells, chairs)
}

fn unknown_chairs(casting: &mut Casting) {
    let (plan, template) = (casting.plan, casting.template);
    for (passage, window) in plan.passages.iter().zip(casting.windows.clone()) {
        let at = window.map_or(Beats::ZERO, |w| w.start);
        for cell in &passage.cells {
            if template.chairs.iter().any(|c| c.id == cell.chair) {
                continue;
            }
            let near = ripieno_plan::nearest(&cell.chair, template.chairs.iter().map(|c| c.id.as_str()));
            casting.find(
                "chair-unknown",
                Severity::Impossible,
                &cell.chair,
                at,
                format!("The template has no chair `{}`.", cell.chair),
                near.map_or_else(
                    || format!("Add [chair.{}] to the template.", cell.chair),
                    |n| format!("Did you mean `{n}`?"),
                ),
            );
        }
    }
}

/// The chair's cells, and its segments in order of time; those that go on unchanged are one.
fn gather(casting: &mut Casting, chair: &str) -> (Vec<Cell>, Vec<Segment>) {
    let plan = casting.plan;
    let (mut cells, mut all): (Vec<Cell>, Vec<Segment>) = (Vec::new(), Vec::new());
    for (i, passage) in plan.passages.iter().enumerate() {
        let Some(window) = casting.windows[i] else { continue };
        let segments = casting.segments(chair, i);
        let col = passage.cells.iter().find(|c| c.chair == chair).and_then(|c| {
            c.words.divisions.iter().flatten().find_map(|turn| match &turn.source {
                Source::Col { chair } => Some(chair.clone()),
                _ => None,
            })
        });
        cells.push(Cell {
            passage: passage.name.clone(),
            from: window.start,
            to: window.end,
            line: segments.iter().min_by_key(|s| (s.from, s.division)).map(|s| s.key.label()),
            with: col,
        });
        // What begins before its passage takes over from there.
        let first = segments.iter().map(|s| s.from).min().unwrap_or(window.from);
        if first < window.from {
            all.retain(|s| s.from < first);
            all.iter_mut().for_each(|s| s.to = s.to.min(first));
        }
        for segment in segments {
            match all.iter_mut().rev().find(|s| s.division == segment.division) {
                Some(last) if one_segment(last, &segment) => last.to = segment.to,
                _ => all.push(segment),
            }
        }
    }
    all.sort_by_key(|s| (s.from, s.division));
    (cells, all)
}

fn one_segment(first: &Segment, second: &Segment) -> bool {
    let stretched = |m: &CellMark| matches!(m, CellMark::Dynamics(_) | CellMark::Words(_));
    second.continues(first)
        && (first.divisions, first.own, &first.marks) == (second.divisions, second.own, &second.marks)
        && !first.marks.iter().any(stretched)
}

/// Lets pick-ups travel with their line: chairs that enter take them, chairs that have ended leave them off.
fn pick_ups(casting: &mut Casting, chairs: &mut [Vec<Segment>]) {
    let template = casting.template;
    let mut taken: Vec<(Segment, Vec<usize>)> = Vec::new();
    for (c, chair) in template.chairs.iter().enumerate() {
        for i in 0..chairs[c].len() {
            let segment = &chairs[c][i];
            let goes_on = chairs[c].iter().any(|s| s.to == segment.from && s.key.same_notes(&segment.key));
            if !segment.opens || goes_on {
                continue;
            }
            let Some(strand) = casting.strand(&segment.key, &chair.id, segment.from) else { continue };
            let notes = pick_up(casting, &strand, segment.from);
            let Some(first) = notes.first().map(|n| strand.notes[*n].at) else { continue };
            let mut busy = false;
            for other in &chairs[c] {
                if other.from >= segment.from || other.to <= first {
                    continue;
                }
                if let Some(theirs) = casting.strand(&other.key, &chair.id, other.from) {
                    busy |= theirs
                        .within(other.from, other.to.min(segment.from))
                        .any(|n| theirs.notes[n].end() > first);
                }
            }
            if !busy {
                taken.push((segment.clone(), notes.clone()));
                chairs[c][i].pick_up = notes;
            }
        }
    }
    for segments in chairs.iter_mut() {
        for i in 0..segments.len() {
            for (taker, notes) in &taken {
                let ends_there = segments[i].to == taker.from && segments[i].key.same_notes(&taker.key);
                let goes_on = segments.iter().any(|s| s.from == taker.from && s.key.same_notes(&taker.key));
                if ends_there && !goes_on && segments[i].left_off.is_empty() {
                    segments[i].left_off = notes.clone();
                }
            }
        }
    }
}

/// The notes before `barline` that are slurred over it, where their slur began less than a bar before.
fn pick_up(casting: &Casting, strand: &crate::lines::Strand, barline: Beats) -> Vec<usize> {
    let timeline = &casting.score.timeline;
    let bar = timeline.bar_at(barline);
    // A bar's length, as the bar before has it; the bar itself where nothing stands before.
    let length = match timeline.bar_index(barline) {
        0 => bar.length,
        i => timeline.bars[i - 1].length,
    };
    let mut notes = Vec::new();
    for i in strand.within(barline - length, barline) {
        // The last chord of its voice before the barline, slurred on to one at or after it.
        let over = strand.notes[i].slurs_on
            && strand.after[i].is_some_and(|n| strand.notes[n].at >= barline && strand.notes[n].slurred);
        if !over {
            continue;
        }
        let mut first = i;
        while strand.notes[first].slurred {
            let Some(before) = strand.before[first] else { break };
            first = before;
        }
        let start = strand.notes[first].at;
        if start <= barline - length {
            continue;
        }
        let voice = strand.notes[i].voice;
        notes.extend(strand.within(start, barline).filter(|n| strand.notes[*n].voice == voice));
    }
    notes.sort_unstable();
    notes.dedup();
    notes
}
