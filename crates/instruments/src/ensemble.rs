//! The names of a whole score, where each helps to understand the others.

use crate::choose::Context;
use crate::guess::{Guess, Query, chair, recognise_in};
use crate::{Family, recognise};
use std::collections::BTreeSet;

/// Most parts of a score that is taken for chamber music.
const MOST_CHAMBER_PARTS: usize = 6;

/// Guesses the names of a whole score, in its order. Beyond [`recognise`]: three of soprano, alto, tenor and bass are a
/// choir; a bass below the cellos is a double bass; two violins without numbers are the first and the second; a few
/// strings without double bass, alone or with a keyboard, are single players.
pub fn recognise_all(queries: &[Query<'_>]) -> Vec<Option<Guess>> {
    let alone: Vec<Option<Guess>> = queries.iter().map(recognise).collect();
    let voices: BTreeSet<&str> = alone
        .iter()
        .flatten()
        .map(|g| g.instrument.id.as_str())
        .filter(|id| matches!(*id, "choir-sopranos" | "choir-altos" | "choir-tenors" | "choir-basses"))
        .collect();
    let choir = voices.len() >= 3;
    let sung = queries.iter().filter(|q| q.sung).count();
    let mut above = None;
    let mut guesses: Vec<Option<Guess>> = Vec::with_capacity(queries.len());
    for query in queries {
        let guess = recognise_in(query, Context { choir, sung, above });
        above = guess.as_ref().map(|g| g.instrument.family);
        guesses.push(guess);
    }
    number_violins(&mut guesses);
    chamber(&mut guesses);
    guesses
}

/// Two violins that say nothing else: the first stands first.
fn number_violins(guesses: &mut [Option<Guess>]) {
    let mut plain: Vec<&mut Guess> =
        guesses.iter_mut().flatten().filter(|g| g.instrument.id == "violin" && !g.solo).collect();
    if plain.len() != 2 || plain.iter().any(|g| !g.numbers.is_empty()) {
        return;
    }
    for (number, guess) in (1..).zip(plain.iter_mut()) {
        guess.numbers = vec![number];
        guess.chair = chair(guess.instrument, None, &guess.numbers, false, false);
        guess.players = crate::guess::players(guess.instrument, &guess.numbers, false, false, None);
    }
}

fn chamber(guesses: &mut [Option<Guess>]) {
    let few = guesses.len() <= MOST_CHAMBER_PARTS;
    let all_single = guesses.iter().all(|g| {
        g.as_ref().is_some_and(|g| {
            let bowed = matches!(g.instrument.id.as_str(), "violin" | "viola" | "cello");
            bowed || g.instrument.family == Family::Keyboard
        })
    });
    if !few || !all_single {
        return;
    }
    for guess in guesses.iter_mut().flatten().filter(|g| g.instrument.family == Family::Strings) {
        guess.players = 1;
        let stem = guess.instrument.chair.0.clone();
        guess.chair = chair(guess.instrument, Some(&stem), &guess.numbers, guess.solo, false);
        // With one violin there is no question which.
        if guess.numbers.is_empty() && guess.instrument.id == "violin" {
            guess.certainty = crate::Certainty::Sure;
        }
    }
}
