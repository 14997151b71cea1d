//! What a repeat brings again is said once: a player has one page for both times.

use crate::Table;
use ripieno_music::{Edit, Finding};
use std::collections::BTreeMap;

/// Findings of bars that are played again, each with the bars in which it comes again.
pub(crate) fn told_once(table: &Table<'_>, mut findings: Vec<Finding>) -> Vec<Finding> {
    let printed = |bar: i32| {
        let name = table.timeline.bar_numbered(bar).map(|b| b.printed.as_str());
        name.filter(|p| !p.is_empty())
    };
    let mut times: BTreeMap<&str, usize> = BTreeMap::new();
    table.timeline.bars.iter().for_each(|b| *times.entry(&b.printed).or_default() += 1);
    if times.iter().all(|(name, n)| name.is_empty() || *n < 2) {
        return findings;
    }
    findings.sort_by_key(|f| f.bar);
    let mut out: Vec<Finding> = Vec::with_capacity(findings.len());
    let mut first: BTreeMap<(String, String, String, i32, i64), usize> = BTreeMap::new();
    let mut again: BTreeMap<usize, Vec<i32>> = BTreeMap::new();
    for finding in findings {
        let Some(name) = printed(finding.bar) else {
            out.push(finding);
            continue;
        };
        let key = (
            finding.rule.to_string(),
            finding.chair.clone(),
            name.to_string(),
            finding.to_bar - finding.bar,
            (finding.beat * 960.0).round() as i64,
        );
        match first.get(&key).copied() {
            Some(i) if out[i].bar != finding.bar => {
                again.entry(i).or_default().push(finding.bar);
                let cell = |e: &Edit| match e {
                    Edit::Cell { passage, chair, .. } => (passage.clone(), chair.clone()),
                    Edit::Kit { chair, key, .. } => (key.clone(), chair.clone()),
                    Edit::Split { passage, name, .. } => (passage.clone(), name.clone()),
                    Edit::Line { name, .. } => (String::new(), name.clone()),
                };
                // One change mends both times, if they are told of different cells.
                if let (Some(now), Some(then)) = (&mut out[i].change, finding.change) {
                    for edit in then.edits {
                        if now.edits.iter().all(|e| cell(e) != cell(&edit)) {
                            now.edits.push(edit);
                        }
                    }
                }
            }
            _ => {
                first.insert(key, out.len());
                out.push(finding);
            }
        }
    }
    for (i, bars) in again {
        let bars: Vec<String> = bars.iter().map(i32::to_string).collect();
        let bars = match bars.as_slice() {
            [one] => format!("bar {one}"),
            [most @ .., last] => format!("bars {} and {last}", most.join(", ")),
            [] => continue,
        };
        out[i].message.push_str(&format!("; and again in {bars}"));
    }
    out
}
