//! A cell judged while it is typed.

use super::Workbench;
use crate::open::MusicBars;
use ripieno_plan::{CellFault, Diagnostic, Plan, Span, edit};

impl Workbench {
    /// What is wrong with a cell that is not written yet: bytes of its text, what, and the nearest valid word. Where nothing forbids
    /// it, or only its own words do, what it can hardly mean is among them, as warnings.
    pub fn judge(&self, passage: &str, chair: &str, text: &str) -> Vec<CellFault> {
        if text.trim().is_empty() {
            return Vec::new();
        }
        let cue = self.cue();
        let new = match edit::set_cell(self.plan_text(), passage, chair, text) {
            Ok(new) => new,
            Err(d) => return vec![whole(text, d)],
        };
        let named =
            |word: &str| cue.cards.values().flatten().any(|c| c.articulations.iter().any(|a| a.name == word));
        let (plan, mut found) = Plan::parse_with("cue.toml", &new, &named);
        found.extend(plan.check_against(&cue.template, "cue.toml", &new));
        found.extend(plan.check_bars(&MusicBars(&cue.score.timeline), "cue.toml", &new));
        let cell = plan
            .passages
            .iter()
            .find(|p| p.name == passage)
            .and_then(|p| p.cells.iter().find(|c| c.chair == chair));
        let Some(span) = cell.map(|c| c.span) else { return Vec::new() };
        let literal = new.get(span.start..span.end).unwrap_or("");
        let inside = |d: &Diagnostic| d.span.start >= span.start && d.span.end <= span.end;
        let fault = |d: Diagnostic| {
            let place = |byte: usize| value_byte(literal, byte.saturating_sub(span.start)).min(text.len());
            let (start, end) = (place(d.span.start), place(d.span.end));
            let span = Span { start, end: end.max(start) };
            CellFault { span, message: d.message, help: d.help, warning: d.warning }
        };
        let (mut mine, others): (Vec<_>, Vec<_>) = found.into_iter().partition(inside);
        // As they are read: what the plan as a whole finds wrong may stand before what its words do.
        mine.sort_by_key(|d| d.span.start);
        let elsewhere = others.into_iter().find(|d| !d.warning);
        if let Some(fault) = elsewhere.filter(|_| mine.iter().all(|d| d.warning)) {
            // Something that the cell leads to elsewhere, such as a circle of `col`.
            return vec![whole(text, fault)];
        }
        mine.into_iter().map(fault).collect()
    }
}

fn whole(text: &str, d: Diagnostic) -> CellFault {
    CellFault {
        span: Span { start: 0, end: text.len() },
        message: d.message,
        help: d.help,
        warning: d.warning,
    }
}

/// The byte of a string's value that a byte of its TOML stands for. Cells are written in one line, in `"` with escapes of one
/// character, or in `'` without.
fn value_byte(literal: &str, raw: usize) -> usize {
    let escapes = literal.starts_with('"');
    let body = literal.get(1..raw.min(literal.len())).unwrap_or("");
    if !escapes {
        return body.len();
    }
    let (mut value, mut after) = (0, false);
    for c in body.chars() {
        after = c == '\\' && !after;
        value += if after { 0 } else { c.len_utf8() };
    }
    value
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn faults_stand_where_they_are_typed() {
        let folder = tempfile::tempdir().unwrap();
        crate::write_demo(folder.path()).unwrap();
        let bench = Workbench::open(folder.path()).unwrap();
        let judge = |text: &str| bench.judge("Casting off", "harp", text);
        assert!(judge("figure 8va, l.v., p").is_empty());
        let text = "figure 8va, l.v., legatto";
        let faults = judge(text);
        assert_eq!(faults.len(), 1, "{faults:?}");
        assert_eq!(&text[faults[0].span.start..faults[0].span.end], "legatto");
        assert!(faults[0].help.contains("legato"));
        let text = "melodie, legatto, q < f";
        let found: Vec<&str> = judge(text).iter().map(|f| &text[f.span.start..f.span.end]).collect();
        assert_eq!(found, ["melodie", "legatto", "q < f"]);
        let text = "voices, words \"a\", nonsens";
        assert_eq!(&text[judge(text)[0].span.start..judge(text)[0].span.end], "nonsens");
        assert!(judge("col violins").first().unwrap().help.contains("violins-1"));
        // `violas` plays with the cor anglais there: back again would be a circle.
        assert!(!bench.judge("Casting off", "cor-anglais", "col violas").is_empty());
        assert!(bench.judge("Nowhere", "harp", "tacet").len() == 1);
        // What may be written all the same: players that nobody has, a beat that the bar has not.
        let text = "figure from 9.8, a 3, p";
        let doubts = judge(text);
        let words: Vec<&str> = doubts.iter().map(|f| &text[f.span.start..f.span.end]).collect();
        assert!(
            words.contains(&"a 3") && words.contains(&"9.8") && doubts.iter().all(|f| f.warning),
            "{doubts:?}"
        );
        let mixed = judge("figure, a 3, legatto");
        assert_eq!(mixed.iter().map(|f| f.warning).collect::<Vec<_>>(), [true, false], "{mixed:?}");
    }
}
