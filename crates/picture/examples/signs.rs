//! Every clef, sign and head on a page of HTML, for looking: `cargo run -p ripieno-picture --example signs > signs.html`.

use ripieno_music::{Role, Severity, Spelling};
use ripieno_picture::staff::*;

fn pitch(step: u8, alter: i16, octave: i8) -> Placed {
    Placed::Pitch(Spelling { step, alter, octave })
}

fn main() {
    println!(
        "<!doctype html><meta charset=utf-8><style>{}body{{background:var(--paper)}}</style>",
        ripieno_picture::STYLE
    );
    let clefs = [
        (ClefSign::Treble, 0, 4),
        (ClefSign::Treble, -1, 3),
        (ClefSign::Treble, 2, 6),
        (ClefSign::Alto, 0, 4),
        (ClefSign::Tenor, 0, 3),
        (ClefSign::Bass, 0, 3),
        (ClefSign::Bass, -1, 2),
    ];
    for (i, (sign, octaves, octave)) in clefs.into_iter().enumerate() {
        let alters = [-200, -150, -100, -50, 0, 50, 100, 150, 200];
        let mut notes: Vec<Note> = alters
            .iter()
            .enumerate()
            .map(|(k, alter)| Note {
                onset: k as f64 * 0.5,
                end: k as f64 * 0.5 + 0.45,
                place: pitch((k % 7) as u8, *alter, octave),
                levels: vec![(0.0, -22.0), (4.5, 14.0)],
                head: [Head::Oval, Head::Oval, Head::Lozenge][k % 3],
                ..Note::default()
            })
            .collect();
        notes.push(Note {
            onset: 4.6,
            end: 7.0,
            place: pitch(4, 0, octave + 1),
            fades: true,
            levels: vec![(0.0, 9.0)],
            ..Note::default()
        });
        for step in [0, 1, 2, 4] {
            notes.push(Note {
                onset: 7.2,
                end: 8.9,
                bar: 1,
                place: pitch(step, 100, octave),
                ..Note::default()
            });
        }
        let strokes = |a: Placed, b: Placed, n: u32| {
            (0..n)
                .map(|k| Stroke { at: 9.0 + f64::from(k) / 12.0, place: if k % 2 == 0 { a } else { b } })
                .collect::<Vec<_>>()
        };
        let (a, b) = (pitch(5, 0, octave), pitch(6, -100, octave));
        notes.push(Note {
            onset: 9.0,
            end: 11.0,
            bar: 2,
            place: a,
            strokes: strokes(a, b, 24),
            levels: vec![(9.0, -20.0), (11.0, 10.0)],
            ..Note::default()
        });
        let opened = Opened {
            title: format!("Clef {i}"),
            role: [
                Role::Tune,
                Role::Counter,
                Role::Held,
                Role::Figure,
                Role::Bass,
                Role::Punctuation,
                Role::Silence,
            ][i],
            staves: vec![Staff::Five(Clef { sign, octaves })],
            fifths: [3, -2, 7, -7, 4, -5, 0][i],
            bars: (0..3)
                .map(|b| Bar {
                    at: 3.0 * f64::from(b) + if b > 0 { 1.0 } else { 0.0 },
                    number: 12 + b,
                    metre: (b == 0).then_some((12, 8)),
                    fifths: None,
                })
                .collect(),
            end: 11.0,
            notes,
            slurs: vec![
                Slur { from: 0.0, to: 3.0, ..Slur::default() },
                Slur { from: 4.6, to: 9.0, ..Slur::default() },
            ],
            marks: vec![
                Words { at: 0.0, to: Some(2.5), text: "staccato".into() },
                Words { at: 0.0, to: None, text: "con sord.".into() },
                Words { at: 9.0, to: None, text: "trill".into() },
            ],
            calls: vec![
                Words { at: 0.0, to: None, text: "staccato (C0)".into() },
                Words { at: 0.5, to: None, text: "legato (D0)".into() },
                Words { at: 9.0, to: None, text: "tremolo (CC 32 at 40)".into() },
            ],
            dynamics: vec![
                Words { at: 0.0, to: None, text: "pp".into() },
                Words { at: 4.0, to: None, text: "ff".into() },
            ],
            hairpins: vec![
                Hairpin { from: 0.0, to: 4.0, louder: true, span: 22.0, niente: false },
                Hairpin { from: 4.0, to: 8.0, louder: false, span: 8.0, niente: true },
            ],
            breaths: vec![4.5, 8.9],
            lyrics: vec![
                Words { at: 0.0, to: None, text: "Glo-".into() },
                Words { at: 1.0, to: Some(3.0), text: "ria".into() },
            ],
            findings: vec![
                Flag {
                    at: 1.0,
                    to: 4.0,
                    severity: Severity::Hard,
                    text: "a leap of two octaves".into(),
                    full: "A leap".into(),
                },
                Flag {
                    at: 4.5,
                    to: 7.0,
                    severity: Severity::Impossible,
                    text: "below the range".into(),
                    full: "Range".into(),
                },
                Flag {
                    at: 9.0,
                    to: 11.0,
                    severity: Severity::Advice,
                    text: "covered by the horns".into(),
                    full: "Covered".into(),
                },
            ],
            ..Opened::default()
        };
        println!("{}", draw(&opened, 80.0));
    }
}
