//! Renders some stretches of a chair, from the middle of its sound on.

use super::casting::{Casting, Seat};
use crate::CueError;
use crate::render::jobs::{Origin, Silence, options};
use crate::render::origin::{Print, Sound};
use ripieno_signal::Convolver;
use ripieno_sound::Phrase;
use ripieno_sound::font::FontVoice;
use std::sync::Arc;

/// Is given every stretch, left and right; says whether to go on.
pub type Give<'a> = dyn FnMut(usize, &[f32], &[f32]) -> Result<bool, CueError> + 'a;

/// Renders `count` stretches from `first` on. What sounded before and still rings in the hall is played first, unheard.
///
/// Errors: a recording that breaks off, a font that cannot play; those of `give`.
pub fn render(
    seat: &Seat,
    casting: &Casting,
    phrases: &[Phrase],
    (first, count): (usize, usize),
    give: &mut Give<'_>,
) -> Result<(), CueError> {
    let grid = &casting.grid;
    let from = (first * grid.stretch) as i64;
    let desks = match (&seat.origin, seat.performance.as_deref()) {
        (Origin::Print { path, .. }, _) => {
            let wrong = |message| CueError::Place { path: path.clone(), message };
            Print::open(path, grid.rate, 0.0).map_err(wrong)?.channels()
        }
        (Origin::House, Some(performance)) => ripieno_sound::desks(performance.players),
        _ => 1,
    };
    let ringing = seat.ringing(casting, desks);
    let before = grid.whole_blocks(ringing.frames);
    let played = from - before as i64;
    let to = from + (count * grid.stretch) as i64;
    let cut = seat.performance.as_deref().map(|p| match seat.origin {
        Origin::House => ripieno_sound::cut(p, phrases, grid.seconds(played), grid.seconds(to)),
        _ => p.clone(),
    });
    let rate = grid.rate;
    let options = options(&casting.cue, rate);
    let start = grid.seconds(played);
    let mut sound = match (&seat.origin, &cut) {
        (Origin::Print { path, starts }, _) => {
            let shift = starts.0 + grid.lead_in - played as f64 / f64::from(rate);
            let wrong = |message| CueError::Place { path: path.clone(), message };
            Sound::Print(Box::new(Print::open(path, rate, shift).map_err(wrong)?))
        }
        (Origin::House, Some(cut)) => Sound::Voice(ripieno_sound::voice(cut, &options, start)),
        (Origin::Font { font, setup, .. }, Some(whole)) => {
            let wrong = |e: ripieno_sound::font::FontError| CueError::Place {
                path: casting.cue.template_path.clone(),
                message: format!("the chair `{}`: {e}", seat.id),
            };
            Sound::Voice(Box::new(FontVoice::new(font, whole, setup, &options, start).map_err(wrong)?))
        }
        (Origin::Silent | Origin::House | Origin::Font { .. }, _) => Sound::Voice(Box::new(Silence)),
    };
    let inputs = ringing.inputs.iter().map(|i| (Arc::clone(i), ringing.send)).collect();
    let mut convolver = Convolver::of(inputs, Arc::clone(&ringing.shared));
    let block = grid.block;
    let mut dry: Vec<Vec<f32>> = Vec::new();
    for _ in 0..before / block {
        sound.next(block, &mut dry)?;
        let inputs: Vec<&[f32]> = dry.iter().map(Vec::as_slice).collect();
        convolver.pass(&inputs);
    }
    let (mut left, mut right) = (vec![0.0; grid.stretch], vec![0.0; grid.stretch]);
    for stretch in first..first + count {
        for (left, right) in left.chunks_mut(block).zip(right.chunks_mut(block)) {
            sound.next(block, &mut dry)?;
            let inputs: Vec<&[f32]> = dry.iter().map(Vec::as_slice).collect();
            let silent = inputs.iter().all(|d| d.iter().all(|x| *x == 0.0)) && !convolver.rings();
            if silent {
                left.fill(0.0);
                right.fill(0.0);
            } else {
                convolver.block(&inputs, left, right);
            }
        }
        if !give(stretch, &left, &right)? {
            break;
        }
    }
    Ok(())
}
