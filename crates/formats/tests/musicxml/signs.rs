//! Signs at notes, and directions.

use crate::small::{direction, directions, keys, notations, note, notes, partwise, read, score_of, with};
use ripieno_music::{
    Arpeggio, DirectionKind, Dynamic, Glide, Mark, NoteKind, OrnamentKind, Pitch, Playing, SyllablePlace,
};
use ripieno_units::Beats;

#[test]
fn articulations() {
    let signs = [
        ("staccato", Mark::Staccato),
        ("staccatissimo", Mark::Staccatissimo),
        ("spiccato", Mark::Spiccato),
        ("tenuto", Mark::Tenuto),
        ("detached-legato", Mark::Portato),
        ("accent", Mark::Accent),
        ("strong-accent", Mark::Marcato),
        ("soft-accent", Mark::SoftAccent),
        ("stress", Mark::Stress),
        ("unstress", Mark::Unstress),
        ("scoop", Mark::Scoop),
        ("plop", Mark::Plop),
        ("doit", Mark::Doit),
        ("falloff", Mark::Falloff),
        ("breath-mark", Mark::BreathAfter),
        ("caesura", Mark::CaesuraAfter),
    ];
    for (name, mark) in signs {
        assert!(with(&format!("<articulations><{name}/></articulations>")).marks.has(mark), "{name}");
    }
    assert!(
        with("<articulations><other-articulation>portato</other-articulation></articulations>")
            .marks
            .has(Mark::Portato)
    );
    assert!(with("<fermata/>").marks.has(Mark::Fermata));
}

#[test]
fn technical() {
    let signs = [
        ("up-bow", Mark::UpBow),
        ("down-bow", Mark::DownBow),
        ("open-string", Mark::OpenString),
        ("harmonic", Mark::Harmonic),
        ("thumb-position", Mark::Thumb),
        ("snap-pizzicato", Mark::SnapPizz),
        ("stopped", Mark::Stopped),
        ("open", Mark::Open),
        ("double-tongue", Mark::DoubleTongue),
        ("triple-tongue", Mark::TripleTongue),
        ("fingernails", Mark::Fingernails),
        ("heel", Mark::Heel),
        ("toe", Mark::Toe),
        ("golpe", Mark::Golpe),
    ];
    for (name, mark) in signs {
        assert!(with(&format!("<technical><{name}/></technical>")).marks.has(mark), "{name}");
    }
}

#[test]
fn marks_of_a_chord_are_those_of_all_its_notes() {
    let bar = note("C4", 16, &notations("<articulations><staccato/></articulations>"))
        + "<note><chord/><pitch><step>E</step><octave>4</octave></pitch><duration>16</duration></note>";
    assert!(notes(&[&bar]).iter().all(|n| n.marks.has(Mark::Staccato)));
}

#[test]
fn ornaments_and_their_neighbours() {
    let signs = [
        ("trill-mark", OrnamentKind::Trill),
        ("turn", OrnamentKind::Turn),
        ("delayed-turn", OrnamentKind::DelayedTurn),
        ("inverted-turn", OrnamentKind::InvertedTurn),
        ("delayed-inverted-turn", OrnamentKind::DelayedInvertedTurn),
        ("inverted-mordent", OrnamentKind::UpperMordent),
        ("mordent", OrnamentKind::Mordent),
        ("shake", OrnamentKind::Shake),
        ("schleifer", OrnamentKind::Schleifer),
        ("haydn", OrnamentKind::Haydn),
    ];
    for (name, kind) in signs {
        let ornament = with(&format!("<ornaments><{name}/></ornaments>")).ornament.unwrap();
        assert_eq!(ornament.kind, kind, "{name}");
        // C5 in C major: D5 above, B4 below.
        let keys = [ornament.above, ornament.below].map(|p| p.unwrap().key);
        assert_eq!(keys, [74, 71], "{name}");
    }
    let flat =
        with("<ornaments><trill-mark/><accidental-mark>flat</accidental-mark></ornaments>").ornament.unwrap();
    assert_eq!(flat.above.unwrap().key, 73);
    let glyph = with("<articulations><other-articulation smufl=\"ornamentTrill\"/></articulations>")
        .ornament
        .unwrap();
    assert_eq!((glyph.kind, glyph.above.unwrap().key), (OrnamentKind::Trill, 74));
    let line = with("<ornaments><wavy-line type=\"start\"/></ornaments>").ornament.unwrap();
    assert_eq!(line.kind, OrnamentKind::Trill);
    // G minor: the neighbours of D5 are E flat and C.
    let key = "<attributes><key><fifths>-2</fifths><mode>minor</mode></key></attributes>";
    let trill = note("D5", 16, &notations("<ornaments><trill-mark/></ornaments>"));
    let ornament = notes(&[&format!("{key}{trill}")])[0].ornament.unwrap();
    assert_eq!([ornament.above, ornament.below].map(|p| p.unwrap().key), [75, 72]);
}

#[test]
fn folk_ornaments_by_name() {
    let names = [
        ("cut", OrnamentKind::Cut),
        ("strike", OrnamentKind::Strike),
        ("short roll", OrnamentKind::ShortRoll),
        ("long-roll", OrnamentKind::LongRoll),
        ("Cran", OrnamentKind::Cran),
        ("slide", OrnamentKind::Slide),
    ];
    for (name, kind) in names {
        let sign = with(&format!("<ornaments><other-ornament>{name}</other-ornament></ornaments>"));
        assert_eq!(sign.ornament.unwrap().kind, kind, "{name}");
        let words = direction(&format!("<words>{name}</words>")) + &note("C5", 16, "");
        assert_eq!(notes(&[&words])[0].ornament.unwrap().kind, kind, "{name}");
    }
}

#[test]
fn tremolo() {
    assert_eq!(
        with("<ornaments><tremolo type=\"single\">3</tremolo></ornaments>").tremolo.unwrap().strokes,
        3
    );
    assert_eq!(
        with("<ornaments><tremolo type=\"unmeasured\">0</tremolo></ornaments>").tremolo.unwrap().strokes,
        0
    );
    let end = |t: &str| notations(&format!("<ornaments><tremolo type=\"{t}\">2</tremolo></ornaments>"));
    let found = notes(&[&(note("C4", 8, &end("start")) + &note("E4", 8, &end("stop")))]);
    assert_eq!(found.len(), 1);
    assert_eq!(found[0].length, Beats::whole(4));
    let tremolo = found[0].tremolo.unwrap();
    assert_eq!((tremolo.strokes, tremolo.with), (2, Some(Pitch::of_key(64))));
}

#[test]
fn arpeggio_and_glide() {
    assert_eq!(with("<arpeggiate/>").arpeggio, Some(Arpeggio::Up));
    assert_eq!(with("<arpeggiate direction=\"down\"/>").arpeggio, Some(Arpeggio::Down));
    assert_eq!(with("<non-arpeggiate type=\"bottom\"/>").arpeggio, Some(Arpeggio::Together));
    assert_eq!(with("<glissando type=\"start\"/>").glide, Some(Glide::Glissando));
    assert_eq!(with("<slide type=\"start\"/>").glide, Some(Glide::Slide));
    assert_eq!(with("<slide type=\"stop\"/>").glide, None);
}

#[test]
fn dynamics() {
    let bar = direction("<dynamics><pp/></dynamics>")
        + &note("C4", 8, "")
        + &direction("<dynamics><other-dynamics>sffz</other-dynamics></dynamics>")
        + &note("C4", 8, &notations("<dynamics><f/><p/></dynamics>"));
    let found = directions(&[&bar]);
    let at = |i| Beats::whole(i);
    assert_eq!(found[0], (at(0), DirectionKind::Dynamic(Dynamic::Pp)));
    assert!(found.contains(&(at(2), DirectionKind::Dynamic(Dynamic::Sffz))));
    assert!(found.contains(&(at(2), DirectionKind::Dynamic(Dynamic::Fp))));
}

#[test]
fn hairpins() {
    let bar = direction("<wedge type=\"crescendo\" number=\"1\" niente=\"yes\"/>")
        + &note("C4", 8, "")
        + &direction("<wedge type=\"stop\" number=\"1\"/>")
        + &direction("<words>dim.</words>")
        + &note("C4", 8, "");
    let next = direction("<dynamics><p/></dynamics>") + &note("C4", 16, "");
    let found = directions(&[&bar, &next]);
    let pin = |louder, to, niente| DirectionKind::Hairpin { louder, to: Beats::whole(to), niente };
    assert_eq!(found[0], (Beats::ZERO, pin(true, 2, true)));
    assert_eq!(found[1], (Beats::whole(2), pin(false, 4, false)));
}

#[test]
fn dashes_end_a_crescendo_in_words() {
    let start = "<direction><direction-type><words>cresc.</words></direction-type><direction-type><dashes type=\"start\" \
                 number=\"1\"/></direction-type></direction>";
    let bar = start.to_owned()
        + &note("C4", 12, "")
        + &direction("<dashes type=\"stop\" number=\"1\"/>")
        + &note("C4", 4, "");
    assert_eq!(
        directions(&[&bar, &note("C4", 16, "")])[0].1,
        DirectionKind::Hairpin { louder: true, to: Beats::whole(3), niente: false }
    );
}

#[test]
fn words_that_change_the_playing() {
    let words = [
        ("pizz.", Playing::Pizz),
        ("arco", Playing::Arco),
        ("con sord.", Playing::ConSord),
        ("senza sord.", Playing::SenzaSord),
        ("sul pont.", Playing::SulPont),
        ("trem.", Playing::Trem(true)),
        ("div.", Playing::Div(0)),
        ("unis.", Playing::Unis),
        ("solo", Playing::Solo),
        ("tutti", Playing::Tutti),
        ("a 2", Playing::Together(2)),
    ];
    for (word, playing) in words {
        let found = directions(&[&(direction(&format!("<words>{word}</words>")) + &note("C4", 16, ""))]);
        assert_eq!(found, [(Beats::ZERO, DirectionKind::Playing(playing))], "{word}");
    }
    // Words cut in two where the type face changes; the offset says where they stand.
    let cut = "<direction><direction-type><words>con</words><words>sord.</words></direction-type><offset>8</offset></direction>";
    let found = directions(&[&(cut.to_owned() + &note("C4", 16, ""))]);
    assert_eq!(found, [(Beats::whole(2), DirectionKind::Playing(Playing::ConSord))]);
    let plain = directions(&[&(direction("<words>dolce</words>") + &note("C4", 16, ""))]);
    assert_eq!(plain[0].1, DirectionKind::Words("dolce".into()));
    let sound = directions(&[&("<sound pizzicato=\"yes\"/>".to_owned() + &note("C4", 16, ""))]);
    assert_eq!(sound[0].1, DirectionKind::Playing(Playing::Pizz));
    let beside = "<dynamics><p/><other-dynamics> sec</other-dynamics></dynamics>";
    let beside = directions(&[&(direction(beside) + &note("C4", 16, ""))]);
    assert_eq!(beside[1].1, DirectionKind::Playing(Playing::Damp));
    let mute = directions(&[&(direction("<string-mute type=\"on\"/>") + &note("C4", 16, ""))]);
    assert_eq!(mute[0].1, DirectionKind::Playing(Playing::ConSord));
}

#[test]
fn pedal() {
    let bar = direction("<pedal type=\"start\"/>")
        + &note("C4", 8, "")
        + &direction("<pedal type=\"change\"/>")
        + &note("C4", 4, "")
        + &direction("<pedal type=\"stop\"/>")
        + &note("C4", 4, "");
    let to = |q| DirectionKind::Pedal { to: Beats::whole(q) };
    assert_eq!(directions(&[&bar]), [(Beats::ZERO, to(2)), (Beats::whole(2), to(3))]);
}

#[test]
fn lyrics() {
    let bar = note("C4", 4, "<lyric number=\"1\"><syllabic>begin</syllabic><text>glo</text></lyric>")
        + &note("D4", 4, "<lyric><syllabic>end</syllabic><text>ry</text><extend/></lyric>")
        + &note("E4", 4, "")
        + &note(
            "F4",
            4,
            "<lyric><syllabic>single</syllabic><text>to</text><elision/><syllabic>single</syllabic><text>all</text></lyric>",
        );
    let found = notes(&[&bar]);
    let s = |i: usize| found[i].syllable.clone();
    assert_eq!((s(0).unwrap().text.as_str(), s(0).unwrap().place), ("glo", SyllablePlace::Begin));
    assert!(s(1).unwrap().extends && s(1).unwrap().place == SyllablePlace::End);
    assert_eq!(s(2), None);
    assert_eq!((s(3).unwrap().text.as_str(), s(3).unwrap().place), ("to‿all", SyllablePlace::Single));
}

#[test]
fn each_pass_sings_its_verse() {
    let verses = "<lyric number=\"1\"><text>one</text></lyric><lyric number=\"2\"><text>two</text></lyric>";
    let bar =
        note("C4", 16, verses) + "<barline location=\"right\"><repeat direction=\"backward\"/></barline>";
    let texts: Vec<String> = notes(&[&bar]).into_iter().map(|n| n.syllable.unwrap().text).collect();
    assert_eq!(texts, ["one", "two"]);
}

#[test]
fn transposition() {
    let turn = |chromatic: i32, octave: i32| {
        format!(
            "<attributes><transpose><diatonic>-1</diatonic><chromatic>{chromatic}</chromatic><octave-change>{octave}\
             </octave-change></transpose></attributes>"
        )
    };
    let bar = turn(-2, 0) + &note("D4", 8, "") + &turn(0, -1) + &note("D4", 8, "");
    let score = read(&partwise(&[&bar]));
    let found = &score.tracks[0].content.notes;
    assert_eq!(keys(found), [60, 50]);
    assert_eq!(found[0].written.unwrap().to_string(), "D4");
    let turns: Vec<(Beats, i16)> =
        score.tracks[0].transpositions.iter().map(|t| (t.0, t.1.semitones)).collect();
    assert_eq!(turns, [(Beats::ZERO, -2), (Beats::whole(2), -12)]);
}

#[test]
fn transposition_by_staff() {
    let turn = "<attributes><staves>2</staves><transpose number=\"2\"><chromatic>-12</chromatic></transpose></attributes>";
    let bar = turn.to_owned()
        + &note("C4", 16, "<voice>1</voice><staff>1</staff>")
        + "<backup><duration>16</duration></backup>"
        + &note("C4", 16, "<voice>2</voice><staff>2</staff>");
    assert_eq!(keys(&notes(&[&bar])), [60, 48]);
}

#[test]
fn unpitched_percussion() {
    let list = "<score-part id=\"P1\"><part-name>Drums</part-name><score-instrument id=\"I1\"><instrument-name>Bass Drum\
                </instrument-name></score-instrument><score-instrument id=\"I2\"><instrument-name>Cymbal</instrument-name>\
                </score-instrument></score-part>";
    let bar = "<part id=\"P1\"><measure number=\"1\"><attributes><divisions>1</divisions></attributes><note><unpitched>\
               <display-step>E</display-step><display-octave>4</display-octave></unpitched><duration>4</duration><instrument \
               id=\"I2\"/></note></measure></part>";
    let score = read(&score_of(list, bar));
    assert!(score.tracks[0].percussion);
    assert_eq!(score.tracks[0].content.notes[0].kind, NoteKind::Unpitched { stroke: "Cymbal".into() });
}

/// A diamond over a stopped string is a harmonic, with what is written of its sound; on a head without one nothing is.
#[test]
fn a_diamond_makes_its_chord_a_harmonic() {
    let harmonics = |head: &str| {
        let chord = [note("D4", 4, ""), note("G4", 4, head), note("D6", 4, "")];
        let chord = chord.concat().replace("<note><pitch><step>G", "<note><chord/><pitch><step>G");
        let chord = chord
            .replace("<note><pitch><step>D</step><octave>6", "<note><chord/><pitch><step>D</step><octave>6");
        notes(&[&chord]).iter().filter(|n| n.marks.has(Mark::Harmonic)).count()
    };
    let diamond = "<notehead filled=\"no\">diamond</notehead>";
    assert_eq!(harmonics(diamond), 3);
    assert_eq!(harmonics("<notehead>normal</notehead>"), 0);
}

#[test]
fn an_ornament_written_out_unprinted_is_played_once() {
    let hidden = |pitch: &str, length: u32, notation: &str| {
        note(pitch, length, notation).replace("<note>", "<note print-object=\"no\">")
    };
    let back = "<backup><duration>16</duration></backup>";
    let written = |notation: &str| -> String {
        (0..4)
            .map(|i| hidden(if i % 2 == 0 { "A4" } else { "B4" }, 4, if i == 0 { notation } else { "" }))
            .collect()
    };
    let trill = notations("<ornaments><trill-mark/></ornaments>");
    let turn = notations("<ornaments><turn/></ornaments>");
    for (printed, played) in [(trill.as_str(), ""), ("", turn.as_str())] {
        let found = notes(&[&format!("{}{back}{}", note("A4", 16, printed), written(played))]);
        assert_eq!(keys(&found), [69], "{printed} {played}");
        assert!(found[0].ornament.is_some());
    }
    // Repetitions written out are the strokes of an abbreviation.
    let again = hidden("A4", 2, "").repeat(8);
    let found = notes(&[&format!("{}{back}{again}", note("A4", 16, ""))]);
    assert_eq!(keys(&found), [69]);
    assert_eq!(found[0].tremolo.map(|t| t.strokes), Some(1));
    // Laid down a little early: what lies under the sign is not played again.
    let early = format!(
        "{}{}{back}<forward><duration>6</duration></forward>{}",
        note("A4", 8, ""),
        note("G4", 8, &trill),
        ["A4", "G4", "A4", "G4"].map(|p| hidden(p, 2, "")).concat()
    );
    assert_eq!(keys(&notes(&[&early])), [69, 69, 67]);
    // What no printed note says still sounds, and so does a voice of its own under a long note.
    let far: String = ["C3", "D3"].map(|p| hidden(p, 8, "")).concat();
    assert_eq!(keys(&notes(&[&format!("{}{back}{far}", note("A4", 16, ""))])), [69, 48, 50]);
    assert_eq!(keys(&notes(&[&hidden("C3", 16, "")])), [48]);
    // The same note in a second voice is one.
    let both = format!("{}{back}{}", note("A4", 16, ""), hidden("A4", 4, ""));
    assert_eq!(keys(&notes(&[&both])), [69]);
}

#[test]
fn a_crescendo_that_leads_nowhere_is_over_after_two_bars() {
    let bar = note("C4", 16, "");
    let piece = |before: &str, bars: usize, after: &str| {
        let mut all = vec![
            direction(&format!("<dynamics><{before}/></dynamics>"))
                + &direction("<words>cresc.</words>")
                + &bar,
        ];
        all.extend(vec![bar.clone(); bars]);
        all.push(direction(&format!("<dynamics><{after}/></dynamics>")) + &bar);
        let all: Vec<&str> = all.iter().map(String::as_str).collect();
        let to = directions(&all).into_iter().find_map(|d| match d.1 {
            DirectionKind::Hairpin { to, .. } => Some(to),
            _ => None,
        });
        to.unwrap()
    };
    // To its goal, near or far; not to a mark that has nothing to do with it.
    assert_eq!(piece("p", 7, "f"), Beats::whole(32));
    assert_eq!(piece("p", 23, "ff"), Beats::whole(96));
    assert_eq!(piece("f", 23, "p"), Beats::whole(8));
    assert_eq!(piece("f", 60, "ff"), Beats::whole(8));
}
