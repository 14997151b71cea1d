//! What the page says of the cue's files, and what it does where they are away.

use crate::Visit;
use axum::http::StatusCode;
use serde_json::json;

impl Visit {
    /// Waits until a piece of the page passes; gives it.
    fn until(&self, id: &str, end: &str, what: &str, test: &dyn Fn(&str) -> bool) -> String {
        let piece = || {
            let page = self.get("/cue/ferry/").body;
            page.split_once(&format!("id=\"{id}\"")).unwrap().1.split_once(end).unwrap().0.to_string()
        };
        for _ in 0..200 {
            let now = piece();
            if test(&now) {
                return now;
            }
            std::thread::sleep(std::time::Duration::from_millis(100));
        }
        panic!("{what}: {}", piece());
    }
}

/// What can hardly be meant is told with its place and what to do, marked in its cell, and gone when it is mended.
#[test]
fn what_the_plan_can_hardly_mean_is_told() {
    let visit = Visit::begin();
    let path = visit.cue().join("cue.toml");
    let text = visit.plan();
    visit.until("warnings", "</section>", "nothing at first", &|said| said.starts_with(" hidden>"));
    let seen = visit.seen();
    let cell = "harp          = \"figure, l.v., p\"";
    let wrong = text.replacen(cell, "harp          = \"figure, l.v., a 7, p\"", 1)
        + "\n[accept]\n\"rnage@harp\" = \"she can\"\n";
    std::fs::write(&path, &wrong).unwrap();
    let line = |of: &str| wrong.lines().position(|l| l.contains(of)).unwrap() + 1;
    let said = visit.until("warnings", "</section>", "two things", &|said| {
        said.contains("2 things to look at in cue.toml")
    });
    for word in [
        format!("cue.toml, line {}, column ", line("a 7")),
        format!("cue.toml, line {}, column ", line("rnage")),
        "asks for 7 players".into(),
        "players = 7".into(),
        "no rule `rnage`".into(),
        "Did you mean `range`?".into(),
    ] {
        assert!(said.contains(&word), "{word}: {said}");
    }
    // A browser that waits is told, of the cell too; that is where the list leads.
    let mut renewed = Vec::new();
    for _ in 0..20 {
        let news = visit.get(&format!("/cue/ferry/changes?seen={seen}"));
        renewed = news.renewed();
        if renewed.iter().any(|id| id == "warnings") {
            break;
        }
    }
    let link = said.split_once("/cue/ferry/#").unwrap().1.split('"').next().unwrap();
    assert!(renewed.iter().any(|id| id == link), "{link}: {renewed:?}");
    let page = visit.get("/cue/ferry/").body;
    let mut cells = page.split("<div class=\"cell").skip(1);
    let marked = cells.find(|c| c.contains(&format!("id=\"{link}\""))).unwrap();
    assert!(marked.split('>').next().unwrap().contains("doubted"), "{marked}");
    assert!(marked.contains("asks for 7 players"), "{marked}");
    for view in ["hall", "patches"] {
        assert!(visit.get(&format!("/cue/ferry/{view}")).body.contains("2 things to look at"), "{view}");
    }
    std::fs::write(&path, &text).unwrap();
    visit.until("warnings", "</section>", "gone", &|said| said.starts_with(" hidden>"));
    visit.until(link, ">", "the cell is as it was", &|said| !said.contains("7 players"));
}

/// While a cell is typed, what may be written all the same is told apart from what may not.
#[test]
fn a_cell_is_judged_with_what_it_can_hardly_mean() {
    let visit = Visit::begin();
    let judged = |text: &str| {
        let body = json!({ "passage": "Open water", "chair": "harp", "text": text });
        let faults = visit.post("/cue/ferry/judge", &body).json();
        let of = |f: &serde_json::Value| {
            (f["message"].as_str().unwrap().to_string(), f["warning"].as_bool().unwrap())
        };
        faults.as_array().unwrap().iter().map(of).collect::<Vec<_>>()
    };
    assert_eq!(judged("figure, p"), []);
    let doubt = judged("figure, a 7, p");
    assert!(doubt.len() == 1 && doubt[0].0.contains("7 players") && doubt[0].1, "{doubt:?}");
    let wrong = judged("figure, legatto, p");
    assert!(wrong.len() == 1 && !wrong[0].1, "{wrong:?}");
    let act = json!({ "cell": { "passage": "Open water", "chair": "harp", "text": "figure, a 7, p", "was": null } });
    assert_eq!(visit.act(&act).status, StatusCode::OK);
    let said = visit.until("warnings", "</section>", "told at once", &|said| said.contains("7 players"));
    assert!(said.contains("1 thing to look at in cue.toml"), "{said}");
}

/// A plan that was taken away is put back from what the page holds; one that has come back by itself stays as it is.
#[test]
fn a_plan_that_is_away_is_put_back() {
    let visit = Visit::begin();
    let path = visit.cue().join("cue.toml");
    let text = visit.plan();
    let until = |what: &str, test: &dyn Fn(&str) -> bool| visit.until("trouble", "</div>", what, test);
    until("nothing at first", &|said| !said.contains("put-back"));
    std::fs::remove_file(&path).unwrap();
    let said = until("it is offered", &|said| said.contains("id=\"put-back\""));
    assert!(said.contains("put cue.toml back as it was last"), "{said}");
    let answer = visit.post("/cue/ferry/put-back", &json!({ "seen": visit.seen() })).json();
    assert_eq!(answer["back"], 1, "{answer}");
    assert!(answer["renewal"]["pieces"].as_array().unwrap().iter().any(|p| p[0] == "trouble"), "{answer}");
    assert_eq!(visit.plan(), text);
    until("it is over", &|said| !said.contains("put-back"));
    // Somebody was quicker.
    std::fs::remove_file(&path).unwrap();
    until("away again", &|said| said.contains("put-back"));
    let other = text.replacen("\"Night Ferry\"", "\"Day Ferry\"", 1);
    std::fs::write(&path, &other).unwrap();
    let answer = visit.post("/cue/ferry/put-back", &json!({ "seen": visit.seen() })).json();
    assert_eq!(answer["back"], 0, "{answer}");
    assert_eq!(visit.plan(), other);
}
