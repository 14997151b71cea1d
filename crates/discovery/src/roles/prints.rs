//! Bars as prints: what begins where, so that two tracks are compared in a moment.

use super::lines::{Tone, Units};

/// Places in a bar. 48 tells semiquavers and their triplets apart in a bar of four quarters.
const PLACES: usize = 48;
/// Nothing begins here.
const NONE: u8 = 255;
/// Tracks are one line where so much of what begins in both is the same pitch class at the same place.
const SAME: f64 = 0.85;

/// One bar of one track.
#[derive(Clone, Copy, Debug)]
struct Print {
    /// Pitch class of the tone that begins at each place.
    classes: [u8; PLACES],
    count: u32,
    /// Keys that begin, to tell repeated bars.
    hash: u64,
    /// Ups and downs, from tone to tone.
    contour: u64,
}

/// All bars of all tracks.
pub(super) struct Prints {
    /// By track, then bar.
    prints: Vec<Vec<Print>>,
}

impl Prints {
    pub fn of(lines: &[Vec<Tone>], units: &Units) -> Self {
        let bars = units.of_bar.len().saturating_sub(1);
        let edge = |bar: usize| units.edges[units.of_bar[bar]];
        let prints = lines
            .iter()
            .map(|tones| {
                let empty = Print { classes: [NONE; PLACES], count: 0, hash: 0, contour: 0 };
                let mut row = vec![empty; bars];
                let mut bar = 0;
                let mut last: Option<(usize, i16)> = None;
                for tone in tones {
                    while bar + 1 < bars && edge(bar + 1) <= tone.at {
                        bar += 1;
                    }
                    let Some(print) = row.get_mut(bar) else { break };
                    let length = (edge(bar + 1) - edge(bar)).max(1e-6);
                    let place = ((tone.at - edge(bar)) / length * PLACES as f64 + 0.5) as usize;
                    let place = place.min(PLACES - 1);
                    print.classes[place] = tone.key.rem_euclid(12) as u8;
                    print.count += 1;
                    if let Some((_, key)) = last.filter(|(b, _)| *b == bar) {
                        let way = 1 + (tone.key.cmp(&key) as i8 + 1) as u64;
                        print.contour = print.contour.wrapping_mul(5).wrapping_add(way);
                    }
                    last = Some((bar, tone.key));
                    let word = (place as u64) << 16 | u64::from(tone.key.unsigned_abs());
                    print.hash = print.hash.wrapping_mul(0x0100_0000_01b3) ^ (word + 1);
                }
                row
            })
            .collect();
        Self { prints }
    }

    /// Are two tracks one line in this bar, in unison or octaves?
    pub fn same(&self, a: usize, b: usize, bar: usize) -> bool {
        let (a, b) = (&self.prints[a][bar], &self.prints[b][bar]);
        let (fewer, more) = (a.count.min(b.count), a.count.max(b.count));
        if fewer == 0 || f64::from(fewer) < 0.5 * f64::from(more) {
            return false;
        }
        let equal = a.classes.iter().zip(&b.classes).filter(|(x, y)| x == y && **x != NONE).count();
        equal as f64 >= SAME * f64::from(fewer)
    }

    /// Of what begins in two tracks in a bar: the same pitch classes at the same places (as a count and as a set).
    pub fn equal(&self, a: usize, b: usize, bar: usize) -> (u32, u16) {
        let (a, b) = (&self.prints[a][bar], &self.prints[b][bar]);
        let equal = a.classes.iter().zip(&b.classes).filter(|(x, y)| x == y && **x != NONE);
        equal.fold((0, 0), |(count, set), (x, _)| (count + 1, set | 1 << *x))
    }

    /// How many tones begin in a bar.
    pub fn count(&self, track: usize, bar: usize) -> u32 {
        self.prints[track][bar].count
    }

    /// Of the places at which something begins in a track: in how many does it begin in another, too?
    pub fn together(&self, a: usize, b: usize, bar: usize) -> u32 {
        let (a, b) = (&self.prints[a][bar], &self.prints[b][bar]);
        a.classes.iter().zip(&b.classes).filter(|(x, y)| **x != NONE && **y != NONE).count() as u32
    }

    /// Part of a track's onsets that tracks of other lines have too.
    pub fn shared(&self, track: usize, bar: usize, doubles: &[u64]) -> f64 {
        let own = &self.prints[track][bar];
        if own.count == 0 {
            return 0.0;
        }
        let mut seen = [false; PLACES];
        for (other, prints) in self.prints.iter().enumerate() {
            if other == track || doubles[other / 64] >> (other % 64) & 1 == 1 || prints[bar].count == 0 {
                continue;
            }
            for (s, class) in seen.iter_mut().zip(&prints[bar].classes) {
                *s |= *class != NONE;
            }
        }
        let shared = own.classes.iter().zip(&seen).filter(|(c, s)| **c != NONE && **s).count();
        shared as f64 / f64::from(own.count)
    }

    /// Do two bars of a track have one rhythm?
    pub fn same_rhythm(&self, track: usize, a: usize, b: usize) -> bool {
        let (a, b) = (&self.prints[track][a], &self.prints[track][b]);
        a.count == b.count && a.classes.iter().zip(&b.classes).all(|(x, y)| (*x == NONE) == (*y == NONE))
    }

    /// Do two bars of a track have one rhythm and one contour: up and down at the same places?
    pub fn same_shape(&self, track: usize, a: usize, b: usize) -> bool {
        self.same_rhythm(track, a, b) && self.prints[track][a].contour == self.prints[track][b].contour
    }

    /// Does the bar repeat the one before it, or the one before that, note for note?
    pub fn repeats(&self, track: usize, bar: usize) -> bool {
        let own = &self.prints[track][bar];
        own.count > 0
            && [1, 2].iter().any(|back| {
                bar.checked_sub(*back).is_some_and(|b| {
                    self.prints[track][b].hash == own.hash && self.prints[track][b].count == own.count
                })
            })
    }
}
