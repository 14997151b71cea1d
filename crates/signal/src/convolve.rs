//! Convolution with long responses, block by block: uniformly partitioned overlap-save with a delay line of spectra
//! (W. G. Gardner, Efficient convolution without input-output delay, 1995; F. Wefers, Partitioned convolution algorithms for
//! real-time auralization, 2014; both from memory). Made for work off line, where a block may be long.
//!
//! Each input block is transformed once, whatever the number and length of its responses; each output block takes two inverse
//! transforms. What is silent is neither transformed nor multiplied.

use crate::Stereo;
use ripieno_transform::{Complex, ComplexToReal, Planner32, RealToComplex};
use std::sync::{Arc, Mutex, OnceLock, PoisonError};

/// What several inputs are convolved with: each with its own response and the sum of all with a shared one.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Responses {
    /// One for each input; may be empty.
    pub inputs: Vec<Stereo>,
    /// Of the sum of all inputs, such as a late tail; may be empty.
    pub shared: Stereo,
}

/// Bins that are worked out together: what they need of the sums stays in the nearest cache.
const CHUNK: usize = 512;

/// Transforms of one length, made once a process.
#[derive(Clone)]
struct Plans {
    forward: Arc<dyn RealToComplex<f32>>,
    inverse: Arc<dyn ComplexToReal<f32>>,
}

fn plans(length: usize) -> Plans {
    static PLANNER: OnceLock<Mutex<Planner32>> = OnceLock::new();
    let planner = PLANNER.get_or_init(|| Mutex::new(Planner32::new()));
    let mut planner = planner.lock().unwrap_or_else(PoisonError::into_inner);
    Plans { forward: planner.forward(length), inverse: planner.inverse(length) }
}

/// Real and imaginary parts apart, so that neighbouring bins are multiplied together.
#[derive(Clone, Debug, Default)]
struct Spectrum {
    re: Vec<f32>,
    im: Vec<f32>,
}

impl Spectrum {
    fn zero(bins: usize) -> Self {
        Self { re: vec![0.0; bins], im: vec![0.0; bins] }
    }

    fn set(&mut self, from: &[Complex<f32>]) {
        for ((re, im), c) in self.re.iter_mut().zip(&mut self.im).zip(from) {
            *re = c.re;
            *im = c.im;
        }
    }
}

/// A stereo response cut into blocks and transformed: it can be shared by any number of convolvers.
pub struct Prepared {
    block: usize,
    /// Spectra of the partitions, left and right; none where both sides are silent.
    parts: Vec<Option<[Spectrum; 2]>>,
}

impl Prepared {
    /// For blocks of `block` frames (1 or more; powers of two are quickest). Sides of unequal length are filled with silence.
    pub fn new(response: &Stereo, block: usize) -> Self {
        let block = block.max(1);
        let forward = plans(2 * block).forward;
        let (mut time, mut bins) = (forward.make_input_vec(), forward.make_output_vec());
        let mut scratch = forward.make_scratch_vec();
        let frames = response.left.len().max(response.right.len());
        let mut parts = Vec::with_capacity(frames.div_ceil(block));
        for from in (0..frames).step_by(block) {
            let cut = |side: &[f32]| -> Vec<f32> { side.iter().skip(from).take(block).copied().collect() };
            let sides = [cut(&response.left), cut(&response.right)];
            if sides.iter().all(|s| silent(s)) {
                parts.push(None);
                continue;
            }
            parts.push(Some(sides.map(|side| {
                time.fill(0.0);
                for (to, x) in time.iter_mut().zip(&side) {
                    // The transforms are not normalised.
                    *to = x / (2 * block) as f32;
                }
                let mut spectrum = Spectrum::zero(bins.len());
                // Fails for wrong lengths alone, and these are its own.
                if forward.process_with_scratch(&mut time, &mut bins, &mut scratch).is_ok() {
                    spectrum.set(&bins);
                }
                spectrum
            })));
        }
        while parts.last().is_some_and(Option::is_none) {
            parts.pop();
        }
        Self { block, parts }
    }

    /// Frames of a block.
    pub fn block(&self) -> usize {
        self.block
    }
}

impl std::fmt::Debug for Prepared {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "Prepared {{ block: {}, partitions: {} }}", self.block, self.parts.len())
    }
}

/// The last spectra of one input, the newest at `head`, and which of them are not silent.
#[derive(Clone, Debug)]
struct Ring {
    response: Arc<Prepared>,
    spectra: Vec<Spectrum>,
    live: Vec<bool>,
    head: usize,
}

impl Ring {
    fn new(response: Arc<Prepared>, bins: usize) -> Self {
        let length = response.parts.len();
        Self { response, spectra: vec![Spectrum::zero(bins); length], live: vec![false; length], head: 0 }
    }

    /// Steps on by a block; gives the place of the newest spectrum, none where the response is empty.
    fn step(&mut self, live: bool) -> Option<&mut Spectrum> {
        let length = self.spectra.len();
        if length == 0 {
            return None;
        }
        self.head = (self.head + length - 1) % length;
        self.live[self.head] = live;
        live.then(|| &mut self.spectra[self.head])
    }

    /// Whether any but the oldest, which the next step overwrites, is not silent.
    fn goes_on(&self) -> bool {
        let length = self.live.len();
        (0..length.saturating_sub(1)).any(|i| self.live[(self.head + i) % length])
    }

    /// The products that are not silent: input spectrum, left and right of its partition.
    fn products<'a>(&'a self, into: &mut Vec<Product<'a>>) {
        for (i, part) in self.response.parts.iter().enumerate() {
            let at = (self.head + i) % self.spectra.len();
            if let (Some([left, right]), true) = (part, self.live[at]) {
                into.push(Product { input: &self.spectra[at], left, right });
            }
        }
    }
}

/// One input spectrum and the two that it is multiplied with.
struct Product<'a> {
    input: &'a Spectrum,
    left: &'a Spectrum,
    right: &'a Spectrum,
}

/// One input: its last block and its past.
#[derive(Clone, Debug)]
struct Input {
    before: Vec<f32>,
    was_silent: bool,
    send: f32,
    ring: Ring,
}

/// Several inputs to one stereo output, without delay: the first frame of a block out belongs to the first of the block in.
pub struct Convolver {
    block: usize,
    plans: Plans,
    inputs: Vec<Input>,
    shared: Ring,
    newest: Spectrum,
    sums: [Spectrum; 2],
    time: Vec<f32>,
    bins: Vec<Complex<f32>>,
    forward_scratch: Vec<Complex<f32>>,
    inverse_scratch: Vec<Complex<f32>>,
}

impl Convolver {
    /// For blocks of `block` frames (1 or more; powers of two are quickest).
    pub fn new(responses: &Responses, block: usize) -> Self {
        let prepare = |response: &Stereo| Arc::new(Prepared::new(response, block));
        if let [only] = &responses.inputs[..] {
            // One input is its own sum: one response does for both.
            let mut whole = only.clone();
            whole.add(&responses.shared);
            return Self::of(
                vec![(prepare(&whole), 0.0)],
                Arc::new(Prepared { block: block.max(1), parts: Vec::new() }),
            );
        }
        let inputs = responses.inputs.iter().map(|r| (prepare(r), 1.0)).collect();
        Self::of(inputs, prepare(&responses.shared))
    }

    /// From responses that are transformed already, all for the same block length: for each input its own, and the factor at
    /// which it is sent to the shared one. A response for another block length counts as empty.
    pub fn of(inputs: Vec<(Arc<Prepared>, f32)>, shared: Arc<Prepared>) -> Self {
        let block = shared.block;
        let plans = plans(2 * block);
        let bins = block + 1;
        let fitting = |response: Arc<Prepared>| {
            if response.block == block { response } else { Arc::new(Prepared { block, parts: Vec::new() }) }
        };
        Self {
            inputs: inputs
                .into_iter()
                .map(|(response, send)| Input {
                    before: vec![0.0; block],
                    was_silent: true,
                    send,
                    ring: Ring::new(fitting(response), bins),
                })
                .collect(),
            shared: Ring::new(shared, bins),
            newest: Spectrum::zero(bins),
            sums: [Spectrum::zero(bins), Spectrum::zero(bins)],
            time: vec![0.0; 2 * block],
            bins: vec![Complex::default(); bins],
            forward_scratch: plans.forward.make_scratch_vec(),
            inverse_scratch: plans.inverse.make_scratch_vec(),
            block,
            plans,
        }
    }

    /// Whether a next block of silence would still give sound.
    pub fn rings(&self) -> bool {
        self.inputs.iter().any(|i| !i.was_silent || i.ring.goes_on()) || self.shared.goes_on()
    }

    /// Takes in a block without giving one: what is heard after it is as if it had been given. For a start in the middle.
    pub fn pass(&mut self, inputs: &[&[f32]]) {
        self.take(inputs);
    }

    /// The next block: `inputs` in the order of the responses, `left` and `right` of the output, each of the block's length.
    /// Inputs that are missing or short count as silence; outputs are written as far as they reach.
    pub fn block(&mut self, inputs: &[&[f32]], left: &mut [f32], right: &mut [f32]) {
        self.take(inputs);
        let mut products = Vec::new();
        for input in &self.inputs {
            input.ring.products(&mut products);
        }
        self.shared.products(&mut products);
        if products.is_empty() {
            left.fill(0.0);
            right.fill(0.0);
            return;
        }
        for from in (0..=self.block).step_by(CHUNK) {
            multiply(&mut self.sums, &products, from..(from + CHUNK).min(self.block + 1));
        }
        for (sum, out) in self.sums.iter().zip([left, right]) {
            for ((bin, re), im) in self.bins.iter_mut().zip(&sum.re).zip(&sum.im) {
                *bin = Complex::new(*re, *im);
            }
            // A real signal has no phase at zero and at half the sample rate; what is left there is rounding.
            self.bins[0].im = 0.0;
            self.bins[self.block].im = 0.0;
            let done = self.plans.inverse.process_with_scratch(
                &mut self.bins,
                &mut self.time,
                &mut self.inverse_scratch,
            );
            debug_assert!(done.is_ok());
            for (to, x) in out.iter_mut().zip(&self.time[self.block..]) {
                *to = *x;
            }
        }
    }

    /// Transforms what came in and puts it into the delay lines.
    fn take(&mut self, inputs: &[&[f32]]) {
        let block = self.block;
        let mut summed = false;
        for (i, input) in self.inputs.iter_mut().enumerate() {
            let new = inputs.get(i).copied().unwrap_or_default();
            let new = &new[..new.len().min(block)];
            let is_silent = silent(new);
            let live = !(is_silent && input.was_silent);
            input.was_silent = is_silent;
            let place = input.ring.step(live);
            if !live {
                continue;
            }
            let (past, present) = self.time.split_at_mut(block);
            past.copy_from_slice(&input.before);
            present[..new.len()].copy_from_slice(new);
            present[new.len()..].fill(0.0);
            input.before.copy_from_slice(present);
            let done = self.plans.forward.process_with_scratch(
                &mut self.time,
                &mut self.bins,
                &mut self.forward_scratch,
            );
            debug_assert!(done.is_ok());
            if let Some(place) = place {
                place.set(&self.bins);
            }
            if input.send != 0.0 && !self.shared.spectra.is_empty() {
                if !summed {
                    self.newest.re.fill(0.0);
                    self.newest.im.fill(0.0);
                }
                summed = true;
                for ((re, im), c) in self.newest.re.iter_mut().zip(&mut self.newest.im).zip(&self.bins) {
                    *re += input.send * c.re;
                    *im += input.send * c.im;
                }
            }
        }
        if let Some(place) = self.shared.step(summed) {
            std::mem::swap(place, &mut self.newest);
        }
    }
}

impl std::fmt::Debug for Convolver {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "Convolver {{ block: {}, inputs: {} }}", self.block, self.inputs.len())
    }
}

/// Sums of all products over a few bins: two products a pass, so that the sums are read and written half as often.
fn multiply(sums: &mut [Spectrum; 2], products: &[Product<'_>], bins: std::ops::Range<usize>) {
    let [left, right] = sums;
    for side in [&mut *left, &mut *right] {
        side.re[bins.clone()].fill(0.0);
        side.im[bins.clone()].fill(0.0);
    }
    for pair in products.chunks(2) {
        match pair {
            [a, b] => {
                for (sum, ha, hb) in [(&mut *left, a.left, b.left), (&mut *right, a.right, b.right)] {
                    two(sum, [a.input, b.input], [ha, hb], bins.clone());
                }
            }
            rest => {
                for a in rest {
                    for (sum, h) in [(&mut *left, a.left), (&mut *right, a.right)] {
                        one(sum, a.input, h, bins.clone());
                    }
                }
            }
        }
    }
}

fn one(sum: &mut Spectrum, x: &Spectrum, h: &Spectrum, bins: std::ops::Range<usize>) {
    let (re, im) = (&mut sum.re[bins.clone()], &mut sum.im[bins.clone()]);
    let n = re.len();
    let im = &mut im[..n];
    let (xr, xi) = (&x.re[bins.clone()][..n], &x.im[bins.clone()][..n]);
    let (hr, hi) = (&h.re[bins.clone()][..n], &h.im[bins][..n]);
    for i in 0..n {
        re[i] += xr[i] * hr[i] - xi[i] * hi[i];
        im[i] += xr[i] * hi[i] + xi[i] * hr[i];
    }
}

fn two(sum: &mut Spectrum, x: [&Spectrum; 2], h: [&Spectrum; 2], bins: std::ops::Range<usize>) {
    let (re, im) = (&mut sum.re[bins.clone()], &mut sum.im[bins.clone()]);
    let n = re.len();
    let im = &mut im[..n];
    let (ar, ai) = (&x[0].re[bins.clone()][..n], &x[0].im[bins.clone()][..n]);
    let (br, bi) = (&x[1].re[bins.clone()][..n], &x[1].im[bins.clone()][..n]);
    let (gr, gi) = (&h[0].re[bins.clone()][..n], &h[0].im[bins.clone()][..n]);
    let (hr, hi) = (&h[1].re[bins.clone()][..n], &h[1].im[bins][..n]);
    for i in 0..n {
        re[i] += (ar[i] * gr[i] - ai[i] * gi[i]) + (br[i] * hr[i] - bi[i] * hi[i]);
        im[i] += (ar[i] * gi[i] + ai[i] * gr[i]) + (br[i] * hi[i] + bi[i] * hr[i]);
    }
}

fn silent(samples: &[f32]) -> bool {
    samples.iter().all(|x| *x == 0.0)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{Noise, measure};
    use proptest::prelude::*;

    fn noise(frames: usize, seed: u64) -> Vec<f32> {
        let mut noise = Noise::seeded(seed);
        (0..frames).map(|_| noise.sample()).collect()
    }

    fn response(frames: usize, seed: u64) -> Stereo {
        Stereo { left: noise(frames, seed), right: noise(frames, seed + 1) }
    }

    /// In the time domain, term by term, in doubles.
    fn direct(x: &[f32], h: &[f32], into: &mut [f64]) {
        for (i, a) in x.iter().enumerate() {
            for (o, b) in into.iter_mut().skip(i).zip(h) {
                *o += f64::from(*a) * f64::from(*b);
            }
        }
    }

    fn run(convolver: &mut Convolver, inputs: &[Vec<f32>], block: usize, frames: usize) -> Stereo {
        let frames = frames.next_multiple_of(block);
        let mut out = Stereo { left: vec![9.0; frames], right: vec![9.0; frames] };
        for from in (0..frames).step_by(block) {
            let cut: Vec<&[f32]> =
                inputs.iter().map(|x| &x[from.min(x.len())..(from + block).min(x.len())]).collect();
            let to = from + block;
            convolver.block(&cut, &mut out.left[from..to], &mut out.right[from..to]);
        }
        out
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(64))]
        #[test]
        fn equals_the_sum_in_the_time_domain(
            block in 1_usize..70,
            shared in 0_usize..300,
            inputs in prop::collection::vec((0_usize..200, 0_usize..300, 0_usize..150), 1..4),
            seed in 1_u64..1000,
        ) {
            let responses = Responses {
                inputs: inputs.iter().zip(0..).map(|((h, ..), i)| response(*h, seed + 10 * i)).collect(),
                shared: response(shared, seed + 100),
            };
            // Each begins after a rest of its own.
            let signals: Vec<Vec<f32>> = inputs
                .iter()
                .zip(0..)
                .map(|((_, x, rest), i)| [vec![0.0; *rest], noise(*x, seed + 200 + i)].concat())
                .collect();
            let mut convolver = Convolver::new(&responses, block);
            let frames = 800;
            let out = run(&mut convolver, &signals, block, frames);
            for side in [false, true] {
                let pick = |s: &Stereo| if side { s.right.clone() } else { s.left.clone() };
                let mut wanted = vec![0.0; frames];
                for (x, h) in signals.iter().zip(&responses.inputs) {
                    direct(x, &pick(h), &mut wanted);
                    direct(x, &pick(&responses.shared), &mut wanted);
                }
                let wanted: Vec<f32> = wanted.iter().map(|x| *x as f32).collect();
                let apart = measure::difference(&wanted, &pick(&out)[..frames]);
                prop_assert!(apart.0 < -120.0, "{apart:?}");
            }
        }
    }

    #[test]
    fn long_blocks_are_as_exact() {
        let responses = Responses { inputs: vec![response(20_000, 1)], shared: Stereo::silence(0) };
        let signal = noise(30_000, 9);
        let out = run(&mut Convolver::new(&responses, 8192), std::slice::from_ref(&signal), 8192, 50_000);
        let mut wanted = vec![0.0; 50_000];
        direct(&signal, &responses.inputs[0].left, &mut wanted);
        let wanted: Vec<f32> = wanted.iter().map(|x| *x as f32).collect();
        let apart = measure::difference(&wanted, &out.left[..50_000]);
        assert!(apart.0 < -120.0, "{apart:?}");
    }

    /// Five blocks hold the signal and its tail; what follows is zeros and not the rounding of transforms.
    #[test]
    fn silence_comes_back_exactly() {
        let responses =
            Responses { inputs: vec![response(40, 1), response(10, 3)], shared: response(100, 5) };
        let mut convolver = Convolver::new(&responses, 32);
        assert!(!convolver.rings());
        let out = run(&mut convolver, &[noise(20, 4), Vec::new()], 32, 192);
        assert!(!convolver.rings());
        assert!(out.left[100..119].iter().all(|x| *x != 0.0));
        assert!(out.left[160..].iter().chain(&out.right[160..]).all(|x| *x == 0.0), "{:?}", &out.left[160..]);
    }

    #[test]
    fn one_tail_serves_chairs_at_their_own_levels() {
        let tail = Arc::new(Prepared::new(&response(100, 1), 16));
        let near = Arc::new(Prepared::new(&response(0, 1), 16));
        let mut convolver = Convolver::of(vec![(near.clone(), 0.5), (near, 0.0)], tail);
        let signal = noise(50, 2);
        let out = run(&mut convolver, &[signal.clone(), noise(50, 3)], 16, 160);
        let mut wanted = vec![0.0; 160];
        direct(&signal, &response(100, 1).left, &mut wanted);
        let wanted: Vec<f32> = wanted.iter().map(|x| 0.5 * *x as f32).collect();
        assert!(measure::difference(&wanted, &out.left).0 < -120.0);
    }

    #[test]
    fn the_same_bits_each_time_and_missing_inputs_are_silence() {
        let responses =
            Responses { inputs: vec![response(70, 1), response(50, 3)], shared: response(300, 5) };
        let signal = noise(200, 6);
        let mut once = Convolver::new(&responses, 64);
        let mut again = Convolver::new(&responses, 64);
        let short = run(&mut once, std::slice::from_ref(&signal), 64, 600);
        let filled = run(&mut again, &[signal, vec![0.0; 700]], 64, 600);
        assert_eq!(short, filled);
    }
}
