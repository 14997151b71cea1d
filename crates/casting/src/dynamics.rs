//! Dynamics: those of a cell laid out over its passage, and those of a source that are in force at a place.

use ripieno_music::{Direction, DirectionKind, Dynamic, Timeline};
use ripieno_plan::{DynamicStep, PlaceWord};
use ripieno_units::Beats;

/// The steps of a cell as directions over `from..to`: the first at the start, the last at the end, the others evenly
/// between, unless they say where. Places that the passage does not have are given back.
pub(crate) fn laid_out(
    steps: &[DynamicStep],
    from: Beats,
    to: Beats,
    timeline: &Timeline,
) -> (Vec<Direction>, Vec<PlaceWord>) {
    let mut steps = steps.to_vec();
    for (i, step) in steps.iter_mut().enumerate() {
        // Into nothing is always a diminuendo, unless the music begins so.
        if step.dynamic == Dynamic::Niente && step.hairpin.is_none() && i > 0 {
            step.hairpin = Some(false);
        }
    }
    if let [only] = &mut steps[..]
        && only.dynamic == Dynamic::Niente
        && only.hairpin.is_none()
    {
        only.hairpin = Some(false);
    }
    let (places, missing) = places(&steps, from, to, timeline);
    let mut directions = Vec::new();
    let mut put =
        |at: Beats, kind: DirectionKind| directions.push(Direction { at, staff: None, voice: None, kind });
    for (i, step) in steps.iter().enumerate() {
        let at = places[i];
        if let Some(louder) = step.hairpin {
            let before = i.checked_sub(1);
            let start = before.map_or(from, |b| places[b]);
            let niente = step.dynamic == Dynamic::Niente
                || before.is_some_and(|b| steps[b].dynamic == Dynamic::Niente);
            if start < at {
                put(start, DirectionKind::Hairpin { louder, to: at, niente });
            }
        }
        put(at, DirectionKind::Dynamic(step.dynamic));
    }
    directions.sort_by_key(|d| d.at);
    (directions, missing)
}

fn places(
    steps: &[DynamicStep],
    from: Beats,
    to: Beats,
    timeline: &Timeline,
) -> (Vec<Beats>, Vec<PlaceWord>) {
    let mut missing = Vec::new();
    let mut fixed: Vec<Option<Beats>> = steps
        .iter()
        .map(|s| {
            let word = s.at?;
            match timeline.at(word.bar, word.beat.unwrap_or(1.0)) {
                Some(at) if at >= from && at <= to => Some(at),
                _ => {
                    missing.push(word);
                    None
                }
            }
        })
        .collect();
    let n = steps.len();
    if let Some(first) = steps.first()
        && fixed[0].is_none()
    {
        fixed[0] = Some(if n == 1 && first.hairpin.is_some() { to } else { from });
    }
    // A last step that a hairpin leads to stands at the end; one that comes at once holds for a share of the passage.
    let last_is_reached = steps.last().is_some_and(|s| s.hairpin.is_some());
    if n > 1 && last_is_reached && fixed[n - 1].is_none() {
        fixed[n - 1] = Some(to);
    }
    let mut i = 0;
    while i < n {
        if fixed[i].is_some() {
            i += 1;
            continue;
        }
        let next = (i..n).find(|j| fixed[*j].is_some());
        let low = i.checked_sub(1).and_then(|b| fixed[b]).unwrap_or(from);
        let (high, until) = next.map_or((to, n), |j| (fixed[j].unwrap_or(to), j));
        let parts = (until - i + 1) as i64;
        for (k, slot) in fixed[i..until].iter_mut().enumerate() {
            *slot = Some(low + (high - low).scaled(k as i64 + 1, parts));
        }
        i = until;
    }
    (fixed.into_iter().map(|f| f.unwrap_or(from)).collect(), missing)
}

/// The level that is in force just before `at`, and the hairpin that is under way there.
pub(crate) fn in_force(directions: &[Direction], at: Beats) -> (Option<Dynamic>, Option<Direction>) {
    let mut level = None;
    let mut hairpin: Option<(bool, Beats)> = None;
    let mut open = None;
    for direction in directions.iter().take_while(|d| d.at < at) {
        match direction.kind {
            DirectionKind::Dynamic(dynamic) if dynamic.level().is_some() => {
                level = Some(settled(dynamic));
                hairpin = None;
                open = None;
            }
            DirectionKind::Hairpin { louder, to, niente } => {
                if let Some((up, _)) = hairpin {
                    level = level.map(|l| neighbour(l, up));
                }
                hairpin = Some((louder, to));
                open = (to > at).then(|| Direction {
                    at,
                    kind: DirectionKind::Hairpin { louder, to, niente },
                    ..direction.clone()
                });
            }
            _ => {}
        }
    }
    // A hairpin that has ended without a mark has led one step on.
    if let (Some((louder, to)), Some(dynamic)) = (hairpin, level)
        && to <= at
    {
        level = Some(neighbour(dynamic, louder));
    }
    (level, open)
}

/// What holds after the mark's attack.
pub(crate) fn settled(dynamic: Dynamic) -> Dynamic {
    match dynamic {
        Dynamic::Fp | Dynamic::Sfp => Dynamic::P,
        Dynamic::Sfpp => Dynamic::Pp,
        Dynamic::Pf => Dynamic::F,
        other => other,
    }
}

pub(crate) fn neighbour(dynamic: Dynamic, louder: bool) -> Dynamic {
    let Some(i) = Dynamic::LADDER.iter().position(|d| *d == dynamic) else { return dynamic };
    let next = if louder { (i + 1).min(Dynamic::LADDER.len() - 1) } else { i.saturating_sub(1) };
    Dynamic::LADDER[next]
}

#[cfg(test)]
mod tests {
    use super::*;
    use ripieno_music::Metre;

    fn step(hairpin: Option<bool>, dynamic: Dynamic, bar: Option<i32>) -> DynamicStep {
        DynamicStep { hairpin, dynamic, at: bar.map(|bar| PlaceWord { bar, beat: None }) }
    }

    fn lay(steps: &[DynamicStep]) -> Vec<(Beats, DirectionKind)> {
        let timeline = Timeline::regular(8, Metre { beats: 4, unit: 4 }, 100.0);
        let (directions, missing) = laid_out(steps, Beats::ZERO, Beats::whole(32), &timeline);
        assert!(missing.is_empty());
        directions.into_iter().map(|d| (d.at, d.kind)).collect()
    }

    #[test]
    fn from_start_to_end_and_by_bar() {
        use Dynamic as D;
        let hairpin = |louder, to| DirectionKind::Hairpin { louder, to: Beats::whole(to), niente: false };
        let got =
            lay(&[step(None, D::P, None), step(Some(true), D::F, Some(5)), step(Some(false), D::P, None)]);
        assert_eq!(
            got,
            [
                (Beats::ZERO, DirectionKind::Dynamic(D::P)),
                (Beats::ZERO, hairpin(true, 16)),
                (Beats::whole(16), DirectionKind::Dynamic(D::F)),
                (Beats::whole(16), hairpin(false, 32)),
                (Beats::whole(32), DirectionKind::Dynamic(D::P)),
            ]
        );
    }

    #[test]
    fn niente_dies_away_after_the_last_mark() {
        use Dynamic as D;
        // p < f (bar 5) > p, niente
        let got = lay(&[
            step(None, D::P, None),
            step(Some(true), D::F, Some(5)),
            step(Some(false), D::P, None),
            step(None, D::Niente, None),
        ]);
        assert_eq!(got.last(), Some(&(Beats::whole(32), DirectionKind::Dynamic(D::Niente))));
        assert!(got.contains(&(Beats::whole(24), DirectionKind::Dynamic(D::P))));
        assert!(got.contains(&(
            Beats::whole(24),
            DirectionKind::Hairpin { louder: false, to: Beats::whole(32), niente: true }
        )));
    }

    #[test]
    fn what_holds_in_the_source() {
        let at = |at, kind| Direction { at: Beats::whole(at), staff: None, voice: None, kind };
        let source = [
            at(0, DirectionKind::Dynamic(Dynamic::P)),
            at(4, DirectionKind::Hairpin { louder: true, to: Beats::whole(8), niente: false }),
        ];
        assert_eq!(in_force(&source, Beats::whole(2)), (Some(Dynamic::P), None));
        assert_eq!(in_force(&source, Beats::whole(9)).0, Some(Dynamic::Mp));
        let (level, hairpin) = in_force(&source, Beats::whole(6));
        assert_eq!(level, Some(Dynamic::P));
        assert_eq!(hairpin.map(|h| h.at), Some(Beats::whole(6)));
    }
}
