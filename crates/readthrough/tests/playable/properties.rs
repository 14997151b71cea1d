//! Whatever stands on the desk, the rules neither panic nor change it, and say what they find in full.

use crate::bench::*;
use proptest::prelude::*;
use ripieno_music::{
    Direction, DirectionKind, Dynamic, Mark, Note, NoteKind, Ornament, OrnamentKind, Pitch, Playing, Tremolo,
};
use ripieno_units::Beats;

fn cases() -> u32 {
    std::env::var("RIPIENO_CASES").ok().and_then(|n| n.parse().ok()).unwrap_or(150)
}

fn note() -> impl Strategy<Value = Note> {
    let fancy = (0..8u8, -200..400i16, 0..9u8, any::<bool>(), any::<bool>());
    (0..200i64, 1..60i64, -40..200i16, 1..3u16, fancy).prop_map(
        |(at, length, key, voice, (kind, other, strokes, a, b))| {
            let mut note = Note::plain(Beats::new(at, 4), Beats::new(length, 8), key);
            note.voice = voice;
            (note.slurred, note.slurs_on) = (a, b);
            let pitch = Some(Pitch::of_key(other));
            match kind {
                0 => {
                    note.ornament =
                        Some(Ornament { kind: OrnamentKind::Trill, above: pitch.filter(|_| a), below: None })
                }
                1 => note.tremolo = Some(Tremolo { strokes, with: pitch.filter(|_| b) }),
                2 => note.marks.add(Mark::BreathAfter),
                3 => note.kind = NoteKind::Unpitched { stroke: "anvil".into() },
                4 => note = sung(vec![note], &["lu"]).remove(0),
                5 => note.velocity = Some(90),
                _ => {}
            }
            note
        },
    )
}

fn around() -> impl Strategy<Value = Direction> {
    use Playing::*;
    let words = vec![
        Pizz,
        Arco,
        ConSord,
        SenzaSord,
        Div(0),
        Div(9),
        Unis,
        Solo,
        Tutti,
        Together(3),
        Players(5),
        Trem(true),
        Roll,
        Harmonics,
        Ord,
    ];
    let kind = prop_oneof![
        prop::sample::select(words).prop_map(DirectionKind::Playing),
        prop::sample::select(vec![Dynamic::Ppp, Dynamic::Pp, Dynamic::Mf, Dynamic::Fff, Dynamic::Sfz])
            .prop_map(DirectionKind::Dynamic),
        (any::<bool>(), 0..60i64).prop_map(|(louder, to)| DirectionKind::Hairpin {
            louder,
            to: Beats::whole(to),
            niente: false
        }),
        prop::sample::select(vec!["muta in Ottavino", "to", "mutano in", ""])
            .prop_map(|t| DirectionKind::Words(t.into())),
    ];
    (0..60i64, kind).prop_map(|(at, kind)| direction(at, kind))
}

proptest! {
    #![proptest_config(ProptestConfig { cases: cases(), failure_persistence: None, ..ProptestConfig::default() })]
    #[test]
    fn no_score_makes_a_rule_fall_over(
        notes in prop::collection::vec(note(), 1..40),
        directions in prop::collection::vec(around(), 0..10),
        instrument in 0..ripieno_instruments::table().len(),
        players in 1..9u16,
        tempo in 20.0..400.0f64,
    ) {
        let instrument = &ripieno_instruments::table()[instrument];
        let cue = Cue::of(&instrument.id, players, tempo, notes, directions);
        let found = cue.findings();
        // A change that is offered can be made, and is read.
        for change in found.iter().filter_map(|f| f.change.as_ref()) {
            let mut changed = Cue { score: cue.score.clone(), plan: cue.plan.clone(), template: cue.template.clone() };
            if change.edits.iter().all(|e| matches!(e, ripieno_music::Edit::Cell { .. })) {
                changed.apply(change);
                changed.findings();
            }
        }
    }
}
