//! Changes in place: what is changed, and that every other byte stays.

use ripieno_plan::edit::{self, NewValue, PassageRef};
use ripieno_plan::{Plan, set_cell};

const PLAN: &str = "# my plan\n[cue]\ntitle = \"A\"   # working title\nmusic = 'a.mid'\n\n\
    # the quay\n[[passage]]\nname = \"Quay\"\nbars = [1, 8]   # eight\n[passage.casting]\n\
    flute    = \"melody\"      # alone\n# low\nviolas   = \"chords.2\"\n\n\
    # the sea\n[[passage]]\nname = \"Sea\"\nbars = [ 9,16 ]\n[passage.casting]\nflute = \"melody\"\nviolas = 'chords.2'\n";

#[track_caller]
fn is(result: Result<String, ripieno_plan::Diagnostic>, expected: &str) {
    let text = result.unwrap_or_else(|d| panic!("{d}"));
    assert_eq!(text, expected);
    let (_, found) = Plan::parse("cue.toml", &text);
    assert!(!found.iter().any(|d| d.message.contains("TOML")), "{found:?}");
}

#[test]
fn a_cell_is_replaced() {
    is(
        set_cell(PLAN, "Quay", "flute", "melody 8va, p"),
        &PLAN.replacen("\"melody\" ", "\"melody 8va, p\" ", 1),
    );
    is(set_cell(PLAN, 1, "violas", "tacet"), &PLAN.replace("'chords.2'", "\"tacet\""));
    // Quotes inside are spared their escapes.
    is(set_cell(PLAN, "Sea", "violas", "m, \"oo\""), &PLAN.replace("'chords.2'", "'m, \"oo\"'"));
}

#[test]
fn a_cell_is_added_and_taken_away() {
    let added =
        PLAN.replace("violas   = \"chords.2\"\n", "violas   = \"chords.2\"\noboe     = \"col flute\"\n");
    is(set_cell(PLAN, "Quay", "oboe", "col flute"), &added);
    is(set_cell(&added, "Quay", "oboe", ""), PLAN);
    is(edit::remove_cell(PLAN, "Quay", "violas"), &PLAN.replace("violas   = \"chords.2\"\n", ""));
}

#[test]
fn casting_in_every_form_of_toml() {
    let head = "[[passage]]\nname = \"A\"\nbars = [1, 2]\n";
    is(set_cell(head, "A", "x", "m"), &format!("{head}[passage.casting]\nx = \"m\"\n"));
    is(
        set_cell(&format!("{head}[passage.casting]\n"), "A", "x", "m"),
        &format!("{head}[passage.casting]\nx = \"m\"\n"),
    );
    is(
        set_cell(&format!("{head}casting = {{}}\n"), "A", "x", "m"),
        &format!("{head}casting = {{ x = \"m\"}}\n"),
    );
    let inline = format!("{head}casting = {{ a = \"m\" }}\n");
    let two = format!("{head}casting = {{ a = \"m\", x = \"m\" }}\n");
    is(set_cell(&inline, "A", "x", "m"), &two);
    is(set_cell(&two, "A", "x", ""), &inline);
    is(set_cell(&two, "A", "a", ""), &format!("{head}casting = {{ x = \"m\" }}\n"));
    let dotted = format!("{head}casting.a = \"m\"\n");
    is(set_cell(&dotted, "A", "x", "m"), &format!("{head}casting.a = \"m\"\ncasting.x = \"m\"\n"));
    is(set_cell(&dotted, "A", "a", "n"), &dotted.replace("\"m\"", "\"n\""));
    // A last line without its end.
    is(
        set_cell(&format!("{head}[passage.casting]\na = \"m\""), "A", "x", "m"),
        &format!("{head}[passage.casting]\na = \"m\"\nx = \"m\"\n"),
    );
}

#[test]
fn line_ends_stay_as_they_are() {
    let crlf = PLAN.replace('\n', "\r\n");
    let added =
        PLAN.replace("violas   = \"chords.2\"\n", "violas   = \"chords.2\"\noboe     = \"col flute\"\n");
    assert_eq!(set_cell(&crlf, "Quay", "oboe", "col flute").unwrap(), added.replace('\n', "\r\n"));
    assert_eq!(set_cell(&crlf, "Quay", "flute", "x").unwrap(), crlf.replacen("\"melody\"", "\"x\"", 1));
}

#[test]
fn passages_are_renamed_split_and_joined() {
    is(edit::rename_passage(PLAN, "Sea", "Open \"water\""), &PLAN.replace("\"Sea\"", "'Open \"water\"'"));
    is(
        edit::rename_passage("[[passage]]\nbars = [1, 2]\n", 0, "A"),
        "[[passage]]\nbars = [1, 2]\nname = \"A\"\n",
    );
    let split = edit::split_passage(PLAN, "Quay", 5, "Quay, later").unwrap();
    let second = "\n[[passage]]\nname = \"Quay, later\"\nbars = [5, 8]   # eight\n[passage.casting]\n\
        flute    = \"melody\"      # alone\n# low\nviolas   = \"chords.2\"\n";
    let expected = PLAN
        .replace("[1, 8]", "[1, 4]")
        .replace("violas   = \"chords.2\"\n", &format!("violas   = \"chords.2\"\n{second}"));
    assert_eq!(split, expected);
    // Joined again it is the plan as before, but for the empty line between.
    let joined = edit::join_passages(&split, "Quay").unwrap();
    assert_eq!(joined, PLAN.replace("violas   = \"chords.2\"\n\n", "violas   = \"chords.2\"\n\n\n"));
    // The same cells in other quotes are the same cells; the comment of the second passage stays.
    let one = edit::join_passages(PLAN, PassageRef::Name("Quay")).unwrap();
    assert!(one.contains("bars = [1, 16]   # eight") && one.ends_with("# the sea\n"), "{one}");
}

#[test]
fn values_are_set() {
    is(
        edit::set_value(PLAN, &["cue", "title"], &NewValue::Text("B".into())),
        &PLAN.replace("\"A\"", "\"B\""),
    );
    is(
        edit::set_value(PLAN, &["cue", "seed"], &NewValue::Whole(7)),
        &PLAN.replace("'a.mid'\n", "'a.mid'\nseed = 7\n"),
    );
    let expected = format!("{PLAN}\n[performance]\nasynchrony = 0.5\n");
    is(edit::set_value(PLAN, &["performance", "asynchrony"], &NewValue::Number(0.5)), &expected);
    let template = "[chair.a]\ninstrument = \"violin\"\nseat = [1, 2]\n";
    let seat =
        edit::set_value(template, &["chair", "a", "seat"], &NewValue::Numbers(vec![-1.5, 3.0])).unwrap();
    assert_eq!(seat, template.replace("[1, 2]", "[-1.5, 3]"));
    let other =
        edit::set_value(template, &["chair", "b", "instrument"], &NewValue::Text("viola".into())).unwrap();
    assert_eq!(other, format!("{template}\n[chair.b]\ninstrument = \"viola\"\n"));
    let lines = "[lines]\nm = { track = \"x\" }\n";
    is(
        edit::set_value(lines, &["lines", "m", "voices"], &NewValue::Whole(3)),
        "[lines]\nm = { track = \"x\", voices = 3 }\n",
    );
    is(
        edit::set_value(lines, &["lines", "m", "track"], &NewValue::Text("y".into())),
        "[lines]\nm = { track = \"y\" }\n",
    );
    is(edit::set_value("", &["mix", "hall-db"], &NewValue::Whole(-3)), "[mix]\nhall-db = -3\n");
    let list = NewValue::Texts(vec!["curves".into()]);
    is(
        edit::set_value("[performance]\n", &["performance", "keep"], &list),
        "[performance]\nkeep = [\"curves\"]\n",
    );
}

#[test]
fn what_stands_in_the_way_is_said() {
    let said = |r: Result<String, ripieno_plan::Diagnostic>| {
        r.map_err(|d| format!("{}:{} {} | {}", d.line, d.column, d.message, d.help)).unwrap_err()
    };
    assert_eq!(
        said(set_cell(PLAN, "Quai", "flute", "m")),
        "1:1 there is no passage `Quai` | did you mean `Quay`?"
    );
    assert_eq!(said(set_cell(PLAN, 7, "flute", "m")), "1:1 there is no passage number 8 | there are 2");
    assert_eq!(
        said(edit::remove_cell(PLAN, "Quay", "flut")),
        "7:1 the passage has no cell of `flut` | did you mean `flute`?"
    );
    assert_eq!(
        said(edit::split_passage(PLAN, "Quay", 1, "x")),
        "9:8 bar 1 does not part bars 1 to 8 | name a bar from 2 to 8"
    );
    assert_eq!(
        said(edit::join_passages(PLAN, "Sea")),
        "18:8 no passage follows this one | join it from the passage before"
    );
    let differ = PLAN.replace("'chords.2'", "'chords.3'");
    assert_eq!(
        said(edit::join_passages(&differ, "Quay")),
        "9:8 the two passages differ in: violas | make these cells the same first"
    );
    assert_eq!(
        said(edit::set_value(PLAN, &["cue", "seed"], &NewValue::Number(f64::NAN))),
        "1:1 `seed` would be no number | choose a finite number"
    );
    assert!(said(set_cell("[cue\n", "Quay", "a", "b")).starts_with("1:5 this is not TOML"));
}
