//! How the cue grows: by bar.

/// The arc of a cue.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Arc {
    /// One for each bar of the timeline, in order.
    pub bars: Vec<ArcBar>,
    /// First entrance and last note of every chair that plays, in score order.
    pub chairs: Vec<Presence>,
    /// The same by family.
    pub families: Vec<Presence>,
    /// The climax.
    pub climax: Option<Climax>,
}

/// One bar.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct ArcBar {
    /// Its number.
    pub bar: i32,
    /// Its start in seconds.
    pub seconds: f64,
    /// Predicted loudness at the listener, sones.
    pub sones: f64,
    /// The same as a loudness level, phons.
    pub phons: f64,
    /// Lowest and highest sounding key.
    pub span: Option<(u8, u8)>,
    /// Most players that sound at once.
    pub players: u32,
    /// Brightness: centre of the specific loudness, on the ERB-number scale (Cams).
    pub brightness: f64,
    /// Onsets a second, all chairs together.
    pub density: f64,
    /// Chairs of the cue that have not played yet: held in reserve.
    pub reserve: Vec<String>,
}

/// From when to when somebody plays.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Presence {
    /// The chair or the family.
    pub who: String,
    /// Bar of the first note.
    pub from_bar: i32,
    /// Bar in which the last note ends.
    pub to_bar: i32,
    /// Bars in which it plays.
    pub bars: u32,
}

/// Where it is loudest.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Climax {
    /// The bar.
    pub bar: i32,
    /// Its loudness, sones.
    pub sones: f64,
    /// By how much its loudness exceeds the loudest bar of all passages before its own, as a factor; 1 where it does not.
    pub exceeds: f64,
    /// Chairs that enter there for the first time, or after a silence of 8 bars or more.
    pub enters: Vec<String>,
}
