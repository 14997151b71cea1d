//! Prints what a cue's music has and what its chairs play, note by note, for checks by other programs: `cast_notes CUE`.
//!
//! Rows, parted by tabs: `music` or `part`, the chair, then onset and length in crotchets (fractions), the pitch or stroke,
//! slurs and signs. `doubled` rows count the bars of each doubling that was found in the music: the chair, how many bars it
//! has notes in, in how many of those both have the same notes, and how many of each the plan writes as `col`; last in how
//! many it writes as `col` all that both have, and only what the leader has not as written. `why` rows say of the other
//! doubled bars what differs at the least. A doubling is `col` too where one goes with the other through
//! a third. Voices of another's chords and roots of its figures are not counted, nor singers beside
//! instruments that have their notes among others: they are no `col`.

use ripieno_casting::{cast, chairs_of};
use ripieno_cue::Cue;
use ripieno_music::{Bar, Doubling, Note, NoteKind, Score};
use ripieno_plan::{Plan, Source};
use std::collections::BTreeMap;
use std::path::Path;

fn main() {
    let Some(folder) = std::env::args().nth(1) else {
        eprintln!("usage: cast_notes CUE");
        std::process::exit(2);
    };
    let cue = match Cue::open(Path::new(&folder)) {
        Ok(cue) => cue,
        Err(error) => {
            eprintln!("{error}");
            std::process::exit(1);
        }
    };
    let (score, plan) = (&cue.score, &cue.plan);
    let chairs = chairs_of(score);
    for chair in &chairs {
        rows("music", &chair.id, &score.tracks[chair.track].content.notes);
    }
    let (parts, findings) = cast(score, plan, &cue.template);
    for part in &parts {
        rows("part", &part.chair, &part.content.notes);
    }
    for finding in &findings {
        println!("finding\t{}\t{}", finding.rule, finding.message);
    }
    let reading = ripieno_discovery::read(score);
    let name = |track: usize| chairs.iter().find(|c| c.track == track).map(|c| c.id.as_str());
    // Who sings goes with no accompaniment.
    let sings = |track: usize| score.tracks[track].is_sung();
    let follows = |d: &Doubling| !d.coincides && (!sings(d.track) || sings(d.of));
    for chair in &chairs {
        let mut counts = [0_usize; 5];
        let mut reasons: BTreeMap<&str, usize> = BTreeMap::new();
        let own: Vec<_> = reading.doublings.iter().filter(|d| d.track == chair.track && follows(d)).collect();
        for bar in &score.timeline.bars {
            let here: Vec<_> =
                own.iter().filter(|d| d.from_bar <= bar.number && d.to_bar >= bar.number).collect();
            let mine = inside(score, chair.track, bar);
            if here.is_empty() || mine.is_empty() {
                continue;
            }
            let same = here.iter().any(|d| alike(&mine, &inside(score, d.of, bar), d.semitones));
            // The doubling is said in the plan if either goes with the other.
            let col = goes(score, plan, &chair.id, bar, &mine, None)
                || here.iter().any(|d| {
                    name(d.of).is_some_and(|leader| {
                        goes(score, plan, leader, bar, &inside(score, d.of, bar), Some(&chair.id))
                    })
                });
            // The notes that both have, without those that the leader has not: a `col` can say no more of that bar.
            let theirs: Vec<_> = here.iter().map(|d| (inside(score, d.of, bar), d.semitones)).collect();
            let shared =
                mine.iter().copied().filter(|n| theirs.iter().any(|(of, semitones)| has(of, n, *semitones)));
            let parted = col || goes(score, plan, &chair.id, bar, &shared.collect::<Vec<_>>(), None);
            counts[0] += 1;
            counts[1] += usize::from(same);
            counts[2] += usize::from(col);
            counts[3] += usize::from(col && same);
            counts[4] += usize::from(parted);
            if !parted {
                let least = here.iter().map(|d| differs(&mine, &inside(score, d.of, bar), d.semitones)).min();
                *reasons.entry(least.map_or("", |(_, why)| why)).or_default() += 1;
            }
        }
        let [found, same, col, both, parted] = counts;
        println!("doubled\t{}\t{found}\t{same}\t{col}\t{both}\t{parted}", chair.id);
        for (why, count) in reasons {
            println!("why\t{}\t{count}\t{why}", chair.id);
        }
    }
}

fn rows(what: &str, chair: &str, notes: &[Note]) {
    for n in notes {
        let pitch = match &n.kind {
            NoteKind::Pitched(pitch) => format!("{pitch:?}"),
            NoteKind::Unpitched { stroke } => stroke.clone(),
        };
        println!(
            "{what}\t{chair}\t{}\t{}\t{pitch}\t{}{}\t{:?}",
            n.at, n.length, n.slurred as u8, n.slurs_on as u8, n.marks
        );
    }
}

fn inside<'s>(score: &'s Score, track: usize, bar: &Bar) -> Vec<&'s Note> {
    let notes = score.tracks[track].content.notes.iter();
    let mut notes: Vec<&Note> = notes.filter(|n| n.at >= bar.at && n.at < bar.at + bar.length).collect();
    notes.sort_by_key(|n| (n.at, n.pitch()));
    notes
}

/// The same notes at a distance, whatever the text.
fn alike(mine: &[&Note], theirs: &[&Note], semitones: i16) -> bool {
    mine.len() == theirs.len()
        && mine.iter().zip(theirs).all(|(a, b)| {
            let mut moved = (*b).clone().moved(semitones);
            moved.syllable.clone_from(&a.syllable);
            a.plays_as(&moved)
        })
}

/// Has the other one this note too?
fn has(theirs: &[&Note], note: &Note, semitones: i16) -> bool {
    theirs.iter().any(|b| b.at == note.at && (*b).clone().moved(semitones).kind == note.kind)
}

/// What differs between two chairs' notes of a bar, with a rank: the least first.
fn differs(mine: &[&Note], theirs: &[&Note], semitones: i16) -> (usize, &'static str) {
    let moved: Vec<Note> = theirs.iter().map(|n| (*n).clone().moved(semitones)).collect();
    let has = |a: &Note, b: &Note| a.at == b.at && a.kind == b.kind;
    let lacking = mine.iter().filter(|a| !moved.iter().any(|b| has(a, b))).count();
    let fewer = moved.iter().filter(|b| !mine.iter().any(|a| has(a, b))).count();
    match (lacking, fewer) {
        (0, 0) if mine.len() == moved.len() => {}
        (0, 0) => return (3, "a note twice"),
        (0, _) => return (5, "fewer notes than the leader"),
        (_, 0) => return (6, "more notes than the leader"),
        _ => return (7, "other notes"),
    }
    let pairs = || mine.iter().zip(&moved);
    if pairs().any(|(a, b)| a.length != b.length) {
        return (4, "lengths");
    }
    if pairs().any(|(a, b)| (a.ornament, a.tremolo, a.glide) != (b.ornament, b.tremolo, b.glide)) {
        return (3, "tremolo, trill or slide");
    }
    if pairs().any(|(a, b)| a.graces.len() + a.graces_after.len() != b.graces.len() + b.graces_after.len()) {
        return (3, "grace notes");
    }
    if pairs().any(|(a, b)| a.marks != b.marks) {
        return (2, "signs");
    }
    if pairs().any(|(a, b)| (a.slurred, a.slurs_on) != (b.slurred, b.slurs_on)) {
        return (1, "slurs");
    }
    (0, "what stands around the notes, or where the bar lies")
}

/// Does a chair go with another (or with any) at all these notes of a bar, through whomever?
fn goes(score: &Score, plan: &Plan, chair: &str, bar: &Bar, notes: &[&Note], with: Option<&str>) -> bool {
    let passage = plan.passages.iter().find(|p| p.from_bar <= bar.number && p.to_bar >= bar.number);
    let Some(passage) = passage else { return false };
    let leader = |chair: &str, n: &Note| {
        let turns = passage.cells.iter().find(|c| c.chair == chair)?.words.divisions.first()?;
        let begun = |at: Option<ripieno_plan::PlaceWord>| {
            at.is_none_or(|w| score.timeline.at(w.bar, w.beat.unwrap_or(1.0)).is_some_and(|at| at <= n.at))
        };
        match &turns.iter().rev().find(|t| begun(t.from))?.source {
            Source::Col { chair } => Some(chair.as_str()),
            _ => None,
        }
    };
    let reaches = |n: &&Note| {
        let mut now = leader(chair, n);
        // A chain that casts has no circle; more than all chairs it cannot pass.
        for _ in 0..passage.cells.len() {
            match (now, with) {
                (None, _) => return false,
                (Some(_), None) => return true,
                (Some(one), Some(wanted)) if one == wanted => return true,
                (Some(one), _) => now = leader(one, n),
            }
        }
        false
    };
    !notes.is_empty() && notes.iter().all(reaches)
}
