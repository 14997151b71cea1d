//! Kinds of playing words: a word holds until another of its kind.

use ripieno_music::Playing;
use std::collections::BTreeMap;

/// What a word of playing is about.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) enum Axis {
    /// Bow or finger or wood.
    Bow,
    Mute,
    /// Bow place.
    Place,
    Harmonics,
    Vibrato,
    Tremolo,
    Flutter,
    Hand,
    Stroke,
    Divided,
    /// Who plays.
    Who,
    Ring,
    Roll,
    Swell,
    Sticks,
}

/// What the word is about; `None` for `ord.`, which is about several.
pub(crate) fn axis(playing: &Playing) -> Option<Axis> {
    use Playing as P;
    Some(match playing {
        P::Arco | P::Pizz | P::ColLegnoBattuto | P::ColLegnoTratto => Axis::Bow,
        P::ConSord | P::SenzaSord => Axis::Mute,
        P::SulPont | P::SulTasto => Axis::Place,
        P::Harmonics => Axis::Harmonics,
        P::NonVib | P::Vib => Axis::Vibrato,
        P::Trem(_) => Axis::Tremolo,
        P::Flutter => Axis::Flutter,
        P::Stopped | P::Open => Axis::Hand,
        P::Legato
        | P::Staccato
        | P::Staccatissimo
        | P::Spiccato
        | P::Tenuto
        | P::Portato
        | P::Marcato
        | P::Detache => Axis::Stroke,
        P::Div(_) | P::Unis | P::NonDiv => Axis::Divided,
        P::Solo | P::Tutti | P::Players(_) | P::Together(_) => Axis::Who,
        P::LetRing | P::Damp => Axis::Ring,
        P::Roll | P::Strokes => Axis::Roll,
        P::Swell => Axis::Swell,
        P::Mallets(_) => Axis::Sticks,
        P::Ord => return None,
    })
}

/// What `ord.` puts back to usual: bow place, sound, vibrato and stroke; not the bow for the finger, nor mutes.
pub(crate) fn of_ord(axis: Axis) -> bool {
    !matches!(axis, Axis::Bow | Axis::Mute | Axis::Divided | Axis::Who)
}

/// Whether two words cannot hold at once.
pub(crate) fn contend(a: &Playing, b: &Playing) -> bool {
    let undone = |word: &Playing| {
        axis(word).is_some_and(of_ord) || matches!(word, Playing::ColLegnoBattuto | Playing::ColLegnoTratto)
    };
    match (axis(a), axis(b)) {
        (Some(x), Some(y)) => x == y,
        (None, Some(_)) => undone(b),
        (Some(_), None) => undone(a),
        (None, None) => true,
    }
}

/// The words in force; what is as usual is not in it.
#[derive(Clone, Debug, Default, PartialEq)]
pub(crate) struct InForce(BTreeMap<Axis, Playing>);

impl InForce {
    /// After one more word.
    pub(crate) fn hear(&mut self, word: &Playing) {
        use Playing as P;
        match (axis(word), word) {
            (None, _) => {
                let legno = matches!(self.0.get(&Axis::Bow), Some(P::ColLegnoBattuto | P::ColLegnoTratto));
                self.0.retain(|axis, _| !(of_ord(*axis) || legno && *axis == Axis::Bow));
            }
            (
                Some(axis),
                P::Arco | P::SenzaSord | P::Vib | P::Open | P::Unis | P::Tutti | P::Trem(false) | P::Damp,
            ) => {
                self.0.remove(&axis);
            }
            (Some(axis), _) => {
                self.0.insert(axis, word.clone());
            }
        }
    }

    /// Without what `keep` turns down.
    pub(crate) fn retain(&mut self, keep: impl Fn(&Playing) -> bool) {
        self.0.retain(|_, word| keep(word));
    }

    /// The words to say, so that this becomes `wanted`.
    pub(crate) fn towards(&self, wanted: &Self) -> Vec<Playing> {
        let mut now = self.clone();
        let mut words = Vec::new();
        let mut say = |now: &mut Self, word: Playing| {
            if !words.contains(&word) {
                now.hear(&word);
                words.push(word);
            }
        };
        for axis in self.0.keys().filter(|a| !wanted.0.contains_key(a)) {
            say(&mut now, usual(*axis));
        }
        for (axis, word) in &wanted.0 {
            if now.0.get(axis) != Some(word) {
                say(&mut now, word.clone());
            }
        }
        words
    }
}

/// The word that takes back every other of its kind.
fn usual(axis: Axis) -> Playing {
    match axis {
        Axis::Bow => Playing::Arco,
        Axis::Mute => Playing::SenzaSord,
        Axis::Vibrato => Playing::Vib,
        Axis::Tremolo => Playing::Trem(false),
        Axis::Hand => Playing::Open,
        Axis::Divided => Playing::Unis,
        Axis::Who => Playing::Tutti,
        Axis::Place
        | Axis::Harmonics
        | Axis::Flutter
        | Axis::Stroke
        | Axis::Ring
        | Axis::Roll
        | Axis::Swell
        | Axis::Sticks => Playing::Ord,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn force(words: &[Playing]) -> InForce {
        let mut now = InForce::default();
        words.iter().for_each(|w| now.hear(w));
        now
    }

    #[test]
    fn what_a_cell_sets_is_taken_back() {
        use Playing as P;
        let muted = force(&[P::ConSord, P::Pizz]);
        assert_eq!(muted.towards(&InForce::default()), [P::Arco, P::SenzaSord]);
        assert_eq!(muted.towards(&force(&[P::ConSord])), [P::Arco]);
        // A roll is taken back by `ord.`: `strokes` would forbid what the notes' own signs say.
        assert_eq!(force(&[P::Roll]).towards(&force(&[P::ConSord])), [P::Ord, P::ConSord]);
        // `ord.` would also take back the harmonics, so they are said again.
        let pont = force(&[P::SulPont, P::Harmonics]);
        assert_eq!(pont.towards(&force(&[P::Harmonics])), [P::Ord, P::Harmonics]);
        for from in [&muted, &pont] {
            for to in [&muted, &pont] {
                let mut after = from.clone();
                from.towards(to).iter().for_each(|w| after.hear(w));
                assert_eq!(&after, to);
            }
        }
    }
}
