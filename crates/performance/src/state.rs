//! What the words above a part say at each place: pizzicato, mutes, tremolo by word, a style of stroke.

use ripieno_music::{Colour, Direction, DirectionKind, Playing, named};
use ripieno_units::Beats;

/// The states in force at a place.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct State {
    /// Plucked.
    pub pizz: bool,
    /// With a mute.
    pub muted: bool,
    /// Bow place or sound: sul ponticello, sul tasto, col legno, harmonics, flutter-tongue, stopped.
    pub colour: Option<Colour>,
    /// Without vibrato.
    pub non_vib: bool,
    /// Unmeasured tremolo by word.
    pub trem: bool,
    /// A style that holds for notes without a sign of their own.
    pub style: Option<&'static str>,
    /// Percussion: held notes are rolled (`Some(true)`), single (`Some(false)`), or as their signs say.
    pub rolled: Option<bool>,
    /// Notes grow to the barline.
    pub swell: bool,
    /// Rings on.
    pub ring: bool,
    /// How many play, where the words say so.
    pub players: Option<u16>,
    /// Hard sticks (1) or soft ones (-1); 0 are the usual.
    pub sticks: f64,
}

impl State {
    /// The one colour that is asked for: a sound made by the bow or the lips before the mute, the mute before vibrato.
    pub fn colour(&self) -> Option<Colour> {
        self.colour.or(self.muted.then_some(Colour::ConSord)).or(self.non_vib.then_some(Colour::NonVib))
    }

    fn take(&mut self, playing: &Playing) {
        match playing {
            Playing::Arco => {
                self.pizz = false;
                if self.colour == Some(Colour::ColLegno) {
                    self.colour = None;
                }
            }
            Playing::Pizz => (self.pizz, self.trem, self.style) = (true, false, None),
            Playing::ColLegnoBattuto | Playing::ColLegnoTratto => {
                (self.colour, self.pizz) = (Some(Colour::ColLegno), false);
            }
            Playing::ConSord => self.muted = true,
            Playing::SenzaSord => self.muted = false,
            Playing::SulPont => self.colour = Some(Colour::SulPont),
            Playing::SulTasto => self.colour = Some(Colour::SulTasto),
            Playing::Harmonics => self.colour = Some(Colour::Harmonics),
            Playing::Flutter => self.colour = Some(Colour::Flutter),
            Playing::Stopped => self.colour = Some(Colour::Stopped),
            Playing::Ord => {
                (self.colour, self.non_vib, self.trem, self.style) = (None, false, false, None);
                (self.rolled, self.swell, self.ring, self.sticks) = (None, false, false, 0.0);
            }
            Playing::Open => self.colour = self.colour.filter(|c| *c != Colour::Stopped),
            Playing::NonVib => self.non_vib = true,
            Playing::Vib => self.non_vib = false,
            Playing::Trem(on) => self.trem = *on,
            Playing::Legato => self.style = Some(named::LEGATO),
            Playing::Staccato => self.style = Some(named::STACCATO),
            Playing::Staccatissimo => self.style = Some(named::STACCATISSIMO),
            Playing::Spiccato => self.style = Some(named::SPICCATO),
            Playing::Tenuto | Playing::Detache => self.style = Some(named::DETACHE),
            Playing::Portato => self.style = Some(named::PORTATO),
            Playing::Marcato => self.style = Some(named::MARCATO),
            Playing::Solo => self.players = Some(1),
            Playing::Tutti | Playing::Unis | Playing::NonDiv => self.players = None,
            Playing::Together(n) => self.players = Some(u16::from(*n)),
            Playing::Players(set) => self.players = Some(set.count_ones() as u16),
            Playing::LetRing => self.ring = true,
            Playing::Damp => self.ring = false,
            Playing::Roll => self.rolled = Some(true),
            Playing::Strokes => (self.rolled, self.swell) = (Some(false), false),
            Playing::Swell => self.swell = true,
            Playing::Mallets(hard) => self.sticks = if *hard { 1.0 } else { -1.0 },
            Playing::Div(_) => {}
        }
    }
}

/// The states of one part, worked out once.
pub struct States {
    // Rising in place; the state from there on, for the staff and voice named (or all).
    changes: Vec<Change>,
}

struct Change {
    at: Beats,
    staff: Option<u8>,
    voice: Option<u16>,
    playing: Playing,
}

impl States {
    /// Collects the words of a part.
    pub fn of(directions: &[Direction]) -> Self {
        let changes = directions
            .iter()
            .filter_map(|d| match &d.kind {
                DirectionKind::Playing(playing) => {
                    Some(Change { at: d.at, staff: d.staff, voice: d.voice, playing: playing.clone() })
                }
                _ => None,
            })
            .collect();
        Self { changes }
    }

    /// A reader that walks forward for one staff and voice.
    pub fn walk(&self, staff: u8, voice: u16) -> Walk<'_> {
        Walk { states: self, next: 0, staff, voice, state: State::default() }
    }
}

/// Walks through the states in rising order of place.
pub struct Walk<'a> {
    states: &'a States,
    next: usize,
    staff: u8,
    voice: u16,
    state: State,
}

impl Walk<'_> {
    /// The state at a place; places must not fall from call to call.
    pub fn at(&mut self, at: Beats) -> &State {
        while let Some(change) = self.states.changes.get(self.next) {
            if change.at > at {
                break;
            }
            if change.staff.is_none_or(|s| s == self.staff) && change.voice.is_none_or(|v| v == self.voice) {
                self.state.take(&change.playing);
            }
            self.next += 1;
        }
        &self.state
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn word(at: i64, playing: Playing) -> Direction {
        Direction { at: Beats::whole(at), staff: None, voice: None, kind: DirectionKind::Playing(playing) }
    }

    #[test]
    fn words_hold_until_their_opposite() {
        let states = States::of(&[
            word(0, Playing::ConSord),
            word(2, Playing::Pizz),
            word(4, Playing::Arco),
            word(4, Playing::SulPont),
            word(6, Playing::Ord),
            word(8, Playing::SenzaSord),
        ]);
        let mut walk = states.walk(1, 1);
        assert_eq!(walk.at(Beats::ZERO).colour(), Some(Colour::ConSord));
        assert!(walk.at(Beats::whole(3)).pizz);
        assert_eq!(walk.at(Beats::whole(4)).colour(), Some(Colour::SulPont));
        assert!(!walk.at(Beats::whole(5)).pizz);
        assert_eq!(walk.at(Beats::whole(7)).colour(), Some(Colour::ConSord));
        assert_eq!(walk.at(Beats::whole(8)).colour(), None);
    }
}
