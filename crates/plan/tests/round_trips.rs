//! Whatever can be said in a cell or a card is written so that it reads back as the same.

use proptest::prelude::*;
use ripieno_music::{Colour, Dynamic, OrnamentKind, Playing};
use ripieno_plan::{
    ArticulationCard, Call, CallKind, CellMark, CellWords, DelayCurve, Delays, DynamicStep, DynamicsCard,
    Kept, KeyMode, LineVoice, PatchCard, PlaceWord, Source, Span, Turn,
};

fn name() -> impl Strategy<Value = String> {
    // Never a mark of the trade: no mark begins with "zz".
    "zz[a-z0-9_-]{0,8}"
}

fn place() -> impl Strategy<Value = PlaceWord> {
    (0..2000i32, prop::option::of(4..64u16))
        .prop_map(|(bar, quarter)| PlaceWord { bar, beat: quarter.map(|q| f64::from(q) / 4.0) })
}

fn turn() -> impl Strategy<Value = Turn> {
    let voice = prop_oneof![
        Just(LineVoice::All),
        Just(LineVoice::Top),
        (2..=255u8).prop_map(LineVoice::Nth),
        Just(LineVoice::Bottom)
    ];
    let source = prop_oneof![
        (name(), voice).prop_map(|(name, voice)| Source::Line { name, voice }),
        name().prop_map(|chair| Source::Col { chair }),
        Just(Source::AsWritten),
        Just(Source::Tacet),
    ];
    let to = prop::option::of(place());
    (source, -3..=3i16, prop::option::of(place()), to).prop_map(|(source, octave, from, to)| {
        let octave = if source == Source::Tacet { 0 } else { 12 * octave };
        let first = |p: PlaceWord| (p.bar, p.beat.unwrap_or(1.0));
        let to = to.filter(|to| from.is_none_or(|from| first(from) <= first(*to)));
        Turn { source, octave, from, to, span: Span::default() }
    })
}

fn dynamics() -> impl Strategy<Value = CellMark> {
    let dynamic = prop::sample::select(vec![
        Dynamic::Niente,
        Dynamic::Pppp,
        Dynamic::Ppp,
        Dynamic::Pp,
        Dynamic::P,
        Dynamic::Mp,
        Dynamic::Mf,
        Dynamic::F,
        Dynamic::Ff,
        Dynamic::Fff,
        Dynamic::Ffff,
        Dynamic::Fp,
        Dynamic::Pf,
        Dynamic::Sf,
        Dynamic::Sfz,
        Dynamic::Sffz,
        Dynamic::Sfp,
        Dynamic::Sfpp,
        Dynamic::Rf,
        Dynamic::Rfz,
        Dynamic::Fz,
    ]);
    let step = (prop::option::of(any::<bool>()), dynamic, prop::option::of(place()));
    prop::collection::vec(step, 1..5).prop_map(|steps| {
        let step = |(i, (hairpin, dynamic, at)): (usize, (Option<bool>, Dynamic, Option<PlaceWord>))| {
            // Into nothing there is always a hairpin.
            let hairpin = hairpin.or((i > 0 && dynamic == Dynamic::Niente).then_some(false));
            DynamicStep { hairpin, dynamic, at }
        };
        CellMark::Dynamics(steps.into_iter().enumerate().map(step).collect())
    })
}

fn playing() -> impl Strategy<Value = CellMark> {
    use Playing::*;
    let fixed = vec![
        Arco,
        Pizz,
        ColLegnoBattuto,
        ColLegnoTratto,
        ConSord,
        SenzaSord,
        SulPont,
        SulTasto,
        Ord,
        Harmonics,
        NonVib,
        Vib,
        Trem(true),
        Trem(false),
        Flutter,
        Stopped,
        Open,
        Legato,
        Staccato,
        Staccatissimo,
        Spiccato,
        Tenuto,
        Portato,
        Marcato,
        Detache,
        Div(0),
        Unis,
        NonDiv,
        Solo,
        Tutti,
        LetRing,
        Damp,
        Roll,
        Strokes,
        Swell,
        Mallets(true),
        Mallets(false),
    ];
    let playing = prop_oneof![
        4 => prop::sample::select(fixed),
        1 => (1..=32u8).prop_map(Div),
        1 => (1..=32u8).prop_map(Together),
        1 => (1..=u32::MAX).prop_map(Players),
    ];
    playing.prop_map(CellMark::Playing)
}

fn other_mark() -> impl Strategy<Value = CellMark> {
    use OrnamentKind::*;
    let ornaments = vec![
        Trill,
        Turn,
        DelayedTurn,
        InvertedTurn,
        DelayedInvertedTurn,
        UpperMordent,
        Mordent,
        Shake,
        Schleifer,
        Haydn,
        Cut,
        Strike,
        ShortRoll,
        LongRoll,
        Cran,
        Slide,
    ];
    prop_oneof![
        prop::sample::select(ornaments).prop_map(CellMark::Ornament),
        prop::sample::select(vec![Kept::Marks, Kept::Rhythm]).prop_map(CellMark::AsWritten),
        prop::sample::select(vec!["accent", "doit-fall"]).prop_map(|n| CellMark::Articulation(n.into())),
    ]
}

fn cell() -> impl Strategy<Value = CellWords> {
    let turns = prop::collection::vec(turn(), 1..4).prop_map(|mut turns| {
        // A source that follows another says from where.
        for i in 1..turns.len() {
            if turns[i].from.is_none() && turns[i - 1].to.is_none() {
                turns[i].from = Some(PlaceWord { bar: 0, beat: None });
            }
        }
        turns
    });
    let text = "[A-Za-zéß'\"_, ;-]{0,6}[a-z]".prop_map(|t| t.trim().to_string());
    (
        prop::collection::vec(turns, 1..4),
        prop::collection::vec(prop_oneof![playing(), other_mark()], 0..5),
        prop::option::of(dynamics()),
        prop::option::of(text),
        prop::option::of(prop::collection::vec(place(), 1..4)),
    )
        .prop_map(|(divisions, mut marks, dynamics, text, breaths)| {
            marks.extend(breaths.map(CellMark::Breath));
            marks.extend(dynamics);
            marks.extend(text.map(CellMark::Words));
            CellWords { divisions, marks }
        })
}

fn without_places(mut cell: CellWords) -> CellWords {
    cell.divisions.iter_mut().flatten().for_each(|t| t.span = Span::default());
    cell
}

fn response() -> impl Strategy<Value = Vec<(u8, f64)>> {
    (0..40u8, 41..=127u8, -60..0i32, 1..40i32)
        .prop_map(|(a, b, low, up)| vec![(a, f64::from(low) / 2.0), (b, f64::from(low + up) / 2.0)])
}

fn dynamics_card() -> impl Strategy<Value = DynamicsCard> {
    (prop::option::of(0..60u8), prop::option::of(60..=127u8), any::<bool>(), response()).prop_map(
        |(controller, expression, velocity, response)| DynamicsCard {
            controller,
            expression,
            velocity,
            response,
        },
    )
}

fn delay() -> impl Strategy<Value = DelayCurve> {
    let ms = || (0..20_000u32).prop_map(|q| f64::from(q) / 4.0);
    prop_oneof![
        ms().prop_map(|ms| DelayCurve { pairs: vec![(64, ms)] }),
        (1..50u8, ms(), 50..=127u8, ms()).prop_map(|(a, x, b, y)| DelayCurve { pairs: vec![(a, x), (b, y)] }),
    ]
}

fn call() -> impl Strategy<Value = Call> {
    let key = (0..=127u8, any::<bool>(), 1..=127u8).prop_map(|(key, held, velocity)| CallKind::Key {
        key,
        mode: if held { KeyMode::Held } else { KeyMode::Latch },
        velocity,
    });
    let kind = prop_oneof![
        key,
        (0..=127u8, 0..=127u8).prop_map(|(number, value)| CallKind::Controller { number, value }),
        (0..=127u8, prop::option::of((0..=127u8, 0..=127u8)))
            .prop_map(|(program, bank)| CallKind::Program { program, bank }),
        (1..=16u8).prop_map(|channel| CallKind::Channel { channel }),
        (1..=127u8, 1..=127u8).prop_map(|(a, b)| CallKind::Velocity { low: a.min(b), high: a.max(b) }),
    ];
    kind.prop_map(|kind| Call { kind })
}

fn range() -> impl Strategy<Value = (u8, u8)> {
    (0..=127u8, 0..=127u8).prop_map(|(a, b)| (a.min(b), a.max(b)))
}

fn articulation() -> impl Strategy<Value = ArticulationCard> {
    let delays = prop_oneof![
        Just(Delays::default()),
        (delay(), delay()).prop_map(|(first, joined)| Delays { first, joined })
    ];
    (
        ("[a-z]{1,6}(-[a-z0-9]{1,4})?", prop::option::of(prop::sample::select(Colour::ALL.to_vec()))),
        prop::collection::vec(call(), 0..3),
        delays,
        (-8000..8000i32, prop::option::of(any::<bool>()), prop::option::of(range())),
        (prop::option::of(0..10_000u32), prop::option::of(dynamics_card())),
    )
        .prop_map(
            |((name, colour), calls, delays, (overlap, one_voice, sounding), (repeat, dynamics))| {
                ArticulationCard {
                    name,
                    colour,
                    calls,
                    delays,
                    overlap_ms: f64::from(overlap) / 4.0,
                    one_voice,
                    sounding,
                    repeat_ms: repeat.map(f64::from),
                    dynamics,
                }
            },
        )
}

fn card() -> impl Strategy<Value = PatchCard> {
    let stroke = prop::collection::vec(
        (prop::sample::select(vec!["bass-drum", "tam-tam", "triangle"]), 0..=127u8),
        0..3,
    );
    (
        ("[ -~éß]{0,12}", prop::option::of(Just("clarinet".to_string())), -2..=6i16),
        (prop::option::of(range()), -127..=127i16, stroke),
        (1..=16u8, any::<bool>(), 1..190u16, any::<bool>()),
        (dynamics_card(), prop::collection::vec("[a-z]{1,6}", 0..3)),
        prop::collection::vec(articulation(), 1..5),
    )
        .prop_map(
            |(
                (patch, instrument, middle_c),
                (sounding, transpose, strokes),
                (channel, one_voice, bend, layered),
                (dynamics, instead),
                articulations,
            )| {
                let mut strokes: Vec<(String, u8)> =
                    strokes.into_iter().map(|(s, k)| (s.to_string(), k)).collect();
                strokes.sort();
                strokes.dedup_by(|a, b| a.0 == b.0);
                PatchCard {
                    patch,
                    instrument,
                    middle_c,
                    sounding,
                    transpose,
                    strokes,
                    channel,
                    one_voice,
                    layered,
                    dynamics,
                    instead,
                    bend_semitones: f64::from(bend) / 2.0,
                    articulations,
                }
            },
        )
}

/// `RIPIENO_CASES` sets how many.
fn cases() -> ProptestConfig {
    let cases = std::env::var("RIPIENO_CASES").ok().and_then(|c| c.parse().ok()).unwrap_or(1000);
    ProptestConfig { cases, failure_persistence: None, ..ProptestConfig::default() }
}

proptest! {
    #![proptest_config(cases())]

    #[test]
    fn cells(cell in cell()) {
        let text = cell.to_string();
        let (again, faults) = CellWords::parse_with(&text, &|w| matches!(w, "accent" | "doit-fall"));
        prop_assert!(faults.is_empty(), "{text}: {faults:?}");
        prop_assert_eq!(without_places(again), cell, "{}", text);
    }

    #[test]
    fn patch_cards(card in card()) {
        let text = card.to_toml();
        // Random calls do conflict; that is said, and changes nothing.
        let (again, found) = PatchCard::parse("card.toml", &text);
        prop_assert_eq!(again, card, "{}\n{:?}", text, found);
    }
}
