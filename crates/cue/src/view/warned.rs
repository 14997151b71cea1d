//! What the cue's files say that lets the work go on, and can hardly be meant: with its place, on the board too.

use crate::Cue;
use ripieno_plan::{Diagnostic, Span};
use std::path::Path;

/// One such thing.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Warned {
    /// The file, as it is called in the cue's folder.
    pub file: String,
    /// Line and column, from 1; `None` where it is the file as a whole.
    pub place: Option<(usize, usize)>,
    /// What can hardly be meant.
    pub message: String,
    /// What to do.
    pub help: String,
    /// Passage and chair, where it stands in a cell.
    pub cell: Option<(String, String)>,
}

/// All of them: the plan's in the order in which they stand there, then those of the other files.
pub fn warnings(cue: &Cue) -> Vec<Warned> {
    let plan = cue.plan_path.display().to_string();
    let (mut mine, others): (Vec<&Diagnostic>, Vec<&Diagnostic>) =
        cue.warnings.iter().partition(|d| d.file == plan);
    mine.sort_by_key(|d| d.span.start);
    let of_plan = mine.into_iter().map(|d| warned(cue, d, cell(cue, d.span)));
    of_plan.chain(others.into_iter().map(|d| warned(cue, d, None))).collect()
}

fn warned(cue: &Cue, d: &Diagnostic, cell: Option<(String, String)>) -> Warned {
    let within = Path::new(&d.file).strip_prefix(&cue.folder).ok();
    Warned {
        file: within.map_or_else(|| d.file.clone(), |p| p.display().to_string()),
        place: (d.span != Span::default()).then_some((d.line, d.column)),
        message: d.message.clone(),
        help: d.help.clone(),
        cell,
    }
}

fn cell(cue: &Cue, span: Span) -> Option<(String, String)> {
    cue.plan.passages.iter().find_map(|passage| {
        let inside = |of: Span| span.start >= of.start && span.end <= of.end;
        let cell = passage.cells.iter().find(|c| inside(c.span))?;
        Some((passage.name.clone(), cell.chair.clone()))
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn each_has_its_place_in_the_file_and_on_the_board() {
        let folder = tempfile::tempdir().unwrap();
        crate::write_demo(folder.path()).unwrap();
        let path = folder.path().join("cue.toml");
        let text = std::fs::read_to_string(&path).unwrap();
        assert_eq!(warnings(&Cue::open(folder.path()).unwrap()), [], "the demo means what it says");
        let cell = "harp          = \"figure, l.v., p\"";
        let wrong = text.replacen(cell, "harp          = \"figure, a 7, p\"", 1)
            + "\n[accept]\n\"rnage@harp\" = \"she can\"\n";
        std::fs::write(&path, &wrong).unwrap();
        let all = warnings(&Cue::open(folder.path()).unwrap());
        let line = |of: &str| wrong.lines().position(|l| l.contains(of)).unwrap() + 1;
        assert_eq!(all[0].cell, Some(("Quay at dusk".into(), "harp".into())), "{all:?}");
        assert_eq!((all[0].file.as_str(), all[0].place.unwrap().0), ("cue.toml", line("a 7")));
        assert!(all[0].message.contains("7 players") && all[0].help.contains("[chair.harp]"), "{all:?}");
        assert_eq!((all[1].cell.as_ref(), all[1].place.unwrap().0), (None, line("rnage")), "{all:?}");
        assert!(all[1].help.contains("`range`"), "{all:?}");
    }
}
