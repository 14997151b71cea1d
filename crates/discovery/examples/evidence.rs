//! Writes what speaks for each track having the tune, for `tests/cross/tune.py --fit`: `evidence FILE [WAY]`.
//! Binary, little endian: units, tracks (u32), edges of units (f32), numbers by unit, track and number (f32), the bar of
//! each unit (u32). WAY is a text file with the track that was taken for the tune in each unit.

use std::io::Write;

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let mut words = std::env::args().skip(1);
    let score = ripieno_formats::read_score(&std::fs::read(words.next().ok_or("evidence FILE [WAY]")?)?)?;
    let mut way: Option<Vec<usize>> = None;
    if let Some(path) = words.next() {
        way = Some(
            std::fs::read_to_string(path)?.split_whitespace().map(str::parse).collect::<Result<_, _>>()?,
        );
    }
    let found = ripieno_discovery::roles::weighing(&score, way.as_deref());
    let mut out = std::io::BufWriter::new(std::io::stdout());
    out.write_all(&(found.bars.len() as u32).to_le_bytes())?;
    out.write_all(&(score.tracks.len() as u32).to_le_bytes())?;
    for number in found.edges.iter().chain(&found.numbers) {
        out.write_all(&(*number as f32).to_le_bytes())?;
    }
    for bar in found.bars {
        out.write_all(&(bar as u32).to_le_bytes())?;
    }
    Ok(())
}
