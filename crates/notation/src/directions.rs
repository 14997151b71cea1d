//! What stands above and below the staves: gathered in order of place, then written.

use crate::piece::{Piece, Player};
use crate::words::InForce;
use crate::xml::Xml;
use ripieno_instruments::Family;
use ripieno_music::{Direction, DirectionKind, Dynamic, Metre, TimeMarkKind};
use ripieno_units::Beats;

/// One thing at one place.
#[derive(Clone, Debug)]
pub(crate) struct Spot {
    pub at: Beats,
    pub staff: u8,
    pub said: Said,
    /// It ends something, and so belongs to the bar before where it stands on a barline.
    pub ends: bool,
    /// For everyone: printed once at the top of a score.
    pub common: bool,
}

/// What is said.
#[derive(Clone, Debug)]
pub(crate) enum Said {
    Stop(Line),
    Rehearsal(String),
    Tempo { micros: u32, words: Option<String>, shown: Option<Metre> },
    TempoWords(String),
    Place(String),
    Words(String),
    Dynamic(Dynamic),
    Start(Line),
}

/// A line with two ends.
#[derive(Clone, Copy, Debug)]
pub(crate) enum Line {
    Wedge { number: u8, louder: bool, niente: bool },
    Pedal,
}

impl Said {
    fn rank(&self) -> u8 {
        match self {
            Self::Stop(_) => 0,
            Self::Rehearsal(_) => 1,
            Self::Place(_) => 2,
            Self::Tempo { .. } | Self::TempoWords(_) => 3,
            Self::Words(_) => 4,
            Self::Dynamic(_) => 5,
            Self::Start(_) => 6,
        }
    }
}

/// Words that send the player elsewhere. What is printed is written out as it is played: they would lead astray.
fn jumps(text: &str) -> bool {
    let plain: String = text.to_lowercase().chars().filter(|c| c.is_alphabetic()).collect();
    let begins = |short: &str| {
        plain
            .strip_prefix(short)
            .is_some_and(|rest| rest.is_empty() || rest.starts_with("al") || rest.starts_with("sin"))
    };
    plain.contains("dacapo")
        || plain.contains("dalsegno")
        || begins("dc")
        || begins("ds")
        || matches!(plain.as_str(), "fine" | "tocoda" | "alcoda")
}

/// Letters, tempi and their words: for all.
pub(crate) fn common(piece: &Piece<'_>) -> Vec<Spot> {
    let timeline = piece.timeline;
    let mut spots = Vec::new();
    let mut add = |at: Beats, said: Said| spots.push(Spot { at, staff: 1, said, ends: false, common: true });
    for mark in &piece.marks {
        if let Some(letter) = &mark.letter {
            add(mark.at, Said::Rehearsal(letter.clone()));
        }
        if let Some(words) = &mark.words {
            add(mark.at, Said::Place(words.clone()));
        }
    }
    let words_at = |at: Beats| {
        timeline
            .marks
            .iter()
            .find(|m| m.kind == TimeMarkKind::Tempo && m.at == at && !jumps(&m.text))
            .map(|m| m.text.clone())
    };
    for (i, tempo) in timeline.tempi.iter().enumerate() {
        let metre = timeline.bar_at(tempo.at).metre;
        // Steps of a ritardando that a computer drew are heard, not printed.
        let lasts = timeline.tempi.get(i + 1).map_or(timeline.end(), |n| n.at) - tempo.at;
        let shown = (i == 0 || lasts >= timeline.bar_at(tempo.at).length).then_some(metre);
        let at = if i == 0 { tempo.at.max(timeline.start()) } else { tempo.at };
        add(at, Said::Tempo { micros: tempo.micros, words: words_at(tempo.at), shown });
    }
    for mark in timeline.marks.iter().filter(|m| m.kind == TimeMarkKind::Tempo && !m.text.trim().is_empty()) {
        if !jumps(&mark.text) && timeline.tempi.iter().all(|t| t.at != mark.at) {
            add(mark.at, Said::TempoWords(mark.text.clone()));
        }
    }
    spots
}

/// The player's own: dynamics, hairpins, words, pedals.
pub(crate) fn own(player: &Player<'_>, staves: u8, end: Beats) -> Vec<Spot> {
    let mut spots = Vec::new();
    let mut force = InForce::default();
    let mut open: Vec<Beats> = Vec::new();
    let mut dynamic: Option<(Beats, Dynamic)> = None;
    for direction in &player.part.content.directions {
        let Direction { at, staff, kind, .. } = direction;
        let staff = staff.unwrap_or(1).clamp(1, staves);
        let mut add = |at: Beats, said: Said, ends: bool| {
            spots.push(Spot { at, staff, said, ends, common: false });
        };
        match kind {
            DirectionKind::Dynamic(mark) => {
                // The same mark twice at one place is one.
                if dynamic != Some((*at, *mark)) {
                    add(*at, Said::Dynamic(*mark), false);
                }
                dynamic = Some((*at, *mark));
            }
            DirectionKind::Hairpin { louder, to, niente } => {
                let to = (*to).min(end);
                if to <= *at {
                    continue;
                }
                let number = match open.iter().position(|e| *e <= *at) {
                    Some(i) => i,
                    None if open.len() < 6 => {
                        open.push(to);
                        open.len() - 1
                    }
                    None => continue,
                };
                open[number] = to;
                let line = Line::Wedge { number: number as u8 + 1, louder: *louder, niente: *niente };
                add(*at, Said::Start(line), false);
                add(to, Said::Stop(line), true);
            }
            DirectionKind::Playing(playing) => {
                if let Some(word) = force.says(playing) {
                    add(*at, Said::Words(word), false);
                }
            }
            DirectionKind::Pedal { to } => {
                let to = (*to).min(end);
                if to > *at {
                    add(*at, Said::Start(Line::Pedal), false);
                    add(to, Said::Stop(Line::Pedal), true);
                }
            }
            DirectionKind::Words(text) => {
                if !text.trim().is_empty() && !jumps(text) {
                    add(*at, Said::Words(text.clone()), false);
                }
            }
        }
    }
    for word in &player.words {
        let said = Said::Words(word.text.clone());
        spots.push(Spot { at: word.at, staff: 1, said, ends: false, common: false });
    }
    named(player, &mut spots);
    spots
}

/// Articulations by names of their own, where they begin.
fn named(player: &Player<'_>, spots: &mut Vec<Spot>) {
    let mut before: Option<&str> = None;
    for note in &player.part.content.notes {
        let now = note.named.as_deref();
        if now != before
            && let Some(name) = now
        {
            let said = Said::Words(name.to_string());
            spots.push(Spot { at: note.at, staff: 1, said, ends: false, common: false });
        }
        before = now;
    }
}

/// In order of place, and at one place in the order in which they are read.
pub(crate) fn sort(spots: &mut [Spot]) {
    spots.sort_by_key(|s| (s.at, s.said.rank()));
}

/// A number without needless noughts, to two decimals.
fn plain(number: f64) -> String {
    let text = format!("{number:.2}");
    text.trim_end_matches('0').trim_end_matches('.').to_string()
}

/// The beat that a metronome counts: type, dotted, in quarters.
fn counted(metre: Metre) -> (&'static str, bool, f64) {
    match metre.unit {
        2 => ("half", false, 2.0),
        8.. if metre.beats.is_multiple_of(3) => ("quarter", true, 1.5),
        _ => ("quarter", false, 1.0),
    }
}

/// Writes one. `offset` counts in divisions from where the writer stands.
pub(crate) fn write(xml: &mut Xml, spot: &Spot, offset: i64, staves: u8, family: Family, top: bool) {
    let sings = family == Family::Voices;
    let below = match spot.said {
        Said::Dynamic(_) | Said::Start(Line::Wedge { .. }) | Said::Stop(Line::Wedge { .. }) => !sings,
        Said::Start(Line::Pedal) | Said::Stop(Line::Pedal) => true,
        _ => false,
    };
    let mut attributes = vec![("placement", if below { "below" } else { "above" })];
    if spot.common && top {
        attributes.push(("system", "only-top"));
    }
    if let Said::Tempo { micros, words: None, shown: None } = &spot.said {
        let tempo = tempo(*micros);
        xml.open("sound", &[("tempo", &tempo)]);
        if offset != 0 {
            xml.text("offset", offset);
        }
        return xml.close();
    }
    xml.open("direction", &attributes);
    let kind = |xml: &mut Xml, inner: &dyn Fn(&mut Xml)| {
        xml.open("direction-type", &[]);
        inner(xml);
        xml.close();
    };
    let bold = [("font-weight", "bold")];
    match &spot.said {
        Said::Rehearsal(letter) => {
            kind(xml, &|x| x.text_with("rehearsal", &[("enclosure", "square")], letter))
        }
        Said::TempoWords(text) => kind(xml, &|x| x.text_with("words", &bold, text)),
        Said::Place(text) | Said::Words(text) => kind(xml, &|x| x.text("words", text)),
        Said::Tempo { micros, words, shown } => {
            if let Some(words) = words {
                kind(xml, &|x| x.text_with("words", &bold, words));
            }
            if let Some(metre) = shown {
                let (unit, dotted, quarters) = counted(*metre);
                kind(xml, &|x| {
                    x.open("metronome", &[]);
                    x.text("beat-unit", unit);
                    if dotted {
                        x.empty("beat-unit-dot", &[]);
                    }
                    x.text("per-minute", plain(60e6 / f64::from((*micros).max(1)) / quarters));
                    x.close();
                });
            }
        }
        Said::Dynamic(mark) => kind(xml, &|x| {
            x.open("dynamics", &[]);
            dynamic(x, *mark);
            x.close();
        }),
        Said::Start(Line::Wedge { number, louder, niente }) => {
            let (number, niente) = (number.to_string(), *niente && *louder);
            let mut list =
                vec![("type", if *louder { "crescendo" } else { "diminuendo" }), ("number", number.as_str())];
            if niente {
                list.push(("niente", "yes"));
            }
            kind(xml, &|x| x.empty("wedge", &list));
        }
        Said::Stop(Line::Wedge { number, louder, niente }) => {
            let number = number.to_string();
            let mut list = vec![("type", "stop"), ("number", number.as_str())];
            if *niente && !*louder {
                list.push(("niente", "yes"));
            }
            kind(xml, &|x| x.empty("wedge", &list));
        }
        Said::Start(Line::Pedal) => kind(xml, &|x| x.empty("pedal", &[("type", "start"), ("line", "yes")])),
        Said::Stop(Line::Pedal) => kind(xml, &|x| x.empty("pedal", &[("type", "stop"), ("line", "yes")])),
    }
    if offset != 0 {
        xml.text_with("offset", &[("sound", "yes")], offset);
    }
    if staves > 1 {
        xml.text("staff", spot.staff);
    }
    if let Said::Tempo { micros, .. } = &spot.said {
        let tempo = tempo(*micros);
        xml.empty("sound", &[("tempo", &tempo)]);
    }
    xml.close();
}

/// Quarters a minute: the shortest number in which a reader finds the same microseconds, as a composer wrote it.
fn tempo(micros: u32) -> String {
    let exact = 60e6 / f64::from(micros.max(1));
    let same = |text: &String| text.parse::<f64>().is_ok_and(|t| (60e6 / t).round() == f64::from(micros));
    (0..=9).map(|decimals| format!("{exact:.decimals$}")).find(same).unwrap_or_else(|| format!("{exact}"))
}

fn dynamic(xml: &mut Xml, mark: Dynamic) {
    use Dynamic::*;
    let name = match mark {
        Niente => "n",
        Pppp => "pppp",
        Ppp => "ppp",
        Pp => "pp",
        P => "p",
        Mp => "mp",
        Mf => "mf",
        F => "f",
        Ff => "ff",
        Fff => "fff",
        Ffff => "ffff",
        Fp => "fp",
        Pf => "pf",
        Sf => "sf",
        Sfz => "sfz",
        Sffz => "sffz",
        Sfp => "sfp",
        Sfpp => "sfpp",
        Rf => "rf",
        Rfz => "rfz",
        Fz => "fz",
    };
    xml.empty(name, &[]);
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_tempo_is_the_shortest_number_that_gives_its_microseconds() {
        for (micros, text) in
            [(714_286, "84"), (500_000, "120"), (666_667, "90"), (731_707, "82"), (1, "60000000")]
        {
            assert_eq!(tempo(micros), text);
        }
        for micros in (1..16_777_215).step_by(7919) {
            let read: f64 = tempo(micros).parse().expect("a number");
            assert_eq!((60e6 / read).round(), f64::from(micros), "{micros}");
        }
    }

    #[test]
    fn jumps_are_told_from_other_words() {
        for text in ["D.C. al Fine", "Menuetto da capo", "Fine", "D.S. al Coda", "D.C."] {
            assert!(jumps(text), "{text}");
        }
        for text in ["dolce", "finely", "con fine grace", "Coda"] {
            assert!(!jumps(text), "{text}");
        }
    }
}
