//! What is in a delivered folder: each file with its length, peak, loudness and digest, as text and as JSON.

use serde::Serialize;
use std::fmt::Write as _;

/// One file.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct Entry {
    /// Its path in the folder, with `/`.
    pub file: String,
    /// Mix, alternate, family, chair, dry, print, click, breakdown, midi, document, plan.
    pub kind: String,
    /// What is in it, in words.
    pub what: String,
    /// Bytes.
    pub bytes: u64,
    /// SHA-256 in hexadecimal digits.
    pub sha256: String,
    /// Of a sound file.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub sound: Option<Sound>,
}

/// What a sound file is.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct Sound {
    /// Samples a second.
    pub rate: u32,
    /// Bits of a sample; 32 are floats.
    pub bits: u16,
    /// `mono` or `stereo`.
    pub channels: &'static str,
    /// Samples of each channel.
    pub frames: u64,
    /// Seconds.
    pub seconds: f64,
    /// The highest sample, dBFS; none for silence.
    pub peak_dbfs: Option<f64>,
    /// dBTP; none for silence.
    pub true_peak_dbtp: Option<f64>,
    /// LUFS over the whole (ITU-R BS.1770); none where it is too soft or short to be measured.
    pub loudness_lufs: Option<f64>,
    /// LU.
    pub range_lu: Option<f64>,
    /// The loudest 400 ms, LUFS.
    pub momentary_lufs: Option<f64>,
    /// The loudest 3 s, LUFS.
    pub short_term_lufs: Option<f64>,
    /// Samples from midnight to its first one, as its `bext` chunk has it; none in FLAC.
    pub time_reference: Option<u64>,
}

/// The whole folder.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct Manifest {
    /// The cue's title.
    pub title: String,
    /// Its number.
    pub number: String,
    /// Its version.
    pub version: String,
    /// The plan's date.
    pub date: Option<String>,
    /// Whole bars before bar 1.
    pub lead_in_bars: u32,
    /// Seconds before bar 1: in MIDI, stems and click alike.
    pub lead_in_seconds: f64,
    /// The first note of bar 1 in sound files, counted in samples from 0.
    pub bar_1_sample: u64,
    /// By path.
    pub files: Vec<Entry>,
}

impl Manifest {
    /// As JSON.
    pub fn json(&self) -> String {
        // Texts, numbers and lists are always written.
        serde_json::to_string_pretty(self).unwrap_or_default() + "\n"
    }

    /// As text, a line a file.
    pub fn text(&self) -> String {
        let mut text = String::new();
        let number = if self.number.is_empty() { String::new() } else { format!("{} ", self.number) };
        let _ = writeln!(text, "{number}{}, version {}", self.title, self.version);
        if let Some(date) = &self.date {
            let _ = writeln!(text, "{date}");
        }
        let _ = writeln!(
            text,
            "Mix, alternates, stems and click begin at the same sample; bar 1 stands after {} bar{} of lead-in, {:.3} s, at sample {}, and at the same place in the MIDI files.\n",
            self.lead_in_bars,
            if self.lead_in_bars == 1 { "" } else { "s" },
            self.lead_in_seconds,
            self.bar_1_sample
        );
        let _ = writeln!(
            text,
            "{:>10} {:>6} {:>4} {:>6} {:>7} {:>7} {:>7}  {:<64}  file",
            "length s", "Hz", "bits", "", "peak", "dBTP", "LUFS", "SHA-256"
        );
        let db = |value: Option<f64>| value.map_or_else(|| "-".to_string(), |v| format!("{v:.1}"));
        for file in &self.files {
            match &file.sound {
                Some(s) => {
                    let _ = write!(
                        text,
                        "{:>10.3} {:>6} {:>4} {:>6} {:>7} {:>7} {:>7}",
                        s.seconds,
                        s.rate,
                        s.bits,
                        s.channels,
                        db(s.peak_dbfs),
                        db(s.true_peak_dbtp),
                        db(s.loudness_lufs)
                    );
                }
                None => {
                    let _ = write!(text, "{:>53}", format!("{} bytes", file.bytes));
                }
            }
            let _ = writeln!(text, "  {}  {}", file.sha256, file.file);
        }
        text
    }
}
