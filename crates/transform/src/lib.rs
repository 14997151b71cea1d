//! Fourier transforms of real signals, and the change of sample rate that rests on them.
//!
//! Takes samples; gives spectra and samples. It must not know anything else: it is where the generic code of the libraries is
//! compiled, once, so that the crates above are built in seconds.
//!
//! * [`Planner32`], [`Planner64`]: transforms of any length.
//! * [`Resampler`]: from one sample rate to another.

mod fft;
mod resample;

pub use fft::{Complex, ComplexToReal, Planner32, Planner64, RealToComplex};
pub use resample::{ResampleError, Resampler, resample};
