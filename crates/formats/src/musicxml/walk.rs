//! Walks through the bars of one part.

use super::attributes::WrittenKey;
use super::header::PartInfo;
use super::sheet::{BarFacts, PartBar, PartSheet};
use super::warn::Doubts;
use super::xml::{child_text, decimal};
use ripieno_music::{Grace, Metre, Transposition};
use ripieno_units::Beats;
use roxmltree::Node;
use std::collections::BTreeMap;

/// What holds while a part is read.
pub(super) struct Walker {
    pub info: PartInfo,
    pub divisions: Beats,
    pub metre: Option<Metre>,
    pub key: WrittenKey,
    /// By staff; 0: all staves.
    pub transpositions: BTreeMap<u8, Transposition>,
    pub percussion_clefs: BTreeMap<u8, bool>,
    /// Numbers given to voices that are named and not numbered.
    pub voice_names: BTreeMap<String, u16>,
    pub cues: usize,
    pub pitched: usize,
    pub unpitched: usize,
    bars: Vec<PartBar>,
    // This bar.
    pub bar: PartBar,
    pub label: String,
    /// Exact place in the bar.
    pub cursor: Beats,
    /// Place by the file's own divisions, where these cannot say a tuplet exactly.
    raw: Beats,
    /// Exact places by raw ones.
    anchors: BTreeMap<Beats, Beats>,
    /// The last note that is no chord note.
    pub chord: Option<Lead>,
    pub group: u32,
    /// The runs of the bar's notes, and which it is: see [`super::count::counted_runs`].
    counted_runs: Vec<bool>,
    run: usize,
    /// How often the bar was gone back in: layers of a file without voices.
    pub layer: u16,
    /// Grace notes of the bar, which wait for their notes.
    pub graces: Vec<Waiting>,
    /// Alterations in force in this bar: staff, step, octave.
    pub accidentals: BTreeMap<(u8, u8, i8), i16>,
}

/// The first note of a chord: its place, its group, the value that it is written with, its length.
#[derive(Clone, Copy)]
pub(super) struct Lead {
    pub at: Beats,
    pub group: u32,
    pub value: Option<Beats>,
    pub length: Beats,
}

/// A grace note that waits for its note.
pub(super) struct Waiting {
    pub voice: u16,
    pub group: u32,
    pub at: Beats,
    pub grace: Grace,
}

impl Walker {
    pub fn new(info: PartInfo) -> Self {
        Self {
            info,
            divisions: Beats::whole(1),
            metre: Some(Metre { beats: 4, unit: 4 }),
            key: WrittenKey::default(),
            transpositions: BTreeMap::new(),
            percussion_clefs: BTreeMap::new(),
            voice_names: BTreeMap::new(),
            cues: 0,
            pitched: 0,
            unpitched: 0,
            bars: Vec::new(),
            bar: PartBar::default(),
            label: String::new(),
            cursor: Beats::ZERO,
            raw: Beats::ZERO,
            anchors: BTreeMap::new(),
            chord: None,
            group: 0,
            counted_runs: Vec::new(),
            run: 0,
            layer: 1,
            graces: Vec::new(),
            accidentals: BTreeMap::new(),
        }
    }

    /// A warning at the current bar.
    pub fn doubt(&self, doubts: &mut Doubts, message: impl Into<String>) {
        let part = if self.info.name.is_empty() { &self.info.id } else { &self.info.name };
        doubts.bar(part, &self.label, message);
    }

    /// Reads one bar.
    pub fn bar(&mut self, measure: Node<'_, '_>, facts: &mut BarFacts, doubts: &mut Doubts) {
        self.label =
            if facts.printed.is_empty() { (self.bars.len() + 1).to_string() } else { facts.printed.clone() };
        self.cursor = Beats::ZERO;
        self.raw = Beats::ZERO;
        self.anchors.clear();
        self.chord = None;
        self.layer = 1;
        self.accidentals.clear();
        self.bar = PartBar { transposition: self.transposition_of(1), ..PartBar::default() };
        let full = self.metre.map_or(Beats::ZERO, Metre::bar);
        self.counted_runs = super::count::counted_runs(measure, self.divisions, full);
        self.run = 0;
        for item in measure.children().filter(Node::is_element) {
            let name = item.tag_name().name();
            self.run += usize::from(matches!(name, "backup" | "forward"));
            match name {
                "note" => self.note(item, doubts),
                "attributes" => self.attributes(item, facts, doubts),
                "backup" => self.backup(item, doubts),
                "forward" => self.forward(item, doubts),
                "direction" => self.direction(item, facts, doubts),
                "sound" => self.sound(item, self.cursor, facts, doubts),
                "barline" => super::barline::read(item, facts),
                _ => {}
            }
        }
        self.finish_bar(doubts);
        self.bars.push(std::mem::take(&mut self.bar));
    }

    /// What was read of the part.
    pub fn done(self, doubts: &mut Doubts) -> PartSheet {
        let mut info = self.info;
        if self.cues > 0 {
            doubts.add(
                if info.name.is_empty() { info.id.clone() } else { info.name.clone() },
                match self.cues {
                    1 => "a cue note is there to be read by the player and does not sound".to_owned(),
                    n => format!("{n} cue notes are there to be read by the player and do not sound"),
                },
            );
        }
        let clef = self.percussion_clefs.values().any(|p| *p);
        info.percussion = (info.percussion || clef || self.unpitched > 0) && self.pitched <= self.unpitched
            || (info.percussion && self.unpitched > 0);
        PartSheet { info, bars: self.bars }
    }

    /// A duration in the file's divisions, as quarters.
    pub fn quarters(&self, duration: Beats) -> Beats {
        super::count::quarters(duration, self.divisions)
    }

    /// Are the notes of this run taken as the file counts them, whatever they are written as?
    pub fn counted(&self) -> bool {
        self.counted_runs.get(self.run).copied().unwrap_or(false)
    }

    /// Moves on by a note or rest: so long by the file's divisions, so long exactly.
    pub fn advance(&mut self, raw: Beats, exact: Beats) {
        self.anchors.insert(self.raw, self.cursor);
        self.raw += raw;
        self.cursor += exact;
        self.anchors.insert(self.raw, self.cursor);
    }

    fn duration(&self, node: Node<'_, '_>) -> Option<Beats> {
        child_text(node, "duration").and_then(decimal).map(|d| self.quarters(d))
    }

    fn backup(&mut self, node: Node<'_, '_>, doubts: &mut Doubts) {
        let Some(back) = self.duration(node) else { return };
        if back < Beats::ZERO {
            self.doubt(doubts, "a step back of less than nothing is read as a step forward");
            return self.step(-back);
        }
        if back > self.raw && back > self.cursor {
            self.doubt(doubts, "a step back leads before the bar; it stops at the barline");
        }
        let raw = (self.raw - back).max(Beats::ZERO);
        // Where divisions are too coarse for a tuplet the exact place differs from the file's own: the place that was
        // stood at before is meant.
        let exact = (self.cursor - back).max(Beats::ZERO);
        self.cursor = match self.anchors.get(&raw) {
            Some(known) => *known,
            None if self.anchors.values().any(|a| *a == exact) || self.raw != self.cursor => exact,
            None => raw,
        };
        self.raw = raw;
        self.chord = None;
        self.layer = self.layer.saturating_add(1);
    }

    fn forward(&mut self, node: Node<'_, '_>, doubts: &mut Doubts) {
        let Some(on) = self.duration(node) else { return };
        if on < Beats::ZERO {
            self.doubt(doubts, "a step forward of less than nothing is read as a step back");
            self.cursor = (self.cursor + on).max(Beats::ZERO);
            self.raw = (self.raw + on).max(Beats::ZERO);
            return;
        }
        self.step(on);
    }

    /// Moves on without sounding. It fills the bar up to its metre at most: some writers step far past the end.
    fn step(&mut self, on: Beats) {
        let raw = self.raw + on;
        let exact = self.anchors.get(&raw).copied().unwrap_or(self.cursor + on);
        self.anchors.insert(self.raw, self.cursor);
        (self.raw, self.cursor) = (raw, exact);
        self.anchors.insert(raw, exact);
        self.chord = None;
        if self.metre.is_none_or(|m| self.cursor <= m.bar()) {
            self.bar.fill = self.bar.fill.max(self.cursor);
        }
    }
}
