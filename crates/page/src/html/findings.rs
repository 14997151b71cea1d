//! The findings beside the board.

use crate::open::{Shown, Through};
use ripieno_cue::{Checked, Finding, Severity, sentence};
use ripieno_picture::svg::escape;
use std::fmt::Write as _;

/// Findings that are listed one by one; what goes beyond is counted.
const MOST: usize = 300;

const HEAD: &str = r#"<h2>Findings</h2><button type="button" id="fold-side" title="put the findings away">put away</button>"#;

/// The list, by passage; the script groups it by chair where that is asked for.
pub fn findings(_id: &str, shown: &Shown, through: Option<&Through>) -> String {
    let mut out = String::from(r#"<div id="findings">"#);
    let Some(through) = through else {
        return out + HEAD + r#"<p class="quiet">The cue is being read through …</p></div>"#;
    };
    let checked = &through.checked;
    out.push_str(HEAD);
    if checked.findings.is_empty() {
        out.push_str(r#"<p>Nothing stands in the way.</p>"#);
    } else {
        out.push_str(r#"<div class="sieve" role="group" aria-label="which findings">"#);
        for severity in [Severity::Impossible, Severity::Hard, Severity::Advice] {
            let n = checked.findings.iter().filter(|f| f.severity == severity).count();
            if n > 0 {
                let _ = write!(
                    out,
                    r#"<button type="button" class="sift {w}" data-severity="{w}" aria-pressed="true">{n} {}</button>"#,
                    plain(severity),
                    w = severity.word(),
                );
            }
        }
        out.push_str(r#"<button type="button" id="by-chair" aria-pressed="false">by chair</button></div>"#);
    }
    let columns = &shown.board.columns;
    let mut left = MOST;
    for column in columns {
        let here: Vec<&Finding> =
            checked.findings.iter().filter(|f| (column.from_bar..=column.to_bar).contains(&f.bar)).collect();
        list(&mut out, (shown, checked), &column.name, &here, &mut left);
    }
    let inside = |f: &&Finding| columns.iter().any(|c| (c.from_bar..=c.to_bar).contains(&f.bar));
    let outside: Vec<&Finding> = checked.findings.iter().filter(|f| !inside(f)).collect();
    list(&mut out, (shown, checked), "Outside the passages", &outside, &mut left);
    if checked.findings.len() > MOST {
        let _ = write!(out, r#"<p class="quiet">and {} more</p>"#, checked.findings.len() - MOST);
    }
    if !checked.folded.is_empty() {
        let _ = write!(
            out,
            r#"<details class="folded"><summary>{} that only living players would feel</summary>"#,
            ripieno_cue::counted(checked.folded.len(), "thing")
        );
        let all: Vec<&Finding> = checked.folded.iter().take(MOST).collect();
        let mut left = MOST;
        list(&mut out, (shown, checked), "", &all, &mut left);
        out.push_str("</details>");
    }
    if !checked.accepted.is_empty() {
        let _ = write!(
            out,
            r#"<details class="accepted"><summary>{} accepted</summary><ul>"#,
            checked.accepted.len()
        );
        for (finding, reason) in &checked.accepted {
            let _ = write!(
                out,
                r#"<li>{}, bar {}: {} <span class="quiet">({})</span></li>"#,
                escape(&name(shown, &finding.chair)),
                finding.bar,
                escape(&finding.message),
                escape(reason)
            );
        }
        out.push_str("</ul></details>");
    }
    for idle in &checked.idle {
        let _ = write!(
            out,
            r#"<p class="idle-accept"><code>"{}"</code> under [accept] silences nothing any more; take it out of cue.toml.</p>"#,
            escape(idle)
        );
    }
    out.push_str(
        r#"<p class="quiet small">What is heard is an estimate. Players and singers judge for themselves: their health comes first.</p></div>"#,
    );
    out
}

fn plain(severity: Severity) -> &'static str {
    match severity {
        Severity::Impossible => "cannot be played",
        Severity::Hard => "hard",
        Severity::Advice => "to hear",
    }
}

fn name(shown: &Shown, chair: &str) -> String {
    shown.board.rows.iter().find(|r| r.chair == chair).map_or_else(|| chair.to_string(), |r| r.name.clone())
}

fn list(
    out: &mut String,
    (shown, checked): (&Shown, &Checked),
    title: &str,
    findings: &[&Finding],
    left: &mut usize,
) {
    if findings.is_empty() || *left == 0 {
        return;
    }
    out.push_str(r#"<section class="group">"#);
    if !title.is_empty() {
        let _ = write!(out, "<h3><i>{}</i></h3>", escape(title));
    }
    out.push_str("<ul>");
    for finding in findings.iter().take(*left) {
        one(out, shown, checked, finding);
    }
    *left = left.saturating_sub(findings.len());
    out.push_str("</ul></section>");
}

fn one(out: &mut String, shown: &Shown, checked: &Checked, finding: &Finding) {
    let bars = if finding.to_bar > finding.bar {
        format!("bars {}–{}", finding.bar, finding.to_bar)
    } else {
        format!("bar {}", finding.bar)
    };
    let _ = write!(
        out,
        r#"<li class="finding {severity}" data-severity="{severity}" data-chair="{chair}" data-bar="{bar}" data-to-bar="{to}" data-name="{id}"><button type="button" class="place" title="show the place">{who}, {bars}</button> <span class="what">{what}</span> <span class="remedy">{remedy}</span>"#,
        severity = finding.severity.word(),
        chair = escape(&finding.chair),
        bar = finding.bar,
        to = finding.to_bar,
        id = escape(&checked.name(finding)),
        who = escape(&name(shown, &finding.chair)),
        what = escape(&sentence(&finding.message)),
        remedy = escape(&sentence(&finding.remedy)),
    );
    if let Some(change) = &finding.change {
        let _ = write!(
            out,
            r#" <button type="button" class="take" title="{}">take this remedy</button>"#,
            escape(&change.to_string())
        );
    }
    let _ = write!(
        out,
        r#" <button type="button" class="accept" title="silence it on purpose, with a reason">accept</button><details class="source"><summary>where this comes from</summary>{}</details></li>"#,
        escape(finding.source)
    );
}
