//! Damaged MusicXML: no panic, no reading longer than two seconds, whatever is flipped, cut, doubled or swapped.
//! `RIPIENO_MUTATIONS` sets how many files are tried (2,000).

#![allow(clippy::unwrap_used)] // a test fails by it

use ripieno_formats::musicxml;
use ripieno_units::Chance;
use std::io::Write;
use std::time::{Duration, Instant};

/// A score with one of nearly everything.
const SEED: &str = r#"<?xml version="1.0"?><score-partwise version="4.0"><work><work-title>T</work-title></work><part-list>
<score-part id="P1"><part-name>Horn</part-name><midi-instrument id="I"><midi-program>61</midi-program></midi-instrument></score-part>
<score-part id="P2"><part-name>Drum</part-name><score-instrument id="D"><instrument-name>Snare</instrument-name></score-instrument></score-part>
</part-list><part id="P1"><measure number="0" implicit="yes"><attributes><divisions>4</divisions><key><fifths>-2</fifths></key>
<time><beats>3</beats><beat-type>4</beat-type></time><transpose><diatonic>-4</diatonic><chromatic>-7</chromatic></transpose></attributes>
<direction><direction-type><words>Allegro</words></direction-type><direction-type><metronome><beat-unit>quarter</beat-unit><per-minute>120</per-minute></metronome></direction-type><offset>2</offset><sound tempo="120"/></direction>
<note><pitch><step>C</step><octave>5</octave></pitch><duration>4</duration><tie type="start"/><voice>1</voice><notations><tied type="start"/><slur type="start" number="1"/></notations></note></measure>
<measure number="1"><barline location="left"><repeat direction="forward"/></barline><direction><direction-type><wedge type="crescendo" number="1"/></direction-type></direction>
<note><pitch><step>C</step><octave>5</octave></pitch><duration>4</duration><tie type="stop"/><voice>1</voice><notations><slur type="stop" number="1"/><ornaments><trill-mark/><accidental-mark>sharp</accidental-mark></ornaments></notations></note>
<note><grace slash="yes"/><pitch><step>D</step><alter>1</alter><octave>5</octave></pitch><voice>1</voice><type>eighth</type></note>
<note><pitch><step>E</step><octave>5</octave></pitch><duration>1</duration><voice>1</voice><type>eighth</type><time-modification><actual-notes>3</actual-notes><normal-notes>2</normal-notes></time-modification><lyric number="1"><syllabic>begin</syllabic><text>la</text></lyric></note>
<note><chord/><pitch><step>G</step><octave>5</octave></pitch><duration>1</duration><voice>1</voice></note>
<note><pitch><step>C</step><octave>5</octave></pitch><duration>4</duration><voice>1</voice><notations><ornaments><tremolo type="start">3</tremolo></ornaments></notations></note>
<note><pitch><step>E</step><octave>5</octave></pitch><duration>4</duration><voice>1</voice><notations><ornaments><tremolo type="stop">3</tremolo></ornaments></notations></note>
<backup><duration>12</duration></backup><forward><duration>4</duration></forward><note><rest/><duration>8</duration><voice>2</voice></note>
<direction><direction-type><wedge type="stop" number="1"/></direction-type></direction>
<barline location="right"><ending number="1" type="start"/><ending number="1" type="stop"/><repeat direction="backward" times="2"/></barline></measure>
<measure number="2"><barline location="left"><ending number="2" type="start"/></barline><note><pitch><step>F</step><octave>4</octave></pitch><duration>12</duration></note>
<barline location="right"><bar-style>light-heavy</bar-style><ending number="2" type="stop"/></barline><direction><direction-type><words>D.C. al Fine</words></direction-type><sound dacapo="yes"/></direction></measure>
</part><part id="P2"><measure number="0"><attributes><divisions>1</divisions></attributes><note><unpitched><display-step>E</display-step><display-octave>4</display-octave></unpitched><duration>1</duration><instrument id="D"/></note></measure>
<measure number="1"><note><rest measure="yes"/><duration>3</duration></note></measure><measure number="2"><note><cue/><pitch><step>A</step><octave>4</octave></pitch><duration>3</duration></note></measure></part></score-partwise>"#;

const NUMBERS: [&str; 10] =
    ["0", "-1", "1", "999999999", "2147483648", "99999999999999999999", "0.3333333", "-7", "1e308", "NaN"];

/// A seed with some damage: bytes flipped, cut or doubled; elements taken out, doubled or swapped; numbers changed.
fn damaged(chance: &mut Chance) -> Vec<u8> {
    let mut text = SEED.as_bytes().to_vec();
    // Half of the files stay well formed, so that the reader itself is reached.
    let kinds = if chance.below(2) == 0 { 4..7 } else { 0..7 };
    for _ in 0..1 + chance.below(6) {
        if text.is_empty() {
            break;
        }
        let at = chance.below(text.len());
        match kinds.start + chance.below(kinds.len()) {
            0 => text[at] = chance.bits() as u8,
            1 => {
                let to = (at + 1 + chance.below(40)).min(text.len());
                text.drain(at..to);
            }
            2 => {
                let to = (at + 1 + chance.below(400)).min(text.len());
                let piece = text[at..to].to_vec();
                text.splice(at..at, piece);
            }
            3 => text.truncate(at.max(1)),
            4 => {
                if let Some((from, to)) = element(&text, at) {
                    text.drain(from..to);
                }
            }
            5 => {
                if let Some((from, to)) = element(&text, at) {
                    let piece = text[from..to].to_vec();
                    let place = element(&text, chance.below(text.len())).map_or(from, |e| e.0);
                    text.splice(place..place, piece);
                }
            }
            _ => {
                let digits = |b: &u8| b.is_ascii_digit();
                if let Some(from) = text[at..].iter().position(digits).map(|i| at + i) {
                    let to = text[from..].iter().position(|b| !digits(b)).map_or(text.len(), |i| from + i);
                    text.splice(from..to, NUMBERS[chance.below(NUMBERS.len())].bytes());
                }
            }
        }
    }
    text
}

/// The element that begins at or after a place.
fn element(text: &[u8], at: usize) -> Option<(usize, usize)> {
    let from = at + text[at..].windows(2).position(|w| w[0] == b'<' && w[1].is_ascii_alphabetic())?;
    let name: Vec<u8> =
        text[from + 1..].iter().copied().take_while(|b| b.is_ascii_alphanumeric() || *b == b'-').collect();
    let open = from + text[from..].iter().position(|b| *b == b'>')?;
    if text[open - 1] == b'/' {
        return Some((from, open + 1));
    }
    let close = [b"</".as_slice(), &name, b">"].concat();
    let end = open + text[open..].windows(close.len()).position(|w| w == close)?;
    Some((from, end + close.len()))
}

fn packed(text: &[u8]) -> Vec<u8> {
    let mut out = zip::ZipWriter::new(std::io::Cursor::new(Vec::new()));
    out.start_file("score.xml", zip::write::SimpleFileOptions::default()).unwrap();
    out.write_all(text).unwrap();
    out.finish().unwrap().into_inner()
}

#[test]
fn damaged_files() {
    let count =
        std::env::var("RIPIENO_MUTATIONS").ok().and_then(|n| n.parse::<usize>().ok()).unwrap_or(2_000);
    assert!(musicxml::read(SEED.as_bytes()).is_ok());
    let seed = packed(SEED.as_bytes());
    let mut chance = Chance::named(1, &["musicxml", "mutations"]);
    let (mut whole, mut slowest) = (0, Duration::ZERO);
    for i in 0..count {
        let bytes = match i % 8 {
            0 => {
                // The archive itself is damaged.
                let mut bytes = seed.clone();
                for _ in 0..1 + chance.below(4) {
                    let at = chance.below(bytes.len());
                    bytes[at] = chance.bits() as u8;
                }
                bytes
            }
            1 => packed(&damaged(&mut chance)),
            _ => damaged(&mut chance),
        };
        let start = Instant::now();
        let result = musicxml::read(&bytes);
        slowest = slowest.max(start.elapsed());
        assert!(slowest < Duration::from_secs(2), "file {i} took {slowest:?}");
        if let Ok(score) = result {
            whole += 1;
            for note in score.tracks.iter().flat_map(|t| &t.content.notes) {
                assert!(note.length.is_positive(), "file {i} has a note without length");
            }
            let gaps = score.timeline.bars.windows(2).filter(|w| w[0].at + w[0].length != w[1].at).count();
            assert_eq!(gaps, 0, "file {i} has gaps between bars");
        }
    }
    println!("{count} files, {whole} of them read, the slowest in {slowest:?}");
    // If hardly any were read, the damage would prove nothing about the reader.
    assert!(whole * 4 > count, "{whole} of {count}");
}
