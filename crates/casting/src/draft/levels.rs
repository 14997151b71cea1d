//! A track's dynamics in one passage, as the marks of a cell.

use super::runs::place;
use crate::dynamics::{in_force, neighbour, settled};
use ripieno_music::{Direction, DirectionKind, Dynamic, Timeline};
use ripieno_plan::DynamicStep;
use ripieno_units::Beats;

/// More marks than these are no longer a shorthand.
const MOST_STEPS: usize = 8;

/// The dynamics between two barlines as steps of a cell; `None` where the shorthand cannot say them, or nothing is known of
/// the level at the start. `directions` are in order.
pub(super) fn steps(
    directions: &[Direction],
    from: Beats,
    to: Beats,
    timeline: &Timeline,
) -> Option<Vec<DynamicStep>> {
    let marked =
        |d: &Direction| d.at == from && matches!(d.kind, DirectionKind::Dynamic(m) if m.level().is_some());
    let (level, hairpin) = in_force(directions, from);
    let mut steps: Vec<DynamicStep> = Vec::new();
    let mut level = level.unwrap_or(Dynamic::Mf);
    // Under way: louder, until when.
    let mut open: Option<(bool, Beats)> = None;
    let mut last = from;
    if !directions.iter().any(marked) {
        in_force(directions, from).0?;
        steps.push(DynamicStep { hairpin: None, dynamic: level, at: None });
        if let Some(Direction { kind: DirectionKind::Hairpin { louder, to, niente }, .. }) = hairpin {
            if niente {
                return None;
            }
            open = Some((louder, to));
        }
    }
    let at = |at: Beats| if at == from { Some(None) } else { Some(Some(place(timeline, at)?)) };
    for direction in directions.iter().filter(|d| d.at >= from && d.at < to) {
        if let Some((louder, end)) = open
            && end < direction.at
        {
            level = neighbour(level, louder);
            steps.push(DynamicStep { hairpin: Some(louder), dynamic: level, at: at(end)? });
            (open, last) = (None, end);
        }
        match direction.kind {
            DirectionKind::Dynamic(Dynamic::Niente) => return None,
            DirectionKind::Dynamic(dynamic) => {
                let hairpin = match open.take() {
                    Some((louder, end)) if end == direction.at && dynamic.level().is_some() => Some(louder),
                    Some(_) => return None,
                    None => None,
                };
                steps.push(DynamicStep { hairpin, dynamic, at: at(direction.at)? });
                if dynamic.level().is_some() {
                    level = settled(dynamic);
                }
                last = direction.at;
            }
            DirectionKind::Hairpin { louder, to, niente } => {
                if niente || to <= direction.at {
                    return None;
                }
                if let Some((up, end)) = open {
                    if end != direction.at {
                        return None;
                    }
                    level = neighbour(level, up);
                    steps.push(DynamicStep { hairpin: Some(up), dynamic: level, at: at(end)? });
                } else if last != direction.at {
                    steps.push(DynamicStep { hairpin: None, dynamic: level, at: at(direction.at)? });
                }
                (open, last) = (Some((louder, to)), direction.at);
            }
            _ => {}
        }
    }
    if let Some((louder, end)) = open {
        let reached = directions.iter().find_map(|d| match d.kind {
            DirectionKind::Dynamic(m) if d.at == end && m.level().is_some() => Some(m),
            _ => None,
        });
        let dynamic = reached.unwrap_or_else(|| neighbour(level, louder));
        match end.cmp(&to) {
            std::cmp::Ordering::Less => {
                steps.push(DynamicStep { hairpin: Some(louder), dynamic, at: at(end)? });
            }
            std::cmp::Ordering::Equal => steps.push(DynamicStep { hairpin: Some(louder), dynamic, at: None }),
            std::cmp::Ordering::Greater => return None,
        }
    }
    (!steps.is_empty() && steps.len() <= MOST_STEPS).then_some(steps)
}
