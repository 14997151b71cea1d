//! Part names of real scores, each with everything the file says of the part, and by the name alone.

use ripieno_instruments::{Certainty, Guess, Query, recognise, recognise_all};

static ROWS: &str = include_str!("part_names.tsv");

struct Row {
    score: String,
    name: String,
    abbreviation: String,
    sound: String,
    program: u8,
    transposition: Option<i16>,
    percussion: bool,
    instrument: String,
    number: Option<u8>,
    solo: bool,
}

fn rows() -> Vec<Row> {
    ROWS.lines()
        .filter(|l| !l.starts_with('#'))
        .map(|line| {
            let c: Vec<&str> = line.split('\t').collect();
            Row {
                score: c[0].into(),
                name: c[1].replace("\\n", "\n"),
                abbreviation: c[2].into(),
                sound: format!("{} {}", c[3], c[4]),
                program: c[5].parse().expect("a program"),
                transposition: c[6].parse().ok(),
                percussion: c[7] == "percussion",
                instrument: c[8].into(),
                number: c[9].parse().ok(),
                solo: c[10] == "solo",
            }
        })
        .collect()
}

impl Row {
    fn query(&self) -> Query<'_> {
        Query {
            name: &self.name,
            abbreviation: Some(self.abbreviation.as_str()).filter(|a| !a.is_empty()),
            sound: Some(&self.sound),
            program: Some(self.program),
            percussion: self.percussion,
            transposition: self.transposition,
            ..Query::default()
        }
    }
}

fn sure(guess: &Guess) -> bool {
    guess.certainty == Certainty::Sure
}

#[test]
fn every_part_of_the_scores_is_right() {
    let rows = rows();
    assert!(rows.len() > 200);
    let mut scores: Vec<&str> = rows.iter().map(|r| r.score.as_str()).collect();
    scores.dedup();
    let (mut doubts, mut wrong) = (Vec::new(), Vec::new());
    for score in scores {
        let parts: Vec<&Row> = rows.iter().filter(|r| r.score == score).collect();
        let queries: Vec<Query<'_>> = parts.iter().map(|r| r.query()).collect();
        for (row, guess) in parts.iter().zip(recognise_all(&queries)) {
            let guess = guess.unwrap_or_else(|| panic!("{score}: {}", row.name));
            let numbers: Vec<u8> = row.number.into_iter().collect();
            if guess.instrument.id != row.instrument || guess.numbers != numbers || guess.solo != row.solo {
                wrong.push(format!(
                    "{score}: {:?} {:?}: {} {:?} {}",
                    row.name, row.abbreviation, guess.instrument.id, guess.numbers, guess.solo
                ));
            }
            if let Certainty::Unsure(why) = &guess.certainty {
                doubts.push(format!("{score}: {:?}: {why}", row.name));
            }
        }
    }
    assert!(wrong.is_empty(), "{wrong:#?}");
    // The figured bass, the sarrusophone and violins without a number: doubts, and not many.
    assert!(doubts.len() <= 6, "{doubts:#?}");
}

#[test]
fn the_name_alone_is_right_or_says_why_not() {
    for row in rows() {
        let guess = recognise(&Query { name: &row.name, ..Query::default() });
        let guess = guess.unwrap_or_else(|| panic!("{}", row.name));
        // Only the sound tells a natural instrument from one with valves.
        let natural = matches!(row.instrument.as_str(), "natural-horn" | "natural-trumpet")
            && (guess.instrument.id == "horn" || guess.instrument.id.starts_with("trumpet"));
        let right = guess.instrument.id == row.instrument || natural;
        assert!(right || !sure(&guess), "{}: {} {:?}", row.name, guess.instrument.id, guess.certainty);
    }
}

#[test]
fn the_key_is_the_written_one() {
    for row in rows() {
        let guess = recognise(&row.query()).unwrap();
        if let (Some(key), Some(semitones)) = (guess.key, row.transposition) {
            let timpani = guess.instrument.id == "timpani";
            assert!(
                timpani || (semitones - i16::from(key)).rem_euclid(12) == 0,
                "{}: {key} {semitones}",
                row.name
            );
        }
    }
}
