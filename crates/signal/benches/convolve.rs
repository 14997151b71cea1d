//! Convolution beside the bare transforms that the same blocks need: `cargo bench -p ripieno-signal --bench convolve`.
//!
//! One input, 60 s at 48 kHz, through a stereo response of 2.5 s. Each row: the block, the best of five runs of the convolver,
//! of one forward and two inverse transforms for each block alone, their ratio, and the real-time factor.

use ripieno_signal::{Convolver, Noise, Responses, Stereo};
use ripieno_transform::Planner32;
use std::time::Instant;

const RATE: usize = 48_000;
const SECONDS: usize = 60;

fn noise(frames: usize, seed: u64) -> Vec<f32> {
    let mut noise = Noise::seeded(seed);
    (0..frames).map(|_| noise.sample()).collect()
}

fn best(mut run: impl FnMut()) -> f64 {
    let times = (0..5).map(|_| {
        let start = Instant::now();
        run();
        start.elapsed().as_secs_f64()
    });
    times.fold(f64::MAX, f64::min)
}

fn main() {
    let frames = 5 * RATE / 2;
    let response = Stereo { left: noise(frames, 1), right: noise(frames, 2) };
    let responses = Responses { inputs: vec![response], shared: Stereo::default() };
    let signal = noise(SECONDS * RATE, 3);
    println!("block  convolver ms  transforms ms  ratio  x real time");
    let mut quickest = (f64::MAX, 0);
    for block in [4096, 8192, 16_384, 32_768] {
        let (mut left, mut right) = (vec![0.0; block], vec![0.0; block]);
        let mut convolver = Convolver::new(&responses, block);
        let whole = best(|| {
            for x in signal.chunks(block) {
                convolver.block(&[x], &mut left, &mut right);
            }
            std::hint::black_box((&left, &right));
        });
        let mut planner = Planner32::new();
        let (forward, inverse) = (planner.forward(2 * block), planner.inverse(2 * block));
        let (mut time, mut bins) = (forward.make_input_vec(), forward.make_output_vec());
        let (mut there, mut back) = (forward.make_scratch_vec(), inverse.make_scratch_vec());
        let bare = best(|| {
            for x in signal.chunks(block) {
                time[..x.len()].copy_from_slice(x);
                forward.process_with_scratch(&mut time, &mut bins, &mut there).expect("its own lengths");
                for _ in 0..2 {
                    bins[0].im = 0.0;
                    bins[block].im = 0.0;
                    inverse.process_with_scratch(&mut bins, &mut time, &mut back).expect("its own lengths");
                }
                std::hint::black_box(&time);
            }
        });
        if whole < quickest.0 {
            quickest = (whole, block);
        }
        println!(
            "{block:5}  {:12.1}  {:13.1}  {:5.2}  {:11.0}",
            1e3 * whole,
            1e3 * bare,
            whole / bare,
            SECONDS as f64 / whole
        );
    }
    println!("quickest: {}", quickest.1);
}
