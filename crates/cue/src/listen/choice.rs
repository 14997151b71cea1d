//! What is heard: all, some chairs, a family, a line with all its doublings, or everything but that.

use super::casting::Casting;
use ripieno_units::{Decibels, Seconds};

/// What is chosen.
#[derive(Clone, Debug, Default, PartialEq)]
pub enum What {
    /// Everything.
    #[default]
    All,
    /// These chairs.
    Chairs(Vec<String>),
    /// All chairs of a family, as the template names it.
    Family(String),
    /// A line with all its doublings: whoever plays it, passage by passage.
    Line(String),
}

/// What is heard.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Choice {
    /// What is chosen.
    pub what: What,
    /// Everything but that.
    pub except: bool,
    /// What is not chosen is heard as well, so many dB softer; not at all if not given.
    pub others_db: Option<f64>,
}

/// How long it takes from what was chosen to what is not, seconds.
pub const FADE: f64 = 0.020;

/// Players may be so much early: a chair that takes over a line is faded in before, seconds.
const EARLY: f64 = 0.080;

/// When a chair belongs to what is chosen.
#[derive(Clone, Debug, PartialEq)]
pub struct Heard {
    /// Frames from and to, in order, without touching each other.
    spans: Vec<(i64, i64)>,
    /// Gain inside and outside.
    gains: [f32; 2],
    fade: f32,
}

impl Heard {
    /// The gain at a frame.
    fn at(&self, frame: i64) -> f32 {
        let inside = self.spans.iter().map(|(from, to)| {
            let after = frame.saturating_sub(*from) as f32 / self.fade;
            let before = to.saturating_sub(frame) as f32 / self.fade;
            after.min(before).clamp(0.0, 1.0)
        });
        let share = inside.fold(0.0, f32::max);
        self.gains[1] + share * (self.gains[0] - self.gains[1])
    }

    /// The gain of all frames between two, if it is one; else none.
    pub fn even(&self, from: i64, to: i64) -> Option<f32> {
        let fade = self.fade.ceil() as i64;
        let edge = |at: i64| at > from.saturating_sub(fade) && at < to.saturating_add(fade);
        let changes = self.spans.iter().any(|(a, b)| edge(*a) || edge(*b));
        (!changes || self.gains[0] == self.gains[1]).then(|| self.at(from))
    }

    /// The gain of each frame between two.
    pub fn each(&self, from: i64, to: i64) -> Vec<f32> {
        (from..to).map(|frame| self.at(frame)).collect()
    }

    /// Whether nothing of it is heard between two frames.
    pub fn silent(&self, from: i64, to: i64) -> bool {
        self.even(from, to) == Some(0.0)
    }
}

/// When each chair of a casting is heard, in the order of its seats.
pub fn heard(casting: &Casting, choice: &Choice) -> Vec<Heard> {
    let grid = &casting.grid;
    let fade = (FADE * f64::from(grid.rate)) as f32;
    let others = choice.others_db.map_or(0.0, |db| Decibels(db.clamp(-120.0, 0.0)).amplitude() as f32);
    let gains = if choice.except { [others, 1.0] } else { [1.0, others] };
    // Beyond any sound on both sides.
    let always = vec![(i64::MIN / 4, i64::MAX / 4)];
    let spans = |id: &str, family: &str| match &choice.what {
        What::All => always.clone(),
        What::Chairs(chairs) if chairs.iter().any(|c| c == id) => always.clone(),
        What::Family(wanted) if wanted == family => always.clone(),
        What::Chairs(_) | What::Family(_) => Vec::new(),
        What::Line(line) => plays(casting, id, line),
    };
    casting.seats.iter().map(|s| Heard { spans: spans(&s.id, s.family), gains, fade }).collect()
}

/// From when to when a chair plays a line. It is heard until it begins something else, so that what it played rings out.
fn plays(casting: &Casting, id: &str, line: &str) -> Vec<(i64, i64)> {
    let Some(part) = casting.performed.parts.iter().find(|p| p.chair == id) else { return Vec::new() };
    let timeline = &casting.performed.performance.timeline;
    let mut cells: Vec<_> = part.cells.iter().filter(|c| c.line.is_some()).collect();
    cells.sort_by_key(|c| c.from);
    let at = |place| casting.grid.frame(timeline.seconds(place) - Seconds(EARLY));
    let mut spans: Vec<(i64, i64)> = Vec::new();
    for (i, cell) in cells.iter().enumerate() {
        if cell.line.as_deref() != Some(line) {
            continue;
        }
        let to = cells.get(i + 1).map_or(i64::MAX / 4, |next| at(next.from));
        match spans.last_mut() {
            Some(last) if last.1 >= at(cell.from) => last.1 = to,
            _ => spans.push((at(cell.from), to)),
        }
    }
    spans
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn gains_pass_without_a_step() {
        let heard = Heard { spans: vec![(1000, 2000)], gains: [1.0, 0.25], fade: 100.0 };
        assert_eq!((heard.at(0), heard.at(1000), heard.at(1100), heard.at(1950)), (0.25, 0.25, 1.0, 0.625));
        assert_eq!(heard.even(1200, 1800), Some(1.0));
        assert_eq!(heard.even(2200, 3000), Some(0.25));
        assert_eq!(heard.even(900, 1050), None);
        let all = heard.each(900, 2200);
        assert!(all.windows(2).all(|w| (w[1] - w[0]).abs() < 0.0076));
        let nothing = Heard { spans: Vec::new(), gains: [1.0, 0.0], fade: 100.0 };
        assert!(nothing.silent(0, 100) && !heard.silent(0, 3000));
    }
}
