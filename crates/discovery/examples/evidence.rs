//! Dumps evidence.
use std::io::Write;
fn main() {
    let path = std::env::args().nth(1).unwrap();
    let score = ripieno_formats::read_score(&std::fs::read(path).unwrap()).unwrap();
    let way: Option<Vec<usize>> = std::env::args().nth(2).map(|p| {
        std::fs::read_to_string(p).unwrap().split_whitespace().map(|w| w.parse().unwrap()).collect()
    });
    let (edges, bar, rows) = ripieno_discovery::roles::dump(&score, way.as_deref());
    let mut out = std::io::BufWriter::new(std::io::stdout());
    out.write_all(&(bar.len() as u32).to_le_bytes()).unwrap();
    out.write_all(&(score.tracks.len() as u32).to_le_bytes()).unwrap();
    for e in edges {
        out.write_all(&(e as f32).to_le_bytes()).unwrap();
    }
    for r in rows {
        out.write_all(&(r as f32).to_le_bytes()).unwrap();
    }
    for b in bar {
        out.write_all(&(b as u32).to_le_bytes()).unwrap();
    }
}
