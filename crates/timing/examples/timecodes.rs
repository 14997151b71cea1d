//! Every frame of a day as time code and back, for another reader: `timecodes RATE` writes for each frame, little-endian, hours,
//! minutes, seconds, frames (a byte each), the frame that the text is read back as (32 bits), and its seconds (64-bit float).
//! `timecodes RATE CODE...` says for each code its frame, or what is wrong with it.

use ripieno_timing::{FrameRate, Timecode};
use std::io::{BufWriter, Write};
use std::process::ExitCode;

fn main() -> ExitCode {
    let words: Vec<String> = std::env::args().skip(1).collect();
    let Some(rate) = words.first().and_then(|w| FrameRate::parse(w)) else {
        eprintln!("timecodes RATE [CODE...]: RATE is one of 23.976, 24, 25, \"29.97 drop\", 29.97, 30");
        return ExitCode::from(2);
    };
    match write(rate, &words[1..]) {
        Ok(()) => ExitCode::SUCCESS,
        Err(error) => {
            eprintln!("{error}");
            ExitCode::FAILURE
        }
    }
}

fn write(rate: FrameRate, codes: &[String]) -> std::io::Result<()> {
    let mut out = BufWriter::with_capacity(1 << 20, std::io::stdout().lock());
    for code in codes {
        match Timecode::parse(code, rate) {
            Ok(code) => writeln!(out, "{}", code.frame)?,
            Err(help) => writeln!(out, "no: {help}")?,
        }
    }
    if codes.is_empty() {
        let midnight = Timecode::new(0, rate);
        for frame in 0..rate.day() {
            let code = Timecode::new(frame, rate);
            let back = Timecode::parse(&code.to_string(), rate).map_or(-1, |c| c.frame);
            out.write_all(&code.fields().map(|n| n as u8))?;
            out.write_all(&(back as i32).to_le_bytes())?;
            out.write_all(&code.since(midnight).to_le_bytes())?;
        }
    }
    out.flush()
}
