//! The report of the demo, and of cues made of anything.
#![allow(clippy::unwrap_used)]

use ripieno_cue::{Cue, PerformOptions, check, perform, write_demo};
use ripieno_report::report;

/// Elements that have no end.
const VOID: [&str; 4] = ["meta", "br", "col", "!doctype"];

/// Names of elements that are not closed in order.
fn unbalanced(html: &str) -> Vec<String> {
    let mut open: Vec<String> = Vec::new();
    let mut faults = Vec::new();
    let mut rest = html;
    while let Some(at) = rest.find('<') {
        rest = &rest[at + 1..];
        let Some(end) = rest.find('>') else { break };
        let tag = &rest[..end];
        let name: String = tag.chars().take_while(|c| !c.is_whitespace() && *c != '/').collect();
        if let Some(closed) = tag.strip_prefix('/') {
            match open.pop() {
                Some(was) if was == closed.trim() => {}
                was => faults.push(format!("{was:?} closed by {closed}")),
            }
        } else if !tag.ends_with('/') && !VOID.contains(&name.as_str()) {
            open.push(name.clone());
            if name == "style" {
                rest = &rest[rest.find("</style>").unwrap_or(end)..];
                continue;
            }
        }
        rest = &rest[end + 1..];
    }
    faults.extend(open);
    faults
}

fn of(folder: &std::path::Path) -> (Cue, String) {
    let cue = Cue::open(folder).unwrap();
    let performed = perform(&cue, PerformOptions::default());
    let checked = check(&cue, &performed);
    let html = report(&cue, &performed, &checked, None).unwrap();
    (cue, html)
}

#[test]
fn the_demo_is_told() {
    let folder = tempfile::tempdir().unwrap();
    let demo = folder.path().join("night-ferry");
    write_demo(&demo).unwrap();
    let (cue, html) = of(&demo);
    assert_eq!(unbalanced(&html), Vec::<String>::new());
    for passage in &cue.plan.passages {
        assert!(
            html.contains(&passage.name.replace('&', "&amp;").replace('\'', "&#39;")),
            "{}",
            passage.name
        );
    }
    for said in [
        "The tune: ",
        "New: ",
        "Still held back: ",
        "Held back: ",
        "The climax of the cue falls in bar",
        "an octave",
    ] {
        assert!(html.contains(said), "{said}");
    }
    // Nothing from elsewhere: the page is whole by itself.
    for outside in ["http://", "https://", "src=", "<link", "<script", "@import", "url("] {
        assert!(!html.contains(outside), "{outside}");
    }
    assert_eq!(of(&demo).1, html, "the same inputs give the same bytes");
}

#[test]
fn names_are_no_html() {
    let folder = tempfile::tempdir().unwrap();
    let demo = folder.path().join("night-ferry");
    write_demo(&demo).unwrap();
    let plan = demo.join("cue.toml");
    let text = std::fs::read_to_string(&plan).unwrap();
    let title = text.lines().find(|l| l.starts_with("title")).unwrap().to_string();
    std::fs::write(&plan, text.replace(&title, "title = \"<b>Fog & <script>alert(1)</script>\"")).unwrap();
    let (_, html) = of(&demo);
    assert!(html.contains("&lt;b&gt;Fog &amp; &lt;script&gt;"));
    assert!(!html.contains("<script"));
    assert_eq!(unbalanced(&html), Vec::<String>::new());
}
