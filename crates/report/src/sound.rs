//! Loudness, with its curve.

use crate::Seen;
use ripieno_cue::view::clock;
use ripieno_picture::svg::{Path, escape, number};
use std::fmt::Write as _;

const WIDE: f64 = 1000.0;
const HIGH: f64 = 160.0;
const LEFT: f64 = 46.0;

/// Lowest loudness on the picture, LUFS.
const LOW: f64 = -50.0;

pub fn loudness(seen: &Seen<'_>) -> String {
    let Some(sounded) = seen.sounded else { return String::new() };
    let mut out = String::from("<section><h2>Loudness</h2>");
    out.push_str(&curve(&sounded.curve, seen.cue.template.mix.loudness));
    out.push_str("<ul>");
    for line in &sounded.summary {
        let _ = write!(out, "<li>{}</li>", escape(line));
    }
    out.push_str("</ul>");
    for remark in &sounded.remarks {
        let _ = write!(out, "<p>{}</p>", escape(remark));
    }
    out + "<p class=\"quiet\">Long or loud listening harms hearing: begin softly, rest your ears, and follow the noise rules of your country.</p></section>"
}

/// Short-term loudness (EBU Tech 3341: three seconds) of the mix, one value a second.
fn curve(values: &[f32], target: f64) -> String {
    let known: Vec<(usize, f64)> =
        values.iter().enumerate().map(|(i, v)| (i, f64::from(*v))).filter(|(_, v)| v.is_finite()).collect();
    let Some(top) = known.iter().map(|(_, v)| *v).reduce(f64::max) else { return String::new() };
    let top = ((top.max(target) + 3.0) / 10.0).ceil() * 10.0;
    let seconds = values.len().max(1) as f64;
    let x = |s: f64| LEFT + (WIDE - LEFT - 6.0) * s / seconds;
    let y = |v: f64| 8.0 + (HIGH - 30.0) * (top - v.clamp(LOW, top)) / (top - LOW);
    let mut out = format!(
        r#"<svg class="loud" viewBox="0 0 {} {}" role="img" aria-label="short-term loudness of the mix over time">"#,
        number(WIDE),
        number(HIGH)
    );
    let mut grid = Path::new();
    let mut at = LOW;
    while at <= top + 1e-9 {
        grid.to(LEFT, y(at)).across(WIDE - 6.0);
        let unit = if at + 10.0 > top + 1e-9 { " LUFS" } else { "" };
        let _ = write!(
            out,
            r#"<text x="{}" y="{}" text-anchor="end">{at:.0}</text><text x="{}" y="{}">{unit}</text>"#,
            number(LEFT - 5.0),
            number(y(at) + 4.0),
            number(LEFT + 4.0),
            number(y(at) - 3.0),
        );
        at += 10.0;
    }
    let step = [5.0, 10.0, 15.0, 30.0, 60.0, 120.0, 300.0]
        .into_iter()
        .find(|s| seconds / s <= 14.0)
        .unwrap_or(600.0);
    let mut at = 0.0;
    while at < seconds {
        let _ = write!(
            out,
            r#"<text x="{}" y="{}" text-anchor="middle">{}</text>"#,
            number(x(at)),
            number(HIGH - 4.0),
            clock(at)
        );
        at += step;
    }
    let mut line = Path::new();
    for (n, (second, value)) in known.iter().enumerate() {
        let (px, py) = (x(*second as f64 + 1.0), y(*value));
        if n == 0 || known[n - 1].0 + 1 != *second {
            line.to(px, py);
        } else {
            line.line(px, py);
        }
    }
    let mut goal = Path::new();
    goal.to(LEFT, y(target)).across(WIDE - 6.0);
    let _ = write!(
        out,
        r#"<path class="grid" d="{}"/><path class="goal" d="{}"/><path class="line" d="{}"/>"#,
        grid.data(),
        goal.data(),
        line.data()
    );
    out + "</svg><p class=\"quiet\">Short-term loudness of the mix (three seconds, EBU Tech 3341), from the start of the file; dashed: the target of the copy to listen to.</p>"
}
