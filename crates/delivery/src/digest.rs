//! SHA-256 (FIPS 180-4) of what is written, while it is written.

use sha2::{Digest as _, Sha256};
use std::fmt::Write as _;
use std::io::{self, Write};

/// Hands on what is written, and takes its digest.
pub struct Hashing<W> {
    out: W,
    digest: Sha256,
    bytes: u64,
}

impl<W: Write> Hashing<W> {
    /// Around another writer.
    pub fn new(out: W) -> Self {
        Self { out, digest: Sha256::new(), bytes: 0 }
    }

    /// The writer, how many bytes it got, and their digest in hexadecimal digits.
    pub fn end(self) -> (W, u64, String) {
        (self.out, self.bytes, hex(&self.digest.finalize()))
    }
}

impl<W: Write> Write for Hashing<W> {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        let written = self.out.write(bytes)?;
        self.digest.update(&bytes[..written]);
        self.bytes += written as u64;
        Ok(written)
    }

    fn flush(&mut self) -> io::Result<()> {
        self.out.flush()
    }
}

/// The digest of bytes, in hexadecimal digits.
pub fn of(bytes: &[u8]) -> String {
    hex(&Sha256::digest(bytes))
}

fn hex(bytes: &[u8]) -> String {
    bytes.iter().fold(String::new(), |mut text, byte| {
        let _ = write!(text, "{byte:02x}");
        text
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// FIPS 180-4's example "abc" (NIST, SHA256.pdf).
    #[test]
    fn published_example() {
        let wanted = "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad";
        assert_eq!(of(b"abc"), wanted);
        let mut hashing = Hashing::new(Vec::new());
        hashing.write_all(b"ab").unwrap();
        hashing.write_all(b"c").unwrap();
        assert_eq!(hashing.end(), (b"abc".to_vec(), 3, wanted.to_string()));
    }
}
