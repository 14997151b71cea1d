//! Frame rates and time codes, exact: a frame lasts a fraction of a second, never a rounded number.
//!
//! SMPTE ST 12-1. In drop-frame code the frame numbers 00 and 01 are left out at the start of each minute but every tenth.

use std::fmt;

/// How many frames a second, and how they are numbered.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum FrameRate {
    /// 24000/1001, counted as 24.
    F23976,
    /// 24.
    #[default]
    F24,
    /// 25.
    F25,
    /// 30000/1001, counted as 30 with numbers left out.
    F2997Drop,
    /// 30000/1001, counted as 30: the code runs 0.1 % slow.
    F2997,
    /// 30.
    F30,
}

impl FrameRate {
    /// All of them.
    pub const ALL: [Self; 6] = [Self::F23976, Self::F24, Self::F25, Self::F2997Drop, Self::F2997, Self::F30];

    /// As plans write it.
    pub fn word(self) -> &'static str {
        match self {
            Self::F23976 => "23.976",
            Self::F24 => "24",
            Self::F25 => "25",
            Self::F2997Drop => "29.97 drop",
            Self::F2997 => "29.97",
            Self::F30 => "30",
        }
    }

    /// From the word.
    pub fn parse(word: &str) -> Option<Self> {
        let word = word.trim();
        Self::ALL.into_iter().find(|r| r.word() == word)
    }

    /// Frames a second, as a fraction.
    pub fn fraction(self) -> (i64, i64) {
        match self {
            Self::F23976 => (24_000, 1001),
            Self::F24 => (24, 1),
            Self::F25 => (25, 1),
            Self::F2997Drop | Self::F2997 => (30_000, 1001),
            Self::F30 => (30, 1),
        }
    }

    /// The number of frames that the code counts to a second.
    pub fn counted(self) -> i64 {
        match self {
            Self::F23976 | Self::F24 => 24,
            Self::F25 => 25,
            _ => 30,
        }
    }

    /// Are numbers left out?
    pub fn drops(self) -> bool {
        self == Self::F2997Drop
    }

    /// Frames of a day of code.
    pub fn day(self) -> i64 {
        if self.drops() { 24 * 6 * 17_982 } else { 86_400 * self.counted() }
    }

    /// So many frames in seconds; one division, rounded once.
    pub fn seconds(self, frames: i64) -> f64 {
        let (num, den) = self.fraction();
        (i128::from(frames) * i128::from(den)) as f64 / num as f64
    }

    /// Seconds in frames, with their fraction.
    pub fn frames(self, seconds: f64) -> f64 {
        let (num, den) = self.fraction();
        seconds * num as f64 / den as f64
    }
}

/// A place in the picture: frames from 00:00:00:00 of the code.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Timecode {
    /// Frames from midnight; within a day.
    pub frame: i64,
    /// Their rate.
    pub rate: FrameRate,
}

impl Timecode {
    /// The frame of a day; beyond it the code begins anew, as clocks do.
    pub fn new(frame: i64, rate: FrameRate) -> Self {
        Self { frame: frame.rem_euclid(rate.day()), rate }
    }

    /// Reads `HH:MM:SS:FF`, in drop-frame also `HH:MM:SS;FF`. The error says what to write.
    pub fn parse(text: &str, rate: FrameRate) -> Result<Self, String> {
        let text = text.trim();
        let example = if rate.drops() { "01:00:10;08" } else { "01:00:10:08" };
        let form = || format!("write hours, minutes, seconds and frames: \"{example}\"");
        if text.contains(';') && !rate.drops() {
            return Err(format!(
                "`;` is for drop-frame code and the rate is {}; write `:`, or rate = \"29.97 drop\"",
                rate.word()
            ));
        }
        let parts: Vec<&str> = text.split([':', ';']).collect();
        let semicolon_in_front = text.find(';').is_some_and(|i| text[i + 1..].contains([':', ';']));
        let digits = |p: &&str| (1..=2).contains(&p.len()) && p.bytes().all(|b| b.is_ascii_digit());
        if parts.len() != 4 || semicolon_in_front || !parts.iter().all(digits) {
            return Err(form());
        }
        let number = |i: usize| parts[i].parse::<i64>().unwrap_or(0);
        let (h, m, s, f) = (number(0), number(1), number(2), number(3));
        if h > 23 {
            return Err("hours go from 00 to 23".into());
        }
        if m > 59 || s > 59 {
            return Err("minutes and seconds go from 00 to 59".into());
        }
        if f >= rate.counted() {
            return Err(format!(
                "there is no frame {f:02} at {}: frames go from 00 to {}",
                rate.word(),
                rate.counted() - 1
            ));
        }
        let minutes = 60 * h + m;
        if rate.drops() && s == 0 && f < 2 && minutes % 10 != 0 {
            return Err(format!(
                "drop-frame code leaves out the frames 00 and 01 of this minute; write {h:02}:{m:02}:00;02 for its first frame"
            ));
        }
        let mut frame = (minutes * 60 + s) * rate.counted() + f;
        if rate.drops() {
            frame -= 2 * (minutes - minutes / 10);
        }
        Ok(Self { frame, rate })
    }

    /// Hours, minutes, seconds, frames as the code numbers them.
    pub fn fields(self) -> [i64; 4] {
        let mut n = self.frame.rem_euclid(self.rate.day());
        if self.rate.drops() {
            let (tens, rest) = (n / 17_982, n % 17_982);
            n += 18 * tens + if rest >= 2 { 2 * ((rest - 2) / 1798) } else { 0 };
        }
        let counted = self.rate.counted();
        let seconds = n / counted;
        [seconds / 3600, seconds / 60 % 60, seconds % 60, n % counted]
    }

    /// Seconds since `other`, of the same rate.
    pub fn since(self, other: Self) -> f64 {
        self.rate.seconds(self.frame - other.frame)
    }
}

impl fmt::Display for Timecode {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        let [h, m, s, f] = self.fields();
        let mark = if self.rate.drops() { ';' } else { ':' };
        write!(out, "{h:02}:{m:02}:{s:02}{mark}{f:02}")
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn frame(text: &str, rate: FrameRate) -> i64 {
        Timecode::parse(text, rate).unwrap().frame
    }

    /// Worked values of drop-frame counting (the rule of SMPTE ST 12-1; 17982 frames in ten minutes).
    #[test]
    fn drop_frame_facts() {
        let rate = FrameRate::F2997Drop;
        assert_eq!(frame("00:01:00;02", rate), 1800);
        assert_eq!(frame("00:10:00;00", rate), 17_982);
        assert_eq!(frame("01:00:00;00", rate), 107_892);
        assert!((rate.seconds(107_892) - 3599.9964).abs() < 1e-9);
        assert_eq!(Timecode::new(1799, rate).to_string(), "00:00:59;29");
        assert_eq!(Timecode::new(17_981, rate).to_string(), "00:09:59;29");
        // Code at 23.976, and at 29.97 without drop, runs 0.1 % slow.
        for rate in [FrameRate::F23976, FrameRate::F2997] {
            let hour = Timecode::parse("01:00:00:00", rate).unwrap();
            assert!((rate.seconds(hour.frame) - 3603.6).abs() < 1e-9);
        }
        for (rate, ms) in [
            (FrameRate::F24, 41.667),
            (FrameRate::F23976, 41.708),
            (FrameRate::F25, 40.0),
            (FrameRate::F2997, 33.367),
            (FrameRate::F30, 33.333),
        ] {
            assert!((1000.0 * rate.seconds(1) - ms).abs() < 5e-4);
        }
    }

    #[test]
    fn every_frame_of_a_day_there_and_back() {
        for rate in FrameRate::ALL {
            let mut before = [-1i64; 4];
            for i in 0..rate.day() {
                let code = Timecode::new(i, rate);
                let fields = code.fields();
                assert!(fields > before, "{code}");
                before = fields;
                let [h, m, s, f] = fields;
                let n = ((60 * h + m) * 60 + s) * rate.counted() + f;
                let minutes = 60 * h + m;
                let dropped = if rate.drops() { 2 * (minutes - minutes / 10) } else { 0 };
                assert_eq!(n - dropped, i);
                assert!(!(rate.drops() && s == 0 && f < 2 && m % 10 != 0), "{code}");
                // Reading text for each would take minutes: every 997th, a prime.
                if i % 997 == 0 {
                    assert_eq!(Timecode::parse(&code.to_string(), rate), Ok(code));
                }
            }
        }
    }

    #[test]
    fn what_is_wrong_is_said() {
        for (text, rate, word) in [
            ("01:01:00;00", FrameRate::F2997Drop, "01:01:00;02"),
            ("01:00:00;00", FrameRate::F24, "29.97 drop"),
            ("01:00:00:24", FrameRate::F24, "00 to 23"),
            ("25:00:00:00", FrameRate::F24, "23"),
            ("1:2:3", FrameRate::F25, "01:00:10:08"),
            ("", FrameRate::F25, "write"),
            ("01:00:é0:00", FrameRate::F25, "write"),
            ("01;00:00;00", FrameRate::F2997Drop, "write"),
            ("01:70:00:00", FrameRate::F25, "59"),
        ] {
            let error = Timecode::parse(text, rate).unwrap_err();
            assert!(error.contains(word), "{text}: {error}");
        }
    }
}
