//! How long the steps of the model take, on the coarse scale: a figure each, in microseconds.

use ripieno_hearing::{Pattern, Scale, excitation, heard, loudness, partial_loudness};
use std::hint::black_box;
use std::time::Instant;

fn time(what: &str, mut run: impl FnMut()) {
    let mut best = f64::INFINITY;
    for _ in 0..20 {
        let start = Instant::now();
        for _ in 0..200 {
            run();
        }
        best = best.min(start.elapsed().as_secs_f64() / 200.0 * 1e6);
    }
    println!("{what}: {best:.2}");
}

fn main() {
    let tone = |f0: f64, level: f64| -> Vec<(f64, f64)> {
        (1..=30).map(|n| (f0 * f64::from(n), level - 6.0 * ripieno_units::math::log2(f64::from(n)))).collect()
    };
    for (name, scale) in [("0.5 Cam", Scale::coarse()), ("0.1 Cam", Scale::default())] {
        let (low, high) = (tone(110.0, 75.0), tone(523.25, 70.0));
        let (a, b) = (excitation(&scale, &high), excitation(&scale, &low));
        println!("{name}, {} places", scale.len());
        time("  excitation of 30 partials", || {
            black_box(excitation(&scale, black_box(&low)));
        });
        let mut sum = Pattern::zero(&scale);
        time("  add", || sum.add(black_box(&a)));
        time("  loudness", || {
            black_box(loudness(&scale, black_box(&a)));
        });
        time("  partial loudness", || {
            black_box(partial_loudness(&scale, black_box(&a), &b));
        });
        time("  heard", || {
            black_box(heard(&scale, black_box(&a), &b));
        });
    }
}
