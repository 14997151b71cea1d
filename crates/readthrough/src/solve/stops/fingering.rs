//! One chord on the strings: every way in which a left hand can stop it.
//!
//! A note lies on a string at or below its pitch; each string gives one note. A note n semitones above the open string
//! is L (1 - 2^(-n/12)) from the nut. Four fingers stand in their order along the strings (and the thumb before them,
//! where there is thumb position); one finger stops several strings only at one fret. How far two fingers open is a share of how far
//! the first and the fourth do.

use ripieno_instruments::Strings;
use ripieno_units::math;

/// Finger number of the thumb.
pub const THUMB: u8 = 5;

/// How far two fingers open, as a share of the first and the fourth. Own proposal after the shape of a hand: neighbours
/// open less than their part, the first finger more.
pub fn share(a: u8, b: u8) -> f64 {
    match (a.min(b), a.max(b)) {
        (1, 2) => 0.60,
        (1, 3) => 0.80,
        (1, 4) => 1.00,
        (2, 3) | (3, 4) => 0.45,
        (2, 4) => 0.70,
        // Thumb, as a share of the thumb and the third finger.
        (1, THUMB) => 0.65,
        (2, THUMB) => 0.85,
        (3, THUMB) => 1.00,
        (4, THUMB) => 1.10,
        _ => 0.0,
    }
}

/// Cost of a hand's length up the string: low positions are surer. Own proposal, as are the costs below.
const UP_THE_STRING: f64 = 0.3;
/// Cost of a hand as open as it is at ease.
const OPENING: f64 = 0.5;
/// Cost of a hand that is opened further, for each time its ease.
const STRAINED: f64 = 4.0;
/// Cost of the thumb on the string.
const THUMB_COST: f64 = 0.5;
/// Cost of each finger that is down.
const FINGER: f64 = 0.1;
/// Cost of each further string under one finger.
const BARRE: f64 = 0.3;

/// One note on its string.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct Stop {
    /// From the lowest string, 0.
    pub string: u8,
    /// Semitones above the open string.
    pub fret: u8,
    /// 0 open, 1 to 4, [`THUMB`].
    pub finger: u8,
}

/// One way to stop a chord.
#[derive(Clone, Debug, PartialEq)]
pub struct Fingering {
    /// In the order of the keys asked.
    pub stops: Vec<Stop>,
    /// Where the first finger stands, or would stand, in millimetres from the nut; none with open strings alone.
    pub hand: Option<f64>,
    /// How far the hand is opened against its ease: above 1 it is strained.
    pub strain: f64,
    /// How hard it is.
    pub cost: f64,
}

/// What is asked beside the notes.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Asked {
    /// The strings must be neighbours.
    pub neighbours: bool,
    /// The hand opens no wider than hands do.
    pub reach: bool,
}

/// Every way to stop these keys (none twice). Empty where there is none.
pub fn fingerings(board: &Strings, keys: &[u8], asked: Asked) -> Vec<Fingering> {
    let mut found = Vec::new();
    if !keys.is_empty() && keys.len() <= board.open.len() {
        let mut stops = Vec::with_capacity(keys.len());
        place(board, keys, asked, &mut stops, &mut found);
    }
    found
}

fn place(board: &Strings, keys: &[u8], asked: Asked, stops: &mut Vec<Stop>, found: &mut Vec<Fingering>) {
    let Some(key) = keys.get(stops.len()) else {
        if (!asked.neighbours || neighbours(stops)) && barres_clear(board, stops) {
            found.push(rate(board, stops));
        }
        return;
    };
    for (string, open) in board.open.iter().enumerate() {
        let string = string as u8;
        if stops.iter().any(|s| s.string == string) {
            continue;
        }
        let fret = match key.checked_sub(*open) {
            Some(fret) if fret <= board.highest => fret,
            // The lowest string let down sounds as an open one.
            None if string == 0 && board.extension.is_some_and(|e| *key >= e) => 0,
            _ => continue,
        };
        let thumb = board.thumb.filter(|t| fret >= t.0).map(|_| THUMB);
        let fingers = if fret == 0 { 0..=0 } else { 1..=4 };
        for finger in fingers.chain(thumb.filter(|_| fret > 0)) {
            let stop = Stop { string, fret, finger };
            if stops.iter().all(|other| together(board, *other, stop, asked.reach)) {
                stops.push(stop);
                place(board, keys, asked, stops, found);
                stops.pop();
            }
        }
    }
}

/// Can these two be down at once?
fn together(board: &Strings, a: Stop, b: Stop, reach: bool) -> bool {
    if a.finger == 0 || b.finger == 0 {
        return true;
    }
    if a.finger == b.finger {
        return a.fret == b.fret;
    }
    // The thumb stands before the first finger.
    let rank = |f: u8| if f == THUMB { 0 } else { f };
    let (low, high) = if rank(a.finger) < rank(b.finger) { (a, b) } else { (b, a) };
    low.fret <= high.fret && (!reach || opening(board, low, high) <= widest(board, low.finger, high.finger))
}

fn opening(board: &Strings, low: Stop, high: Stop) -> f64 {
    (board.place(high.fret) - board.place(low.fret)).abs()
}

/// How far two fingers open at most, millimetres.
fn widest(board: &Strings, a: u8, b: u8) -> f64 {
    let whole = if a == THUMB || b == THUMB { board.thumb.map_or(0.0, |t| t.1) } else { board.widest };
    whole * share(a, b)
}

/// How far two fingers open at ease, millimetres: the thumb in the measure of the hand.
fn ease(board: &Strings, a: u8, b: u8) -> f64 {
    widest(board, a, b) * board.ease / board.widest
}

fn neighbours(stops: &[Stop]) -> bool {
    let low = stops.iter().map(|s| s.string).min().unwrap_or(0);
    let high = stops.iter().map(|s| s.string).max().unwrap_or(0);
    usize::from(high - low) < stops.len()
}

/// A finger across several strings: not too many, and nothing lower sounds on a string under it.
fn barres_clear(board: &Strings, stops: &[Stop]) -> bool {
    [1, 2, 3, 4, THUMB].iter().all(|finger| {
        let mut of = stops.iter().filter(|s| s.finger == *finger);
        let Some(first) = of.next() else { return true };
        let (low, high) =
            of.fold((first.string, first.string), |(l, h), s| (l.min(s.string), h.max(s.string)));
        // Only the first finger and the thumb lie flat over many.
        let most = if matches!(*finger, 1 | THUMB) { board.barre } else { board.barre.min(3) };
        high - low < most.max(1)
            && stops.iter().all(|s| s.string <= low || s.string >= high || s.fret >= first.fret)
    })
}

fn rate(board: &Strings, stops: &[Stop]) -> Fingering {
    let down: Vec<Stop> = stops.iter().copied().filter(|s| s.finger > 0).collect();
    let mut strain = 0.0_f64;
    for (i, a) in down.iter().enumerate() {
        for b in &down[i + 1..] {
            if a.finger != b.finger {
                let wide = ease(board, a.finger, b.finger);
                strain = strain.max(if wide > 0.0 { opening(board, *a, *b) / wide } else { f64::INFINITY });
            }
        }
    }
    let hand = down.iter().min_by_key(|s| if s.finger == THUMB { 0 } else { s.finger }).map(|s| {
        let behind = if s.finger == THUMB { 0.0 } else { f64::from(s.finger - 1) / 3.0 * board.rest };
        (board.place(s.fret) - behind).max(0.0)
    });
    let mut fingers: Vec<u8> = down.iter().map(|s| s.finger).collect();
    fingers.sort_unstable();
    fingers.dedup();
    let thumbs = if fingers.contains(&THUMB) { THUMB_COST } else { 0.0 };
    let cost = UP_THE_STRING * hand.unwrap_or(0.0) / board.rest
        + OPENING * (strain * strain).min(4.0)
        + STRAINED * (strain - 1.0).max(0.0)
        + thumbs
        + FINGER * fingers.len() as f64
        + BARRE * (down.len() - fingers.len()) as f64;
    Fingering { stops: stops.to_vec(), hand, strain, cost }
}

/// Position of a hand whose first finger is so far from the nut: 0 half position, 1 first, 3 a fourth up.
pub fn position(board: &Strings, hand: f64) -> usize {
    let rest = (1.0 - hand / board.length).clamp(0.01, 1.0);
    let semitones = (-12.0 * math::log2(rest)).round().clamp(0.0, 60.0) as usize;
    // The first finger by steps of the major scale above the open string, a tone above it being the first position.
    const STEPS: [usize; 12] = [0, 1, 1, 2, 2, 3, 4, 4, 5, 5, 6, 7];
    if semitones == 0 { 1 } else { STEPS[semitones % 12] + 7 * (semitones / 12) }
}

/// How many players it takes to hold these notes at once, each with one note or with two that can be held as a double stop.
/// For an instrument without strings that are known, one a note.
pub fn stops_needed(board: Option<&Strings>, keys: &[u8]) -> u16 {
    let mut keys = keys.to_vec();
    keys.sort_unstable();
    keys.dedup();
    let Some(board) = board else { return keys.len() as u16 };
    let n = keys.len();
    let asked = Asked { neighbours: board.bowed, reach: true };
    let pair =
        |a: usize, b: usize| fingerings(board, &[keys[a], keys[b]], asked).iter().any(|f| f.strain <= 1.0);
    // The most pairs that can be formed: exact up to 12 notes, beyond that neighbours are paired as they come.
    if n > 12 {
        let mut players = 0;
        let mut i = 0;
        while i < n {
            i += if i + 1 < n && pair(i, i + 1) { 2 } else { 1 };
            players += 1;
        }
        return players;
    }
    let pairs: Vec<Vec<bool>> = (0..n).map(|a| (0..n).map(|b| a < b && pair(a, b)).collect()).collect();
    let mut least = vec![0_u16; 1 << n];
    for set in 1_usize..1 << n {
        let first = set.trailing_zeros() as usize;
        let rest = set & (set - 1);
        let mut best = least[rest] + 1;
        for other in first + 1..n {
            if rest & (1 << other) != 0 && pairs[first][other] {
                best = best.min(least[rest & !(1 << other)] + 1);
            }
        }
        least[set] = best;
    }
    least[(1 << n) - 1]
}
