//! What stands around the staves: bar numbers, marks and calls above; words, dynamics, findings and time below.

use super::describe::{Flag, Hairpin, Opened, Words};
use super::draw::Canvas;
use super::frame::{Frame, GAP};
use super::signs;
use super::words::{Sky, cut, in_rows, size, width};
use crate::svg::Path;
use ripieno_music::Severity;

/// Height of a row of words.
const ROW: f64 = 15.0;
/// Rows of calls; what finds no room keeps its stroke, and its words when pointed at.
const CALL_ROWS: usize = 3;
/// Rows of findings.
const FINDING_ROWS: usize = 8;
/// The longest words of one mark, pixels.
const LONGEST: f64 = 260.0;

/// Draws what stands above; gives the height from the middle of the first staff to the top.
pub fn above(canvas: &mut Canvas, opened: &Opened, frame: &Frame, sky: &mut Sky) -> f64 {
    let mut breaths = Path::new();
    for at in opened.breaths.iter().filter(|t| t.is_finite()) {
        let x = frame.x(*at);
        let near = sky.place(x - 0.4 * GAP, x + 0.4 * GAP, 1.3 * GAP, 1.0);
        signs::breath(&mut breaths, x, -near - 0.9 * GAP, GAP);
    }
    canvas.path("staff-breath", &breaths);
    bar_numbers(canvas, opened, frame, sky);
    let mut dashes = Path::new();
    for mark in in_time(&opened.marks) {
        let text = cut(&mark.text, size::WORDS, LONGEST);
        let x = frame.x(mark.at) - HEAD_LEFT;
        let end = x + width(&text, size::WORDS);
        let to = mark.to.map(|t| frame.x(t) + 0.6 * GAP).filter(|to| *to > end + 10.0);
        let near = sky.place(x, to.unwrap_or(end) + 3.0, size::WORDS, 3.0);
        canvas.words("staff-mark", x, -near - 0.25 * size::WORDS, size::WORDS, &text);
        if let Some(to) = to {
            let y = -near - 0.5 * size::WORDS;
            dashes.to(end + 2.0, y).across(to).line(to, y + 4.0);
        }
    }
    canvas.path("staff-dash", &dashes);
    calls(canvas, opened, frame, sky.top() + 4.0) + 6.0
}

/// Words begin as far left of their second as a head does.
const HEAD_LEFT: f64 = 4.0;

fn in_time(words: &[Words]) -> Vec<&Words> {
    let mut all: Vec<&Words> =
        words.iter().filter(|w| w.at.is_finite() && !w.text.trim().is_empty()).collect();
    all.sort_by(|a, b| a.at.total_cmp(&b.at));
    all
}

fn bar_numbers(canvas: &mut Canvas, opened: &Opened, frame: &Frame, sky: &mut Sky) {
    let mut free = f64::NEG_INFINITY;
    for (i, bar) in opened.bars.iter().enumerate().filter(|(_, b)| b.at.is_finite()) {
        let mut text = bar.number.to_string();
        if i > 0 {
            if let Some((upper, lower)) = bar.metre {
                text = format!("{text} · {upper}/{lower}");
            }
            if let Some(fifths) = bar.fifths {
                text = format!("{text} · {}", signature(fifths));
            }
        }
        let x = if i == 0 { frame.edge + 2.0 } else { frame.x(bar.at) + 2.0 };
        let end = x + width(&text, size::NUMBER);
        let says_more = text.contains('·');
        if x < free && !says_more {
            continue;
        }
        let near = sky.place(x, end, size::NUMBER, 2.0);
        canvas.words("staff-number", x, -near - 0.15 * size::NUMBER, size::NUMBER, &text);
        free = end + 12.0;
    }
}

/// A key signature in words.
fn signature(fifths: i8) -> String {
    match fifths {
        0 => "no sharps or flats".into(),
        1 => "1 sharp".into(),
        -1 => "1 flat".into(),
        n if n > 0 => format!("{n} sharps"),
        n => format!("{} flats", n.unsigned_abs()),
    }
}

/// Draws the calls in rows from `base` on; gives the height of the topmost.
fn calls(canvas: &mut Canvas, opened: &Opened, frame: &Frame, base: f64) -> f64 {
    let calls = in_time(&opened.calls);
    if calls.is_empty() {
        return base;
    }
    let texts: Vec<String> = calls.iter().map(|c| cut(&c.text, size::WORDS, LONGEST)).collect();
    let spans: Vec<(f64, f64)> = calls
        .iter()
        .zip(&texts)
        .map(|(c, text)| {
            let x = frame.x(c.at);
            (x, x + width(text, size::WORDS))
        })
        .collect();
    let rows = in_rows(&spans, CALL_ROWS, 6.0);
    let mut top = base;
    for (((call, text), (x, _)), row) in calls.iter().zip(&texts).zip(&spans).zip(&rows) {
        canvas.told("staff-call", &call.text, |canvas| {
            let mut tick = Path::new();
            tick.to(*x, -base - 5.0).line(*x, -base + 1.0);
            canvas.path("staff-tick", &tick);
            if let Some(row) = row {
                let y = base + 8.0 + ROW * *row as f64;
                canvas.words("staff-words", *x, -y, size::WORDS, text);
                top = top.max(y + size::WORDS);
            }
        });
    }
    top
}

/// Draws what stands below; gives the height from the middle of the first staff to the bottom.
pub fn below(canvas: &mut Canvas, opened: &Opened, frame: &Frame, sky: &mut Sky, bottom: f64) -> f64 {
    let mut y = bottom + sky.top() + 6.0;
    // What is sung.
    let lyrics = in_time(&opened.lyrics);
    if !lyrics.is_empty() {
        let texts: Vec<String> = lyrics.iter().map(|w| cut(&w.text, size::WORDS, LONGEST)).collect();
        let spans: Vec<(f64, f64)> = lyrics
            .iter()
            .zip(&texts)
            .map(|(w, t)| (frame.x(w.at) - HEAD_LEFT, frame.x(w.at) - HEAD_LEFT + width(t, size::WORDS)))
            .collect();
        let rows = in_rows(&spans, 3, 1.0);
        let mut used = 0;
        for (((text, (x, _)), row), word) in texts.iter().zip(&spans).zip(&rows).zip(&lyrics) {
            let Some(row) = row else { continue };
            used = used.max(row + 1);
            canvas.words("staff-lyric", *x, y + 0.85 * size::WORDS + ROW * *row as f64, size::WORDS, text);
            if let Some(to) = word.to {
                // A melisma: the line that carries the syllable on.
                let end = *x + width(text, size::WORDS) + 2.0;
                let mut line = Path::new();
                let next = spans.iter().map(|s| s.0).filter(|s| *s > *x).fold(f64::INFINITY, f64::min);
                let to = frame.x(to).min(next - 3.0);
                if to > end + 4.0 {
                    let at = y + 0.95 * size::WORDS + ROW * *row as f64;
                    line.to(end, at).across(to);
                    canvas.path("staff-tick", &line);
                }
            }
        }
        y += ROW * used as f64 + 3.0;
    }
    y = dynamics(canvas, opened, frame, y);
    y = findings(canvas, opened, frame, y, bottom + frame.halves.last().copied().unwrap_or(0.0));
    axis(canvas, frame, y + 10.0)
}

/// Dynamics and hairpins on one line, a second one where marks crowd.
fn dynamics(canvas: &mut Canvas, opened: &Opened, frame: &Frame, y: f64) -> f64 {
    let marks = in_time(&opened.dynamics);
    let mut pins: Vec<&Hairpin> =
        opened.hairpins.iter().filter(|h| h.from.is_finite() && h.to.is_finite()).collect();
    if marks.is_empty() && pins.is_empty() {
        return y;
    }
    let spans: Vec<(f64, f64)> = marks
        .iter()
        .map(|m| {
            let x = frame.x(m.at) - HEAD_LEFT;
            (x, x + width(&m.text, size::DYNAMIC))
        })
        .collect();
    let rows = in_rows(&spans, 4, 2.0);
    let middle = y + 0.5 * size::DYNAMIC;
    let mut used = 1;
    for ((mark, (x, _)), row) in marks.iter().zip(&spans).zip(&rows) {
        let Some(row) = row else { continue };
        used = used.max(row + 1);
        let at = y + 0.8 * size::DYNAMIC + (size::DYNAMIC + 3.0) * *row as f64;
        canvas.words("staff-dynamic", *x, at, size::DYNAMIC, &mark.text);
    }
    let on_line: Vec<(f64, f64)> =
        spans.iter().zip(&rows).filter(|(_, r)| **r == Some(0)).map(|(s, _)| *s).collect();
    pins.sort_by(|a, b| a.from.total_cmp(&b.from));
    let (mut path, mut free) = (Path::new(), f64::NEG_INFINITY);
    for pin in pins {
        let (from, to) = (frame.x(pin.from).max(free), frame.x(pin.to));
        let Some((from, to)) = widest_gap(from, to, &on_line, 4.0) else { continue };
        free = to + 2.0;
        let open = (0.35 + 0.028 * pin.span.abs().min(30.0)).min(0.85) * GAP;
        let open = if pin.span == 0.0 || !pin.span.is_finite() { 0.55 * GAP } else { open };
        let (point, mouth) = if pin.louder { (from, to) } else { (to, from) };
        let ring = if pin.niente { 2.2 } else { 0.0 };
        let inner = point + if pin.louder { 2.0 * ring } else { -2.0 * ring };
        path.to(mouth, middle - open).line(inner, middle).line(mouth, middle + open);
        if pin.niente {
            let centre = 0.5 * (point + inner);
            let k = 0.5523 * ring;
            path.to(centre + ring, middle);
            path.curve((centre + ring, middle - k), (centre + k, middle - ring), (centre, middle - ring));
            path.curve((centre - k, middle - ring), (centre - ring, middle - k), (centre - ring, middle));
            path.curve((centre - ring, middle + k), (centre - k, middle + ring), (centre, middle + ring));
            path.curve((centre + k, middle + ring), (centre + ring, middle + k), (centre + ring, middle));
        }
    }
    canvas.path("staff-hairpin", &path);
    y + (size::DYNAMIC + 3.0) * used as f64 + 4.0
}

/// The widest stretch of `from..to` that no word covers; `None` below six pixels.
fn widest_gap(from: f64, to: f64, words: &[(f64, f64)], space: f64) -> Option<(f64, f64)> {
    let mut best = (from, from);
    let mut at = from;
    for (x0, x1) in words.iter().filter(|w| w.1 + space > from && w.0 - space < to).chain([&(to + space, to)])
    {
        let end = (x0 - space).min(to);
        if end - at > best.1 - best.0 {
            best = (at, end);
        }
        at = at.max(x1 + space);
    }
    (best.1 - best.0 >= 6.0).then_some(best)
}

/// Findings: a sign at their place, a line for as long as they hold, words beside.
fn findings(canvas: &mut Canvas, opened: &Opened, frame: &Frame, y: f64, staff: f64) -> f64 {
    let mut flags: Vec<&Flag> = opened.findings.iter().filter(|f| f.at.is_finite()).collect();
    if flags.is_empty() {
        return y;
    }
    flags.sort_by(|a, b| a.at.total_cmp(&b.at).then(b.severity.cmp(&a.severity)));
    let texts: Vec<String> = flags
        .iter()
        .map(|f| cut(&format!("{}: {}", f.severity.word(), f.text), size::WORDS, 420.0))
        .collect();
    let spans: Vec<(f64, f64)> = flags
        .iter()
        .zip(&texts)
        .map(|(f, text)| {
            let x = frame.x(f.at);
            (x - 5.0, (x + 10.0 + width(text, size::WORDS)).max(frame.x(f.to)))
        })
        .collect();
    let rows = in_rows(&spans, FINDING_ROWS, 8.0);
    let mut used = 0;
    for (((flag, text), (x, _)), row) in flags.iter().zip(&texts).zip(&spans).zip(&rows) {
        let x = x + 5.0;
        let class = match flag.severity {
            Severity::Impossible => "staff-finding staff-impossible",
            Severity::Hard => "staff-finding staff-hard",
            Severity::Advice => "staff-finding staff-advice",
        };
        canvas.told(class, &flag.full, |canvas| {
            let Some(row) = row else { return };
            used = used.max(row + 1);
            let middle = y + 7.0 + (ROW + 3.0) * *row as f64;
            let (mut lead, mut sign) = (Path::new(), Path::new());
            if *row == 0 {
                canvas.drop(&mut lead, x, staff + 3.0, middle - 6.0);
                canvas.path("staff-lead", &lead);
            }
            match flag.severity {
                Severity::Impossible => {
                    sign.to(x - 3.5, middle - 3.5).line(x + 3.5, middle + 3.5);
                    sign.to(x - 3.5, middle + 3.5).line(x + 3.5, middle - 3.5);
                }
                Severity::Hard => {
                    sign.to(x - 4.0, middle + 3.2).line(x, middle - 3.8).line(x + 4.0, middle + 3.2).close();
                }
                Severity::Advice => {
                    sign.to(x - 3.5, middle).line(x, middle - 3.5).line(x + 3.5, middle);
                }
            }
            let to = frame.x(flag.to);
            if to > x + 10.0 {
                let line = middle + 0.5 * ROW;
                sign.to(x, line - 2.0).line(x, line).across(to - 2.0).line(to - 2.0, line - 2.0);
            }
            canvas.path("staff-flag", &sign);
            canvas.words("staff-words", x + 9.0, middle + 0.33 * size::WORDS, size::WORDS, text);
        });
    }
    y + (ROW + 3.0) * used as f64 + 2.0
}

/// The axis of seconds; gives its lower edge.
fn axis(canvas: &mut Canvas, frame: &Frame, y: f64) -> f64 {
    let mut path = Path::new();
    path.to(frame.left, y).across(frame.right());
    let label = width("-00:00", size::NUMBER) + 10.0;
    let steps = [1.0, 2.0, 5.0, 10.0, 30.0, 60.0, 300.0, 1800.0, 36_000.0];
    let step = steps.into_iter().find(|s| s * frame.scale >= label).unwrap_or(360_000.0);
    let minor = if step == 1.0 { 0.5 } else { step / 5.0 };
    let first = (frame.start / minor).ceil() as i64;
    let last = (frame.end / minor).floor() as i64;
    // Times of many digits leave no room for the next one.
    let mut free = f64::NEG_INFINITY;
    for i in first..=last.min(first.saturating_add(20_000)) {
        let t = i as f64 * minor;
        let x = frame.x(t);
        let whole = (t / step).round() * step;
        let major = (whole - t).abs() < 1e-6 * step;
        path.to(x, y).line(x, y + if major { 5.0 } else { 2.5 });
        if major {
            let total = t.abs().round() as u64;
            let sign = if t < -0.5 { "-" } else { "" };
            let text = format!("{sign}{}:{:02}", total / 60, total % 60);
            if x + 1.0 >= free {
                canvas.words("staff-time", x + 1.0, y + 15.0, size::NUMBER, &text);
                free = x + 1.0 + width(&text, size::NUMBER);
            }
        }
    }
    canvas.path("staff-axis", &path);
    y + 22.0
}
