//! Writes what speaks for each track having the tune, for `tests/cross/tune.py --fit`: `evidence FILE`.
//! Binary, little endian: units, tracks (u32), edges of units (f32), numbers by unit, track and number (f32), the bar of
//! each unit (u32).

use std::io::Write;

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let path = std::env::args().nth(1).ok_or("evidence FILE")?;
    let score = ripieno_formats::read_score(&std::fs::read(path)?)?;
    let found = ripieno_discovery::roles::weighing(&score);
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
