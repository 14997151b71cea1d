//! What the rules read: the chairs with everything that is known of them.

use ripieno_instruments::Instrument;
use ripieno_music::{
    ChairPerformance, Change, Clock, Edit, Finding, Gesture, Part, Place, Severity, Timeline,
};
use ripieno_plan::{ChairPlan, Kit, PassagePlan, Plan};
use ripieno_units::{Beats, Seconds};

/// Everybody who plays, round the table.
#[derive(Clone, Debug)]
pub struct Table<'a> {
    /// The time axis that the performance has.
    pub timeline: &'a Timeline,
    /// The same, quick.
    pub clock: Clock,
    /// The casting plan.
    pub plan: &'a Plan,
    /// The chairs that play and are checked, in score order.
    pub desks: Vec<Desk<'a>>,
}

/// One chair.
#[derive(Clone, Copy, Debug)]
pub struct Desk<'a> {
    /// As the template has it.
    pub chair: &'a ChairPlan,
    /// What is known of its instrument.
    pub instrument: &'a Instrument,
    /// How many play in it.
    pub players: u16,
    /// What it plays, in score time.
    pub part: &'a Part,
    /// How it plays, in seconds.
    pub performance: &'a ChairPerformance,
    /// What it brings.
    pub kit: Option<&'a Kit>,
    /// How its sound reaches the listener.
    pub room: Room,
}

/// How the sound of a chair reaches the listener.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Room {
    /// Sound pressure at the listener, in dB re 20 uPa, of a sound power of 0 dB re 1 pW: direct, early and late together.
    pub gain_db: f64,
    /// Reverberation time at middle frequencies, seconds; 0 in the open.
    pub reverberation: f64,
    /// Level of the reverberation against all of it, dB.
    pub late_db: f64,
}

impl<'a> Desk<'a> {
    /// Its id.
    pub fn id(&self) -> &'a str {
        &self.chair.id
    }

    /// As a musician calls it.
    pub fn name(&self) -> &'a str {
        self.chair.name.as_deref().unwrap_or_else(|| self.instrument.name())
    }

    /// Has nothing to play between two places.
    pub fn rests(&self, from: Beats, to: Beats) -> bool {
        !self.part.content.notes.iter().any(|n| n.at < to && n.end() > from)
    }

    /// One player alone, at this gesture.
    pub fn alone(&self, gesture: &Gesture) -> bool {
        self.players.min(gesture.players.max(1)) == 1
    }
}

impl<'a> Table<'a> {
    /// The desk of a chair.
    pub fn desk(&self, chair: &str) -> Option<&Desk<'a>> {
        self.desks.iter().find(|d| d.id() == chair)
    }

    /// The passage that holds a bar.
    pub fn passage_at(&self, bar: i32) -> Option<&'a PassagePlan> {
        self.plan.passages.iter().find(|p| p.from_bar <= bar && bar <= p.to_bar)
    }

    /// Text of the cell of a chair in the passage that holds a bar.
    pub fn cell_at(&self, chair: &str, bar: i32) -> Option<&'a str> {
        let passage = self.passage_at(bar)?;
        passage.cells.iter().find(|c| c.chair == chair).map(|c| c.text.as_str())
    }

    /// The place of a time in seconds.
    pub fn place(&self, at: Seconds) -> Place {
        self.timeline.place(Beats::approximate(self.clock.quarters(at)))
    }

    /// The change that gives the cell of a chair at a bar this text.
    pub fn cell_change(&self, chair: &str, bar: i32, text: String) -> Option<Change> {
        let passage = self.passage_at(bar)?;
        Some(Change {
            edits: vec![Edit::Cell { passage: passage.name.clone(), chair: chair.to_string(), text }],
        })
    }
}

/// A finding in the making: its place, then what is said.
#[derive(Clone, Debug)]
pub struct Found {
    finding: Finding,
}

impl Found {
    /// A finding of a rule of [`crate::rules::RULES`], which gives its source.
    pub fn new(rule: &'static str, severity: Severity, chair: &str, at: Place) -> Self {
        let finding = Finding {
            rule,
            severity,
            chair: chair.to_string(),
            bar: at.bar,
            beat: at.beat,
            to_bar: at.bar,
            message: String::new(),
            remedy: "no remedy found".to_string(),
            change: None,
            source: crate::rules::source(rule),
        };
        Self { finding }
    }

    /// Up to this bar.
    pub fn to(mut self, bar: i32) -> Self {
        self.finding.to_bar = bar.max(self.finding.bar);
        self
    }

    /// Up to this bar, if it does not go farther.
    pub fn at_least_to(mut self, bar: i32) -> Self {
        self.finding.to_bar = self.finding.to_bar.max(bar);
        self
    }

    /// What is the matter, with the figures: a sentence without its full stop.
    pub fn says(mut self, message: impl Into<String>) -> Self {
        self.finding.message = message.into();
        self
    }

    /// What to do: a sentence without its full stop.
    pub fn remedy(mut self, remedy: impl Into<String>) -> Self {
        self.finding.remedy = remedy.into();
        self
    }

    /// The exact change that does it.
    pub fn change(mut self, change: Option<Change>) -> Self {
        self.finding.change = change;
        self
    }

    /// Done.
    pub fn done(self) -> Finding {
        self.finding
    }
}
