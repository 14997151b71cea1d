//! What the parts of a patch card may not do together.

use crate::read_card::Places;
use crate::toml::File;
use crate::{ArticulationCard, CallKind, KeyMode, PatchCard};
use std::ops::Range;

/// Adds a complaint for every conflict; each articulation and each call is complained about once a kind.
pub(crate) fn together(file: &mut File<'_>, card: &PatchCard, places: &[Places]) {
    let all = &card.articulations;
    for (i, place) in places.iter().enumerate() {
        let Some((one, before)) = all.get(i).zip(all.get(..i)) else { break };
        if before.iter().any(|b| b.name == one.name && b.colour == one.colour) {
            let name = label(one);
            file.error(
                place.name.clone(),
                format!("`{name}` stands twice"),
                "give one of them a colour, or another name",
            );
        }
        if !place.called
            && let Some((other, _)) = before.iter().zip(places).find(|(_, p)| !p.called)
        {
            let message = format!("`{}` and `{}` both have no call", label(other), label(one));
            file.error(
                place.name.clone(),
                message,
                "at most one sounds when nothing is called: give the other a call",
            );
        }
        for (k, (call, at)) in one.calls.iter().zip(&place.calls).enumerate() {
            if one.calls.iter().take(k).any(|c| same(c.kind, call.kind)) {
                file.error(
                    at.clone(),
                    format!("`{}` needs one call twice", label(one)),
                    "remove one of them",
                );
            }
            conflict(file, before, one, call.kind, at);
            alone(file, card, one, call.kind, at);
        }
    }
    let latching = all.iter().any(|a| a.calls.iter().any(|c| latches(c.kind)));
    if let (true, Some((plain, place))) = (latching, all.iter().zip(places).find(|(_, p)| !p.called)) {
        file.warn(
            place.name.clone(),
            format!("`{}` has no call, and cannot come back once another was latched", label(plain)),
            "give it a call of its own",
        );
    }
    let channels = |a: &ArticulationCard| a.calls.iter().any(|c| matches!(c.kind, CallKind::Channel { .. }));
    let others = all.iter().any(|a| !channels(a));
    for (one, place) in all.iter().zip(places).filter(|_| others) {
        for (call, at) in one.calls.iter().zip(&place.calls) {
            if call.kind == (CallKind::Channel { channel: card.channel }) {
                let message =
                    format!("channel {} calls `{}` and is the card's own", card.channel, label(one));
                file.warn(
                    at.clone(),
                    message,
                    "set `channel` to one that calls nothing, or the others cannot sound",
                );
            }
        }
    }
}

/// Its name, with its colour.
fn label(one: &ArticulationCard) -> String {
    match one.colour {
        Some(colour) => format!("{} {}", one.name, colour.word()),
        None => one.name.clone(),
    }
}

/// The same call as an earlier articulation has, or velocities that overlap with it.
fn conflict(
    file: &mut File<'_>,
    before: &[ArticulationCard],
    one: &ArticulationCard,
    call: CallKind,
    at: &Range<usize>,
) {
    let mine = label(one);
    for other in before {
        for theirs in &other.calls {
            let (message, help) = match (theirs.kind, call) {
                (CallKind::Velocity { low: a, high: b }, CallKind::Velocity { low: c, high: d })
                    if a <= d && c <= b =>
                {
                    (
                        format!("the velocities of `{}` and `{mine}` overlap", label(other)),
                        "let the ranges stand side by side",
                    )
                }
                (a, b) if same(a, b) => {
                    (format!("`{}` and `{mine}` share a call", label(other)), "give each a call of its own")
                }
                _ => continue,
            };
            file.error(at.clone(), message, help);
            return;
        }
    }
}

/// A call that also sounds, or also carries the dynamics.
fn alone(file: &mut File<'_>, card: &PatchCard, one: &ArticulationCard, call: CallKind, at: &Range<usize>) {
    let name = label(one);
    let all = &card.articulations;
    match call {
        CallKind::Key { key, .. } => {
            let sent = |(low, high): &(u8, u8)| {
                let sounding = i16::from(key) - card.transpose;
                (i16::from(*low)..=i16::from(*high)).contains(&sounding)
            };
            let mut ranges = card.sounding.iter().chain(all.iter().filter_map(|a| a.sounding.as_ref()));
            if let Some((stroke, _)) = card.strokes.iter().find(|s| s.1 == key) {
                file.warn(
                    at.clone(),
                    format!("key {key} calls `{name}` and strikes `{stroke}` as well"),
                    "move one of them, or that stroke cannot be sent",
                );
            } else if ranges.any(sent) {
                file.warn(
                    at.clone(),
                    format!("key {key} calls `{name}` and lies inside `sounding`"),
                    "move the call, or narrow `sounding`: notes of that key cannot be sent",
                );
            } else if card.sounding.is_none() && card.strokes.is_empty() {
                let hard =
                    card.instrument.as_deref().and_then(ripieno_instruments::by_id).and_then(|i| i.hard);
                if hard.is_some_and(|range| range.holds(i16::from(key) - card.transpose)) {
                    let message = format!("key {key} calls `{name}` and lies within the instrument's range");
                    file.warn(
                        at.clone(),
                        message,
                        "write `sounding`, the keys that sound: sounding = [\"D3\", \"Bb6\"]",
                    );
                }
            }
        }
        CallKind::Controller { number, .. } => {
            let mut own =
                std::iter::once(&card.dynamics).chain(all.iter().filter_map(|a| a.dynamics.as_ref()));
            if own.any(|d| d.controller == Some(number) || d.expression == Some(number)) {
                let message = format!("controller {number} calls `{name}` and carries the dynamics as well");
                file.error(at.clone(), message, "use another controller for one of them");
            }
        }
        _ => {}
    }
}

fn latches(call: CallKind) -> bool {
    matches!(
        call,
        CallKind::Key { mode: KeyMode::Latch, .. } | CallKind::Controller { .. } | CallKind::Program { .. }
    )
}

fn same(x: CallKind, y: CallKind) -> bool {
    match (x, y) {
        (CallKind::Key { key: a, .. }, CallKind::Key { key: b, .. }) => a == b,
        (CallKind::Program { program: a, bank: p }, CallKind::Program { program: b, bank: q }) => {
            a == b && (p == q || p.is_none() || q.is_none())
        }
        (CallKind::Velocity { .. }, _) | (_, CallKind::Velocity { .. }) => false,
        (a, b) => a == b,
    }
}
