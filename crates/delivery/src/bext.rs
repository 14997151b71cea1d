//! The `bext` chunk of a Broadcast Wave file, version 2 (EBU Tech 3285 v2, 2011): description, origin, when, the place of its
//! first sample in time, loudness, how it was made.

/// Loudness of a file, for its chunk. What is not finite is not set.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Measured {
    /// LUFS.
    pub integrated: f64,
    /// LU.
    pub range: f64,
    /// dBTP.
    pub true_peak: f64,
    /// The loudest 400 ms, LUFS.
    pub momentary: f64,
    /// The loudest 3 s, LUFS.
    pub short_term: f64,
}

/// A moment of a day as an exact fraction of seconds since midnight.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct SinceMidnight {
    /// Its numerator.
    pub seconds: u64,
    /// Its denominator, above zero.
    pub of: u64,
}

/// What a chunk says.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Broadcast {
    /// At most 256 characters; what is not ASCII is written without its accents.
    pub description: String,
    /// Who made it, 32 characters.
    pub originator: String,
    /// 32 characters, see [`reference`].
    pub reference: String,
    /// `2026-11-25`; anything else is left out.
    pub date: String,
    /// Samples from midnight to the first of the file.
    pub time_reference: u64,
    /// Loudness.
    pub measured: Option<Measured>,
    /// Lines of the coding history, see [`coding`].
    pub history: String,
}

/// What stands in a loudness field that is not set (EBU Tech 3285 v2, section 2.3, from memory).
const UNSET: i16 = 0x7FFF;

impl Broadcast {
    /// The chunk without its name and its length; of even length.
    pub fn bytes(&self) -> Vec<u8> {
        let mut out = Vec::with_capacity(700);
        field(&mut out, &self.description, 256);
        field(&mut out, &self.originator, 32);
        field(&mut out, &self.reference, 32);
        let date = if is_date(&self.date) { self.date.as_str() } else { "" };
        field(&mut out, date, 10);
        // The plan gives a day: its files begin at midnight.
        field(&mut out, if date.is_empty() { "" } else { "00:00:00" }, 8);
        out.extend_from_slice(&self.time_reference.to_le_bytes());
        out.extend_from_slice(&2u16.to_le_bytes());
        out.resize(out.len() + 64, 0);
        let measured = self.measured.map(|m| [m.integrated, m.range, m.true_peak, m.momentary, m.short_term]);
        for i in 0..5 {
            out.extend_from_slice(&hundredths(measured.map_or(f64::NAN, |m| m[i])).to_le_bytes());
        }
        out.resize(out.len() + 180, 0);
        out.extend_from_slice(ascii(&self.history).as_bytes());
        out.resize(out.len() + out.len() % 2, 0);
        out
    }
}

/// Is it a day as the chunk writes it?
pub fn is_date(text: &str) -> bool {
    let mut parts = text.split('-');
    let mut number = |digits: usize, most: u32| {
        parts.next().is_some_and(|p| {
            p.len() == digits
                && p.bytes().all(|b| b.is_ascii_digit())
                && p.parse::<u32>().is_ok_and(|n| (1..=most).contains(&n))
        })
    };
    let whole = number(4, 9999) && number(2, 12) && number(2, 31);
    whole && parts.next().is_none()
}

fn field(out: &mut Vec<u8>, text: &str, size: usize) {
    let text = ascii(text);
    let bytes = &text.as_bytes()[..text.len().min(size)];
    out.extend_from_slice(bytes);
    out.resize(out.len() + size - bytes.len(), 0);
}

fn hundredths(value: f64) -> i16 {
    if !value.is_finite() {
        return UNSET;
    }
    (100.0 * value).round().clamp(-32_768.0, 32_766.0) as i16
}

/// Latin letters with marks, and their plain ones: the chunk is ASCII.
const PLAIN: [(&str, &str); 16] = [
    ("àáâãåā", "a"),
    ("ÀÁÂÃÅĀ", "A"),
    ("èéêëēęě", "e"),
    ("ÈÉÊËĒĘ", "E"),
    ("ìíîïī", "i"),
    ("òóôõøō", "o"),
    ("ÒÓÔÕØŌ", "O"),
    ("ùúûūů", "u"),
    ("çćč", "c"),
    ("ñńň", "n"),
    ("šśş", "s"),
    ("žźż", "z"),
    ("ä", "ae"),
    ("ö", "oe"),
    ("ü", "ue"),
    ("ß", "ss"),
];

/// Text in ASCII, line ends kept.
pub fn ascii(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for c in text.chars() {
        match c {
            ' '..='~' | '\r' | '\n' => out.push(c),
            '–' | '—' => out.push('-'),
            '’' | '‘' => out.push('\''),
            c => match PLAIN.iter().find(|(marked, _)| marked.contains(c)) {
                Some((_, plain)) => out.push_str(plain),
                None => out.push('?'),
            },
        }
    }
    out
}

/// A reference in the form of EBU R 99 (from memory): country, organisation, serial number, time, and nine digits drawn from
/// what the file is; `ZZ` is no country.
pub fn reference(what: &str) -> String {
    // FNV-1a of 64 bits, so that one file has one reference.
    let drawn = what
        .bytes()
        .fold(0xcbf2_9ce4_8422_2325_u64, |h, b| (h ^ u64::from(b)).wrapping_mul(0x0100_0000_01b3));
    format!("ZZRPN{:012}000000{:09}", drawn % 1_000_000_000_000, (drawn >> 20) % 1_000_000_000)
}

/// The line of the coding history (EBU R 98): linear samples, so many a second and bits, mono or stereo, by whom.
pub fn coding(rate: u32, bits: u16, channels: u16, maker: &str) -> String {
    let mode = if channels == 1 { "mono" } else { "stereo" };
    format!("A=PCM,F={rate},W={bits},M={mode},T={}\r\n", maker.replace([',', '\r', '\n'], " "))
}

/// Samples from midnight to the first sample of files in which `start` is where bar 1 stands, `lead_in` seconds after the first
/// sample. Counted round the clock where the lead-in begins before midnight; zero without a start.
pub fn time_reference(start: Option<SinceMidnight>, lead_in: f64, rate: u32) -> u64 {
    let Some(start) = start.filter(|s| s.of > 0) else { return 0 };
    let day = 24 * 3600 * i128::from(rate);
    let of = i128::from(start.of);
    let exact = i128::from(start.seconds) * i128::from(rate);
    // The whole samples apart, so that nothing is lost to the float.
    let (whole, rest) = (exact.div_euclid(of), exact.rem_euclid(of));
    let offset = rest as f64 / of as f64 - lead_in * f64::from(rate);
    let sample = whole + offset.round() as i128;
    sample.rem_euclid(day) as u64
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Offsets of EBU Tech 3285 v2.
    #[test]
    fn fields_stand_where_the_standard_has_them() {
        let measured = Measured {
            integrated: -23.004,
            range: 6.5,
            true_peak: -1.0,
            momentary: f64::NEG_INFINITY,
            short_term: -18.0,
        };
        let chunk = Broadcast {
            description: "Nächtliche Fähre, harp".into(),
            originator: "someone with a name that is far too long for it".into(),
            reference: reference("x"),
            date: "2026-11-25".into(),
            time_reference: 0x1_2345_6789,
            measured: Some(measured),
            history: coding(48_000, 24, 2, "Ripieno"),
        };
        let bytes = chunk.bytes();
        assert!(bytes.starts_with(b"Naechtliche Faehre, harp\0"));
        assert_eq!(&bytes[256..288], b"someone with a name that is far ");
        assert_eq!(&bytes[320..338], b"2026-11-2500:00:00");
        assert_eq!(bytes[338..346], 0x1_2345_6789_u64.to_le_bytes());
        assert_eq!(bytes[346..348], [2, 0]);
        let value = |at: usize| i16::from_le_bytes([bytes[at], bytes[at + 1]]);
        assert_eq!([412, 414, 416, 418, 420].map(value), [-2300, 650, -100, UNSET, -1800]);
        assert!(bytes[422..602].iter().all(|b| *b == 0));
        assert!(bytes[602..].starts_with(b"A=PCM,F=48000,W=24,M=stereo,T=Ripieno\r\n"));
        assert_eq!(bytes.len() % 2, 0);
        assert!(reference("x").len() == 32 && reference("x") != reference("y"));
    }

    #[test]
    fn days() {
        assert!(is_date("2026-11-25"));
        for text in ["", "2026-13-01", "26-11-25", "2026-11-25-1", "2026/11/25", "25 November", "2026-1-1"] {
            assert!(!is_date(text), "{text}");
        }
    }

    /// 01:00:00:00 at 24/1.001 frames a second: 86,400 frames are 3603.6 s (SMPTE ST 12-1: frame count times frame duration).
    #[test]
    fn places_in_time() {
        let start = |frames: u64, num: u64, den: u64| Some(SinceMidnight { seconds: frames * den, of: num });
        assert_eq!(time_reference(start(86_400, 24, 1), 0.0, 48_000), 172_800_000);
        assert_eq!(time_reference(start(86_400, 24_000, 1001), 0.0, 48_000), 172_972_800);
        assert_eq!(time_reference(start(86_400, 24_000, 1001), 2.0, 48_000), 172_972_800 - 96_000);
        assert_eq!(time_reference(start(1, 30_000, 1001), 0.0, 44_100), 1471);
        assert_eq!(time_reference(start(0, 24, 1), 1.0, 48_000), (24 * 3600 - 1) * 48_000);
        assert_eq!(time_reference(None, 2.0, 48_000), 0);
    }
}
