//! The bytes of a MIDI file as events with their ticks, nothing interpreted yet.

use crate::FormatError;
use crate::kind::described;
use ripieno_music::{ControlKind, Warning};

/// What a file says, track by track.
pub(super) struct Raw<'a> {
    pub format: u16,
    pub division: Division,
    pub tracks: Vec<RawTrack<'a>>,
    pub charset: Charset,
    pub warnings: Vec<Warning>,
}

/// What a tick is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Division {
    PerQuarter(u16),
    /// Frames a second as the file names them (29 means 30000/1001), ticks a frame.
    PerFrame(u8, u8),
}

#[derive(Default)]
pub(super) struct RawTrack<'a> {
    pub events: Vec<(u64, Event<'a>)>,
    /// Tick of its end.
    pub end: u64,
    pub port: u8,
    /// Name of the device or port that it goes to (meta event 9), as last said.
    pub device: &'a [u8],
}

#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum Event<'a> {
    On {
        channel: u8,
        key: u8,
        velocity: u8,
    },
    Off {
        channel: u8,
        key: u8,
    },
    Control {
        channel: u8,
        kind: ControlKind,
        value: i16,
    },
    /// Pressure of one key.
    KeyPressure {
        channel: u8,
        key: u8,
        value: u8,
    },
    /// A system exclusive message, without its status byte and its length; `bool`: it goes on from the one before.
    Exclusive(&'a [u8], bool),
    Tempo(u32),
    Metre {
        beats: u8,
        unit_power: u8,
    },
    Key {
        fifths: i8,
        minor: bool,
    },
    Name(&'a [u8]),
    Instrument(&'a [u8]),
    Lyric(&'a [u8]),
    Marker(&'a [u8]),
    Cue(&'a [u8]),
    Text(&'a [u8]),
    /// A known meta event that is too short for what it should hold.
    Short,
}

/// Why reading stopped.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Fault {
    pub at: usize,
    pub what: &'static str,
}

/// A place in the bytes, and where what is read there ends.
pub(super) struct Cursor<'a> {
    bytes: &'a [u8],
    pub at: usize,
    limit: usize,
}

impl<'a> Cursor<'a> {
    pub fn new(bytes: &'a [u8], at: usize, limit: usize) -> Self {
        let limit = limit.min(bytes.len());
        Self { bytes, at: at.min(limit), limit }
    }

    fn byte(&mut self) -> Result<u8, Fault> {
        let byte = self.peek().ok_or(Fault { at: self.at, what: "the track breaks off inside an event" })?;
        self.at += 1;
        Ok(byte)
    }

    fn peek(&self) -> Option<u8> {
        (self.at < self.limit).then(|| self.bytes[self.at])
    }

    fn take(&mut self, length: usize) -> Result<&'a [u8], Fault> {
        if length > self.limit - self.at {
            return Err(Fault { at: self.at, what: "an event claims to be longer than its track" });
        }
        self.at += length;
        Ok(&self.bytes[self.at - length..self.at])
    }

    /// A variable-length quantity.
    pub fn quantity(&mut self) -> Result<u32, Fault> {
        let from = self.at;
        let mut value = 0;
        for _ in 0..4 {
            let byte = self.byte()?;
            value = value << 7 | u32::from(byte & 0x7F);
            if byte < 0x80 {
                return Ok(value);
            }
        }
        Err(Fault { at: from, what: "a time or a length has more than four bytes" })
    }

    fn data(&mut self) -> Result<u8, Fault> {
        match self.byte()? {
            byte if byte < 0x80 => Ok(byte),
            _ => Err(Fault { at: self.at - 1, what: "a status byte stands where a value should be" }),
        }
    }
}

fn damaged(at: usize, message: impl Into<String>) -> FormatError {
    FormatError::Damaged { format: "MIDI file", place: format!("byte {at}"), message: message.into() }
}

fn word(bytes: &[u8], at: usize) -> Option<u16> {
    Some(u16::from_be_bytes(bytes.get(at..at + 2)?.try_into().ok()?))
}

fn length(bytes: &[u8], at: usize) -> Option<usize> {
    let four: [u8; 4] = bytes.get(at..at + 4)?.try_into().ok()?;
    usize::try_from(u32::from_be_bytes(four)).ok()
}

/// Does a file begin as MIDI files do?
pub(crate) fn is_midi(bytes: &[u8]) -> bool {
    bytes.starts_with(b"MThd") || (bytes.starts_with(b"RIFF") && bytes.get(8..12) == Some(b"RMID"))
}

/// Where the MIDI file begins: at zero, or inside a RIFF wrapper (RMID).
fn start(bytes: &[u8]) -> Result<usize, FormatError> {
    if !bytes.starts_with(b"RIFF") {
        return Ok(0);
    }
    if bytes.get(8..12) != Some(b"RMID") {
        return Err(FormatError::NotMidi { found: described(bytes) });
    }
    let mut at = 12usize;
    while let Some(head) = bytes.get(at..at.saturating_add(8)) {
        if head.starts_with(b"data") {
            return Ok(at + 8);
        }
        let size = u32::from_le_bytes([head[4], head[5], head[6], head[7]]) as usize;
        // RIFF chunks are padded to an even length.
        at = at.saturating_add(8).saturating_add(size).saturating_add(size & 1);
    }
    Err(damaged(12, "the RIFF wrapper has no data chunk. Export the music as .mid"))
}

/// Reads every track that can be found.
pub(super) fn parse(bytes: &[u8]) -> Result<Raw<'_>, FormatError> {
    let from = start(bytes)?;
    let again = "Export the file again";
    if bytes.get(from..from.saturating_add(4)) != Some(b"MThd") {
        return Err(match from {
            0 => FormatError::NotMidi { found: described(bytes) },
            _ => damaged(from, format!("no MIDI header (MThd). {again}")),
        });
    }
    let (Some(size), Some(format), Some(claimed), Some(division)) =
        (length(bytes, from + 4), word(bytes, from + 8), word(bytes, from + 10), word(bytes, from + 12))
    else {
        return Err(damaged(bytes.len(), format!("the file ends inside its header. {again}")));
    };
    let division = match division.to_be_bytes() {
        [0, 0] => return Err(damaged(from + 12, format!("a quarter note has 0 ticks. {again}"))),
        [high, low] if high < 0x80 => Division::PerQuarter(u16::from_be_bytes([high, low])),
        [_, 0] => return Err(damaged(from + 12, format!("a frame has 0 ticks. {again}"))),
        [high, low] => Division::PerFrame(high.wrapping_neg(), low),
    };
    let mut raw = Raw { format, division, tracks: Vec::new(), charset: Charset::Utf8, warnings: Vec::new() };
    let header = |message: String| Warning { place: "header".into(), message };
    if format > 2 {
        raw.warnings.push(header(format!("format {format} is unknown; read as format 1")));
    }
    if let Division::PerFrame(fps, _) = division
        && ![24, 25, 29, 30].contains(&fps)
    {
        raw.warnings.push(header(format!("{fps} frames a second is no SMPTE rate; taken as it stands")));
    }
    // A header may grow in later versions of the standard; one that claims the whole file is a damaged one.
    let mut at = from + 8 + if size > 1024 { 6 } else { size.max(6) };
    if size != 6 {
        raw.warnings.push(header(format!("the header claims {size} bytes where 6 are usual")));
    }
    let mut first_fault = None;
    while at < bytes.len() {
        let Some(size) = length(bytes, at + 4) else {
            let place = format!("byte {at}");
            raw.warnings
                .push(Warning { place, message: "a few bytes after the last track were passed over".into() });
            break;
        };
        let body = at + 8;
        let end = body.saturating_add(size);
        if bytes[at..].starts_with(b"MTrk") {
            let number = raw.tracks.len() + 1;
            let place = |at: usize| format!("track {number}, byte {at}");
            if end > bytes.len() {
                let message = format!("the track claims {size} bytes, the file has {}", bytes.len() - body);
                raw.warnings.push(Warning { place: place(at), message });
            }
            let mut cursor = Cursor::new(bytes, body, end);
            let (track, odd, mut stop) = track(&mut cursor);
            if body == bytes.len() && size > 0 {
                stop = Err(Fault { at: body, what: "the file ends where a track begins" });
            }
            raw.warnings.extend(odd.map(|f| Warning { place: place(f.at), message: f.what.into() }));
            if let Err(fault) = stop {
                first_fault = first_fault.or(Some(fault));
                let message = format!("{}; the track was read up to there", fault.what);
                raw.warnings.push(Warning { place: place(fault.at), message });
            }
            // A track with nothing in it that could be read is no track; a sound, empty one is.
            if stop.is_ok() || !track.events.is_empty() {
                raw.tracks.push(track);
            }
            at = next_chunk(bytes, cursor.at, end, stop.is_ok());
        } else if bytes[at..at + 4].iter().all(|b| b.is_ascii_graphic() || *b == b' ') && end <= bytes.len() {
            // Chunks of other kinds are to be passed over, says the standard.
            at = end;
        } else {
            let next = find_track(bytes, at + 1);
            let place = format!("byte {at}");
            let message = match next {
                Some(next) => format!("{} bytes that are no track were passed over", next - at),
                None => format!("the last {} bytes are no track and were passed over", bytes.len() - at),
            };
            raw.warnings.push(Warning { place, message });
            at = next.unwrap_or(bytes.len());
        }
    }
    if raw.tracks.is_empty() {
        let (at, what) = first_fault.map_or((at.min(bytes.len()), "there is no track"), |f| (f.at, f.what));
        return Err(damaged(at, format!("{what}; nothing could be read. {again}")));
    }
    if raw.tracks.len() != usize::from(claimed) {
        raw.warnings.push(header(format!("{claimed} tracks are announced, {} were found", raw.tracks.len())));
    }
    raw.charset = Charset::of(&raw.tracks);
    Ok(raw)
}

/// Where to look on after a track that was read up to `at` and claimed to reach to `end`.
fn next_chunk(bytes: &[u8], at: usize, end: usize, sound: bool) -> usize {
    let is_track = |at: usize| bytes.get(at..at.saturating_add(4)) == Some(b"MTrk");
    if end <= bytes.len() && (sound && !is_track(at) || is_track(end) || end == bytes.len()) {
        return end;
    }
    find_track(bytes, at).unwrap_or(bytes.len())
}

fn find_track(bytes: &[u8], from: usize) -> Option<usize> {
    let from = from.min(bytes.len());
    bytes[from..].windows(4).position(|w| w == b"MTrk").map(|i| from + i)
}

/// The events of one track, with what is odd in it, and whether it ends as it should.
fn track<'a>(
    cursor: &mut Cursor<'a>,
) -> (RawTrack<'a>, impl Iterator<Item = Fault> + use<>, Result<(), Fault>) {
    let mut track = RawTrack::default();
    let (mut now, mut running, mut after_meta) = (0u64, None, false);
    let (mut ended, mut cancelled, mut foreign) = (false, None, None);
    let mut step = |cursor: &mut Cursor<'a>, track: &mut RawTrack<'a>| -> Result<bool, Fault> {
        now += u64::from(cursor.quantity()?);
        let from = cursor.at;
        let status = match cursor.peek() {
            Some(byte) if byte >= 0x80 => cursor.byte()?,
            _ => {
                if after_meta && running.is_some() && cancelled.is_none() {
                    let what = "running status goes on after a meta or system event; read as meant";
                    cancelled = Some(Fault { at: from, what });
                }
                running.ok_or(Fault { at: from, what: "an event has no status byte" })?
            }
        };
        after_meta = status >= 0xF0;
        let event = match status {
            0xFF => {
                let kind = cursor.byte()?;
                let size = cursor.quantity()? as usize;
                let body = cursor.take(size)?;
                if kind == 0x21 {
                    track.port = body.first().copied().unwrap_or(0);
                }
                if kind == 0x09 {
                    track.device = body;
                }
                if kind == 0x2F {
                    track.end = now;
                    return Ok(true);
                }
                meta(kind, body)
            }
            0xF0 | 0xF7 => {
                let size = cursor.quantity()? as usize;
                Some(Event::Exclusive(cursor.take(size)?, status == 0xF7))
            }
            0xF1..=0xFE => {
                let what = "a system message that belongs in no file was passed over";
                foreign = foreign.or(Some(Fault { at: from, what }));
                for _ in 0..match status {
                    0xF2 => 2,
                    0xF1 | 0xF3 => 1,
                    _ => 0,
                } {
                    cursor.data()?;
                }
                None
            }
            _ => {
                running = Some(status);
                Some(channel_event(status, cursor)?)
            }
        };
        track.end = now;
        track.events.extend(event.map(|e| (now, e)));
        Ok(false)
    };
    let mut stop = Ok(());
    while cursor.at < cursor.limit {
        match step(cursor, &mut track) {
            Ok(false) => {}
            Ok(true) => {
                ended = true;
                break;
            }
            Err(fault) => {
                stop = Err(fault);
                break;
            }
        }
    }
    let mut odd = vec![cancelled, foreign];
    if stop.is_ok() && !ended {
        odd.push(Some(Fault { at: cursor.at, what: "the track has no end mark; its last event ends it" }));
    } else if ended && cursor.at < cursor.limit {
        odd.push(Some(Fault { at: cursor.at, what: "bytes after the track's end mark were passed over" }));
    }
    (track, odd.into_iter().flatten(), stop)
}

fn channel_event<'a>(status: u8, cursor: &mut Cursor<'a>) -> Result<Event<'a>, Fault> {
    let channel = status & 0x0F;
    let first = cursor.data()?;
    let control = |kind, value| Event::Control { channel, kind, value };
    Ok(match status & 0xF0 {
        0x80 => {
            cursor.data()?;
            Event::Off { channel, key: first }
        }
        0x90 => match cursor.data()? {
            0 => Event::Off { channel, key: first },
            velocity => Event::On { channel, key: first, velocity },
        },
        0xA0 => Event::KeyPressure { channel, key: first, value: cursor.data()? },
        0xB0 => control(ControlKind::Controller(first), cursor.data()?.into()),
        0xC0 => control(ControlKind::Program, first.into()),
        0xD0 => control(ControlKind::Pressure, first.into()),
        _ => control(ControlKind::Bend, (i16::from(cursor.data()?) << 7 | i16::from(first)) - 8192),
    })
}

fn meta(kind: u8, body: &[u8]) -> Option<Event<'_>> {
    Some(match kind {
        0x01 => Event::Text(body),
        0x03 => Event::Name(body),
        0x04 => Event::Instrument(body),
        0x05 => Event::Lyric(body),
        0x06 => Event::Marker(body),
        0x07 => Event::Cue(body),
        0x51 => match body {
            [a, b, c, ..] => Event::Tempo(u32::from_be_bytes([0, *a, *b, *c])),
            _ => Event::Short,
        },
        0x58 => match body {
            [beats, unit_power, ..] => Event::Metre { beats: *beats, unit_power: *unit_power },
            _ => Event::Short,
        },
        0x59 => match body {
            [fifths, minor, ..] => Event::Key { fifths: *fifths as i8, minor: *minor == 1 },
            _ => Event::Short,
        },
        _ => return None,
    })
}

/// How the texts of a file are written; the format does not say.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Charset {
    Utf8,
    Latin1,
}

impl Charset {
    /// UTF-8 where all texts of the file are that: one alone may be by chance.
    fn of(tracks: &[RawTrack<'_>]) -> Self {
        let mut texts = tracks.iter().flat_map(|t| &t.events).filter_map(|(_, event)| match event {
            Event::Name(b) | Event::Instrument(b) | Event::Lyric(b) => Some(b),
            Event::Marker(b) | Event::Cue(b) | Event::Text(b) => Some(b),
            _ => None,
        });
        if texts.all(|b| std::str::from_utf8(b).is_ok()) { Self::Utf8 } else { Self::Latin1 }
    }

    /// A text, without the zero bytes that some writers leave at its end.
    pub fn text(self, bytes: &[u8]) -> String {
        let text = match self {
            Self::Utf8 => String::from_utf8_lossy(bytes).into_owned(),
            Self::Latin1 => bytes.iter().map(|b| char::from(*b)).collect(),
        };
        text.trim_start_matches('\u{feff}').trim_end_matches('\0').to_string()
    }
}
