//! Beams: quavers and shorter, grouped by the beat.

use crate::rhythm::Piece;
use ripieno_units::Beats;

/// What one head says of its beams, level by level.
pub(crate) type Beams = Vec<&'static str>;

/// How many flags a value has.
pub(crate) fn flags(piece: &Piece) -> usize {
    if piece.event.is_some() && piece.value.log < 0 { piece.value.log.unsigned_abs() as usize } else { 0 }
}

/// The beams of a bar of one voice. `beat` is the stretch that a beam holds together; `shift` what a pick-up bar lacks.
pub(crate) fn of(pieces: &[Piece], beat: Beats, shift: Beats) -> Vec<Beams> {
    let group = |p: &Piece| {
        let at = (p.at + shift).scaled(beat.denominator(), beat.numerator());
        (at.numerator().div_euclid(at.denominator()), p.tuplets.first().copied())
    };
    let mut beams: Vec<Beams> = vec![Vec::new(); pieces.len()];
    let mut i = 0;
    while i < pieces.len() {
        let mut end = i + 1;
        if flags(&pieces[i]) > 0 {
            while end < pieces.len() && flags(&pieces[end]) > 0 && group(&pieces[end]) == group(&pieces[i]) {
                end += 1;
            }
            if end - i > 1 {
                let levels: Vec<usize> = pieces[i..end].iter().map(flags).collect();
                for (k, out) in beams[i..end].iter_mut().enumerate() {
                    *out = at(&levels, k);
                }
            }
        }
        i = end;
    }
    beams
}

/// The beams of one head within its group: joined to the neighbours that have the level too, else a hook.
pub(crate) fn at(levels: &[usize], k: usize) -> Beams {
    (1..=levels[k].min(8))
        .map(|level| {
            let before = k > 0 && levels[k - 1] >= level;
            let after = levels.get(k + 1).is_some_and(|l| *l >= level);
            match (before, after) {
                (true, true) => "continue",
                (true, false) => "end",
                (false, true) => "begin",
                (false, false) if k == 0 => "forward hook",
                (false, false) => "backward hook",
            }
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn hooks_stand_on_the_side_of_their_group() {
        assert_eq!(at(&[1, 2], 1), ["end", "backward hook"]);
        assert_eq!(at(&[2, 1, 2], 0), ["begin", "forward hook"]);
        assert_eq!(at(&[2, 2, 1], 1), ["continue", "end"]);
    }
}
