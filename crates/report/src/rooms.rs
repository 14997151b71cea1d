//! Where the sound goes, and what the rooms measure.

use crate::Seen;
use ripieno_cue::HallReport;
use ripieno_cue::view::{Sends, curve, stage};
use ripieno_picture::bands::{bands, words};
use ripieno_picture::hall::plan;
use ripieno_picture::svg::escape;
use ripieno_plan::{EqBand, EqKind};
use std::fmt::Write as _;

/// The routing sheet, with the seating plan.
pub fn routing(seen: &Seen<'_>) -> String {
    let stage = stage(seen.played);
    let template = &seen.cue.template;
    let playing = |id: &str| seen.performed.performance.chairs.iter().any(|c| c.chair == id);
    let mut out = format!(
        "<section><h2>Seats and routing</h2><div class=\"seating\">{}</div><table class=\"plain\"><thead><tr><th>Who</th><th>Hall</th><th>Sent to it</th><th>To the common hall{}</th><th>Equaliser</th></tr></thead><tbody>",
        plan(&stage.plan),
        stage.common.as_ref().map_or(String::new(), |(hall, _)| format!(" ({})", escape(hall))),
    );
    for family in &stage.families {
        if !family.chairs.iter().any(|c| playing(&c.path[1])) {
            continue;
        }
        let eq =
            template.stage.families.iter().find(|(f, _)| f == family.family).and_then(|(_, p)| p.eq.clone());
        out.push_str(&row(&family.sends, eq.as_deref(), true));
        for chair in family.chairs.iter().filter(|c| playing(&c.path[1])) {
            let own =
                template.chairs.iter().find(|c| c.id == chair.path[1]).and_then(|c| c.placing.eq.clone());
            // Who goes with the family needs no line.
            if chair.exception.is_some() || own.is_some() {
                out.push_str(&row(chair, own.as_deref(), false));
            }
        }
    }
    out.push_str("</tbody></table>");
    let without: Vec<&str> = stage
        .families
        .iter()
        .flat_map(|f| &f.chairs)
        .filter(|c| playing(&c.path[1]) && c.common_db.is_none() && stage.common.is_some())
        .map(|c| c.name.as_str())
        .collect();
    if !without.is_empty() {
        let _ = write!(out, "<p>Not in the common hall: {}.</p>", escape(&without.join(", ")));
    }
    out + "</section>"
}

fn row(sends: &Sends, eq: Option<&[EqBand]>, family: bool) -> String {
    let db = |value: f64| if value == 0.0 { "0 dB".to_string() } else { format!("{value:+.1} dB") };
    format!(
        "<tr class=\"{}\"><th scope=\"row\">{}</th><td>{}</td><td>{}</td><td>{}</td><td>{}</td></tr>",
        if family { "family" } else { "exception" },
        escape(&sends.name),
        if sends.dry { "dry".to_string() } else { escape(&sends.hall) },
        if sends.dry { String::new() } else { db(sends.send_db) },
        if sends.dry { "not sent".into() } else { sends.common_db.map_or("not sent".into(), db) },
        eq.map_or(String::new(), |bands| escape(&bands.iter().map(band).collect::<Vec<_>>().join("; "))),
    )
}

fn band(band: &EqBand) -> String {
    let at = if band.hertz >= 1000.0 {
        format!("{} kHz", band.hertz / 1000.0)
    } else {
        format!("{} Hz", band.hertz)
    };
    match band.kind {
        EqKind::LowPass => format!("nothing above {at}"),
        EqKind::HighPass => format!("nothing below {at}"),
        EqKind::LowShelf => format!("{:+.1} dB below {at}", band.db),
        EqKind::HighShelf => format!("{:+.1} dB above {at}", band.db),
        EqKind::Peak => format!("{:+.1} dB around {at} (Q {})", band.db, band.q),
    }
}

/// What the rooms measure.
pub fn rooms(halls: &[HallReport]) -> String {
    if halls.is_empty() {
        return String::new();
    }
    let most =
        halls.iter().flat_map(|h| curve(h).measured).map(|(_, seconds)| seconds).fold(1.0_f64, f64::max);
    let mut out = String::from(
        "<section><h2>Rooms</h2><p class=\"quiet\">Measured at the main microphones as ISO 3382-1 defines it, by octave bands.</p><div class=\"rooms\">",
    );
    for hall in halls {
        let curve = curve(hall);
        let middle = hall.measures.iter().find(|m| (m.hertz - 1000.0).abs() < 1.0);
        let figures = middle.map_or(String::new(), |m| {
            let seconds = |name: &str, v: Option<f64>| v.map(|v| format!("{name} {v:.2} s"));
            let all = [
                seconds("EDT", m.edt.map(|s| s.0)),
                seconds("T30", m.t30.map(|s| s.0)),
                Some(format!("C80 {:+.1} dB", m.c80.0)),
            ];
            format!("at 1 kHz: {}", all.into_iter().flatten().collect::<Vec<_>>().join(", "))
        });
        let _ = write!(
            out,
            "<figure><figcaption>{}{}<br><span class=\"quiet\">{}</span></figcaption>{}<p class=\"quiet\">{}</p></figure>",
            escape(&hall.name),
            hall.volume.map_or(String::new(), |v| format!(", {v:.0} m³")),
            escape(&figures),
            bands(&curve, most),
            escape(&words(&curve)),
        );
    }
    out + "</div></section>"
}
