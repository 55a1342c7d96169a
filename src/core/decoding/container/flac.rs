//! FLAC: metadata blocks before the audio frames, each with its type and length (RFC 9639, section
//! 8).

use super::{File, Fit};
use std::io::{Read, Seek};

/// The length in bytes of the STREAMINFO block, which holds the sample rate.
const STREAM_INFO: u64 = 34;
/// The most metadata blocks accepted. No recorder writes more, and the standard has seven types.
const MOST_BLOCKS: usize = 4096;

pub(super) fn examine<R: Read + Seek>(file: &mut File<'_, R>, start: u64) -> Result<Fit, String> {
    let mut fit = Fit {
        start,
        ..Fit::whole(file.length)
    };
    let mut at = start + 4;
    let mut described = false;
    for _ in 0..MOST_BLOCKS {
        let [kind, a, b, c] = file.at(at).ok_or("it is cut off in its head")?;
        let (size, body) = (u64::from(u32::from_be_bytes([0, a, b, c])), at + 4);
        if body + size > file.length {
            return Err("it is cut off in its head".to_owned());
        }
        if matches!(kind, 0 | 0x80) {
            let info = file
                .at::<13>(body)
                .filter(|_| size == STREAM_INFO && !described);
            let info = info.ok_or("its description is none")?;
            described = true;
            if u16::from_be_bytes([info[2], info[3]]) < 16 {
                return Err("it says blocks of less than 16 samples".to_owned());
            }
            // The sample rate has 20 bits.
            if u32::from_be_bytes([0, info[10], info[11], info[12]]) >> 4 == 0 {
                return Err("it says 0 samples a second".to_owned());
            }
        } else {
            // A block that decoding does not need is shown to the decoder as padding.
            fit.instead.push((at, vec![(kind & 0x80) | 1]));
        }
        at = body + size;
        if kind & 0x80 != 0 {
            return if described {
                Ok(fit)
            } else {
                Err("it does not say what it is".to_owned())
            };
        }
    }
    Err("it has too many parts before its sound".to_owned())
}
