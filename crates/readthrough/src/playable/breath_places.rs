//! Where in a line one may breathe, what each place gives, and what it costs the music.

use super::breath_air::{FULL, QUICK, fills, takes};
use super::breath_search::Step;
use super::sheet::Sheet;
use crate::Table;
use ripieno_instruments::Breath;
use ripieno_music::Mark;
use ripieno_units::Beats;

/// What a breath that nobody asks for may take from the note before it, seconds. One that is asked for may take [`FULL`].
const STOLEN: f64 = 0.40;
/// Of any note at most this share.
const STOLEN_SHARE: f64 = 0.5;
/// A note that is clipped for a breath gives up to this share of itself; where that is too little, a note is left out.
const CLIPPED_SHARE: f64 = 0.75;
/// What is added to a cost away from a barline, after a note no longer than the next, where the bass goes on, and after a note
/// shorter than [`HURRIED`]: all small beside one more breath, so that of two ways with breaths of one kind the one with fewer is
/// the cheaper.
const OFF_BARLINE: u32 = 40;
const NOT_LONGER: u32 = 30;
pub(crate) const SAME_HARMONY: u32 = 20;
const AFTER_HURRIED: u32 = 30;
const HURRIED: f64 = 0.15;
/// A player of short notes gives half of their length away.
const SHORT_MARKS_SHARE: f64 = 0.5;

/// What a breath at a place means for the player.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) enum Kind {
    /// A rest, a breath mark, or the end of a slur after a note that can spare the time: every player breathes there.
    Unasked,
    /// The same place, with more time for it.
    Longer,
    /// Between slurs: a note too short for it unasked is clipped.
    Clipped,
    /// Between slurs, among notes too short for it: one of them is left out.
    Snatched,
    /// A slur is parted.
    InSlur,
    /// A held note is taken again.
    InNote,
    /// A slur is parted among short notes.
    SnatchedInSlur,
}

impl Kind {
    /// What one such breath costs, only in their order: a worse kind is dearer than two or three of a better one.
    fn cost(self) -> u32 {
        match self {
            Self::Unasked => 0,
            Self::Longer | Self::Clipped => 2_000,
            Self::Snatched => 3_000,
            Self::InSlur => 7_000,
            Self::InNote => 12_000,
            Self::SnatchedInSlur => 15_000,
        }
    }
}

/// A place where one might breathe: which note it follows, and where it is.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Spot {
    pub(crate) step: Step,
    pub(crate) kind: Kind,
    /// The place follows a note that is slurred to the next, or lies inside one.
    pub(crate) bound: bool,
    /// The beat before which one breathes.
    pub(crate) at: Beats,
    /// Index of the note before it.
    pub(crate) note: usize,
    /// The playing that its step stands for, seconds.
    pub(crate) from: f64,
    pub(crate) to: f64,
}

/// All places of a line, in order. Two may be one place: the breath that is taken unasked, and a longer one.
pub(crate) fn spots(sheet: &Sheet<'_>, breath: &Breath, line: &[usize]) -> Vec<Spot> {
    let mut spots = Vec::new();
    for (k, index) in line.iter().enumerate() {
        let read = &sheet.notes[*index];
        let next = line.get(k + 1).map(|n| &sheet.notes[*n]);
        let end = next.map_or(read.to, |n| n.from.min(read.to)).max(read.from);
        let short =
            [Mark::Staccato, Mark::Staccatissimo, Mark::Spiccato].iter().any(|m| read.note.marks.has(*m));
        let share = if short { SHORT_MARKS_SHARE } else { 1.0 };
        let reached = inside(sheet, breath, *index, end, share, &mut spots);
        let rest = next.map_or(FULL, |n| n.from - end).max(0.0);
        let length = end - read.from;
        let caesura = read.note.marks.has(Mark::CaesuraAfter);
        let marked = caesura || read.note.marks.has(Mark::BreathAfter);
        let slurred = next.is_some_and(|n| n.note.slurred && read.note.slurs_on);
        // A comma is given its time, whatever it takes.
        let half = rest + (FULL - rest).clamp(0.0, STOLEN_SHARE * length);
        let asked = if caesura { FULL } else { half.max(QUICK.0) };
        let unasked = if rest >= QUICK.0 { rest } else { rest + STOLEN.min(STOLEN_SHARE * length) };
        let kind = if rest >= QUICK.0 || marked || (!slurred && unasked >= QUICK.0) {
            Kind::Unasked
        } else if slurred {
            if half >= QUICK.0 { Kind::InSlur } else { Kind::SnatchedInSlur }
        } else if rest + CLIPPED_SHARE * length >= QUICK.0 {
            Kind::Clipped
        } else {
            Kind::Snatched
        };
        let gap = if kind == Kind::Unasked && !marked { unasked } else { asked };
        let at = next.map_or(read.note.end(), |n| n.note.at);
        // Half of a short note's length is silent as it is.
        let stolen = if short { 0.0 } else { (gap - rest).clamp(0.0, end - reached) };
        let after = if next.is_none_or(|n| length > 1.1 * (n.to - n.from)) { 0 } else { NOT_LONGER }
            + if length < HURRIED { AFTER_HURRIED } else { 0 };
        let step = Step {
            takes: share * takes(sheet, breath, reached, end, 0.0),
            saves: takes(sheet, breath, end - stolen, end, 0.0),
            cost: cost(sheet, kind, at, after),
            fills: fills(gap),
        };
        let spot = Spot { step, kind, bound: slurred, at, note: *index, from: reached, to: end };
        spots.push(spot);
        if kind == Kind::Unasked && !marked && fills(asked) > fills(unasked) + 0.01 {
            let cost = cost(sheet, Kind::Longer, at, after);
            let step = Step { takes: 0.0, saves: 0.0, cost, fills: fills(asked) };
            spots.push(Spot { step, kind: Kind::Longer, from: end, ..spot });
        }
    }
    spots
}

/// The places inside a long note, on its beats; up to where the last of them reaches.
fn inside(
    sheet: &Sheet<'_>,
    breath: &Breath,
    index: usize,
    end: f64,
    share: f64,
    spots: &mut Vec<Spot>,
) -> f64 {
    let (read, timeline) = (&sheet.notes[index], sheet.table.timeline);
    let mut reached = read.from;
    if end - read.from < 2.0 * FULL {
        return reached;
    }
    let mut bar = timeline.bar_index(read.note.at);
    while let Some(here) = timeline.bars.get(bar).filter(|b| b.at < read.note.end()) {
        for beat in 0..i64::from(here.metre.beats) {
            let at = here.at + here.metre.beat() * beat;
            let time = sheet.table.clock.seconds(at).0;
            if at >= here.at + here.length || time - reached < FULL || end - time < FULL {
                continue;
            }
            let stolen = FULL.min(STOLEN_SHARE * (time - read.from)).min(time - reached);
            let step = Step {
                takes: share * takes(sheet, breath, reached, time, 0.0),
                saves: share * takes(sheet, breath, time - stolen, time, 0.0),
                cost: cost(sheet, Kind::InNote, at, 0),
                fills: fills(stolen),
            };
            spots.push(Spot {
                step,
                kind: Kind::InNote,
                bound: true,
                at,
                note: index,
                from: reached,
                to: time,
            });
            reached = time;
        }
        bar += 1;
    }
    reached
}

fn cost(sheet: &Sheet<'_>, kind: Kind, at: Beats, after: u32) -> u32 {
    if kind == Kind::Unasked {
        return 0;
    }
    let timeline = sheet.table.timeline;
    let barline = timeline.bars[timeline.bar_index(at)].at == at;
    kind.cost() + if barline { 0 } else { OFF_BARLINE } + after
}

/// Adds what it costs to breathe where the harmony goes on: where the lowest part does not go to another note of the scale.
pub(crate) fn hear_harmony(bass: &Bass, spots: &mut [Spot]) {
    for spot in spots.iter_mut().filter(|s| s.kind != Kind::Unasked) {
        if !bass.moves(spot.at) {
            spot.step.cost += SAME_HARMONY;
        }
    }
}

/// The lowest note of all parts, from place to place.
#[derive(Debug, Default)]
pub(crate) struct Bass {
    /// Places in quarters, rising, each with the lowest key that sounds from there on.
    steps: Vec<(f64, Option<i16>)>,
}

impl Bass {
    /// Of everybody who plays. Places that differ by less than this many quarters are one.
    const CLOSE: f64 = 1e-6;

    /// Sweeps over all notes once.
    pub(crate) fn of(table: &Table<'_>) -> Self {
        let mut events: Vec<(f64, bool, u8)> = Vec::new();
        for note in table.desks.iter().flat_map(|d| &d.part.content.notes) {
            let Some(key) = note.pitch().and_then(|p| u8::try_from(p.key).ok()) else { continue };
            let from = note.at.quarters();
            events.push((from, true, key));
            events.push((from + note.length.quarters(), false, key));
        }
        // A note without length begins before it ends.
        events.sort_unstable_by(|a, b| a.0.total_cmp(&b.0).then(b.1.cmp(&a.1)));
        let mut sounding = [0u32; 256];
        let mut steps: Vec<(f64, Option<i16>)> = Vec::new();
        for together in events.chunk_by(|a, b| b.0 - a.0 < Self::CLOSE) {
            for (_, begins, key) in together {
                let count = &mut sounding[usize::from(*key)];
                *count = if *begins { *count + 1 } else { count.saturating_sub(1) };
            }
            let low = sounding.iter().position(|n| *n > 0).and_then(|key| i16::try_from(key).ok());
            steps.push((together[0].0, low));
        }
        Self { steps }
    }

    /// Does it go to another note of the scale here? The harmony then most likely changes.
    fn moves(&self, at: Beats) -> bool {
        let here = at.quarters();
        let next = self.steps.partition_point(|s| s.0 < here - Self::CLOSE);
        let Some((_, after)) = self.steps.get(next).filter(|s| s.0 < here + Self::CLOSE) else {
            return false;
        };
        let before = next.checked_sub(1).and_then(|b| self.steps[b].1);
        before.zip(*after).is_some_and(|(a, b)| a.rem_euclid(12) != b.rem_euclid(12))
    }
}
