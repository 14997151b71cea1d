//! Cells worked out: every turn, `col` and division as segments, each one strand of the music over a stretch.

use crate::axis::contend;
use crate::casting::{Casting, Window};
use crate::lines::{Keeps, StrandKey, Voice, find_track};
use crate::table;
use ripieno_music::{Playing, Severity};
use ripieno_plan::{CellMark, Kept, PlaceWord, PlacedCell, Plan, Source, Turn};
use ripieno_units::Beats;

/// Sources of one cell, after every `col`: a plan of divisions that go with divisions doubles them at each step.
const MOST_SEGMENTS: usize = 64;
/// Longest chain of `col`.
const LONGEST_CHAIN: usize = 100;

/// One chair on one strand for a stretch.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Segment {
    /// Index of its passage.
    pub(crate) passage: usize,
    pub(crate) from: Beats,
    pub(crate) to: Beats,
    /// It begins with its passage, so that a pick-up may come with it.
    pub(crate) opens: bool,
    pub(crate) key: StrandKey,
    /// Semitones.
    pub(crate) octave: i16,
    /// Which division of the chair, from 0.
    pub(crate) division: usize,
    /// How many divisions the cell has.
    pub(crate) divisions: usize,
    pub(crate) marks: Vec<CellMark>,
    /// The chair's own line.
    pub(crate) own: bool,
    /// The chair that it goes with.
    pub(crate) with: Option<String>,
    /// Notes before `from` that it takes along, and notes after it that it leaves off (indices into the strand).
    pub(crate) pick_up: Vec<usize>,
    pub(crate) left_off: Vec<usize>,
}

impl Segment {
    /// The same notes at the same octave, going on.
    pub(crate) fn continues(&self, earlier: &Self) -> bool {
        earlier.to == self.from
            && self.same_notes(earlier)
            && self.key.keeps == earlier.key.keeps
            && self.division == earlier.division
    }

    pub(crate) fn same_notes(&self, other: &Self) -> bool {
        self.key.same_notes(&other.key) && self.octave == other.octave
    }

    /// Are its signs those of the chair's own line?
    pub(crate) fn own_signs(&self, chair: &str) -> bool {
        self.own || self.key.keeps.as_ref().is_some_and(|k| k.line == chair)
    }

    pub(crate) fn words(&self) -> impl Iterator<Item = &Playing> {
        self.marks.iter().filter_map(|m| if let CellMark::Playing(p) = m { Some(p) } else { None })
    }
}

impl<'a> Casting<'a> {
    fn cell(&self, chair: &str, passage: usize) -> Option<&'a PlacedCell> {
        let plan: &'a Plan = self.plan;
        plan.passages.get(passage)?.cells.iter().find(|c| c.chair == chair)
    }

    /// What a chair plays in a passage.
    pub(crate) fn segments(&mut self, chair: &str, passage: usize) -> Vec<Segment> {
        let Some(window) = self.windows[passage] else { return Vec::new() };
        self.within(chair, passage, (window.from, window.to), &mut Vec::new())
    }

    /// What a chair plays between two times of a passage: what others do at other times is not asked, so that two chairs
    /// may lead each other in turn. `chain` holds the chairs that ask for it, the first first.
    fn within(
        &mut self,
        chair: &str,
        passage: usize,
        (begin, end): (Beats, Beats),
        chain: &mut Vec<String>,
    ) -> Vec<Segment> {
        let (Some(cell), Some(window)) = (self.cell(chair, passage), self.windows[passage]) else {
            return Vec::new();
        };
        let name = (passage, chair.to_owned(), begin, end);
        if let Some(known) = self.known.get(&name) {
            return known.clone();
        }
        chain.push(chair.to_owned());
        let own_marks = &cell.words.marks;
        let group_count = own_marks.iter().find_map(|m| match m {
            CellMark::Playing(Playing::Div(n)) => Some(*n),
            _ => None,
        });
        let kept = own_marks
            .iter()
            .filter_map(|m| if let CellMark::AsWritten(k) = m { Some(*k) } else { None })
            .max();
        let divisions = cell.words.divisions.len();
        let mut segments = Vec::new();
        for (division, turns) in cell.words.divisions.iter().enumerate() {
            for (turn, (from, to, opens)) in turns.iter().zip(self.stretches(chair, window, turns)) {
                // Where the source begins before its passage, so does whoever goes with it.
                let early = from < window.from && begin <= window.from;
                let (from, to) = (if early { from } else { from.max(begin) }, to.min(end));
                if to <= from {
                    continue;
                }
                let mut made = match &turn.source {
                    Source::Tacet => Vec::new(),
                    Source::Line { name, voice } => {
                        vec![self.line(passage, (from, to, opens), name, (*voice).into(), name == chair)]
                    }
                    Source::AsWritten => {
                        vec![self.line(passage, (from, to, opens), chair, Voice::All, true)]
                    }
                    Source::Col { chair: other } => {
                        self.col(chair, other, turn, passage, (from, to, opens), chain)
                    }
                };
                for segment in &mut made {
                    segment.octave = segment.octave.saturating_add(turn.octave);
                    if let Some(kept) = kept
                        && !segment.own
                    {
                        let moved = if kept == Kept::Rhythm { segment.octave } else { 0 };
                        segment.key.keeps = Some(Keeps { line: chair.to_owned(), kept, moved });
                        segment.marks.clear();
                    }
                    segment.marks = layer(&segment.marks, own_marks);
                    if divisions > 1 {
                        (segment.division, segment.divisions) = (division, divisions);
                    } else if segment.key.voice == Voice::All && group_count.is_some_and(|n| n != 1) {
                        segment.key.divided = group_count;
                    }
                }
                segments.append(&mut made);
            }
        }
        chain.pop();
        if segments.len() > MOST_SEGMENTS {
            segments.truncate(MOST_SEGMENTS);
            self.find(
                "cell-large",
                Severity::Hard,
                chair,
                window.start,
                format!("This cell comes to more than {MOST_SEGMENTS} sources; the rest is left out."),
                "Let it play with fewer chairs.".into(),
            );
        }
        self.known.insert(name, segments.clone());
        segments
    }

    fn line(
        &self,
        passage: usize,
        (from, to, opens): (Beats, Beats, bool),
        name: &str,
        voice: Voice,
        own: bool,
    ) -> Segment {
        Segment {
            passage,
            from,
            to,
            opens,
            key: StrandKey { line: name.to_owned(), voice, divided: None, keeps: None },
            octave: 0,
            division: 0,
            divisions: 1,
            marks: Vec::new(),
            own,
            with: None,
            pick_up: Vec::new(),
            left_off: Vec::new(),
        }
    }

    fn col(
        &mut self,
        chair: &str,
        other: &str,
        turn: &Turn,
        passage: usize,
        (from, to, opens): (Beats, Beats, bool),
        chain: &mut Vec<String>,
    ) -> Vec<Segment> {
        let start = self.windows[passage].map_or(from, |w| w.start);
        if chain.iter().any(|c| c == other) {
            let circle = chain.iter().skip_while(|c| *c != other).cloned().collect::<Vec<_>>().join(" col ");
            self.find(
                "col-circle",
                Severity::Impossible,
                chair,
                start,
                format!("A circle: {circle} col {other}."),
                "Let one of them play a line.".into(),
            );
            return Vec::new();
        }
        if chain.len() > LONGEST_CHAIN {
            self.find(
                "col-chain",
                Severity::Impossible,
                chair,
                start,
                format!("A chain of more than {LONGEST_CHAIN} `col`."),
                "Let one of them play a line.".into(),
            );
            return Vec::new();
        }
        if turn.octave == 0 {
            self.advise_octave(chair, other, (from, to));
        }
        let mut segments = self.within(other, passage, (from, to), chain);
        let silent =
            |cell: &PlacedCell| cell.words.divisions.iter().flatten().all(|t| t.source == Source::Tacet);
        if segments.is_empty() && self.cell(other, passage).is_none_or(silent) {
            self.find(
                "col-tacet",
                Severity::Advice,
                chair,
                start,
                format!("{chair} goes with {other}, who is silent here."),
                format!("Give {other} a line, or {chair} another source."),
            );
        }
        let both_sing = table::sings(self.template, chair) && table::sings(self.template, other);
        for segment in &mut segments {
            // A source that begins before the passage does so for whoever goes with it.
            if !opens {
                segment.from = segment.from.max(from);
                segment.opens = false;
            }
            segment.to = segment.to.min(to);
            segment.own = false;
            segment.key.divided = None;
            segment.with = Some(other.to_owned());
            segment.marks.retain(|mark| match mark {
                CellMark::Playing(word) => {
                    !crate::lines::about_players(word)
                        && !matches!(word, Playing::ConSord | Playing::SenzaSord)
                }
                CellMark::Words(_) => both_sing,
                // Its signs have been taken over already.
                CellMark::AsWritten(_) => false,
                // Where one breathes is one's own affair.
                CellMark::Breath(_) => false,
                _ => true,
            });
        }
        segments.retain(|s| s.from < s.to);
        segments
    }

    /// Do the chairs' own lines have the same sounding notes where both begin one, for the most part?
    fn in_unison(&self, chair: &str, other: &str, (from, to): (Beats, Beats)) -> bool {
        let own = |chair: &str| {
            let line = self.plan.lines.iter().find(|l| l.name == chair)?;
            let track = find_track(self.score, &line.track).ok()?;
            let notes = &track.content.notes;
            let (first, last) =
                (notes.partition_point(|n| n.at < from), notes.partition_point(|n| n.at < to));
            Some(&notes[first..last.max(first)])
        };
        let (Some(mine), Some(theirs)) = (own(chair), own(other)) else { return false };
        let shared: Vec<bool> = mine
            .iter()
            .filter_map(|n| {
                let first = theirs.partition_point(|o| o.at < n.at);
                let chord = theirs[first..].chunk_by(|a, b| a.at == b.at).next()?;
                (chord[0].at == n.at).then(|| chord.iter().any(|o| o.pitch() == n.pitch()))
            })
            .collect();
        let same = shared.iter().filter(|same| **same).count();
        same > 0 && 2 * same >= shared.len()
    }

    fn advise_octave(&mut self, chair: &str, other: &str, (at, to): (Beats, Beats)) {
        // The music itself says that the sounding unison is meant.
        if self.in_unison(chair, other, (at, to)) {
            return;
        }
        let reads = |c: &str| table::sounds_from_written(self.template, c);
        let (Some(mine), Some(theirs)) = (reads(chair), reads(other)) else { return };
        let move_by = match mine - theirs {
            -12 => "8vb",
            12 => "8va",
            _ => return,
        };
        self.find(
            "col-octave",
            Severity::Advice,
            chair,
            at,
            format!(
                "{chair} reads an octave away from {other}; `col {other}` sounds the same notes, \
                 where a shared staff would sound an octave apart."
            ),
            format!("Write `col {other} {move_by}` if the octave is meant."),
        );
    }

    /// From, to, and whether it begins with the passage, for each turn.
    fn stretches(&mut self, chair: &str, window: Window, turns: &[Turn]) -> Vec<(Beats, Beats, bool)> {
        let place = |w: &PlaceWord| self.score.timeline.at(w.bar, w.beat.unwrap_or(1.0));
        let through = |w: &PlaceWord| {
            let bar = self.score.timeline.bar_numbered(w.bar)?;
            let Some(beat) = w.beat else { return Some(bar.at + bar.length) };
            let whole = ripieno_units::math::floor(beat);
            Some(self.score.timeline.at(w.bar, whole)? + bar.metre.beat())
        };
        let mut stretches = Vec::new();
        let mut unknown = Vec::new();
        let mut reached = window.from;
        for (i, turn) in turns.iter().enumerate() {
            let named = turn.from.as_ref().and_then(|w| {
                let at = place(w);
                if at.is_none() {
                    unknown.push(*w);
                }
                at
            });
            let from = named.unwrap_or(reached);
            let next = turns.get(i + 1).and_then(|t| t.from.as_ref()).and_then(place);
            let to = match turn.to.as_ref().map(|w| (w, through(w))) {
                Some((w, None)) => {
                    unknown.push(*w);
                    window.to
                }
                Some((_, Some(to))) => to,
                None => next.unwrap_or(window.to),
            };
            let to = if to >= window.end { window.to } else { to };
            stretches.push((from, to, i == 0 && named.is_none()));
            reached = to;
        }
        for word in unknown {
            self.find(
                "place-unknown",
                Severity::Hard,
                chair,
                window.start,
                format!("The music has no bar {}.", word.bar),
                "Bars are counted in the unfolded piece, from 1; a pick-up is bar 0.".into(),
            );
        }
        for (i, (from, to, _)) in stretches.iter().enumerate() {
            if to <= from {
                self.find(
                    "turn-empty",
                    Severity::Advice,
                    chair,
                    window.start,
                    format!("Source {} of this cell has no time left to play.", i + 1),
                    "Say `from` for it, or `to` for the one before.".into(),
                );
            }
        }
        stretches
    }
}

/// Marks with the chair's own on top: an own mark takes the place of those of its kind.
fn layer(base: &[CellMark], own: &[CellMark]) -> Vec<CellMark> {
    let beaten = |mark: &CellMark| {
        own.iter().any(|o| match (o, mark) {
            (CellMark::Playing(a), CellMark::Playing(b)) => contend(a, b),
            (CellMark::Articulation(_), CellMark::Articulation(_)) => true,
            (CellMark::Dynamics(_), CellMark::Dynamics(_)) => true,
            (CellMark::Ornament(_), CellMark::Ornament(_)) => true,
            (CellMark::Words(_), CellMark::Words(_)) => true,
            (CellMark::Breath(_), CellMark::Breath(_)) => true,
            _ => false,
        })
    };
    base.iter().filter(|m| !beaten(m)).chain(own).cloned().collect()
}
