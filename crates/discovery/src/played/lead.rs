//! Bars before bar 1: a file that begins with empty bars, so that early notes and calls have room; and bars after the last.

use ripieno_music::{DirectionKind, Played, Score, TimeMark};
use ripieno_units::Beats;

/// Moves a score so that its bar `bars + 1` becomes bar 1; the bars before it count down from 0. More bars than there are
/// leave the score as it is.
pub fn count_from(score: &mut Score, bars: u32) {
    let Some(by) = score.timeline.bars.get(bars as usize).map(|b| b.at).filter(|_| bars > 0) else { return };
    for (i, bar) in score.timeline.bars.iter_mut().enumerate() {
        bar.at -= by;
        bar.number = i32::try_from(i).unwrap_or(i32::MAX).saturating_sub(bars as i32).saturating_add(1);
        bar.printed = bar.number.to_string();
    }
    let timeline = &mut score.timeline;
    timeline.tempi.iter_mut().for_each(|t| t.at -= by);
    timeline.keys.iter_mut().for_each(|k| k.at -= by);
    timeline.marks.iter_mut().for_each(|m| m.at -= by);
    for track in &mut score.tracks {
        for note in &mut track.content.notes {
            note.at -= by;
            note.played = note.played.map(|p| Played { at: p.at - by, ..p });
        }
        for direction in &mut track.content.directions {
            direction.at -= by;
            match &mut direction.kind {
                DirectionKind::Hairpin { to, .. } | DirectionKind::Pedal { to } => *to -= by,
                _ => {}
            }
        }
        track.content.controls.iter_mut().for_each(|c| c.at -= by);
        track.transpositions.iter_mut().for_each(|t| t.0 -= by);
    }
}

/// Takes away bars at the end in which nothing is written: only a played note was let go in them, a little late.
pub fn trim_end(score: &mut Score) {
    let timeline = &mut score.timeline;
    let notes = score.tracks.iter().flat_map(|t| t.content.notes.iter().map(ripieno_music::Note::end));
    let Some(end) = notes.max() else { return };
    let marked = |at: Beats| {
        timeline.tempi.iter().any(|t| t.at >= at)
            || timeline.keys.iter().any(|k| k.at >= at)
            || timeline.marks.iter().any(|m| m.at >= at)
    };
    let empty = timeline.bars.iter().rev().take_while(|b| b.at >= end && !marked(b.at)).count();
    let left = timeline.bars.len().saturating_sub(empty).max(1);
    timeline.bars.truncate(left);
}

/// Takes away the empty bars before bar 1. Where notes are written in the last of them they are a pick-up: it begins on the
/// beat of the first. Bars further back with notes in them stay.
pub fn trim(score: &mut Score) {
    let first = score.tracks.iter().flat_map(|t| t.content.notes.iter().map(|n| n.at)).min();
    let Some(first) = first else { return };
    let bars = &mut score.timeline.bars;
    let holds = bars.partition_point(|b| b.at <= first).saturating_sub(1);
    let one = bars.partition_point(|b| b.at < Beats::ZERO);
    if one == 0 {
        return;
    }
    bars.drain(..holds.min(one));
    if let Some(bar) = bars.first_mut().filter(|b| b.number == 0 && first >= b.at) {
        let beat = bar.metre.beat();
        let beats = ((first - bar.at).ratio(beat) + 1e-9).floor() as i64;
        let lost = beat * beats;
        if lost < bar.length {
            bar.at += lost;
            bar.length -= lost;
        }
    }
    let start = bars.first().map_or(Beats::ZERO, |b| b.at);
    let timeline = &mut score.timeline;
    let now = timeline.tempo_at(start);
    timeline.tempi.retain(|t| t.at > start);
    timeline.tempi.insert(0, ripieno_music::Tempo { at: start, ..now });
    if let Some(key) = timeline.key_at(start) {
        timeline.keys.retain(|k| k.at > start);
        timeline.keys.insert(0, ripieno_music::Key { at: start, ..key });
    }
    timeline.marks.retain(|m: &TimeMark| m.at >= start);
}

#[cfg(test)]
mod tests {
    use super::*;
    use ripieno_music::{Metre, Note, Timeline, Track};

    #[test]
    fn bars_after_the_last_note_go() {
        let mut score = Score {
            title: None,
            composer: None,
            timeline: Timeline::regular(5, Metre { beats: 4, unit: 4 }, 100.0),
            tracks: vec![Track::default()],
            warnings: Vec::new(),
        };
        trim_end(&mut score);
        assert_eq!(score.timeline.bars.len(), 5, "nothing says where it ends");
        score.tracks[0].content.notes = vec![Note::plain(Beats::whole(8), Beats::whole(4), 60)];
        let mut marked = score.clone();
        let mark = ripieno_music::TimeMarkKind::Rehearsal;
        marked.timeline.marks.push(TimeMark { at: Beats::whole(12), kind: mark, text: "B".into() });
        trim_end(&mut score);
        trim_end(&mut marked);
        assert_eq!((score.timeline.bars.len(), marked.timeline.bars.len()), (3, 4));
    }
}
