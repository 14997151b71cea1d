//! Findings, open and accepted.

use crate::{Seen, board::name};
use ripieno_cue::{Finding, Severity, sentence};
use ripieno_picture::svg::escape;
use std::fmt::Write as _;

pub fn findings(seen: &Seen<'_>) -> String {
    let checked = seen.checked;
    let mut out = String::from("<section><h2>Findings</h2>");
    if checked.findings.is_empty() {
        out.push_str("<p>Nothing stands in the way.</p>");
    }
    for (severity, title) in
        [(Severity::Impossible, "Cannot be done"), (Severity::Hard, "Hard"), (Severity::Advice, "To know")]
    {
        let these: Vec<&Finding> = checked.findings.iter().filter(|f| f.severity == severity).collect();
        if these.is_empty() {
            continue;
        }
        let _ = write!(
            out,
            "<h3>{title} ({})</h3>{}",
            these.len(),
            table(seen, these.iter().map(|f| (*f, None)))
        );
    }
    if !checked.accepted.is_empty() {
        let accepted = checked.accepted.iter().map(|(f, reason)| (f, Some(reason.as_str())));
        let _ =
            write!(out, "<h3>Accepted on purpose ({})</h3>{}", checked.accepted.len(), table(seen, accepted));
    }
    if !checked.folded.is_empty() {
        let _ = write!(
            out,
            "<p class=\"quiet\">{} more that only living players would feel; with for = \"session\" in [cue] they are listed.</p>",
            checked.folded.len()
        );
    }
    out + "<p class=\"quiet\">Balance is an estimate, and all of this is advice: a living player's own judgement, and a singer's health, come first.</p></section>"
}

fn table<'a>(seen: &Seen<'_>, all: impl Iterator<Item = (&'a Finding, Option<&'a str>)>) -> String {
    let mut out = String::from("<table class=\"plain findings\"><tbody>");
    for (finding, reason) in all {
        let _ = write!(
            out,
            "<tr><th scope=\"row\">{}</th><td>{}</td><td>{} <i>{}</i>{}</td></tr>",
            escape(&name(seen, &finding.chair)),
            escape(&crate::bars(finding.bar, finding.to_bar.max(finding.bar))),
            escape(&sentence(&finding.message)),
            escape(&sentence(&finding.remedy)),
            reason.map_or(String::new(), |r| format!(" <b>Accepted: {}</b>", escape(r))),
        );
    }
    out + "</tbody></table>"
}
