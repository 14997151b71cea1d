//! Where to breathe: the cheapest places so that the air never runs out.
//!
//! Pure: it knows shares of a breath and costs, no music. At each place one may breathe; that fills the lungs up to what there is
//! time for there. Labels (cost, air) are carried from place to place and those that another beats in both are dropped, which
//! keeps the search exact; a test compares it with all subsets.

/// A place at which one may breathe, and the stretch of playing before it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Step {
    /// Air that the stretch before this place takes, as a share of a full breath.
    pub(crate) takes: f64,
    /// So much of it is not needed if one breathes here, because the note before ends early for it.
    pub(crate) saves: f64,
    /// What a breath here costs the music; 0 in a rest.
    pub(crate) cost: u32,
    /// Up to what a breath here fills the lungs, 0 to 1; 0 where one cannot breathe.
    pub(crate) fills: f64,
}

impl Step {
    /// Air that the stretch takes up to where one stops for a breath.
    fn needs(&self) -> f64 {
        (self.takes - self.saves.max(0.0)).max(0.0)
    }
}

/// The result of a search.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Breaths {
    /// Sum of the costs.
    pub(crate) cost: u32,
    /// Indices of the steps at whose place to breathe, rising.
    pub(crate) at: Vec<usize>,
}

/// Rounding of sums of shares: a millionth of a breath is no air.
const DUST: f64 = 1e-6;

#[derive(Clone, Copy)]
struct Label {
    cost: u32,
    air: f64,
    /// Index of the label before it in the list of all, and whether a breath was taken here.
    before: usize,
    step: usize,
    breathes: bool,
}

/// The cheapest breaths that let the air last from full lungs to the end of the last step. `Err`: the first step whose end
/// nobody reaches.
pub(crate) fn search(steps: &[Step]) -> Result<Breaths, usize> {
    search_within(steps, u32::MAX)
}

/// The same among breaths that cost no more than `most` together: dearer ones are not followed. `Err` also where all are dearer.
pub(crate) fn search_within(steps: &[Step], most: u32) -> Result<Breaths, usize> {
    let mut all = vec![Label { cost: 0, air: 1.0, before: 0, step: usize::MAX, breathes: false }];
    let mut front: Vec<usize> = vec![0];
    let mut next: Vec<Label> = Vec::new();
    for (i, step) in steps.iter().enumerate() {
        next.clear();
        for before in &front {
            let from = all[*before];
            let air = from.air - step.takes.max(0.0);
            let label =
                Label { cost: from.cost, air: air.max(0.0), before: *before, step: i, breathes: false };
            if air >= -DUST {
                next.push(label);
            }
            // Where one breathes the air need only last until the note is left.
            let left = from.air - step.needs();
            if step.fills > 0.0 && left >= -DUST {
                let cost = from.cost.saturating_add(step.cost);
                if cost <= most {
                    next.push(Label { cost, air: step.fills.min(1.0).max(left), breathes: true, ..label });
                }
            }
        }
        if next.is_empty() {
            return Err(i);
        }
        // By cost, the fuller first: a dearer label stays only if it has more air than all before it.
        next.sort_by(|a, b| a.cost.cmp(&b.cost).then(b.air.total_cmp(&a.air)));
        front.clear();
        let mut fullest = f64::NEG_INFINITY;
        for label in next.drain(..) {
            if label.air > fullest + DUST {
                fullest = label.air;
                front.push(all.len());
                all.push(label);
            }
        }
    }
    let Some(best) = front.iter().copied().min_by_key(|i| all[*i].cost) else {
        return Ok(Breaths { cost: 0, at: Vec::new() });
    };
    let mut at = Vec::new();
    let mut i = best;
    while i > 0 {
        if all[i].breathes {
            at.push(all[i].step);
        }
        i = all[i].before;
    }
    at.reverse();
    Ok(Breaths { cost: all[best].cost, at })
}

/// With a breath wherever there is one: the first step at whose beginning the lungs were last full, and the air that is left where
/// step `upto` begins.
pub(crate) fn since_full(steps: &[Step], upto: usize) -> (usize, f64) {
    let (mut first, mut air) = (0, 1.0_f64);
    for (i, step) in steps.iter().enumerate().take(upto) {
        air -= step.takes.max(0.0);
        if step.fills > 0.0 {
            air = air.max(step.fills).max(air + step.takes.max(0.0) - step.needs()).min(1.0);
        }
        if air >= 1.0 - DUST {
            first = i + 1;
        }
    }
    (first, air.max(0.0))
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    /// Does the air last with these breaths? Their cost, if so.
    fn lasts(steps: &[Step], at: &[usize]) -> Option<u32> {
        let (mut air, mut cost) = (1.0, 0);
        for (i, step) in steps.iter().enumerate() {
            let breathes = at.contains(&i) && step.fills > 0.0;
            air -= if breathes { f64::max(step.takes - step.saves, 0.0) } else { step.takes };
            if air < -1e-5 {
                return None;
            }
            if breathes {
                air = f64::max(air, step.fills);
                cost += step.cost;
            }
        }
        Some(cost)
    }

    fn exhaustive(steps: &[Step]) -> Option<u32> {
        (0..1u32 << steps.len())
            .filter_map(|set| {
                let at: Vec<usize> = (0..steps.len()).filter(|i| set & (1 << i) != 0).collect();
                lasts(steps, &at)
            })
            .min()
    }

    fn cases() -> u32 {
        std::env::var("RIPIENO_CASES").ok().and_then(|n| n.parse().ok()).unwrap_or(10_000)
    }

    proptest! {
        #![proptest_config(ProptestConfig { cases: cases(), failure_persistence: None, ..ProptestConfig::default() })]
        #[test]
        fn equal_to_trying_all_subsets(
            raw in prop::collection::vec(
                (0..60u32, 0..25u32, prop::sample::select(vec![0u32, 2, 3, 5, 12, 20]), 0..=10u32), 1..11)
        ) {
            // Hundredths and tenths: ties and edges come up often.
            let steps: Vec<Step> = raw
                .iter()
                .map(|(t, s, c, f)| Step {
                    takes: f64::from(*t) / 100.0,
                    saves: f64::from(*s) / 100.0,
                    cost: *c,
                    fills: f64::from(*f) / 10.0,
                })
                .collect();
            let best = exhaustive(&steps);
            match search(&steps) {
                Ok(found) => {
                    prop_assert_eq!(Some(found.cost), best);
                    for most in [found.cost, found.cost + 3] {
                        prop_assert_eq!(search_within(&steps, most), Ok(found.clone()));
                    }
                    prop_assert_eq!(lasts(&steps, &found.at), Some(found.cost));
                }
                Err(i) => {
                    prop_assert_eq!(best, None);
                    // The step named is the first that cannot be reached.
                    prop_assert_eq!(exhaustive(&steps[..=i]), None);
                    prop_assert!(i == 0 || exhaustive(&steps[..i]).is_some());
                }
            }
        }
    }

    #[test]
    fn a_rest_is_taken_before_a_slur_is_broken() {
        let step = |takes, cost, fills| Step { takes, saves: 0.0, cost, fills };
        let found = search(&[step(0.5, 12, 0.6), step(0.2, 0, 1.0), step(0.9, 12, 0.6)]).unwrap();
        assert_eq!((found.cost, found.at.as_slice()), (0, &[1][..]));
        assert_eq!(search(&[step(1.2, 0, 1.0)]), Err(0));
        assert_eq!(search(&[]), Ok(Breaths { cost: 0, at: vec![] }));
    }

    #[test]
    fn a_note_that_is_left_early_needs_less() {
        let long = |saves| [Step { takes: 1.1, saves, cost: 2, fills: 1.0 }];
        assert_eq!(search(&long(0.05)), Err(0));
        assert_eq!(search(&long(0.1)).map(|b| b.cost), Ok(2));
    }

    #[test]
    fn the_lungs_were_last_full() {
        let step = |takes, fills| Step { takes, saves: 0.0, cost: 0, fills };
        let steps = [step(0.5, 0.6), step(0.3, 1.0), step(0.25, 0.0), step(0.75, 0.0), step(0.5, 0.0)];
        assert_eq!(since_full(&steps, 4), (2, 0.0));
        assert_eq!(since_full(&steps, 3), (2, 0.75));
        assert_eq!(since_full(&steps, 1), (0, 0.6));
    }

    #[test]
    fn ten_thousand_notes_are_quick() {
        let steps: Vec<Step> = (0..10_000)
            .map(|i| Step {
                takes: 0.03 + f64::from(i % 7) * 0.01,
                saves: 0.01,
                cost: 1 + i % 13,
                fills: 0.6,
            })
            .collect();
        let found = search(&steps).unwrap();
        assert!(lasts(&steps, &found.at) == Some(found.cost));
    }
}
