//! What must hold for any sound.

use proptest::prelude::*;
use ripieno_hearing::{Pattern, Scale, excitation, heard, loudness, noise, partial_loudness, roughness};
use std::sync::LazyLock;

static SCALE: LazyLock<Scale> = LazyLock::new(Scale::coarse);

fn sound() -> impl Strategy<Value = Vec<(f64, f64)>> {
    prop::collection::vec((20.0..16_000.0_f64, -20.0..110.0_f64), 1..12)
}

proptest! {
    /// More sound is louder; a masker makes softer; shares lie between 0 and 1.
    #[test]
    fn masking_takes_and_sound_adds(signal in sound(), masker in sound(), more in 0.5..20.0_f64) {
        let (s, m) = (excitation(&SCALE, &signal), excitation(&SCALE, &masker));
        let alone = loudness(&SCALE, &s);
        let mut both = s.clone();
        both.add(&m);
        prop_assert!(loudness(&SCALE, &both) >= alone * 0.999_999);
        let h = heard(&SCALE, &s, &m);
        let in_context = partial_loudness(&SCALE, &s, &m);
        prop_assert!(in_context <= 1.02 * alone + 1e-9, "{in_context} {alone}");
        prop_assert!((0.0..=1.0).contains(&h.share));
        let louder = partial_loudness(&SCALE, &s, &m.scaled_db(more));
        prop_assert!(louder <= in_context * 1.000_001 + 1e-9, "{louder} {in_context}");
        let raised: Vec<_> = signal.iter().map(|(f, l)| (*f, l + more)).collect();
        prop_assert!(loudness(&SCALE, &excitation(&SCALE, &raised)) >= alone);
    }

    /// Whatever is added can be taken away again.
    #[test]
    fn what_was_added_can_be_taken(a in sound(), b in sound()) {
        let (a, b) = (excitation(&SCALE, &a), excitation(&SCALE, &b));
        let mut sum = a.clone();
        sum.add(&b);
        sum.subtract(&b);
        for ((x, y), z) in sum.excitation().iter().zip(a.excitation()).zip(b.excitation()) {
            prop_assert!((x - y).abs() <= 1e-9 * (y + z));
        }
    }

    /// Nonsense is silent and makes nothing panic.
    #[test]
    fn nonsense_is_silent(f in any::<f64>(), l in any::<f64>(), step in any::<f64>()) {
        let pattern = excitation(&SCALE, &[(f, l), (l, f)]);
        prop_assert!(loudness(&SCALE, &pattern).is_finite());
        let own = Scale::new(step, Default::default());
        prop_assert!(heard(&own, &pattern, &Pattern::zero(&SCALE)).share <= 1.0);
        prop_assert!(roughness(&[(f, l)], &[(l, f), (f, f)]).is_finite());
        prop_assert!(noise(f, l, 1.0).len() <= 1_000_000);
    }
}
