//! Laws that hold for any music.

mod common;

use common::*;
use proptest::prelude::*;
use ripieno_casting::{cast, share::share};
use ripieno_music::Note;
use ripieno_units::Beats;

fn tune() -> impl Strategy<Value = Vec<Note>> {
    proptest::collection::vec((0i64..64, 1i64..12, 30i16..90, 1u16..3, any::<[bool; 2]>()), 1..40).prop_map(
        |notes| {
            let mut notes: Vec<Note> = notes
                .into_iter()
                .map(|(at, length, key, voice, [a, b])| {
                    let mut n = note((at, 2), (length, 3), key);
                    (n.voice, n.slurred, n.slurs_on) = (voice, a, b);
                    n
                })
                .collect();
            notes.sort_by_key(|n| (n.at, n.voice, n.pitch()));
            notes
        },
    )
}

proptest! {
    /// An octave moves what sounds and nothing else; a col of a col adds its octaves.
    #[test]
    fn octaves_add_up(notes in tune(), a in -2i16..3, b in -2i16..3) {
        let music = score(8, &[("Lead", notes)]);
        let chairs = template(&[("x", "flute"), ("y", "oboe"), ("z", "bassoon")]);
        let plan = plan(&[("melody", "Lead")], vec![passage("A", 1, 8, vec![
            cell("x", vec![line("melody")], vec![]),
            cell("y", vec![col("x", 12 * a)], vec![]),
            cell("z", vec![col("y", 12 * b)], vec![]),
        ])]);
        let (parts, _) = cast(&music, &plan, &chairs);
        let moved = |by: i16| -> Vec<Note> {
            part(&parts, "x").content.notes.iter().map(|n| n.clone().moved(12 * by)).collect()
        };
        prop_assert_eq!(&part(&parts, "x").content.notes, &music.tracks[0].content.notes);
        prop_assert_eq!(&part(&parts, "y").content.notes, &moved(a));
        prop_assert_eq!(&part(&parts, "z").content.notes, &moved(a + b));
    }

    /// However bars are divided into passages, each note is played once by whoever has its passage.
    #[test]
    fn no_note_is_lost_between_chairs(notes in tune(), cut in 1i32..8) {
        let music = score(8, &[("Lead", notes)]);
        let chairs = template(&[("x", "flute"), ("y", "oboe")]);
        let plan = plan(&[("melody", "Lead")], vec![
            passage("A", 1, cut, vec![cell("x", vec![line("melody")], vec![])]),
            passage("B", cut + 1, 8, vec![cell("y", vec![line("melody")], vec![])]),
        ]);
        let (parts, _) = cast(&music, &plan, &chairs);
        let mut all: Vec<(Beats, Beats, i16)> = parts
            .iter()
            .flat_map(|p| &p.content.notes)
            .map(|n| (n.at, n.length, n.pitch().map_or(0, |p| p.key)))
            .collect();
        let mut source: Vec<(Beats, Beats, i16)> = music.tracks[0]
            .content
            .notes
            .iter()
            .map(|n| (n.at, n.length, n.pitch().map_or(0, |p| p.key)))
            .collect();
        all.sort();
        source.sort();
        prop_assert_eq!(all, source);
    }

    /// Chords of at most `count` notes: every note is played, voices do not cross, each has one note at a time.
    #[test]
    fn chords_shared_out(
        chords in proptest::collection::vec(proptest::collection::btree_set(40i16..80, 1..5), 1..12),
        count in 4usize..6,
    ) {
        let notes: Vec<Note> = chords
            .iter()
            .enumerate()
            .flat_map(|(i, c)| c.iter().map(move |k| note((i as i64, 1), (1, 1), *k)))
            .collect();
        let shared = share(&notes, count);
        prop_assert_eq!(shared.left_out.len(), 0);
        prop_assert_eq!(shared.voices.len(), count);
        for (i, chord) in chords.iter().enumerate() {
            let taken: Vec<i16> =
                shared.voices.iter().map(|v| v[i].pitch().map_or(0, |p| p.key)).collect();
            prop_assert!(taken.windows(2).all(|w| w[0] >= w[1]), "{:?}", taken);
            let mut distinct = taken.clone();
            distinct.dedup();
            distinct.reverse();
            prop_assert_eq!(distinct, chord.iter().copied().collect::<Vec<_>>());
        }
    }

    /// Any overlap of notes: no voice has two at once, and what is left out is counted.
    #[test]
    fn voices_have_one_note_at_a_time(notes in tune(), count in 1usize..6) {
        let shared = share(&notes, count);
        let mut played = 0;
        for voice in &shared.voices {
            for pair in voice.windows(2) {
                prop_assert!(pair[0].end() <= pair[1].at);
            }
            prop_assert!(voice.iter().all(|n| n.length.is_positive()));
            played += voice.len();
        }
        prop_assert!(played + shared.left_out.len() >= notes.len());
    }
}
