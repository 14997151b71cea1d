//! References between plan and template: chairs, lines, voices, circles of `col`.

use crate::check_numbers;
use crate::diagnostic::did_you_mean;
use crate::toml::{File, Inside};
use crate::{
    CellWords, Diagnostic, LineVoice, PassagePlan, PlaceWord, PlacedCell, Plan, Source, Template, Turn,
};
use std::collections::{BTreeMap, BTreeSet};

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
                check_numbers::players(&mut file, template, cell);
                let inside = Inside::new(file.text, cell.span);
                for turn in cell.words.divisions.iter().flatten() {
                    names.turn(&mut file, passage, cell, turn, inside.place(turn.span));
                }
            }
            circles(&mut file, passage);
        }
        check_numbers::chairs(&mut file, self, template);
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

/// Bar and beat: two places in order, whatever the metre.
type At = (i32, f64);

/// A `col` of a cell: the other's index, and from where to where.
type Follows = (usize, At, At);

/// What a division's turns say of `col`, with the times at which they hold.
fn follows(turns: &[Turn], index: &BTreeMap<&str, usize>) -> Vec<Follows> {
    let begin = |word: &PlaceWord| (word.bar, word.beat.unwrap_or(1.0));
    let mut reached = (i32::MIN, 1.0);
    let mut all = Vec::new();
    for (i, turn) in turns.iter().enumerate() {
        let from = turn.from.as_ref().map_or(reached, begin);
        let next = || turns.get(i + 1).and_then(|t| t.from.as_ref()).map_or((i32::MAX, 1.0), begin);
        // To a bar or a beat is to its end.
        let to = turn.to.as_ref().map_or_else(next, |word| match word.beat {
            Some(beat) => (word.bar, beat.floor() + 1.0),
            None => (word.bar.saturating_add(1), 1.0),
        });
        if let Source::Col { chair } = &turn.source
            && let Some(other) = index.get(chair.as_str())
        {
            all.push((*other, from, to));
        }
        reached = to;
    }
    all
}

/// `col` that leads back to itself at one time: each circle named once, chair by chair, at the cell that closes it. Two chairs
/// may lead each other in turn.
fn circles(file: &mut File<'_>, passage: &PassagePlan) {
    let index: BTreeMap<&str, usize> =
        passage.cells.iter().enumerate().map(|(i, c)| (c.chair.as_str(), i)).collect();
    let mut search = Circles {
        follows: passage
            .cells
            .iter()
            .map(|c| c.words.divisions.iter().flat_map(|turns| follows(turns, &index)).collect())
            .collect(),
        seen: BTreeSet::new(),
        found: Vec::new(),
    };
    for start in 0..passage.cells.len() {
        search.walk(start, (i32::MIN, 0.0), (i32::MAX, f64::INFINITY), &mut Vec::new());
    }
    for circle in search.found {
        let names: Vec<&str> = circle.iter().map(|c| passage.cells[*c].chair.as_str()).collect();
        let message = format!("`col` goes round in a circle in \"{}\": {}", passage.name, names.join(" → "));
        let closes = circle[circle.len() - 2];
        file.error(cell_place(&passage.cells[closes]), message, "let one of them play a line");
    }
}

struct Circles {
    follows: Vec<Vec<Follows>>,
    /// Cells and times that have been walked through.
    seen: BTreeSet<(usize, [i64; 4])>,
    /// From a cell round to itself.
    found: Vec<Vec<usize>>,
}

impl Circles {
    /// Depth first; what has been left is done with. `path` is never longer than there are cells.
    fn walk(&mut self, cell: usize, from: At, to: At, path: &mut Vec<usize>) {
        if let Some(i) = path.iter().position(|c| *c == cell) {
            let members = |circle: &[usize]| circle.iter().copied().collect::<BTreeSet<usize>>();
            if !self.found.iter().any(|known| members(known) == members(&path[i..])) {
                self.found.push(path[i..].iter().copied().chain([cell]).collect());
            }
            return;
        }
        let time = [i64::from(from.0), from.1.to_bits() as i64, i64::from(to.0), to.1.to_bits() as i64];
        if !self.seen.insert((cell, time)) {
            return;
        }
        path.push(cell);
        for (other, begins, ends) in self.follows[cell].clone() {
            let later = if begins > from { begins } else { from };
            let sooner = if ends < to { ends } else { to };
            if later < sooner {
                self.walk(other, later, sooner, path);
            }
        }
        path.pop();
    }
}
