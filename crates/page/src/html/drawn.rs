//! What the page was drawn from last: of a large board a change touches few pieces, and only those are drawn again.

use ripieno_cue::Severity;
use ripieno_cue::view::{BoardCell, Column};
use ripieno_picture::contour::{Stroke, contour};
use std::collections::BTreeMap;

/// Height of a cell's contour, points.
const CONTOUR: f64 = 19.0;

/// The worst that was found in a cell, and how many things were.
pub(super) type Flaw = Option<(Severity, usize)>;

/// Pictures as they were drawn last: of a large board a change touches few.
#[derive(Debug, Default)]
pub struct Drawn {
    contours: BTreeMap<(usize, usize), (Vec<Stroke>, String)>,
    /// The cells, and what was found in each: how bad the worst is, and how many; and what of it can hardly be meant.
    pub(super) cells: BTreeMap<(usize, usize), (BoardCell, Flaw, String)>,
    /// What the arc was drawn from: a read-through, and the passages.
    pub(super) arc: Option<(u64, Vec<Column>)>,
    /// The hall and the cards, with what they were drawn from.
    pub(super) hall: Kept<ripieno_cue::view::Stage>,
    pub(super) cards: Kept<ripieno_cue::view::Patches>,
}

/// What pieces of the page were drawn from.
#[derive(Debug)]
pub(super) struct Kept<T>(Option<T>);

impl<T> Default for Kept<T> {
    fn default() -> Self {
        Self(None)
    }
}

impl<T: PartialEq> Kept<T> {
    /// The pieces that show this, where it is another than before.
    pub(super) fn put(
        &mut self,
        into: &mut BTreeMap<String, String>,
        what: T,
        draw: impl FnOnce(&T) -> Vec<(String, String)>,
    ) {
        if self.0.as_ref() != Some(&what) {
            into.extend(draw(&what));
            self.0 = Some(what);
        }
    }
}

impl Drawn {
    /// All pieces are to be drawn again: passages or chairs are others. Contours are known by their strokes, and stay.
    pub fn forget(&mut self) {
        let contours = std::mem::take(&mut self.contours);
        *self = Self { contours, ..Self::default() };
    }

    /// A cell's contour, drawn only where its strokes are others.
    pub(super) fn contour(&mut self, row: usize, column: usize, strokes: &[Stroke]) -> &str {
        let (of, picture) = self.contours.entry((row, column)).or_default();
        if of != strokes || picture.is_empty() {
            of.clear();
            of.extend_from_slice(strokes);
            *picture = contour(strokes, CONTOUR);
        }
        picture
    }
}
