//! The page in pieces: each with an id, its HTML, and the state in which it changed last.

use serde::Serialize;
use std::collections::BTreeMap;

/// All pieces of one cue's page.
#[derive(Clone, Debug, Default)]
pub struct Fragments {
    state: u64,
    /// From this state on the pieces are others: a browser that has seen an older one loads the page anew.
    since: u64,
    pieces: BTreeMap<String, (u64, String)>,
}

/// What a browser is told.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize)]
pub struct Renewal {
    /// The state that it has then.
    pub state: u64,
    /// The whole page is to be loaded anew.
    pub whole: bool,
    /// Ids and their new HTML.
    pub pieces: Vec<(String, String)>,
}

impl Fragments {
    /// The present state; it grows.
    pub fn state(&self) -> u64 {
        self.state
    }

    /// Takes pieces as they are to be now; those that are not among them stay. `true` if anything is new.
    pub fn renew(&mut self, pieces: BTreeMap<String, String>) -> bool {
        let next = self.state + 1;
        let mut changed = false;
        for (id, html) in pieces {
            match self.pieces.get_mut(&id) {
                Some((_, old)) if *old == html => {}
                Some(piece) => {
                    *piece = (next, html);
                    changed = true;
                }
                None => {
                    self.pieces.insert(id, (next, html));
                    changed = true;
                }
            }
        }
        if changed {
            self.state = next;
        }
        changed
    }

    /// Forgets all pieces: the next ones are a new page.
    pub fn clear(&mut self) {
        self.pieces.clear();
        self.since = self.state + 1;
    }

    /// A piece's HTML.
    pub fn get(&self, id: &str) -> &str {
        self.pieces.get(id).map_or("", |(_, html)| html)
    }

    /// What is new since a state.
    pub fn since(&self, seen: u64) -> Renewal {
        if seen < self.since || seen > self.state {
            return Renewal { state: self.state, whole: true, pieces: Vec::new() };
        }
        let newer = self.pieces.iter().filter(|(_, (at, _))| *at > seen);
        Renewal {
            state: self.state,
            whole: false,
            pieces: newer.map(|(id, (_, html))| (id.clone(), html.clone())).collect(),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn pieces(list: &[(&str, &str)]) -> BTreeMap<String, String> {
        list.iter().map(|(a, b)| ((*a).to_string(), (*b).to_string())).collect()
    }

    #[test]
    fn a_browser_is_told_what_it_has_not_seen() {
        let mut fragments = Fragments::default();
        fragments.clear();
        assert!(fragments.renew(pieces(&[("a", "1"), ("b", "1")])));
        let first = fragments.state();
        assert!(!fragments.renew(pieces(&[("a", "1"), ("b", "1")])));
        assert!(fragments.renew(pieces(&[("a", "1"), ("b", "2")])));
        assert!(fragments.renew(pieces(&[("a", "3"), ("b", "2")])));
        let told = fragments.since(first);
        assert_eq!(told.pieces, [("a".to_string(), "3".to_string()), ("b".into(), "2".into())]);
        assert!(fragments.since(told.state).pieces.is_empty());
        assert!(fragments.since(0).whole && fragments.since(99).whole);
        fragments.clear();
        fragments.renew(pieces(&[("c", "1")]));
        assert!(fragments.since(told.state).whole);
    }
}
