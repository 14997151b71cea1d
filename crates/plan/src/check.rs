//! References between plan and template: chairs, lines, voices, circles of `col`.

use crate::diagnostic::did_you_mean;
use crate::toml::{File, Inside};
use crate::{CellWords, Diagnostic, LineVoice, PassagePlan, PlacedCell, Plan, Source, Template, Turn};
use std::collections::BTreeMap;

impl Plan {
    /// Checks what the plan names against the template, and against its own lines. `file` and `text` are the plan's.
    pub fn check_against(&self, template: &Template, file: &str, text: &str) -> Vec<Diagnostic> {
        let mut file = File::new(file, text);
        let names = Names {
            chairs: template.chairs.iter().map(|c| c.id.as_str()).collect(),
            lines: self.lines.iter().map(|l| (l.name.as_str(), l.voices)).collect(),
        };
        for passage in &self.passages {
            for cell in &passage.cells {
                if !names.chairs.contains(&cell.chair.as_str()) {
                    let help = names.chair(&cell.chair);
                    file.error(cell_place(cell), format!("the template has no chair `{}`", cell.chair), help);
                }
                let inside = Inside::new(file.text, cell.span);
                for turn in cell.words.divisions.iter().flatten() {
                    names.turn(&mut file, passage, cell, turn, inside.place(turn.span));
                }
            }
            circles(&mut file, passage);
        }
        file.complaints()
    }
}

fn cell_place(cell: &PlacedCell) -> std::ops::Range<usize> {
    cell.span.start..cell.span.end
}

struct Names<'a> {
    chairs: Vec<&'a str>,
    lines: BTreeMap<&'a str, Option<u8>>,
}

impl Names<'_> {
    fn chair(&self, word: &str) -> String {
        did_you_mean(word, self.chairs.iter().copied(), || match self.chairs.is_empty() {
            true => "the template has no chairs yet".into(),
            false => format!("its chairs: {}", self.chairs.join(", ")),
        })
    }

    fn line(&self, word: &str) -> String {
        let lines: Vec<&str> = self.lines.keys().copied().collect();
        let known = lines
            .iter()
            .copied()
            .chain(self.chairs.iter().copied())
            .chain(["tacet", "as written"])
            .chain(CellWords::vocabulary());
        // A chair by its bare name is a `col` that was forgotten.
        if self.chairs.contains(&word) {
            return format!("`{word}` is a chair: write `col {word}`");
        }
        did_you_mean(word, known, || match self.lines.is_empty() {
            true => "name lines under [lines]: melody = { track = \"Lead\" }".into(),
            false => format!("its lines: {}", lines.join(", ")),
        })
    }

    fn turn(
        &self,
        file: &mut File<'_>,
        passage: &PassagePlan,
        cell: &PlacedCell,
        turn: &Turn,
        at: std::ops::Range<usize>,
    ) {
        match &turn.source {
            Source::Line { name, voice } => match (self.lines.get(name.as_str()), voice) {
                (None, _) => file.error(at, format!("`{name}` is no line of this plan"), self.line(name)),
                (Some(Some(most)), LineVoice::Nth(n)) if n > most => {
                    let help = match most {
                        0 | 1 => format!("write `{name}`, or raise `voices` of the line"),
                        _ => format!("its voices are {name}.top to {name}.{most}"),
                    };
                    let plural = if *most == 1 { "voice" } else { "voices" };
                    file.error(at, format!("`{name}` has {most} {plural}, not {n}"), help);
                }
                _ => {}
            },
            Source::Col { chair } if !self.chairs.contains(&chair.as_str()) => {
                file.error(at, format!("the template has no chair `{chair}`"), self.chair(chair));
            }
            Source::Col { chair } => {
                let other = passage.cells.iter().find(|c| c.chair == *chair);
                let plays = other
                    .is_some_and(|c| c.words.divisions.iter().flatten().any(|t| t.source != Source::Tacet));
                // A cell with faults has its own complaint.
                if !plays && other.is_none_or(|c| c.words.divisions.iter().any(|d| !d.is_empty())) {
                    file.warn(
                        at,
                        format!("`{chair}` is silent in \"{}\", and so is `{}`", passage.name, cell.chair),
                        "give that chair something to play, or choose another",
                    );
                }
            }
            Source::AsWritten if !self.lines.contains_key(cell.chair.as_str()) => {
                let help = format!("add to [lines]: {} = {{ track = \"...\" }}", cell.chair);
                file.error(at, format!("there is no line `{}` to be played as written", cell.chair), help);
            }
            Source::AsWritten | Source::Tacet => {}
        }
    }
}

/// `col` that leads back to itself: each circle named once, chair by chair, at the cell that closes it.
fn circles(file: &mut File<'_>, passage: &PassagePlan) {
    let index: BTreeMap<&str, usize> =
        passage.cells.iter().enumerate().map(|(i, c)| (c.chair.as_str(), i)).collect();
    let follows: Vec<Vec<usize>> = passage
        .cells
        .iter()
        .map(|cell| {
            let turns = cell.words.divisions.iter().flatten();
            let chairs = turns.filter_map(|t| {
                if let Source::Col { chair } = &t.source { index.get(chair.as_str()) } else { None }
            });
            chairs.copied().collect()
        })
        .collect();
    // Depth first; a chair that has been left is done with.
    let mut done = vec![false; passage.cells.len()];
    for start in 0..passage.cells.len() {
        let mut path: Vec<(usize, usize)> = if done[start] { Vec::new() } else { vec![(start, 0)] };
        while let Some((cell, next)) = path.last_mut() {
            let cell = *cell;
            let Some(&to) = follows[cell].get(*next) else {
                done[cell] = true;
                path.pop();
                continue;
            };
            *next += 1;
            if let Some(i) = path.iter().position(|(c, _)| *c == to) {
                let circle = path[i..].iter().map(|(c, _)| *c).chain([to]);
                let names: Vec<&str> = circle.map(|c| passage.cells[c].chair.as_str()).collect();
                let message =
                    format!("`col` goes round in a circle in \"{}\": {}", passage.name, names.join(" → "));
                file.error(cell_place(&passage.cells[cell]), message, "let one of them play a line");
            } else if !done[to] {
                path.push((to, 0));
            }
        }
    }
}
