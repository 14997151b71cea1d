//! Barlines moved so that a hit begins a bar. No note is changed, and every later barline stands where the music has it.

use ripieno_music::{Bar, Metre, Timeline};

/// The bars with other lengths: `changes` are bar numbers with their number of beats (of the metre's lower number). The bar after
/// a changed one reaches to the next barline of the music. What leaves no bar its beat is passed over.
pub fn rebar(timeline: &Timeline, changes: &[(i32, u16)]) -> Vec<Bar> {
    let mut bars = timeline.bars.clone();
    for (number, beats) in changes {
        let Some(i) = bars.iter().position(|b| b.number == *number) else { continue };
        let Some(end) = bars.get(i + 1).map(|b| b.at + b.length) else { continue };
        let length = bars[i].metre.beat() * i64::from(*beats);
        let rest = end - (bars[i].at + length);
        // What is left is counted in the unit of the bar that is changed; a part of a beat cannot be written so.
        let left = rest.ratio(bars[i + 1].metre.beat());
        if !length.is_positive() || !rest.is_positive() || left.fract() != 0.0 || left > 99.0 {
            continue;
        }
        bars[i].length = length;
        bars[i].metre = Metre { beats: *beats, unit: bars[i].metre.unit };
        bars[i + 1].at = bars[i].at + length;
        bars[i + 1].length = rest;
        bars[i + 1].metre = Metre { beats: left as u16, unit: bars[i + 1].metre.unit };
    }
    bars
}

/// The bar to change, with its beats, so that the place `beat` (from 1) of bar `number` begins a bar: the nearer barline is moved
/// there. None where it begins one already, or where there is no bar to take the beats from.
pub fn moved_barline(timeline: &Timeline, number: i32, beat: u16) -> Option<(i32, u16)> {
    let bar = timeline.bar_numbered(number)?;
    let phase = beat.checked_sub(1).filter(|p| *p > 0)?;
    let whole = bar.metre.beats;
    let before = timeline.bar_numbered(number - 1).filter(|b| b.number > 0 && b.metre.unit == bar.metre.unit);
    match before {
        Some(before) if 2 * phase <= whole => Some((number - 1, before.metre.beats + phase)),
        _ => timeline.bar_numbered(number + 1).map(|_| (number, phase)),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use ripieno_units::Beats;

    #[test]
    fn a_moved_barline_leaves_the_rest() {
        let timeline = Timeline::regular(6, Metre { beats: 4, unit: 4 }, 100.0);
        let change = moved_barline(&timeline, 3, 2).unwrap();
        assert_eq!(change, (2, 5));
        let bars = rebar(&timeline, &[change]);
        assert_eq!(bars.iter().map(|b| b.metre.beats).collect::<Vec<_>>(), [4, 5, 3, 4, 4, 4]);
        assert_eq!(bars[2].at, Beats::whole(9));
        assert_eq!(bars[3].at, timeline.bars[3].at);
        assert_eq!(moved_barline(&timeline, 3, 4), Some((3, 3)));
        assert_eq!(moved_barline(&timeline, 3, 1), None);
        assert_eq!(rebar(&timeline, &[(3, 8), (99, 2), (2, 0)]), timeline.bars);
    }
}
