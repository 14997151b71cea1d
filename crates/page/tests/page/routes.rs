//! Every route there is: a new one is to be listed here, and is then tried by the hostile requests too.

use crate::{Answer, Visit};
use axum::body::Body;
use axum::http::{Method, StatusCode, header};
use serde_json::json;

/// Method, route as `routes/` writes it, an address that it answers, and a sound body; empty where none is read.
pub const ROUTES: &[(Method, &str, &str, &str)] = &[
    (Method::GET, "/", "/", ""),
    (Method::GET, "/assets/{name}", "/assets/main.js", ""),
    (Method::POST, "/open", "/open", r#"{"folder":"ferry"}"#),
    (Method::POST, "/demo", "/demo", ""),
    (Method::POST, "/music", "/music?name=tune.musicxml", MUSIC),
    (Method::GET, "/cue/{id}/", "/cue/ferry/", ""),
    (Method::GET, "/cue/{id}/changes", "/cue/ferry/changes?seen=0", ""),
    (Method::POST, "/cue/{id}/act", "/cue/ferry/act", r#"{"acts":[],"seen":0}"#),
    (Method::POST, "/cue/{id}/undo", "/cue/ferry/undo", r#"{"seen":0}"#),
    (Method::POST, "/cue/{id}/redo", "/cue/ferry/redo", r#"{"seen":0}"#),
    (Method::POST, "/cue/{id}/put-back", "/cue/ferry/put-back", r#"{"seen":0}"#),
    (
        Method::POST,
        "/cue/{id}/judge",
        "/cue/ferry/judge",
        r#"{"passage":"Open water","chair":"harp","text":"figure"}"#,
    ),
    (Method::GET, "/cue/{id}/words", "/cue/ferry/words", ""),
    (Method::GET, "/cue/{id}/cell", "/cue/ferry/cell?chair=harp&passage=Open%20water", ""),
    (Method::GET, "/cue/{id}/listen", "/cue/ferry/listen", ""),
    (Method::GET, "/cue/{id}/listen/block", "/cue/ferry/listen/block?frames=1&patience=0", ""),
    (Method::POST, "/cue/{id}/listen/keep", "/cue/ferry/listen/keep", ""),
    (Method::GET, "/cue/{id}/listen/match", "/cue/ferry/listen/match?frames=1", ""),
    (Method::GET, "/cue/{id}/out", "/cue/ferry/out", ""),
    (Method::POST, "/cue/{id}/out", "/cue/ferry/out", r#"{"sound":false}"#),
    (Method::POST, "/cue/{id}/out/stop", "/cue/ferry/out/stop", ""),
    (Method::GET, "/cue/{id}/hall", "/cue/ferry/hall", ""),
    (Method::GET, "/cue/{id}/hall/rooms", "/cue/ferry/hall/rooms", ""),
    (
        Method::POST,
        "/cue/{id}/hall/seat",
        "/cue/ferry/hall/seat",
        r#"{"chair":"harp","words":null,"to":[-5.0,4.0],"seen":0}"#,
    ),
    (Method::GET, "/cue/{id}/patches", "/cue/ferry/patches", ""),
    (Method::GET, "/cue/{id}/patches/text", "/cue/ferry/patches/text?file=cards/quay-flutes.toml", ""),
    (
        Method::GET,
        "/cue/{id}/patches/trial",
        "/cue/ferry/patches/trial?file=cards/quay-flutes.toml&articulation=0",
        "",
    ),
    (Method::GET, "/cue/{id}/patches/session", "/cue/ferry/patches/session?chair=harp", ""),
    (Method::POST, "/cue/{id}/patches/list", "/cue/ferry/patches/list", r#"{"text":"C0 legato"}"#),
    (Method::POST, "/cue/{id}/patches/check", "/cue/ferry/patches/check", r#"{"text":"patch = 1"}"#),
    (
        Method::POST,
        "/cue/{id}/patches/new",
        "/cue/ferry/patches/new",
        r#"{"name":"Own","text":"patch = \"Own\"\n[[articulation]]\nname = \"sustain\"\n","chair":"flutes","seen":0}"#,
    ),
    (
        Method::POST,
        "/cue/{id}/patches/save",
        "/cue/ferry/patches/save",
        r#"{"file":"cards/own.toml","text":"patch = \"Mine\"\n[[articulation]]\nname = \"sustain\"\n","was":"patch = \"Own\"\n[[articulation]]\nname = \"sustain\"\n","seen":0}"#,
    ),
    (
        Method::POST,
        "/cue/{id}/patches/give",
        "/cue/ferry/patches/give",
        r#"{"file":"cards/own.toml","chair":"piccolo","seen":0}"#,
    ),
    (Method::GET, "/cue/{id}/fit", "/cue/ferry/fit", ""),
    (Method::POST, "/cue/{id}/adopt", "/cue/ferry/adopt", "no MIDI"),
    (Method::POST, "/cue/{id}/rub", "/cue/ferry/rub", r#"{"mark":1}"#),
    (Method::POST, "/cue/{id}/rub/back", "/cue/ferry/rub/back", ""),
    (Method::POST, "/cue/{id}/compare", "/cue/ferry/compare", r#"{"folder":"."}"#),
    (Method::GET, "/cue/{id}/written/{name}", "/cue/ferry/written/performed.mid", ""),
];

/// Routes that have nothing to do here, and say so: a file that is no MIDI, marks that nobody made.
const REFUSING: [&str; 3] = ["/cue/ferry/adopt", "/cue/ferry/rub", "/cue/ferry/rub/back"];

const MUSIC: &str = r#"<score-partwise version="4.0"><part-list><score-part id="P1"><part-name>Flute</part-name></score-part></part-list>
<part id="P1"><measure number="1"><attributes><divisions>1</divisions></attributes><note><pitch><step>A</step><octave>5</octave></pitch><duration>4</duration></note></measure></part></score-partwise>"#;

/// The routes that the sources name.
#[test]
fn every_route_is_tried() {
    let mut written = Vec::new();
    let folder = concat!(env!("CARGO_MANIFEST_DIR"), "/src/routes");
    for entry in std::fs::read_dir(folder).unwrap() {
        let text = std::fs::read_to_string(entry.unwrap().path()).unwrap();
        for piece in text.split(".route(").skip(1) {
            let path = piece.split('"').nth(1).unwrap().to_string();
            let rest = piece.split_once(',').unwrap().1;
            for method in ["get", "post", "put", "delete", "patch"] {
                let line = rest.split(".route(").next().unwrap().split("\n}").next().unwrap();
                if line.contains(&format!("{method}(")) {
                    written.push(format!("{} {path}", method.to_uppercase()));
                }
            }
        }
    }
    let mut listed: Vec<String> =
        ROUTES.iter().map(|(method, route, ..)| format!("{method} {route}")).collect();
    written.sort();
    listed.sort();
    assert_eq!(written, listed, "a route of routes/ that ROUTES does not list, or the other way round");
}

#[test]
fn every_route_answers_its_own_page() {
    let visit = Visit::begin();
    for (method, _, path, body) in ROUTES {
        if path.ends_with("performed.mid") {
            // It is being written out.
            for _ in 0..300 {
                if visit.get("/cue/ferry/out").json()["busy"] == json!(false) {
                    break;
                }
                std::thread::sleep(std::time::Duration::from_millis(100));
            }
        }
        let answer = visit.send(visit.request(method.clone(), path, *body));
        if REFUSING.contains(path) {
            assert!(answer.status.is_client_error() && !answer.body.is_empty(), "{path}: {}", answer.status);
        } else {
            assert_eq!(answer.status, StatusCode::OK, "{method} {path}: {}", answer.body);
        }
        is_closed(&answer, path);
    }
    assert!(visit.home.path().join("cues/tune/cue.toml").is_file());
    assert!(visit.home.path().join("cues/night-ferry/cue.toml").is_file());
}

/// No answer is for other sites, and none lets scripts in.
pub fn is_closed(answer: &Answer, path: &str) {
    let says =
        |name: &str| answer.headers.get(name).map(|v| v.to_str().unwrap().to_string()).unwrap_or_default();
    assert!(says("content-security-policy").contains("script-src 'self'"), "{path}");
    assert!(!says("content-security-policy").contains("unsafe-eval"), "{path}");
    assert_eq!(says("x-content-type-options"), "nosniff", "{path}");
    assert_eq!(says("cross-origin-resource-policy"), "same-origin", "{path}");
    assert!(!answer.headers.contains_key(header::ACCESS_CONTROL_ALLOW_ORIGIN), "{path}");
}

/// The first visit: the token of the address becomes a cookie, and leaves the address.
#[test]
fn the_first_visit_sets_a_cookie() {
    let visit = Visit::begin();
    let address = visit.server.address().to_string();
    let (token, port) = visit.server.token();
    let path = address.split_once(&visit.host()).unwrap().1;
    let mut request = visit.request(Method::GET, path, Body::empty());
    request.headers_mut().remove("cookie");
    let answer = visit.send(request);
    assert_eq!(answer.status, StatusCode::SEE_OTHER);
    assert_eq!(answer.headers["location"], "/cue/ferry/");
    let cookie = answer.headers["set-cookie"].to_str().unwrap();
    for word in [&format!("ripieno-{port}={token}"), "HttpOnly", "SameSite=Strict"] {
        assert!(cookie.contains(word), "{cookie}");
    }
}

#[test]
fn what_is_newer_than_the_newest_is_answered_at_once() {
    let visit = Visit::begin();
    let begun = std::time::Instant::now();
    let answer = visit.get("/cue/ferry/changes?seen=18446744073709551615");
    assert_eq!(answer.json()["whole"], json!(true));
    assert!(begun.elapsed().as_secs() < 10);
}
