//! What stands around the notes of a part: words, dynamics, pedals, curves.

use crate::axis::{InForce, contend};
use crate::casting::{Casting, note};
use crate::cell::Segment;
use crate::dynamics;
use crate::lines::about_players;
use crate::marks::on_the_notes;
use crate::realise::Played;
use ripieno_music::{
    Content, Control, ControlKind, Direction, DirectionKind, Dynamic, Finding, Playing, Severity,
};
use ripieno_plan::{CellMark, DynamicStep};
use ripieno_units::Beats;
use std::collections::BTreeMap;

/// Directions and controls around the notes.
pub(crate) fn around(
    casting: &Casting,
    chair: &str,
    played: &[Played],
    content: &mut Content,
    findings: &mut Vec<Finding>,
) {
    let mut words = InForce::default();
    let mut level_set = false;
    let mut curves: BTreeMap<ControlKind, i16> = BTreeMap::new();
    let mut leader: Option<&Segment> = None;
    let mut cut: Option<Cut> = None;
    for (i, one) in played.iter().enumerate() {
        let segment = one.segment;
        // Of several divisions at once the first has the word.
        let led = played[..i].iter().chain(&played[i + 1..]).any(|p| {
            let other = p.segment;
            other.division < segment.division && other.from < segment.to && segment.from < other.to
        });
        if led {
            continue;
        }
        let own_signs = segment.own_signs(chair);
        let from = if segment.from < one.entry { segment.from } else { one.entry };
        let mut ends =
            played.iter().find(|p| p.segment.continues(segment)).map_or(segment.to, |next| next.segment.to);
        if own_signs && segment.divisions == 1 {
            for next in &played[i + 1..] {
                if next.segment.from == ends
                    && next.segment.own_signs(chair)
                    && !sets_level(&steps_of(next.segment))
                {
                    ends = next.segment.to;
                }
            }
        }
        let own: Vec<&Playing> = segment.words().filter(|w| !on_the_notes(w)).collect();
        let heard = |word: &Playing| {
            *word == Playing::Ord
                || !segment.words().any(|o| contend(o, word)) && (own_signs || !about_players(word))
        };
        // Words.
        let mut wanted = InForce::default();
        for direction in one.strand.directions.iter().take_while(|d| d.at < from) {
            if let DirectionKind::Playing(word) = &direction.kind {
                wanted.hear(word);
            }
        }
        wanted.retain(heard);
        own.iter().for_each(|w| wanted.hear(w));
        let divided = if segment.divisions > 1 {
            Some(segment.divisions)
        } else {
            let in_use = || one.notes.iter().map(|n| n.voice).max().map_or(1, usize::from);
            segment.key.divided.map(|n| if n > 0 { usize::from(n) } else { in_use() })
        };
        if let Some(n) = divided {
            wanted.hear(&Playing::Div(u8::try_from(n).unwrap_or(u8::MAX)));
        }
        let put = |content: &mut Content, at: Beats, kind: DirectionKind| {
            content.directions.push(Direction { at, staff: None, voice: None, kind });
        };
        for word in words.towards(&wanted) {
            put(content, one.entry, DirectionKind::Playing(word));
        }
        words = wanted;
        // Level.
        let steps = steps_of(segment);
        let replaced = sets_level(&steps);
        // From its own line to another's with its own signs, or back, a chair reads on.
        let reads_on = leader
            .is_some_and(|l| segment.continues(l) || own_signs && l.own_signs(chair) && l.to == segment.from);
        let goes_on = reads_on && leader.is_some_and(|l| !sets_level(&steps_of(l)));
        let before = content.directions.len();
        let on =
            if replaced { None } else { cut.take().and_then(|cut| cut.carried_on(one, from, ends, content)) };
        if !replaced && !goes_on && on.is_none() {
            source_level(one, from, ends, &mut level_set, content);
        }
        if !steps.is_empty() {
            let same_cell = leader.is_some_and(|l| l.passage == segment.passage && steps_of(l) == steps);
            cell_dynamics(casting, chair, one, &steps, same_cell, content, findings);
            level_set |= replaced;
        }
        // What stands around the source's notes.
        let mut arrives = false;
        for direction in
            one.strand.directions.iter().skip_while(|d| d.at < from).take_while(|d| d.at < segment.to)
        {
            let (mut direction, mut again) = (direction.clone(), Vec::new());
            match &mut direction.kind {
                DirectionKind::Playing(word) if !heard(word) => continue,
                // The source's `ord.` is for what the source had; the cell's own words hold on.
                DirectionKind::Playing(Playing::Ord) => {
                    words.hear(&Playing::Ord);
                    let mut held = words.clone();
                    own.iter().for_each(|w| held.hear(w));
                    again = words.towards(&held);
                    words = held;
                }
                DirectionKind::Playing(word) => words.hear(word),
                DirectionKind::Dynamic(_) | DirectionKind::Hairpin { .. } if replaced => continue,
                DirectionKind::Dynamic(_) => level_set = true,
                DirectionKind::Hairpin { to, .. } => {
                    *to = (*to).min(ends);
                    arrives |= *to == segment.to && ends == segment.to;
                }
                DirectionKind::Pedal { to } => *to = (*to).min(ends),
                DirectionKind::Words(_) => {}
            }
            if !segment.own || segment.divisions > 1 || segment.key.divided.is_some() {
                (direction.voice, direction.staff) = (None, None);
            }
            let at = direction.at;
            content.directions.push(direction);
            for word in again {
                put(content, at, DirectionKind::Playing(word));
            }
        }
        if arrives {
            // Where a hairpin ends with the passage, the mark that it leads to belongs to it.
            let mark = |d: &&Direction| d.at == segment.to && matches!(d.kind, DirectionKind::Dynamic(_));
            content.directions.extend(one.strand.directions.iter().find(mark).cloned());
        }
        controls(one, from, reads_on, &mut curves, content);
        cut = if replaced { None } else { on.flatten().or_else(|| Cut::of(one, ends, before, content)) };
        leader = Some(segment);
    }
}

/// A hairpin that is left where a chair changes its source, though its source's goes on.
struct Cut {
    /// Index of the direction.
    direction: usize,
    /// Where it is left.
    at: Beats,
    /// What its source has there.
    level: Option<Dynamic>,
    goes_on: DirectionKind,
}

impl Cut {
    /// The hairpin that ends at `ends` for want of more source: among the directions from the index `first` on.
    fn of(one: &Played, ends: Beats, first: usize, content: &Content) -> Option<Self> {
        let (level, hairpin) = dynamics::in_force(&one.strand.directions, ends);
        let goes_on = hairpin?.kind;
        let left = |d: &Direction| matches!(d.kind, DirectionKind::Hairpin { to, .. } if to == ends);
        let direction = first + content.directions[first..].iter().rposition(left)?;
        Some(Self { direction, at: ends, level, goes_on })
    }

    /// One hairpin, if the next source has the same one under way from the same level: then its level is not said again.
    /// Within is what is left of it where that source ends too.
    fn carried_on(
        self,
        one: &Played,
        from: Beats,
        ends: Beats,
        content: &mut Content,
    ) -> Option<Option<Self>> {
        let (level, hairpin) = dynamics::in_force(&one.strand.directions, from);
        let mark = |d: &Direction| d.at == from && matches!(d.kind, DirectionKind::Dynamic(_));
        let marked = one.strand.directions.iter().chain(&content.directions).any(mark);
        if self.at != from
            || marked
            || level != self.level
            || hairpin.map(|h| h.kind) != Some(self.goes_on.clone())
        {
            return None;
        }
        let DirectionKind::Hairpin { to: whole, .. } = self.goes_on else { return None };
        if let Some(Direction { kind: DirectionKind::Hairpin { to, .. }, .. }) =
            content.directions.get_mut(self.direction)
        {
            *to = whole.min(ends);
        }
        Some((whole > ends).then_some(Self { at: ends, ..self }))
    }
}

fn steps_of(segment: &Segment) -> Vec<DynamicStep> {
    segment
        .marks
        .iter()
        .filter_map(|m| if let CellMark::Dynamics(steps) = m { Some(steps.iter().copied()) } else { None })
        .flatten()
        .collect()
}

/// Whether dynamics of a cell replace those of the source: mere accents are added to them.
fn sets_level(steps: &[DynamicStep]) -> bool {
    steps.iter().any(|s| s.dynamic.level().is_some())
}

/// The cell's dynamics, as far as they fall to this segment.
fn cell_dynamics(
    casting: &Casting,
    chair: &str,
    one: &Played,
    steps: &[DynamicStep],
    same_cell: bool,
    content: &mut Content,
    findings: &mut Vec<Finding>,
) {
    let segment = one.segment;
    let Some(window) = casting.windows[segment.passage] else { return };
    let start = if same_cell { window.start } else { window.start.min(one.entry) };
    let (directions, missing) = dynamics::laid_out(steps, start, window.end, &casting.score.timeline);
    for word in missing {
        let finding = casting.finding(
            "dynamic-place",
            Severity::Advice,
            chair,
            window.start,
            format!("A dynamic is placed at bar {}, outside its passage.", word.bar),
            "It is placed evenly between its neighbours; give a bar of the passage.".into(),
        );
        note(findings, finding);
    }
    let last = segment.to >= window.end;
    let at = if same_cell { segment.from } else { one.entry };
    if !same_cell
        && sets_level(steps)
        && directions.first().is_none_or(|d| !matches!(d.kind, DirectionKind::Dynamic(_)) || d.at > at)
    {
        // A crescendo from what the source has.
        let (level, _) = dynamics::in_force(&one.strand.directions, at);
        let early = dynamics::in_force(&directions, at).0.or(level);
        let kind = DirectionKind::Dynamic(early.unwrap_or(Dynamic::Mf));
        content.directions.push(Direction { at, staff: None, voice: None, kind });
    }
    for direction in &directions {
        let inside = direction.at >= at && (direction.at < segment.to || last);
        if inside {
            content.directions.push(direction.clone());
        } else if !same_cell
            && direction.at < at
            && let DirectionKind::Hairpin { to, .. } = direction.kind
            && to > at
        {
            content.directions.push(Direction { at, ..direction.clone() });
        }
    }
}

/// Takes over the source's level where the chair enters.
fn source_level(one: &Played, from: Beats, ends: Beats, level_set: &mut bool, content: &mut Content) {
    let (level, hairpin) = dynamics::in_force(&one.strand.directions, from);
    let marked = one
        .strand
        .directions
        .iter()
        .any(|d| d.at == one.entry && matches!(d.kind, DirectionKind::Dynamic(m) if m.level().is_some()));
    let mut put = |kind| {
        content.directions.push(Direction { at: one.entry, staff: None, voice: None, kind });
    };
    if !marked {
        match level {
            Some(level) => {
                put(DirectionKind::Dynamic(level));
                *level_set = true;
            }
            // Nothing is known of the source: as usual again.
            None if *level_set => put(DirectionKind::Dynamic(Dynamic::Mf)),
            None => {}
        }
    }
    if let Some(Direction { kind: DirectionKind::Hairpin { louder, to, niente }, .. }) = hairpin {
        put(DirectionKind::Hairpin { louder, to: to.min(ends), niente });
    }
}

/// The source's curves, with their state where the chair enters, and at rest where it leaves a source.
fn controls(
    one: &Played,
    from: Beats,
    goes_on: bool,
    curves: &mut BTreeMap<ControlKind, i16>,
    content: &mut Content,
) {
    let source = &one.strand.controls;
    if !goes_on {
        let mut state: BTreeMap<ControlKind, i16> = BTreeMap::new();
        for control in source.iter().take_while(|c| c.at < from) {
            state.insert(control.kind, control.value);
        }
        for kind in curves.keys().filter(|k| !state.contains_key(k)) {
            if let Some(value) = at_rest(*kind) {
                content.controls.push(Control { at: one.entry, kind: *kind, value });
            }
        }
        for (kind, value) in &state {
            if curves.get(kind) != Some(value) {
                content.controls.push(Control { at: one.entry, kind: *kind, value: *value });
            }
        }
        *curves = state;
    }
    for control in source.iter().filter(|c| c.at >= from && c.at < one.segment.to) {
        curves.insert(control.kind, control.value);
        content.controls.push(*control);
    }
}

/// Values after a reset of all controllers (MIDI recommended practice RP-015); `None`: left as it is.
fn at_rest(kind: ControlKind) -> Option<i16> {
    match kind {
        ControlKind::Bend | ControlKind::Pressure | ControlKind::Controller(1 | 64..=67) => Some(0),
        ControlKind::Controller(11) => Some(127),
        ControlKind::Controller(_) | ControlKind::Program => None,
    }
}
