//! What is said of stops: on which strings, with which fingers, in which position, and why not.

use super::fingering::{Asked, Fingering, THUMB, fingerings, position};
use crate::solve::spots::{interval, list, name, names, ordinal};
use ripieno_instruments::Strings;

/// `A3 on the G string with the first finger, E4 on the open D string; first position`.
pub fn fingered(board: &Strings, keys: &[u8], fingering: &Fingering) -> String {
    let notes: Vec<String> = keys
        .iter()
        .zip(&fingering.stops)
        .map(|(key, stop)| {
            let string = string(board, stop.string);
            match stop.finger {
                0 => format!("{} on the open {string} string", name(*key)),
                THUMB => format!("{} on the {string} string with the thumb", name(*key)),
                f => format!("{} on the {string} string with the {} finger", name(*key), ordinal(f.into())),
            }
        })
        .collect();
    let stopped = fingering.stops.iter().any(|s| s.finger > 0);
    match fingering.hand.filter(|_| stopped) {
        Some(hand) => format!("{} ({} position)", list(&notes), ordinal(position(board, hand))),
        None => list(&notes),
    }
}

/// `G`, or `low A` where two strings have one letter.
fn string(board: &Strings, index: u8) -> String {
    let open = board.open.get(usize::from(index)).copied().unwrap_or_default();
    let letter = |k: u8| name(k).trim_end_matches(|c: char| c.is_ascii_digit() || c == '-').to_string();
    let alike = board.open.iter().filter(|o| *o % 12 == open % 12).count();
    if alike > 1 { name(open) } else { letter(open) }
}

/// How far the hand opens and how far it would at ease, millimetres: the pair of fingers that decides.
pub fn opening(board: &Strings, fingering: &Fingering) -> (f64, f64) {
    let down: Vec<_> = fingering.stops.iter().filter(|s| s.finger > 0).collect();
    let mut widest = 0.0_f64;
    for a in &down {
        for b in &down {
            widest = widest.max(board.place(b.fret) - board.place(a.fret));
        }
    }
    (widest, widest / fingering.strain.max(1e-9))
}

/// Why no hand can stop these notes together.
pub fn why_not(board: &Strings, keys: &[u8], neighbours: bool) -> String {
    let what = names(keys);
    if keys.len() > board.open.len() {
        return format!("{what} are {} notes, and there are {} strings", keys.len(), board.open.len());
    }
    let low = board.extension.unwrap_or(board.open[0]);
    let high = board.open.last().copied().unwrap_or(low).saturating_add(board.highest);
    if let Some(outside) = keys.iter().find(|k| **k < low || **k > high) {
        return format!("{what} together: {} is on no string", name(*outside));
    }
    let free = |neighbours, reach| !fingerings(board, keys, Asked { neighbours, reach }).is_empty();
    if free(neighbours, false) {
        let span = keys.iter().max().unwrap_or(&0) - keys.iter().min().unwrap_or(&0);
        return match keys {
            [_, _] => format!("{what} together are {}, wider than a hand opens there", interval(span)),
            _ => format!("{what} together: on neighbouring strings they lie wider apart than a hand opens"),
        };
    }
    if free(false, true) || free(false, false) {
        return format!("{what} together: the strings that have them do not lie side by side");
    }
    // Two notes that only one string has.
    for (i, a) in keys.iter().enumerate() {
        for b in &keys[i + 1..] {
            if fingerings(board, &[*a, *b], Asked { neighbours: false, reach: false }).is_empty() {
                return format!(
                    "{} and {} together: only the {} string goes so low, and a string gives one note",
                    name(*a),
                    name(*b),
                    string(board, 0)
                );
            }
        }
    }
    format!("{what} together: there is no string for each of them")
}

/// What is left of a chord that can be stopped at ease: an inner note is missed least, the bass and the top most.
pub fn lighter(board: &Strings, keys: &[u8], neighbours: bool) -> String {
    let fits = |keys: &[u8]| {
        fingerings(board, keys, Asked { neighbours, reach: true })
            .into_iter()
            .filter(|f| f.strain <= 1.0)
            .min_by(|a, b| a.cost.total_cmp(&b.cost))
    };
    if keys.len() > 2 {
        let mut order: Vec<usize> = (1..keys.len() - 1).collect();
        // A note that another has an octave away is missed least.
        order.sort_by_key(|i| !keys.iter().enumerate().any(|(j, k)| j != *i && k % 12 == keys[*i] % 12));
        order.extend([keys.len() - 1, 0]);
        for i in order {
            let mut rest = keys.to_vec();
            let left_out = rest.remove(i);
            if let Some(fingering) = fits(&rest) {
                return format!("Leave out {}: {}", name(left_out), fingered(board, &rest, &fingering));
            }
        }
    }
    if let [low, high] = keys {
        for (moved, what) in
            [([Some(*low), high.checked_sub(12)], *high), ([low.checked_add(12), Some(*high)], *low)]
        {
            let [Some(a), Some(b)] = moved else { continue };
            let pair = if a < b { [a, b] } else { [b, a] };
            if a != b
                && let Some(fingering) = fits(&pair)
            {
                let to = if what == *high { "down" } else { "up" };
                return format!("Move {} an octave {to}: {}", name(what), fingered(board, &pair, &fingering));
            }
        }
        return format!("Keep {} or {}, or write one after the other", name(*low), name(*high));
    }
    "Write the notes one after the other, or divide them among several players".into()
}

/// How far and how fast the hand would have to move.
pub fn moved(before: &Fingering, after: &Fingering, seconds: f64) -> String {
    let way = match (before.hand, after.hand) {
        (Some(a), Some(b)) => (a - b).abs(),
        _ => 0.0,
    };
    if super::SHIFT_SECONDS + way / super::SHIFT_SPEED > seconds {
        format!("the hand has {seconds:.2} s for {way:.0} mm along the strings")
    } else {
        "a note that is held would have to change its string or its finger".into()
    }
}
