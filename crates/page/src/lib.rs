//! The page: a cue seen, changed and heard in the browser.
//!
//! Takes cues through [`ripieno_cue`], gives HTML, pictures and sound to one browser on this machine. It must not know how
//! anything is computed: what is shown is asked of the facade, drawn by [`ripieno_picture`], and put into words here.
//!
//! # How it hangs together
//! * [`guard`]: who may ask at all. Loopback, our own host and origin, the token of this start.
//! * [`open`]: a cue that is open. A change is cast and performed at once; the read-through follows on a thread of its own.
//! * [`fragments`]: the page is made of pieces of HTML with ids. Every change renews some of them; the browser says which state
//!   it has seen and is given what is newer (`POST …/act` at once, `GET …/changes` when something comes later).
//! * `html/`: those pieces. `routes/`: one module a subject, each with a `routes()` that [`server`] merges.
//! * `assets/`: style and scripts, plain modules. `api.js` has `post`, `get` and `renewed` (an event when a fragment was
//!   replaced); every other module exports what `main.js` starts on a page. Types are JSDoc, checked by `tsc -p assets`.

mod assets;
mod error;
pub mod fragments;
pub mod guard;
pub mod html;
pub mod listen;
pub mod open;
mod out;
mod recent;
mod routes;
mod server;
mod state;

pub use error::PageError;
pub use server::{Options, Server};
