//! The page as a browser meets it, and as others would: requests without a socket.

#![allow(clippy::unwrap_used, missing_docs)]

mod acts;
mod files;
mod hostile;
mod routes;

use axum::Router;
use axum::body::Body;
use axum::http::{HeaderMap, Method, Request, StatusCode};
use ripieno_page::{Options, Server};
use serde_json::Value;
use std::path::{Path, PathBuf};
use tower::ServiceExt;

/// A server with the demo open, in a home of its own, and what a browser of its user knows.
pub struct Visit {
    pub home: tempfile::TempDir,
    pub server: Server,
    pub router: Router,
    runtime: tokio::runtime::Runtime,
}

pub struct Answer {
    pub status: StatusCode,
    pub headers: HeaderMap,
    pub body: String,
}

impl Answer {
    pub fn json(&self) -> Value {
        assert_eq!(self.status, StatusCode::OK, "{}", self.body);
        serde_json::from_str(&self.body).unwrap()
    }

    /// The ids of the pieces that are new.
    pub fn renewed(&self) -> Vec<String> {
        let json = self.json();
        assert_eq!(json["whole"], false, "{json}");
        let pieces = json["pieces"].as_array().unwrap();
        pieces.iter().map(|p| p[0].as_str().unwrap().to_string()).collect()
    }

    pub fn state(&self) -> u64 {
        self.json()["state"].as_u64().unwrap()
    }
}

impl Visit {
    pub fn begin() -> Self {
        let home = tempfile::tempdir().unwrap();
        let cue = home.path().join("cues/ferry");
        ripieno_cue::write_demo(&cue).unwrap();
        let options = Options {
            port: 0,
            home: home.path().join("cues"),
            recent: Some(home.path().join("state/recent")),
            cue: Some(cue),
        };
        let server = Server::start(&options).unwrap();
        let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build().unwrap();
        Self { router: server.router(), server, home, runtime }
    }

    pub fn cue(&self) -> PathBuf {
        self.home.path().join("cues/ferry")
    }

    pub fn plan(&self) -> String {
        std::fs::read_to_string(self.cue().join("cue.toml")).unwrap()
    }

    pub fn host(&self) -> String {
        format!("127.0.0.1:{}", self.server.token().1)
    }

    /// A request as our own page sends it.
    pub fn request(&self, method: Method, path: &str, body: impl Into<Body>) -> Request<Body> {
        let (token, port) = self.server.token();
        Request::builder()
            .method(method)
            .uri(path)
            .header("host", self.host())
            .header("origin", format!("http://{}", self.host()))
            .header("cookie", format!("other=1; ripieno-{port}={token}"))
            .header("x-ripieno", token)
            .body(body.into())
            .unwrap()
    }

    pub fn send(&self, request: Request<Body>) -> Answer {
        self.runtime.block_on(async {
            let response = self.router.clone().oneshot(request).await.unwrap();
            let (parts, body) = response.into_parts();
            let bytes = axum::body::to_bytes(body, 64 << 20).await.unwrap();
            Answer {
                status: parts.status,
                headers: parts.headers,
                body: String::from_utf8_lossy(&bytes).into_owned(),
            }
        })
    }

    pub fn get(&self, path: &str) -> Answer {
        self.send(self.request(Method::GET, path, Body::empty()))
    }

    pub fn post(&self, path: &str, body: &Value) -> Answer {
        self.send(self.request(Method::POST, path, body.to_string()))
    }

    /// Acts on the open cue, having seen what is there now.
    pub fn act(&self, act: &Value) -> Answer {
        let seen = self.seen();
        self.post("/cue/ferry/act", &serde_json::json!({ "acts": [act], "seen": seen }))
    }

    pub fn seen(&self) -> u64 {
        let page = self.get("/cue/ferry/").body;
        let at = page.find("data-state=\"").unwrap() + 12;
        page[at..].split('"').next().unwrap().parse().unwrap()
    }

    /// Waits until the cue has been read through; gives the page.
    pub fn read_through(&self) -> String {
        for _ in 0..600 {
            let page = self.get("/cue/ferry/").body;
            if page.contains("class=\"finding") && !page.contains("being read through") {
                return page;
            }
            std::thread::sleep(std::time::Duration::from_millis(100));
        }
        panic!("the cue was not read through in a minute");
    }

    /// A good request works, and the cue is as it is on the disk.
    pub fn is_unharmed(&self) {
        let page = self.get("/cue/ferry/");
        assert_eq!(page.status, StatusCode::OK);
        assert!(page.body.contains("Night Ferry"));
    }
}

/// Every file under a folder with its bytes.
pub fn files(folder: &Path) -> Vec<(PathBuf, Vec<u8>)> {
    let mut out = Vec::new();
    let mut todo = vec![folder.to_path_buf()];
    while let Some(folder) = todo.pop() {
        for entry in std::fs::read_dir(folder).unwrap() {
            let path = entry.unwrap().path();
            match path.is_dir() {
                true => todo.push(path),
                false => out.push((path.clone(), std::fs::read(path).unwrap())),
            }
        }
    }
    out.sort();
    out
}

/// Numbers that look random; SplitMix64 (Steele, Lea and Flood, OOPSLA 2014).
pub struct Dice(pub u64);

impl Dice {
    pub fn next(&mut self, below: usize) -> usize {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        ((z ^ (z >> 31)) % below as u64) as usize
    }

    pub fn of<'a, T>(&mut self, list: &'a [T]) -> &'a T {
        &list[self.next(list.len())]
    }
}
