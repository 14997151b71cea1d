//! Tempi, bars and hits of the picture, written in place.

use crate::Diagnostic;
use crate::edit::{block, checked, fault, line_end, read, splice};
use crate::picture::{MetrePlan, TempoPlan};
use crate::toml::quoted;
use std::ops::Range;
use toml_edit::{Item, Table, Value};

/// Writes these tempi and bars in the place of those that the plan has; all else stays as it is. A comment inside an old `[[tempo]]`
/// or `[[metre]]` goes to the new one at its place, or above them all where there is none.
pub fn set_tempi(text: &str, tempi: &[TempoPlan], metres: &[MetrePlan]) -> Result<String, Diagnostic> {
    let root = read(text)?;
    let line = line_end(text);
    let mut old: Vec<(Place, Range<usize>)> = Vec::new();
    for (kind, key) in ["tempo", "metre"].into_iter().enumerate() {
        let list = root.get(key).and_then(Item::as_array_of_tables);
        old.extend(list.into_iter().flat_map(|l| l.iter()).map(|t| (place(kind, t), block(text, t))));
    }
    old.sort_by_key(|o| o.1.start);
    let mut said: Vec<(Place, Vec<&str>)> =
        old.iter().map(|(place, range)| (*place, comments(&text[range.clone()]))).collect();
    let mut rows = String::new();
    let mut head = |kind: usize, bar: i32, beat: f64| {
        let name = ["tempo", "metre"][kind];
        let mut row = format!("[[{name}]]{line}");
        if let Some(found) = said.iter().position(|s| s.0 == Some((kind, bar, beat.to_bits()))) {
            said.remove(found).1.iter().for_each(|c| row += &format!("{c}{line}"));
        }
        row + &format!("bar = {bar}{line}")
    };
    for tempo in tempi {
        rows += &head(0, tempo.bar, tempo.beat);
        if tempo.beat != 1.0 {
            rows.push_str(&format!("beat = {}{line}", tempo.beat));
        }
        match tempo.bpm {
            Some(bpm) => rows.push_str(&format!("bpm = {bpm}{line}")),
            None => rows.push_str(&format!("factor = {}{line}", tempo.factor)),
        }
        if tempo.ramp {
            rows.push_str(&format!("ramp = true{line}"));
        }
        rows.push_str(line);
    }
    for metre in metres {
        rows += &head(1, metre.bar, 1.0);
        rows.push_str(&format!("beats = {}{line}{line}", metre.beats));
    }
    let left: String = said.iter().flat_map(|s| &s.1).map(|c| format!("{c}{line}")).collect();
    let rows = left + &rows;
    let mut out = text.to_string();
    // Each with the empty line after it.
    let mut ranges = old.into_iter().map(|(_, mut range)| {
        let after = &text[range.end..];
        range.end += if after.starts_with("\r\n") { 2 } else { usize::from(after.starts_with('\n')) };
        range
    });
    match ranges.next() {
        Some(first) => {
            for range in ranges.rev() {
                out = splice(&out, range, "");
            }
            out = splice(&out, first, &rows);
        }
        None if rows.is_empty() => {}
        None => {
            let gap = if out.ends_with('\n') || out.is_empty() { "" } else { line };
            out.push_str(&format!("{gap}{line}{}{line}", rows.trim_end()));
        }
    }
    checked(out)
}

/// Which list, its bar, the bits of its beat.
type Place = Option<(usize, i32, u64)>;

fn place(kind: usize, table: &Table) -> Place {
    let bar = i32::try_from(table.get("bar")?.as_integer()?).ok()?;
    let beat = table
        .get("beat")
        .and_then(Item::as_value)
        .map_or(Some(1.0), |v| v.as_float().or(v.as_integer().map(|i| i as f64)))?;
    Some((kind, bar, beat.to_bits()))
}

/// The comments of a few lines of TOML, without what stands before them.
fn comments(text: &str) -> Vec<&str> {
    let begins = |line: &str| {
        let mut quote = None;
        let mut escaped = false;
        line.char_indices().find_map(|(i, c)| {
            match (quote, c) {
                _ if escaped => escaped = false,
                (Some('"'), '\\') => escaped = true,
                (Some(q), c) if c == q => quote = None,
                (None, '"' | '\'') => quote = Some(c),
                (None, '#') => return Some(i),
                _ => {}
            }
            None
        })
    };
    text.lines().filter_map(|line| Some(line[begins(line)?..].trim_end())).collect()
}

/// Moves hits: by their number in the file, the new time code; none takes the hit out.
pub fn move_hits(text: &str, hits: &[(usize, Option<String>)]) -> Result<String, Diagnostic> {
    let root = read(text)?;
    let list = root.get("picture").and_then(Item::as_table_like).and_then(|p| p.get("hit"));
    let tables: Vec<&Table> =
        list.and_then(Item::as_array_of_tables).into_iter().flat_map(|l| l.iter()).collect();
    let mut changes: Vec<(Range<usize>, String)> = Vec::new();
    for (index, code) in hits {
        let Some(table) = tables.get(*index) else {
            return Err(fault(
                text,
                None,
                format!("there is no hit number {}", index + 1),
                "read the plan again".into(),
            ));
        };
        match (code, table.get("at").and_then(Item::as_value).and_then(Value::span)) {
            (Some(code), Some(span)) => changes.push((span, quoted(code))),
            (Some(_), None) => {
                return Err(fault(
                    text,
                    table.span(),
                    "the hit has no time code".into(),
                    "write at = \"...\"".into(),
                ));
            }
            (None, _) => changes.push((block(text, table), String::new())),
        }
    }
    changes.sort_by_key(|c| c.0.start);
    let mut out = text.to_string();
    for (range, new) in changes.into_iter().rev() {
        out = splice(&out, range, &new);
    }
    checked(out)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::Plan;

    const TEXT: &str = "# mine\n[cue]\nmusic = \"a.mid\"\n\n[picture]\nrate = \"29.97 drop\"\nstart = \"01:00:00;00\"\n[[picture.hit]]\nat = \"01:00:10;08\" # door\nwhat = \"slams\"\n[[picture.hit]]\nat = \"01:01:00;02\"\non = \"downbeat\"\n";

    #[test]
    fn what_is_taken_reads_back_and_leaves_the_rest() {
        let tempi = [
            TempoPlan { bar: 1, beat: 1.0, bpm: Some(99.02912621), factor: 1.0, ramp: true },
            TempoPlan { bar: 5, beat: 2.5, bpm: None, factor: 1.02, ramp: false },
        ];
        let metres = [MetrePlan { bar: 11, beats: 5 }];
        let out = set_tempi(TEXT, &tempi, &metres).unwrap();
        assert!(out.starts_with(TEXT));
        let (plan, found) = Plan::parse("cue.toml", &out);
        assert_eq!((found, plan.tempi, plan.metres), (vec![], tempi.to_vec(), metres.to_vec()));
        let again = set_tempi(&out, &tempi, &metres).unwrap();
        assert_eq!(set_tempi(&again, &tempi, &metres).unwrap(), again);
        assert_eq!(set_tempi(&again, &[], &[]).unwrap().trim_end(), TEXT.trim_end());
        let moved = move_hits(TEXT, &[(0, Some("01:00:11;00".into())), (1, None)]).unwrap();
        assert!(moved.contains("at = \"01:00:11;00\" # door") && !moved.contains("01:01:00;02"), "{moved}");
    }

    #[test]
    fn comments_of_old_tempi_are_kept() {
        let old = format!(
            "{TEXT}\n# one\n[[tempo]] # two\nbar = 1\nbpm = 90 # three\n\n[[tempo]]\n# four\nbar = 5\nbeat = 2.5\nfactor = 1.1\n\n[[metre]]\nbar = 9\nbeats = 3 # \"five\" # and\n\n# six\n[lines]\n"
        );
        let at = |bar, beat| TempoPlan { bar, beat, bpm: Some(80.0), factor: 1.0, ramp: false };
        let all = ["# one", "# two", "# three", "# four", "# \"five\" # and", "# six"];
        for tempi in [vec![at(1, 1.0), at(5, 2.5)], vec![at(7, 1.0)], vec![]] {
            let out = set_tempi(&old, &tempi, &[]).unwrap();
            let found: Vec<usize> = all.iter().map(|c| out.matches(c).count()).collect();
            assert_eq!(found, [1; 6], "{out}");
            let (plan, found) = Plan::parse("cue.toml", &out);
            assert_eq!((found, plan.tempi), (vec![], tempi));
        }
        let out = set_tempi(&old, &[at(1, 1.0), at(5, 2.5)], &[]).unwrap();
        assert!(
            out.contains("[[tempo]]\n# four\nbar = 5\n")
                && out.contains("[[tempo]]\n# two\n# three\nbar = 1\n"),
            "{out}"
        );
    }

    #[test]
    fn faults_say_what_to_write() {
        for (wrong, word) in [
            ("rate = 29.5", "29.97 drop"),
            ("rate = 24\nstart = \"01:00:00:24\"", "00 to 23"),
            ("rate = \"29.97 drop\"\nstart = \"01:01:00;00\"", "01:01:00;02"),
            ("rate = 25\nvideo = \"../x.mp4\"", "cue's folder"),
            ("rate = 25\ntempo-from = 120\ntempo-to = 90", "rising"),
            ("rate = 25\nhits = []", "hit"),
            ("rate = 25\n[[picture.hit]]\nbeat = 2", "at ="),
            ("rate = 25\n[[tempo]]\nbar = 2\nbpm = 90\nfactor = 2", "factor = 1.02"),
        ] {
            let text = format!("[cue]\nmusic = \"a.mid\"\n[picture]\n{wrong}\n");
            let (_, found) = Plan::parse("cue.toml", &text);
            assert!(found.iter().any(|d| !d.warning && d.help.contains(word)), "{wrong}: {found:?}");
        }
    }
}
