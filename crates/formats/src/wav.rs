//! WAV files.
