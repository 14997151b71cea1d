//! The order in which bars are played: repeats, endings, da capo, dal segno, coda.
//!
//! Common practice, no source: after a jump back repeats are not taken again (unless the file says so) and the last ending is
//! played; a section without an opening sign begins where the one before it ended; a repeat inside a repeat belongs to the
//! nearest opening sign.

use super::barline::{Jump, Signs};
use super::endings::{self, Ending};
use super::movements::Movements;
use super::settle::{settle, settle_jumps};
use super::sheet::Sheet;
use super::warn::Doubts;
use crate::FormatError;

/// More bars than this are no piece of music.
const MOST_BARS: usize = 100_000;
/// So many times a row of endings is given up because a bar of it is never played.
const MOST_TRIES: usize = 8;

/// A bar as played.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Played {
    /// Index of the printed bar.
    pub bar: usize,
    /// On which pass of its section, from 1.
    pub pass: u32,
}

/// A section that may be repeated.
#[derive(Clone, Copy, Debug)]
struct Section {
    start: usize,
    pass: u32,
    /// It began with an opening sign.
    signed: bool,
}

/// The bars in the order in which they are played.
///
/// Errors: more than 100,000 bars.
pub(super) fn unfold(sheet: &Sheet, doubts: &mut Doubts) -> Result<Vec<Played>, FormatError> {
    let mut signs: Vec<Signs> = sheet.bars.iter().map(|b| b.signs.clone()).collect();
    if signs.len() > MOST_BARS {
        return Err(too_long(signs.len()));
    }
    settle(&mut signs);
    let mut movements = Movements::of(sheet, &signs);
    settle_jumps(&mut signs, &movements);
    movements.fines(&signs);
    let mut brackets = Doubts::default();
    let mut endings = endings::endings(&mut signs, &sheet.bars, &mut brackets);
    for last_try in (0..MOST_TRIES).map(|t| t + 1 == MOST_TRIES) {
        let mut own = Doubts::default();
        let played = Player {
            signs: &signs,
            at: endings::by_bar(&endings, signs.len()),
            endings: &endings,
            movements: &movements,
            sheet,
            sections: vec![Section { start: 0, pass: 1, signed: false }],
            after_jump: None,
            fine_at: None,
            jumped: vec![false; signs.len()],
            played: Vec::new(),
        }
        .play(&mut own)?;
        let lost = never(&played, signs.len());
        let rows: Vec<usize> =
            endings.iter().filter(|e| lost[e.first..=e.last].contains(&true)).map(|e| e.row).collect();
        if rows.is_empty() || last_try {
            doubts.append(brackets);
            doubts.append(own);
            say_lost(&lost, sheet, doubts);
            return Ok(played);
        }
        // Better one bar too many than one that nobody hears.
        if let Some(first) = endings.iter().find(|e| rows.contains(&e.row)) {
            brackets.add(
                endings::place(&sheet.bars, first.first),
                "by these endings a bar would never be played; they are read as bars without a bracket",
            );
        }
        endings.retain(|e| !rows.contains(&e.row));
    }
    Ok(Vec::new())
}

/// Which printed bars are never played.
fn never(played: &[Played], bars: usize) -> Vec<bool> {
    let mut lost = vec![true; bars];
    played.iter().for_each(|p| lost[p.bar] = false);
    lost
}

fn say_lost(lost: &[bool], sheet: &Sheet, doubts: &mut Doubts) {
    let all: Vec<usize> = (0..lost.len()).filter(|i| lost[*i]).collect();
    for row in all.chunk_by(|a, b| a + 1 == *b) {
        let [first, .., last] = row else {
            doubts.add(
                endings::place(&sheet.bars, row[0]),
                "this bar is never played: look at the signs around it",
            );
            continue;
        };
        let last = &sheet.bars[*last].printed;
        doubts.add(
            endings::place(&sheet.bars, *first),
            format!("the bars from here to {last} are never played: look at the signs around them"),
        );
    }
}

fn too_long(bars: usize) -> FormatError {
    FormatError::TooLarge {
        what: "the bars of the unfolded piece",
        found: bars as u64,
        limit: MOST_BARS as u64,
        remedy: "Look for a repeat sign with too high a number of times",
    }
}

struct Player<'a> {
    signs: &'a [Signs],
    endings: &'a [Ending],
    /// The ending that holds each bar.
    at: Vec<Option<usize>>,
    movements: &'a Movements,
    sheet: &'a Sheet,
    sections: Vec<Section>,
    /// Where the jump was made from.
    after_jump: Option<usize>,
    /// Where what is played again ends, if no word says it.
    fine_at: Option<usize>,
    jumped: Vec<bool>,
    played: Vec<Played>,
}

impl Player<'_> {
    fn play(mut self, doubts: &mut Doubts) -> Result<Vec<Played>, FormatError> {
        let mut i = 0;
        let mut from = None;
        let mut steps = 0usize;
        while i < self.signs.len() {
            steps += 1;
            if self.played.len() >= MOST_BARS || steps > 4 * MOST_BARS {
                return Err(too_long(self.played.len() + 1));
            }
            if self.movements.again[i] && from.is_none_or(|f| f < i) {
                self.begin(i);
                self.after_jump = None;
            } else if self.movements.is_closed_off(i) && !self.top().signed && self.top().pass == 1 {
                // A repeat sign does not lead back over a final barline or a title.
                self.begin(i);
            }
            from = Some(i);
            i = self.step(i, doubts);
        }
        Ok(self.played)
    }

    fn top(&self) -> Section {
        self.sections.last().copied().unwrap_or(Section { start: 0, pass: 1, signed: false })
    }

    fn begin(&mut self, start: usize) {
        self.sections = vec![Section { start, pass: 1, signed: false }];
    }

    /// Plays bar `i` or passes it over; gives the next.
    fn step(&mut self, i: usize, doubts: &mut Doubts) -> usize {
        let sign = &self.signs[i];
        let mut ending = self.at[i].map(|e| &self.endings[e]);
        if let Some(e) = ending.filter(|e| e.first == i && !(e.opens && self.top().start == i)) {
            if !self.takes(e, self.top().pass) {
                if e.ends_row {
                    self.section_done(e.last + 1);
                }
                return e.last + 1;
            }
            if e.opens {
                // The section that it ends is done; with it begins the next.
                self.section_done(i);
            }
        }
        ending = ending.filter(|e| !e.opens);
        if sign.forward && self.top().start != i {
            self.sections.push(Section { start: i, pass: 1, signed: true });
        } else if sign.forward
            && let Some(top) = self.sections.last_mut()
        {
            top.signed = true;
        }
        let pass = self.top().pass;
        self.played.push(Played { bar: i, pass });
        if let Some(from) = self.after_jump {
            if sign.fine || self.fine_at == Some(i) {
                // More music after the jump is another piece in the same file.
                self.after_jump = None;
                self.begin(from + 1);
                return from + 1;
            }
            if sign.to_coda
                && let Some(coda) = self.coda(i)
            {
                self.after_jump = None;
                self.begin(coda);
                return coda;
            }
        }
        let mut done = ending.is_some_and(|e| e.last == i && e.ends_row);
        if let Some(back) = sign.backward
            && (self.after_jump.is_none() || back.after_jump)
        {
            let more = match ending {
                Some(e) => self.row_has(e, pass + 1) || (self.alone(e) && e.passes.contains(&pass)),
                None => pass < back.times,
            };
            if more && let Some(top) = self.sections.last_mut() {
                top.pass += 1;
                return top.start;
            }
            done = true;
        }
        if done {
            self.section_done(i + 1);
        }
        if let Some(jump) = sign.jump
            && !self.jumped[i]
            && self.after_jump.is_none()
        {
            self.jumped[i] = true;
            self.after_jump = Some(i);
            let target = self.target(jump, i, doubts);
            self.begin(target);
            return target;
        }
        if self.after_jump == Some(i) {
            self.after_jump = None;
        }
        i + 1
    }

    fn row_has(&self, ending: &Ending, pass: u32) -> bool {
        self.row(ending).any(|e| e.passes.contains(&pass))
    }

    fn row(&self, ending: &Ending) -> impl Iterator<Item = &Ending> {
        // Rows are rows of neighbours, in order.
        let from = self.endings.partition_point(|e| e.row < ending.row);
        let row = ending.row;
        self.endings[from..].iter().take_while(move |e| e.row == row)
    }

    /// Is it a first ending whose second has no bracket?
    fn alone(&self, ending: &Ending) -> bool {
        self.row(ending).count() == 1
    }

    /// Is an ending played on this pass?
    fn takes(&self, ending: &Ending, pass: u32) -> bool {
        if self.after_jump.is_some() {
            return ending.ends_row && !self.only_first(ending);
        }
        if ending.passes.contains(&pass) {
            return true;
        }
        // No ending for this pass: the last one, unless it is a lone first ending.
        !self.row_has(ending, pass) && ending.ends_row && !self.alone(ending)
    }

    /// A lone ending that is left out in the end: the music after it is the second ending.
    fn only_first(&self, ending: &Ending) -> bool {
        self.alone(ending) && self.signs[ending.last].backward.is_some()
    }

    fn section_done(&mut self, next: usize) {
        let after = Section { start: next, pass: 1, signed: false };
        if self.sections.len() > 1 {
            self.sections.pop();
            // The section around it goes on if it has an opening sign; else it ended here too.
            if let Some(top) = self.sections.last_mut().filter(|t| !t.signed) {
                *top = after;
            }
        } else {
            self.sections = vec![after];
        }
    }

    /// Where a jump goes; sets where what is played again ends.
    fn target(&mut self, jump: Jump, from: usize, doubts: &mut Doubts) -> usize {
        self.fine_at = None;
        let start = self.movements.start(from);
        let segno = match jump {
            Jump::DalSegno => (0..=from).rev().find(|i| self.signs[*i].segno),
            Jump::DaCapo => None,
        };
        let bars = &self.sheet.bars;
        let target = match (jump, segno) {
            (Jump::DalSegno, Some(segno)) => segno,
            (Jump::DalSegno, None) => {
                doubts.add("the repeats", "dal segno without a segno is read as da capo");
                start
            }
            (Jump::DaCapo, _) => {
                let found = self.movements.da_capo(self.signs, from);
                self.fine_at = found.end;
                let to = &bars[found.to].printed;
                if let Some(end) = found.end {
                    let end = &bars[end].printed;
                    doubts.add(
                        endings::place(bars, from),
                        format!("a da capo without a fine plays bars {to} to {end} again, up to where the trio begins"),
                    );
                } else if found.assumed {
                    doubts.add(
                        endings::place(bars, from),
                        format!("a da capo is read as back to bar {to}, where its movement seems to begin"),
                    );
                }
                found.to
            }
        };
        if self.fine_at.is_none() && !self.signs[target..=from].iter().any(|s| s.fine || s.to_coda) {
            doubts.add(
                "the repeats",
                "a jump back has no fine and no way to a coda: all is played again up to it",
            );
        }
        target
    }

    /// The coda that is meant at bar `i`.
    fn coda(&self, i: usize) -> Option<usize> {
        (i + 1..self.signs.len()).find(|j| self.signs[*j].coda)
    }
}

#[cfg(test)]
mod tests {
    use super::super::barline::{Backward, Heading};
    use super::super::sheet::BarFacts;
    use super::*;

    /// Bars in short: `|:` opens, `:|` closes, `[1,2` begins and `]` ends an ending, `S` segno, `C` coda, `T` to coda, `F`
    /// fine, `D` da capo, `G` dal segno.
    fn sheet(bars: &[&str]) -> Sheet {
        let mut sheet = Sheet::default();
        for (i, bar) in bars.iter().enumerate() {
            let mut facts = BarFacts { printed: (i + 1).to_string(), ..BarFacts::default() };
            for word in bar.split(' ') {
                let s = &mut facts.signs;
                match word {
                    "|:" => s.forward = true,
                    ":|" => s.backward = Some(Backward { times: 2, after_jump: false }),
                    ":|3" => s.backward = Some(Backward { times: 3, after_jump: false }),
                    "]" => s.ending_stops = true,
                    "S" => s.segno = true,
                    "C" => s.coda = true,
                    "T" => s.to_coda = true,
                    "F" => s.fine = true,
                    "D" => s.jump = Some(Jump::DaCapo),
                    "MD" => (s.jump, s.jump_names) = (Some(Jump::DaCapo), true),
                    "|" => s.closes = true,
                    "M" => s.heading = Some(Heading::Movement),
                    "Tr" => s.heading = Some(Heading::Trio),
                    "3/4" => facts.metre = Some(ripieno_music::Metre { beats: 3, unit: 4 }),
                    "G" => s.jump = Some(Jump::DalSegno),
                    w if w.starts_with('[') => s.ending = Some(super::super::barline::numbers(&w[1..])),
                    _ => {}
                }
            }
            sheet.bars.push(facts);
        }
        sheet
    }

    fn order(bars: &[&str]) -> String {
        let sheet = sheet(bars);
        let played = unfold(&sheet, &mut Doubts::default()).unwrap();
        played.iter().map(|p| (b'a' + p.bar as u8) as char).collect()
    }

    #[test]
    fn repeats() {
        assert_eq!(order(&["", "|:", ":|", ""]), "abcbcd");
        assert_eq!(order(&["", ":|", "", ":|", ""]), "ababcdcde");
        assert_eq!(order(&["|:", ":|3", ""]), "abababc");
        assert_eq!(order(&["|:", "|: :|", ":|", ""]), "abbcabbcd");
        assert_eq!(order(&["|:", ":|", "", ":|"]), "ababcdcd");
        assert_eq!(order(&["", "|", "", ":|"]), "abcdcd");
        assert_eq!(order(&["", "", "M", ":|"]), "abcdcd");
    }

    #[test]
    fn endings_by_pass() {
        assert_eq!(order(&["|:", "[1 ] :|", "[2 ]", ""]), "abacd");
        assert_eq!(order(&["|:", "[1,2 ] :|", "[3 ]", ""]), "ababacd");
        assert_eq!(order(&["", "[1 ] :|", "[2 ] :|", "[3 ]", ""]), "abacade");
        assert_eq!(order(&["|:", "[1 ] :|", "", ""]), "abacd");
        assert_eq!(order(&["|:", "[1 ] :|", "[2 ]", "|:", "[1 ] :|", "[2 ]"]), "abacdedf");
        assert_eq!(order(&["|:", "[1", "] :|", "[2 ] :|", ""]), "abcade");
    }

    #[test]
    fn endings_with_incomplete_brackets() {
        // The bracket closes before its sign.
        assert_eq!(order(&["", "|:", "", "[1 ]", ":|", "[2 ]", "", ""]), "abcdebcfgh");
        // Only the end of the first one is there, with a wrong number or none.
        assert_eq!(order(&["", "|:", "", "", "] :|", "[2 ]", "", ""]), "abcdebcdfgh");
        assert_eq!(order(&["", "] :|", "[3 ]", ""]), "ababacd");
        // No first bracket at all.
        assert_eq!(order(&["", "|:", "", ":|", "[2 ]", ""]), "abcdbcdef");
        assert_eq!(order(&["|:", "[2 ] :|", ""]), "ababc");
        // Numbers that say the same twice, or begin too late.
        assert_eq!(order(&["|:", "[2 ] :|", "[2 ]", ""]), "abacd");
        assert_eq!(order(&["|:", "[1 ] :|", "[1 ]", ""]), "abacd");
        assert_eq!(order(&["|:", "[2 ] :|", "[3 ]", ""]), "abacd");
        // No sign at all; a sign behind the last ending only.
        assert_eq!(order(&["|:", "[1 ]", "[2 ]", ""]), "abacd");
        assert_eq!(order(&["|:", "[1 ]", "[2 ] :|", ""]), "abacd");
        assert_eq!(order(&["|:", "[1 ]", "", ":|", ""]), "abcdabcde");
        // The second ending begins the next repeated section.
        assert_eq!(order(&["|:", "[1 ] :|", "|: [2 ]", ":|", ""]), "abacdcde");
        assert_eq!(order(&["|:", "[1 ] :|", "|: [2 ]", "", ""]), "abacde");
    }

    fn warned(bars: &[&str]) -> String {
        let mut doubts = Doubts::default();
        unfold(&sheet(bars), &mut doubts).unwrap();
        doubts.done().iter().map(|w| format!("{}: {}\n", w.place, w.message)).collect()
    }

    #[test]
    fn a_da_capo_stays_in_its_movement() {
        // After a final barline, by a title, by a new metre at an opening sign where the piece goes on.
        assert_eq!(order(&["", "|", "M", "F |", "", "D |"]), "abcdefcd");
        assert_eq!(order(&["", "|", "", "F", "", "D |"]), "abcdefcd");
        assert_eq!(order(&["", "", "M", "F", "", "D", ""]), "abcdefcdg");
        let last = ["", "", "", "", "|"];
        assert_eq!(order(&[&["", "", "|: 3/4", ":| F", "D"][..], &last].concat()), "abcdcdecdfghij");
        // A slow introduction is played again, and so is what comes before a final barline with fine.
        assert_eq!(order(&["", "", "|: 3/4", ":| F", "D"]), "abcdcdeabcd");
        assert_eq!(order(&["", "F |", "", "D |"]), "abcdab");
        // The words stand a bar before the end of the movement.
        assert_eq!(order(&["M", "F", "", "D", "|", "M", ""]), "abcdeabfg");
    }

    #[test]
    fn a_menuet_ends_before_its_trio() {
        assert_eq!(order(&["M", ":|", "Tr", ":| MD"]), "ababcdcdab");
        assert_eq!(order(&["", "|", "M", ":|", "|: Tr", ":|", "MD", "M", ""]), "abcdcdefefgcdhi");
        // Two trios.
        assert_eq!(order(&["M", "", "Tr", "D", "Tr", "D", ""]), "abcdabefabg");
        // No word over the trio: a final barline, or the third repeated section.
        assert_eq!(order(&["", "|", "", "MD"]), "abcdab");
        assert_eq!(order(&["|: :|", "|: :|", "|: :|", "|: :| MD"]), "aabbccddab");
        assert_eq!(order(&["|: :|", "|:", "[1 ] :|", "[2 ]", "|: :|", "MD"]), "aabcbdeefabd");
        assert!(
            warned(&["M", "|", "Tr", "MD"])
                .contains("bar 4: a da capo without a fine plays bars 1 to 2 again")
        );
    }

    #[test]
    fn what_is_assumed_is_said() {
        assert_eq!(warned(&["|:", "[1 ] :|", "[2 ]", ""]), "");
        assert!(warned(&["|:", "[1 ]", ":|", "[2 ]"]).contains("bar 2: an ending closes before"));
        assert!(warned(&["|:", "] :|", "[2 ]"]).contains("bar 2: an ending has no beginning"));
        assert!(warned(&["|:", ":|", "[2 ]"]).contains("bar 3: there is no ending before"));
        let lost = warned(&["", "T", "D", "", "", "C"]);
        assert!(lost.contains("bar 4: the bars from here to 5 are never played"), "{lost}");
    }

    #[test]
    fn jumps() {
        assert_eq!(order(&["", "F", "D"]), "abcab");
        assert_eq!(order(&["", "S", "T", "G", "C", ""]), "abcdbcef");
        assert_eq!(order(&["|:", ":|", "D", ""]), "ababcabcd");
        assert_eq!(order(&["|:", "[1 ] :|", "[2 ] F", "D"]), "abacdac");
        assert_eq!(order(&["", "C", "D", "C"]), "abcabd");
        assert_eq!(order(&["", ":|", "D", ":|"]), "ababcdcdabcd");
    }
}
