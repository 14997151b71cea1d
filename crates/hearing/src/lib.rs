//! What ears make of sound: excitation, loudness, and what is heard in the presence of something else.
//!
//! Takes levels of partials and bands of noise, gives sones and verdicts. It must not know music or instruments: a piece of
//! psychoacoustics, tested against published values (ISO 532-2, methods of partial loudness).
