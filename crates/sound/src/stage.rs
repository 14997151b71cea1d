//! What has been played and not yet been fetched.

/// Samples of every desk from one frame on. What sounds is added anywhere after that frame; what is fetched is gone.
pub struct Stage {
    desks: Vec<Vec<f32>>,
    /// Samples at the start of every desk that were fetched already: they are dropped many at a time.
    spent: usize,
    /// Number of the first frame that is still held.
    first: i64,
}

impl Stage {
    /// Silence from a frame on.
    pub fn new(desks: usize, first: i64) -> Self {
        Self { desks: vec![Vec::new(); desks.max(1)], spent: 0, first }
    }

    /// How many desks there are.
    pub fn desks(&self) -> usize {
        self.desks.len()
    }

    /// The first frame that is still to be fetched: what is added before it is lost.
    pub fn first(&self) -> i64 {
        self.first
    }

    /// Adds a block at a frame to a desk; desks are counted round, so any number names one.
    pub fn add(&mut self, desk: usize, at: i64, block: &[f32]) {
        let at = at - self.first;
        let skip = (-at).clamp(0, block.len() as i64) as usize;
        let (start, block) = (self.spent + at.max(0) as usize, &block[skip..]);
        if block.is_empty() {
            return;
        }
        let count = self.desks.len();
        let held = &mut self.desks[desk % count];
        if held.len() < start + block.len() {
            held.resize(start + block.len(), 0.0);
        }
        for (y, x) in held[start..].iter_mut().zip(block) {
            *y += x;
        }
    }

    /// Takes the next frames of every desk into `out`, which is filled anew.
    pub fn fetch(&mut self, frames: usize, out: &mut Vec<Vec<f32>>) {
        out.resize_with(self.desks.len(), Vec::new);
        for (desk, out) in self.desks.iter().zip(out) {
            out.clear();
            let ready = desk.get(self.spent..).unwrap_or_default();
            out.extend_from_slice(&ready[..frames.min(ready.len())]);
            out.resize(frames, 0.0);
        }
        self.first += frames as i64;
        self.spent += frames;
        // A long chain of notes waits in here whole: it is not moved for every block that is taken from it.
        let waiting = self.desks.iter().map(|d| d.len().saturating_sub(self.spent)).max().unwrap_or(0);
        if self.spent >= waiting {
            for desk in &mut self.desks {
                desk.drain(..self.spent.min(desk.len()));
            }
            self.spent = 0;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_added_comes_out_in_its_place() {
        let mut stage = Stage::new(2, 100);
        stage.add(0, 98, &[1.0, 1.0, 1.0, 1.0]);
        stage.add(3, 105, &[2.0]);
        let mut out = Vec::new();
        stage.fetch(4, &mut out);
        assert_eq!(out, [vec![1.0, 1.0, 0.0, 0.0], vec![0.0; 4]]);
        stage.fetch(3, &mut out);
        assert_eq!(out, [vec![0.0; 3], vec![0.0, 2.0, 0.0]]);
        assert_eq!(stage.first(), 107);
    }
}
