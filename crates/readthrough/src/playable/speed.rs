//! `repeat-speed`, `scale-speed`: repeated notes and scales against tongue, bow, finger, slide and stick.

use super::range::capital;
use super::sheet::{Read, Sheet, repeated_strokes};
use ripieno_instruments::{Family, players::limits};
use ripieno_music::{Finding, Severity};

/// So many notes in a row make a speed: fewer are a burst that most players throw off.
const WINDOW: usize = 5;
/// Longer from onset to onset than this is no run, seconds.
const RUN: f64 = 0.5;
/// So much above the most is beyond everybody.
const BEYOND: f64 = 1.5;
/// Runs under slurs are thrown off as a gesture, and each note matters less.
const BEYOND_SLURRED: f64 = 1.75;
/// Written speeds are not metronomes: so much over a limit is within it.
const TOLERANCE: f64 = 1.03;
/// Tonguing twice for so many notes in a row is worth knowing.
const LONG_RUN: usize = 16;

/// What a run is made of.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
enum Kind {
    /// One pitch, again and again.
    Repeated,
    /// Moving, each note with a tongue or a bow of its own.
    Separate,
    /// Moving under slurs.
    Slurred,
}

/// Notes a second: easily, and at most.
#[derive(Clone, Copy)]
struct Speed {
    easy: f64,
    most: f64,
    way: &'static str,
}

pub(crate) fn check(sheet: &Sheet<'_>, out: &mut Vec<Finding>) {
    let mut hits: Vec<(usize, Kind, f64, Speed)> = Vec::new();
    for voice in &sheet.voices {
        for window in voice.windows(WINDOW) {
            let reads: Vec<&Read<'_>> = window.iter().map(|i| &sheet.notes[*i]).collect();
            let Some(kind) = kind(&reads) else { continue };
            let Some(speed) = speed(sheet, reads[0], kind) else { continue };
            let time = reads[WINDOW - 1].from - reads[0].from;
            let rate = (WINDOW - 1) as f64 / time.max(1e-3);
            if rate > speed.easy * TOLERANCE {
                hits.extend(window.iter().map(|i| (*i, kind, rate, speed)));
            }
        }
    }
    measured(sheet, &mut hits);
    for kind in [Kind::Repeated, Kind::Separate, Kind::Slurred] {
        let mut indices: Vec<usize> = hits.iter().filter(|h| h.1 == kind).map(|h| h.0).collect();
        indices.sort_unstable();
        indices.dedup();
        for stretch in sheet.runs(&indices) {
            let worst = hits
                .iter()
                .filter(|h| h.1 == kind && stretch.hits.binary_search(&h.0).is_ok())
                .max_by(|a, b| (a.2 / a.3.most).total_cmp(&(b.2 / b.3.most)));
            let Some((_, _, rate, speed)) = worst.copied() else { continue };
            let beyond = if kind == Kind::Slurred { BEYOND_SLURRED } else { BEYOND };
            let severity = if rate > speed.most * beyond {
                Severity::Impossible
            } else if rate > speed.most * TOLERANCE {
                Severity::Hard
            } else if stretch.hits.len() >= LONG_RUN && sheet.desk.instrument.breath.is_some() {
                Severity::Advice
            } else {
                continue;
            };
            let plucked = stretch.hits.iter().all(|i| sheet.notes[*i].words.pizz);
            let (rule, what, remedy) = match kind {
                _ if plucked => (
                    if kind == Kind::Repeated { "repeat-speed" } else { "scale-speed" },
                    "plucked",
                    "Let two players or two halves of the section take turns, thin it out, or write arco",
                ),
                Kind::Repeated => (
                    "repeat-speed",
                    "repeated",
                    "Halve the notes, share them between two players, or let it be flutter-tongue, tremolo or roll",
                ),
                Kind::Separate => (
                    "scale-speed",
                    "moving, each by itself,",
                    "Slur them in groups, thin the run out, or hand it from player to player",
                ),
                Kind::Slurred => (
                    "scale-speed",
                    "under slurs",
                    "Thin the run out, hand it from player to player, or make it a glissando",
                ),
            };
            let name = sheet.desk.instrument.name();
            let limit = if severity == Severity::Advice {
                format!("above {} the {name} needs {}", number(speed.easy), speed.way)
            } else {
                let how = if plucked { " pizzicato" } else { "" };
                format!("the {name} manages about {}{how}", number(speed.most))
            };
            out.push(
                sheet
                    .found(rule, severity, &stretch)
                    .says(format!(
                        "{} {what} at {} a second: {limit}",
                        capital(&stretch.count()),
                        number(rate)
                    ))
                    .remedy(if severity == Severity::Advice {
                        "Ask the player, or slur some of them"
                    } else {
                        remedy
                    })
                    .done(),
            );
        }
    }
}

fn number(value: f64) -> String {
    format!("{:.1}", value).trim_end_matches(".0").to_string()
}

fn kind(reads: &[&Read<'_>]) -> Option<Kind> {
    let run = reads.windows(2).all(|w| w[1].from - w[0].from <= RUN && w[1].from > w[0].from);
    if !run || reads.iter().any(|r| repeated_strokes(r)) {
        return None;
    }
    // Plucked and bowed notes are no run together: the hand changes between them.
    if reads.iter().any(|r| r.words.pizz != reads[0].words.pizz) {
        return None;
    }
    let mut same = reads.windows(2).map(|w| w[0].note.kind == w[1].note.kind);
    if same.clone().all(|s| s) {
        return Some(Kind::Repeated);
    }
    if same.any(|s| s) {
        return None;
    }
    // A source that was played (MIDI) has no slurs: what moves may be slurred.
    let slurred = reads[1..].iter().filter(|r| r.note.slurred || r.note.velocity.is_some()).count();
    // Pairs under slurs are half as many tongues.
    Some(if slurred * 2 >= reads.len() - 1 { Kind::Slurred } else { Kind::Separate })
}

fn speed(sheet: &Sheet<'_>, read: &Read<'_>, kind: Kind) -> Option<Speed> {
    let instrument = sheet.desk.instrument;
    let repetition = &instrument.repetition;
    let fingers = limits(&instrument.id).and_then(|l| l.scale);
    if instrument.family == Family::Voices {
        // Syllables have a rule of their own; this is one vowel that moves.
        let (easy, most) = fingers?;
        return (kind != Kind::Repeated).then_some(Speed { easy, most, way: "a light coloratura voice" });
    }
    if read.words.pizz {
        let most = repetition.pizzicato?;
        return Some(Speed { easy: most, most, way: "two fingers" });
    }
    let bowed = instrument.family == Family::Strings;
    let struck = repetition.fast.unwrap_or(repetition.single);
    let rolled = repetition.roll.map_or(struck, |r| r.1.max(struck));
    let way = if bowed { "an off-string stroke" } else { "double-tonguing" };
    let articulated = Speed { easy: repetition.single, most: struck, way };
    if repetition.single <= 0.0 {
        return None;
    }
    match kind {
        Kind::Repeated => Some(Speed { most: rolled, ..articulated }),
        Kind::Separate => {
            // Keys, bars and plucked strings move faster than they repeat; the searches look at the hands.
            let (_, most) = fingers?;
            let most =
                if instrument.breath.is_some() { struck.min(most) } else { struck.max(most).min(most) };
            Some(Speed { easy: repetition.single.min(most), most, way })
        }
        Kind::Slurred => {
            let (easy, most) = fingers?;
            Some(Speed { easy, most, way: "a nimble player" })
        }
    }
}

/// Beams through the stem of one note: counted repetitions, for those who tongue each.
fn measured(sheet: &Sheet<'_>, hits: &mut Vec<(usize, Kind, f64, Speed)>) {
    let instrument = sheet.desk.instrument;
    if !matches!(instrument.family, Family::Woodwind | Family::Brass) {
        return;
    }
    for (i, read) in sheet.notes.iter().enumerate() {
        let Some(tremolo) = read.note.tremolo.filter(|t| t.with.is_none() && t.strokes > 0) else { continue };
        let Some(speed) = speed(sheet, read, Kind::Repeated) else { continue };
        let unit = read.note.length.quarters().clamp(1e-3, 1.0);
        let quarter = read.seconds() / read.note.length.quarters().max(1e-6);
        let interval = unit * quarter / f64::from(1u32 << u32::from(tremolo.strokes.min(8)));
        let rate = 1.0 / interval.max(1e-3);
        if rate > speed.most * TOLERANCE && read.seconds() >= (WINDOW - 1) as f64 * interval {
            hits.push((i, Kind::Repeated, rate, speed));
        }
    }
}
