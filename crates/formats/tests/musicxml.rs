//! One check an element of MusicXML 4.0 (W3C Music Notation Community Group, 2021: the meaning of each element is taken
//! from there). The scores are written here and are as small as they can be.

#![allow(clippy::unwrap_used)] // a test fails by it

use ripieno_formats::{FormatError, musicxml};
use ripieno_music::{
    Arpeggio, DirectionKind, Dynamic, Glide, Mark, Metre, Note, NoteKind, OrnamentKind, Pitch, Playing,
    Score, SyllablePlace, TimeMarkKind,
};
use ripieno_units::Beats;
use std::io::Write;

/// A score of one part, bars as given; `divisions` is 4.
fn partwise(bars: &[&str]) -> String {
    let bars: String = bars
        .iter()
        .enumerate()
        .map(|(i, b)| {
            let first = if i == 0 { "<attributes><divisions>4</divisions></attributes>" } else { "" };
            format!("<measure number=\"{}\">{first}{b}</measure>", i + 1)
        })
        .collect();
    score_of(
        "<score-part id=\"P1\"><part-name>Flute</part-name></score-part>",
        &format!("<part id=\"P1\">{bars}</part>"),
    )
}

fn score_of(list: &str, parts: &str) -> String {
    format!(
        "<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n<!DOCTYPE score-partwise PUBLIC \"-//Recordare//DTD MusicXML 4.0 \
         Partwise//EN\" \"http://www.musicxml.org/dtds/partwise.dtd\">\n<score-partwise version=\"4.0\"><part-list>{list}\
         </part-list>{parts}</score-partwise>"
    )
}

fn read(text: &str) -> Score {
    musicxml::read(text.as_bytes()).unwrap()
}

fn notes(bars: &[&str]) -> Vec<Note> {
    read(&partwise(bars)).tracks.remove(0).content.notes
}

/// `<note>` of a pitch such as `C4`, `F#5`, so many divisions (quarters of a quarter) long, with more inside.
fn note(pitch: &str, duration: u32, more: &str) -> String {
    format!("<note>{}<duration>{duration}</duration>{more}</note>", pitch_of(pitch))
}

fn pitch_of(pitch: &str) -> String {
    let (step, rest) = pitch.split_at(1);
    let (alter, octave) = match rest.as_bytes()[0] {
        b'#' => ("<alter>1</alter>", &rest[1..]),
        b'b' => ("<alter>-1</alter>", &rest[1..]),
        _ => ("", rest),
    };
    format!("<pitch><step>{step}</step>{alter}<octave>{octave}</octave></pitch>")
}

fn grace(pitch: &str, slash: &str, more: &str) -> String {
    format!("<note><grace{slash}/>{}{more}</note>", pitch_of(pitch))
}

fn rest(duration: u32) -> String {
    format!("<note><rest/><duration>{duration}</duration></note>")
}

fn notations(inside: &str) -> String {
    format!("<notations>{inside}</notations>")
}

fn keys(notes: &[Note]) -> Vec<i16> {
    notes.iter().filter_map(Note::pitch).map(|p| p.key).collect()
}

fn onsets(notes: &[Note]) -> Vec<Beats> {
    notes.iter().map(|n| n.at).collect()
}

fn quarters(values: &[i64]) -> Vec<Beats> {
    values.iter().map(|v| Beats::new(*v, 4)).collect()
}

/// One note with these notations.
fn with(inside: &str) -> Note {
    notes(&[&note("C5", 16, &notations(inside))]).remove(0)
}

fn direction(inside: &str) -> String {
    format!("<direction><direction-type>{inside}</direction-type></direction>")
}

fn directions(bars: &[&str]) -> Vec<(Beats, DirectionKind)> {
    let mut score = read(&partwise(bars));
    score.tracks.remove(0).content.directions.into_iter().map(|d| (d.at, d.kind)).collect()
}

#[test]
fn pitch_alter_octave() {
    let bar = note("C4", 4, "") + &note("F#5", 4, "") + &note("Bb3", 4, "") + &note("B3", 4, "");
    let found = notes(&[&bar]);
    assert_eq!(keys(&found), [60, 78, 58, 59]);
    assert_eq!(onsets(&found), quarters(&[0, 4, 8, 12]));
    assert_eq!(found[1].written.unwrap().to_string(), "F#5");
}

#[test]
fn quarter_tones() {
    let bar = "<note><pitch><step>C</step><alter>0.5</alter><octave>4</octave></pitch><duration>16</duration></note>";
    assert_eq!(notes(&[bar])[0].kind, NoteKind::Pitched(Pitch { key: 60, cents: 50 }));
}

#[test]
fn chord_voice_backup_forward_staff() {
    let bar = note("C4", 8, "<voice>1</voice>")
        + "<note><chord/><pitch><step>E</step><octave>4</octave></pitch><duration>8</duration><voice>1</voice></note>"
        + &note("D4", 8, "<voice>1</voice>")
        + "<backup><duration>16</duration></backup><forward><duration>4</duration></forward>"
        + &note("C3", 12, "<voice>5</voice><staff>2</staff>");
    let found = notes(&[&bar]);
    assert_eq!(keys(&found), [60, 64, 48, 62]);
    assert_eq!(onsets(&found), quarters(&[0, 0, 4, 8]));
    assert_eq!((found[2].voice, found[2].staff), (5, 2));
}

#[test]
fn negative_backup_and_backup_past_the_barline() {
    let bar = note("C4", 4, "") + "<backup><duration>-4</duration></backup>" + &note("D4", 8, "");
    assert_eq!(onsets(&notes(&[&bar])), quarters(&[0, 8]));
    let bar = note("C4", 4, "") + "<backup><duration>99</duration></backup>" + &note("D4", 16, "");
    let score = read(&partwise(&[&bar]));
    assert_eq!(onsets(&score.tracks[0].content.notes), quarters(&[0, 0]));
    assert!(score.warnings.iter().any(|w| w.message.contains("before the bar")));
}

#[test]
fn divisions_that_change() {
    let bar = note("C4", 8, "")
        + "<attributes><divisions>6</divisions></attributes>"
        + &note("D4", 2, "")
        + &note("E4", 10, "");
    let found = notes(&[&bar]);
    assert_eq!(onsets(&found), [Beats::ZERO, Beats::whole(2), Beats::new(7, 3)]);
    assert_eq!(found[2].length, Beats::new(5, 3));
}

/// Seven in the time of four where a quarter has four divisions: none of the lengths can be said in them.
#[test]
fn tuplets_are_exact_whatever_the_divisions() {
    let tuplet = "<type>16th</type><time-modification><actual-notes>7</actual-notes><normal-notes>4</normal-notes>\
                  </time-modification>";
    let one = note("C4", 1, tuplet);
    // Seven times one division is more than a quarter: the writer steps back by what it counted.
    let bar = one.repeat(7)
        + &note("D4", 12, "")
        + "<backup><duration>19</duration></backup>"
        + &note("C3", 16, "");
    let found = notes(&[&bar]);
    let at =
        |key: i16| found.iter().filter(|n| n.pitch().unwrap().key == key).map(|n| n.at).collect::<Vec<_>>();
    assert_eq!(at(60), (0..7).map(|i| Beats::new(i, 7)).collect::<Vec<_>>());
    assert_eq!(at(62), [Beats::whole(1)]);
    assert_eq!(at(48), [Beats::ZERO]);
}

#[test]
fn ties_become_one_note() {
    let tied = note("C4", 16, "<tie type=\"start\"/>");
    let end = note("C4", 4, "<tie type=\"stop\"/>") + &note("C4", 12, "");
    let found = notes(&[&tied, &end]);
    assert_eq!(found.len(), 2);
    assert_eq!((found[0].length, found[1].at), (Beats::whole(5), Beats::whole(5)));
}

#[test]
fn a_tie_without_partner_is_a_warning() {
    let score = read(&partwise(&[&note("C4", 16, "<tie type=\"start\"/>"), &note("D4", 16, "")]));
    assert_eq!(score.tracks[0].content.notes.len(), 2);
    assert!(score.warnings.iter().any(|w| w.message.contains("ties have no partner")));
}

#[test]
fn a_tie_leads_back_through_a_repeat() {
    let first = format!(
        "{}<barline location=\"right\"><repeat direction=\"backward\"/></barline>",
        note("C4", 16, "<tie type=\"stop\"/><tie type=\"start\"/>")
    );
    let found = notes(&[&first, &note("C4", 16, "<tie type=\"stop\"/>")]);
    assert_eq!(found.iter().map(|n| n.length).collect::<Vec<_>>(), [Beats::whole(12)]);
}

#[test]
fn grace_notes() {
    let bar = grace("D4", " slash=\"yes\"", "<type>eighth</type>")
        + &note("C4", 8, "")
        + &grace("B3", "", "<type>16th</type>")
        + &grace("C4", "", "<type>16th</type>")
        + &note("D4", 8, "");
    let found = notes(&[&bar]);
    assert_eq!(found.len(), 2);
    assert!(found[0].graces[0].slashed);
    assert_eq!((found[0].graces[0].pitch.key, found[0].graces[0].value), (62, Beats::new(1, 2)));
    assert_eq!(found[1].graces.iter().map(|g| g.pitch.key).collect::<Vec<_>>(), [59, 60]);
}

#[test]
fn grace_notes_after() {
    // At the end of the bar, and the turned end of a trill in the middle of one.
    let trill = notations("<ornaments><trill-mark/></ornaments>");
    let bar = note("D5", 8, &trill)
        + &grace("C5", "", "")
        + &grace("D5", "", "")
        + &note("C5", 8, "")
        + &grace("B4", "", "");
    let found = notes(&[&bar]);
    assert_eq!(found[0].graces_after.len(), 2);
    assert_eq!((found[1].graces.len(), found[1].graces_after.len()), (0, 1));
}

#[test]
fn a_chord_of_graces_goes_to_a_chord() {
    let second = "<note><grace/><chord/><pitch><step>F</step><octave>4</octave></pitch></note>";
    let upper = "<note><chord/><pitch><step>E</step><octave>4</octave></pitch><duration>16</duration></note>";
    let found = notes(&[&(grace("D4", "", "") + second + &note("C4", 16, "") + upper)]);
    let graces: Vec<i16> = found.iter().map(|n| n.graces[0].pitch.key).collect();
    assert_eq!(graces, [62, 65]);
}

#[test]
fn lone_grace_notes_are_not_lost() {
    let score = read(&partwise(&[&(grace("D4", "", "") + &rest(16))]));
    assert_eq!(score.tracks[0].content.notes.len(), 1);
    assert!(score.warnings.iter().any(|w| w.message.contains("grace notes")));
}

#[test]
fn cue_notes_do_not_sound_but_take_their_time() {
    let cue = "<note><cue/><pitch><step>C</step><octave>4</octave></pitch><duration>4</duration></note>";
    let score = read(&partwise(&[&(cue.to_owned() + &note("D4", 12, ""))]));
    assert_eq!(onsets(&score.tracks[0].content.notes), quarters(&[4]));
    assert!(score.warnings.iter().any(|w| w.message.contains("cue")));
}

#[test]
fn duration_of_nothing() {
    let score = read(&partwise(&[&(note("C4", 0, "<type>eighth</type>") + &note("D4", 16, ""))]));
    let found = &score.tracks[0].content.notes;
    assert_eq!((found[0].length, found[1].at), (Beats::new(1, 2), Beats::ZERO));
    assert!(score.warnings.iter().any(|w| w.message.contains("without length")));
}

#[test]
fn slurs_join_the_notes_under_them() {
    let slur = |t: &str| notations(&format!("<slur type=\"{t}\" number=\"1\"/>"));
    let bar = note("C4", 4, &slur("start"))
        + &note("D4", 4, "")
        + &note("E4", 4, &slur("stop"))
        + &note("F4", 4, "");
    let found = notes(&[&bar]);
    let under: Vec<(bool, bool)> = found.iter().map(|n| (n.slurred, n.slurs_on)).collect();
    assert_eq!(under, [(false, true), (true, true), (true, false), (false, false)]);
}

#[test]
fn a_slur_ends_where_the_next_begins() {
    let both = notations("<slur type=\"stop\" number=\"1\"/><slur type=\"start\" number=\"1\"/>");
    let slur = |t: &str| notations(&format!("<slur type=\"{t}\"/>"));
    let bar = note("C4", 4, &slur("start"))
        + &note("D4", 4, &both)
        + &note("E4", 4, &slur("stop"))
        + &note("F4", 4, "");
    let under: Vec<(bool, bool)> = notes(&[&bar]).iter().map(|n| (n.slurred, n.slurs_on)).collect();
    assert_eq!(under, [(false, true), (true, true), (true, false), (false, false)]);
}

#[test]
fn a_slur_from_a_grace_note() {
    let bar = grace("D4", "", &notations("<slur type=\"start\"/>"))
        + &note("C4", 8, &notations("<slur type=\"stop\"/>"))
        + &note("E4", 8, "");
    let found = notes(&[&bar]);
    assert!(found[0].graces[0].slurred && !found[0].slurred && !found[0].slurs_on && !found[1].slurred);
}

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
