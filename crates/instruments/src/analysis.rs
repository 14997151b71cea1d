//! A name taken apart: what it names, which players, which key, how it is played.

use crate::hints;
use crate::matching::{self, Hit};
use crate::numbers::{self, Number};
use crate::words::{Token, tokens};

/// What a name says.
#[derive(Clone, Debug, Default)]
pub(crate) struct Analysis {
    /// The names of instruments in it, in their order.
    pub hits: Vec<Hit>,
    /// Its words.
    pub tokens: Vec<Token>,
    /// Numbers of players or desks.
    pub numbers: Vec<Number>,
    /// `a 2`.
    pub together: Option<u8>,
    /// Pitch class of the key.
    pub key: Option<i8>,
    /// The key was written `B`, which is B flat or B natural.
    pub key_is_b: bool,
    /// Articulations and colours.
    pub articulations: Vec<String>,
    /// One player.
    pub solo: bool,
    /// `section`: several players.
    pub section: bool,
    /// Words that were not understood.
    pub left: Vec<String>,
}

impl Analysis {
    /// The words of a hit.
    pub(crate) fn words(&self, hit: &Hit) -> String {
        let words: Vec<&str> =
            self.tokens[hit.at..hit.at + hit.length].iter().map(|t| t.text.as_str()).collect();
        words.join(" ")
    }

    fn set_key(&mut self, token: &str, class: i8) {
        if self.key.is_none() {
            self.key = Some(class);
            self.key_is_b = token == "b";
        }
    }
}

/// Takes a name apart.
pub(crate) fn analyse(name: &str) -> Analysis {
    let tokens = tokens(name);
    let mut used = vec![false; tokens.len()];
    let mut a = Analysis { tokens, ..Analysis::default() };
    keys_after_in(&mut a, &mut used);
    crooks(&mut a, &mut used);
    (a.numbers, a.together) = numbers::numbers(&a.tokens, &mut used);
    a.hits = matching::hits(&a.tokens, &mut used);
    keys_beside(&mut a, &mut used);
    let mut i = 0;
    while i < a.tokens.len() {
        let text = a.tokens[i].text.clone();
        let after =
            a.tokens.get(i + 1).filter(|_| !used.get(i + 1).copied().unwrap_or(true)).map(|t| t.text.clone());
        i += 1;
        if used[i - 1] {
            continue;
        }
        if hints::solo(&text) {
            a.solo = true;
        } else if matches!(text.as_str(), "section" | "sect") {
            a.section = true;
        } else if let Some((name, took)) = hints::articulation(&text, after.as_deref()) {
            if !a.articulations.iter().any(|n| n == name) {
                a.articulations.push(name.to_string());
            }
            i += took - 1;
        } else if (text.len() > 1 || a.hits.first().is_some_and(|h| i - 1 < h.at))
            && !hints::filler(&text)
            && !a.tokens[i - 1].is_number()
        {
            // A letter behind the name is a desk or a side (`Violins A`); before it, it is part of a name.
            a.left.push(text);
        }
    }
    a
}

fn key_at(tokens: &[Token], used: &[bool], at: usize) -> Option<(i8, usize)> {
    let free = |i: usize| !used.get(i).copied().unwrap_or(true);
    let token = tokens.get(at).filter(|_| free(at))?;
    let after = tokens.get(at + 1).filter(|_| free(at + 1)).map(|t| t.text.as_str());
    hints::key(&token.text, after)
}

/// `in F`, `en si bémol`, `in B alto`, `in C. G.`
fn keys_after_in(a: &mut Analysis, used: &mut [bool]) {
    for i in 1..a.tokens.len() {
        if !matches!(a.tokens[i].text.as_str(), "in" | "en") {
            continue;
        }
        let mut at = i + 1;
        while let Some((class, took)) = key_at(&a.tokens, used, at) {
            let text = a.tokens[at].text.clone();
            a.set_key(&text, class);
            used[at..at + took].fill(true);
            at += took;
            if a.tokens.get(at).is_some_and(|t| hints::crook(&t.text)) {
                used[at] = true;
                at += 1;
            }
        }
        if at > i + 1 {
            used[i] = true;
        }
    }
}

/// `Bb (alto) Horn`, `B basso Corni`.
fn crooks(a: &mut Analysis, used: &mut [bool]) {
    for i in 0..a.tokens.len().saturating_sub(2) {
        let horn = matches!(
            a.tokens[i + 2].text.as_str(),
            "horn" | "horns" | "hn" | "hns" | "hr" | "corno" | "corni" | "cor" | "cors" | "horner"
        );
        if horn
            && !used[i + 1]
            && hints::crook(&a.tokens[i + 1].text)
            && let Some((class, 1)) = key_at(&a.tokens, used, i)
        {
            let text = a.tokens[i].text.clone();
            a.set_key(&text, class);
            used[i..i + 2].fill(true);
        }
    }
}

/// `F Horn`, `E flat Clarinet`, `C, G Timpani`; `Horn F`, `Clarinet (Bb)`.
fn keys_beside(a: &mut Analysis, used: &mut [bool]) {
    for h in 0..a.hits.len() {
        let (start, end) = (a.hits[h].at, a.hits[h].at + a.hits[h].length);
        let keyed = a.hits[h]
            .may
            .iter()
            .any(|i| i.many_keys || i.id.contains("clarinet") || i.id.contains("trumpet"));
        // `Violone e Organo`: a word between two names.
        let joins = |at: usize| h > 0 && a.hits[h - 1].at + a.hits[h - 1].length == at;
        let mut at = start;
        let mut nearest: Option<(i8, String)> = None;
        while at > 0 {
            let two = at.checked_sub(2).filter(|i| matches!(key_at(&a.tokens, used, *i), Some((_, 2))));
            let one = at.checked_sub(1).filter(|i| matches!(key_at(&a.tokens, used, *i), Some((_, 1))));
            let Some(from) = two.or(one).filter(|i| !joins(*i)) else { break };
            if let Some((class, _)) = key_at(&a.tokens, used, from) {
                nearest = Some((class, a.tokens[from].text.clone()));
            }
            used[from..at].fill(true);
            at = from;
        }
        if let Some((class, text)) = nearest
            && (keyed || a.hits[h].may.iter().any(|i| i.id == "flute"))
        {
            a.set_key(&text, class);
        }
        let keyed = a.hits[h]
            .may
            .iter()
            .any(|i| i.many_keys || i.id.contains("clarinet") || i.id.contains("trumpet"));
        if keyed
            && a.key.is_none()
            && let Some(from) = (end..a.tokens.len()).find(|i| !used[*i])
            && let Some((class, took)) = key_at(&a.tokens, used, from)
            && (a.tokens[from].aside || (from + took..a.tokens.len()).all(|i| used[i]))
        {
            let text = a.tokens[from].text.clone();
            a.set_key(&text, class);
            used[from..from + took].fill(true);
        }
    }
}
