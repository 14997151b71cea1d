//! Who looks on while sound is made.

/// Is told how the work goes on, and may stop it. Called from several threads.
pub trait Watch: Sync {
    /// The work comes to another step, by its name; what follows begins anew.
    fn step(&self, _name: &str) {}
    /// So many chairs are to be rendered, so many seconds of sound in all; `reused` more are as they were.
    fn begin(&self, chairs: usize, seconds: f64, reused: usize);
    /// More seconds of sound are done.
    fn advance(&self, seconds: f64);
    /// Whether to stop.
    fn stopped(&self) -> bool;
}

/// Nobody looks on.
pub struct Unwatched;

impl Watch for Unwatched {
    fn begin(&self, _: usize, _: f64, _: usize) {}

    fn advance(&self, _: f64) {}

    fn stopped(&self) -> bool {
        false
    }
}
