//! Sheets to paste and to print: the patch list, and the routing as text and as CSV (RFC 4180).

use std::fmt::Write as _;

/// A chair's line in the patch list.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Patches {
    /// As printed.
    pub chair: String,
    /// Where its sound comes from, or its patch.
    pub patch: String,
    /// What is used of it, the most first.
    pub used: Vec<String>,
}

/// The patch list, to be pasted under a film: a line a patch.
pub fn patch_list(title: &str, chairs: &[Patches]) -> String {
    let mut text = format!("{title}: the patches\n\n");
    for chair in chairs {
        let used =
            if chair.used.is_empty() { String::new() } else { format!(" ({})", chair.used.join(", ")) };
        let _ = writeln!(text, "{}: {}{used}", chair.chair, chair.patch);
    }
    text
}

/// Where a chair's sound goes.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Route {
    /// The chair's id.
    pub chair: String,
    /// As printed.
    pub name: String,
    /// Its family: the stem it is in.
    pub family: String,
    /// House orchestra, font, print.
    pub from: String,
    /// Its hall; none where it is dry.
    pub hall: Option<String>,
    /// What it sends there, dB.
    pub send_db: f64,
    /// What it sends to the common hall, dB; none where it sends nothing.
    pub common_db: Option<f64>,
    /// Gain of the whole, dB.
    pub gain_db: f64,
    /// Levels of microphones that are not as usual, in words.
    pub microphones: String,
    /// Bands of its equaliser, in words.
    pub equaliser: String,
}

/// The routing as text: halls with who goes there, who goes to the common hall and who does not, then a line a chair.
pub fn routing_text(title: &str, common: Option<&str>, routes: &[Route]) -> String {
    let mut text = format!("{title}: where everyone goes\n\n");
    let mut halls: Vec<&str> = Vec::new();
    for hall in routes.iter().filter_map(|r| r.hall.as_deref()) {
        if !halls.contains(&hall) {
            halls.push(hall);
        }
    }
    let names = |wanted: &dyn Fn(&Route) -> bool| {
        let list: Vec<&str> = routes.iter().filter(|r| wanted(r)).map(|r| r.name.as_str()).collect();
        if list.is_empty() { "nobody".to_string() } else { list.join(", ") }
    };
    for hall in halls {
        let _ = writeln!(text, "{hall}: {}", names(&|r| r.hall.as_deref() == Some(hall)));
    }
    if routes.iter().any(|r| r.hall.is_none()) {
        let _ = writeln!(text, "no hall (dry): {}", names(&|r| r.hall.is_none()));
    }
    match common {
        Some(common) => {
            let _ = writeln!(text, "common hall ({common}): {}", names(&|r| r.common_db.is_some()));
            let _ = writeln!(text, "not in the common hall: {}", names(&|r| r.common_db.is_none()));
        }
        None => text += "There is no common hall.\n",
    }
    text.push('\n');
    for route in routes {
        let mut words = vec![route.from.clone(), format!("gain {} dB", db(route.gain_db))];
        match &route.hall {
            Some(hall) => words.push(format!("{hall} {} dB", db(route.send_db))),
            None => words.push("dry".into()),
        }
        words.extend(route.common_db.map(|c| format!("common {} dB", db(c))));
        words.extend([&route.microphones, &route.equaliser].into_iter().filter(|w| !w.is_empty()).cloned());
        let _ = writeln!(text, "{}: {}", route.name, words.join("; "));
    }
    text
}

/// The routing as CSV, a record a chair.
pub fn routing_csv(routes: &[Route]) -> String {
    let mut text = String::from(
        "chair,name,family,from,gain dB,hall,hall send dB,common send dB,microphones,equaliser\r\n",
    );
    for r in routes {
        let send = if r.hall.is_some() { db(r.send_db) } else { String::new() };
        let cells = [
            r.chair.clone(),
            r.name.clone(),
            r.family.clone(),
            r.from.clone(),
            db(r.gain_db),
            r.hall.clone().unwrap_or_default(),
            send,
            r.common_db.map(db).unwrap_or_default(),
            r.microphones.clone(),
            r.equaliser.clone(),
        ];
        let cells: Vec<String> = cells.iter().map(|c| cell(c)).collect();
        let _ = write!(text, "{}\r\n", cells.join(","));
    }
    text
}

fn db(value: f64) -> String {
    format!("{value:.1}")
}

fn cell(text: &str) -> String {
    if text.contains(['"', ',', '\r', '\n']) {
        format!("\"{}\"", text.replace('"', "\"\""))
    } else {
        text.to_string()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn who_is_not_in_the_common_hall_is_said() {
        let route = |name: &str, common_db| Route {
            chair: name.into(),
            name: name.into(),
            hall: Some("stage".into()),
            common_db,
            ..Route::default()
        };
        let routes = [route("harp", None), route("violins, first", Some(-6.0))];
        let text = routing_text("X", Some("church"), &routes);
        assert!(text.contains("not in the common hall: harp\n"), "{text}");
        assert!(text.contains("common hall (church): violins, first\n"), "{text}");
        let csv = routing_csv(&routes);
        assert!(
            csv.lines()
                .nth(2)
                .unwrap()
                .starts_with("\"violins, first\",\"violins, first\",,,0.0,stage,0.0,-6.0"),
            "{csv}"
        );
    }

    #[test]
    fn patches_a_line_each() {
        let one = Patches {
            chair: "Harp".into(),
            patch: "my harp".into(),
            used: vec!["sustain".into(), "harmonics".into()],
        };
        assert_eq!(patch_list("X", &[one]), "X: the patches\n\nHarp: my harp (sustain, harmonics)\n");
    }
}
