//! The timing sheet: proposals of tempo in sentences.

use crate::{FitSheet, HitMet, Proposal};
use ripieno_music::Timeline;
use ripieno_plan::{MetrePlan, TempoPlan};
use ripieno_units::math;
use std::fmt::Write as _;

/// A ramp steeper than this (log2 a bar) is heard as an accelerando or a ritardando, not as breathing.
const STEEP: f64 = 0.15;
/// Sound that comes before its picture is noticed from here on, and after it, ms (ITU-R BT.1359).
const NOTICED: (f64, f64) = (45.0, 125.0);

fn pace(tempo: &TempoPlan) -> f64 {
    tempo.bpm.unwrap_or(tempo.factor)
}

/// What a proposal costs.
pub(crate) fn costs(
    timeline: &Timeline,
    tempi: &[TempoPlan],
    moved: &[&MetrePlan],
    hits: &[HitMet],
) -> Vec<String> {
    let mut out = Vec::new();
    let all: Vec<f64> = tempi.iter().map(pace).collect();
    let (low, high) = all.iter().fold((f64::INFINITY, 0.0f64), |(a, b), v| (a.min(*v), b.max(*v)));
    if all.len() > 1 {
        let jump =
            tempi.windows(2).filter(|w| !w[0].ramp).map(|w| math::log2(pace(&w[1]) / pace(&w[0])).abs());
        let jump = 100.0 * (math::exp2(jump.fold(0.0, f64::max)) - 1.0);
        let unit =
            if tempi.iter().all(|t| t.bpm.is_some()) { " a minute" } else { " times the written tempo" };
        // What differs by less than that is said so far that it differs.
        let digits = if high - low < 0.01 { 4 } else { 2 };
        let mut line = format!("The tempo moves between {low:.digits$} and {high:.digits$}{unit}");
        if jump >= 0.05 {
            let _ = write!(line, "; the greatest step is {jump:.1} %");
        }
        out.push(line + ".");
        for pair in tempi.windows(2).filter(|w| w[0].ramp) {
            let (Some(a), Some(b)) =
                (timeline.at(pair[0].bar, pair[0].beat), timeline.at(pair[1].bar, pair[1].beat))
            else {
                continue;
            };
            let bars = (b - a).ratio(timeline.bar_at(a).metre.bar()).max(1.0 / 64.0);
            let steep = math::log2(pace(&pair[1]) / pace(&pair[0])).abs() / bars.max(1.0);
            if steep > STEEP {
                out.push(format!(
                    "From bar {} the tempo turns by {:.0} % a bar: heard as a change of tempo.",
                    pair[0].bar,
                    100.0 * (math::exp2(steep) - 1.0)
                ));
            }
        }
    }
    for metre in moved {
        out.push(format!(
            "Bar {} has {} beats and bar {} takes what is left: one barline moves, no note changes, later bars stand as they were.",
            metre.bar,
            metre.beats,
            metre.bar + 1
        ));
    }
    let passed = hits.iter().filter(|h| h.place.is_none()).count();
    if passed > 0 {
        out.push(format!("{passed} of {} hits are passed over.", hits.len()));
    }
    let noticed = hits.iter().filter(|h| h.ms < -NOTICED.0 || h.ms > NOTICED.1).count();
    if noticed > 0 {
        out.push(format!(
            "{noticed} of {} hits are so far off that it is noticed (ITU-R BT.1359: sound 45 ms early, 125 ms late).",
            hits.len()
        ));
    }
    out
}

fn frames(number: f64) -> String {
    if number == 1.0 { "1 frame".to_string() } else { format!("{number} frames") }
}

impl HitMet {
    /// The place of the music, in words.
    pub fn place_words(&self) -> String {
        match self.place {
            Some((bar, beat)) => format!("bar {bar} beat {}", (beat * 1000.0).round() / 1000.0),
            None if self.after_end => "after the end".into(),
            None => "passed over".into(),
        }
    }

    /// How far off the music is, in words.
    pub fn error_words(&self) -> String {
        let said = match self.place {
            None if self.after_end => "the music is over".to_string(),
            None => "no place of the music falls on it".to_string(),
            Some(_) if self.ms.abs() < 0.05 => "on the frame".into(),
            Some(_) => format!(
                "{} {} ({:.1} ms)",
                frames((self.frames.abs() * 100.0).round() / 100.0),
                if self.ms < 0.0 { "early" } else { "late" },
                self.ms.abs()
            ),
        };
        match self.place.is_some() && !self.is_met() {
            true => format!("{said}; it may be off by {}", frames(self.within)),
            false => said,
        }
    }
}

pub(crate) fn line(text: &mut String, hit: &HitMet) {
    let _ = writeln!(text, "   {}  {:<24} {:<16} {}", hit.at, hit.what, hit.place_words(), hit.error_words());
}

fn title(proposal: &Proposal) -> &'static str {
    match proposal.kind {
        "refit" => "The cut alone: what has not moved stays as it is",
        "constant" => "One tempo throughout, with the least greatest error",
        "least-squares" => "One tempo throughout, with the least squares",
        "ramped" => "Tempi that go over into each other",
        _ => "A tempo for each stretch between hits",
    }
}

/// The sheet as text; with the cut that it was asked for, if one was.
pub fn fit_text(sheet: &FitSheet, cut: Option<&str>) -> String {
    let mut text = format!(
        "Timing sheet: {} frames a second, bar 1 at {}, wished tempo {:.2} quarters a minute\n\nAs it stands\n",
        sheet.rate.word(),
        sheet.zero,
        sheet.wished
    );
    sheet.now.iter().for_each(|h| line(&mut text, h));
    for (i, proposal) in sheet.proposals.iter().enumerate() {
        let met = proposal.hits.iter().filter(|h| h.is_met()).count();
        let _ = writeln!(text, "\n{}. {}: {met} of {} hits met", i + 1, title(proposal), proposal.hits.len());
        for tempo in &proposal.tempi {
            let value = match tempo.bpm {
                Some(bpm) => format!("{bpm:.3} quarters a minute"),
                None => format!("{:.4} times the written tempo", tempo.factor),
            };
            let ramp = if tempo.ramp { ", moving to the next" } else { "" };
            let beat = (tempo.beat * 1000.0).round() / 1000.0;
            let _ = writeln!(text, "   from bar {} beat {beat}: {value}{ramp}", tempo.bar);
        }
        proposal.hits.iter().for_each(|h| line(&mut text, h));
        for cost in &proposal.costs {
            let _ = writeln!(text, "   {cost}");
        }
    }
    if !sheet.proposals.is_empty() {
        let _ = writeln!(
            text,
            "\n`ripieno fit CUE{} --take N` writes proposal N into cue.toml as [[tempo]] and [[metre]]; all else there stays as it is.",
            cut.map_or(String::new(), |cut| format!(" --cut \"{cut}\"")),
        );
    }
    if !sheet.remarks.is_empty() {
        text.push('\n');
        for remark in &sheet.remarks {
            let _ = writeln!(text, "{remark}");
        }
    }
    text
}
