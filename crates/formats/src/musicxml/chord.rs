//! What a bar's notes share, once all of them are known: marks of chords, pairs of tremolos, grace notes.

use super::sheet::{RawKind, RawNote, RawTremolo, TremoloKind};
use super::walk::{Waiting, Walker};
use super::warn::Doubts;
use ripieno_music::{Grace, Mark, Marks, NoteKind, OrnamentKind};
use ripieno_units::Beats;
use std::collections::BTreeMap;

/// Marks that belong to one note of a chord alone.
const OWN: [Mark; 3] = [Mark::Harmonic, Mark::OpenString, Mark::LetRing];

fn semitones(note: &RawNote) -> i32 {
    match note.kind {
        NoteKind::Pitched(p) => i32::from(p.key) * 100 + i32::from(p.cents),
        NoteKind::Unpitched { .. } => 0,
    }
}

impl Walker {
    pub fn finish_bar(&mut self, doubts: &mut Doubts) {
        let graces = std::mem::take(&mut self.graces);
        let mut notes = std::mem::take(&mut self.bar.notes);
        share(&mut notes);
        self.settle_hidden(&mut notes, doubts);
        join_tremolos(&mut notes);
        self.attach_graces(&mut notes, graces, doubts);
        notes.sort_by_key(|n| (n.at, n.group));
        self.bar.directions.sort_by_key(|d| d.0);
        let mut kept = Vec::with_capacity(self.bar.directions.len());
        for (at, staff, kind) in std::mem::take(&mut self.bar.directions) {
            let RawKind::Ornament(ornament) = kind else {
                kept.push((at, staff, kind));
                continue;
            };
            let from = notes.partition_point(|n| n.at < at);
            let there = |n: &&mut RawNote| staff.is_none_or(|s| s == n.staff);
            match notes[from..].iter_mut().take(256).find(there) {
                Some(note) => {
                    note.ornament = note.ornament.or_else(|| self.neighbours(note, ornament, None, None))
                }
                None => self.doubt(doubts, "an ornament in words that stands at no note is passed over"),
            }
        }
        self.bar.directions = kept;
        self.bar.notes = notes;
    }

    fn attach_graces(&mut self, notes: &mut [RawNote], graces: Vec<Waiting>, doubts: &mut Doubts) {
        if graces.is_empty() {
            return;
        }
        // Groups by voice in the order of the file.
        let mut groups: BTreeMap<u16, BTreeMap<u32, Vec<usize>>> = BTreeMap::new();
        for (i, note) in notes.iter().enumerate() {
            groups.entry(note.voice).or_default().entry(note.group).or_default().push(i);
        }
        for members in groups.values_mut().flat_map(BTreeMap::values_mut) {
            members.sort_by_key(|i| std::cmp::Reverse(semitones(&notes[*i])));
        }
        // Rows of grace notes between the same two groups.
        type Row = Vec<(u32, Beats, Grace)>;
        let mut rows: BTreeMap<(u16, Option<u32>, Option<u32>), Row> = BTreeMap::new();
        for one in graces {
            let voice = groups.get(&one.voice);
            let before = voice.and_then(|g| g.range(..one.group).next_back()).map(|g| *g.0);
            let after = voice.and_then(|g| g.range(one.group..).next()).map(|g| *g.0);
            rows.entry((one.voice, before, after)).or_default().push((one.group, one.at, one.grace));
        }
        for ((voice, before, after), row) in rows {
            let members = |group: Option<u32>| group.and_then(|g| groups.get(&voice)?.get(&g));
            match (members(before), members(after)) {
                (Some(trilled), Some(_)) if ends_trill(notes, trilled, &row) => {
                    spread(notes, trilled, &row, |n| &mut n.graces_after);
                }
                (_, Some(next)) => {
                    if row.len() > next.len() && has_chord(&row, next.len()) {
                        self.doubt(
                            doubts,
                            "a chord of grace notes before fewer notes is played one after the other",
                        );
                    }
                    spread(notes, next, &row, |n| &mut n.graces);
                }
                (Some(last), None) => spread(notes, last, &row, |n| &mut n.graces_after),
                (None, None) => {
                    self.bar.dangling.push((voice, row.into_iter().map(|(_, at, g)| (at, g)).collect()));
                }
            }
        }
    }
}

/// Has the row a chord of more notes than this?
fn has_chord(row: &[(u32, Beats, Grace)], notes: usize) -> bool {
    row.chunk_by(|a, b| a.0 == b.0).any(|c| c.len() > notes)
}

/// The turned end of a trill: two grace notes, the lower neighbour and the trilled note itself (the common form; D. G. Türk,
/// Klavierschule, 1789, on the Nachschlag, from memory).
fn ends_trill(notes: &[RawNote], trilled: &[usize], row: &[(u32, Beats, Grace)]) -> bool {
    let [(a, _, low), (b, _, main)] = row else { return false };
    a != b
        && !low.slashed
        && !main.slashed
        && low.pitch.key < main.pitch.key
        && trilled.iter().any(|i| {
            notes[*i].ornament.is_some_and(|o| o.kind == OrnamentKind::Trill)
                && notes[*i].kind == NoteKind::Pitched(main.pitch)
        })
}

/// Gives a row of grace notes to the notes of a chord, from the top: a chord of grace notes to as many notes, a single one to
/// the highest, which is heard as the tune.
fn spread(
    notes: &mut [RawNote],
    members: &[usize],
    row: &[(u32, Beats, Grace)],
    place: impl Fn(&mut RawNote) -> &mut Vec<Grace>,
) {
    for chord in row.chunk_by(|a, b| a.0 == b.0) {
        let mut chord: Vec<Grace> = chord.iter().map(|c| c.2).collect();
        chord.sort_by_key(|g| std::cmp::Reverse(g.pitch));
        for (i, grace) in chord.into_iter().enumerate() {
            if let Some(note) = members.get(i.min(members.len().saturating_sub(1))) {
                place(&mut notes[*note]).push(grace);
            }
        }
    }
}

/// Marks and tremolo strokes stand once for all notes of a chord.
fn share(notes: &mut [RawNote]) {
    for chord in notes.chunk_by_mut(|a, b| a.group == b.group) {
        if chord.len() < 2 {
            continue;
        }
        let mut marks = chord.iter().fold(Marks::default(), |all, n| all.union(n.marks));
        OWN.iter().for_each(|m| marks.remove(*m));
        // The string that is stopped, where it is touched and what sounds of it: one harmonic.
        if chord.iter().any(|n| n.touched && n.marks.has(Mark::Harmonic)) {
            marks.add(Mark::Harmonic);
        }
        let tremolo = chord.iter().find_map(|n| n.tremolo);
        let broken: Vec<_> = chord.iter().filter_map(|n| n.arpeggio).collect();
        for note in chord.iter_mut() {
            note.marks = note.marks.union(marks);
            note.tremolo = note.tremolo.or(tremolo);
            if let [one] = broken[..] {
                note.arpeggio = Some(one);
            }
        }
    }
}

/// A tremolo between two notes, each written with half the length, becomes one note of the whole.
fn join_tremolos(notes: &mut Vec<RawNote>) {
    if notes.iter().all(|n| n.tremolo.is_none()) {
        return;
    }
    let ranges = groups(notes);
    let mut open: BTreeMap<u16, std::ops::Range<usize>> = BTreeMap::new();
    let mut gone = vec![false; notes.len()];
    for range in ranges {
        let lead = &notes[range.start];
        let Some(tremolo) = lead.tremolo else { continue };
        match tremolo.kind {
            TremoloKind::First => {
                open.insert(lead.voice, range);
            }
            TremoloKind::Second => {
                let Some(first) = open.remove(&lead.voice) else { continue };
                let meets = notes[first.start].at + notes[first.start].length == lead.at;
                let pitches: Option<Vec<_>> = notes[range.clone()]
                    .iter()
                    .map(|n| if let NoteKind::Pitched(p) = n.kind { Some(p) } else { None })
                    .collect();
                let (Some(pitches), true) = (pitches, meets) else { continue };
                let (at, length, group) = (notes[first.start].at, lead.length, notes[first.start].group);
                for (k, i) in first.clone().enumerate() {
                    let other = pitches[k.min(pitches.len() - 1)];
                    notes[i].length += length;
                    notes[i].tremolo = Some(RawTremolo { kind: TremoloKind::Joined(other), ..tremolo });
                }
                let whole = notes[first.start].length;
                for (k, i) in range.enumerate() {
                    let marks = notes[i].marks;
                    if k < first.len() {
                        let into = &mut notes[first.start + k];
                        into.marks = into.marks.union(marks);
                        gone[i] = true;
                    } else {
                        // More notes in the second chord than in the first: those are struck through the whole length.
                        let extra = &mut notes[i];
                        (extra.at, extra.length, extra.group) = (at, whole, group);
                        extra.tremolo = Some(RawTremolo { kind: TremoloKind::Single, ..tremolo });
                    }
                }
            }
            TremoloKind::Single | TremoloKind::Joined(_) => {}
        }
    }
    let mut gone = gone.into_iter();
    notes.retain(|_| !gone.next().unwrap_or(false));
}

fn groups(notes: &[RawNote]) -> Vec<std::ops::Range<usize>> {
    let mut start = 0;
    notes
        .chunk_by(|a, b| a.group == b.group)
        .map(|c| {
            start += c.len();
            start - c.len()..start
        })
        .collect()
}
