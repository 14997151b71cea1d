//! What files say, as values: worked examples from the references in `docs/`.

use ripieno_music::{Colour, Dynamic, OrnamentKind, Playing};
use ripieno_plan::{
    Bits, Call, CallKind, CellMark, CellWords, DelayCurve, DynamicsCard, Keep, KeyMode, LineVoice, Origin,
    PatchCard, PlaceWord, Plan, SeatPlan, Source, Template,
};

#[test]
fn a_cell() {
    let (cell, faults) =
        CellWords::parse("chords.2 8vb from 8.4, con sord., p < f (bar 5) > p, niente, cut, div. a 2");
    assert!(faults.is_empty(), "{faults:?}");
    let turn = &cell.divisions[0][0];
    assert_eq!(turn.source, Source::Line { name: "chords".into(), voice: LineVoice::Nth(2) });
    assert_eq!((turn.octave, turn.from, turn.to), (-12, Some(PlaceWord { bar: 8, beat: Some(4.0) }), None));
    assert_eq!((turn.span.start, turn.span.end), (0, 21));
    assert_eq!(cell.marks[0], CellMark::Playing(Playing::ConSord));
    let CellMark::Dynamics(steps) = &cell.marks[1] else { panic!("{:?}", cell.marks) };
    let read: Vec<_> = steps.iter().map(|s| (s.hairpin, s.dynamic, s.at.map(|p| p.bar))).collect();
    let expected = [
        (None, Dynamic::P, None),
        (Some(true), Dynamic::F, Some(5)),
        (Some(false), Dynamic::P, None),
        (Some(false), Dynamic::Niente, None),
    ];
    assert_eq!(read, expected);
    assert_eq!(cell.marks[2..], [CellMark::Ornament(OrnamentKind::Cut), CellMark::Playing(Playing::Div(2))]);
}

#[test]
fn divisions_and_turns() {
    let (cell, faults) = CellWords::parse("div.: melody to 4; from 5 counter / col Violas 15ma, trem.");
    assert!(faults.is_empty(), "{faults:?}");
    assert_eq!(cell.divisions.iter().map(Vec::len).collect::<Vec<_>>(), [2, 1]);
    assert_eq!(cell.divisions[1][0].source, Source::Col { chair: "violas".into() });
    assert_eq!(cell.divisions[1][0].octave, 24);
    assert_eq!(cell.marks, [CellMark::Playing(Playing::Trem(true))]);
}

#[test]
fn a_plan() {
    let text = "[cue]\ntitle = \"Night Ferry\"\nmusic = \"n.mid\"\nseed = 7\ndate = \"2026-11-25\"\n\
        [performance]\ntempo-expression = 0.5\nasynchrony = 0\na = 442\nkeep = [\"curves\", \"velocity\"]\n\
        [lines]\nchords = { track = \"Pad\", voices = 3, staff = 2, voice = 1 }\ndrums = { track = \"Kit\", strokes = [\"bass-drum\"] }\n\
        [[passage]]\nname = \"B\"\nbars = [9, 16]\n[passage.casting]\nviolas = \"chords.2\"\n[[passage]]\nbars = [0, 8]\n";
    let (plan, found) = Plan::parse("cue.toml", text);
    assert!(found.is_empty(), "{found:?}");
    assert_eq!(
        (plan.title.as_str(), plan.music.as_str(), plan.template.as_str()),
        ("Night Ferry", "n.mid", "template.toml")
    );
    assert_eq!(plan.date.as_deref(), Some("2026-11-25"));
    assert_eq!((plan.settings.seed, plan.settings.tempo_expression, plan.settings.asynchrony), (7, 0.5, 0.0));
    assert_eq!((plan.settings.intonation, plan.settings.a), (1.0, 442.0));
    assert_eq!(plan.settings.keep, Keep { curves: true, timing: false, velocity: true });
    let chords = &plan.lines[0];
    assert_eq!((chords.voices, chords.staff, chords.voice), (Some(3), Some(2), Some(1)));
    assert_eq!(plan.lines[1].strokes, ["bass-drum"]);
    // In the order of their bars, whatever the file's.
    let bars: Vec<_> = plan.passages.iter().map(|p| (p.name.as_str(), p.from_bar, p.to_bar)).collect();
    assert_eq!(bars, [("Bars 0 to 8", 0, 8), ("B", 9, 16)]);
    let cell = &plan.passages[1].cells[0];
    assert_eq!((cell.chair.as_str(), cell.text.as_str()), ("violas", "chords.2"));
    assert_eq!(&text[cell.span.start..cell.span.end], "\"chords.2\"");
}

#[test]
fn a_template() {
    let text = "[chair.a]\ninstrument = \"violin\"\norder = 2\nplayers = 14\ncard = \"x.toml\"\nseat = [-3.6, 2]\ngain-db = -2.5\n\
        [chair.b]\ninstrument = \"viola\"\n[chair.c]\ninstrument = \"cello\"\norder = 1\ncards = [\"y\", \"z\"]\ntrack = \"VC\"\nport = \"2\"\n\
        [mix]\nloudness = -23\nhall-db = -3\n";
    let (template, found) = Template::parse("t", text);
    assert!(found.is_empty(), "{found:?}");
    let ids: Vec<&str> = template.chairs.iter().map(|c| c.id.as_str()).collect();
    assert_eq!(ids, ["c", "a", "b"]);
    assert_eq!(template.chairs[0].cards, ["y", "z"]);
    assert_eq!(
        (template.chairs[0].track.as_deref(), template.chairs[0].port.as_deref()),
        (Some("VC"), Some("2"))
    );
    assert_eq!(
        (template.chairs[1].seat, template.chairs[1].placing.gain_db),
        (Some(SeatPlan { x: -3.6, y: 2.0, width: None }), Some(-2.5))
    );
    assert_eq!((template.chairs[2].players, template.chairs[2].seat), (1, None));
    assert_eq!((template.mix.loudness, template.mix.true_peak, template.mix.hall_db), (-23.0, -1.0, -3.0));
}

#[test]
fn a_card() {
    let text = "patch = \"Long\"\nmiddle-c = \"C3\"\nsounding = [\"C3\", \"C4\"]\ntranspose = -12\nchannel = 5\nlayered = true\n\
        dynamics = { expression = 11, velocity = true }\ninstead = [\"legato\"]\nstrokes = { \"bass-drum\" = 36 }\n\
        [[articulation]]\nname = \"Legato\"\ncolour = \"con-sord\"\nspeaks-after-ms = { first = 40, joined = [[1, 250], [101, 50]] }\n\
        call = [{ key = \"C-2\", mode = \"held\", velocity = 1 }, { program = 3, bank = [1, 2] }]\n\
        [[articulation]]\nname = \"legato\"\nspeaks-after-ms = 25\n[articulation.dynamics]\nvelocity = true\nresponse = [[1, -20], [127, 10]]\n\
        [[articulation.call]]\nchannel = 6\n";
    let (card, found) = PatchCard::parse("c", text);
    assert!(found.is_empty(), "{found:?}");
    assert_eq!((card.sounding, card.transpose, card.channel, card.layered), (Some((60, 72)), -12, 5, true));
    // What a table of dynamics does not name it does not have.
    assert_eq!(card.dynamics, DynamicsCard { controller: None, velocity: true, ..DynamicsCard::default() });
    assert_eq!(card.strokes, [("bass-drum".to_string(), 36)]);
    let [muted, open] = &card.articulations[..] else { panic!("{card:?}") };
    assert_eq!((muted.name.as_str(), muted.colour), ("legato", Some(Colour::ConSord)));
    let calls = [
        Call { kind: CallKind::Key { key: 0, mode: KeyMode::Held, velocity: 1 } },
        Call { kind: CallKind::Program { program: 3, bank: Some((1, 2)) } },
    ];
    assert_eq!(muted.calls, calls);
    // Straight between the pairs, held outside.
    let at = |v| muted.delays.joined.at(v);
    assert_eq!((at(1), at(51), at(101), at(127)), (250.0, 150.0, 50.0, 50.0));
    assert_eq!(muted.delays.first.at(64), 40.0);
    assert_eq!(open.delays.first, DelayCurve { pairs: vec![(64, 25.0)] });
    assert_eq!(open.delays.first, open.delays.joined);
    assert_eq!(open.calls, [Call { kind: CallKind::Channel { channel: 6 } }]);
    assert_eq!(open.dynamics.as_ref().map(|d| (d.velocity, d.response.len())), Some((true, 2)));
}

/// Key names by the three ways of counting octaves: MIDI key 60 is C3, C4 or C5 (MIDI 1.0 fixes the number, not the name).
#[test]
fn octaves_by_the_card() {
    for (middle, name, key) in
        [("C3", "C-2", 0), ("C4", "C-1", 0), ("C5", "C0", 0), ("C4", "A4", 69), ("C3", "G8", 127)]
    {
        let text = format!(
            "middle-c = \"{middle}\"\n[[articulation]]\nname = \"x\"\ncall = {{ key = \"{name}\" }}\n"
        );
        let (card, found) = PatchCard::parse("c", &text);
        assert!(found.is_empty(), "{found:?}");
        assert_eq!(
            card.articulations[0].calls[0].kind,
            CallKind::Key { key, mode: KeyMode::Latch, velocity: 100 },
            "{middle} {name}"
        );
    }
}

#[test]
fn a_stage() {
    let text = r#"
[chair.violins-1]
instrument = "violin"
players = 14
seat = [-3.6, 2, 5]
common = false
spot-db = -12
eq = [{ kind = "peak", hertz = 2500, db = -2 }]
[chair.flute]
instrument = "flute"
font = { file = "w.sf2", preset = [0, 73], presets = { staccato = [8, 73] }, transpose = -12 }
[chair.synth]
outside = true
print = "synth.wav"
dry = true
[stage]
seating = "german"
common = "wide"
[hall.wide]
room = "stone-church"
reverberation-s = 3
[hall.mine]
impulse = "mine.wav"
[family.strings]
hall = "mine"
common-db = -9
gain-db = 1
eq = [{ kind = "high-pass", hertz = 30 }]
[mix]
rate = 96000
bits = 32
"#;
    let (template, found) = Template::parse("template.toml", text);
    assert!(found.is_empty(), "{found:?}");
    let [violins, flute, synth] = &template.chairs[..] else { panic!("three chairs") };
    assert_eq!(violins.seat.and_then(|s| s.width), Some(5.0));
    let family = &template.stage.families[0];
    assert_eq!(family.0, "strings");
    let placing = violins.placing.or(&family.1);
    assert_eq!((placing.common, placing.common_db, placing.gain_db), (Some(false), Some(-9.0), Some(1.0)));
    assert_eq!(placing.hall.map(|h| h.name).as_deref(), Some("mine"));
    assert_eq!(placing.microphones, [None, None, None, None, Some(-12.0)]);
    assert_eq!(placing.eq.map(|e| e.len()), Some(2));
    let Origin::Font(font) = &flute.origin else { panic!("a font") };
    assert_eq!((font.preset, font.presets.len(), font.transpose), ((0, 73), 1, -12));
    assert!(matches!(&synth.origin, Origin::Print { path, align: false, .. } if path == "synth.wav"));
    assert!(synth.outside && synth.instrument == "piano");
    assert_eq!(template.stage.common.as_ref().map(|c| c.name.as_str()), Some("wide"));
    assert_eq!(template.stage.halls.len(), 2);
    assert_eq!((template.mix.rate, template.mix.bits), (96_000, Bits::ThirtyTwo));
}
