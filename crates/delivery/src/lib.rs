//! What is delivered, but for its sound: names, chunks, lists and sheets, the click, the MIDI files, who is heard alone.
//!
//! Takes plain descriptions of a performed cue, gives bytes, texts and choices. It must not know files, halls or how sound is
//! made: whoever delivers renders, sums and writes.
//!
//! * [`names`]: file names by a pattern, safe on every system.
//! * [`bext`]: the `bext` chunk of a Broadcast Wave file.
//! * [`manifest`]: what is in the folder, as text and as JSON; [`digest`]: SHA-256 while a file is written.
//! * [`breakdown`]: which groups of a passage are worth hearing alone, in sentences.
//! * [`tune`]: when a chair is out while it would have the tune.
//! * [`click`], [`midi`], [`sheets`].

pub mod bext;
pub mod breakdown;
pub mod click;
pub mod digest;
pub mod manifest;
pub mod midi;
pub mod names;
pub mod sheets;
pub mod tune;
