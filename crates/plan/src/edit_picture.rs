//! Tempi, bars and hits of the picture, written in place.

use crate::Diagnostic;
use crate::edit::{block, checked, fault, line_end, read, splice};
use crate::picture::{MetrePlan, TempoPlan};
use crate::toml::quoted;
use std::ops::Range;
use toml_edit::{Item, Table, Value};

/// Writes these tempi and bars in the place of those that the plan has; all else stays as it is. Comments inside the old
/// `[[tempo]]` and `[[metre]]` go with them.
pub fn set_tempi(text: &str, tempi: &[TempoPlan], metres: &[MetrePlan]) -> Result<String, Diagnostic> {
    let root = read(text)?;
    let line = line_end(text);
    let mut rows = String::new();
    for tempo in tempi {
        rows.push_str(&format!("[[tempo]]{line}bar = {}{line}", tempo.bar));
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
        rows.push_str(&format!(
            "[[metre]]{line}bar = {}{line}beats = {}{line}{line}",
            metre.bar, metre.beats
        ));
    }
    let mut old: Vec<Range<usize>> = Vec::new();
    for key in ["tempo", "metre"] {
        let list = root.get(key).and_then(Item::as_array_of_tables);
        old.extend(list.into_iter().flat_map(|l| l.iter()).map(|t| {
            let mut range = block(text, t);
            // With the empty line after it.
            let after = &text[range.end..];
            range.end += if after.starts_with("\r\n") { 2 } else { usize::from(after.starts_with('\n')) };
            range
        }));
    }
    old.sort_by_key(|r| r.start);
    let mut out = text.to_string();
    match old.first().cloned() {
        Some(first) => {
            for range in old[1..].iter().rev() {
                out = splice(&out, range.clone(), "");
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
