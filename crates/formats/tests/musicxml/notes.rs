//! Notes, their values, ties, grace notes and slurs.

use crate::small::{grace, keys, notations, note, notes, onsets, partwise, quarters, read, rest};
use ripieno_music::{NoteKind, Pitch};
use ripieno_units::Beats;

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
    assert!(score.warnings.iter().any(|w| w.message.contains("a tie has no partner")));
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
    assert!(score.warnings.iter().any(|w| w.message.contains("a grace note")));
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
