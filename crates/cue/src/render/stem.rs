//! One chair, rendered to a file block by block.

use super::kept::{Facts, Kept};
use super::origin::Sound;
use super::watch::Watch;
use crate::CueError;
use ripieno_formats::wav::{SampleFormat, Shape, Stream};
use ripieno_signal::{Convolver, Responses};
use std::io::BufWriter;

/// Frames that are convolved at a time: transforms of a third of a second are the best bargain for responses of seconds.
pub fn block_at(rate: u32) -> usize {
    if rate > 60_000 { 32_768 } else { 16_384 }
}

/// What a file is to hold.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Form {
    pub shape: Shape,
    pub format: SampleFormat,
}

/// The highest sample of a block, and how many would be cut off as integers.
pub fn look(facts: &mut Facts, block: &[f32]) {
    // In lanes, so that samples are compared side by side.
    let mut peaks = [0.0_f32; 8];
    let mut lanes = block.chunks_exact(8);
    for chunk in &mut lanes {
        for (peak, x) in peaks.iter_mut().zip(chunk) {
            let x = x.abs();
            *peak = if x > *peak { x } else { *peak };
        }
    }
    let rest = lanes.remainder().iter().map(|x| x.abs());
    let peak = peaks.into_iter().chain(rest).fold(0.0, f32::max);
    if peak > 1.0 {
        facts.clipped += block.iter().filter(|x| x.abs() > 1.0).count() as u64;
    }
    facts.peak = facts.peak.max(peak);
}

/// Renders a sound through its responses and keeps it under its key.
///
/// Errors: those of the disk and of the sound's source; that the work was stopped.
pub fn render(
    mut sound: Sound<'_>,
    responses: &Responses,
    form: Form,
    kept: &Kept,
    key: &str,
    watch: &dyn Watch,
) -> Result<(), CueError> {
    let block = block_at(form.shape.sample_rate);
    let mut convolver = Convolver::new(responses, block);
    let file = kept.fresh()?;
    let disk = |error| CueError::Disk { path: kept.path(key), error };
    let mut out = BufWriter::with_capacity(1 << 18, file.as_file());
    let mut stream = Stream::begin(&mut out, form.shape, form.format).map_err(disk)?;
    let (mut left, mut right) = (vec![0.0; block], vec![0.0; block]);
    let mut desks = Vec::new();
    let mut facts = Facts::default();
    let mut frames = form.shape.frames;
    while frames > 0 {
        if watch.stopped() {
            return Err(CueError::Stopped);
        }
        sound.next(block, &mut desks)?;
        let inputs: Vec<&[f32]> = desks.iter().map(Vec::as_slice).collect();
        let silent = inputs.iter().all(|d| d.iter().all(|x| *x == 0.0)) && !convolver.rings();
        if silent {
            left.fill(0.0);
            right.fill(0.0);
        } else {
            convolver.block(&inputs, &mut left, &mut right);
        }
        let wanted = frames.min(block as u64) as usize;
        look(&mut facts, &left[..wanted]);
        look(&mut facts, &right[..wanted]);
        stream.block(&[&left[..wanted], &right[..wanted]]).map_err(disk)?;
        frames -= wanted as u64;
        watch.advance(wanted as f64 / f64::from(form.shape.sample_rate));
    }
    stream.end().map_err(disk)?;
    drop(out);
    kept.keep(key, file, facts)
}
