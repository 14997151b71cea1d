//! Gestures become MIDI for the composer's own patches: calls, delays, overlaps, curves.
//!
//! Takes a [`ripieno_music::Performance`] and the patch cards of each chair, gives a MIDI file, the intent of every note
//! and the findings of what a patch cannot do. It must not know audio, nor how the performance was made.
//!
//! What is heard starts when the performance says: the note-on lies earlier by the delay of the articulation used. The rule by
//! which a note's articulation is known from the file alone (docs/patch-card.md) is applied to the finished track by
//! [`reader`], so that what the intent claims is what a patch will do.

mod assemble;
mod control;
mod joins;
pub mod read_back;
pub mod reader;
mod schedule;
mod select;

use ripieno_formats::midi::MidiFile;
use ripieno_music::{Colour, Finding, Performance, Place};
use ripieno_plan::PatchCard;
use ripieno_units::Seconds;

pub use select::RULES;

/// Ticks a quarter note in the files that are written.
pub const TICKS: u16 = 3840;

/// The patches of one chair.
#[derive(Clone, Debug, PartialEq)]
pub struct ChairPatches {
    /// The chair's id.
    pub chair: String,
    /// Name of its track; the second and later cards get `/2`, `/3`.
    pub track: String,
    /// MIDI port in the composer's own session.
    pub port: Option<String>,
    /// Its cards, never empty.
    pub cards: Vec<PatchCard>,
}

/// Where notes are put.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Placement {
    /// Earlier by the delay of the patch, so that they are heard on time.
    Compensated,
    /// On the grid, for people who set delays by track.
    AsNotated,
}

/// What the composer's session gets, and what is to be said about it.
#[derive(Clone, Debug, PartialEq)]
pub struct PatchOutput {
    /// The performed file.
    pub file: MidiFile,
    /// Length of the whole bars before bar 1, in seconds.
    pub lead_in: Seconds,
    /// How many whole bars stand before bar 1.
    pub lead_in_bars: u32,
    /// One entry for each intended note, in order of chair, then onset.
    pub intents: Vec<Intent>,
    /// What a patch cannot do, once for each chair, rule and articulation.
    pub findings: Vec<Finding>,
    /// Each track's patch and delays.
    pub tracks: Vec<TrackSummary>,
}

/// One note as it was meant and as it was sent.
#[derive(Clone, Debug, PartialEq)]
pub struct Intent {
    /// The chair.
    pub chair: String,
    /// Name of the track.
    pub track: String,
    /// Channel, 1 to 16.
    pub channel: u8,
    /// Where it is written.
    pub place: Place,
    /// The key that is sent (sounding pitch and the card's transposition).
    pub key: u8,
    /// When it is to be heard, from bar 1.
    pub onset: Seconds,
    /// When it is to end, as heard.
    pub end: Seconds,
    /// When its note-on is sent; `None` if it is not sent.
    pub note_on: Option<Seconds>,
    /// When its note-off is sent.
    pub note_off: Option<Seconds>,
    /// What the performance asks for.
    pub articulation: String,
    /// The colour it asks for.
    pub colour: Option<Colour>,
    /// What the patch plays.
    pub used: String,
    /// The colour it plays.
    pub used_colour: Option<Colour>,
    /// Slurred from the note before it: the joined delay was taken.
    pub joined: bool,
    /// Velocity sent.
    pub velocity: u8,
    /// Changed by hand: what was computed was otherwise.
    pub pencil: bool,
    /// Rules that it falls under.
    pub findings: Vec<&'static str>,
}

/// One track in the report.
#[derive(Clone, Debug, PartialEq)]
pub struct TrackSummary {
    /// The chair.
    pub chair: String,
    /// Name of the track.
    pub track: String,
    /// The patch.
    pub patch: String,
    /// Articulations used, with the number of notes and the delay of a first note in ms (at mid velocity).
    pub used: Vec<(String, usize, f64)>,
    /// Controller and bend events.
    pub control_events: usize,
    /// The most controller events that one second holds.
    pub busiest_second: usize,
}

/// Writes a performance for the chairs' patches.
///
/// Chairs of the performance without an entry in `patches` are left out.
pub fn play(performance: &Performance, patches: &[ChairPatches], placement: Placement) -> PatchOutput {
    play_after(performance, patches, placement, 0)
}

/// The same with so many whole bars before bar 1 at least.
pub fn play_after(
    performance: &Performance,
    patches: &[ChairPatches],
    placement: Placement,
    lead_in_bars: u32,
) -> PatchOutput {
    assemble::play(performance, patches, placement, lead_in_bars)
}
