//! Playing words as printed, each only where it changes something.

use ripieno_music::Playing;

/// Which other words it replaces. What holds at the start needs no word.
fn kind(playing: &Playing) -> (u8, bool) {
    use Playing::*;
    match playing {
        Arco => (1, true),
        Pizz | ColLegnoBattuto | ColLegnoTratto => (1, false),
        SenzaSord => (2, true),
        ConSord => (2, false),
        SulPont | SulTasto | Harmonics | Flutter => (3, false),
        Ord => (3, true),
        Vib => (4, true),
        NonVib => (4, false),
        Trem(on) => (5, !on),
        Stopped => (6, false),
        Open => (6, true),
        Legato | Staccato | Staccatissimo | Spiccato | Tenuto | Portato | Marcato | Detache => (7, false),
        Div(_) | Unis | NonDiv | Solo | Tutti | Players(_) | Together(_) => {
            (8, matches!(playing, Tutti | Unis))
        }
        LetRing => (9, false),
        Damp => (9, true),
        Roll => (10, false),
        Strokes => (10, true),
        Swell => (11, false),
        Mallets(_) => (12, false),
    }
}

/// What is in force for a player.
#[derive(Default)]
pub(crate) struct InForce(std::collections::BTreeMap<u8, Playing>);

impl InForce {
    /// The word to print, if it changes anything.
    pub fn says(&mut self, playing: &Playing) -> Option<String> {
        let (kind, usual) = kind(playing);
        let before = self.0.insert(kind, playing.clone());
        let needed = match &before {
            Some(before) => before != playing,
            None => !usual,
        };
        (needed || kind == 11).then(|| playing.word())
    }
}
