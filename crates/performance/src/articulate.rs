//! Which articulation a note has: signs first, then words, then the slur, then what the notes themselves tell.

use crate::nature::Nature;
use crate::state::State;
use ripieno_music::{Glide, Mark, Note, OrnamentKind, named};

/// Strokes quicker than this are a tremolo to the ear, slower ones are counted notes
/// (articulation inference from notes, threshold 110 ms; a little more for written beams).
pub const TREMOLO_INTERVAL: f64 = 0.120;

/// What surrounds a note, for choosing its articulation.
pub struct Around<'a> {
    /// The words in force.
    pub state: &'a State,
    /// What kind of instrument plays.
    pub nature: Nature,
    /// Written length in seconds.
    pub seconds: f64,
    /// Seconds between the strokes of its written tremolo, if it has beams through its stem.
    pub stroke_interval: Option<f64>,
    /// What the notes tell, where the source carries no signs.
    pub inferred: Option<&'static str>,
}

/// The articulation of a note by its name.
pub fn choose(note: &Note, around: &Around<'_>) -> &'static str {
    let state = around.state;
    if state.swell {
        return named::SWELL;
    }
    let trilled = note.ornament.is_some_and(|o| matches!(o.kind, OrnamentKind::Trill | OrnamentKind::Shake));
    let beams = note.tremolo.is_some_and(|t| t.strokes == 0 || t.with.is_some())
        || around.stroke_interval.is_some_and(|s| s <= TREMOLO_INTERVAL);
    if around.nature.is_struck() {
        match state.rolled {
            Some(true) => return named::ROLL,
            Some(false) => {}
            None if beams || state.trem || (trilled && around.nature.rolls_trills()) => return named::ROLL,
            None => {}
        }
    } else if beams || (state.trem && !state.pizz && note.tremolo.is_none()) {
        return named::TREMOLO;
    }
    if trilled && !around.nature.rolls_trills() {
        return trill(note);
    }
    if note.glide == Some(Glide::Glissando) || note.glide == Some(Glide::Slide) {
        return named::GLISSANDO;
    }
    if note.marks.has(Mark::SnapPizz) {
        return named::SNAP_PIZZICATO;
    }
    if around.nature == Nature::Bowed && (state.pizz || note.marks.has(Mark::Stopped)) {
        return named::PIZZICATO;
    }
    let named = signed(note).or(state.style).unwrap_or_else(|| unsigned(note, around));
    // A stroke on a bar is neither connected nor held back by the signs of a line that it doubles (common practice, no
    // source). Timpani keep theirs: a slur there is written for them.
    let bar = matches!(around.nature, Nature::Struck | Nature::Unpitched);
    match named {
        named::LEGATO | named::DETACHE | named::PORTATO if bar => named::SUSTAIN,
        other => other,
    }
}

/// By the signs at the note.
fn signed(note: &Note) -> Option<&'static str> {
    let has = |mark| note.marks.has(mark);
    let under_slur = note.slurred || note.slurs_on;
    if has(Mark::Portato)
        || (under_slur && (has(Mark::Staccato) || has(Mark::Tenuto)))
        || (has(Mark::Staccato) && has(Mark::Tenuto))
    {
        return Some(named::PORTATO);
    }
    if has(Mark::Staccatissimo) {
        return Some(named::STACCATISSIMO);
    }
    if has(Mark::Spiccato) {
        return Some(named::SPICCATO);
    }
    if has(Mark::Marcato) && !note.slurred {
        return Some(named::MARCATO);
    }
    if has(Mark::Staccato) {
        return Some(named::STACCATO);
    }
    // Inside a slur an accent is pressure on a connected note: it stays legato, and louder.
    if has(Mark::Accent) && !note.slurred {
        return Some(named::ACCENT);
    }
    if has(Mark::Tenuto) {
        return Some(named::DETACHE);
    }
    under_slur.then_some(named::LEGATO)
}

fn unsigned(note: &Note, around: &Around<'_>) -> &'static str {
    if let Some(inferred) = around.inferred {
        return inferred;
    }
    if note.tremolo.is_some() {
        return named::DETACHE; // counted repetitions
    }
    // A plain note is tongued or bowed anew; held long, it is simply held (common practice, no source).
    if around.nature.sustains() && around.seconds < 0.6 && around.nature != Nature::Sung {
        named::DETACHE
    } else {
        named::SUSTAIN
    }
}

/// Trill by a semitone or a whole tone.
fn trill(note: &Note) -> &'static str {
    let above = note.ornament.and_then(|o| o.above).zip(note.pitch());
    match above {
        Some((above, main)) if above.key - main.key <= 1 => named::TRILL_1,
        _ => named::TRILL_2,
    }
}

/// Share of its written length that a note of this articulation sounds (Bresin and Battel 2000: staccato 0.4, repeated
/// notes 0.6 of the interval; the others proposals in their order).
pub fn sounding_share(articulation: &str) -> f64 {
    match articulation {
        named::STACCATO | named::SPICCATO => 0.40,
        named::STACCATISSIMO => 0.30,
        named::MARCATO => 0.70,
        named::PORTATO => 0.80,
        named::ACCENT => 0.90,
        named::DETACHE => 0.92,
        named::SUSTAIN => 0.97,
        _ => 1.0,
    }
}

/// What a single line of notes without signs tells (rule table of articulation inference; first match wins).
pub struct Inference {
    /// More than nine tenths of the notes fill their time: the file was quantised and tells nothing.
    pub no_evidence: bool,
    /// By index of the note.
    pub names: Vec<Option<&'static str>>,
}

/// One note of a line as inference sees it.
#[derive(Clone, Copy, Debug)]
pub struct Timed {
    /// Onset in seconds.
    pub onset: f64,
    /// End in seconds.
    pub end: f64,
    /// Key.
    pub key: i16,
    /// Velocity, 0 where unknown.
    pub velocity: f64,
}

/// Infers the articulation of a line from its notes.
pub fn infer(line: &[Timed], nature: Nature) -> Inference {
    if !nature.sustains() || line.is_empty() {
        return Inference { no_evidence: false, names: vec![None; line.len()] };
    }
    let ratio = |i: usize| {
        let next = line.get(i + 1)?;
        let interval = next.onset - line[i].onset;
        (interval > 0.0).then(|| ((line[i].end - line[i].onset) / interval, interval))
    };
    let ratios: Vec<f64> = (0..line.len()).filter_map(ratio).map(|r| r.0).filter(|d| *d > 0.2).collect();
    let filled = ratios.iter().filter(|d| (**d - 1.0).abs() <= 0.02).count();
    let no_evidence = !ratios.is_empty() && filled * 10 > ratios.len() * 9;
    let mean = line.iter().map(|n| n.velocity).sum::<f64>() / line.len() as f64;
    let variance =
        line.iter().map(|n| (n.velocity - mean) * (n.velocity - mean)).sum::<f64>() / line.len() as f64;
    let deviation = ripieno_units::math::sqrt(variance).max(1.0);
    let mut names: Vec<Option<&'static str>> = (0..line.len())
        .map(|i| {
            let Some((d, interval)) = ratio(i) else {
                // The last note, or one before a rest, goes with the note before it.
                return None;
            };
            let repeated = line[i + 1].key == line[i].key;
            let loud = (line[i].velocity - mean) / deviation >= 1.0;
            Some(if repeated && run_of_repeats(line, i) {
                named::TREMOLO
            } else if no_evidence {
                if interval >= 1.0 / 3.0 && !repeated { named::LEGATO } else { named::DETACHE }
            } else if d <= 0.5 || (d <= 0.6 && interval <= 0.350) {
                if interval <= 0.220 { named::SPICCATO } else { named::STACCATO }
            } else if d <= 0.8 && loud {
                named::MARCATO
            } else if d < 0.9 {
                named::PORTATO
            } else if d >= 0.95 && !repeated {
                named::LEGATO
            } else {
                named::DETACHE
            })
        })
        .collect();
    for i in 1..names.len() {
        if names[i].is_none() {
            names[i] = names[i - 1].filter(|n| *n != named::TREMOLO);
        }
    }
    smooth(&mut names);
    Inference { no_evidence, names }
}

/// At least four quick even strokes of one pitch around `i`: a tremolo written out.
fn run_of_repeats(line: &[Timed], i: usize) -> bool {
    let same = |a: usize, b: usize| {
        let interval = line[b].onset - line[a].onset;
        line[a].key == line[b].key && interval > 0.0 && interval <= 0.110
    };
    let mut first = i;
    while first > 0 && same(first - 1, first) {
        first -= 1;
    }
    let mut last = i;
    while last + 1 < line.len() && same(last, last + 1) {
        last += 1;
    }
    last - first >= 3
}

/// A single note between two others that agree goes with them (three-note majority).
fn smooth(names: &mut [Option<&'static str>]) {
    for i in 1..names.len().saturating_sub(1) {
        let (before, after) = (names[i - 1], names[i + 1]);
        if before == after && before.is_some() && names[i] != before && names[i] == Some(named::DETACHE) {
            names[i] = before;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Eight notes of a scale, 500 ms apart, sounding a share `d` of that (methods of articulation inference, test).
    fn scale(d: f64) -> Vec<Timed> {
        (0..8)
            .map(|i| {
                let onset = 0.5 * f64::from(i);
                Timed { onset, end: onset + 0.5 * d, key: 60 + i as i16, velocity: 64.0 }
            })
            .collect()
    }

    #[test]
    fn the_published_anchors() {
        for (d, name) in
            [(0.40, named::STACCATO), (0.70, named::PORTATO), (0.93, named::DETACHE), (1.04, named::LEGATO)]
        {
            let inference = infer(&scale(d), Nature::Bowed);
            assert!(inference.names.iter().all(|n| *n == Some(name)), "{d}: {:?}", inference.names);
        }
    }

    #[test]
    fn quick_repeats_are_one_tremolo_and_a_filled_grid_is_no_evidence() {
        let quick: Vec<Timed> = (0..16)
            .map(|i| {
                let onset = 0.09 * f64::from(i);
                Timed { onset, end: onset + 0.09, key: 60, velocity: 64.0 }
            })
            .collect();
        let inference = infer(&quick, Nature::Bowed);
        assert!(inference.names[..15].iter().all(|n| *n == Some(named::TREMOLO)));
        assert!(infer(&scale(1.0), Nature::Bowed).no_evidence);
        assert!(!infer(&scale(0.9), Nature::Bowed).no_evidence);
    }
}
