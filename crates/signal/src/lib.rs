//! Sampled signals: buffers, filters, a noise source, a place to sit, and measuring.
//!
//! Takes samples and figures in seconds, hertz, decibels and metres; gives samples and measurements. It must not know music:
//! no keys, chairs or instruments. No coefficient is stored that depends on the sample rate: filters are made from hertz.
//!
//! * [`Stereo`]: two channels of one length.
//! * [`Biquad`], [`OnePole`], [`Noise`]: filters and white noise with the same bits everywhere.
//! * [`Convolver`]: several inputs through long stereo responses, block by block.
//! * [`Resampler`]: from one sample rate to another.
//! * [`Position`]: where a source is, and how the main microphones hear it.
//! * [`Frames`], [`Correlation`]: many short spectra; likeness over many lags.
//! * [`measure`]: spectra, pitch, levels, decay.

mod convolve;
mod filter;
mod frames;
pub mod measure;
mod noise;
mod position;
mod spectrum;
mod stereo;

pub use convolve::{Convolver, Prepared, Responses};
pub use filter::{Biquad, OnePole};
pub use frames::{Correlation, Frames};
pub use noise::Noise;
pub use position::{MICROPHONES, Position, SPEED_OF_SOUND, pan};
pub use ripieno_transform::{ResampleError, Resampler, resample};
pub use spectrum::{periodic, spectrum};
pub use stereo::Stereo;
