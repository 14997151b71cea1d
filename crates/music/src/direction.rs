//! What stands above and below the staff.

use ripieno_units::{Beats, Decibels};

/// A direction at a place in score time.
#[derive(Clone, Debug, PartialEq)]
pub struct Direction {
    /// Where.
    pub at: Beats,
    /// For one staff of the track, or for all.
    pub staff: Option<u8>,
    /// For one voice of the track, or for all.
    pub voice: Option<u16>,
    /// What.
    pub kind: DirectionKind,
}

/// The kinds of direction.
#[derive(Clone, Debug, PartialEq)]
pub enum DirectionKind {
    /// A dynamic mark.
    Dynamic(Dynamic),
    /// A hairpin, or `cresc.` and `dim.` in words.
    Hairpin {
        /// Louder (`<`), or softer (`>`).
        louder: bool,
        /// Where it ends.
        to: Beats,
        /// From or to nothing.
        niente: bool,
    },
    /// A word that changes the playing from here on.
    Playing(Playing),
    /// The sustaining pedal, held from here.
    Pedal {
        /// Until here.
        to: Beats,
    },
    /// Words that mean nothing for the playing, kept as they are.
    Words(String),
}

/// Dynamic marks.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
#[allow(missing_docs)] // each is the mark that its name says
pub enum Dynamic {
    /// Nothing: from or into silence.
    Niente,
    Pppp,
    Ppp,
    Pp,
    P,
    Mp,
    Mf,
    F,
    Ff,
    Fff,
    Ffff,
    /// Loud, at once soft.
    Fp,
    /// Soft, at once loud.
    Pf,
    /// A sudden accent within the level that holds.
    Sf,
    Sfz,
    Sffz,
    /// Accent, then soft.
    Sfp,
    Sfpp,
    Rf,
    Rfz,
    Fz,
}

impl Dynamic {
    /// The plain marks, from soft to loud.
    pub const LADDER: [Self; 10] = [
        Self::Pppp,
        Self::Ppp,
        Self::Pp,
        Self::P,
        Self::Mp,
        Self::Mf,
        Self::F,
        Self::Ff,
        Self::Fff,
        Self::Ffff,
    ];

    /// The level that holds from the mark on, in dB re the instrument's mf: 4.5 dB a step from ppp -18 to fff +13.5
    /// (after methods of expressive performance; consistent with the 30 to 35 dB that instruments play over,
    /// J. Meyer, Acoustics and the Performance of Music, from memory). `None` for marks that only accent.
    pub fn level(self) -> Option<Decibels> {
        Some(Decibels(match self {
            Self::Niente => -40.0,
            Self::Pppp => -22.5,
            Self::Ppp => -18.0,
            Self::Pp | Self::Sfpp => -13.5,
            Self::P | Self::Fp | Self::Sfp => -9.0,
            Self::Mp => -4.5,
            Self::Mf => 0.0,
            Self::F | Self::Pf => 4.5,
            Self::Ff => 9.0,
            Self::Fff => 13.5,
            Self::Ffff => 16.0,
            Self::Sf | Self::Sfz | Self::Sffz | Self::Rf | Self::Rfz | Self::Fz => return None,
        }))
    }

    /// Reads a mark as it is written (`"mf"`, `"sfz"`, `"niente"`, `"n"`). `None` if it is none.
    pub fn parse(text: &str) -> Option<Self> {
        Some(match text.trim().trim_end_matches('.') {
            "n" | "niente" | "al niente" | "dal niente" => Self::Niente,
            "pppp" | "ppppp" | "pppppp" => Self::Pppp,
            "ppp" => Self::Ppp,
            "pp" => Self::Pp,
            "p" => Self::P,
            "mp" => Self::Mp,
            "mf" => Self::Mf,
            "f" => Self::F,
            "ff" => Self::Ff,
            "fff" => Self::Fff,
            "ffff" | "fffff" | "ffffff" => Self::Ffff,
            "fp" => Self::Fp,
            "pf" => Self::Pf,
            "sf" => Self::Sf,
            "sfz" => Self::Sfz,
            "sffz" | "sfffz" => Self::Sffz,
            "sfp" | "sfzp" => Self::Sfp,
            "sfpp" => Self::Sfpp,
            "rf" => Self::Rf,
            "rfz" | "rinf" | "rinforz" => Self::Rfz,
            "fz" => Self::Fz,
            _ => return None,
        })
    }

    /// The mark as it is written.
    pub fn word(self) -> &'static str {
        match self {
            Self::Niente => "niente",
            Self::Pppp => "pppp",
            Self::Ppp => "ppp",
            Self::Pp => "pp",
            Self::P => "p",
            Self::Mp => "mp",
            Self::Mf => "mf",
            Self::F => "f",
            Self::Ff => "ff",
            Self::Fff => "fff",
            Self::Ffff => "ffff",
            Self::Fp => "fp",
            Self::Pf => "pf",
            Self::Sf => "sf",
            Self::Sfz => "sfz",
            Self::Sffz => "sffz",
            Self::Sfp => "sfp",
            Self::Sfpp => "sfpp",
            Self::Rf => "rf",
            Self::Rfz => "rfz",
            Self::Fz => "fz",
        }
    }
}

/// A state of playing that a word sets, until another word of its kind.
#[derive(Clone, Debug, PartialEq, Eq)]
#[allow(missing_docs)] // each is the trade's word that its name says
pub enum Playing {
    Arco,
    Pizz,
    /// With the wood, struck.
    ColLegnoBattuto,
    /// With the wood, drawn.
    ColLegnoTratto,
    ConSord,
    SenzaSord,
    SulPont,
    SulTasto,
    /// `ord.`, `nat.`, `modo ord.`: bow place, sound and stroke as usual again.
    Ord,
    Harmonics,
    NonVib,
    Vib,
    /// Unmeasured tremolo from here; `false` for `non trem.`
    Trem(bool),
    Flutter,
    /// Hand-stopped horn (`gestopft`, `bouché`).
    Stopped,
    /// Open again.
    Open,
    Legato,
    Staccato,
    Staccatissimo,
    Spiccato,
    Tenuto,
    Portato,
    Marcato,
    Detache,
    /// `div.`, `div. a 3`: how many; 0 if not said.
    Div(u8),
    Unis,
    NonDiv,
    /// One player alone.
    Solo,
    Tutti,
    /// Which of the players, `1.`, `2.`, `1. 3.`, as a bit set (bit 0 is the first).
    Players(u32),
    /// `a 2`, `a 4`: so many together on the line.
    Together(u8),
    /// Let ring (`l.v.`).
    LetRing,
    /// Damped again (`étouffez`, `secco`).
    Damp,
    /// Percussion: held notes are rolled.
    Roll,
    /// Percussion: held notes are single strokes.
    Strokes,
    /// A crescendo that peaks on the barline that follows it.
    Swell,
    /// Soft or hard sticks (`true`: hard).
    Mallets(bool),
}

impl Playing {
    /// The trade's word, as cells and parts write it (common practice, no source).
    pub fn word(&self) -> String {
        let word = match self {
            Self::Arco => "arco",
            Self::Pizz => "pizz.",
            Self::ColLegnoBattuto => "col legno batt.",
            Self::ColLegnoTratto => "col legno tratto",
            Self::ConSord => "con sord.",
            Self::SenzaSord => "senza sord.",
            Self::SulPont => "sul pont.",
            Self::SulTasto => "sul tasto",
            Self::Ord => "ord.",
            Self::Harmonics => "harm.",
            Self::NonVib => "non vib.",
            Self::Vib => "vib.",
            Self::Trem(true) => "trem.",
            Self::Trem(false) => "non trem.",
            Self::Flutter => "flutter",
            Self::Stopped => "stopped",
            Self::Open => "open",
            Self::Legato => "legato",
            Self::Staccato => "stacc.",
            Self::Staccatissimo => "staccatissimo",
            Self::Spiccato => "spiccato",
            Self::Tenuto => "ten.",
            Self::Portato => "portato",
            Self::Marcato => "marcato",
            Self::Detache => "détaché",
            Self::Div(0) => "div.",
            Self::Div(n) => return format!("div. a {n}"),
            Self::Unis => "unis.",
            Self::NonDiv => "non div.",
            Self::Solo => "solo",
            Self::Tutti => "tutti",
            Self::Players(set) => {
                let numbers: Vec<String> =
                    (0..32).filter(|i| set & (1 << i) != 0).map(|i| format!("{}.", i + 1)).collect();
                return numbers.join(" ");
            }
            Self::Together(n) => return format!("a {n}"),
            Self::LetRing => "l.v.",
            Self::Damp => "damp",
            Self::Roll => "roll",
            Self::Strokes => "strokes",
            Self::Swell => "swell",
            Self::Mallets(true) => "hard mallets",
            Self::Mallets(false) => "soft mallets",
        };
        word.to_string()
    }
}
