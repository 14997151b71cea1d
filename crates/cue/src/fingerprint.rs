//! Fingerprints: what is the same has the same, what differs has another.

use std::fmt;

/// FNV-1a of 128 bits (Fowler, Noll, Vo; IETF draft "The FNV Non-Cryptographic Hash Algorithm", parameters from memory).
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Fingerprint(u128);

impl Default for Fingerprint {
    fn default() -> Self {
        Self(0x6c62_272e_07bb_0142_62b8_2175_6295_c58d)
    }
}

impl Fingerprint {
    /// Takes in bytes.
    pub fn bytes(&mut self, bytes: &[u8]) {
        for byte in bytes {
            self.0 = (self.0 ^ u128::from(*byte)).wrapping_mul(0x0100_0000_0000_0000_0000_013b);
        }
    }

    /// As a number.
    pub fn number(self) -> u128 {
        self.0
    }

    /// Takes in numbers, bit by bit.
    pub fn numbers(mut self, values: impl IntoIterator<Item = f64>) -> Self {
        for value in values {
            // A word at a time: this is asked for every stretch of every chair.
            self.0 = (self.0 ^ u128::from(value.to_bits())).wrapping_mul(0x0100_0000_0000_0000_0000_013b);
        }
        self
    }

    /// Takes in a value as it prints itself, with its end.
    pub fn of(mut self, value: &impl fmt::Debug) -> Self {
        // Nothing that is written to it fails.
        let _ = fmt::write(&mut self, format_args!("{value:?}\n"));
        self
    }
}

impl fmt::Write for Fingerprint {
    fn write_str(&mut self, text: &str) -> fmt::Result {
        self.bytes(text.as_bytes());
        Ok(())
    }
}

impl fmt::Display for Fingerprint {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{:032x}", self.0)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Published test vectors of FNV-1a 128: the empty text and "a" (from memory of the draft's table).
    #[test]
    fn published_values() {
        assert_eq!(Fingerprint::default().to_string(), "6c62272e07bb014262b821756295c58d");
        let mut a = Fingerprint::default();
        a.bytes(b"a");
        assert_eq!(a.to_string(), "d228cb696f1a8caf78912b704e4a8964");
    }
}
