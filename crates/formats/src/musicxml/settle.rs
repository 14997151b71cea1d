//! Moves signs to the bars that they belong to.

use super::barline::Signs;
use super::movements::Movements;

/// Moves what stands at a barline to the right side of it.
pub(super) fn settle(signs: &mut [Signs]) {
    for i in 0..signs.len() {
        if let Some(back) = signs[i].backward_before
            && i > 0
        {
            signs[i - 1].backward = signs[i - 1].backward.or(Some(back));
        }
        if i + 1 < signs.len() {
            let (forward, segno, coda) = (signs[i].forward_next, signs[i].segno_next, signs[i].coda_next);
            let next = &mut signs[i + 1];
            next.forward |= forward;
            next.segno |= segno;
            next.coda |= coda;
        }
    }
    // Only now does every repeat sign stand in its bar.
    for i in 0..signs.len() {
        let Some(heading) = signs[i].heading_next else { continue };
        let begins = signs[i].forward
            || i.checked_sub(1).is_none_or(|b| signs[b].closes || signs[b].backward.is_some());
        let ends =
            signs[i].closes || signs[i].backward.is_some() || signs.get(i + 1).is_none_or(|n| n.forward);
        let to = if begins && !ends { i } else { (i + 1).min(signs.len() - 1) };
        signs[to].heading = signs[to].heading.or(Some(heading));
    }
}

/// Moves jumps to the end of what they stand in, and says which sign is the way to the coda.
pub(super) fn settle_jumps(signs: &mut [Signs], movements: &Movements) {
    // Words are placed loosely: a jump just before a repeat sign is made when the repeat has been taken, and one just before
    // the end of a movement at that end.
    for i in 0..signs.len() {
        let Some(jump) = signs[i].jump.filter(|_| signs[i].backward.is_none()) else { continue };
        if signs[i].closes || movements.may_begin(i + 1) {
            continue;
        }
        let ends = |j: &usize| signs[*j].closes || signs[*j].backward.is_some() || movements.may_begin(j + 1);
        let near = (i + 1..signs.len().min(i + 4))
            .take_while(|j| !signs[*j].forward && signs[*j].ending.is_none() && !signs[*j].coda);
        let sign = near.filter(ends).min();
        if let Some(sign) = sign {
            let names = std::mem::take(&mut signs[i].jump_names);
            signs[i].jump = None;
            (signs[sign].jump, signs[sign].jump_names) = (Some(jump), names);
        }
    }
    // A coda sign beside the words `To Coda` is that instruction, and so is the first of two signs without such words.
    for sign in signs.iter_mut() {
        sign.coda &= !sign.to_coda;
    }
    let codas: Vec<usize> = (0..signs.len()).filter(|i| signs[*i].coda).collect();
    if let [first, _] = codas[..]
        && !signs.iter().any(|s| s.to_coda)
        && signs.iter().any(|s| s.jump.is_some())
    {
        (signs[first].coda, signs[first].to_coda) = (false, true);
    }
}
