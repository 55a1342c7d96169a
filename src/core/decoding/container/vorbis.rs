//! The three header packets of Vorbis (Xiph.Org, Vorbis I specification, 3.2.1, 4.2 and 5).

/// The most numbers accepted in one table of a codebook, and in all tables together. Encoder
/// libraries write about ten thousand.
const MOST_NUMBERS: u64 = 1 << 20;
const MOST_NUMBERS_IN_ALL: u64 = 1 << 22;

pub(super) fn examine(what: &[u8], comments: &[u8], coding: &[u8]) -> Result<(), String> {
    let rate = what.get(12..16).ok_or("it is cut off in its head")?;
    if rate == [0; 4] {
        return Err("it says 0 samples a second".to_owned());
    }
    let channels = what[11];
    if !(1..=8).contains(&channels) {
        return Err(format!("it says {channels} channels; expected 1 to 8"));
    }
    commented(comments).ok_or("its comments are longer than they can be")?;
    codebooks(coding).ok_or_else(|| "its head does not read".to_owned())?
}

/// Goes through the comments by their lengths; none when a length is wrong.
fn commented(packet: &[u8]) -> Option<()> {
    let mut rest = packet.strip_prefix(b"\x03vorbis")?;
    let mut number = |skip: bool| -> Option<u32> {
        let (size, after) = rest.split_first_chunk::<4>()?;
        let size = u32::from_le_bytes(*size);
        rest = if skip {
            after.get(usize::try_from(size).ok()?..)?
        } else {
            after
        };
        Some(size)
    };
    number(true)?;
    for _ in 0..number(false)? {
        number(true)?;
    }
    Some(())
}

/// Reads bits, beginning with the lowest bit of each byte.
struct Bits<'a> {
    bytes: &'a [u8],
    at: usize,
}

impl Bits<'_> {
    fn take(&mut self, count: u32) -> Option<u32> {
        let mut value = 0;
        for place in 0..count {
            let byte = self.bytes.get(self.at / 8)?;
            value |= u32::from((byte >> (self.at % 8)) & 1) << place;
            self.at += 1;
        }
        Some(value)
    }

    fn skip(&mut self, count: u64) -> Option<()> {
        self.at = usize::try_from(count).ok()?.checked_add(self.at)?;
        (self.at <= 8 * self.bytes.len()).then_some(())
    }
}

/// Checks the size of the codebooks, whose tables the decoder allocates. None when they cannot be
/// read.
fn codebooks(packet: &[u8]) -> Option<Result<(), String>> {
    let mut bits = Bits {
        bytes: packet.strip_prefix(b"\x05vorbis")?,
        at: 0,
    };
    let mut in_all = 0;
    for _ in 0..=bits.take(8)? {
        if bits.take(24)? != 0x56_4342 {
            return None;
        }
        let (dimensions, entries) = (bits.take(16)?, bits.take(24)?);
        let numbers = u64::from(dimensions) * u64::from(entries);
        in_all += numbers;
        if dimensions == 0 || entries == 0 || numbers > MOST_NUMBERS || in_all > MOST_NUMBERS_IN_ALL
        {
            return Some(Err(format!(
                "a table of it has {entries} rows of {dimensions} numbers"
            )));
        }
        // Whether the codeword lengths are in ascending order, and whether unused entries are
        // marked.
        let (ordered, sparse) = match bits.take(1)? {
            1 => (true, false),
            _ => (false, bits.take(1)? == 1),
        };
        if ordered {
            bits.take(5)?;
            let mut told = 0;
            while told < entries {
                told += bits.take(u32::BITS - (entries - told).leading_zeros())?;
            }
            if told > entries {
                return None;
            }
        } else if sparse {
            for _ in 0..entries {
                if bits.take(1)? == 1 {
                    bits.skip(5)?;
                }
            }
        } else {
            bits.skip(5 * u64::from(entries))?;
        }
        let lookup = bits.take(4)?;
        if lookup > 2 {
            return None;
        }
        if lookup > 0 {
            bits.skip(64)?;
            let width = u64::from(bits.take(4)? + 1);
            bits.take(1)?;
            let values = if lookup == 1 {
                root(entries, dimensions)
            } else {
                numbers
            };
            bits.skip(values * width)?;
        }
    }
    Some(Ok(()))
}

/// The largest whole number whose power of `dimensions` is at most `entries` (section 9.2.3).
fn root(entries: u32, dimensions: u32) -> u64 {
    let fits = |value: u64| {
        let mut power = 1_u64;
        for _ in 0..dimensions {
            power = power.saturating_mul(value);
            if power > u64::from(entries) {
                return false;
            }
        }
        true
    };
    (1..=u64::from(entries))
        .take_while(|value| fits(*value))
        .last()
        .unwrap_or(1)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_root_is_the_specifications() {
        for (entries, dimensions, expected) in
            [(81, 4, 3), (80, 4, 2), (8, 1, 8), (625, 4, 5), (2, 16, 1)]
        {
            assert_eq!(root(entries, dimensions), expected);
        }
    }
}
