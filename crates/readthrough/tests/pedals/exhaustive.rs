//! What the searches are held against: chance, and the cheapest order of a foot's jobs, over all orders.

use std::collections::BTreeMap;

/// A plain generator of random numbers (splitmix64).
pub struct Dice(pub u64);

impl Dice {
    pub fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        z ^ (z >> 31)
    }

    /// 0 to `n` - 1.
    pub fn below(&mut self, n: u64) -> u64 {
        self.next() % n
    }

    pub fn of<T: Copy>(&mut self, list: &[T]) -> T {
        list[self.below(list.len() as u64) as usize]
    }
}

/// A job, with the ways to do it: (not before, takes, price). Not doing it has a price too.
pub struct Task {
    pub ways: Vec<(f64, f64, f64)>,
    pub due: f64,
}

/// The least price of all orders, ways and omissions. Prices are multiples of 1/20.
pub fn cheapest(tasks: &[Task], omitted: f64) -> f64 {
    assert!(tasks.len() < 16);
    let coins = |price: f64| (price * 20.0).round() as u32;
    // For each set of jobs that are settled, by price: the earliest time at which the foot is free.
    let mut sets: Vec<BTreeMap<u32, f64>> = vec![BTreeMap::new(); 1 << tasks.len()];
    sets[0].insert(0, f64::NEG_INFINITY);
    for set in 0..sets.len() {
        let here: Vec<(u32, f64)> = sets[set].iter().map(|(p, t)| (*p, *t)).collect();
        for (index, task) in tasks.iter().enumerate().filter(|(i, _)| set & (1 << i) == 0) {
            for (price, free) in &here {
                let mut put = |more: f64, free: f64| {
                    let entry = sets[set | 1 << index].entry(price + coins(more)).or_insert(f64::INFINITY);
                    *entry = entry.min(free);
                };
                put(omitted, *free);
                for (release, takes, more) in &task.ways {
                    let end = free.max(*release) + takes;
                    if end <= task.due + 1e-9 {
                        put(*more, end);
                    }
                }
            }
        }
    }
    f64::from(*sets[sets.len() - 1].keys().next().unwrap()) / 20.0
}
