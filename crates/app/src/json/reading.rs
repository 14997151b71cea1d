//! `read --json`.

use ripieno_cue::Read;
use ripieno_report::json::{ThroughOut, through};
use serde::Serialize;

#[derive(Serialize)]
struct Document<'a> {
    bars: usize,
    bars_in_print: usize,
    seconds: f64,
    lines: Vec<Line<'a>>,
    passages: Vec<Passage<'a>>,
    doublings: Vec<Doubling<'a>>,
    tune: Vec<Tune<'a>>,
    #[serde(flatten)]
    through: ThroughOut<'a>,
}

#[derive(Serialize)]
struct Line<'a> {
    id: &'a str,
    name: &'a str,
    chair: &'a str,
    instrument: &'a str,
    players: u16,
    notes: usize,
}

#[derive(Serialize)]
struct Passage<'a> {
    name: &'a str,
    from_bar: i32,
    to_bar: i32,
    because: &'a [String],
    roles: Vec<RoleOut<'a>>,
}

#[derive(Serialize)]
struct RoleOut<'a> {
    chair: &'a str,
    role: &'static str,
    /// Which voice of the chord, 1 the highest, and of how many.
    chord: Option<(u8, u8)>,
}

#[derive(Serialize)]
struct Doubling<'a> {
    chair: &'a str,
    of: &'a str,
    semitones: i16,
    from_bar: i32,
    to_bar: i32,
    share: f64,
    exact: bool,
    simplified: Option<&'a str>,
    coincides: bool,
}

/// Quarters from bar 1, and bars.
#[derive(Serialize)]
struct Tune<'a> {
    chair: &'a str,
    from: f64,
    to: f64,
    from_bar: i32,
    to_bar: i32,
}

/// What was found in a piece, as one JSON document.
pub fn read(read: &Read) -> Result<String, serde_json::Error> {
    let round = |x: f64| (x * 1e6).round() / 1e6;
    let score = &read.cue.score;
    let timeline = &score.timeline;
    let lines = read.chairs.iter().filter_map(|c| {
        let track = score.tracks.get(c.track)?;
        Some(Line {
            id: &c.id,
            name: &track.name,
            chair: &c.id,
            instrument: &c.instrument,
            players: c.players,
            notes: track.content.notes.len(),
        })
    });
    let passages = read.reading.passages.iter().map(|p| Passage {
        name: &p.name,
        from_bar: p.from_bar,
        to_bar: p.to_bar,
        because: &p.because,
        roles: p
            .roles
            .iter()
            .enumerate()
            .filter_map(|(track, r)| {
                let chair = read.chair(track)?;
                Some(RoleOut { chair, role: r.role.word(), chord: r.chord.map(|c| (c.voice, c.of)) })
            })
            .collect(),
    });
    let doublings = read.reading.doublings.iter().filter_map(|d| {
        Some(Doubling {
            chair: read.chair(d.track)?,
            of: read.chair(d.of)?,
            semitones: d.semitones,
            from_bar: d.from_bar,
            to_bar: d.to_bar,
            share: round(d.share),
            exact: d.exact,
            simplified: d.simplified.as_deref(),
            coincides: d.coincides,
        })
    });
    let tune = read.reading.tune.iter().filter_map(|t| {
        Some(Tune {
            chair: read.chair(t.track)?,
            from: round(t.from.quarters()),
            to: round(t.to.quarters()),
            from_bar: timeline.bar_at(t.from).number,
            // It ends where the next begins: that bar is no longer its own.
            to_bar: timeline.bar_at(t.to - ripieno_cue::Beats::new(1, 960)).number,
        })
    });
    let document = Document {
        bars: timeline.bars.iter().filter(|b| b.number > 0).count(),
        bars_in_print: read.checked.in_print.count(),
        seconds: round(timeline.seconds(timeline.end()).0),
        lines: lines.collect(),
        passages: passages.collect(),
        doublings: doublings.collect(),
        tune: tune.collect(),
        through: through(&read.checked),
    };
    let mut text = serde_json::to_string(&document)?;
    text.push('\n');
    Ok(text)
}
