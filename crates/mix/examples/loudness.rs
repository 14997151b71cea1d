//! Loudness of WAV files, one line of JSON each: `cargo run -p ripieno-mix --example loudness FILE...`
//!
//! Integrated, highest short-term and momentary loudness in LUFS, range in LU, true peak in dBTP; `null` is minus infinity.
//! Reads one or two channels of 16- or 24-bit integers or 32-bit floats.

use ripieno_mix::Survey;
use ripieno_signal::Stereo;

fn main() -> std::process::ExitCode {
    for file in std::env::args().skip(1) {
        match measured(&file) {
            Ok(line) => println!("{line}"),
            Err(message) => {
                eprintln!("{file}: {message}");
                return std::process::ExitCode::from(2);
            }
        }
    }
    std::process::ExitCode::SUCCESS
}

fn measured(file: &str) -> Result<String, String> {
    let bytes = std::fs::read(file).map_err(|e| e.to_string())?;
    let (audio, rate) =
        read(&bytes).ok_or("no WAV file of one or two channels, 16 or 24 bits or 32-bit floats")?;
    let mut survey = Survey::new(rate).map_err(|e| e.to_string())?;
    survey.add(&audio.left, &audio.right);
    let found = survey.finish().map_err(|e| e.to_string())?.loudness;
    let number = |v: f64| if v.is_finite() { format!("{v:.4}") } else { "null".into() };
    Ok(format!(
        "{{\"integrated\":{},\"range\":{},\"short_term\":{},\"momentary\":{},\"true_peak\":{}}}",
        number(found.integrated),
        number(found.range),
        number(found.short_term),
        number(found.momentary),
        number(found.true_peak)
    ))
}

/// Samples and rate of a RIFF/WAVE file.
fn read(bytes: &[u8]) -> Option<(Stereo, u32)> {
    let le = |at: usize, size: usize| {
        bytes.get(at..at + size).map(|b| b.iter().rev().fold(0_u32, |v, b| v << 8 | u32::from(*b)))
    };
    if bytes.get(..4)? != b"RIFF" || bytes.get(8..12)? != b"WAVE" {
        return None;
    }
    let mut format = None;
    let mut at = 12;
    while let (Some(name), Some(size)) = (bytes.get(at..at + 4), le(at + 4, 4)) {
        let (body, size) = (at + 8, size as usize);
        if name == b"fmt " {
            // An extended format says which it is in the first bytes of its identifier.
            let kind = if le(body, 2)? == 0xFFFE { le(body + 24, 2)? } else { le(body, 2)? };
            format = Some((kind, le(body + 2, 2)? as usize, le(body + 4, 4)?, le(body + 14, 2)?));
        } else if name == b"data" {
            let (kind, channels, rate, bits) = format?;
            let wide = bits as usize / 8;
            let data = bytes.get(body..(body + size).min(bytes.len()))?;
            let value = |b: &[u8]| -> Option<f32> {
                match (kind, b) {
                    (3, [a, b, c, d]) => Some(f32::from_le_bytes([*a, *b, *c, *d])),
                    (1, [a, b]) => Some(f32::from(i16::from_le_bytes([*a, *b])) / 32_768.0),
                    (1, [a, b, c]) => Some((i32::from_le_bytes([0, *a, *b, *c]) >> 8) as f32 / 8_388_608.0),
                    _ => None,
                }
            };
            if !(1..=2).contains(&channels) || wide == 0 {
                return None;
            }
            let mut audio = Stereo::default();
            for frame in data.chunks_exact(wide * channels) {
                audio.left.push(value(&frame[..wide])?);
                // One channel is heard from both loudspeakers.
                audio.right.push(value(&frame[wide * (channels - 1)..])?);
            }
            return Some((audio, rate));
        }
        at = body.checked_add(size + size % 2)?;
    }
    None
}
