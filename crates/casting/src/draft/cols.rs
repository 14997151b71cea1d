//! Cells of a draft: `as written`, and `col` wherever a chair has exactly what another has.

use super::chairs::Seat;
use super::levels;
use super::order::{Order, not_after, orders};
use super::passages::Stretch;
use super::runs::{Pair, Run, Seams, barlines, place, runs};
use super::state::{Own, States};
use crate::table;
use ripieno_music::{Doubling, Reading, Score, Track};
use ripieno_plan::{CellMark, CellWords, DynamicStep, Kept, Source, Span, Turn};
use ripieno_units::Beats;
use std::collections::{BTreeMap, BTreeSet};
use std::sync::{Arc, OnceLock, PoisonError, RwLock};

/// Stretches of `col` in one cell, at most: a longer one is hard to read.
const MOST_PIECES: usize = 12;
/// Less than a bar needs so many onsets: what two chairs have in common for a moment, often by chance, is not worth the words.
const FEWEST_ONSETS: usize = 4;

/// What one chair plays in one passage of the draft.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct DraftCell {
    /// Index of the seat.
    pub(super) seat: usize,
    pub(super) words: CellWords,
}

impl DraftCell {
    /// What it keeps of its own line beside a `col`.
    pub(super) fn kept(&self) -> Option<Kept> {
        self.words
            .marks
            .iter()
            .find_map(|m| if let CellMark::AsWritten(kept) = m { Some(*kept) } else { None })
    }

    /// Does it play with another chair?
    pub(super) fn has_col(&self) -> bool {
        self.words.divisions.iter().flatten().any(|t| matches!(t.source, Source::Col { .. }))
    }
}

/// A cell that is the chair's own line.
pub(super) fn as_written() -> CellWords {
    CellWords { divisions: vec![vec![turn(Source::AsWritten)]], marks: Vec::new() }
}

pub(super) fn turn(source: Source) -> Turn {
    Turn { source, octave: 0, from: None, to: None, span: Span::default() }
}

/// A stretch of a cell with a leader.
#[derive(Clone, Copy)]
struct Piece {
    /// `None`: from the passage's start, to its end.
    from: Option<Beats>,
    to: Option<Beats>,
    /// Index of the leader's seat.
    leader: usize,
    semitones: i16,
    onsets: usize,
}

/// A cell that was found for a seat.
struct Found {
    words: CellWords,
    /// Onsets that it has along with others; all of its own?
    onsets: usize,
    whole: bool,
    /// From when to when it goes with others.
    with: Vec<(Beats, Beats)>,
}

/// Whom a seat might go with, and when it may not.
struct Candidate {
    leader: usize,
    pair: Pair,
    not: Vec<(Beats, Beats)>,
}

/// Made by the first who asks, once.
type Shared<T> = Arc<OnceLock<T>>;
/// The runs of each pair that was asked for, by what the follower has of its own.
type KnownRuns = BTreeMap<(Pair, Own), Shared<Vec<Run>>>;

/// What a follower may keep of its own line: less is said first.
const KEEPING: [Option<Kept>; 3] = [None, Some(Kept::Marks), Some(Kept::Rhythm)];

/// Proposes cells: what is proposed has the same notes, dynamics and words, as far as the tracks alone can say.
pub(super) struct Proposer<'a> {
    score: &'a Score,
    reading: &'a Reading,
    seats: &'a [Seat],
    stretches: &'a [Stretch],
    seat_of: Vec<Option<usize>>,
    /// By track: does it carry words?
    sung: Vec<bool>,
    states: States,
    seams: Vec<Seams<'a>>,
    /// Asked for by several passages at once, made by the first.
    known: RwLock<KnownRuns>,
    /// By passage, once it was asked for.
    orders: Vec<OnceLock<Vec<Order>>>,
    /// Onsets of each track that a cast has shown to change with a `col` that keeps so much of the track.
    blocked: BTreeMap<(usize, Option<Kept>), BTreeSet<Beats>>,
    /// Passages and seats whose own dynamics a cast has shown to come out otherwise in the shorthand.
    unsaid: BTreeSet<(usize, usize)>,
}

impl<'a> Proposer<'a> {
    pub(super) fn new(
        score: &'a Score,
        reading: &'a Reading,
        seats: &'a [Seat],
        stretches: &'a [Stretch],
    ) -> Self {
        let seat_of =
            (0..score.tracks.len()).map(|track| seats.iter().position(|s| s.track == track)).collect();
        Self {
            score,
            reading,
            seats,
            stretches,
            seat_of,
            sung: score.tracks.iter().map(Track::is_sung).collect(),
            states: States::of(score),
            seams: score.tracks.iter().map(|t| Seams::new(&t.content.notes)).collect(),
            known: RwLock::default(),
            orders: stretches.iter().map(|_| OnceLock::new()).collect(),
            blocked: BTreeMap::new(),
            unsaid: BTreeSet::new(),
        }
    }

    /// Keeps an onset of a seat as written from now on, in cells that keep as much of its own line or less.
    pub(super) fn block(&mut self, seat: usize, at: Beats, kept: Option<Kept>) {
        let track = self.seats[seat].track;
        for less in KEEPING.into_iter().filter(|k| *k <= kept) {
            self.blocked.entry((track, less)).or_default().insert(at);
        }
        let known = self.known.get_mut().unwrap_or_else(PoisonError::into_inner);
        let touched = known.iter_mut().filter(|((pair, own), _)| pair.track == track && own.kept <= kept);
        for (_, runs) in touched {
            // Nobody else holds it: cells are proposed at other times.
            if let Some(runs) = Arc::get_mut(runs).and_then(OnceLock::get_mut) {
                self.seams[track].part(runs, at);
            }
        }
    }

    /// Says no dynamics of its own in a cell from now on.
    pub(super) fn unsay(&mut self, passage: usize, seat: usize) {
        self.unsaid.insert((passage, seat));
    }

    /// The cells of one passage.
    pub(super) fn cells(&self, passage: usize) -> Vec<DraftCell> {
        let stretch = &self.stretches[passage];
        let orders =
            self.orders[passage].get_or_init(|| orders(self.score, self.reading, &self.seat_of, stretch));
        let mut found: BTreeMap<usize, Found> = BTreeMap::new();
        for seat in &stretch.playing {
            let mut candidates = self.candidates(stretch, *seat);
            candidates.iter_mut().for_each(|c| c.not = not_after(orders, *seat, c.leader));
            found.insert(*seat, self.best(passage, *seat, &candidates));
        }
        // Who goes before may still go with one that comes after, while that one goes with nobody.
        for seat in &stretch.playing {
            let mut candidates = self.candidates(stretch, *seat);
            candidates.retain_mut(|c| {
                let goes = found.get(&c.leader).map(|f| &f.with);
                c.not = goes.into_iter().flatten().copied().collect();
                goes.is_some()
            });
            let Some(now) = found.get(seat).filter(|f| !f.whole) else { continue };
            let (onsets, more) = (now.onsets, self.best(passage, *seat, &candidates));
            if more.onsets > onsets {
                found.insert(*seat, more);
            }
        }
        found.into_iter().map(|(seat, found)| DraftCell { seat, words: found.words }).collect()
    }

    /// A cell with the leader's dynamics, or with the chair's own where more can be said so.
    fn best(&self, passage: usize, seat: usize, candidates: &[Candidate]) -> Found {
        let nothing = || Found { words: as_written(), onsets: 0, whole: false, with: Vec::new() };
        if candidates.is_empty() {
            return nothing();
        }
        let stretch = &self.stretches[passage];
        let track = self.seats[seat].track;
        let notes = self.seams[track].notes(stretch.begins, stretch.ends);
        let onsets = self.seams[track].onsets(stretch.begins, stretch.ends).count();
        let players = self.states.players(track, notes);
        let mut own = Own { players: players.is_some(), ..Own::default() };
        let mut marks: Vec<CellMark> = players.into_iter().flatten().map(CellMark::Playing).collect();
        let count = |pieces: &[Piece]| pieces.iter().map(|p| p.onsets).sum::<usize>();
        let mut pieces = self.pieces(stretch, seat, candidates, own);
        if let Some(steps) = self.own_steps(passage, seat) {
            own.dynamics = true;
            let more = self.pieces(stretch, seat, candidates, own);
            if count(&more) > count(&pieces) {
                pieces = more;
                marks.push(CellMark::Dynamics(steps));
            }
        }
        // What takes over less comes later.
        for kept in KEEPING.into_iter().flatten() {
            if count(&pieces) < onsets {
                let more = self.pieces(stretch, seat, candidates, Own { kept: Some(kept), ..Own::default() });
                if count(&more) > count(&pieces) {
                    (pieces, marks) = (more, vec![CellMark::AsWritten(kept)]);
                }
            }
        }
        let mut words = self.words(stretch, &pieces);
        if !pieces.is_empty() {
            words.marks = marks;
        }
        // What the shorthand does not read back as it was meant is not said.
        let text = words.to_string();
        let (again, faults) = CellWords::parse(&text);
        if faults.is_empty() && again.to_string() == text && again.marks == words.marks {
            let covered = count(&pieces);
            let time = |p: &Piece| (p.from.unwrap_or(stretch.begins), p.to.unwrap_or(stretch.ends));
            Found {
                words,
                onsets: covered,
                whole: covered >= onsets,
                with: pieces.iter().map(time).collect(),
            }
        } else {
            nothing()
        }
    }

    fn own_steps(&self, passage: usize, seat: usize) -> Option<Vec<DynamicStep>> {
        if self.unsaid.contains(&(passage, seat)) {
            return None;
        }
        let (timeline, stretch) = (&self.score.timeline, &self.stretches[passage]);
        let (first, last) =
            (timeline.bar_numbered(stretch.from_bar)?, timeline.bar_numbered(stretch.to_bar)?);
        let directions = &self.score.tracks[self.seats[seat].track].content.directions;
        levels::steps(directions, first.at, last.at + last.length, timeline)
    }

    fn pieces(&self, stretch: &Stretch, seat: usize, candidates: &[Candidate], own: Own) -> Vec<Piece> {
        let mut found: Vec<(usize, i16, Vec<Run>)> = Vec::new();
        for Candidate { leader, pair, not } in candidates {
            let mut inside = self.runs(*pair, own, seat, stretch);
            for time in not {
                inside =
                    inside.into_iter().flat_map(|run| self.seams[pair.track].without(run, *time)).collect();
            }
            if !inside.is_empty() {
                found.push((*leader, pair.semitones, inside));
            }
        }
        let mut pieces = Vec::new();
        self.fill(stretch, (seat, own), &found, (None, None), &mut pieces);
        pieces
    }

    /// The chairs that one may go with in a passage: the leaders that were found, then those that go with them too.
    fn candidates(&self, stretch: &Stretch, seat: usize) -> Vec<Candidate> {
        let track = self.seats[seat].track;
        // A voice of a chord is no line: who has it follows nobody's harp, and a bass no arpeggio.
        let here =
            |d: &&Doubling| d.from_bar <= stretch.to_bar && d.to_bar >= stretch.from_bar && !d.coincides;
        let mut pairs: Vec<Pair> = Vec::new();
        let own: Vec<&Doubling> =
            self.reading.doublings.iter().filter(here).filter(|d| d.track == track).collect();
        pairs.extend(own.iter().map(|d| Pair { track, of: d.of, semitones: d.semitones }));
        for d in &own {
            let beside = |o: &&Doubling| {
                o.of == d.of && o.track != track && o.from_bar <= d.to_bar && o.to_bar >= d.from_bar
            };
            let others = self.reading.doublings.iter().filter(here).filter(beside);
            pairs.extend(others.map(|o| Pair {
                track,
                of: o.track,
                semitones: d.semitones.saturating_sub(o.semitones),
            }));
        }
        // The other way round too: who leads may change within the passage, and who goes before may still go with one that goes
        // with nobody.
        let led = self.reading.doublings.iter().filter(here).filter(|d| d.of == track);
        pairs.extend(led.map(|d| Pair { track, of: d.track, semitones: d.semitones.saturating_neg() }));
        let mut seen = BTreeSet::new();
        pairs.retain(|p| seen.insert(*p));
        let seated = |pair: Pair| {
            let leader = self.seat_of.get(pair.of).copied().flatten()?;
            Some(Candidate { leader, pair, not: Vec::new() })
        };
        // Whoever sings is accompanied, and goes with no accompaniment.
        let sings = |track: usize| self.sung.get(track).copied().unwrap_or(false);
        let fit = |c: &Candidate| c.leader != seat && (!sings(track) || sings(c.pair.of));
        pairs.into_iter().filter_map(seated).filter(fit).collect()
    }

    /// The runs of a pair that touch a passage.
    fn runs(&self, pair: Pair, own: Own, seat: usize, stretch: &Stretch) -> Vec<Run> {
        let key = (pair, own);
        let found = self.known.read().unwrap_or_else(PoisonError::into_inner).get(&key).cloned();
        let known = found.unwrap_or_else(|| {
            self.known.write().unwrap_or_else(PoisonError::into_inner).entry(key).or_default().clone()
        });
        let all = known.get_or_init(|| {
            let blocked = self.blocked.get(&(pair.track, own.kept));
            let sings = table::instrument_sings(&self.seats[seat].instrument);
            runs(self.score, pair, sings, (&self.states, own), blocked)
        });
        let first = all.partition_point(|r| r.last < stretch.begins);
        all[first..].iter().take_while(|r| r.first < stretch.ends).copied().collect()
    }

    /// The longest piece in a stretch of the passage, then what fits before and after it.
    fn fill(
        &self,
        stretch: &Stretch,
        (seat, own): (usize, Own),
        found: &[(usize, i16, Vec<Run>)],
        bounds: (Option<Beats>, Option<Beats>),
        pieces: &mut Vec<Piece>,
    ) {
        if pieces.len() >= MOST_PIECES {
            return;
        }
        let mut best: Option<Piece> = None;
        for (leader, semitones, runs) in found {
            for run in runs {
                let Some((from, to, onsets)) = self.piece(stretch, (seat, own), run, bounds) else {
                    continue;
                };
                // Of equal ones the first found.
                if best.is_none_or(|b| onsets > b.onsets) {
                    best = Some(Piece { from, to, leader: *leader, semitones: *semitones, onsets });
                }
            }
        }
        let Some(best) = best else { return };
        pieces.push(best);
        if let Some(from) = best.from.filter(|f| bounds.0.is_none_or(|b| b < *f)) {
            self.fill(stretch, (seat, own), found, (bounds.0, Some(from)), pieces);
        }
        if let Some(to) = best.to.filter(|t| bounds.1.is_none_or(|b| *t < b)) {
            self.fill(stretch, (seat, own), found, (Some(to), bounds.1), pieces);
        }
        pieces.sort_by_key(|p| p.from.unwrap_or(stretch.begins));
    }

    /// The part of a run that a cell can say between two places (`None`: the passage's own ends), with its onsets.
    fn piece(
        &self,
        stretch: &Stretch,
        (seat, own): (usize, Own),
        run: &Run,
        bounds: (Option<Beats>, Option<Beats>),
    ) -> Option<(Option<Beats>, Option<Beats>, usize)> {
        let timeline = &self.score.timeline;
        let seams = &self.seams[self.seats[seat].track];
        let begins = bounds.0.unwrap_or(stretch.begins);
        let ends = bounds.1.unwrap_or(stretch.ends);
        let can = |at: Beats| place(timeline, at).is_some() && seams.is_seam(at, own.kept.is_some());
        let opens = run.after.is_none_or(|at| at < begins);
        let closes = run.before.is_none_or(|at| at >= ends);
        let until = run.before.map_or(ends, |b| b.min(ends));
        let inside = || seams.onsets(run.first.max(begins), until.min(run.last + Beats::new(1, 1024)));
        let (first, last) = (inside().next()?, inside().next_back()?);
        let from = if opens {
            bounds.0
        } else {
            let after = run.after.unwrap_or(begins).max(begins);
            let barline = barlines(timeline, after, first).rev().find(|at| can(*at));
            Some(barline.or_else(|| inside().find(|at| can(*at)))?)
        };
        let to = if closes {
            bounds.1
        } else {
            let before = run.before.unwrap_or(ends);
            let barline = barlines(timeline, last, before).find(|at| *at < ends && can(*at));
            let onset = || Some(before).filter(|at| can(*at)).or_else(|| inside().rev().find(|at| can(*at)));
            Some(barline.or_else(onset)?)
        };
        let (start, end) = (from.unwrap_or(stretch.begins), to.unwrap_or(stretch.ends));
        if start >= end {
            return None;
        }
        let onsets = seams.onsets(start.max(run.first), end).count();
        let bar = timeline.bar_at(start.max(first));
        (onsets >= FEWEST_ONSETS || end - start >= bar.length).then_some((from, to, onsets))
    }

    fn words(&self, stretch: &Stretch, pieces: &[Piece]) -> CellWords {
        let timeline = &self.score.timeline;
        let Some(first) = pieces.first() else { return as_written() };
        let mut turns = Vec::new();
        if first.from.is_some() {
            turns.push(turn(Source::AsWritten));
        }
        for (i, piece) in pieces.iter().enumerate() {
            let source = Source::Col { chair: self.seats[piece.leader].id.clone() };
            let from = piece.from.and_then(|at| place(timeline, at));
            turns.push(Turn { octave: piece.semitones, from, ..turn(source) });
            let next = pieces.get(i + 1).map_or(Some(stretch.ends), |p| p.from);
            if let Some(to) = piece.to
                && next != Some(to)
            {
                turns.push(Turn { from: place(timeline, to), ..turn(Source::AsWritten) });
            }
        }
        CellWords { divisions: vec![turns], marks: Vec::new() }
    }
}
