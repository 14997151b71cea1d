//! The hall and the patches, asked as a browser would.

#![allow(clippy::unwrap_used)]

use axum::Router;
use axum::body::{Body, to_bytes};
use axum::http::{Request, StatusCode};
use ripieno_page::{Options, Server};
use serde_json::{Value, json};
use std::path::PathBuf;
use tower::ServiceExt;

struct House {
    router: Router,
    token: String,
    port: u16,
    folder: PathBuf,
    _home: tempfile::TempDir,
}

fn house() -> House {
    let home = tempfile::tempdir().unwrap();
    let folder = home.path().join("night-ferry");
    ripieno_cue::write_demo(&folder).unwrap();
    let options =
        Options { home: home.path().to_path_buf(), cue: Some(folder.clone()), ..Options::default() };
    let server = Server::start(&options).unwrap();
    let (token, port) = server.token();
    House { router: server.router(), token: token.to_string(), port, folder, _home: home }
}

impl House {
    async fn ask(&self, method: &str, path: &str, body: Option<Value>) -> (StatusCode, String) {
        let request = Request::builder()
            .method(method)
            .uri(format!("/cue/night-ferry/{path}"))
            .header("host", format!("127.0.0.1:{}", self.port))
            .header("cookie", format!("ripieno-{}={}", self.port, self.token))
            .header("x-ripieno", &self.token)
            .body(body.map_or(Body::empty(), |b| Body::from(b.to_string())))
            .unwrap();
        let response = self.router.clone().oneshot(request).await.unwrap();
        let status = response.status();
        let bytes = to_bytes(response.into_body(), 1 << 26).await.unwrap();
        (status, String::from_utf8(bytes.to_vec()).unwrap())
    }

    async fn get(&self, path: &str) -> String {
        let (status, text) = self.ask("GET", path, None).await;
        assert_eq!(status, StatusCode::OK, "{path}: {text}");
        text
    }

    async fn post(&self, path: &str, body: Value) -> Value {
        let (status, text) = self.ask("POST", path, Some(body)).await;
        assert_eq!(status, StatusCode::OK, "{path}: {text}");
        serde_json::from_str(&text).unwrap()
    }

    fn template(&self) -> String {
        std::fs::read_to_string(self.folder.join("template.toml")).unwrap()
    }
}

fn run(work: impl Future<Output = ()>) {
    tokio::runtime::Builder::new_multi_thread()
        .worker_threads(1)
        .enable_all()
        .build()
        .unwrap()
        .block_on(work);
}

/// Every SVG of a page is well-formed: each tag that is opened is closed.
fn well_formed(html: &str) {
    let mut count = 0;
    for svg in html.split("<svg").skip(1) {
        let svg = svg.split("</svg>").next().unwrap();
        let mut open: Vec<&str> = Vec::new();
        for tag in svg.split('<').skip(1) {
            let tag = tag.split('>').next().unwrap();
            if let Some(name) = tag.strip_prefix('/') {
                assert_eq!(open.pop(), Some(name), "{svg}");
            } else if !tag.ends_with('/') {
                open.push(tag.split(' ').next().unwrap());
            }
        }
        assert!(open.is_empty(), "{open:?}");
        count += 1;
    }
    assert!(count > 0);
}

#[test]
fn a_seat_and_sends_of_its_own_are_taken_back_and_come_again_with_undo() {
    run(async {
        let house = house();
        let before = house.template();
        let placed = |page: &str| {
            let list = page.split("data-placed=\"").nth(1).unwrap().split('"').next().unwrap();
            list.split(' ').any(|c| c == "celesta")
        };
        let place = |page: &str| {
            let seat = page.split(r#"id="seat-celesta""#).nth(1).unwrap();
            seat.split('>').next().unwrap().to_string()
        };
        let page = house.get("hall").await;
        assert!(placed(&page));
        // It sits where it would anyway; so it is moved first.
        let usual = place(&page);
        house
            .post("hall/seat", json!({"chair": "celesta", "words": "between flutes and oboe", "seen": 0}))
            .await;
        let moved = house.template();
        let own = place(&house.get("hall").await);
        assert!(moved != before && own != usual, "{own}");
        house
            .post("act", json!({"acts": [{"usual": {"path": ["chair", "celesta", "seat"]}}], "seen": 0}))
            .await;
        let page = house.get("hall").await;
        let without = house.template();
        assert!(!placed(&page) && place(&page) != own && place(&page) == usual, "{}", place(&page));
        assert_eq!(without, before.replacen("seat       = [-6.9, 7.0]\n", "", 1));
        // The same place as words give it.
        house.post("hall/seat", json!({"chair": "celesta", "words": "as usual", "seen": 0})).await;
        assert_eq!(place(&house.get("hall").await), place(&page));
        for text in [&without, &moved] {
            house.post("undo", json!({"seen": 0})).await;
            assert_eq!(house.template(), *text);
        }
        assert_eq!(place(&house.get("hall").await), own);
        house.post("redo", json!({"seen": 0})).await;
        assert_eq!(house.template(), without);
        for _ in 0..2 {
            house.post("undo", json!({"seen": 0})).await;
        }
        assert_eq!(house.template(), before);
        // Sends: an exception with a level and no hall, taken back in one step.
        let row = |page: &str| {
            let row = page.split(r#"data-chair="celesta"><th"#).nth(1).unwrap();
            row.split("</tr>").next().unwrap().to_string()
        };
        let plain = row(&house.get("hall").await);
        assert!(!plain.contains("sends-back"));
        let set = |key: &str, value: Value| json!({"template": {"path": ["chair", "celesta", key], "value": value}});
        house
            .post("act", json!({"acts": [set("send-db", json!(-4.5)), set("dry", json!(true))], "seen": 0}))
            .await;
        let excepted = row(&house.get("hall").await);
        assert!(excepted.contains(r#"data-keys="send-db dry""#) && excepted.contains('†'), "{excepted}");
        let back: Vec<Value> =
            ["send-db", "dry"].iter().map(|k| json!({"usual": {"path": ["chair", "celesta", k]}})).collect();
        house.post("act", json!({"acts": back, "seen": 0})).await;
        assert_eq!(row(&house.get("hall").await), plain);
        assert_eq!(house.template(), before);
        house.post("undo", json!({"seen": 0})).await;
        assert_eq!(row(&house.get("hall").await), excepted);
        // A whole chair is no value.
        let (status, text) = house
            .ask("POST", "act", Some(json!({"acts": [{"usual": {"path": ["chair", "celesta"]}}], "seen": 0})))
            .await;
        assert!(!status.is_success() && text.contains("table"), "{text}");
    });
}

#[test]
fn a_seat_is_moved_by_words_and_by_hand_and_moved_back() {
    run(async {
        let house = house();
        let page = house.get("hall").await;
        well_formed(&page);
        assert!(page.contains(r#"id="seat-violins-1""#) && page.contains(r#"aria-current="page">hall"#));
        let before = house.template();
        house
            .post("hall/seat", json!({"chair": "harp", "words": "6 m from the conductor, centre", "seen": 0}))
            .await;
        assert!(house.template().contains("seat       = [0, 6]"), "{}", house.template());
        let page = house.get("hall").await;
        assert!(page.contains(r#"id="seat-harp" data-chair="harp" data-x="0" data-y="6""#));
        house.post("hall/seat", json!({"chair": "harp", "to": [-2.25, 3.5], "seen": 0})).await;
        assert!(house.template().contains("[-2.25, 3.5]"));
        for _ in 0..2 {
            house.post("undo", json!({"seen": 0})).await;
        }
        assert_eq!(house.template(), before);
        // What is not understood changes nothing, and says what would be.
        let (status, said) = house
            .ask("POST", "hall/seat", Some(json!({"chair": "harp", "words": "behind the hornz", "seen": 0})))
            .await;
        assert_eq!(status, StatusCode::BAD_REQUEST);
        assert!(said.contains("hornz") && said.contains("horn"), "{said}");
        for wrong in [
            json!({"chair": "kazoo", "words": "left", "seen": 0}),
            json!({"chair": "harp", "to": [1e9, 0], "seen": 0}),
        ] {
            assert_eq!(house.ask("POST", "hall/seat", Some(wrong)).await.0, StatusCode::BAD_REQUEST);
        }
        assert_eq!(house.template(), before);
    });
}

#[test]
fn an_exception_is_seen_at_once() {
    run(async {
        let house = house();
        let page = house.get("hall").await;
        let row = |page: &str| {
            let row = page.split(r#"data-chair="oboe"><th"#).nth(1).unwrap();
            row.split("</tr>").next().unwrap().to_string()
        };
        assert!(!row(&page).contains('†'));
        let value = |path: Value, value: Value| json!({"acts": [{"template": {"path": path, "value": value}}], "seen": 0});
        house.post("act", value(json!(["chair", "oboe", "hall"]), json!("stone-church"))).await;
        house.post("act", value(json!(["chair", "oboe", "send-db"]), json!(-4.5))).await;
        let page = house.get("hall").await;
        assert!(
            row(&page).contains("to stone-church, not to session-stage; 4.5 dB less to its hall"),
            "{}",
            row(&page)
        );
        assert!(
            page.contains(r#"class="seat marked" id="seat-oboe""#)
                || page.contains(r#"marked" id="seat-oboe""#)
        );
        // Out of bounds: refused by the reader, in its words.
        let wrong = value(json!(["chair", "oboe", "send-db"]), json!(99));
        assert_eq!(house.ask("POST", "act", Some(wrong)).await.0, StatusCode::UNPROCESSABLE_ENTITY);
        let rooms = house.get("hall/rooms").await;
        well_formed(&rooms);
        assert!(rooms.contains("stone-church") && rooms.contains("Reverberation of"));
    });
}

#[test]
fn a_card_is_written_from_a_list_and_never_over_another() {
    run(async {
        let house = house();
        let page = house.get("patches").await;
        well_formed(&page);
        assert!(page.contains(r#"data-file="cards/quay-flutes.toml""#));
        let judged = house
            .post("patches/list", json!({"text": "C0 legato\nC#0 staccato\nwhat is this", "name": "My \"own\" flute", "chair": "flutes"}))
            .await;
        let card = judged["text"].as_str().unwrap().to_string();
        assert!(
            card.contains("legato") && card.contains("instrument") && judged["sound"] == json!(true),
            "{judged}"
        );
        assert!(judged["preview"].as_str().unwrap().contains("C0"));
        assert!(judged["faults"].as_str().unwrap().contains("line 3"), "{judged}");
        let new = json!({"name": "Own flute", "text": card, "chair": "flutes", "seen": 0});
        let made = house.post("patches/new", new.clone()).await;
        assert_eq!(made["file"], json!("cards/own-flute.toml"));
        assert!(house.template().contains(r#""cards/own-flute.toml""#));
        assert_eq!(house.post("patches/new", new).await["file"], json!("cards/own-flute-2.toml"));
        // Edited: only from what is there.
        let text: Value =
            serde_json::from_str(&house.get("patches/text?file=cards/own-flute-2.toml").await).unwrap();
        let was = text["text"].as_str().unwrap();
        let now = was.replace("legato", "marcato");
        let save = |text: &str, was: &str| json!({"file": "cards/own-flute-2.toml", "text": text, "was": was, "seen": 0});
        house.post("patches/save", save(&now, was)).await;
        assert!(house.get("patches").await.contains("marcato"));
        for wrong in [
            save(was, was),
            save("patch = ", &now),
            json!({"file": "template.toml", "text": now, "was": "", "seen": 0}),
        ] {
            let (status, said) = house.ask("POST", "patches/save", Some(wrong)).await;
            assert_eq!(status, StatusCode::UNPROCESSABLE_ENTITY, "{said}");
        }
        assert_eq!(std::fs::read_to_string(house.folder.join("cards/own-flute-2.toml")).unwrap(), now);
        for outside in ["../../etc/passwd", "cue.toml", "cards/pier-choir.toml.bak"] {
            let (status, _) = house.ask("GET", &format!("patches/text?file={outside}"), None).await;
            assert_eq!(status, StatusCode::NOT_FOUND);
        }
    });
}

#[test]
fn the_cue_is_sent_in_time() {
    run(async {
        let house = house();
        let all: Value = serde_json::from_str(&house.get("patches/session").await).unwrap();
        let one: Value = serde_json::from_str(&house.get("patches/session?chair=flutes").await).unwrap();
        assert!(all["tracks"].as_array().unwrap().len() > one["tracks"].as_array().unwrap().len());
        let events = one["tracks"][0]["events"].as_array().unwrap();
        let times: Vec<f64> = events.iter().map(|e| e[0].as_f64().unwrap()).collect();
        assert!(
            times.is_sorted()
                && times[0] >= 0.0
                && *times.last().unwrap() <= one["seconds"].as_f64().unwrap()
        );
        // Every note that begins ends.
        let count = |kind: u64| events.iter().filter(|e| e[1][0].as_u64().unwrap() & 0xf0 == kind).count();
        assert!(count(0x90) > 10 && count(0x90) == count(0x80));
        let trial: Value = serde_json::from_str(
            &house.get("patches/trial?file=cards/quay-flutes.toml&articulation=0").await,
        )
        .unwrap();
        assert!(trial["events"].as_array().unwrap().len() >= 2);
        let (status, _) =
            house.ask("GET", "patches/trial?file=cards/quay-flutes.toml&articulation=99", None).await;
        assert_eq!(status, StatusCode::NOT_FOUND);
    });
}
