//! Plans for transforms. They are never inlined: whoever inlines them compiles the whole library again.

use realfft::RealFftPlanner;
pub use realfft::num_complex::Complex;
pub use realfft::{ComplexToReal, RealToComplex};
use std::sync::Arc;

/// Plans transforms of single precision; what two lengths share is made once.
#[derive(Default)]
pub struct Planner32(RealFftPlanner<f32>);

/// Plans transforms of double precision; what two lengths share is made once.
#[derive(Default)]
pub struct Planner64(RealFftPlanner<f64>);

impl Planner32 {
    /// With no plans yet.
    #[inline(never)]
    pub fn new() -> Self {
        Self(RealFftPlanner::new())
    }

    /// From `length` samples to `length / 2 + 1` bins; not scaled.
    #[inline(never)]
    pub fn forward(&mut self, length: usize) -> Arc<dyn RealToComplex<f32>> {
        self.0.plan_fft_forward(length)
    }

    /// From `length / 2 + 1` bins to `length` samples, `length` times as large as what [`Self::forward`] took.
    #[inline(never)]
    pub fn inverse(&mut self, length: usize) -> Arc<dyn ComplexToReal<f32>> {
        self.0.plan_fft_inverse(length)
    }
}

impl Planner64 {
    /// With no plans yet.
    #[inline(never)]
    pub fn new() -> Self {
        Self(RealFftPlanner::new())
    }

    /// From `length` samples to `length / 2 + 1` bins; not scaled.
    #[inline(never)]
    pub fn forward(&mut self, length: usize) -> Arc<dyn RealToComplex<f64>> {
        self.0.plan_fft_forward(length)
    }

    /// From `length / 2 + 1` bins to `length` samples, `length` times as large as what [`Self::forward`] took.
    #[inline(never)]
    pub fn inverse(&mut self, length: usize) -> Arc<dyn ComplexToReal<f64>> {
        self.0.plan_fft_inverse(length)
    }
}

impl std::fmt::Debug for Planner32 {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str("Planner32")
    }
}

impl std::fmt::Debug for Planner64 {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str("Planner64")
    }
}
