//! How long a note is: as the file counts it, and as it is written.

use super::xml::{child, child_number, child_text, children, decimal, has};
use ripieno_units::Beats;
use roxmltree::Node;

/// Length of a written value (`eighth`), in quarters.
pub(super) fn value(name: &str) -> Option<Beats> {
    Some(match name.trim() {
        "maxima" => Beats::whole(32),
        "long" => Beats::whole(16),
        "breve" => Beats::whole(8),
        "whole" => Beats::whole(4),
        "half" => Beats::whole(2),
        "quarter" => Beats::whole(1),
        "eighth" => Beats::new(1, 2),
        "16th" => Beats::new(1, 4),
        "32nd" => Beats::new(1, 8),
        "64th" => Beats::new(1, 16),
        "128th" => Beats::new(1, 32),
        "256th" => Beats::new(1, 64),
        "512th" => Beats::new(1, 128),
        "1024th" => Beats::new(1, 256),
        _ => return None,
    })
}

/// A value with so many dots.
pub(super) fn dotted(value: Beats, dots: usize) -> Beats {
    let d = dots.min(8) as u32;
    value.scaled((1i64 << (d + 1)) - 1, 1i64 << d)
}

/// The value that a note is written with: type, dots, tuplet.
pub(super) fn written_length(node: Node<'_, '_>) -> Option<Beats> {
    let length = dotted(value(child_text(node, "type")?)?, children(node, "dot").count());
    let Some(tuplet) = child(node, "time-modification") else { return Some(length) };
    let actual = child_number::<i64>(tuplet, "actual-notes").filter(|n| (1..=1024).contains(n));
    let normal = child_number::<i64>(tuplet, "normal-notes").filter(|n| (1..=1024).contains(n));
    Some(length.scaled(normal.unwrap_or(1), actual.unwrap_or(1)))
}

/// A note's length as the file counts it (`None` where it does not), and exactly: the written value where the file's divisions
/// only round it, else what is counted.
pub(super) fn lengths(node: Node<'_, '_>, divisions: Beats) -> (Option<Beats>, Beats) {
    let written = written_length(node);
    let given = child_text(node, "duration").and_then(decimal);
    let Some(given) = given.filter(|d| *d >= Beats::ZERO) else {
        return (None, written.unwrap_or(Beats::whole(1)));
    };
    let raw = quarters(given, divisions);
    let exact = match written {
        Some(written) if given.is_positive() => {
            let units = written.scaled(divisions.numerator(), divisions.denominator());
            let off = units - given;
            let size = if off < Beats::ZERO { -off } else { off };
            // Less than one division off where the value is no whole number of them, or one in at least sixteen: some
            // writers round a value and then double it.
            let rounded = units.denominator() != 1 && size < Beats::whole(1)
                || size <= Beats::whole(1) && size.scaled(16, 1) <= units;
            if rounded { written } else { raw }
        }
        _ => raw,
    };
    (Some(raw), exact)
}

/// No bar of music is longer than so many quarters, so that a whole piece stays within what score time can hold.
const LONGEST: i64 = 4_096;

/// A duration in divisions, as quarters.
pub(super) fn quarters(duration: Beats, divisions: Beats) -> Beats {
    // duration / divisions, both fractions.
    let longest = Beats::whole(LONGEST);
    duration.scaled(divisions.denominator(), divisions.numerator()).clamp(-longest, longest)
}

/// For each run of notes of a bar (up to the next step back or forward): do its counted lengths fill the bar, and its written
/// values not? Then it is the written values that are wrong.
pub(super) fn counted_runs(measure: Node<'_, '_>, mut divisions: Beats, bar: Beats) -> Vec<bool> {
    let mut runs = Vec::new();
    let (mut at, mut exact) = (Beats::ZERO, Beats::ZERO);
    for item in measure.children().filter(Node::is_element) {
        let step = || child_text(item, "duration").and_then(decimal).unwrap_or(Beats::ZERO);
        match item.tag_name().name() {
            "note" if !has(item, "grace") && !has(item, "chord") => {
                let (raw, written) = lengths(item, divisions);
                at += raw.unwrap_or(written);
                exact += written;
            }
            "attributes" => {
                let said = child_text(item, "divisions").and_then(decimal).filter(|d| d.is_positive());
                divisions = said.unwrap_or(divisions);
            }
            name @ ("backup" | "forward") => {
                runs.push(at == bar && exact != bar);
                let by = quarters(step(), divisions);
                at = (at + if name == "backup" { -by } else { by }).max(Beats::ZERO);
                exact = at;
            }
            _ => {}
        }
    }
    runs.push(at == bar && exact != bar);
    runs
}
