//! Small tables, built by hand.

use proptest::test_runner::Config;
use ripieno_instruments::{Instrument, by_id};
use ripieno_music::{
    ChairPerformance, Content, Direction, DirectionKind, Finding, Metre, Note, Part, Playing, Timeline,
};
use ripieno_performance::{Options, Performer, perform};
use ripieno_plan::{CellWords, ChairPlan, Kit, PassagePlan, PlacedCell, Plan, Span};
use ripieno_readthrough::{Desk, Room, Table};
use ripieno_units::Beats;

/// Cases of a property: some hundred, or as many as `RIPIENO_CASES` says.
pub fn cases(quick: u32) -> Config {
    let asked = std::env::var("RIPIENO_CASES").ok().and_then(|n| n.parse().ok());
    Config { failure_persistence: None, ..Config::with_cases(asked.unwrap_or(quick)) }
}

/// Everything that a table borrows.
pub struct World {
    pub timeline: Timeline,
    pub plan: Plan,
    pub chairs: Vec<ChairPlan>,
    pub parts: Vec<Part>,
    pub performances: Vec<std::sync::Arc<ChairPerformance>>,
}

impl World {
    /// One chair that plays these notes; every cell reads `as written`. 4/4 at so many crotchets a minute.
    pub fn one(
        id: &str,
        instrument: &str,
        players: u16,
        tempo: f64,
        notes: Vec<Note>,
        words: Vec<Direction>,
    ) -> Self {
        let bars = notes.iter().map(|n| n.end().quarters()).fold(4.0, f64::max) / 4.0;
        let timeline = Timeline::regular(bars.ceil() as usize, Metre { beats: 4, unit: 4 }, tempo);
        let chair =
            ChairPlan { id: id.into(), instrument: instrument.into(), players, ..ChairPlan::default() };
        let mut content = Content { notes, directions: words, controls: Vec::new() };
        content.sort();
        let part = Part { chair: id.into(), content, cells: Vec::new() };
        Self::of(timeline, vec![chair], vec![part])
    }

    /// Chairs with their parts.
    pub fn of(timeline: Timeline, chairs: Vec<ChairPlan>, parts: Vec<Part>) -> Self {
        let performers: Vec<Performer<'_>> = chairs
            .iter()
            .zip(&parts)
            .map(|(chair, part)| Performer { part, instrument: instrument(chair), players: chair.players })
            .collect();
        let options = Options { asynchrony: 0.0, intonation: 0.0, ..Options::default() };
        let performed = perform(&timeline, &performers, &[("A".into(), Beats::ZERO)], &options);
        let cells = chairs
            .iter()
            .map(|c| PlacedCell {
                chair: c.id.clone(),
                text: "as written".into(),
                words: CellWords::parse("as written").0,
                span: Span::default(),
            })
            .collect();
        let (from_bar, to_bar) = (timeline.bars[0].number, timeline.bars.last().map_or(1, |b| b.number));
        let passage = PassagePlan { name: "A".into(), from_bar, to_bar, cells, ..PassagePlan::default() };
        let plan = Plan { passages: vec![passage], ..Plan::default() };
        // A silent part has no performance: an empty one in its place.
        let performances = parts
            .iter()
            .filter_map(|p| performed.performance.chairs.iter().find(|c| c.chair == p.chair).cloned())
            .collect();
        Self { timeline, plan, chairs, parts, performances }
    }

    /// With `[kit.CHAIR]`.
    pub fn kit(mut self, kit: Kit) -> Self {
        self.plan.kits.push(kit);
        self
    }

    pub fn table(&self) -> Table<'_> {
        let desks = self
            .chairs
            .iter()
            .zip(&self.parts)
            .filter_map(|(chair, part)| {
                let performance = self.performances.iter().find(|p| p.chair == part.chair)?;
                Some(Desk {
                    chair,
                    instrument: instrument(chair),
                    players: chair.players.max(1),
                    part,
                    performance,
                    kit: self.plan.kits.iter().find(|k| k.chair == chair.id),
                    room: Room::default(),
                })
            })
            .collect();
        Table { timeline: &self.timeline, clock: self.timeline.clock(), plan: &self.plan, desks }
    }

    /// What one rule finds.
    pub fn found(&self, check: fn(&Table<'_>) -> Vec<Finding>) -> Vec<Finding> {
        check(&self.table())
    }
}

fn instrument(chair: &ChairPlan) -> &'static Instrument {
    by_id(&chair.instrument).unwrap_or_else(|| panic!("{} is in the table", chair.instrument))
}

/// A note: onset and length in sixteenths.
pub fn note(at: i64, length: i64, key: i16) -> Note {
    Note::plain(Beats::new(at, 4), Beats::new(length, 4), key)
}

/// A chord: onset and length in sixteenths.
pub fn chord(at: i64, length: i64, keys: &[i16]) -> Vec<Note> {
    keys.iter().map(|k| note(at, length, *k)).collect()
}

pub fn word(at: i64, playing: Playing) -> Direction {
    Direction { at: Beats::whole(at), staff: None, voice: None, kind: DirectionKind::Playing(playing) }
}

/// Rule and bar of each.
pub fn rules(findings: &[Finding]) -> Vec<(&str, i32)> {
    findings.iter().map(|f| (f.rule, f.bar)).collect()
}
