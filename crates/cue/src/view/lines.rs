//! What every line of the music is, passage by passage: colour on the board is the line, whoever plays it.

use ripieno_music::{PassageFound, Role, Score};
use ripieno_plan::Plan;
use std::collections::BTreeMap;

/// The roles of a piece's tracks, as its reading found them. They depend on the music alone, so that a change of the casting
/// changes no colour.
#[derive(Clone, Debug, Default)]
pub struct LineRoles {
    passages: Vec<PassageFound>,
    tracks: BTreeMap<String, usize>,
}

impl LineRoles {
    /// Reads a piece.
    pub fn of(score: &Score) -> Self {
        let reading = ripieno_discovery::read(score);
        let mut tracks = BTreeMap::new();
        for (i, track) in score.tracks.iter().enumerate() {
            tracks.entry(track.name.clone()).or_insert(i);
            tracks.insert(track.id.clone(), i);
        }
        Self { passages: reading.passages, tracks }
    }

    /// What a line, named as casting names it (`chords.2`, or a track), does between two bars: what it does for most of them.
    pub fn role(&self, plan: &Plan, line: &str, from_bar: i32, to_bar: i32) -> Role {
        if let Some(role) = Role::of_line(line) {
            return role;
        }
        let Some(track) = self.track(plan, line) else { return Role::Held };
        let mut bars: BTreeMap<Role, i32> = BTreeMap::new();
        for passage in &self.passages {
            let shared = passage.to_bar.min(to_bar) - passage.from_bar.max(from_bar) + 1;
            if let (1.., Some(found)) = (shared, passage.roles.get(track)) {
                *bars.entry(found.role).or_default() += shared;
            }
        }
        bars.remove(&Role::Silence);
        let most = bars.into_iter().max_by_key(|(role, bars)| (*bars, std::cmp::Reverse(*role)));
        most.map_or(Role::Held, |(role, _)| role)
    }

    fn track(&self, plan: &Plan, line: &str) -> Option<usize> {
        let named = |name: &str| plan.lines.iter().find(|l| l.name == name).map(|l| l.track.as_str());
        let whole = line.rsplit_once('.').map_or(line, |(whole, _)| whole);
        let track = named(line).or_else(|| named(whole)).unwrap_or(line);
        self.tracks.get(track).copied()
    }
}
