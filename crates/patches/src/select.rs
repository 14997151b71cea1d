//! Which card, and which of its articulations, plays a gesture.

use ripieno_music::{Colour, Gesture};
use ripieno_plan::{ArticulationCard, CallKind, PatchCard};

/// Rule: the card lacks the articulation or the colour.
pub const FALL_BACK: &str = "patch-fall-back";
/// Rule: the key is not one that sounds.
pub const KEY: &str = "patch-key";
/// Rule: two at once.
pub const TWO: &str = "patch-two-at-once";
/// Rule: the articulation without call cannot come back.
pub const NO_RETURN: &str = "patch-no-return";
/// Rule: the delay is longer than the note before.
pub const LATE: &str = "patch-late";
/// Rule: repeated quicker than the patch can.
pub const REPEAT: &str = "patch-repeat";
/// Rule: the file alone leads to another articulation than was meant.
pub const OTHER: &str = "patch-other";

/// All of them.
pub const RULES: [&str; 7] = [FALL_BACK, KEY, TWO, NO_RETURN, LATE, REPEAT, OTHER];

/// An articulation of a card, and whether it is what was asked for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Choice {
    /// Index in the card.
    pub index: usize,
    /// It is not what was asked for.
    pub fall_back: bool,
}

/// Finds an articulation: as asked; without the colour; those of `instead` in order; the first.
pub fn articulation(card: &PatchCard, name: &str, colour: Option<Colour>) -> Choice {
    if let Some(index) = exact(card, name, colour) {
        return Choice { index, fall_back: false };
    }
    let bare = exact(card, name, None).filter(|_| colour.is_some());
    let instead =
        || card.instead.iter().find_map(|n| exact(card, n, colour).or_else(|| exact(card, n, None)));
    Choice { index: bare.or_else(instead).unwrap_or(0), fall_back: true }
}

fn exact(card: &PatchCard, name: &str, colour: Option<Colour>) -> Option<usize> {
    card.articulations.iter().position(|a| a.name == name && a.colour == colour)
}

/// Has the card this articulation, in any colour that serves?
pub fn has(card: &PatchCard, name: &str, colour: Option<Colour>) -> bool {
    exact(card, name, colour).is_some() || exact(card, name, None).is_some()
}

/// The cards that play a gesture: the first that has its articulation and colour, or its articulation, or the first of
/// all; and every layered one.
pub fn cards(cards: &[PatchCard], gesture: &Gesture) -> Vec<usize> {
    let (name, colour) = (gesture.articulation.as_str(), gesture.colour);
    let plain = || (0..cards.len()).filter(|i| !cards[*i].layered);
    let one = plain()
        .find(|i| exact(&cards[*i], name, colour).is_some())
        .or_else(|| plain().find(|i| has(&cards[*i], name, colour)))
        .or_else(|| plain().next());
    let mut chosen: Vec<usize> = (0..cards.len()).filter(|i| cards[*i].layered).collect();
    chosen.extend(one);
    chosen.sort_unstable();
    chosen
}

/// Is one of its calls of a kind that latches?
pub fn latches(articulation: &ArticulationCard) -> bool {
    articulation.calls.iter().any(|c| {
        matches!(
            c.kind,
            CallKind::Key { mode: ripieno_plan::KeyMode::Latch, .. }
                | CallKind::Controller { .. }
                | CallKind::Program { .. }
        )
    })
}

/// Its held key, if it has one.
pub fn is_held(articulation: &ArticulationCard) -> bool {
    articulation
        .calls
        .iter()
        .any(|c| matches!(c.kind, CallKind::Key { mode: ripieno_plan::KeyMode::Held, .. }))
}

/// The channel that calls it.
pub fn called_channel(articulation: &ArticulationCard) -> Option<u8> {
    articulation.calls.iter().find_map(|c| match c.kind {
        CallKind::Channel { channel } => Some(channel),
        _ => None,
    })
}

/// May a note of this articulation have this velocity? Velocities that call another articulation are avoided.
pub fn allows_velocity(card: &PatchCard, articulation: &ArticulationCard, velocity: u8) -> bool {
    let within = |range: (u8, u8)| (range.0..=range.1).contains(&velocity);
    called_velocity(articulation)
        .map_or_else(|| !card.articulations.iter().filter_map(called_velocity).any(within), within)
}

/// The velocities that call it.
pub fn called_velocity(articulation: &ArticulationCard) -> Option<(u8, u8)> {
    articulation.calls.iter().find_map(|c| match c.kind {
        CallKind::Velocity { low, high } => Some((low, high)),
        _ => None,
    })
}

/// All keys that call something.
pub fn call_keys(card: &PatchCard) -> Vec<u8> {
    let calls = card.articulations.iter().flat_map(|a| &a.calls);
    let mut keys: Vec<u8> = calls
        .filter_map(|c| match c.kind {
            CallKind::Key { key, .. } => Some(key),
            _ => None,
        })
        .collect();
    keys.sort_unstable();
    keys
}
