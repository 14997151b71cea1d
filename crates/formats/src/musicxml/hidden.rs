//! Notes that are not printed but sound: kept, but for those that say once more what a printed note says.
//!
//! Common practice, no source: a long note with its repetitions unprinted is an abbreviation without its strokes. Programs that
//! play a file back are helped by an ornament written out, unprinted, under the printed note: who reads the printed sign, as a player
//! does, would hear it twice.

use super::sheet::{NEAR, RawNote, RawTremolo, TremoloKind};
use super::walk::Walker;
use super::warn::Doubts;
use ripieno_music::NoteKind;
use ripieno_units::Beats;
use std::collections::BTreeSet;

/// How far the first note of an ornament lies from its main note, in semitones.
const NEIGHBOUR: i32 = 2;

impl Walker {
    /// Takes hidden notes out that play a printed note's ornament, or double a printed note.
    pub fn settle_hidden(&self, notes: &mut Vec<RawNote>, doubts: &mut Doubts) {
        if notes.iter().all(|n| !n.hidden) {
            return;
        }
        let mut printed: Vec<usize> = (0..notes.len()).filter(|i| !notes[*i].hidden).collect();
        printed.sort_by_key(|i| notes[*i].at);
        // From the latest back: what covers a place began not many notes before it.
        let up_to = |at| {
            let until = printed.partition_point(|i| notes[*i].at <= at);
            printed[..until].iter().rev().take(NEAR).copied()
        };
        let mut gone = vec![false; notes.len()];
        let (mut given, mut shaken_now) = (Vec::new(), Vec::new());
        for run in runs(notes) {
            let (first, last) = (&notes[run[0]], &notes[run[run.len() - 1]]);
            let end = last.at + last.length;
            let ornament = run.iter().find_map(|i| notes[*i].ornament);
            let shaken = run.iter().any(|i| notes[*i].tremolo.is_some());
            let main = up_to(first.at).find(|i| {
                let n = &notes[*i];
                let signed = n.ornament.is_some() || n.tremolo.is_some();
                let near = key(n).zip(key(first)).is_some_and(|(a, b)| (a - b).abs() <= NEIGHBOUR);
                n.staff == first.staff
                    && end <= n.at + n.length
                    && (signed || near && (ornament.is_some() || shaken))
            });
            if let Some(main) = main {
                run.iter().for_each(|i| gone[*i] = true);
                if let Some(ornament) = ornament.filter(|_| notes[main].ornament.is_none()) {
                    given.push((main, ornament.kind));
                }
                self.doubt(doubts, "an ornament written out in unprinted notes is read from its sign alone");
                continue;
            }
            if let Some((main, strokes)) = up_to(first.at)
                .take_while(|i| notes[*i].at == first.at)
                .find_map(|i| abbreviated(notes, &run, i).map(|strokes| (i, strokes)))
            {
                run.iter().for_each(|i| gone[*i] = true);
                shaken_now.push((main, RawTremolo { strokes, kind: TremoloKind::Single }));
                continue;
            }
            for i in run {
                let note = &notes[i];
                let doubled = up_to(note.at)
                    .take_while(|o| notes[*o].at == note.at)
                    .any(|o| notes[o].kind == note.kind);
                // Of an ornament laid down a little early, what lies under its sign.
                let under = up_to(note.at).find(|o| note.at < notes[*o].at + notes[*o].length);
                let under_sign = under.is_some_and(|o| {
                    notes[o].ornament.is_some() && note.at + note.length <= notes[o].at + notes[o].length
                });
                gone[i] = doubled || under_sign;
            }
        }
        for (main, kind) in given {
            notes[main].ornament = self.neighbours(&notes[main], kind, None, None);
        }
        for (main, tremolo) in shaken_now {
            notes[main].tremolo = Some(tremolo);
        }
        let mut gone = gone.into_iter();
        notes.retain(|_| !gone.next().unwrap_or(false));
    }
}

/// The strokes of a long note whose repetitions are written out unprinted: all of its pitch, all alike, over its whole length.
fn abbreviated(notes: &[RawNote], run: &[usize], main: usize) -> Option<u8> {
    let (main, first) = (&notes[main], &notes[run[0]]);
    let alike = run.iter().enumerate().all(|(k, i)| {
        let n = &notes[*i];
        n.kind == main.kind && n.length == first.length && n.at == main.at + first.length * k as i64
    });
    let whole = first.length * run.len() as i64 == main.length;
    let strokes = (1..=4).find(|s| first.length == Beats::new(1, 1 << s));
    strokes.filter(|_| alike && whole && run.len() > 1 && main.staff == first.staff)
}

fn key(note: &RawNote) -> Option<i32> {
    match note.kind {
        NoteKind::Pitched(p) => Some(i32::from(p.key)),
        NoteKind::Unpitched { .. } => None,
    }
}

/// Hidden notes of one voice that follow each other without a gap, under one printed note.
fn runs(notes: &[RawNote]) -> Vec<Vec<usize>> {
    let mut hidden: Vec<usize> = (0..notes.len()).filter(|i| notes[*i].hidden).collect();
    hidden.sort_by_key(|i| (notes[*i].staff, notes[*i].voice, notes[*i].at));
    let printed: BTreeSet<(u8, Beats)> =
        notes.iter().filter(|n| !n.hidden).map(|n| (n.staff, n.at)).collect();
    let follows = |a: &usize, b: &usize| {
        let (a, b) = (&notes[*a], &notes[*b]);
        (a.staff, a.voice) == (b.staff, b.voice)
            && (b.at == a.at || b.at == a.at + a.length && !printed.contains(&(b.staff, b.at)))
    };
    hidden.chunk_by(follows).map(<[usize]>::to_vec).collect()
}
