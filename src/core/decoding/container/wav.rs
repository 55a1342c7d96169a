//! RIFF WAVE: chunks, each with a name of four letters and a size (Microsoft and IBM, Multimedia
//! Programming Interface and Data Specifications 1.0).

use super::{File, Fit, MOST_CHANNELS};
use std::io::{Read, Seek};

/// The most chunks accepted; no recorder writes more.
const MOST_CHUNKS: usize = 4096;

fn size_of(head: [u8; 8]) -> u64 {
    u64::from(u32::from_le_bytes([head[4], head[5], head[6], head[7]]))
}

/// Recorders write the sizes last, so a recording that was cut off has a size of 0 or the largest
/// number. These sizes are filled in from the length of the file.
pub(super) fn examine<R: Read + Seek>(file: &mut File<'_, R>) -> Result<Fit, String> {
    let length = file.length;
    let mut fit = Fit::whole(length);
    let size = |of: u64| u32::try_from(of).unwrap_or(u32::MAX).to_le_bytes().to_vec();
    fit.instead.push((4, size(length - 8)));
    let mut frame = None;
    let mut at = 12;
    for _ in 0..MOST_CHUNKS {
        let Some(head) = file.at::<8>(at) else { break };
        let (claimed, body) = (size_of(head), at + 8);
        let left = length - body;
        match &head[..4] {
            b"fmt " => {
                let format = file.at::<16>(body).filter(|_| claimed <= left);
                let format = format.ok_or("it is cut off in its head")?;
                frame = Some(frame_of(&format)?);
            }
            b"data" => {
                let frame = frame.ok_or("its sound comes before its format")?;
                let next = file.at::<8>(body);
                let ends = next.is_some_and(|next| 8 + size_of(next) == left);
                if claimed > left || (claimed == 0 && !ends) {
                    fit.instead.push((at + 4, size(left - left % frame)));
                }
                return Ok(fit);
            }
            _ if claimed > left => return Err("it is cut off before its sound".to_owned()),
            // Titles, pictures and markers do not affect the sound, so the decoder sees them as
            // junk.
            _ => fit.instead.push((at, b"JUNK".to_vec())),
        }
        at = body + claimed + claimed % 2;
    }
    Err("there is no sound in it".to_owned())
}

/// The number of bytes in a frame; an error when the format cannot be decoded.
fn frame_of(format: &[u8; 16]) -> Result<u64, String> {
    let two = |at: usize| u16::from_le_bytes([format[at], format[at + 1]]);
    let (kind, channels, align, bits) = (two(0), two(2), two(12), two(14));
    let rate = u32::from_le_bytes([format[4], format[5], format[6], format[7]]);
    if rate == 0 {
        return Err("it says 0 samples a second".to_owned());
    }
    if !(1..=MOST_CHANNELS).contains(&usize::from(channels)) {
        return Err(format!(
            "it says {channels} channels; expected 1 to {MOST_CHANNELS}"
        ));
    }
    // Uncompressed samples: integers, floats, or the extensible format, which names one of these
    // later.
    let plain = matches!(kind, 1 | 3 | 0xfffe);
    let bytes = u32::from(channels) * u32::from(bits.div_ceil(8));
    if align == 0 || align > 4096 || (plain && u32::from(align) != bytes) {
        return Err(format!(
            "it says {align} bytes for {channels} samples of {bits} bits"
        ));
    }
    Ok(u64::from(align))
}
