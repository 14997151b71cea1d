//! `[picture]`, `[[tempo]]` and `[[metre]]`: the picture, its hits, and the tempi and bars that were taken for it.

use crate::Span;
use ripieno_timing::{FrameRate, Timecode};

/// `[picture]`.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct PicturePlan {
    /// `rate`.
    pub rate: FrameRate,
    /// `start`: the code of the picture's first frame.
    pub start: Timecode,
    /// `bar-1`: where bar 1 begins; at `start` if it is not said.
    pub bar_one: Option<Timecode>,
    /// `video`: a file in the cue's folder.
    pub video: Option<String>,
    /// `tempo`: the wished tempo, in `tempo-beat` a minute.
    pub tempo: Option<f64>,
    /// `tempo-from` and `tempo-to`.
    pub tempo_from: Option<f64>,
    /// See `tempo_from`.
    pub tempo_to: Option<f64>,
    /// `tempo-beat` in quarters.
    pub beat: f64,
    /// `metre = "free"`: barlines may be moved.
    pub bars_free: bool,
    /// `[[picture.hit]]`, in order of time.
    pub hits: Vec<HitPlan>,
}

impl PicturePlan {
    /// Where bar 1 begins.
    pub fn zero(&self) -> Timecode {
        self.bar_one.unwrap_or(self.start)
    }
}

/// `[[picture.hit]]`.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct HitPlan {
    /// `at`.
    pub at: Timecode,
    /// `what` happens.
    pub what: String,
    /// `within`: frames that it may be off.
    pub within: f64,
    /// `bar` and `beat`: the place of the music that falls on it.
    pub place: Option<(i32, f64)>,
    /// `on`: the beat of a bar that falls on it.
    pub on: Option<u16>,
    /// Its number in the file, from 0.
    pub index: usize,
    /// Where it stands in the file.
    pub span: Span,
}

/// `[[tempo]]`: a tempo of the cue in place of the music's own.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct TempoPlan {
    /// `bar`.
    pub bar: i32,
    /// `beat`.
    pub beat: f64,
    /// `bpm`: quarters a minute; or else `factor`, so many times the music's own tempo.
    pub bpm: Option<f64>,
    /// `factor`.
    pub factor: f64,
    /// `ramp`: evenly to the next.
    pub ramp: bool,
}

/// `[[metre]]`: a bar with another number of beats; the barline after the next one stands as written.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct MetrePlan {
    /// `bar`.
    pub bar: i32,
    /// `beats`, of the metre's lower number.
    pub beats: u16,
}
