//! Warnings, so many that they can be read.

use ripieno_music::Warning;

/// More warnings than this are counted and not listed.
const MOST: usize = 200;

/// The places that were read by a rule.
#[derive(Default)]
pub(super) struct Doubts {
    list: Vec<Warning>,
    more: usize,
}

impl Doubts {
    /// Adds one.
    pub fn add(&mut self, place: impl Into<String>, message: impl Into<String>) {
        if self.list.len() < MOST {
            self.list.push(Warning { place: place.into(), message: message.into() });
        } else {
            self.more += 1;
        }
    }

    /// Adds one at a bar of a part.
    pub fn bar(&mut self, part: &str, bar: &str, message: impl Into<String>) {
        self.add(format!("{part}, bar {bar}"), message);
    }

    /// Adds those of another list behind its own.
    pub fn append(&mut self, next: Self) {
        for one in next.list {
            self.add(one.place, one.message);
        }
        self.more += next.more;
    }

    /// The list, with a count of those left out.
    pub fn done(mut self) -> Vec<Warning> {
        if self.more > 0 {
            self.list.push(Warning {
                place: "the whole file".into(),
                message: format!("{} more places were read by a rule", self.more),
            });
        }
        self.list
    }
}
