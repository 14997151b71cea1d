//! What ears make of sound: excitation, loudness, and what is heard in the presence of something else.
//!
//! Takes levels of partials and bands of noise, gives sones and verdicts. It must not know music or instruments: a piece of
//! psychoacoustics, tested against published values (ISO 532-2, methods of partial loudness).
//!
//! The way of a sound, as in ISO 532-2:2017 and in Moore, Glasberg and Baer, "A model for the prediction of thresholds,
//! loudness, and partial loudness", J. Audio Eng. Soc. 45, 1997:
//!
//! 1. components (pure tones; a band of noise is a row of them) in dB SPL where the head will be, from the front;
//! 2. outer and middle ear ([`ear`]);
//! 3. excitation: rounded-exponential filters along the scale of equivalent rectangular bandwidths, broader to the high side
//!    the louder the sound ([`excitation`], [`Pattern`]);
//! 4. specific loudness, and its sum in sones for two ears that hear the same ([`loudness`]);
//! 5. of a sound beside others: partial loudness and a verdict ([`partial_loudness`], [`heard`]).
//!
//! Patterns of sounds may be added: each is then spread as loud as it sounds by itself, which is quick, since a pattern can be
//! kept; exact is one [`excitation`] of all components together, since loud neighbours broaden each other.
//!
//! ```
//! use ripieno_hearing::{Scale, Verdict, excitation, heard, loudness, noise};
//! let scale = Scale::default();
//! let tone = excitation(&scale, &[(1000.0, 62.0)]);
//! let hiss = excitation(&scale, &noise(200.0, 5000.0, 40.0));
//! assert!(loudness(&scale, &tone) > 4.0);
//! assert_eq!(heard(&scale, &tone, &hiss).verdict(), Verdict::Heard);
//! ```

pub mod ear;
mod excitation;
mod loudness;
mod masking;
mod roughness;
mod scale;

pub use excitation::{Pattern, excitation, noise, weight};
pub use loudness::{loudness, phons, specific_loudness};
pub use masking::{Heard, Verdict, heard, partial_loudness};
pub use roughness::{dissonance, roughness};
pub use scale::{Scale, bark, cam, erb, hertz};
