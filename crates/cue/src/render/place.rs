//! The way of a chair's sound: from its seat through its halls to the stereo bus, as one response.

use super::halls::{self, Halls};
pub use super::seats::{Seated, everybody, seated, usual};
use ripieno_hall::{Balance, OFF, Source};
use ripieno_instruments::Family;
use ripieno_mix::{Band, BandKind, equalise};
use ripieno_plan::{ChairPlan, EqKind, Placing, Template};
use ripieno_signal::{Position, Responses, Stereo, pan};
use ripieno_units::{Decibels, math};

/// The family of a chair, as the template names it.
pub fn family(chair: &ChairPlan) -> &'static str {
    ripieno_instruments::by_id(&chair.instrument).map_or(Family::Percussion, |i| i.family).word()
}

/// What a chair says about its sound's way, and for the rest its family.
pub fn placing(template: &Template, chair: &ChairPlan) -> Placing {
    let family = family(chair);
    let of_family = template.stage.families.iter().find(|(name, _)| name == family);
    of_family.map_or_else(|| chair.placing.clone(), |(_, placing)| chair.placing.or(placing))
}

/// The place of one of so many desks: side by side, across the line to the conductor, from the left to the right.
fn desk(seated: &Seated, number: usize, of: usize) -> Position {
    let Position { x, y, z } = seated.position;
    let away = (2 * number + 1) as f64 / of as f64 - 1.0;
    let far = math::sqrt(x * x + y * y).max(0.1);
    // A quarter turn from the line of sight, to the right as seen from the conductor.
    let across = (y / far, -x / far);
    Position { x: x + away * seated.half_width * across.0, y: y + away * seated.half_width * across.1, z }
}

/// How loud a sound is when it comes in.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Loudness {
    /// As from one metre: distance takes its share.
    AtOneMetre,
    /// As it is to be heard: the seat gives it its side and its room, not its level.
    AsHeard,
}

/// What is to be made of a chair's sound.
pub struct Way<'a> {
    pub template: &'a Template,
    pub placing: &'a Placing,
    pub seated: Seated,
    pub loudness: Loudness,
    pub halls: &'a Halls,
    pub rate: u32,
}

impl Way<'_> {
    /// What changes the responses, for a fingerprint.
    pub fn made_of(&self) -> String {
        let stage = &self.template.stage;
        let mut halls = vec![halls::name(self.placing, stage)];
        halls.extend(stage.common.iter().map(|c| c.name.as_str()));
        let rooms: Vec<&str> =
            halls.iter().filter_map(|h| self.halls.get(h)).map(|s| s.made_of.as_str()).collect();
        format!(
            "{:?} {:?} {:?} {} {rooms:?} {} {:?} {}",
            self.placing,
            self.seated,
            self.loudness,
            self.rate,
            stage.common_db,
            stage.common,
            self.template.mix.gain_db
        )
    }

    /// Responses of so many desks. Direct sound has one of its own for each desk; what the halls add is shared.
    pub fn responses(&self, desks: usize) -> Responses {
        let placing = self.placing;
        let dry = placing.dry == Some(true);
        let gain = Decibels(self.template.mix.gain_db + placing.gain_db.unwrap_or(0.0)).amplitude();
        let mut responses = if dry { self.dry(desks, gain) } else { self.wet(desks, gain) };
        let bands = bands(placing);
        if !bands.is_empty() {
            // Room for what a narrow band rings on.
            let longer = (0.2 * f64::from(self.rate)) as usize;
            for response in responses.inputs.iter_mut().chain([&mut responses.shared]) {
                for side in [&mut response.left, &mut response.right] {
                    if !side.is_empty() {
                        side.resize(side.len() + longer, 0.0);
                        equalise(side, &bands, self.rate);
                    }
                }
            }
        }
        responses
    }

    /// No room and no distance but its level: panned to its side.
    fn dry(&self, desks: usize, gain: f64) -> Responses {
        let inputs = (0..desks).map(|number| {
            // A recording in stereo stays as it is.
            let (left, right) = match (self.loudness, desks) {
                (Loudness::AsHeard, 2) => (1.0 - number as f32, number as f32),
                _ => pan(desk(&self.seated, number, desks).side()),
            };
            let level = match self.loudness {
                Loudness::AtOneMetre => gain / self.seated.position.distance(),
                Loudness::AsHeard => gain,
            } as f32;
            Stereo { left: vec![left * level], right: vec![right * level] }
        });
        Responses { inputs: inputs.collect(), shared: Stereo::default() }
    }

    fn wet(&self, desks: usize, gain: f64) -> Responses {
        let stage = &self.template.stage;
        let placing = self.placing;
        let balance = balance(placing);
        let name = halls::name(placing, stage);
        let Some(own) = self.halls.get(name) else { return self.dry(desks, gain) };
        let gain = match self.loudness {
            Loudness::AtOneMetre => gain,
            Loudness::AsHeard => gain * self.seated.position.distance(),
        };
        let source = |position| Source { position, directivity: self.seated.directivity };
        let inputs = (0..desks)
            .map(|n| own.room.direct(&source(desk(&self.seated, n, desks)), &balance).scaled(gain as f32))
            .collect();
        let middle = source(self.seated.position);
        let mut shared = Stereo::default();
        let mut add = |sounding: &halls::Sounding, send_db: f64| {
            let level = gain * sounding.gain * Decibels(send_db).amplitude();
            shared.add(&sounding.room.reflections(&middle, &balance).scaled(level as f32));
            let tail = level * sounding.room.tail_gain(&middle, &balance);
            add_scaled(&mut shared, sounding.room.tail(), tail as f32);
        };
        add(own, placing.send_db.unwrap_or(0.0));
        let common = stage.common.as_ref().filter(|_| placing.common != Some(false));
        // Sent to the common hall already, a chair is not sent there twice.
        if let Some(common) = common.filter(|c| c.name != name).and_then(|c| self.halls.get(&c.name)) {
            add(common, placing.common_db.unwrap_or(stage.common_db));
        }
        end(&mut shared, self.rate);
        Responses { inputs, shared }
    }
}

/// Cuts a response where so little of its energy is left: 80 dB below all of it, with a fade of 50 ms.
const LEFT: f64 = 1e-8;

fn end(response: &mut Stereo, rate: u32) {
    let energy = |i: usize| f64::from(response.left[i]).powi(2) + f64::from(response.right[i]).powi(2);
    let total: f64 = (0..response.frames()).map(energy).sum();
    let mut left = 0.0;
    let mut frames = response.frames();
    while frames > 0 && left + energy(frames - 1) < LEFT * total {
        frames -= 1;
        left += energy(frames);
    }
    let fade = (0.05 * f64::from(rate)) as usize;
    for side in [&mut response.left, &mut response.right] {
        side.truncate(frames);
        let from = frames.saturating_sub(fade);
        for (i, x) in side[from..].iter_mut().enumerate() {
            *x *= 1.0 - i as f32 / fade as f32;
        }
    }
}

fn add_scaled(sum: &mut Stereo, other: &Stereo, factor: f32) {
    for (mine, theirs) in [(&mut sum.left, &other.left), (&mut sum.right, &other.right)] {
        if mine.len() < theirs.len() {
            mine.resize(theirs.len(), 0.0);
        }
        for (a, b) in mine.iter_mut().zip(theirs) {
            *a += factor * b;
        }
    }
}

fn balance(placing: &Placing) -> Balance {
    let usual = Balance::default();
    let [tree, near, wide, far, spot] = placing.microphones;
    // The lowest level that can be written means off.
    let level = |db: Option<f64>, usual| db.map_or(usual, |db| if db <= -60.0 { OFF } else { Decibels(db) });
    Balance {
        tree: level(tree, usual.tree),
        near: level(near, usual.near),
        wide: level(wide, usual.wide),
        far: level(far, usual.far),
        spot: level(spot, usual.spot),
    }
}

fn bands(placing: &Placing) -> Vec<Band> {
    let kind = |kind| match kind {
        EqKind::Peak => BandKind::Peak,
        EqKind::LowShelf => BandKind::LowShelf,
        EqKind::HighShelf => BandKind::HighShelf,
        EqKind::LowPass => BandKind::LowPass,
        EqKind::HighPass => BandKind::HighPass,
    };
    let bands = placing.eq.iter().flatten();
    bands.map(|b| Band { kind: kind(b.kind), hertz: b.hertz, db: b.db, q: b.q }).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use ripieno_hall::Directivity;

    #[test]
    fn desks_stand_across_the_line_to_the_conductor() {
        let at = |x, y| Seated {
            position: Position { x, y, z: 1.2 },
            half_width: 2.0,
            directivity: Directivity::default(),
        };
        let middle = at(0.0, 6.0);
        let xs: Vec<f64> = (0..4).map(|n| desk(&middle, n, 4).x).collect();
        assert_eq!(xs, [-1.5, -0.5, 0.5, 1.5]);
        // On the left, the section's right end is away from the audience.
        let left = at(-5.0, 0.001);
        assert!(desk(&left, 1, 2).y > 0.9 && desk(&left, 0, 2).y < -0.9);
        assert_eq!(desk(&left, 0, 1), left.position);
    }
}
