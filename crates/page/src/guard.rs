//! Who may ask: nobody but the page that this start has opened.
//!
//! Another site that is open in the same browser can send requests to the loopback, and by a name that it lets point there (DNS
//! rebinding) even as its own. So every request must name our own host; must carry the token of this start, as the cookie that
//! the first visit has set (`SameSite=Strict`: no other site's request carries it); and whatever changes or tells anything must
//! carry the token once more in a header that only our own script can set, and, where the browser names an origin, our own.

use crate::error::PageError;
use crate::state::House;
use axum::extract::{Request, State};
use axum::http::{HeaderMap, Method, header};
use axum::middleware::Next;
use axum::response::{IntoResponse, Response};
use std::sync::Arc;

/// The header that our script sends.
pub const HEADER: &str = "x-ripieno";

/// The largest request that is read, bytes: no music file comes near it.
pub const LARGEST: usize = 64 << 20;

/// A token: 128 random bits from the system's own source.
pub fn token() -> String {
    // Keys of this hasher are random, drawn from the system for every process and counted on for every use.
    use std::hash::{BuildHasher, Hasher, RandomState};
    let mut out = String::new();
    for i in 0..4_u64 {
        let mut hasher = RandomState::new().build_hasher();
        hasher.write_u64(i);
        out.push_str(&format!("{:08x}", hasher.finish() >> 32));
    }
    out
}

/// Equal, in a time that does not tell how much of it is.
fn same(a: &str, b: &str) -> bool {
    a.len() == b.len() && a.bytes().zip(b.bytes()).fold(0, |sum, (x, y)| sum | (x ^ y)) == 0
}

/// The cookie of a start: ports share cookies, so its name has the port.
pub fn cookie_name(port: u16) -> String {
    format!("ripieno-{port}")
}

fn cookie<'a>(headers: &'a HeaderMap, name: &str) -> Option<&'a str> {
    let all = headers.get_all(header::COOKIE).iter().filter_map(|v| v.to_str().ok());
    let mut pairs = all.flat_map(|line| line.split(';')).filter_map(|pair| pair.trim().split_once('='));
    pairs.find(|(n, _)| *n == name).map(|(_, value)| value)
}

/// Does the request name us as its host? `[::1]` is not served.
fn our_host(headers: &HeaderMap, port: u16) -> bool {
    let mut hosts = headers.get_all(header::HOST).iter();
    let (Some(host), None) = (hosts.next(), hosts.next()) else { return false };
    host.to_str().is_ok_and(|h| h == format!("127.0.0.1:{port}") || h == format!("localhost:{port}"))
}

fn our_origin(headers: &HeaderMap, port: u16) -> bool {
    let ours = [format!("http://127.0.0.1:{port}"), format!("http://localhost:{port}")];
    headers.get_all(header::ORIGIN).iter().all(|o| o.to_str().is_ok_and(|o| ours.iter().any(|u| u == o)))
}

/// Lets a request through, or not.
pub async fn guard(State(house): State<Arc<House>>, request: Request, next: Next) -> Response {
    match judge(&house, &request) {
        Ok(()) => {
            let mut response = next.run(request).await;
            let headers = response.headers_mut();
            for (name, value) in ANSWER {
                headers.entry(*name).or_insert(header::HeaderValue::from_static(value));
            }
            response
        }
        Err(error) => error.into_response(),
    }
}

/// What every answer says: nothing of it for other sites, no scripts but ours.
const ANSWER: &[(&str, &str)] = &[
    ("cache-control", "no-store"),
    (
        "content-security-policy",
        "default-src 'none'; script-src 'self'; style-src 'self' 'unsafe-inline'; img-src 'self' data:; connect-src 'self'; media-src blob:; font-src 'self'; form-action 'none'; frame-ancestors 'none'; base-uri 'none'",
    ),
    ("cross-origin-resource-policy", "same-origin"),
    ("cross-origin-opener-policy", "same-origin"),
    ("x-content-type-options", "nosniff"),
    ("x-frame-options", "DENY"),
    ("referrer-policy", "no-referrer"),
];

fn judge(house: &House, request: &Request) -> Result<(), PageError> {
    let headers = request.headers();
    if !our_host(headers, house.port) {
        return Err(PageError::Stranger("this address answers only to 127.0.0.1"));
    }
    if !our_origin(headers, house.port) {
        return Err(PageError::Stranger("another site asks; it is not answered"));
    }
    let reads = matches!(*request.method(), Method::GET | Method::HEAD);
    if reads && request.uri().path() == "/" && key(request).is_some_and(|key| same(key, &house.token)) {
        return Ok(());
    }
    if !cookie(headers, &cookie_name(house.port)).is_some_and(|c| same(c, &house.token)) {
        return Err(PageError::Stranger(
            "this page belongs to the one who started it: open the address that `ripieno` has printed",
        ));
    }
    if !reads {
        let sent = headers.get(HEADER).and_then(|v| v.to_str().ok());
        if !sent.is_some_and(|sent| same(sent, &house.token)) {
            return Err(PageError::Stranger("the request does not come from the page; load the page again"));
        }
    }
    Ok(())
}

/// The token in the address of the first visit.
pub fn key(request: &Request) -> Option<&str> {
    request.uri().query()?.split('&').find_map(|pair| pair.strip_prefix("key="))
}
