//! The proof of a draft: cast, it gives back what the music has, or the cell stays as written.

use super::chairs::Seat;
use super::cols::{DraftCell, Proposer, as_written};
use super::passages::Stretch;
use super::state::{State, sounding};
use crate::cast::arrange;
use crate::casting::{Casting, Strands};
use crate::cell::Segment;
use crate::realise::content;
use rayon::prelude::*;
use ripieno_music::{Note, Reading, Score};
use ripieno_plan::{CellMark, ChairPlan, LineDef, PassagePlan, PlacedCell, Plan, Span, Template};
use ripieno_units::Beats;
use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;

/// Rounds in which single onsets are put back before whole cells are.
const ROUNDS_BY_ONSET: usize = 12;
/// Rounds in all; after them every cell is as written.
const ROUNDS: usize = 18;

/// The cells of every passage, proved.
pub(super) fn cells(
    score: &Score,
    reading: &Reading,
    seats: &[Seat],
    stretches: &[Stretch],
) -> Vec<Vec<DraftCell>> {
    let plain: Vec<Vec<DraftCell>> = stretches
        .iter()
        .map(|s| s.playing.iter().map(|seat| DraftCell { seat: *seat, words: as_written() }).collect())
        .collect();
    if reading.doublings.is_empty() {
        return plain;
    }
    let mut proposer = Proposer::new(score, reading, seats, stretches);
    let mut cells: Vec<Vec<DraftCell>> =
        (0..stretches.len()).into_par_iter().map(|p| proposer.cells(p)).collect();
    let mut rounds =
        Rounds { score, seats, stretches, strands: Strands::new(), last: vec![None; seats.len()] };
    let wanted = rounds.play(&plain);
    let mut written_out: BTreeSet<(usize, usize)> = BTreeSet::new();
    // In which round the end of a hairpin was first held to be the cause.
    let mut traced: BTreeMap<(usize, Beats), usize> = BTreeMap::new();
    for round in 0..ROUNDS {
        let got = rounds.play(&cells);
        let mut again: BTreeSet<usize> = BTreeSet::new();
        for seat in 0..seats.len() {
            if Arc::ptr_eq(&got[seat], &wanted[seat]) {
                continue;
            }
            for at in differences(&got[seat], &wanted[seat]) {
                let near = |at: Beats| {
                    let passage = stretches.partition_point(|s| s.ends <= at).min(stretches.len() - 1);
                    // A slur or a pick-up over the barline: the next passage has a part in it.
                    [Some(passage), Some(passage + 1), passage.checked_sub(1)]
                };
                let with_col = |p: &usize| {
                    cells.get(*p).is_some_and(|all| all.iter().any(|c| c.seat == seat && c.has_col()))
                };
                let cut = cut_short(at, &got[seat], &wanted[seat])
                    .filter(|there| near(*there).iter().flatten().any(with_col))
                    .filter(|there| *traced.entry((seat, *there)).or_insert(round) == round);
                let at = cut.unwrap_or(at);
                let near = near(at);
                if round >= ROUNDS_BY_ONSET {
                    written_out.extend(near.iter().flatten().map(|p| (*p, seat)));
                    again.extend(near.iter().flatten().filter(|p| with_col(p)));
                    continue;
                }
                let Some(passage) = near.into_iter().flatten().find(with_col) else {
                    written_out.extend(near.iter().flatten().map(|p| (*p, seat)));
                    continue;
                };
                let dynamics =
                    |c: &DraftCell| c.words.marks.iter().any(|m| matches!(m, CellMark::Dynamics(_)));
                if cells[passage].iter().any(|c| c.seat == seat && dynamics(c)) {
                    proposer.unsay(passage, seat);
                    again.insert(passage);
                    continue;
                }
                let kept = cells[passage].iter().filter(|c| c.seat == seat).find_map(DraftCell::kept);
                let notes = &score.tracks[seats[seat].track].content.notes;
                let inside = at.max(stretches[passage].begins);
                let next = notes[notes.partition_point(|n| n.at < inside)..].first().map(|n| n.at);
                let last = || {
                    notes[..notes.partition_point(|n| n.at < stretches[passage].ends)].last().map(|n| n.at)
                };
                match next.filter(|n| *n < stretches[passage].ends).or_else(last) {
                    Some(onset) => proposer.block(seat, onset, kept),
                    None => {
                        written_out.insert((passage, seat));
                    }
                }
                again.insert(passage);
            }
        }
        if again.is_empty() && alike(&got, &wanted) {
            return cells;
        }
        if again.is_empty() {
            break;
        }
        let proposed: Vec<(usize, Vec<DraftCell>)> =
            again.into_par_iter().map(|passage| (passage, proposer.cells(passage))).collect();
        for (passage, proposed) in proposed {
            cells[passage] = proposed;
            for cell in &mut cells[passage] {
                if written_out.contains(&(passage, cell.seat)) {
                    cell.words = as_written();
                }
            }
        }
    }
    if alike(&rounds.play(&cells), &wanted) { cells } else { plain }
}

/// The plan and the template that the texts say.
pub(super) fn as_plan(seats: &[Seat], stretches: &[Stretch], cells: &[Vec<DraftCell>]) -> (Plan, Template) {
    let lines = seats.iter().map(|s| LineDef {
        name: s.id.clone(),
        track: s.line_track.clone(),
        ..LineDef::default()
    });
    let cell = |c: &DraftCell| PlacedCell {
        chair: seats[c.seat].id.clone(),
        text: c.words.to_string(),
        words: c.words.clone(),
        span: Span::default(),
    };
    let passages = stretches.iter().zip(cells).map(|(s, cells)| PassagePlan {
        name: s.name.clone(),
        from_bar: s.from_bar,
        to_bar: s.to_bar,
        cells: cells.iter().map(cell).collect(),
        ..PassagePlan::default()
    });
    let chairs = seats.iter().map(|s| ChairPlan {
        id: s.id.clone(),
        instrument: s.instrument.clone(),
        players: s.players,
        ..ChairPlan::default()
    });
    (
        Plan { lines: lines.collect(), passages: passages.collect(), ..Plan::default() },
        Template { chairs: chairs.collect(), ..Template::default() },
    )
}

/// What every seat plays, without its place on paper.
type Sounding = Vec<(Note, State)>;

fn alike(some: &[Arc<Sounding>], others: &[Arc<Sounding>]) -> bool {
    some.len() == others.len() && some.iter().zip(others).all(|(a, b)| Arc::ptr_eq(a, b) || a == b)
}

/// Castings of one piece, one after the other.
struct Rounds<'a> {
    score: &'a Score,
    seats: &'a [Seat],
    stretches: &'a [Stretch],
    /// Read out of the score once.
    strands: Strands,
    /// By seat: what it had in the round before, and what it played. A seat that has the same again plays the same.
    last: Vec<Option<(Vec<Segment>, Arc<Sounding>)>>,
}

impl Rounds<'_> {
    /// What every seat plays by these cells.
    fn play(&mut self, cells: &[Vec<DraftCell>]) -> Vec<Arc<Sounding>> {
        let (plan, template) = as_plan(self.seats, self.stretches, cells);
        let mut casting = Casting::new(self.score, &plan, &template);
        casting.strands = std::mem::take(&mut self.strands);
        let (_, segments) = arrange(&mut casting);
        for (seat, segments) in self.seats.iter().zip(&segments) {
            casting.make_strands(&seat.id, segments);
        }
        let same = |segments: &Vec<Segment>, last: &Option<(Vec<Segment>, Arc<Sounding>)>| {
            last.as_ref().filter(|(had, _)| had == segments).map(|(_, played)| Arc::clone(played))
        };
        let played: Vec<Arc<Sounding>> = (self.seats.par_iter().zip(&segments).zip(&self.last))
            .map(|((seat, segments), last)| {
                same(segments, last).unwrap_or_else(|| Arc::new(played(&casting, seat, segments)))
            })
            .collect();
        self.strands = casting.strands;
        self.last = segments.into_iter().zip(&played).map(|(s, p)| Some((s, Arc::clone(p)))).collect();
        played
    }
}

fn played(casting: &Casting, seat: &Seat, segments: &[Segment]) -> Sounding {
    let mut notes = sounding(content(casting, &seat.id, segments, &mut Vec::new()));
    for (note, _) in &mut notes {
        (note.voice, note.staff, note.written) = (1, 1, None);
        note.graces.iter_mut().chain(&mut note.graces_after).for_each(|g| g.written = None);
    }
    notes.sort_by_key(|n| (n.0.at, n.0.pitch(), n.0.length));
    notes
}

/// Where the notes that begin here are the same, and a hairpin or a pedal alone ends elsewhere: the end that comes first. What
/// stands there cut it short, or let it go on.
fn cut_short(at: Beats, got: &Sounding, wanted: &Sounding) -> Option<Beats> {
    let here = |all: &Sounding| -> (Vec<Note>, Option<State>) {
        let chord: Vec<_> =
            all[all.partition_point(|n| n.0.at < at)..].iter().take_while(|n| n.0.at == at).collect();
        (chord.iter().map(|n| n.0.clone()).collect(), chord.first().map(|n| n.1.clone()))
    };
    let ((notes, own), (others, theirs)) = (here(got), here(wanted));
    let (own, theirs) = (own?, theirs?);
    if notes != others || own == theirs {
        return None;
    }
    let ends = |state: &State| [state.hairpin.map(|h| h.1), state.pedal];
    let mut same = own.clone();
    if let (Some(hairpin), Some(wanted)) = (&mut same.hairpin, theirs.hairpin) {
        hairpin.1 = wanted.1;
    }
    same.pedal = same.pedal.and(theirs.pedal);
    let differs = ends(&own).into_iter().zip(ends(&theirs)).filter(|(a, b)| a != b);
    (same == theirs).then(|| differs.flat_map(|(a, b)| [a, b]).flatten().min()).flatten()
}

/// The onsets at which two differ, in order.
fn differences(got: &Sounding, wanted: &Sounding) -> Vec<Beats> {
    let mut onsets = Vec::new();
    let (mut i, mut j) = (0, 0);
    while i < got.len() || j < wanted.len() {
        let at = match (got.get(i), wanted.get(j)) {
            (Some(a), Some(b)) => a.0.at.min(b.0.at),
            (Some(one), None) | (None, Some(one)) => one.0.at,
            (None, None) => break,
        };
        let chord = |notes: &Sounding, from: usize| notes[from..].iter().take_while(|n| n.0.at == at).count();
        let (n, m) = (chord(got, i), chord(wanted, j));
        if got[i..i + n] != wanted[j..j + m] {
            onsets.push(at);
        }
        i += n;
        j += m;
    }
    onsets
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_hairpin_that_ends_too_soon_leads_to_where_it_ends() {
        let note = |at: i64| Note::plain(Beats::whole(at), Beats::whole(1), 60);
        let under = |to: i64| State { hairpin: Some((true, Beats::whole(to), false)), ..State::default() };
        let part = |to: i64| vec![(note(0), State::default()), (note(1), under(to)), (note(2), under(to))];
        let (got, wanted) = (part(5), part(8));
        for at in differences(&got, &wanted) {
            assert_eq!(cut_short(at, &got, &wanted), Some(Beats::whole(5)));
        }
        assert_eq!(cut_short(Beats::ZERO, &got, &wanted), None);
        // Where more differs, the place itself is the cause.
        let softer: Sounding =
            part(5).into_iter().map(|(n, s)| (Note { length: Beats::whole(2), ..n }, s)).collect();
        assert_eq!(cut_short(Beats::whole(1), &softer, &wanted), None);
    }
}
