//! Sums by unit and track, with room only for tracks that do something: most rest most of the time.

/// Rows of `N` sums. Gathered unit by unit, then added up so that windows over units are differences.
pub(super) struct Sums<const N: usize> {
    tracks: usize,
    /// By unit, after one more at the start, then track: which of `rows` holds its sums; after [`Sums::add_up`] those of
    /// all units up to this one. 0 where there is nothing.
    at: Vec<u32>,
    /// The first is nothing.
    rows: Vec<[f64; N]>,
}

impl<const N: usize> Sums<N> {
    pub fn new(units: usize, tracks: usize) -> Self {
        Self { tracks, at: vec![0; (units + 1) * tracks], rows: vec![[0.0; N]] }
    }

    /// The sums of a track in a unit, to add to.
    pub fn add(&mut self, unit: usize, track: usize) -> &mut [f64; N] {
        let at = &mut self.at[(unit + 1) * self.tracks + track];
        if *at == 0 {
            *at = self.rows.len() as u32;
            self.rows.push([0.0; N]);
        }
        &mut self.rows[*at as usize]
    }

    /// The sums of a track in a unit; after [`Sums::add_up`] in all units up to this one.
    pub fn of(&self, unit: usize, track: usize) -> &[f64; N] {
        self.before(unit + 1, track)
    }

    /// After [`Sums::add_up`]: the sums of a track in all units before this one, which may be that after the last.
    pub fn before(&self, unit: usize, track: usize) -> &[f64; N] {
        &self.rows[self.at[unit * self.tracks + track] as usize]
    }

    pub fn add_up(&mut self) {
        for i in self.tracks..self.at.len() {
            let last = self.at[i - self.tracks];
            let here = self.at[i] as usize;
            if here == 0 {
                self.at[i] = last;
                continue;
            }
            let before = self.rows[last as usize];
            for (sum, b) in self.rows[here].iter_mut().zip(before) {
                *sum += b;
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::Sums;

    #[test]
    fn windows_are_those_of_a_full_table_and_rests_need_no_room() {
        let (units, tracks) = (1000, 40);
        let mut sums: Sums<1> = Sums::new(units, tracks);
        let played = |unit: usize, track: usize| (unit * 7 + track * 3).is_multiple_of(101);
        let value = |unit: usize, track: usize| 0.1 * (unit + track) as f64;
        for unit in 0..units {
            for track in (0..tracks).filter(|t| played(unit, *t)) {
                sums.add(unit, track)[0] += value(unit, track);
            }
        }
        sums.add_up();
        let mut count = 1;
        for track in 0..tracks {
            let mut full = 0.0f64;
            for unit in 0..units {
                assert_eq!(sums.before(unit, track)[0].to_bits(), full.to_bits());
                if played(unit, track) {
                    (full, count) = (full + value(unit, track), count + 1);
                }
            }
            assert_eq!(sums.before(units, track)[0].to_bits(), full.to_bits());
        }
        assert_eq!(sums.rows.len(), count);
    }
}
