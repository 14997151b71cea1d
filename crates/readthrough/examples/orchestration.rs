//! Rules of orchestration held against what is computed: the table of Rimsky-Korsakov's equivalences and some rules of the
//! trade, row by row, from the house orchestra's spectra, loudness and partial loudness. Exit code 1 if a direction is missed.
//!
//! What it cannot say: rules of habit (who changes instruments, divisi by desk, layouts of chords), of blend ("poor blend",
//! "better legato"), and of rehearsal (one degree louder is marked, not computed).
#![allow(clippy::unwrap_used, clippy::expect_used)] // an example

use ripieno_hearing::{Pattern, Scale, excitation, heard, loudness, partial_loudness, roughness};
use ripieno_music::{Colour, named};
use ripieno_sound::spectra::{Asked, of};

/// dB re mf; a hall's gain from sound power to the listener, dB.
const P: f64 = -9.0;
const MF: f64 = 0.0;
const F: f64 = 4.5;
const FF: f64 = 9.0;
const HALL: f64 = -24.0;

struct Ear {
    scale: Scale,
    missed: usize,
}

fn parts(asked: &Asked<'_>, players: f64) -> Vec<(f64, f64)> {
    of(asked)
        .components
        .iter()
        .map(|c| (c.hertz, c.power + HALL + 10.0 * ripieno_units::math::log10(players)))
        .collect()
}

impl Ear {
    fn note(&self, instrument: &str, key: f64, level: f64, players: f64) -> Pattern {
        let asked = Asked { players: players as u16, ..Asked::new(instrument, key, level) };
        excitation(&self.scale, &parts(&asked, players))
    }

    fn sones(&self, pattern: &Pattern) -> f64 {
        loudness(&self.scale, pattern)
    }

    /// A row: what is expected, what came out.
    fn row(&mut self, rule: &str, right: bool, figures: String) {
        self.missed += usize::from(!right);
        println!("{:7} {rule}: {figures}", if right { "agrees" } else { "MISSED" });
    }

    /// Both as loud within a factor of the sones.
    fn equal(&mut self, rule: &str, a: &Pattern, b: &Pattern, within: f64) {
        let (a, b) = (self.sones(a), self.sones(b));
        let ratio = (a / b).max(b / a);
        self.row(
            rule,
            ratio <= within,
            format!("{a:.1} and {b:.1} sones, factor {ratio:.2} (at most {within})"),
        );
    }

    fn more(&mut self, rule: &str, a: f64, b: f64) {
        self.row(rule, a > b, format!("{a:.2} against {b:.2}"));
    }
}

fn sum(patterns: &[&Pattern]) -> Pattern {
    let mut all = patterns[0].clone();
    patterns[1..].iter().for_each(|p| all.add(p));
    all
}

#[allow(clippy::disallowed_methods)]
fn main() {
    let mut ear = Ear { scale: Scale::default(), missed: 0 };
    // Each in the middle of its range, round the same pitch where they share it. Loudness doubles with 10 dB: 1.5 is 6 dB.
    let trumpet = ear.note("trumpet", 67.0, F, 1.0);
    let trombone = ear.note("trombone", 60.0, F, 1.0);
    let tuba = ear.note("tuba", 48.0, F, 1.0);
    let horn = ear.note("horn", 60.0, F, 1.0);
    let horns = ear.note("horn", 60.0, F, 2.0);
    ear.equal("f: 1 trumpet = 1 trombone", &trumpet, &trombone, 1.5);
    ear.equal("f: 1 trumpet = 1 tuba", &trumpet, &tuba, 1.5);
    ear.equal("f: 1 trumpet = 2 horns", &trumpet, &horns, 1.5);
    let wood = [("flute", 79.0), ("oboe", 74.0), ("clarinet", 74.0), ("bassoon", 55.0)];
    for (name, key) in wood {
        let two = ear.note(name, key, F, 2.0);
        ear.equal(&format!("f: 1 horn = 2 {name}s"), &horn, &two, 1.6);
        let four = ear.note(name, key, F, 4.0);
        ear.equal(&format!("f: 1 trumpet = 4 {name}s"), &trumpet, &four, 1.6);
    }
    let soft: Vec<f64> = [("trumpet", 67.0), ("trombone", 60.0), ("horn", 60.0)]
        .iter()
        .chain(&wood)
        .map(|(name, key)| ear.sones(&ear.note(name, *key, P, 1.0)))
        .collect();
    let spread = soft.iter().copied().fold(0.0, f64::max) / soft.iter().copied().fold(f64::MAX, f64::min);
    ear.row("p: all winds equal", spread < 2.0, format!("largest over smallest {spread:.2} (at most 2)"));
    let section = |ear: &Ear, level| ear.note("violin", 74.0, level, 12.0);
    let (strings_p, strings_f) = (section(&ear, P), section(&ear, F));
    let oboe = |ear: &Ear, level, n| ear.note("oboe", 74.0, level, n);
    ear.equal("p: violins (12) = 1 wind (oboe)", &strings_p, &oboe(&ear, P, 1.0), 1.8);
    let (one_flute, one_clarinet) = (ear.note("flute", 74.0, F, 1.0), ear.note("clarinet", 74.0, F, 1.0));
    ear.equal("f: violins (12) = 2 flutes", &strings_f, &ear.note("flute", 74.0, F, 2.0), 1.6);
    ear.equal(
        "f: violins (12) = 1 oboe + 1 clarinet",
        &strings_f,
        &sum(&[&oboe(&ear, F, 1.0), &one_clarinet]),
        1.6,
    );

    // What is overpowered, and what prevails.
    let held = sum(&[
        &ear.note("horn", 60.0, MF, 2.0),
        &ear.note("bassoon", 55.0, MF, 2.0),
        &ear.note("clarinet", 67.0, MF, 2.0),
    ]);
    let pizz = Asked { articulation: named::PIZZICATO, players: 12, ..Asked::new("violin", 67.0, MF) };
    let pizz = excitation(&ear.scale, &parts(&pizz, 12.0));
    let arco = ear.note("violin", 67.0, MF, 12.0);
    let left =
        |ear: &Ear, s: &Pattern, m: &Pattern| partial_loudness(&ear.scale, s, m) / ear.sones(s).max(1e-9);
    let (a, b) = (left(&ear, &arco, &held), left(&ear, &pizz, &held));
    ear.more("held winds overpower pizzicato: part of its loudness left, bowed against plucked", a, b);
    for (name, key) in [("harp", 60.0), ("celesta", 72.0)] {
        let soft = ear.note(name, key, P, 1.0);
        let share = left(&ear, &soft, &held);
        ear.row(
            &format!("held winds overpower {name} p"),
            share < 0.5,
            format!("{share:.2} of its loudness left (below 0.5)"),
        );
    }
    let tutti = sum(&[
        &held,
        &ear.note("violin", 74.0, F, 24.0),
        &ear.note("cello", 48.0, F, 10.0),
        &trumpet,
        &trombone,
    ]);
    for (name, key) in
        [("glockenspiel", 96.0), ("xylophone", 89.0), ("timpani", 45.0), ("tubular-bells", 67.0)]
    {
        let struck = ear.note(name, key, F, 1.0);
        let found = heard(&ear.scale, &struck, &tutti);
        ear.row(
            &format!("{name} f prevails over a tutti f"),
            found.verdict() == ripieno_hearing::Verdict::Heard,
            format!("share {:.2}, {} bands stand out", found.share, found.best_bands),
        );
    }
    let found = heard(&ear.scale, &ear.note("harp", 60.0, F, 1.0), &tutti);
    ear.row(
        "harp is not heard in a tutti",
        found.verdict() != ripieno_hearing::Verdict::Heard,
        format!("share {:.2}", found.share),
    );
    let piccolo = heard(&ear.scale, &ear.note("piccolo", 100.0, FF, 1.0), &tutti);
    ear.row(
        "piccolo ff above C7 cuts any tutti",
        piccolo.verdict() == ripieno_hearing::Verdict::Heard,
        format!("share {:.2}", piccolo.share),
    );

    // In unison: who predominates.
    let within = |ear: &Ear, a: &Pattern, b: &Pattern| {
        (partial_loudness(&ear.scale, a, b), partial_loudness(&ear.scale, b, a))
    };
    let winds = sum(&[&one_flute, &oboe(&ear, F, 1.0), &one_clarinet]);
    let (w, s) = within(&ear, &winds, &strings_f);
    ear.more("several winds overpower one string group in unison, sones of each beside the other", w, s);
    let (b, w) = within(&ear, &ear.note("trumpet", 74.0, F, 1.0), &one_clarinet);
    ear.more("trumpet predominates over clarinet in unison", b, w);
    let brass = sum(&[&trumpet, &trombone, &horns]);
    let marked = |ear: &Ear, level| {
        left(
            ear,
            &sum(&[
                &ear.note("flute", 79.0, level, 2.0),
                &ear.note("oboe", 74.0, level, 2.0),
                &ear.note("clarinet", 70.0, level, 2.0),
            ]),
            &brass,
        )
    };
    let (a, b) = (marked(&ear, FF), marked(&ear, F));
    ear.more("woodwind with brass: one degree louder leaves more of it", a, b);
    let unison = ear.sones(&ear.note("flute", 74.0, MF, 2.0));
    let octave = ear.sones(&sum(&[&ear.note("flute", 74.0, MF, 1.0), &ear.note("flute", 86.0, MF, 1.0)]));
    ear.more("parts in octaves strengthen one another more than in unison, sones", octave, unison);

    // Registers and low intervals.
    let beneath = sum(&[&ear.note("violin", 62.0, MF, 12.0), &ear.note("viola", 57.0, MF, 8.0)]);
    let share = |ear: &Ear, key| heard(&ear.scale, &ear.note("flute", key, MF, 1.0), &beneath).share;
    let (high, low) = (share(&ear, 86.0), share(&ear, 62.0));
    ear.more("flute at D4 is covered by what it is heard over at D6, share heard", high, low);
    let third = |root: f64, interval: f64| {
        let note = |key: f64| parts(&Asked::new("cello", key, MF), 1.0);
        roughness(&note(root), &note(root + interval))
    };
    ear.more("thirds muddy below C3: roughness on C2 against C3", third(36.0, 4.0), third(48.0, 4.0));
    ear.more("thirds: roughness on C3 against C4", third(48.0, 4.0), third(60.0, 4.0));
    ear.more("fifths muddy below G1: roughness on E1 against G2", third(28.0, 7.0), third(43.0, 7.0));
    ear.more(
        "octaves are free: roughness of a third on C3 against an octave on C2",
        third(48.0, 4.0),
        third(36.0, 12.0),
    );

    // Colours.
    let muted = Asked { colour: Some(Colour::ConSord), players: 12, ..Asked::new("violin", 74.0, MF) };
    let open = ear.sones(&ear.note("violin", 74.0, MF, 12.0));
    let muted = ear.sones(&excitation(&ear.scale, &parts(&muted, 12.0)));
    ear.more("con sordino is softer, sones", open, muted);
    println!("{} missed", ear.missed);
    std::process::exit(i32::from(ear.missed > 0));
}
