//! Two channels.

/// Left and right, of equal length, full scale at -1 and 1.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Stereo {
    /// Left.
    pub left: Vec<f32>,
    /// Right.
    pub right: Vec<f32>,
}

impl Stereo {
    /// This many frames of silence.
    pub fn silence(frames: usize) -> Self {
        Self { left: vec![0.0; frames], right: vec![0.0; frames] }
    }

    /// Number of frames: of the shorter channel, should they differ.
    pub fn frames(&self) -> usize {
        self.left.len().min(self.right.len())
    }

    /// Adds another, which may be shorter or longer; this one grows to hold it.
    pub fn add(&mut self, other: &Self) {
        for (mine, theirs) in [(&mut self.left, &other.left), (&mut self.right, &other.right)] {
            if mine.len() < theirs.len() {
                mine.resize(theirs.len(), 0.0);
            }
            for (a, b) in mine.iter_mut().zip(theirs) {
                *a += b;
            }
        }
    }

    /// Multiplied by a factor.
    pub fn scaled(mut self, factor: f32) -> Self {
        for sample in self.left.iter_mut().chain(&mut self.right) {
            *sample *= factor;
        }
        self
    }
}
