//! Acts as the scripts send them: what they change, what is renewed, what is refused.

use crate::Visit;
use axum::http::StatusCode;
use serde_json::{Value, json};

fn cell(passage: &str, chair: &str, text: &str, was: Option<&str>) -> Value {
    json!({ "cell": { "passage": passage, "chair": chair, "text": text, "was": was } })
}

/// The line of the plan that a chair has in a passage.
fn line(plan: &str, passage: &str, chair: &str) -> Option<String> {
    let rest = plan.split_once(&format!("name = \"{passage}\""))?.1;
    let mine = rest.split("[[passage]]").next()?;
    mine.lines().find(|l| l.split('=').next().is_some_and(|k| k.trim() == chair)).map(str::to_string)
}

#[test]
fn a_cell_renews_what_it_changes_and_nothing_else() {
    let visit = Visit::begin();
    visit.read_through();
    let before = visit.plan();
    let answer = visit.act(&cell("Open water", "harp", "figure 8va, l.v., p", Some("figure, l.v., p")));
    let renewed = answer.renewed();
    let cells: Vec<_> = renewed.iter().filter(|id| id.starts_with("cell-")).collect();
    // One cell in one passage of one chair, and those that lean on it: not the board.
    assert!((1..=4).contains(&cells.len()), "{renewed:?}");
    assert!(
        renewed.contains(&"steps".to_string()) && renewed.contains(&"standing".to_string()),
        "{renewed:?}"
    );
    assert!(line(&visit.plan(), "Open water", "harp").unwrap().contains("figure 8va, l.v., p"));
    let changed = before.lines().zip(visit.plan().lines()).filter(|(a, b)| a != b).count();
    assert_eq!(changed, 1);
    // What has been seen is not sent again; what comes later is.
    let later = visit.get(&format!("/cue/ferry/changes?seen={}", answer.state()));
    assert!(later.state() > answer.state());
    assert!(!later.renewed().is_empty());

    let undone = visit.post("/cue/ferry/undo", &json!({ "seen": visit.seen() }));
    assert!(undone.renewed().iter().any(|id| id == cells[0]));
    assert_eq!(visit.plan(), before);
    visit.post("/cue/ferry/redo", &json!({ "seen": visit.seen() })).renewed();
    assert!(visit.plan().contains("figure 8va, l.v., p"));
}

#[test]
fn a_cell_that_somebody_else_has_changed_is_a_conflict() {
    let visit = Visit::begin();
    let path = visit.cue().join("cue.toml");
    let edited =
        visit.plan().replacen("harp          = \"figure, l.v., p\"", "harp          = \"figure, p\"", 1);
    assert_ne!(edited, visit.plan());
    std::fs::write(&path, &edited).unwrap();
    let answer = visit.act(&cell("Quay at dusk", "harp", "figure, l.v., f", Some("figure, l.v., p")));
    assert_eq!(answer.status, StatusCode::CONFLICT, "{}", answer.body);
    assert!(answer.body.contains("figure, p"), "{}", answer.body);
    assert_eq!(visit.plan(), edited);
    // Seen, and meant all the same.
    let answer = visit.act(&cell("Quay at dusk", "harp", "figure, l.v., f", Some("figure, p")));
    assert_eq!(answer.status, StatusCode::OK, "{}", answer.body);
}

/// Where nobody can play yet the board says what to write, and no longer once it is written.
#[test]
fn a_plan_without_passages_says_what_to_write() {
    let visit = Visit::begin();
    let path = visit.cue().join("cue.toml");
    let text = visit.plan();
    let says = |wanted: bool| {
        let told = || visit.get("/cue/ferry/").body.contains("The plan has no passages yet");
        (0..200).any(|_| {
            std::thread::sleep(std::time::Duration::from_millis(100));
            told() == wanted
        })
    };
    assert!(says(false));
    std::fs::write(&path, text.split("[[passage]]").next().unwrap()).unwrap();
    assert!(says(true));
    std::fs::write(&path, &text).unwrap();
    assert!(says(false));
}

/// A plan that is taken away while the page is open is told on the page, with what to do, and no longer once it is back.
#[test]
fn a_plan_that_is_away_is_told_on_the_page() {
    let visit = Visit::begin();
    let path = visit.cue().join("cue.toml");
    let text = visit.plan();
    let trouble = || {
        let page = visit.get("/cue/ferry/").body;
        page.split_once("id=\"trouble\"").unwrap().1.split_once("</div>").unwrap().0.to_string()
    };
    let until = |what: &str, test: &dyn Fn(&str) -> bool| {
        for _ in 0..200 {
            if test(&trouble()) {
                return;
            }
            std::thread::sleep(std::time::Duration::from_millis(100));
        }
        panic!("{what}: {}", trouble());
    };
    let seen = visit.seen();
    std::fs::remove_file(&path).unwrap();
    until("it is told", &|said| {
        said.contains("cue.toml: there is no such file") && said.contains("cue-from-page.toml")
    });
    // A browser that waits for news is told too.
    let news = visit.get(&format!("/cue/ferry/changes?seen={seen}"));
    assert!(news.renewed().contains(&"trouble".to_string()), "{}", news.body);
    assert!(visit.act(&cell("Fog", "oboe", "melody, p", None)).status.is_client_error());
    std::fs::write(&path, &text).unwrap();
    until("it is over", &|said| !said.contains("cue.toml"));
    assert_eq!(visit.act(&cell("Fog", "oboe", "melody, p", None)).status, StatusCode::OK);
}

#[test]
fn passages_and_chairs_change_as_they_are_told() {
    let visit = Visit::begin();
    let first = visit.plan();
    let template = || std::fs::read_to_string(visit.cue().join("template.toml")).unwrap();
    let first_template = template();
    let done = |act: Value| {
        let answer = visit.act(&act);
        assert_eq!(answer.status, StatusCode::OK, "{act}: {}", answer.body);
        answer.json()
    };
    // Other passages or chairs: the page is loaded anew.
    assert_eq!(done(json!({ "rename": { "passage": "Open water", "name": "Out at sea" } }))["whole"], true);
    assert!(visit.plan().contains("name = \"Out at sea\""));
    assert_eq!(
        done(json!({ "split": { "passage": "Out at sea", "bar": 21, "name": "Further out" } }))["whole"],
        true
    );
    assert!(visit.get("/cue/ferry/").body.contains("data-passage=\"Further out\""));
    done(json!({ "join": { "passage": "Out at sea" } }));
    assert!(!visit.get("/cue/ferry/").body.contains("data-passage=\"Further out\""));
    done(
        json!({ "add-chair": { "id": "saxophone", "instrument": "alto-saxophone", "players": 1, "name": "Saxophone", "before": "horns" } }),
    );
    let rows = |page: &str| -> Vec<String> {
        page.split("data-chair=\"").skip(1).map(|p| p.split('"').next().unwrap().to_string()).collect()
    };
    let page = visit.get("/cue/ferry/").body;
    let at = |id: &str| rows(&page).iter().position(|r| r == id).unwrap();
    assert_eq!(at("saxophone") + 1, at("horns"));
    done(json!({ "move-chair": { "id": "saxophone", "before": "clarinets" } }));
    let page = visit.get("/cue/ferry/").body;
    let at = |id: &str| rows(&page).iter().position(|r| r == id).unwrap();
    assert_eq!(at("saxophone") + 1, at("clarinets"));
    // Somebody plays with the harp: it stays, and is said.
    let answer = visit.act(&json!({ "remove-chair": { "id": "harp" } }));
    assert_eq!(answer.status, StatusCode::UNPROCESSABLE_ENTITY);
    assert!(answer.body.contains("harp") && template().contains("[chair.harp]"), "{}", answer.body);
    assert!(line(&visit.plan(), "Quay at dusk", "tubular-bells").is_some());
    done(json!({ "remove-chair": { "id": "tubular-bells" } }));
    assert!(!template().contains("[chair.tubular-bells]"));
    assert!(line(&visit.plan(), "Quay at dusk", "tubular-bells").is_none());
    done(json!({ "plan": { "path": ["cue", "title"], "value": "Day Ferry" } }));
    assert!(visit.get("/cue/ferry/").body.contains("Day Ferry"));
    for _ in 0..7 {
        visit.post("/cue/ferry/undo", &json!({ "seen": 0 })).json();
    }
    assert_eq!((visit.plan(), template()), (first, first_template));
}

#[test]
fn a_remedy_is_taken_and_a_finding_accepted() {
    let visit = Visit::begin();
    // Something that a harp cannot do: seven strings an octave, so no chromatic run.
    let act = json!({ "cell": { "passage": "Casting off", "chair": "cor-anglais", "text": "melody 15ma, mp", "was": null } });
    assert_eq!(visit.act(&act).status, StatusCode::OK);
    let page = visit.read_through();
    let name = |page: &str, with: &str| -> Option<String> {
        let one = page
            .split("<li class=\"finding")
            .skip(1)
            .find(|f| f.split("</li>").next().unwrap().contains(with))?;
        Some(one.split("data-name=\"").nth(1)?.split('"').next()?.replace("&#39;", "'").replace("&amp;", "&"))
    };
    let take = name(&page, "class=\"take\"").expect("a finding with an exact change");
    let before = visit.plan();
    let answer = visit.act(&json!({ "take": { "finding": take } }));
    assert_eq!(answer.status, StatusCode::OK, "{}", answer.body);
    assert_ne!(visit.plan(), before);
    let page = visit.read_through();
    assert_ne!(name(&page, "class=\"take\""), Some(take.clone()), "the remedy has removed its finding");
    assert_ne!(visit.act(&json!({ "take": { "finding": "no-such@harp:1" } })).status, StatusCode::OK);
    let accept = name(&page, "class=\"accept\"").expect("a finding");
    let answer = visit.act(&json!({ "accept": { "finding": accept, "reason": "meant so" } }));
    assert_eq!(answer.status, StatusCode::OK, "{}", answer.body);
    assert!(visit.plan().contains("meant so"));
    let page = visit.read_through();
    assert!(page.contains("(meant so)"), "listed among the accepted");
}

#[test]
fn what_is_refused_changes_nothing_and_says_why() {
    let visit = Visit::begin();
    let before = crate::files(&visit.cue());
    let refused = [
        (cell("Open water", "harp", "figure, legatto", None), "legato"),
        (cell("Open water", "no-such-chair", "figure", None), "no-such-chair"),
        (cell("Nowhere", "harp", "figure", None), "Nowhere"),
        (json!({ "rename": { "passage": "Open water", "name": "Casting off" } }), "Casting off"),
        (json!({ "rename": { "passage": "Open water", "name": " " } }), "name"),
        (json!({ "split": { "passage": "Open water", "bar": 17, "name": "x" } }), "17"),
        (json!({ "split": { "passage": "Open water", "bar": 2_147_483_647, "name": "x" } }), "bar"),
        (json!({ "join": { "passage": "Nowhere" } }), "Nowhere"),
        (json!({ "add-chair": { "id": "x", "instrument": "no such thing", "players": 1 } }), "no such thing"),
        (json!({ "remove-chair": { "id": "nobody" } }), "nobody"),
        (json!({ "move-chair": { "id": "nobody" } }), "nobody"),
        (json!({ "plan": { "path": ["cue", "music"], "value": "../../outside.mid" } }), "folder"),
        (json!({ "plan": { "path": ["cue", "template"], "value": "/etc/passwd" } }), "folder"),
        (json!({ "plan": { "path": [], "value": 1 } }), ""),
        (json!({ "plan": { "path": ["cue", "seed"], "value": "many" } }), "seed"),
        (json!({ "accept": { "finding": "nonsense", "reason": "x" } }), "nonsense"),
    ];
    let seen = visit.seen();
    for (act, word) in refused {
        let answer = visit.act(&act);
        let status = answer.status.as_u16();
        assert!(matches!(status, 400 | 409 | 422), "{act}: {status} {}", answer.body);
        assert!(answer.body.contains(word) && answer.body.len() > 10, "{act}: {}", answer.body);
        // A sound act beside a refused one is not done either.
        let both = json!({ "acts": [cell("Open water", "harp", "figure, f", None), act], "seen": seen });
        assert_ne!(visit.post("/cue/ferry/act", &both).status, StatusCode::OK, "{act}");
    }
    assert_eq!(crate::files(&visit.cue()), before);
    assert!(visit.get("/cue/ferry/").body.contains("disabled title=\"nothing to undo\""));
}

/// An editor's change arrives by itself.
#[test]
fn an_editors_change_is_shown() {
    let visit = Visit::begin();
    visit.read_through();
    let seen = visit.seen();
    let edited = visit.plan().replacen("figure, l.v., p", "figure 8va, l.v., p", 1);
    std::fs::write(visit.cue().join("cue.toml"), edited).unwrap();
    let renewed = visit.get(&format!("/cue/ferry/changes?seen={seen}")).renewed();
    assert!(renewed.iter().any(|id| id.starts_with("cell-")), "{renewed:?}");
}
