//! What holds for a piece: parts, bars, keys, tempi, order; the file itself.

use crate::small::{direction, keys, note, notes, onsets, partwise, quarters, read, rest, score_of};
use ripieno_formats::{FormatError, musicxml};
use ripieno_music::{Metre, TimeMarkKind};
use ripieno_units::Beats;
use std::io::Write;

#[test]
fn header() {
    let list = "<score-part id=\"P1\"><part-name>Flute 1</part-name><part-abbreviation>Fl. 1</part-abbreviation>\
                <score-instrument id=\"I\"><instrument-name>Flute</instrument-name><instrument-sound>wind.flutes.flute\
                </instrument-sound></score-instrument><midi-instrument id=\"I\"><midi-program>74</midi-program>\
                </midi-instrument></score-part><score-part id=\"P2\"><part-name/><part-name-display><display-text>Oboe\
                </display-text></part-name-display><midi-instrument id=\"J\"><midi-program>0</midi-program></midi-instrument>\
                </score-part>";
    let part =
        |id: &str| format!("<part id=\"{id}\"><measure number=\"1\">{}</measure></part>", note("C4", 4, ""));
    let text = score_of(list, &(part("P1") + &part("P2"))).replace(
        "<part-list>",
        "<work><work-title>Songs</work-title></work><movement-title>Dawn</movement-title><identification><creator \
         type=\"lyricist\">Poet</creator><creator type=\"composer\">A. Composer</creator></identification><part-list>",
    );
    let score = read(&text);
    assert_eq!(score.title.as_deref(), Some("Songs: Dawn"));
    assert_eq!(score.composer.as_deref(), Some("A. Composer"));
    let flute = &score.tracks[0];
    assert_eq!(
        (flute.name.as_str(), flute.abbreviation.as_deref(), flute.program),
        ("Flute 1", Some("Fl. 1"), Some(73))
    );
    assert_eq!(flute.instrument.as_deref(), Some("Flute wind.flutes.flute"));
    assert_eq!((score.tracks[1].name.as_str(), score.tracks[1].program), ("Oboe", None));
    assert!(score.warnings.iter().any(|w| w.message.contains("MIDI program")));
}

#[test]
fn timewise_is_partwise() {
    let list = "<score-part id=\"A\"><part-name>A</part-name></score-part><score-part id=\"B\"><part-name>B</part-name></score-part>";
    let n = |p: &str| note(p, 4, "");
    let part = |id: &str, a: &str, b: &str| {
        format!(
            "<part id=\"{id}\"><measure number=\"1\">{}</measure><measure number=\"2\">{}</measure></part>",
            n(a),
            n(b)
        )
    };
    let one = read(&score_of(list, &(part("A", "C4", "D4") + &part("B", "E4", "F4"))));
    let bar = |i: u8, a: &str, b: &str| {
        format!(
            "<measure number=\"{i}\"><part id=\"A\">{}</part><part id=\"B\">{}</part></measure>",
            n(a),
            n(b)
        )
    };
    let text = score_of(list, &(bar(1, "C4", "E4") + &bar(2, "D4", "F4")))
        .replace("score-partwise", "score-timewise");
    assert_eq!(read(&text), one);
}

#[test]
fn pick_up_and_short_bars() {
    let time = "<attributes><time><beats>3</beats><beat-type>4</beat-type></time></attributes>";
    let bar = |n: &str| note(n, 12, "");
    let score = read(&partwise(&[&(time.to_owned() + &note("C4", 4, "")), &bar("D4"), &note("E4", 8, "")]));
    let bars: Vec<(i32, Beats, Beats)> =
        score.timeline.bars.iter().map(|b| (b.number, b.at, b.length)).collect();
    let q = Beats::whole;
    assert_eq!(bars, [(0, q(-1), q(1)), (1, q(0), q(3)), (2, q(3), q(2))]);
    assert_eq!(score.timeline.bars[1].printed, "2");
}

#[test]
fn one_part_too_long_does_not_move_the_others() {
    let list = "<score-part id=\"A\"><part-name>A</part-name></score-part><score-part id=\"B\"><part-name>B</part-name></score-part>\
                <score-part id=\"C\"><part-name>C</part-name></score-part>";
    let part = |id: &str, first: u32| {
        format!(
            "<part id=\"{id}\"><measure number=\"1\">{}</measure><measure number=\"2\">{}</measure></part>",
            note("C4", first, ""),
            note("C4", 4, "")
        )
    };
    let score = read(&score_of(list, &(part("A", 4) + &part("B", 5) + &part("C", 4))));
    assert_eq!(score.timeline.bars[1].at, Beats::whole(4));
    assert!(score.warnings.iter().any(|w| w.message.contains("longer than its metre")));
}

#[test]
fn time_signatures() {
    let metre = |inside: &str| {
        let time = format!("<attributes><time>{inside}</time></attributes>");
        read(&partwise(&[&(time + &note("C4", 4, "")), &note("C4", 4, "")])).timeline.bars[0].metre
    };
    let beats = |b: &str, u: &str| format!("<beats>{b}</beats><beat-type>{u}</beat-type>");
    assert_eq!(metre(&beats("6", "8")), Metre { beats: 6, unit: 8 });
    assert_eq!(metre(&beats("3+2", "8")), Metre { beats: 5, unit: 8 });
    assert_eq!(metre(&(beats("3", "8") + &beats("2", "4"))), Metre { beats: 7, unit: 8 });
    // More than can be counted is held at the most.
    let many = beats("512", "1").repeat(132_000) + &beats("1", "64");
    assert_eq!(metre(&many), Metre { beats: u16::MAX, unit: 64 });
    assert_eq!(metre("<senza-misura/>"), Metre { beats: 4, unit: 4 });
    assert_eq!(metre(&beats("0", "4")), Metre { beats: 4, unit: 4 });
}

#[test]
fn keys_are_as_they_sound() {
    let list = "<score-part id=\"A\"><part-name>Clarinet</part-name></score-part>";
    let bar = "<attributes><divisions>1</divisions><key><fifths>2</fifths></key><transpose><diatonic>-1</diatonic>\
               <chromatic>-2</chromatic></transpose></attributes>";
    let text = score_of(
        list,
        &format!("<part id=\"A\"><measure number=\"1\">{bar}{}</measure></part>", note("D4", 4, "")),
    );
    let keys = read(&text).timeline.keys;
    assert_eq!(keys.iter().map(|k| (k.at, k.fifths)).collect::<Vec<_>>(), [(Beats::ZERO, 0)]);
}

#[test]
fn tempo() {
    let mark = |inside: &str| direction(&format!("<metronome>{inside}</metronome>"));
    let bars = [
        mark("<beat-unit>quarter</beat-unit><beat-unit-dot/><per-minute>c. 60</per-minute>")
            + &note("C4", 16, ""),
        mark("<beat-unit>quarter</beat-unit><beat-unit>half</beat-unit>") + &note("C4", 16, ""),
        "<direction><direction-type><words>Largo</words></direction-type><sound tempo=\"40\"/></direction>"
            .to_owned()
            + &note("C4", 16, ""),
    ];
    let score = read(&partwise(&[&bars[0], &bars[1], &bars[2]]));
    let found: Vec<(Beats, f64)> =
        score.timeline.tempi.iter().map(|t| (t.at, t.quarters_per_minute().round())).collect();
    // A dotted quarter at 60 is 90 quarters a minute; then the old quarter is the new half: twice as many quarters.
    assert_eq!(found, [(Beats::ZERO, 90.0), (Beats::whole(4), 180.0), (Beats::whole(8), 40.0)]);
    let mark = score.timeline.marks.iter().find(|m| m.kind == TimeMarkKind::Tempo).unwrap();
    assert_eq!((mark.at, mark.text.as_str()), (Beats::whole(8), "Largo"));
}

#[test]
fn rehearsal_marks_and_double_bars() {
    let bar = note("C4", 16, "") + "<barline location=\"right\"><bar-style>light-light</bar-style></barline>";
    let next = direction("<rehearsal>B</rehearsal>") + &note("C4", 16, "");
    let marks = read(&partwise(&[&bar, &next])).timeline.marks;
    let kinds: Vec<(Beats, TimeMarkKind)> = marks.iter().map(|m| (m.at, m.kind)).collect();
    assert_eq!(
        kinds,
        [(Beats::whole(4), TimeMarkKind::DoubleBar), (Beats::whole(4), TimeMarkKind::Rehearsal)]
    );
}

#[test]
fn repeats_endings_and_jumps() {
    let order = |bars: &[&str]| -> Vec<i16> {
        let pitches = ["C4", "D4", "E4", "F4", "G4", "A4"];
        let bars: Vec<String> =
            bars.iter().zip(pitches).map(|(b, p)| b.replace("NOTE", &note(p, 16, ""))).collect();
        let bars: Vec<&str> = bars.iter().map(String::as_str).collect();
        keys(&notes(&bars))
    };
    let close = "NOTE<barline location=\"right\"><repeat direction=\"backward\"/></barline>";
    let open = "<barline location=\"left\"><repeat direction=\"forward\"/></barline>NOTE";
    assert_eq!(order(&["NOTE", open, close, "NOTE"]), [60, 62, 64, 62, 64, 65]);
    let thrice = close.replace("/></barline>", " times=\"3\"/></barline>");
    assert_eq!(order(&[&thrice, "NOTE"]), [60, 60, 60, 62]);
    let ending = |n: &str, back: &str| {
        format!(
            "<barline location=\"left\"><ending number=\"{n}\" type=\"start\"/></barline>NOTE<barline location=\"right\">\
             <ending number=\"{n}\" type=\"stop\"/>{back}</barline>"
        )
    };
    let back = "<repeat direction=\"backward\"/>";
    assert_eq!(
        order(&["NOTE", &ending("1, 2", back), &ending("3", ""), "NOTE"]),
        [60, 62, 60, 62, 60, 64, 65]
    );
    let says = |words: &str, sound: &str| {
        format!("NOTE<direction><direction-type><words>{words}</words></direction-type>{sound}</direction>")
    };
    assert_eq!(order(&["NOTE", &says("Fine", ""), &says("D.C. al Fine", "")]), [60, 62, 64, 60, 62]);
    let segno = "<direction><direction-type><segno/></direction-type></direction>NOTE";
    let coda = "<sound coda=\"coda\"/>NOTE";
    let found = order(&[
        "NOTE",
        segno,
        &says("To Coda", "<sound tocoda=\"coda\"/>"),
        &says("D.S. al Coda", "<sound dalsegno=\"segno\"/>"),
        coda,
    ]);
    assert_eq!(found, [60, 62, 64, 65, 62, 64, 67]);
}

#[test]
fn folded_reading() {
    let bar = note("C4", 16, "") + "<barline location=\"right\"><repeat direction=\"backward\"/></barline>";
    let text = partwise(&[&bar]);
    let folded = musicxml::read_with(text.as_bytes(), musicxml::Repeats::AsPrinted).unwrap();
    assert_eq!((folded.timeline.bars.len(), read(&text).timeline.bars.len()), (1, 2));
}

#[test]
fn too_many_bars_are_refused() {
    let bar = note("C4", 16, "")
        + "<barline location=\"right\"><repeat direction=\"backward\" times=\"200000\"/></barline>";
    let error = musicxml::read(partwise(&[&bar]).as_bytes()).unwrap_err();
    assert!(matches!(error, FormatError::TooLarge { limit: 100_000, .. }), "{error}");
}

#[test]
fn encodings() {
    let text = partwise(&[&note("C4", 16, "")])
        .replace("encoding=\"UTF-8\"", "encoding='UTF-16'")
        .replace("Flute", "Flöte");
    let plain = read(&text);
    assert_eq!(plain.tracks[0].name, "Flöte");
    let wide = |little: bool| {
        let lead = if little { [0xff, 0xfe] } else { [0xfe, 0xff] };
        let units = text.encode_utf16().flat_map(|u| if little { u.to_le_bytes() } else { u.to_be_bytes() });
        lead.into_iter().chain(units).collect::<Vec<u8>>()
    };
    assert_eq!(musicxml::read(&wide(true)).unwrap(), plain);
    assert_eq!(musicxml::read(&wide(false)).unwrap(), plain);
    let latin: Vec<u8> =
        text.replace("UTF-16", "ISO-8859-1").chars().map(|c| u8::try_from(u32::from(c)).unwrap()).collect();
    assert_eq!(musicxml::read(&latin).unwrap(), plain);
    let marked: Vec<u8> = [0xef, 0xbb, 0xbf].into_iter().chain(text.bytes()).collect();
    assert_eq!(musicxml::read(&marked).unwrap(), plain);
}

fn archive(files: &[(&str, &[u8])]) -> Vec<u8> {
    let mut out = zip::ZipWriter::new(std::io::Cursor::new(Vec::new()));
    for (name, bytes) in files {
        out.start_file(*name, zip::write::SimpleFileOptions::default()).unwrap();
        out.write_all(bytes).unwrap();
    }
    out.finish().unwrap().into_inner()
}

#[test]
fn compressed() {
    let text = partwise(&[&note("C4", 16, "")]);
    let container =
        b"<container><rootfiles><rootfile full-path=\"music/score.xml\"/></rootfiles></container>";
    let packed = archive(&[
        ("META-INF/container.xml", container),
        ("cover.xml", b"<cover/>"),
        ("music/score.xml", text.as_bytes()),
    ]);
    assert_eq!(musicxml::read(&packed).unwrap(), read(&text));
    // The table of contents names a file that is not there: the first score is read.
    let lost = archive(&[("META-INF/container.xml", container), ("else.xml", text.as_bytes())]);
    let score = musicxml::read(&lost).unwrap();
    assert_eq!(score.tracks, read(&text).tracks);
    assert!(score.warnings.iter().any(|w| w.message.contains("does not hold")));
    assert!(musicxml::read(&archive(&[("readme.txt", b"hello")])).is_err());
}

#[test]
fn an_archive_that_swells_is_refused() {
    let packed = archive(&[("score.xml", &vec![b' '; 40 << 20])]);
    assert!(packed.len() < 100_000);
    assert!(matches!(musicxml::read(&packed), Err(FormatError::TooLarge { .. })));
}

#[test]
fn errors_say_where() {
    let error = musicxml::read(b"<score-partwise>\n<part></measure>").unwrap_err().to_string();
    assert!(error.contains("line 2"), "{error}");
    let error = musicxml::read(b"<html></html>").unwrap_err().to_string();
    assert!(error.contains("html"), "{error}");
    assert!(musicxml::read(b"").is_err());
    assert!(musicxml::read(b"PK\x03\x04").is_err());
    assert!(musicxml::read(partwise(&[]).as_bytes()).is_err());
}

#[test]
fn warnings_are_capped() {
    let bars = vec![note("C4", 0, "") + &note("C4", 16, ""); 300];
    let bars: Vec<&str> = bars.iter().map(String::as_str).collect();
    let warnings = read(&partwise(&bars)).warnings;
    assert_eq!(warnings.len(), 201);
    assert!(warnings[200].message.contains("more places"));
}

#[test]
fn rests_written_past_the_metre_are_a_long_bar() {
    let long = [note("C4", 16, ""), rest(8).repeat(3), note("C4", 16, "")];
    assert_eq!(onsets(&notes(&long.each_ref().map(String::as_str))), quarters(&[0, 40]));
    // Where another part rests for the bar of the metre, it is a slip.
    let list =
        ["P1", "P2"].map(|id| format!("<score-part id=\"{id}\"><part-name>Flute</part-name></score-part>"));
    let head = "<attributes><divisions>4</divisions></attributes>";
    let part = |id: &str, middle: &str| {
        let bar = |n: u32, inside: &str| format!("<measure number=\"{n}\">{inside}</measure>");
        let whole = note("C4", 16, "");
        format!(
            "<part id=\"{id}\">{}{}{}</part>",
            bar(1, &format!("{head}{whole}")),
            bar(2, middle),
            bar(3, &whole)
        )
    };
    let score = |second: &str| {
        read(&score_of(&list.concat(), &(part("P1", &rest(8).repeat(3)) + &part("P2", second))))
    };
    assert_eq!(onsets(&score(&rest(16)).tracks[0].content.notes), quarters(&[0, 32]));
    assert_eq!(onsets(&score(&rest(24)).tracks[0].content.notes), quarters(&[0, 40]));
}

#[test]
fn a_lone_tie_is_said_where_it_begins() {
    let start = note("C4", 16, "<tie type=\"start\"/>");
    let rest = rest(16);
    let said = |bars: &[&str]| -> Vec<String> {
        let warnings = read(&partwise(bars)).warnings;
        warnings.iter().filter(|w| w.message.contains("tie")).map(ToString::to_string).collect()
    };
    let one = ["Flute, bar 2: a tie has no partner; its note is not joined to another"];
    assert_eq!(said(&[&rest, &start, &rest, &rest]), one);
    // At the end of the piece.
    assert_eq!(said(&[&rest, &start]), one);
    let stop = note("C4", 16, "<tie type=\"stop\"/>");
    assert_eq!(said(&[&rest, &stop]), one);
    let two = ["Flute, bar 1: 2 ties have no partner (here is the first); their notes are not joined"];
    assert_eq!(said(&[&start, &rest, &stop, &rest]), two);
    assert!(said(&[&start, &stop]).is_empty());
}

#[test]
fn a_menuet_is_played_again_by_its_name() {
    let bar = |pitch: &str, words: &str| {
        let words =
            if words.is_empty() { String::new() } else { direction(&format!("<words>{words}</words>")) };
        words + &note(pitch, 16, "")
    };
    for words in [
        "Men. D.C.",
        "Menuetto D. C.",
        "Menuet da capo",
        "Scherzo da capo",
        "Menuetto da capo senza Ritornello.",
    ] {
        let found = notes(&[&bar("C4", "Menuetto"), &bar("D4", ""), &bar("E4", "Trio"), &bar("F4", words)]);
        assert_eq!(keys(&found), [60, 62, 64, 65, 60, 62], "{words}");
    }
    // A name alone is no jump.
    let found = notes(&[&bar("C4", "Menuetto"), &bar("D4", "Trio"), &bar("E4", "Scherzo")]);
    assert_eq!(keys(&found), [60, 62, 64]);
}
