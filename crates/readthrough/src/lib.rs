//! The read-through: can it be played, is it heard, how does it grow.
//!
//! Takes parts, their performance and the facts of who plays them ([`Desk`]), gives [`ripieno_music::Finding`]s and the
//! [`Arc`] of the cue. It must not know how sound is made: whoever calls brings the spectra of instruments ([`Spectra`]). It
//! never alters a note.
//!
//! * [`playable`]: one module a rule; [`solve`]: the searches behind them (harp pedals, timpani, hands, stops, breaths).
//! * [`heard`]: levels, loudness, what covers the tune, and remedies tried.
//! * [`arc`]: loudness, span, players, brightness and density by bar; entrances and the climax.

pub mod arc;
pub mod heard;
pub mod playable;
pub mod rules;
pub mod solve;

mod desk;
mod phrase;
mod repeats;
mod spelled;

pub use arc::Arc;
pub use desk::{Desk, Found, Room, Table};
pub use heard::{Spectra, Spectrum};
pub use solve::Charts;

use ripieno_music::{Finding, Reading};

/// Everything that the read-through finds, in the order of bars; how the cue grows; and what harpists and timpanists set when.
pub fn read_through(
    table: &Table<'_>,
    reading: &Reading,
    spectra: &dyn Spectra,
) -> (Vec<Finding>, Arc, Charts) {
    let ((mut findings, charts), (heard, arc)) =
        rayon::join(|| playable::read(table), || heard::check(table, reading, spectra));
    findings.extend(heard);
    spelled::spell_out(table, &mut findings);
    let mut findings = repeats::told_once(table, findings);
    findings.sort_by(|a, b| {
        (a.bar, a.rule, &a.chair).cmp(&(b.bar, b.rule, &b.chair)).then(a.beat.total_cmp(&b.beat))
    });
    (findings, arc, charts)
}
