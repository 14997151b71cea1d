//! The score as printed: every bar once.

use super::barline::Signs;
use super::header::{self, PartInfo};
use super::walk::Walker;
use super::warn::Doubts;
use super::xml::children;
use crate::FormatError;
use ripieno_music::{
    Arpeggio, Dynamic, Glide, Grace, Key, Marks, Metre, NoteKind, Ornament, OrnamentKind, Playing, Spelling,
    Syllable, TimeMarkKind, Transposition,
};
use ripieno_units::Beats;
use roxmltree::{Document, Node};
use std::collections::BTreeMap;

/// A whole file, bars as printed.
#[derive(Default)]
pub(super) struct Sheet {
    pub title: Option<String>,
    pub composer: Option<String>,
    pub parts: Vec<PartSheet>,
    /// What holds for all parts, bar by bar.
    pub bars: Vec<BarFacts>,
}

pub(super) struct PartSheet {
    pub info: PartInfo,
    pub bars: Vec<PartBar>,
}

/// One bar of one part. Times count from its start.
#[derive(Default)]
pub(super) struct PartBar {
    /// By onset, chords together.
    pub notes: Vec<RawNote>,
    pub directions: Vec<(Beats, Option<u8>, RawKind)>,
    pub slurs: Vec<RawSlur>,
    /// Grace notes that no note of their bar follows or goes before.
    pub dangling: Vec<(u16, Vec<(Beats, Grace)>)>,
    /// How far its notes and rests reach.
    pub fill: Beats,
    /// How far whole-bar rests reach: they are often written longer than the bar.
    pub rest_fill: Beats,
    /// In force at its start, and changes within it.
    pub transposition: Transposition,
    pub transpositions: Vec<(Beats, Transposition)>,
    /// Sounding keys that begin in it.
    pub keys: Vec<(Beats, Key)>,
}

/// One note as written.
#[derive(Clone)]
pub(super) struct RawNote {
    pub at: Beats,
    pub length: Beats,
    /// Order in the file, the same for all notes of a chord.
    pub group: u32,
    pub kind: NoteKind,
    pub written: Option<Spelling>,
    pub voice: u16,
    pub staff: u8,
    pub tie_start: bool,
    pub tie_stop: bool,
    pub marks: Marks,
    pub ornament: Option<Ornament>,
    pub tremolo: Option<RawTremolo>,
    pub glide: Option<Glide>,
    pub arpeggio: Option<Arpeggio>,
    pub graces: Vec<Grace>,
    pub graces_after: Vec<Grace>,
    pub syllables: Vec<Syllable>,
    /// The passes of a repeat on which it is played; empty: all.
    pub only: Vec<u32>,
}

/// Tremolo as written.
#[derive(Clone, Copy, PartialEq)]
pub(super) struct RawTremolo {
    pub strokes: u8,
    pub kind: TremoloKind,
}

#[derive(Clone, Copy, PartialEq)]
pub(super) enum TremoloKind {
    Single,
    First,
    Second,
    /// A pair that has been joined, with its other pitch.
    Joined(ripieno_music::Pitch),
}

/// An end of a slur.
#[derive(Clone, Copy)]
pub(super) struct RawSlur {
    pub at: Beats,
    /// Order in the file: graces stand before their note.
    pub rank: u32,
    pub number: u8,
    pub starts: bool,
    pub voice: u16,
    pub grace: bool,
}

/// Directions as written.
#[derive(Clone)]
pub(super) enum RawKind {
    Dynamic(Dynamic),
    WedgeStart {
        number: u8,
        louder: bool,
        niente: bool,
    },
    WedgeStop {
        number: u8,
        niente: bool,
    },
    /// `cresc.`, `dim.`, with the number of the dashes that follow it.
    Gradual {
        louder: bool,
        niente: bool,
        dashes: Option<u8>,
    },
    DashesStop(u8),
    Playing(Playing),
    PedalStart,
    PedalStop,
    PedalChange,
    Words(String),
    /// An ornament in words, for the note at this place.
    Ornament(OrnamentKind),
}

/// A tempo as written.
#[derive(Clone, Copy)]
pub(super) enum RawTempo {
    /// Quarters a minute.
    PerMinute(f64),
    /// Times the tempo before.
    Times(f64),
}

/// What stands in one bar for all parts.
#[derive(Default)]
pub(super) struct BarFacts {
    pub printed: String,
    pub implicit: bool,
    /// Declared in this bar.
    pub metre: Option<Metre>,
    /// From a `sound` element (`true`), or from a metronome mark.
    pub tempi: Vec<(Beats, RawTempo, bool)>,
    pub marks: Vec<(Beats, TimeMarkKind, String)>,
    /// Double bars at its left and right.
    pub double: [bool; 2],
    pub signs: Signs,
}

impl Sheet {
    /// Reads a document as it is printed.
    pub fn read(document: &Document<'_>, doubts: &mut Doubts) -> Result<Self, FormatError> {
        let root = document.root_element();
        let timewise = match root.tag_name().name() {
            "score-partwise" => false,
            "score-timewise" => true,
            "opus" => {
                return Err(FormatError::Unknown {
                    found: "it is a MusicXML opus, a list of other files; open one of those".into(),
                });
            }
            other => {
                return Err(FormatError::Unknown { found: format!("its first element is <{other}>") });
            }
        };
        let mut sheet = Self::default();
        header::title(root, &mut sheet);
        let infos = header::parts(root, doubts);
        let mut grid = if timewise { by_time(root, &infos) } else { by_part(root, &infos) };
        // In the order of the part list, which is the order of the score; then what the list forgot.
        for info in infos {
            let bars = grid.remove(&info.id);
            if bars.is_none() {
                doubts.add(format!("part {}", info.id), "stands in the part list but has no music");
            }
            sheet.part(info, &bars.unwrap_or_default().1, doubts);
        }
        let mut rest: Vec<_> = grid.into_iter().collect();
        rest.sort_by_key(|(_, (order, _))| *order);
        for (id, (_, bars)) in rest {
            doubts.add(format!("part {id}"), "is not in the part list; it is read without a name");
            sheet.part(PartInfo { name: id.clone(), id, ..PartInfo::default() }, &bars, doubts);
        }
        if sheet.bars.is_empty() {
            return Err(FormatError::Damaged {
                format: "MusicXML",
                place: "the score".into(),
                message: "has no bars. Export it again from where it was written".into(),
            });
        }
        Ok(sheet)
    }

    fn part(&mut self, info: PartInfo, measures: &[Node<'_, '_>], doubts: &mut Doubts) {
        let mut walker = Walker::new(info);
        for (i, bar) in measures.iter().enumerate() {
            // Timewise, the bar's own element is the parent of the part's.
            let timewise = bar.tag_name().name() == "part";
            let measure = if timewise { bar.parent_element().unwrap_or(*bar) } else { *bar };
            if self.bars.len() <= i {
                self.bars.push(BarFacts::default());
            }
            let facts = &mut self.bars[i];
            if facts.printed.is_empty() {
                facts.printed = measure.attribute("number").unwrap_or("").trim().chars().take(32).collect();
            }
            facts.implicit |= super::xml::yes(measure, "implicit");
            walker.bar(*bar, facts, doubts);
        }
        self.parts.push(walker.done(doubts));
    }
}

/// Bars by part id, with the order in which the parts first came.
type Grid<'a> = BTreeMap<String, (usize, Vec<Node<'a, 'a>>)>;

fn by_part<'a>(root: Node<'a, 'a>, infos: &[PartInfo]) -> Grid<'a> {
    let mut grid = Grid::new();
    for (i, part) in children(root, "part").enumerate() {
        let order = grid.len();
        let bars = &mut grid.entry(part_id(part, i, infos)).or_insert((order, Vec::new())).1;
        bars.extend(children(part, "measure"));
    }
    grid
}

fn by_time<'a>(root: Node<'a, 'a>, infos: &[PartInfo]) -> Grid<'a> {
    let mut grid = Grid::new();
    for measure in children(root, "measure") {
        for (i, part) in children(measure, "part").enumerate() {
            let order = grid.len();
            grid.entry(part_id(part, i, infos)).or_insert((order, Vec::new())).1.push(part);
        }
    }
    grid
}

fn part_id(part: Node<'_, '_>, index: usize, infos: &[PartInfo]) -> String {
    match part.attribute("id") {
        Some(id) => id.to_owned(),
        None => infos.get(index).map_or_else(|| format!("part-{}", index + 1), |i| i.id.clone()),
    }
}
