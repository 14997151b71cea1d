//! The model of hearing for other programs: one question a line on the standard input, one answer a line on the standard output.
//!
//! `sones F:L F:L ...`: sones and phons of components (Hz, dB SPL) from the front. `partial F:L ... / F:L ...`: of the first
//! beside the second sones alone, sones in context, share, bands that stand out, margin in dB, verdict. `erb F`, `cam F`,
//! `bark F`. `threshold F`: dB SPL of a tone that is just heard with one ear.

use ripieno_hearing::{Scale, bark, cam, ear, erb, excitation, heard, loudness, partial_loudness, phons};
use std::io::{BufRead, Write};

fn components(words: &[&str]) -> Vec<(f64, f64)> {
    let parsed = words.iter().filter_map(|w| w.split_once(':'));
    parsed.filter_map(|(f, l)| Some((f.parse().ok()?, l.parse().ok()?))).collect()
}

fn answer(scale: &Scale, line: &str) -> String {
    let words: Vec<&str> = line.split_whitespace().collect();
    let Some((what, rest)) = words.split_first() else { return String::new() };
    let number = rest.first().and_then(|w| w.parse().ok()).unwrap_or(f64::NAN);
    match *what {
        "sones" => {
            let sones = loudness(scale, &excitation(scale, &components(rest)));
            format!("{sones:.5} {:.3}", phons(scale, sones))
        }
        "partial" => {
            let cut = rest.iter().position(|w| *w == "/").unwrap_or(rest.len());
            let signal = excitation(scale, &components(&rest[..cut]));
            let masker = excitation(scale, &components(&rest[cut..]));
            let h = heard(scale, &signal, &masker);
            let (alone, context) = (loudness(scale, &signal), partial_loudness(scale, &signal, &masker));
            format!(
                "{alone:.5} {context:.5} {:.4} {} {:.2} {:?}",
                h.share,
                h.best_bands,
                h.margin,
                h.verdict()
            )
        }
        "erb" => format!("{:.5}", erb(number)),
        "cam" => format!("{:.5}", cam(number)),
        "bark" => format!("{:.5}", bark(number)),
        "threshold" => {
            format!("{:.3}", ear::threshold(number) - ear::transfer(ear::Field::Free, number))
        }
        _ => format!("unknown question {what}: sones, partial, erb, cam, bark or threshold"),
    }
}

fn main() -> std::io::Result<()> {
    let scale = Scale::default();
    let mut out = std::io::BufWriter::new(std::io::stdout().lock());
    for line in std::io::stdin().lock().lines() {
        writeln!(out, "{}", answer(&scale, &line?))?;
    }
    out.flush()
}
