//! Requests of others: other sites, other names for this machine, other programs; and of a page gone mad.

use crate::routes::ROUTES;
use crate::{Answer, Dice, Visit, files};
use axum::body::Body;
use axum::http::{HeaderValue, Method, Request, StatusCode};
use serde_json::{Value, json};

/// Requests of each kind.
const EACH: usize = 500;

/// Kinds of request are sent by turns, and the server works as before.
fn all_refused(mut make: impl FnMut(&Visit, &mut Dice) -> (String, Request<Body>), allowed: &[u16]) {
    let visit = Visit::begin();
    visit.read_through();
    let before = files(visit.home.path());
    let mut dice = Dice(allowed.iter().map(|a| u64::from(*a)).sum());
    for n in 0..EACH {
        let (what, request) = make(&visit, &mut dice);
        let answer = visit.send(request);
        let status = answer.status.as_u16();
        assert!(allowed.contains(&status), "{n}: {what}: {status} {}", answer.body);
        tells_nothing(&visit, &answer, &what);
    }
    assert_eq!(files(visit.home.path()), before, "no file was written");
    visit.is_unharmed();
    let good =
        json!({ "cell": { "passage": "Open water", "chair": "harp", "text": "figure, f", "was": null } });
    assert_eq!(visit.act(&good).status, StatusCode::OK);
}

fn tells_nothing(visit: &Visit, answer: &Answer, what: &str) {
    assert!(!answer.body.contains(visit.server.token().0), "{what}");
    assert!(!answer.body.contains("root:"), "{what}");
    assert!(!answer.headers.contains_key("set-cookie"), "{what}");
}

fn any_route(visit: &Visit, dice: &mut Dice) -> (String, Request<Body>) {
    let (method, _, path, body) = dice.of(ROUTES);
    (format!("{method} {path}"), visit.request(method.clone(), path, *body))
}

fn letters(dice: &mut Dice, most: usize) -> String {
    (0..1 + dice.next(most)).map(|_| *dice.of(b"abcdefghijklmnopqrstuvwxyz0123456789-.") as char).collect()
}

#[test]
fn another_name_for_this_machine_is_refused() {
    let make = |visit: &Visit, dice: &mut Dice| {
        let (what, mut request) = any_route(visit, dice);
        let port = visit.server.token().1;
        let host = match dice.next(8) {
            0 => format!("{}.example:{port}", letters(dice, 20)),
            1 => format!("localhost.{}:{port}", letters(dice, 9)),
            2 => format!("127.0.0.1:{}", port ^ 1),
            3 => "127.0.0.1".into(),
            4 => format!("127.0.0.{}:{port}", 2 + dice.next(250)),
            5 => format!("[::1]:{port}"),
            6 => format!("127.0.0.1:{port}.{}", letters(dice, 5)),
            _ => String::new(),
        };
        let headers = request.headers_mut();
        headers.insert("host", HeaderValue::from_str(&host).unwrap());
        if dice.next(4) == 0 {
            headers.remove("host");
        } else if dice.next(4) == 0 {
            headers.append("host", HeaderValue::from_str(&visit.host()).unwrap());
        }
        (format!("{what} to {host}"), request)
    };
    all_refused(make, &[403]);
}

#[test]
fn another_site_is_refused() {
    let make = |visit: &Visit, dice: &mut Dice| {
        let (what, mut request) = any_route(visit, dice);
        let port = visit.server.token().1;
        let origin = match dice.next(7) {
            0 => "null".to_string(),
            1 => format!("https://{}", visit.host()),
            2 => format!("http://127.0.0.1:{}", port ^ 1),
            3 => format!("http://127.0.0.1:{port}.{}", letters(dice, 8)),
            4 => format!("http://{}@{}", letters(dice, 6), visit.host()),
            5 => "http://127.0.0.1".into(),
            _ => format!("http://{}:{port}", letters(dice, 30)),
        };
        request.headers_mut().insert("origin", HeaderValue::from_str(&origin).unwrap());
        if dice.next(3) == 0 {
            request
                .headers_mut()
                .append("origin", HeaderValue::from_str(&format!("http://{}", visit.host())).unwrap());
        }
        (format!("{what} from {origin}"), request)
    };
    all_refused(make, &[403]);
}

#[test]
fn without_the_token_nothing_is_told() {
    let make = |visit: &Visit, dice: &mut Dice| {
        let (what, mut request) = any_route(visit, dice);
        let (token, port) = visit.server.token();
        let wrong = match dice.next(6) {
            0 => String::new(),
            1 => token[..token.len() - 1].to_string(),
            2 => format!("{token}0"),
            3 => token.to_uppercase() + "x",
            4 => {
                let at = dice.next(token.len());
                let other = if &token[at..=at] == "0" { "1" } else { "0" };
                format!("{}{other}{}", &token[..at], &token[at + 1..])
            }
            _ => letters(dice, 40),
        };
        let headers = request.headers_mut();
        let value = |text: String| HeaderValue::from_str(&text).unwrap();
        match dice.next(4) {
            0 => drop(headers.remove("cookie")),
            1 => drop(headers.insert("cookie", value(format!("ripieno-{}={token}", port ^ 1)))),
            2 => drop(headers.insert("cookie", value(format!("ripieno-{port}={wrong}")))),
            // Only what changes something needs the header.
            _ if *request.method() == Method::POST => match dice.next(2) {
                0 => drop(request.headers_mut().remove("x-ripieno")),
                _ => drop(request.headers_mut().insert("x-ripieno", value(wrong.clone()))),
            },
            _ => {
                request.headers_mut().remove("cookie");
                let path = format!("{}?key={wrong}", request.uri().path());
                *request.uri_mut() = path.parse().unwrap();
            }
        }
        (format!("{what} with {wrong}"), request)
    };
    all_refused(make, &[403]);
}

/// Ways out of a folder, as they are tried.
const ESCAPES: &[&str] = &[
    "..",
    "../..",
    "..%2f..%2fetc%2fpasswd",
    "%2e%2e",
    "%2e%2e%2f%2e%2e%2fetc%2fpasswd",
    "..%5c..%5c",
    "%2fetc%2fpasswd",
    "//etc/passwd",
    "etc/passwd",
    "....//",
    "%00",
    "main.js%00",
    "main.js%2f..%2f..%2fCargo.toml",
    "..%c0%af",
    "%ff",
    ".",
    "~",
    "C:%5c",
    "main.js/",
    "MAIN.JS",
    "ferry%2f..%2fferry",
    "ferry/../ferry",
    "cue.toml",
    "template.toml",
    "recent",
    ".ripieno",
    ".ripieno%2fcue-before.toml",
];

#[test]
fn no_address_leads_out_of_the_house() {
    let make = |visit: &Visit, dice: &mut Dice| {
        let mut out = (*dice.of(ESCAPES)).to_string();
        for _ in 0..dice.next(3) {
            out = format!("{out}{}{}", dice.of(&["/", "%2f", ""]), dice.of(ESCAPES));
        }
        let (method, route, ..) = dice.of(ROUTES).clone();
        let path = match route {
            "/assets/{name}" => format!("/assets/{out}"),
            "/" => format!("/{out}"),
            route if route.contains("{id}") => {
                route.replace("{id}", &out) + if route.ends_with("changes") { "?seen=0" } else { "" }
            }
            route => format!("{route}/{out}"),
        };
        let path = if path.parse::<axum::http::Uri>().is_ok() { path } else { "/no-such".into() };
        (format!("{method} {path}"), visit.request(method, &path, "{\"seen\":0,\"acts\":[]}"))
    };
    all_refused(make, &[400, 404, 405]);
}

/// Bodies that no script of ours sends.
fn mad_body(dice: &mut Dice, sound: &str) -> String {
    match dice.next(9) {
        0 => String::new(),
        1 => sound[..dice.next(sound.len().max(1))].to_string(),
        2 => "[".repeat(1 + dice.next(100_000)),
        3 => "{\"acts\":".repeat(1 + dice.next(50_000)),
        4 => letters(dice, 200),
        5 => format!(
            "{{\"seen\":{}}}",
            dice.of(&["-1", "1e400", "1.5", "18446744073709551616", "\"0\"", "null", "NaN"])
        ),
        6 => format!(
            "{{\"acts\":[{{\"split\":{{\"passage\":\"x\",\"bar\":{},\"name\":\"\"}}}}],\"seen\":0}}",
            dice.of(&["1e99", "-2147483649", "2147483648", "1.25"])
        ),
        7 => format!("{{\"acts\":[{{\"{}\":{{}}}}],\"seen\":0}}", letters(dice, 9)),
        _ => format!(
            "{{\"acts\":[{{\"add-chair\":{{\"id\":\"x\",\"instrument\":\"flute\",\"players\":{}}}}}],\"seen\":0}}",
            dice.of(&["65536", "-1", "0.5", "1e9"])
        ),
    }
}

#[test]
fn broken_requests_are_refused() {
    let make = |visit: &Visit, dice: &mut Dice| {
        let posts: Vec<_> =
            ROUTES.iter().filter(|(m, _, _, body)| *m == Method::POST && !body.is_empty()).collect();
        let (_, route, path, sound) = dice.of(&posts);
        let body = mad_body(dice, sound);
        // Every action of a cue is asked of the one that must read it; music that is none is no music either.
        let body = if ["undo", "redo", "put-back"].iter().any(|last| route.ends_with(&format!("/{last}"))) {
            body.replace("\"acts\"", "\"bats\"").replace("\"seen\":0", "\"seen\":-0.5")
        } else {
            body
        };
        (
            format!("{path}: {}", body.chars().take(100).collect::<String>()),
            visit.request(Method::POST, path, body),
        )
    };
    all_refused(make, &[400, 422]);
}

#[test]
fn absurd_numbers_in_addresses_are_refused() {
    let make = |visit: &Visit, dice: &mut Dice| {
        let number = match dice.next(6) {
            0 => "-1".to_string(),
            1 => "1e9".into(),
            2 => "9".repeat(21 + dice.next(3000)),
            3 => "0x10".into(),
            4 => letters(dice, 9) + "x",
            _ => "-9223372036854775809".into(),
        };
        let query = dice.of(&[
            "changes?seen=",
            "changes?seen=0&seen=",
            "changes?",
            "changes?sehen=",
            "listen/block?from=",
            "listen/block?frames=",
            "listen/block?what=",
            "listen/match?frames=-",
            "cell?chair=harp&passage=Open%20water&wider=x",
            "cell?wider=1&chair=",
        ]);
        let path = format!("/cue/ferry/{query}{number}");
        (path.chars().take(100).collect(), visit.request(Method::GET, &path, ""))
    };
    all_refused(make, &[400, 404, 414]);
}

/// Numbers that can be read and not be meant: answered or refused, soon and in little memory.
#[test]
fn numbers_without_measure_do_no_harm() {
    let visit = Visit::begin();
    let most = i64::MAX;
    for path in [
        format!("listen/block?from={most}&frames=18446744073709551615"),
        format!("listen/block?from={}&frames=1", i64::MIN),
        "listen/block?frames=1000000000000".into(),
        "listen/block?frames=4&gain=1e300&others=-1e300".into(),
        "listen/block?frames=4&gain=NaN&others=inf".into(),
        format!("listen/match?from={most}&frames=18446744073709551615"),
        "cell?chair=harp&passage=Open%20water&wider=1e300".into(),
        "cell?chair=harp&passage=Open%20water&wider=-1".into(),
        "cell?chair=harp&passage=Open%20water&wider=NaN".into(),
        "cell?chair=harp&passage=Open%20water&wider=inf".into(),
    ] {
        let begun = std::time::Instant::now();
        let answer = visit.get(&format!("/cue/ferry/{path}"));
        assert!(
            matches!(answer.status.as_u16(), 200 | 400 | 404 | 422),
            "{path}: {} {}",
            answer.status,
            answer.body
        );
        assert!(!answer.body.contains("broke off") && !answer.body.contains("NaN"), "{path}");
        assert!(answer.body.len() < 16 << 20, "{path}: {} bytes", answer.body.len());
        assert!(begun.elapsed().as_secs() < 60, "{path}");
    }
    visit.is_unharmed();
}

/// Bodies beyond all music, announced or not.
#[test]
fn what_is_too_large_is_refused() {
    let visit = Visit::begin();
    let before = files(visit.home.path());
    for (method, _, path, _) in ROUTES.iter().filter(|(m, _, _, body)| *m == Method::POST && !body.is_empty())
    {
        let body = vec![b' '; (64 << 20) + 1];
        let answer = visit.send(visit.request(method.clone(), path, body));
        assert_eq!(answer.status, StatusCode::PAYLOAD_TOO_LARGE, "{path}");
    }
    assert_eq!(files(visit.home.path()), before);
    visit.is_unharmed();
}

/// Names of dropped files, and folders to open: what is made is made in the home; what is no cue is not opened.
#[test]
fn names_do_not_lead_out_of_the_home() {
    let visit = Visit::begin();
    let outside = visit.home.path().join("outside.toml");
    std::fs::write(&outside, "secret = \"root:\"").unwrap();
    let mut dice = Dice(5);
    let music = ROUTES.iter().find(|r| r.1 == "/music").unwrap().3;
    let inside = |visit: &Visit| -> Vec<_> {
        let home = visit.home.path().join("cues");
        files(visit.home.path())
            .into_iter()
            .map(|f| f.0)
            .filter(|f| !f.starts_with(&home) && !f.ends_with("state/recent"))
            .collect()
    };
    let before = inside(&visit);
    for n in 0..EACH {
        let mut name = (*dice.of(ESCAPES)).to_string();
        if dice.next(2) == 0 {
            name = format!("{}{}", dice.of(ESCAPES), name);
        }
        let ending: &&str = dice.of(&["", ".mid", ".musicxml", "%00.mid", "%0a.mid", "/", "%e2%80%ae.mid"]);
        name.push_str(ending);
        if dice.next(20) == 0 {
            name = "%f0%9d%84%9e".repeat(100 + dice.next(200)) + ".musicxml";
        }
        // Now and then real music under such a name.
        let body = if n % 25 == 0 { music } else { "no music" };
        let path = format!("/music?name={name}");
        if path.parse::<axum::http::Uri>().is_err() {
            continue;
        }
        let answer = visit.send(visit.request(Method::POST, &path, body));
        let status = answer.status.as_u16();
        assert!(
            matches!(status, 400 | 422) || (status == 200 && body == music),
            "{path}: {status} {}",
            answer.body
        );
        let folder = dice.of(&[
            "/etc",
            "/etc/passwd",
            "../outside.toml",
            "..",
            "/",
            "",
            ".",
            "\u{0}",
            "~",
            "../../../../etc",
            "no such",
            "/proc/self",
            "/dev",
        ]);
        let answer = visit.post("/open", &json!({ "folder": folder }));
        assert!(
            matches!(answer.status.as_u16(), 400 | 404 | 422),
            "{folder:?}: {} {}",
            answer.status,
            answer.body
        );
        assert!(!answer.body.contains("root:"), "{}", answer.body);
    }
    assert_eq!(inside(&visit), before);
    let left: Vec<_> =
        std::fs::read_dir(visit.home.path().join("cues")).unwrap().map(|e| e.unwrap().file_name()).collect();
    assert!(left.iter().all(|n| !n.to_string_lossy().starts_with(".opening")), "{left:?}");
    visit.is_unharmed();
}

/// Acts with words from everywhere: done or refused, never a broken page, and nothing outside of the cue is touched.
#[test]
fn acts_with_any_words_do_no_harm() {
    let visit = Visit::begin();
    let mut dice = Dice(7);
    let words = [
        "",
        "harp",
        "Open water",
        "figure",
        "../../x",
        "/etc/passwd",
        "\u{0}",
        "<script>alert(1)</script>",
        "\"\n[chair.x]",
        "\\",
        "'''",
        "é𝄞\u{202e}",
        "cue",
        "music",
        "template",
        "cards",
        "col harp",
        "chair",
        "hall",
    ];
    let long = "x".repeat(100_000);
    let around = |visit: &Visit| -> Vec<_> {
        files(visit.home.path())
            .into_iter()
            .filter(|f| !f.0.starts_with(visit.cue()) && !f.0.ends_with("state/recent"))
            .collect()
    };
    let before = around(&visit);
    let mut done = 0;
    for n in 0..EACH {
        let mut word = || if dice.next(60) == 0 { long.as_str() } else { *dice.of(&words) };
        let (a, b, c, d) = (word(), word(), word(), word());
        let number =
            *dice.of(&[0_i64, -1, 1, 17, 20, 72, 73, i64::from(i32::MAX), i64::from(i32::MIN), 65535]);
        let act: Value = match dice.next(10) {
            0 | 1 => json!({ "cell": { "passage": a, "chair": b, "text": c, "was": null } }),
            2 => json!({ "rename": { "passage": a, "name": b } }),
            3 => json!({ "split": { "passage": a, "bar": number, "name": b } }),
            4 => json!({ "plan": { "path": [a, b], "value": c } }),
            5 => json!({ "template": { "path": [a, b, c], "value": [d, a] } }),
            6 => {
                json!({ "add-chair": { "id": a, "instrument": b, "players": number.clamp(0, 65535), "name": c, "before": d } })
            }
            7 => json!({ "accept": { "finding": a, "reason": b } }),
            8 => json!({ "template": { "path": ["chair", "harp", a], "value": b } }),
            _ => json!({ "take": { "finding": a } }),
        };
        let answer = visit.post("/cue/ferry/act", &json!({ "acts": [act], "seen": 0 }));
        let shown = act.to_string().chars().take(200).collect::<String>();
        assert!(
            matches!(answer.status.as_u16(), 200 | 400 | 409 | 422),
            "{n} {shown}: {} {}",
            answer.status,
            answer.body
        );
        assert!(!answer.body.contains("root:"), "{shown}: {}", answer.body);
        if answer.status == StatusCode::OK {
            done += 1;
            let page = visit.get("/cue/ferry/").body;
            assert!(!page.contains("<script>alert"), "{shown}");
            visit.post("/cue/ferry/undo", &json!({ "seen": 0 })).json();
        }
    }
    assert!(done > 0);
    assert_eq!(around(&visit), before);
    visit.is_unharmed();
}
