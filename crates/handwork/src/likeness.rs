//! Is a file that came back an edit of what was written, or another cue's? Many cues have tracks of the same names.

use crate::edited::{self, common};
use crate::{TICKS, Who, Written};
use ripieno_formats::midi::MidiEvents;

/// Of the notes that could be the same, at least so many are where they were in an edit that leaves something as it was. Nine cues
/// (symphonies, quartets, the demo), each against the files of the others, performed or on the grid, have 0.03 at most.
const LEFT: f64 = 0.08;
/// Or so many, where every note was moved: by hand, onto a grid, or all by octaves. The same files have 0.15 at most.
const NEAR: f64 = 0.4;
/// Of few notes, one is where another cue has one by chance, and two if any interval will do.
const BY_CHANCE: (usize, usize) = (1, 2);
/// What lies nearer than a sixteenth is the same note, moved.
const MOVED: i64 = TICKS / 4;
/// Most semitones by which all of a file is transposed.
const TRANSPOSED: i16 = 24;

/// Keys and times, in order.
type Notes = Vec<(i16, i64)>;

/// How much of a file is what was written.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Likeness {
    /// Notes of the file in tracks that hold a chair.
    pub notes: usize,
    /// Notes that were written.
    pub written: usize,
    /// Of all notes that could be the same, the share that is where it was and not by chance, from 0 to 1.
    pub left: f64,
    /// The same for notes that were moved a little, all by one interval.
    pub near: f64,
}

impl Likeness {
    /// Is it an edit of what was written? Where nothing was, all that is in its tracks was put there by hand.
    pub fn is_edit(&self) -> bool {
        self.written == 0 && self.notes > 0 || self.left >= LEFT || self.near >= NEAR
    }
}

/// Compares a file with what was written.
pub fn likeness(written: &Written, file: &MidiEvents) -> Likeness {
    let (mut strips, tolerance) = edited::read(file, written);
    edited::hold(&mut strips, written, tolerance);
    let music = |w: usize| {
        let notes = written.tracks[w].notes.iter().filter(|n| n.sent && n.who != Who::Call);
        notes.map(|n| (i16::from(n.now.key), n.now.on))
    };
    let sorted = |mut list: Notes| {
        list.sort_unstable();
        list
    };
    let pairs: Vec<(Notes, Notes)> = strips
        .iter()
        .filter(|s| !s.holds.is_empty())
        .map(|s| {
            let calls = |key: u8| s.holds.iter().any(|w| written.tracks[*w].call_keys.contains(&key));
            let came = s.ons.iter().filter(|o| !calls(o.2)).map(|o| (i16::from(o.2), o.0)).collect();
            (sorted(s.holds.iter().flat_map(|w| music(*w)).collect()), sorted(came))
        })
        .collect();
    let notes: usize = pairs.iter().map(|p| p.1.len()).sum();
    let all: usize = (0..written.tracks.len()).map(|w| music(w).count()).sum();
    let held: usize = pairs.iter().map(|p| p.0.len()).sum();
    let share = |found: usize, of: usize, by_chance: usize| match of {
        0 => 0.0,
        of if found >= of => 1.0,
        of => found.saturating_sub(by_chance) as f64 / of as f64,
    };
    let left: usize = pairs.iter().map(|(a, b)| common(a, b, tolerance).len()).sum();
    let near = |by: i16| -> usize {
        let moved = |a: &[(i16, i64)]| a.iter().map(|n| (n.0 + by, n.1)).collect::<Notes>();
        pairs.iter().map(|(a, b)| common(&moved(a), b, MOVED).len()).sum()
    };
    let near = (-TRANSPOSED..=TRANSPOSED).map(near).max().unwrap_or(0);
    // Tracks that were left out, and notes that were put in, are no sign of another cue: the smaller number counts.
    Likeness {
        notes,
        written: all,
        left: share(left, notes.min(all), BY_CHANCE.0),
        near: share(near, notes.min(held), BY_CHANCE.1),
    }
}
