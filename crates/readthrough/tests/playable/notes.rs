//! Range, one voice, divisi, extremes, leaps, trills, what dies away.

use crate::bench::*;
use ripieno_music::{
    DirectionKind, Dynamic, Key, Mark, Note, Ornament, OrnamentKind, Pitch, Playing, Severity, Spelling,
    Tremolo,
};
use ripieno_units::Beats;

fn held(key: i16, bars: i64) -> Vec<Note> {
    (0..bars).map(|i| Note::plain(Beats::whole(4 * i), Beats::whole(4), key)).collect()
}

#[test]
fn range_ends_where_the_table_says_and_an_octave_mends_it() {
    // The table: flute B3 (59) to D7 (98).
    assert!(Cue::of("flute", 1, 120.0, held(98, 1), vec![]).rule("range").is_empty());
    let mut cue = Cue::of("flute", 1, 120.0, line(&[(99, (2, 1)), (88, (2, 1)), (100, (4, 1))]), vec![])
        .cell("as written, p");
    let found = cue.rule("range");
    let finding = one(&found, Severity::Impossible);
    assert!(
        finding.message.contains("Eb7 to E7") && finding.message.contains("B3 to D7"),
        "{}",
        finding.message
    );
    assert_eq!((finding.bar, finding.to_bar), (1, 2));
    let change = finding.change.clone().unwrap();
    assert_eq!(change.to_string(), "in “A”: chair = \"as written 8vb, p\"");
    cue.apply(&change);
    assert!(cue.rule("range").is_empty());
    // No octave holds all of this cell.
    let wide = Cue::of("flute", 1, 120.0, line(&[(110, (2, 1)), (62, (2, 1))]), vec![]).rule("range");
    assert_eq!(one(&wide, Severity::Impossible).change, None);
}

#[test]
fn notes_are_named_as_the_part_spells_them() {
    // A flute above its range at D sharp 7, in four bars; the ends of the range are nobody's notes and keep their names.
    let says = |spelling: Option<Spelling>, fifths: Option<i8>| {
        let mut notes = held(99, 1);
        notes[0].written = spelling;
        let mut cue = Cue::of("flute", 1, 120.0, notes, vec![]);
        cue.score.timeline.keys.extend(fifths.map(|fifths| Key { at: Beats::ZERO, fifths, minor: false }));
        let found = cue.read_through("range");
        one(&found, Severity::Impossible).message.clone()
    };
    let sharp = Spelling { step: 1, alter: 100, octave: 7 };
    assert!(says(None, None).contains("(Eb7)"), "{}", says(None, None));
    assert!(says(Some(sharp), None).contains("(D#7)"), "{}", says(Some(sharp), None));
    assert!(says(Some(sharp), Some(-3)).contains("(D#7)"), "the source goes before its key signature");
    // Without a spelling the key signature gives one.
    assert!(says(None, Some(4)).contains("(D#7)"), "{}", says(None, Some(4)));
    assert!(says(None, Some(-3)).contains("(Eb7)") && says(None, Some(-3)).contains("B3 to D7"));
    // A reader a tone above: a written F natural is E flat, a written E sharp D sharp.
    let tone_up = |step, alter| says(Some(Spelling { step, alter, octave: 7 }), None);
    assert!(tone_up(3, 0).contains("(Eb7)") && tone_up(2, 100).contains("(D#7)"));
}

#[test]
fn a_harmonic_is_not_what_is_fingered() {
    let mut notes = held(105, 1);
    one(&Cue::of("violin", 1, 120.0, notes.clone(), vec![]).rule("range"), Severity::Hard);
    one(&Cue::of("violin", 1, 120.0, held(106, 1), vec![]).rule("range"), Severity::Impossible);
    notes[0].marks.add(Mark::Harmonic);
    assert!(Cue::of("violin", 1, 120.0, notes, vec![]).rule("range").is_empty());
}

#[test]
fn a_trombone_has_pedal_notes() {
    // Bb1 and G1 are fundamentals; between them and C2 nothing sounds, nor below.
    let at = |key| Cue::of("trombone", 1, 60.0, held(key, 1), vec![]).rule("range");
    one(&at(34), Severity::Advice);
    one(&at(31), Severity::Advice);
    one(&at(35), Severity::Impossible);
    one(&at(30), Severity::Impossible);
    let quick = line(&[(34, (1, 8)), (36, (1, 8))]);
    one(&Cue::of("trombone", 1, 120.0, quick, vec![]).rule("range"), Severity::Hard);
    one(&Cue::of("bass-trombone", 1, 60.0, held(29, 1), vec![]).rule("range"), Severity::Advice);
}

#[test]
fn comfort_depends_on_the_dynamic_at_the_extremes() {
    // Comfortable up to A6 (93).
    let at =
        |key, dynamic| Cue::of("flute", 1, 120.0, held(key, 1), vec![mark(0, dynamic)]).rule("range-comfort");
    assert!(at(93, Dynamic::Mf).is_empty());
    one(&at(94, Dynamic::F), Severity::Advice);
    one(&at(61, Dynamic::Pp), Severity::Advice);
    // What a register cannot be is told by the rule of that register, once.
    let all = |key, dynamic| Cue::of("flute", 1, 120.0, held(key, 1), vec![mark(0, dynamic)]).findings();
    for (key, dynamic, rule) in [(94, Dynamic::Pp, "soft-extreme"), (61, Dynamic::Ff, "loud-extreme")] {
        let rules: Vec<&str> = all(key, dynamic).iter().map(|f| f.rule).collect();
        assert_eq!(rules, [rule]);
    }
    // Reeds are loud at their bottom.
    let low = Cue::of("baritone-saxophone", 1, 120.0, held(36, 1), vec![mark(0, Dynamic::Ff)]);
    assert!(low.findings().iter().all(|f| f.severity == Severity::Advice), "{:?}", low.findings());
    // Less than a second altogether.
    let short = line(&[(90, (2, 1)), (94, (1, 1)), (90, (1, 1))]);
    assert!(Cue::of("flute", 1, 120.0, short, vec![]).rule("range-comfort").is_empty());
    // In passing.
    let quick = line(&[(90, (1, 4)), (94, (1, 4)), (90, (1, 2))]);
    assert!(Cue::of("flute", 1, 120.0, quick, vec![]).rule("range-comfort").is_empty());
}

#[test]
fn one_voice_against_a_chord() {
    let mut chord = held(72, 2);
    chord.push(Note::plain(Beats::ZERO, Beats::whole(4), 76));
    let found = Cue::of("flute", 1, 120.0, chord.clone(), vec![]).rule("one-voice");
    assert!(one(&found, Severity::Impossible).message.contains("E5, C5"), "{found:?}");
    // Two players have a note each, until one alone is asked.
    assert!(
        Cue::of("flute", 2, 120.0, chord.clone(), vec![])
            .findings()
            .iter()
            .all(|f| f.rule != "one-voice" && f.rule != "divisi")
    );
    let solo = Cue::of("flute", 2, 120.0, chord.clone(), vec![word(0, Playing::Solo)]).rule("one-voice");
    one(&solo, Severity::Impossible);
    chord.push(Note::plain(Beats::ZERO, Beats::whole(4), 79));
    one(&Cue::of("flute", 2, 120.0, chord, vec![]).rule("divisi"), Severity::Impossible);
    // A connected line that overlaps a little is still one voice.
    let mut legato = held(72, 2);
    legato[1] = Note::plain(Beats::whole(4), Beats::whole(4), 74);
    legato[0].length = Beats::new(33, 8);
    assert!(Cue::of("flute", 1, 120.0, legato, vec![]).rule("one-voice").is_empty());
}

#[test]
fn divisions_against_players() {
    let parts = |n| Cue::of("viola", 6, 120.0, held(60, 2), vec![word(0, Playing::Div(n))]).rule("divisi");
    assert!(parts(3).is_empty());
    one(&parts(4), Severity::Advice);
    one(&parts(7), Severity::Impossible);
}

#[test]
fn registers_that_cannot_be_soft_or_loud() {
    let at = |instrument: &str, key, dynamic, rule: &str| {
        Cue::of(instrument, 1, 120.0, held(key, 1), vec![mark(0, dynamic)]).rule(rule)
    };
    // Low oboe: mp at the softest up to C4, p up to D4.
    one(&at("oboe", 58, Dynamic::P, "soft-extreme"), Severity::Hard);
    assert!(at("oboe", 58, Dynamic::Mp, "soft-extreme").is_empty());
    assert!(at("oboe", 63, Dynamic::Ppp, "soft-extreme").is_empty());
    one(&at("bassoon", 34, Dynamic::Pp, "soft-extreme"), Severity::Hard);
    one(&at("flute", 95, Dynamic::P, "soft-extreme"), Severity::Hard);
    // Low flute.
    one(&at("flute", 60, Dynamic::Ff, "loud-extreme"), Severity::Hard);
    assert!(at("flute", 60, Dynamic::Mf, "loud-extreme").is_empty());
    assert!(at("flute", 66, Dynamic::Ff, "loud-extreme").is_empty());
}

#[test]
fn a_soft_high_horn_holds_a_little_while() {
    let long =
        |bars| Cue::of("horn", 1, 120.0, held(70, bars), vec![mark(0, Dynamic::Pp)]).rule("soft-extreme");
    // Six seconds are three bars at this tempo.
    assert!(long(3).is_empty());
    let found = long(4);
    let finding = one(&found, Severity::Hard);
    let mut cue = Cue::of("horn", 1, 120.0, held(70, 4), vec![mark(0, Dynamic::Pp)]);
    cue.apply(finding.change.as_ref().unwrap());
    assert!(cue.rule("soft-extreme").is_empty());
}

#[test]
fn leaps_want_time() {
    let twelfth =
        |tempo, top| Cue::of("horn", 1, tempo, line(&[(48, (1, 1)), (top, (1, 1))]), vec![]).rule("leap");
    // Wider than an octave within 0.35 s: crotchets at 180 are 0.333 s apart.
    one(&twelfth(180.0, 62), Severity::Hard);
    assert!(twelfth(180.0, 60).is_empty());
    assert!(twelfth(160.0, 62).is_empty());
    // After a rest it is an entry.
    let apart = line(&[(48, (1, 4)), (0, (2, 1)), (67, (1, 1))]);
    assert!(Cue::of("horn", 1, 180.0, apart, vec![]).rule("leap").is_empty());
}

fn trilled(instrument: &str, key: i16, above: i16) -> Vec<ripieno_music::Finding> {
    let mut notes = held(key, 1);
    let above = Some(Pitch::of_key(above));
    notes[0].ornament = Some(Ornament { kind: OrnamentKind::Trill, above, below: None });
    Cue::of(instrument, 1, 120.0, notes, vec![]).rule("trill")
}

#[test]
fn trills_without_a_fingering() {
    one(&trilled("oboe", 58, 59), Severity::Impossible);
    assert!(trilled("oboe", 69, 71).is_empty());
    one(&trilled("flute", 60, 61), Severity::Impossible);
    one(&trilled("flute", 60, 62), Severity::Hard);
    assert!(trilled("flute", 62, 64).is_empty());
    // The slide has lip trills from D4 on.
    one(&trilled("trombone", 60, 62), Severity::Impossible);
    assert!(trilled("trombone", 62, 64).is_empty());
    assert!(trilled("violin", 55, 56).is_empty());
}

#[test]
fn tremolos_wider_than_a_hand() {
    let wide = |instrument: &str, key: i16, with: i16| {
        let mut notes = held(key, 1);
        notes[0].tremolo = Some(Tremolo { strokes: 3, with: Some(Pitch::of_key(with)) });
        Cue::of(instrument, 1, 120.0, notes, vec![]).rule("trill")
    };
    one(&wide("cello", 50, 57), Severity::Hard);
    assert!(wide("cello", 50, 54).is_empty());
    one(&wide("flute", 72, 81), Severity::Hard);
}

#[test]
fn a_trill_of_the_cell_is_taken_out() {
    let mut cue = Cue::of("trombone", 1, 120.0, held(55, 2), vec![]).cell("as written, trill-1, p");
    // A named trill is no mark of the trade: nothing can be taken out.
    assert_eq!(one(&cue.rule("trill"), Severity::Impossible).change, None);
    cue = cue.cell("as written, trill, p");
    let found = cue.rule("trill");
    cue.apply(one(&found, Severity::Impossible).change.as_ref().unwrap());
    assert!(cue.rule("trill").is_empty());
}

#[test]
fn what_dies_away_does_not_sustain() {
    let piano = |bars: i64, key| {
        let note = vec![Note::plain(Beats::ZERO, Beats::whole(4 * bars), key)];
        Cue::of("piano", 1, 60.0, note, vec![]).rule("dies-away")
    };
    one(&piano(12, 84), Severity::Advice);
    assert!(piano(1, 60).is_empty());
    // What is gone just as its value ends is as it should be, for every length there is.
    let decay = &ripieno_instruments::by_id("piano").unwrap().decay;
    for point in decay {
        let lasting = |times: f64| {
            let length = Beats::approximate(times * point.longest);
            let note = vec![Note::plain(Beats::ZERO, length, i16::from(point.key))];
            Cue::of("piano", 1, 60.0, note, vec![]).rule("dies-away")
        };
        assert!(lasting(1.2).is_empty(), "{point:?}");
        one(&lasting(1.3), Severity::Advice);
    }
    let grow = |notes| {
        let hairpin = DirectionKind::Hairpin { louder: true, to: Beats::whole(4), niente: false };
        Cue::of("harp", 1, 120.0, notes, vec![direction(0, hairpin)]).rule("dies-away")
    };
    one(&grow(held(60, 1)), Severity::Hard);
    assert!(grow(line(&[(60, (2, 1)), (62, (2, 1))])).is_empty());
    // A roll can grow.
    let roll = Cue::of(
        "marimba",
        1,
        120.0,
        held(60, 1),
        vec![
            word(0, Playing::Roll),
            direction(0, DirectionKind::Hairpin { louder: true, to: Beats::whole(4), niente: false }),
        ],
    );
    assert!(roll.rule("dies-away").is_empty());
}

#[test]
fn a_chord_of_very_many_notes_takes_a_moment() {
    let chord: Vec<Note> =
        (0..30_000).map(|i| Note::plain(Beats::ZERO, Beats::whole(4), 60 + i % 40)).collect();
    let cue = Cue::of("violin", 1, 120.0, chord, vec![]);
    let start = std::time::Instant::now();
    let found = cue.rule("one-voice");
    let seconds = start.elapsed().as_secs_f64();
    assert!(one(&found, Severity::Impossible).message.starts_with("40 notes at once"), "{found:?}");
    assert!(seconds < 5.0, "{seconds} s");
}

#[test]
fn dynamics_are_quoted_as_they_are_written() {
    // A phrase that swells and sinks is shaped round its mark, and still is pp.
    let notes: Vec<Note> = line(&[(58, (2, 1)); 8]);
    let found = Cue::of("oboe", 1, 60.0, notes, vec![mark(0, Dynamic::Pp)]).rule("soft-extreme");
    assert!(one(&found, Severity::Hard).message.contains("at pp:"), "{found:?}");
    // Before its first mark a part says nothing: what follows is not held against it.
    let notes = line(&[(62, (4, 1)), (74, (4, 1)), (74, (4, 1))]);
    let later = Cue::of("flute", 1, 60.0, notes.clone(), vec![mark(4, Dynamic::Ff)]);
    assert!(later.rule("loud-extreme").is_empty(), "{:?}", later.rule("loud-extreme"));
    one(&Cue::of("flute", 1, 60.0, notes, vec![mark(0, Dynamic::Ff)]).rule("loud-extreme"), Severity::Hard);
}

#[test]
fn violins_live_high_and_a_choir_too_low_is_sent_to_lower_voices() {
    let violins = |key| Cue::of("violin", 12, 60.0, held(key, 4), vec![]).rule("range-comfort");
    assert!(violins(91).is_empty(), "G6 is daily work");
    let found = violins(96);
    let remedy = &one(&found, Severity::Advice).remedy;
    assert!(!remedy.contains("in its middle"), "{remedy}");
    let mut keys = vec![(72, (1, 1)); 12];
    keys.push((50, (1, 1)));
    let low = Cue::of("choir-sopranos", 8, 60.0, line(&keys), vec![]).rule("range");
    assert!(low[0].remedy.contains("lower voice"), "{low:?}");
}

#[test]
fn what_another_holds_may_die_away() {
    let harp = || line(&[(84, (8, 1)), (84, (8, 1)), (84, (8, 1))]);
    let alone = Cue::of("harp", 1, 60.0, harp(), vec![]).rule("dies-away");
    assert_eq!(one(&alone, Severity::Advice).to_bar, 5);
    let strings = Cue::of("harp", 1, 60.0, harp(), vec![]).beside("Viola", "viola", line(&[(60, (24, 1))]));
    assert!(strings.rule("dies-away").is_empty());
}

#[test]
fn lips_want_time_for_two_octaves_and_hands_for_bow_and_finger() {
    let horn: Vec<Note> = line(&[(48, (1, 2)), (72, (1, 2))].repeat(6));
    one(&Cue::of("horn", 1, 80.0, horn.clone(), vec![]).rule("leap"), Severity::Hard);
    assert!(Cue::of("horn", 1, 40.0, horn, vec![]).rule("leap").is_empty());
    // B2 is in seventh position, Bb2 in first.
    let slide = |low: i16| {
        let notes = line(&[(low, (1, 4)), (46, (1, 4))].repeat(8));
        Cue::of("trombone", 1, 80.0, notes, vec![]).rule("leap")
    };
    assert!(one(&slide(47), Severity::Hard).message.contains("6 positions apart"));
    assert!(slide(45).is_empty());
    let words = |n: i64| {
        (0..n).map(|i| word(i, if i % 2 == 0 { Playing::Pizz } else { Playing::Arco })).collect::<Vec<_>>()
    };
    let bow = |n| Cue::of("violin", 12, 120.0, line(&[(74, (1, 1)); 16]), words(n)).rule("pluck-time");
    assert!(one(&bow(12), Severity::Hard).message.contains("changes between bow and finger"));
    assert!(bow(3).is_empty(), "{:?}", bow(3));
}
