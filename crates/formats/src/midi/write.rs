//! MIDI files out.

use super::{MidiEvent, MidiFile, MidiTrack};

/// The longest step that a variable-length quantity holds: four bytes of seven bits.
const LONGEST_STEP: u64 = 0x0FFF_FFFF;
/// No tick is written past this one; at 3840 ticks a quarter it is some four years of music.
const LAST_TICK: u64 = 1 << 40;

/// The bytes of a MIDI file of format 1.
///
/// Every event carries its status byte (no running status), texts are UTF-8, every track begins with its name and the name
/// of its port where it has them. Values outside their range are held at its bound, ticks that fall are taken as no step; a
/// step too long for the format is made in several, over empty texts.
pub fn write(file: &MidiFile) -> Vec<u8> {
    let count = u16::try_from(file.tracks.len()).unwrap_or(u16::MAX);
    let mut out = Vec::new();
    out.extend_from_slice(b"MThd");
    out.extend_from_slice(&6u32.to_be_bytes());
    for word in [1, count, file.ticks_per_quarter.clamp(1, 0x7FFF)] {
        out.extend_from_slice(&word.to_be_bytes());
    }
    for one in file.tracks.iter().take(count.into()) {
        let body = track(one);
        out.extend_from_slice(b"MTrk");
        out.extend_from_slice(&u32::try_from(body.len()).unwrap_or(u32::MAX).to_be_bytes());
        out.extend_from_slice(&body);
    }
    out
}

fn track(track: &MidiTrack) -> Vec<u8> {
    let mut out = Vec::with_capacity(track.events.len() * 5 + 32);
    if !track.name.is_empty() {
        out.push(0);
        meta(&mut out, 0x03, track.name.as_bytes());
    }
    if let Some(port) = &track.port {
        out.push(0);
        meta(&mut out, 0x09, port.as_bytes());
    }
    let mut now = 0;
    for (tick, one) in &track.events {
        let tick = (*tick).min(LAST_TICK);
        let mut step = tick.saturating_sub(now);
        now = now.max(tick);
        while step > LONGEST_STEP {
            quantity(&mut out, LONGEST_STEP as u32);
            meta(&mut out, 0x01, b"");
            step -= LONGEST_STEP;
        }
        quantity(&mut out, step as u32);
        event(&mut out, one);
    }
    out.push(0);
    meta(&mut out, 0x2F, b"");
    out
}

fn event(out: &mut Vec<u8>, event: &MidiEvent) {
    let status = |kind: u8, channel: u8| kind | channel.min(15);
    let data = |value: u8| value.min(127);
    match event {
        MidiEvent::NoteOn { channel, key, velocity } => {
            out.extend([status(0x90, *channel), data(*key), data(*velocity)]);
        }
        MidiEvent::NoteOff { channel, key, velocity } => {
            out.extend([status(0x80, *channel), data(*key), data(*velocity)]);
        }
        MidiEvent::Controller { channel, number, value } => {
            out.extend([status(0xB0, *channel), data(*number), data(*value)]);
        }
        MidiEvent::Program { channel, program } => out.extend([status(0xC0, *channel), data(*program)]),
        MidiEvent::Bend { channel, value } => {
            let raw = ((*value).clamp(-8192, 8191) + 8192) as u16;
            out.extend([status(0xE0, *channel), (raw & 0x7F) as u8, (raw >> 7) as u8]);
        }
        MidiEvent::Pressure { channel, value } => out.extend([status(0xD0, *channel), data(*value)]),
        MidiEvent::KeyPressure { channel, key, value } => {
            out.extend([status(0xA0, *channel), data(*key), data(*value)]);
        }
        MidiEvent::Exclusive(bytes) => {
            let length = bytes.len().min(LONGEST_STEP as usize);
            out.push(0xF0);
            quantity(out, length as u32);
            out.extend_from_slice(&bytes[..length]);
        }
        MidiEvent::Tempo(micros) => {
            meta(out, 0x51, &(*micros).clamp(1, 0x00FF_FFFF).to_be_bytes()[1..]);
        }
        MidiEvent::Metre { beats, unit_power } => {
            let (beats, power) = ((*beats).max(1), (*unit_power).min(6));
            // Clocks a click: 24 a quarter; compound metres click their dotted beat.
            let unit = (96u8 >> power).max(1);
            let click = if power >= 3 && beats > 3 && beats % 3 == 0 { unit * 3 } else { unit };
            meta(out, 0x58, &[beats, power, click, 8]);
        }
        MidiEvent::Key { fifths, minor } => {
            meta(out, 0x59, &[(*fifths).clamp(-7, 7) as u8, u8::from(*minor)]);
        }
        MidiEvent::FrameOffset(bytes) => meta(out, 0x54, &bytes.map(data)),
        MidiEvent::Marker(text) => meta(out, 0x06, text.as_bytes()),
        MidiEvent::Lyric(text) => meta(out, 0x05, text.as_bytes()),
        MidiEvent::Text(text) => meta(out, 0x01, text.as_bytes()),
    }
}

fn meta(out: &mut Vec<u8>, kind: u8, bytes: &[u8]) {
    let length = bytes.len().min(LONGEST_STEP as usize);
    out.extend([0xFF, kind]);
    quantity(out, length as u32);
    out.extend_from_slice(&bytes[..length]);
}

/// A variable-length quantity: seven bits a byte, the highest first, all but the last with their top bit set.
pub(super) fn quantity(out: &mut Vec<u8>, value: u32) {
    for shift in [21, 14, 7] {
        if value >> shift != 0 {
            out.push(0x80 | (value >> shift & 0x7F) as u8);
        }
    }
    out.push((value & 0x7F) as u8);
}

#[cfg(test)]
mod tests {
    use super::super::bytes::Cursor;
    use super::*;

    /// The table of variable-length quantities in the Standard MIDI Files 1.0 specification.
    #[test]
    fn quantities_are_those_of_the_specification() {
        let table: [(u32, &[u8]); 12] = [
            (0x0000_0000, &[0x00]),
            (0x0000_0040, &[0x40]),
            (0x0000_007F, &[0x7F]),
            (0x0000_0080, &[0x81, 0x00]),
            (0x0000_2000, &[0xC0, 0x00]),
            (0x0000_3FFF, &[0xFF, 0x7F]),
            (0x0000_4000, &[0x81, 0x80, 0x00]),
            (0x0010_0000, &[0xC0, 0x80, 0x00]),
            (0x001F_FFFF, &[0xFF, 0xFF, 0x7F]),
            (0x0020_0000, &[0x81, 0x80, 0x80, 0x00]),
            (0x0800_0000, &[0xC0, 0x80, 0x80, 0x00]),
            (0x0FFF_FFFF, &[0xFF, 0xFF, 0xFF, 0x7F]),
        ];
        for (value, bytes) in table {
            let mut out = Vec::new();
            quantity(&mut out, value);
            assert_eq!(out, bytes, "{value:#x}");
            assert_eq!(Cursor::new(bytes, 0, bytes.len()).quantity(), Ok(value), "{value:#x}");
        }
    }

    /// The worked example of format 1 in the specification's appendix (from memory) writes its first track as
    /// `00 FF 58 04 04 02 18 08  00 FF 51 03 07 A1 20  83 00 FF 2F 00`; ours ends at its last event.
    #[test]
    fn metre_and_tempo_bytes() {
        let events = vec![
            (0, MidiEvent::Metre { beats: 4, unit_power: 2 }),
            (0, MidiEvent::Tempo(500_000)),
            (384, MidiEvent::Metre { beats: 6, unit_power: 3 }),
        ];
        let body = track(&MidiTrack { name: String::new(), port: None, events });
        assert_eq!(
            body,
            [
                0x00, 0xFF, 0x58, 0x04, 0x04, 0x02, 0x18, 0x08, 0x00, 0xFF, 0x51, 0x03, 0x07, 0xA1, 0x20,
                0x83, 0x00, 0xFF, 0x58, 0x04, 0x06, 0x03, 0x24, 0x08, 0x00, 0xFF, 0x2F, 0x00
            ]
        );
    }
}
