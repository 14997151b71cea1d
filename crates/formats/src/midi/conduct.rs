//! Tempo, metre, keys and marks of all tracks made into one time axis.

use super::bytes::{Division, Event, Raw};
use crate::FormatError;
use ripieno_music::{Bar, Key, Metre, Tempo, TimeMark, TimeMarkKind, Timeline};
use ripieno_units::Beats;

/// More bars than this are no piece of music.
const MOST_BARS: u64 = 100_000;
const COMMON_TIME: Metre = Metre { beats: 4, unit: 4 };
const DEFAULT_MICROS: u32 = 500_000;
/// In place of a track: what the standard says where no track says anything.
const UNSAID: usize = usize::MAX;

/// What a tick is in score time, as a fraction of a quarter.
#[derive(Clone, Copy)]
pub(super) struct Ticks {
    num: i64,
    den: i64,
}

impl Ticks {
    pub fn of(division: Division) -> Self {
        // Two quarters a second at 120 a minute: a tick of 1/n second is 2/n quarters.
        match division {
            Division::PerQuarter(n) => Self { num: 1, den: n.into() },
            Division::PerFrame(29, ticks) => Self { num: 2 * 1001, den: 30_000 * i64::from(ticks) },
            Division::PerFrame(fps, ticks) => Self { num: 2, den: i64::from(fps) * i64::from(ticks) },
        }
    }

    pub fn at(self, tick: u64) -> Beats {
        let tick = i64::try_from(tick).unwrap_or(i64::MAX);
        Beats::new(tick.saturating_mul(self.num), self.den)
    }
}

/// What the tracks say about time.
#[derive(Default)]
pub(super) struct Conduct {
    metres: Vec<(Beats, Metre)>,
    tempi: Vec<Tempo>,
    keys: Vec<Key>,
    marks: Vec<TimeMark>,
    /// What was passed over or settled: track, place, message.
    pub odd: Vec<(usize, Beats, &'static str)>,
    /// Place of the last mark.
    pub last_mark: Beats,
}

/// Puts the values of a list in order; of those at one place the first track's last one stays.
/// The list is in order of tracks. Gives the places where tracks differ.
fn settle<T: Copy + PartialEq>(list: &mut Vec<(Beats, usize, T)>) -> Vec<(usize, Beats)> {
    list.sort_by_key(|(at, track, _)| (*at, *track));
    let mut kept: Vec<(Beats, usize, T)> = Vec::with_capacity(list.len());
    let mut differ = Vec::new();
    for one in list.drain(..) {
        match kept.last_mut() {
            Some(last) if last.0 == one.0 && last.1 == one.1 => last.2 = one.2,
            Some(last) if last.0 == one.0 => {
                if last.2 != one.2 && one.1 != UNSAID {
                    differ.push((one.1, one.0));
                }
            }
            _ => kept.push(one),
        }
    }
    *list = kept;
    differ
}

impl Conduct {
    /// Gathers from all tracks, each moved by its offset.
    pub fn gather(raw: &Raw<'_>, ticks: Ticks, offsets: &[Beats]) -> Self {
        let mut all = Self::default();
        let (mut metres, mut tempi, mut keys) = (Vec::new(), Vec::new(), Vec::new());
        let sequences = raw.format == 2;
        let seconds = matches!(raw.division, Division::PerFrame(..));
        for (i, (track, offset)) in raw.tracks.iter().zip(offsets).enumerate() {
            if sequences || i == 0 {
                // Each begins as the standard says when nothing is said.
                metres.push((*offset, UNSAID, COMMON_TIME));
                tempi.push((*offset, UNSAID, DEFAULT_MICROS));
            }
            for (tick, event) in &track.events {
                let at = *offset + ticks.at(*tick);
                let odd = match *event {
                    Event::Tempo(_) if seconds => Some("tempo was passed over: the file counts in seconds"),
                    Event::Tempo(0) => Some("a tempo of 0 was passed over"),
                    Event::Tempo(micros) => {
                        tempi.push((at, i, micros));
                        None
                    }
                    Event::Metre { beats: 0, .. } => Some("a metre of 0 beats was passed over"),
                    Event::Metre { unit_power: 7.., .. } => {
                        Some("a metre with a unit under a 64th was passed over")
                    }
                    Event::Metre { beats, unit_power } => {
                        metres.push((at, i, Metre { beats: beats.into(), unit: 1 << unit_power }));
                        None
                    }
                    Event::Key { fifths, .. } if !(-7..=7).contains(&fifths) => {
                        Some("a key of more than 7 signs was passed over")
                    }
                    Event::Key { fifths, minor } => {
                        keys.push((at, i, (fifths, minor)));
                        None
                    }
                    Event::Marker(bytes) => {
                        all.mark(at, TimeMarkKind::Marker, raw.charset.text(bytes));
                        None
                    }
                    Event::Cue(bytes) => {
                        all.mark(at, TimeMarkKind::Cue, raw.charset.text(bytes));
                        None
                    }
                    Event::Short => Some("a tempo, metre or key event that is cut short was passed over"),
                    _ => None,
                };
                all.odd.extend(odd.map(|message| (i, at, message)));
            }
        }
        let first = "differs from that of an earlier track at the same place; the earlier track's was taken";
        let differ = |list: Vec<(usize, Beats)>| list.into_iter().map(move |(i, at)| (i, at, first));
        all.odd.extend(differ(settle(&mut tempi)));
        all.odd.extend(differ(settle(&mut metres)));
        all.odd.extend(differ(settle(&mut keys)));
        all.tempi = tempi.into_iter().map(|(at, _, micros)| Tempo { at, micros }).collect();
        all.metres = metres.into_iter().map(|(at, _, metre)| (at, metre)).collect();
        all.metres.dedup_by_key(|(_, metre)| *metre);
        all.keys = keys.into_iter().map(|(at, _, (fifths, minor))| Key { at, fifths, minor }).collect();
        all.keys.dedup_by_key(|key| (key.fifths, key.minor));
        all.marks.sort_by_key(|m| m.at);
        let mut seen = std::collections::BTreeSet::new();
        all.marks.retain(|m| seen.insert((m.at, m.kind == TimeMarkKind::Cue, m.text.clone())));
        all.last_mark = all.marks.last().map_or(Beats::ZERO, |m| m.at);
        all
    }

    fn mark(&mut self, at: Beats, kind: TimeMarkKind, text: String) {
        let text = text.trim().to_string();
        if !text.is_empty() {
            self.marks.push(TimeMark { at, kind, text });
        }
    }

    /// The time axis, with bars up to `end`, and the bars that a change of metre made short.
    pub fn timeline(self, end: Beats) -> Result<(Timeline, Vec<Beats>), FormatError> {
        let (bars, short) = bars(&self.metres, end)?;
        Ok((Timeline { bars, tempi: self.tempi, keys: self.keys, marks: self.marks }, short))
    }
}

/// Where each sequence of a format 2 file begins: at the barline after the one before.
pub(super) fn offsets(raw: &Raw<'_>, ticks: Ticks) -> Result<Vec<Beats>, FormatError> {
    let mut offsets = Vec::with_capacity(raw.tracks.len());
    let (mut total, mut count) = (Beats::ZERO, 0);
    for track in &raw.tracks {
        offsets.push(total);
        if raw.format != 2 {
            continue;
        }
        let mut metres = vec![(Beats::ZERO, COMMON_TIME)];
        for (tick, event) in &track.events {
            if let Event::Metre { beats: beats @ 1.., unit_power: power @ 0..=6 } = *event {
                let at = ticks.at(*tick);
                if metres.last().is_some_and(|m| m.0 == at) {
                    metres.pop();
                }
                metres.push((at, Metre { beats: beats.into(), unit: 1 << power }));
            }
        }
        metres.dedup_by_key(|(_, metre)| *metre);
        let end = ticks.at(track.end);
        if end.is_positive() {
            let bars = bars(&metres, end)?.0;
            total += bars.last().map_or(Beats::ZERO, |b| b.at + b.length);
            count += bars.len() as u64;
        }
        if count > MOST_BARS {
            return Err(too_large(count));
        }
    }
    Ok(offsets)
}

fn too_large(found: u64) -> FormatError {
    FormatError::TooLarge {
        what: "the number of bars",
        found,
        limit: MOST_BARS,
        remedy: "Look for a note, a marker or a metre far behind the end and export again",
    }
}

/// How often `part` fits into `whole`, counting what is left over as one more. Both above zero.
fn times(whole: Beats, part: Beats) -> u64 {
    let num = i128::from(whole.numerator()) * i128::from(part.denominator());
    let den = i128::from(whole.denominator()) * i128::from(part.numerator());
    u64::try_from((num + den - 1) / den.max(1)).unwrap_or(u64::MAX)
}

/// Bars from zero to `end` (at least one). `metres` rise from zero and differ from one to the next.
fn bars(metres: &[(Beats, Metre)], end: Beats) -> Result<(Vec<Bar>, Vec<Beats>), FormatError> {
    // At least one bar, so at least a little time to fill.
    let end = end.max(Beats::new(1, 16));
    let spans: Vec<(Beats, Beats, Metre)> = metres
        .iter()
        .enumerate()
        .filter(|(_, m)| m.0 < end)
        .map(|(i, m)| (m.0, metres.get(i + 1).map_or(end, |next| next.0.min(end)), m.1))
        .collect();
    let count = spans.iter().fold(0u64, |n, s| n.saturating_add(times(s.1 - s.0, s.2.bar())));
    if count > MOST_BARS {
        return Err(too_large(count));
    }
    let mut bars: Vec<Bar> = Vec::with_capacity(count as usize);
    let mut short = Vec::new();
    for (i, (from, to, metre)) in spans.iter().enumerate() {
        let mut at = *from;
        while at < *to {
            let full = metre.bar();
            // Only a new metre cuts a bar; the last bar of all is whole.
            let length = if i + 1 < spans.len() { full.min(*to - at) } else { full };
            if length < full {
                short.push(at);
            }
            let number = bars.len() as i32 + 1;
            bars.push(Bar { at, length, metre: *metre, number, printed: number.to_string() });
            at += length;
        }
    }
    Ok((bars, short))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_change_inside_a_bar_makes_it_short() {
        let three = Metre { beats: 3, unit: 4 };
        let (bars, short) =
            bars(&[(Beats::ZERO, COMMON_TIME), (Beats::whole(6), three)], Beats::whole(10)).unwrap();
        let lengths: Vec<_> = bars.iter().map(|b| b.length).collect();
        assert_eq!(lengths, [4, 2, 3, 3].map(Beats::whole));
        assert_eq!(short, [Beats::whole(4)]);
    }

    /// 29 stands for 30 drop frame: 30000/1001 frames a second (SMPTE 12M).
    #[test]
    fn frames_are_seconds() {
        let ticks = Ticks::of(Division::PerFrame(25, 40));
        assert_eq!(ticks.at(1000), Beats::whole(2));
        let ticks = Ticks::of(Division::PerFrame(29, 1));
        assert_eq!(ticks.at(30_000), Beats::whole(2002));
    }

    #[test]
    fn far_ends_are_refused_before_they_are_built() {
        let error = bars(&[(Beats::ZERO, COMMON_TIME)], Beats::whole(2_000_000_000)).unwrap_err();
        assert!(matches!(error, FormatError::TooLarge { found: 500_000_000, .. }));
    }
}
