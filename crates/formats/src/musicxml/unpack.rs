//! Bytes to text: unpacking `.mxl`, decoding UTF-8, UTF-16 and encodings of one byte a letter.

use super::warn::Doubts;
use crate::FormatError;
use crate::kind::{described, kind};
use encoding_rs::Encoding;
use std::io::{Cursor, Read};

/// A score packs to a tenth or a thirtieth of its length; what swells further than this is made to harm.
const LEAST_LIMIT: u64 = 16 << 20;
const LIMIT_PER_BYTE: u64 = 40;

/// The XML text of a file.
pub(super) fn text(bytes: &[u8], doubts: &mut Doubts) -> Result<String, FormatError> {
    if bytes.starts_with(b"PK") {
        return unzip(bytes, doubts);
    }
    // What is of another kind is not taken for a text.
    match kind(bytes) {
        Some(what) if !bytes.starts_with(b"<") => {
            Err(FormatError::Unknown { found: format!("it is {what}") })
        }
        _ => decode(bytes, doubts),
    }
}

fn damaged(place: impl Into<String>, message: impl Into<String>) -> FormatError {
    FormatError::Damaged { format: "compressed MusicXML", place: place.into(), message: message.into() }
}

fn unzip(bytes: &[u8], doubts: &mut Doubts) -> Result<String, FormatError> {
    let limit = LEAST_LIMIT.saturating_add(LIMIT_PER_BYTE.saturating_mul(bytes.len() as u64));
    let mut archive = zip::ZipArchive::new(Cursor::new(bytes)).map_err(|e| {
        // The library's own words for a table that is not there are for programmers.
        let what = match e {
            zip::result::ZipError::InvalidArchive(_) => {
                "it breaks off, or was not written to its end".to_string()
            }
            other => other.to_string(),
        };
        damaged("its table of files", format!("{what}. Export it again from where it was written"))
    })?;
    let named = entry(&mut archive, "META-INF/container.xml", limit)?
        .and_then(|container| root_file(&decode(&container, doubts).ok()?));
    if let Some(name) = &named {
        if let Some(found) = entry(&mut archive, name, limit)? {
            return decode(&found, doubts);
        }
        doubts.add("the archive", format!("names {name}, which it does not hold; its first score is read"));
    }
    let first = archive.file_names().filter_map(Result::ok).map(|n| n.into_owned()).find(|n| {
        let lower = n.to_ascii_lowercase();
        !lower.starts_with("meta-inf") && (lower.ends_with(".xml") || lower.ends_with(".musicxml"))
    });
    match first {
        Some(name) => match entry(&mut archive, &name, limit)? {
            Some(found) => decode(&found, doubts),
            None => Err(damaged(name, "cannot be unpacked")),
        },
        None => Err(FormatError::Unknown { found: "it is an archive without a score in it".into() }),
    }
}

/// One file of the archive; `None` if it has no such file.
fn entry(
    archive: &mut zip::ZipArchive<Cursor<&[u8]>>,
    name: &str,
    limit: u64,
) -> Result<Option<Vec<u8>>, FormatError> {
    let file = match archive.by_name(name) {
        Ok(file) => file,
        Err(zip::result::ZipError::FileNotFound) => return Ok(None),
        Err(e) => return Err(damaged(name, format!("{e}. Export it again from where it was written"))),
    };
    let mut out = Vec::new();
    // The size that the archive claims is not trusted: what comes out is counted.
    file.take(limit + 1)
        .read_to_end(&mut out)
        .map_err(|e| damaged(name, format!("{e}. Export it again from where it was written")))?;
    if out.len() as u64 > limit {
        return Err(FormatError::TooLarge {
            what: "the unpacked score",
            found: out.len() as u64,
            limit,
            remedy: "Export it uncompressed (.musicxml) if it is a real score",
        });
    }
    Ok(Some(out))
}

fn root_file(container: &str) -> Option<String> {
    let options = roxmltree::ParsingOptions { allow_dtd: true, ..roxmltree::ParsingOptions::default() };
    let document = roxmltree::Document::parse_with_options(container, options).ok()?;
    document
        .descendants()
        .filter(|n| n.tag_name().name() == "rootfile")
        // Further root files are other renderings (PDF, audio) of the same score.
        .find(|n| n.attribute("media-type").is_none_or(|m| m.contains("xml")))
        .and_then(|n| n.attribute("full-path"))
        .map(str::to_owned)
}

fn decode(bytes: &[u8], doubts: &mut Doubts) -> Result<String, FormatError> {
    let wide = |bytes: &[u8], little: bool| {
        let units = bytes.chunks_exact(2).map(|p| {
            let pair = [p[0], p[1]];
            if little { u16::from_le_bytes(pair) } else { u16::from_be_bytes(pair) }
        });
        char::decode_utf16(units).map(|c| c.unwrap_or(char::REPLACEMENT_CHARACTER)).collect::<String>()
    };
    let text = match bytes {
        [0xff, 0xfe, rest @ ..] => wide(rest, true),
        [0xfe, 0xff, rest @ ..] => wide(rest, false),
        [b'<', 0, ..] => wide(bytes, true),
        [0, b'<', ..] => wide(bytes, false),
        _ => {
            let bytes = bytes.strip_prefix(&[0xef, 0xbb, 0xbf]).unwrap_or(bytes);
            match std::str::from_utf8(bytes) {
                Ok(text) => text.to_owned(),
                Err(e) => {
                    if let Some(encoding) = named(bytes) {
                        return led(encoding.decode_without_bom_handling(bytes).0.into_owned());
                    }
                    doubts.add(
                        format!("byte {}", e.valid_up_to()),
                        "is not in the encoding that the file declares; such letters are replaced",
                    );
                    String::from_utf8_lossy(bytes).into_owned()
                }
            }
        }
    };
    led(text)
}

/// The text from its first mark on, if it is XML at all.
fn led(text: String) -> Result<String, FormatError> {
    let lead = text.trim_start();
    if !lead.starts_with('<') {
        return Err(FormatError::Unknown { found: described(lead.as_bytes()) });
    }
    // Some writers put a blank line before the declaration, which XML forbids.
    Ok(if lead.len() == text.len() { text } else { lead.to_owned() })
}

/// The encoding of one byte a letter that the XML declaration names, as the Encoding Standard (WHATWG) reads its name: ISO 8859-1
/// is windows-1252 there, which is also meant where writers say the one and have the letters of the other.
fn named(bytes: &[u8]) -> Option<&'static Encoding> {
    let declaration = bytes.get(..200).unwrap_or(bytes).split(|b| *b == b'>').next()?;
    let declaration = String::from_utf8_lossy(declaration);
    let (_, after) = declaration.split_once("encoding")?;
    let label = after.trim_start().strip_prefix('=')?.trim_start();
    let label = label.strip_prefix(['"', '\''])?.split(['"', '\'']).next()?;
    Encoding::for_label(label.as_bytes()).filter(|encoding| encoding.is_single_byte())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn read(encoding: &str, letters: &[u8]) -> String {
        let mut bytes = format!("<?xml version='1.0' encoding='{encoding}'?><t>").into_bytes();
        bytes.extend(letters);
        let mut doubts = Doubts::default();
        let text = decode(&bytes, &mut doubts).unwrap();
        assert!(doubts.done().is_empty());
        text.split_once("<t>").unwrap().1.to_owned()
    }

    #[test]
    fn latin_encodings_differ() {
        assert_eq!(read("windows-1252", b"\x93\x8cuvre\x94 \x96 \x80 \x9e \xfc"), "“Œuvre” – € ž ü");
        assert_eq!(read("ISO-8859-15", b"\xbcuvre \xa4 \xa6\xa8\xb4\xb8\xbd\xbe \xfc"), "Œuvre € ŠšŽžœŸ ü");
        assert_eq!(read("ISO-8859-1", b"\xbc \xa4 \xfc"), "¼ ¤ ü");
        assert_eq!(read("windows-1251", b"\xcc\xe0\xff"), "Мая");
        // Writers say 8859-1 and mean windows-1252.
        assert_eq!(read("iso-8859-1", b"\x91a\x92"), "‘a’");
    }
}
