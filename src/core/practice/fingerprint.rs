//! The fingerprint of a stage's written music, by which the journal identifies a stage.
//!
//! Knows bytes; knows nothing of drills, titles and places in a file.

use serde::{Deserialize, Deserializer, Serialize, Serializer};

/// The fingerprint of a stage's written music. It is FNV-1a with 128 bits over the bytes of the
/// music's written text, and it never changes and is the same on every machine. Title, file, place
/// in the drill and tempo are not part of it. So a renamed or moved stage keeps its marks, and
/// edited music starts anew.
///
/// A collision would silently merge two boards. With 128 bits its probability among a million
/// stages is below 10⁻²⁶. It is no protection against forgery.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct StagePrint(pub u128);

/// Why a text is not a fingerprint.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct StagePrintError(pub String);

impl std::fmt::Display for StagePrintError {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(
            f,
            "`{}` is no fingerprint of a stage: expected 32 hexadecimal digits",
            self.0
        )
    }
}
impl std::error::Error for StagePrintError {}

/// The offset basis for 128 bits, RFC 9923 (The FNV Non-Cryptographic Hash Algorithm).
const OFFSET_BASIS: u128 = 0x6c62_272e_07bb_0142_62b8_2175_6295_c58d;
/// The prime for 128 bits, 2^88 + 2^8 + 0x3b (RFC 9923, as the offset basis).
const PRIME: u128 = (1 << 88) + (1 << 8) + 0x3b;

impl StagePrint {
    /// The fingerprint of music, given as its written text.
    pub fn of(music: &str) -> Self {
        Self(music.bytes().fold(OFFSET_BASIS, |hash, byte| {
            (hash ^ u128::from(byte)).wrapping_mul(PRIME)
        }))
    }

    /// Reads the 32 hexadecimal digits that [`Display`](std::fmt::Display) writes.
    ///
    /// # Errors
    /// The text is not exactly 32 hexadecimal digits.
    pub fn parse(text: &str) -> Result<Self, StagePrintError> {
        if text.len() == 32 && text.bytes().all(|byte| byte.is_ascii_hexdigit()) {
            u128::from_str_radix(text, 16)
                .map(Self)
                .map_err(|_| StagePrintError(text.to_owned()))
        } else {
            Err(StagePrintError(text.to_owned()))
        }
    }
}

impl std::fmt::Display for StagePrint {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "{:032x}", self.0)
    }
}
impl Serialize for StagePrint {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.collect_str(self)
    }
}
impl<'de> Deserialize<'de> for StagePrint {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        let text = String::deserialize(deserializer)?;
        Self::parse(&text).map_err(serde::de::Error::custom)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A fingerprint that changed with a version or a machine would lose every player's board. The
    /// expected values are those published for FNV-1a with 128 bits (RFC 9923, test vectors; the
    /// strings are "", "a" and "foobar").
    #[test]
    fn a_fingerprint_is_fnv_1a_with_128_bits_for_ever() {
        for (text, print) in [
            ("", "6c62272e07bb014262b821756295c58d"),
            ("a", "d228cb696f1a8caf78912b704e4a8964"),
            ("foobar", "343e1662793c64bf6f0d3597ba446f18"),
        ] {
            assert_eq!(StagePrint::of(text).to_string(), print, "{text}");
        }
    }

    /// A fingerprint in the journal must not be read back as another one.
    #[test]
    fn a_written_fingerprint_reads_back() {
        let print = StagePrint::of("{g}d2 G2 {B}G2 A2|");
        assert_eq!(StagePrint::parse(&print.to_string()), Ok(print));
        let small = StagePrint(7);
        assert_eq!(StagePrint::parse(&small.to_string()), Ok(small));
        let error = StagePrint::parse("7").expect_err("too short").to_string();
        assert!(
            error.contains("`7`") && error.contains("32 hexadecimal digits"),
            "{error}"
        );
        for slip in ["", "7", "+c62272e07bb014262b821756295c58d", "é"] {
            assert!(StagePrint::parse(slip).is_err(), "{slip}");
        }
    }
}
