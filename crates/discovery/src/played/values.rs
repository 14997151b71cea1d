//! Note values of played notes: from when they are let go, and from when the next begins.

use ripieno_music::{Mark, Note, Timeline, named};
use ripieno_units::Beats;

/// Staccato sounds this share of its value (Bresin and Battel 2000).
const STACCATO: f64 = 0.40;
/// A note that sounds this share of the time to the next fills it; above it lies détaché (methods of articulation inference).
const FILLS: f64 = 0.80;
/// Longer than the time to the next by less than this share: an overlap of legato, not a second voice.
const OVERLAPS: f64 = 1.25;
/// Players let a held note go early by up to so much, in seconds.
const EARLY: f64 = 0.10;
/// An overlap into the next note up to this is a connection, in seconds; more is a note held through it.
const CONNECTED: f64 = 0.15;

/// Gives every note (with [`Note::played`]) its written value, and marks of articulation where it has none yet.
pub(super) fn settle(notes: &mut [Note], timeline: &Timeline) {
    notes.sort_by(|a, b| {
        let key = |n: &Note| n.pitch().map_or(0, |p| p.key);
        (a.at, a.voice, key(a)).cmp(&(b.at, b.voice, key(b)))
    });
    let mut onsets: Vec<Beats> = notes.iter().map(|n| n.at).collect();
    onsets.dedup();
    let clock = timeline.clock();
    // Where nothing says how a track is articulated, its notes do.
    let silent = notes.iter().all(|n| n.named.is_none() && n.marks.is_empty() && !n.slurred);
    for note in notes.iter_mut() {
        let Some(played) = note.played else { continue };
        let at = note.at;
        let next = onsets.get(onsets.partition_point(|o| *o <= at)).copied();
        let raw = played.length.quarters();
        let beat = f64::from(timeline.tempo_at(at).micros) / 1e6;
        let short = is_short(note);
        let whole = note.tremolo.is_some() || note.ornament.is_some();
        let mut staccato = false;
        let length = match next.map(|n| (n, (n - at).quarters())) {
            Some((next, gap)) if raw >= FILLS * gap && raw <= OVERLAPS * gap => next - at,
            Some((next, gap)) if raw > gap => end_near(at, raw, beat, &onsets).unwrap_or(next - at),
            Some((next, gap)) if gap * beat <= 1.2 && gap <= 1.0 && raw >= 0.15 * gap && !whole => {
                let share = raw / gap;
                staccato = share <= 0.5 || (share <= 0.6 && gap * beat <= 0.350);
                next - at
            }
            Some((next, _)) if short => value(raw / STACCATO).min(next - at),
            Some((next, _)) => end_near(at, raw, beat, &onsets).unwrap_or(next - at).min(next - at),
            None if short => value(raw / STACCATO),
            None => end_near(at, raw, beat, &onsets).unwrap_or_else(|| value(raw)),
        };
        note.length = if length.is_positive() { length } else { Beats::new(1, 8) };
        if silent && staccato && !whole {
            note.marks.add(Mark::Staccato);
        }
    }
    if silent {
        connect(notes, &clock);
    }
}

fn is_short(note: &Note) -> bool {
    let named = note.named.as_deref().is_some_and(|n| {
        [named::STACCATO, named::STACCATISSIMO, named::SPICCATO, named::PIZZICATO, named::SNAP_PIZZICATO]
            .contains(&n)
    });
    named || note.marks.has(Mark::Staccato) || note.marks.has(Mark::Spiccato)
}

/// The plain value nearest to a length in quarters.
fn value(quarters: f64) -> Beats {
    let plain = [(1, 8), (1, 4), (1, 2), (3, 4), (1, 1), (3, 2), (2, 1), (3, 1), (4, 1)];
    let away = |p: &(i64, i64)| {
        let ratio = quarters.max(0.01) * p.1 as f64 / p.0 as f64;
        ripieno_units::math::ln(ratio).abs()
    };
    plain.iter().min_by(|a, b| away(a).total_cmp(&away(b))).map_or(Beats::new(1, 4), |p| Beats::new(p.0, p.1))
}

/// Where a note that is let go after `raw` quarters is written to end: at an onset of its track, or on a quarter or third
/// of the beat. Rather late than early, as notes are let go before their end.
fn end_near(at: Beats, raw: f64, beat: f64, onsets: &[Beats]) -> Option<Beats> {
    let end = at.quarters() + raw;
    let cost = |candidate: Beats, extra: f64| {
        let late = (candidate.quarters() - end) * beat;
        (if late >= 0.0 { (late - EARLY).max(0.0) + 0.2 * late } else { -1.5 * late }) + extra
    };
    let mut best: Option<(f64, Beats)> = None;
    let mut offer = |candidate: Beats, extra: f64| {
        let cost = cost(candidate, extra);
        if candidate > at && best.is_none_or(|b| cost < b.0) {
            best = Some((cost, candidate));
        }
    };
    let i = onsets.partition_point(|o| o.quarters() < end);
    for onset in onsets[i.saturating_sub(1)..(i + 2).min(onsets.len())].iter() {
        offer(*onset, 0.0);
    }
    for (parts, extra) in [(1i64, 0.01), (2, 0.02), (4, 0.04), (3, 0.05)] {
        let low = (end * parts as f64).floor() as i64;
        offer(Beats::new(low, parts), extra);
        offer(Beats::new(low + 1, parts), extra);
    }
    best.map(|b| b.1 - at)
}

/// Slurs over notes of one line that are held into each other.
fn connect(notes: &mut [Note], clock: &ripieno_music::Clock) {
    for i in 0..notes.len().saturating_sub(1) {
        let (a, b) = (&notes[i], &notes[i + 1]);
        let alone = (i == 0 || notes[i - 1].at != a.at)
            && a.at != b.at
            && notes.get(i + 2).is_none_or(|n| n.at != b.at);
        let (Some(pa), Some(pb)) = (a.played, b.played) else { continue };
        let overlap = clock.seconds(pa.at + pa.length).0 - clock.seconds(pb.at).0;
        let same = a.pitch().map(|p| p.key) == b.pitch().map(|p| p.key);
        if alone && !same && a.pitch().is_some() && (0.004..=CONNECTED).contains(&overlap) {
            notes[i].slurs_on = true;
            notes[i + 1].slurred = true;
        }
    }
}
