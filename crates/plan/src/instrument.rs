//! Instruments that plans, templates and cards name.

use crate::diagnostic::did_you_mean;
use ripieno_instruments::{Query, by_id, ids, recognise};

/// Is it the id of an instrument?
pub(crate) fn is_known(id: &str) -> bool {
    by_id(id).is_some()
}

/// What was meant by an id that is none: the nearest, or what scores call so (`Violin I`, `Pauken`).
pub(crate) fn meant(id: &str) -> String {
    did_you_mean(id, ids(), || match likely(id) {
        Some(likely) => format!("did you mean `{likely}`?"),
        None => "write an English name in lower case with hyphens: violin, bass-clarinet, tam-tam".into(),
    })
}

/// The instrument that a chair's id or a score's name speaks of.
pub(crate) fn likely(name: &str) -> Option<&'static str> {
    let name = name.replace(['-', '_'], " ");
    let guess = recognise(&Query { name: &name, ..Query::default() })?;
    Some(guess.instrument.id.as_str())
}
