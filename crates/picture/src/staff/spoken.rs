//! The opened cell in words, for those who do not see the picture: bar by bar what is played.

use super::describe::{Note, Opened, Placed, Staff, Words};
use ripieno_music::Spelling;

/// One bar in words.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Spoken {
    /// Its number.
    pub bar: i32,
    /// What is played there.
    pub text: String,
}

/// A pitch as it is said: `B flat 4`, with C 4 the middle C.
pub fn pitch_name(spelling: Spelling) -> String {
    let letter = ["C", "D", "E", "F", "G", "A", "B"][usize::from(spelling.step.min(6))];
    let sign = match (f64::from(spelling.alter) / 50.0).round() as i32 {
        i32::MIN..=-4 => " double flat",
        -3 => " three quarters flat",
        -2 => " flat",
        -1 => " a quarter flat",
        0 => "",
        1 => " a quarter sharp",
        2 => " sharp",
        3 => " three quarters sharp",
        4.. => " double sharp",
    };
    format!("{letter}{sign} {}", spelling.octave)
}

/// The cell in words, a line for each bar; bars in which nothing happens are left out.
pub fn in_words(opened: &Opened) -> Vec<Spoken> {
    let mut out = Vec::new();
    for (i, bar) in opened.bars.iter().enumerate() {
        let next = opened.bars.get(i + 1).map_or(f64::INFINITY, |b| b.at);
        let here = |t: f64| {
            // A hair before its barline a note belongs to it already; what stands before all belongs to the first bar.
            (t >= bar.at - 0.05 || i == 0) && t < next - 0.05
        };
        let mut parts = Vec::new();
        let mut say = |lead: &str, words: &[Words]| {
            let said: Vec<&str> = words.iter().filter(|w| here(w.at)).map(|w| w.text.as_str()).collect();
            if !said.is_empty() {
                parts.push(format!("{lead}{}", said.join(", ")));
            }
        };
        say("", &opened.marks);
        say("", &opened.dynamics);
        for pin in opened.hairpins.iter().filter(|p| here(p.from)) {
            let way = if pin.louder { "growing louder" } else { "growing softer" };
            parts.push(format!("{way} for {}", length(pin.to - pin.from)));
        }
        let notes: Vec<&Note> = opened.notes.iter().filter(|n| n.bar == i).collect();
        parts.extend(notes_in_words(opened, &notes));
        let mut say = |lead: &str, words: &[Words]| {
            let said: Vec<&str> = words.iter().filter(|w| here(w.at)).map(|w| w.text.as_str()).collect();
            if !said.is_empty() {
                parts.push(format!("{lead}{}", said.join(" ")));
            }
        };
        say("sung: ", &opened.lyrics);
        let calls: Vec<&str> = opened.calls.iter().filter(|w| here(w.at)).map(|w| w.text.as_str()).collect();
        if !calls.is_empty() {
            parts.push(format!("the patch is called: {}", calls.join(", ")));
        }
        match opened.breaths.iter().filter(|b| here(**b)).count() {
            0 => {}
            1 => parts.push("a breath".into()),
            n => parts.push(format!("{n} breaths")),
        }
        for flag in opened.findings.iter().filter(|f| here(f.at)) {
            parts.push(format!("{}: {}", flag.severity.word(), flag.full));
        }
        if !parts.is_empty() {
            out.push(Spoken { bar: bar.number, text: parts.join("; ") });
        }
    }
    out
}

/// Notes of one bar, those of one beat together.
fn notes_in_words(opened: &Opened, notes: &[&Note]) -> Vec<String> {
    let mut out = Vec::new();
    let mut from = 0;
    while from < notes.len() {
        let first = notes[from];
        let count = notes[from..].iter().take_while(|n| (n.beat - first.beat).abs() < 1e-6).count().max(1);
        let group = &notes[from..from + count];
        let names: Vec<String> = group
            .iter()
            .map(|n| {
                let small = if n.small { "small " } else { "" };
                let said = n.said.as_ref().map_or(String::new(), |s| format!(" ({s})"));
                format!("{small}{}{said}", name(opened, n))
            })
            .collect();
        let long = group.iter().map(|n| n.end - n.onset).fold(0.0, f64::max);
        out.push(format!("beat {}: {} for {}", beat(first.beat), names.join(" and "), length(long)));
        from += count;
    }
    out
}

fn name(opened: &Opened, note: &Note) -> String {
    match (note.place, opened.staves.get(note.staff)) {
        (Placed::Pitch(spelling), _) => pitch_name(spelling),
        (Placed::Line(line), Some(Staff::Lines(names))) => {
            names.get(line).cloned().unwrap_or_else(|| "a stroke".into())
        }
        _ => "a stroke".into(),
    }
}

fn beat(beat: f64) -> String {
    let text = format!("{beat:.2}");
    text.trim_end_matches('0').trim_end_matches('.').to_string()
}

fn length(seconds: f64) -> String {
    if !seconds.is_finite() { "an unknown time".into() } else { format!("{:.1} s", seconds.max(0.0)) }
}

#[cfg(test)]
mod tests {
    use super::super::describe::Bar;
    use super::*;

    #[test]
    fn a_bar_is_told_with_all_that_stands_in_it() {
        let note = |beat: f64, step: u8, alter: i16, onset: f64| Note {
            onset,
            end: onset + 0.5,
            beat,
            place: Placed::Pitch(Spelling { step, alter, octave: 4 }),
            ..Note::default()
        };
        let words = |at: f64, text: &str| Words { at, to: None, text: text.into() };
        let opened = Opened {
            bars: vec![
                Bar { at: 0.0, number: 7, ..Bar::default() },
                Bar { at: 2.0, number: 8, ..Bar::default() },
            ],
            end: 4.0,
            notes: vec![
                note(1.0, 6, -100, -0.01),
                note(1.0, 3, 100, 0.0),
                Note { said: Some("trill to B flat 4".into()), ..note(2.5, 5, 0, 0.75) },
            ],
            marks: vec![words(0.0, "con sord.")],
            dynamics: vec![words(0.0, "pp")],
            calls: vec![words(0.0, "legato (C0)")],
            breaths: vec![1.8],
            ..Opened::default()
        };
        let told = in_words(&opened);
        assert_eq!(told.len(), 1);
        assert_eq!(told[0].bar, 7);
        assert_eq!(
            told[0].text,
            "con sord.; pp; beat 1: B flat 4 and F sharp 4 for 0.5 s; beat 2.5: A 4 (trill to B flat 4) for 0.5 s; \
             the patch is called: legato (C0); a breath"
        );
    }
}
