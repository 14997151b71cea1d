//! How large a piece may be: whoever looks at it bar by bar needs room for every track in every bar, silent or not.

use crate::FormatError;
use ripieno_music::{Bar, Timeline};

/// Beats of all tracks together: 120 staves through an opera of 8,000 bars of 4/4 stay below.
const MOST_BEATS: u64 = 4_000_000;

/// Refuses what needs more room than any music.
pub(crate) fn hold(timeline: &Timeline, tracks: usize) -> Result<(), FormatError> {
    let beats: u64 = timeline.bars.iter().map(beats).sum();
    let found = beats.saturating_mul(tracks as u64);
    if found <= MOST_BEATS {
        return Ok(());
    }
    Err(FormatError::TooLarge {
        what: "the beats of all tracks together",
        found,
        limit: MOST_BEATS,
        remedy: "Leave out empty tracks, look for a note or a marker far behind the end, or export each movement by itself",
    })
}

/// At most 16: nobody looks closer.
fn beats(bar: &Bar) -> u64 {
    let (beats, unit) = (u64::from(bar.metre.beats), bar.metre.unit);
    // 6/8 has two.
    let beats = if unit >= 8 && beats.is_multiple_of(3) { beats / 3 } else { beats };
    beats.clamp(1, 16)
}
