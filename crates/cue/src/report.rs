//! The short report of a cue: how it stands, what each chair's patch was asked, what it could not do.

use crate::view::clock;
use crate::{Checked, Cue, InPrint, Performed, Sounded, counted, findings, findings_text};
use ripieno_music::{Finding, Severity};
use std::fmt::Write as _;

/// The report as text. `checked` is left out where nobody has read it through, `sounded` where nothing was rendered.
pub fn report(
    cue: &Cue,
    performed: &Performed,
    checked: Option<&Checked>,
    sounded: Option<&Sounded>,
) -> String {
    let mut text = String::new();
    let timeline = &performed.performance.timeline;
    let seconds = timeline.seconds(timeline.end()).0;
    let title = if cue.plan.title.is_empty() { "Untitled" } else { &cue.plan.title };
    let _ = writeln!(text, "{title}");
    if let Some(date) = &cue.plan.date {
        let _ = writeln!(text, "{date}");
    }
    let notes: usize = performed.parts.iter().map(|p| p.content.notes.len()).sum();
    let bars = timeline.bars.iter().filter(|b| b.number > 0).count();
    let _ = writeln!(
        text,
        "{}, {}, {}: {}; {} sent",
        counted(bars, "bar"),
        clock(seconds),
        counted(performed.performance.chairs.len(), "chair"),
        counted(notes, "written note"),
        counted(performed.patches.intents.iter().filter(|i| i.note_on.is_some()).count(), "note"),
    );
    let _ = writeln!(text, "{}", standing(&performed.findings));
    let _ = writeln!(
        text,
        "Bar 1 stands after {} whole bar{} of lead-in ({:.3} s), the same in MIDI and in the mix.",
        performed.patches.lead_in_bars,
        if performed.patches.lead_in_bars == 1 { "" } else { "s" },
        performed.patches.lead_in.0
    );
    passages(&mut text, performed);
    picture(&mut text, cue);
    patches(&mut text, performed);
    let gone: Vec<_> = performed.pencil.iter().filter(|m| m.no_longer.is_some()).collect();
    if !performed.pencil.is_empty() {
        let made = performed.pencil.len() - gone.len();
        let _ = writeln!(
            text,
            "\nPencil marks (MIDI only, not the sound): {made} made, {} no longer fit",
            gone.len()
        );
    }
    for mark in gone {
        let why = mark.no_longer.as_deref().unwrap_or_default();
        let _ = writeln!(text, "  {}, bar {}: {} ({why})", mark.chair, mark.bar, mark.message);
    }
    match checked {
        Some(checked) => {
            let _ = write!(text, "\n{}", findings_text(checked));
        }
        None => list_findings(&mut text, cue, performed),
    }
    if !performed.remarks.is_empty() || !cue.warnings.is_empty() {
        let _ = writeln!(text, "\nRead by a rule, or inferred");
        for warning in &cue.warnings {
            let _ = writeln!(text, "  {warning}");
        }
        const MOST: usize = 40;
        for remark in performed.remarks.iter().take(MOST) {
            let _ = writeln!(text, "  {remark}");
        }
        if performed.remarks.len() > MOST {
            let _ = writeln!(text, "  and {} more of the kind", performed.remarks.len() - MOST);
        }
    }
    if let Some(sounded) = sounded {
        let _ = writeln!(text, "\nSound (house orchestra)");
        for line in &sounded.summary {
            let _ = writeln!(text, "  {line}");
        }
        let _ = writeln!(
            text,
            "  Long or loud listening harms hearing: begin softly, rest your ears, and follow the noise rules of your country."
        );
    }
    text
}

fn standing(findings: &[Finding]) -> String {
    let count = |severity| findings.iter().filter(|f| f.severity == severity).count();
    let (impossible, hard, advice) =
        (count(Severity::Impossible), count(Severity::Hard), count(Severity::Advice));
    if impossible + hard + advice == 0 {
        return "Every patch can do all that is asked of it.".into();
    }
    format!("Findings: {impossible} that cannot be done, {hard} hard, {advice} to know.")
}

fn passages(text: &mut String, performed: &Performed) {
    let timeline = &performed.performance.timeline;
    let _ = writeln!(text, "\nPassages");
    for (i, (name, at, place)) in performed.performance.passages.iter().enumerate() {
        let from = at.0;
        let to =
            performed.performance.passages.get(i + 1).map_or(timeline.seconds(timeline.end()).0, |p| p.1.0);
        let playing: Vec<&str> = performed
            .performance
            .chairs
            .iter()
            .filter(|c| c.gestures.iter().any(|g| g.onset.0 >= from - 0.03 && g.onset.0 < to - 0.03))
            .map(|c| c.chair.as_str())
            .collect();
        let _ = writeln!(
            text,
            "  {:<24} bar {:>3}  {:>5}  {:>2} chair{}: {}",
            name,
            place.bar,
            clock(from),
            playing.len(),
            if playing.len() == 1 { "" } else { "s" },
            playing.join(", ")
        );
    }
}

fn picture(text: &mut String, cue: &Cue) {
    let Some(plan) = &cue.plan.picture else { return };
    let _ = writeln!(text, "\nTo picture ({} frames a second, bar 1 at {})", plan.rate.word(), plan.zero());
    for hit in crate::hits_now(cue) {
        crate::fit_sheet::line(text, &hit);
    }
    if plan.rate == ripieno_timing::FrameRate::F23976 {
        let _ = writeln!(
            text,
            "  MIDI files cannot say 23.976 frames a second: their offset is written as 24; set the rate in your session."
        );
    }
}

fn patches(text: &mut String, performed: &Performed) {
    let _ = writeln!(text, "\nPatch list");
    for track in &performed.patches.tracks {
        let used: Vec<String> = track
            .used
            .iter()
            .map(|(name, count, delay)| {
                if *delay > 0.0 {
                    format!("{name} {count} ({delay:.0} ms)")
                } else {
                    format!("{name} {count}")
                }
            })
            .collect();
        let _ = writeln!(text, "  {:<20} {}: {}", track.track, track.patch, used.join(", "));
    }
    if let Some(busiest) = performed.patches.tracks.iter().max_by_key(|t| t.busiest_second) {
        let events: usize = performed.patches.tracks.iter().map(|t| t.control_events).sum();
        let _ = writeln!(
            text,
            "  Curves: {events} events in all; at most {} controller events in one second ({}).",
            busiest.busiest_second, busiest.track
        );
    }
}

fn list_findings(text: &mut String, cue: &Cue, performed: &Performed) {
    let findings = &performed.findings;
    if findings.is_empty() {
        return;
    }
    let in_print = InPrint::of(&performed.performance.timeline, &cue.score.tracks);
    let told = Checked { in_print, findings: findings.clone(), ..Checked::default() };
    let _ = writeln!(text, "\nFindings");
    let mut sorted: Vec<&Finding> = findings.iter().collect();
    sorted.sort_by(|a, b| b.severity.cmp(&a.severity).then(a.bar.cmp(&b.bar)));
    for finding in sorted {
        findings::one(text, &told, finding);
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{PerformOptions, perform, write_demo};

    #[test]
    fn a_finding_is_told_as_in_the_read_through() {
        let home = tempfile::tempdir().unwrap();
        write_demo(home.path()).unwrap();
        let cue = Cue::open(home.path()).unwrap();
        let mut performed = perform(&cue, PerformOptions::default());
        performed.findings = vec![Finding {
            rule: "range",
            severity: Severity::Hard,
            chair: "flute".into(),
            bar: 7,
            to_bar: 7,
            beat: 2.5,
            message: "too low.".into(),
            remedy: "An octave up.".into(),
            change: None,
            source: "none",
        }];
        let mut one = String::new();
        let in_print = InPrint::of(&performed.performance.timeline, &cue.score.tracks);
        findings::one(&mut one, &Checked { in_print, ..Checked::default() }, &performed.findings[0]);
        assert!(one.contains("flute, bar 7, beat 2.5: Too low.\n"), "{one}");
        let text = report(&cue, &performed, None, None);
        assert!(text.contains(&one), "{text}");
    }
}
