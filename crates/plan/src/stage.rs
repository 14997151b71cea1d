//! Where chairs sit, in which halls, and how much of each is heard.

use crate::Span;

/// The stage: seating, halls, families.
#[derive(Clone, Debug, PartialEq)]
pub struct StagePlan {
    /// `seating`: the scheme by which chairs without a seat of their own sit.
    pub seating: Named,
    /// `hall`: where families without a hall of their own are sent. A built-in hall, or a `[hall.NAME]`.
    pub hall: Named,
    /// `common`: the hall over all of them, if there is one.
    pub common: Option<Named>,
    /// `common-db`: what chairs send to it.
    pub common_db: f64,
    /// `reverberation-s` of the hall of those that have no hall of their own.
    pub reverberation: Option<f64>,
    /// `[hall.NAME]`.
    pub halls: Vec<HallPlan>,
    /// `[family.NAME]`: the family, and where its chairs' sound goes.
    pub families: Vec<(String, Placing)>,
}

/// A name, and where the composer wrote it.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Named {
    /// The name.
    pub name: String,
    /// Where it stands in the file; empty for what is not written.
    pub span: Span,
}

/// A hall of the composer's own.
#[derive(Clone, Debug, PartialEq)]
pub struct HallPlan {
    /// Its name.
    pub name: String,
    /// What it is.
    pub kind: HallKind,
    /// `reverberation-s`, at middle frequencies.
    pub reverberation: Option<f64>,
    /// `gain-db`: of all that it adds.
    pub gain_db: f64,
}

/// What a hall is.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum HallKind {
    /// `room`: a built-in hall.
    Room(Named),
    /// `impulse`: the user's own impulse response, relative to the template.
    Impulse {
        /// The file.
        path: String,
        /// Where the path stands.
        span: Span,
    },
}

/// Where the sound of a chair or of a family goes; what is not given is the family's, and then the stage's.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Placing {
    /// `hall`.
    pub hall: Option<Named>,
    /// `gain-db`: of the whole stem.
    pub gain_db: Option<f64>,
    /// `send-db`: to the hall, 0 is what the room would give.
    pub send_db: Option<f64>,
    /// `common-db`: to the common hall.
    pub common_db: Option<f64>,
    /// `common = false`: nothing to the common hall.
    pub common: Option<bool>,
    /// `dry`: no hall, no distance.
    pub dry: Option<bool>,
    /// `tree-db`, `near-db`, `wide-db`, `far-db`, `spot-db`: levels of the microphones.
    pub microphones: [Option<f64>; 5],
    /// `eq`.
    pub eq: Option<Vec<EqBand>>,
}

/// Names of the microphones, in the order of [`Placing::microphones`].
pub const MICROPHONES: [&str; 5] = ["tree-db", "near-db", "wide-db", "far-db", "spot-db"];

/// One band of an equaliser.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct EqBand {
    /// Its kind.
    pub kind: EqKind,
    /// Centre or corner.
    pub hertz: f64,
    /// Gain; of no meaning for passes.
    pub db: f64,
    /// Quality.
    pub q: f64,
}

/// Kinds of bands.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[allow(missing_docs)] // the trade's words
pub enum EqKind {
    Peak,
    LowShelf,
    HighShelf,
    LowPass,
    HighPass,
}

impl EqKind {
    /// All of them, with their words.
    pub const ALL: [(&str, Self); 5] = [
        ("peak", Self::Peak),
        ("low-shelf", Self::LowShelf),
        ("high-shelf", Self::HighShelf),
        ("low-pass", Self::LowPass),
        ("high-pass", Self::HighPass),
    ];
}

/// The names of the families, in score order.
pub const FAMILIES: [&str; 7] = ripieno_instruments::Family::WORDS;

impl Default for StagePlan {
    fn default() -> Self {
        Self {
            seating: Named { name: "american".into(), span: Span::default() },
            hall: Named { name: "concert-hall".into(), span: Span::default() },
            common: None,
            common_db: -6.0,
            reverberation: None,
            halls: Vec::new(),
            families: Vec::new(),
        }
    }
}

impl Placing {
    /// What is given here, else what the other gives.
    #[must_use]
    pub fn or(&self, other: &Self) -> Self {
        let mut microphones = self.microphones;
        for (mine, theirs) in microphones.iter_mut().zip(other.microphones) {
            *mine = mine.or(theirs);
        }
        Self {
            hall: self.hall.clone().or_else(|| other.hall.clone()),
            // Gains of a chair and of its family add up, as do their equalisers: both are turned by hand.
            gain_db: match (self.gain_db, other.gain_db) {
                (Some(a), Some(b)) => Some(a + b),
                (a, b) => a.or(b),
            },
            send_db: self.send_db.or(other.send_db),
            common_db: self.common_db.or(other.common_db),
            common: self.common.or(other.common),
            dry: self.dry.or(other.dry),
            microphones,
            eq: match (&self.eq, &other.eq) {
                (Some(a), Some(b)) => Some(a.iter().chain(b).copied().collect()),
                (a, b) => a.clone().or_else(|| b.clone()),
            },
        }
    }
}
