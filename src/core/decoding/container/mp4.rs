//! MPEG-4: atoms, some nested in others, each with its length and a type of four letters (ISO
//! 14496-12).

use super::{File, Fit};
use std::io::{Read, Seek};

/// The deepest nesting that is read; a recording needs seven levels.
const DEEPEST: usize = 16;
/// The most atoms accepted. No recorder writes more: seven atoms for each fragment of half a second
/// are enough for more than two hours.
const MOST_ATOMS: usize = 1 << 17;
/// The longest accepted description of the codec, in bytes.
const LONGEST_DESCRIPTION: u64 = 1 << 16;

pub(super) fn examine<R: Read + Seek>(file: &mut File<'_, R>) -> Result<Fit, String> {
    let mut walk = Walk {
        fit: Fit::whole(file.length),
        atoms: 0,
        media: false,
    };
    walk.through(file, 0, file.length, 0)?;
    if walk.media {
        Ok(walk.fit)
    } else {
        Err("there is no sound in it".to_owned())
    }
}

struct Walk {
    fit: Fit,
    atoms: usize,
    /// True when a description of the medium was found.
    media: bool,
}

/// The content of an atom: a range of bytes in the file.
#[derive(Clone, Copy)]
struct Body {
    at: u64,
    end: u64,
}

impl Walk {
    fn through<R: Read + Seek>(
        &mut self,
        file: &mut File<'_, R>,
        from: u64,
        to: u64,
        depth: usize,
    ) -> Result<(), String> {
        let cut = || "it is cut off in its head".to_owned();
        if depth > DEEPEST {
            return Err("its parts are nested too deep".to_owned());
        }
        let mut at = from;
        while at + 8 <= to {
            self.atoms += 1;
            if self.atoms > MOST_ATOMS {
                return Err("it has too many parts".to_owned());
            }
            let head: [u8; 8] = file.at(at).ok_or_else(cut)?;
            let (size, sign) = head.split_first_chunk::<4>().ok_or_else(cut)?;
            let (size, body) = match u32::from_be_bytes(*size) {
                0 => (to - at, at + 8),
                1 => (
                    u64::from_be_bytes(file.at(at + 8).ok_or_else(cut)?),
                    at + 16,
                ),
                size => (u64::from(size), at + 8),
            };
            let end = at
                .checked_add(size)
                .filter(|end| *end >= body)
                .ok_or_else(cut)?;
            if end > to {
                // The audio data may be cut off, but its description may not.
                if depth == 0 && sign == b"mdat" {
                    return Ok(());
                }
                return Err(cut());
            }
            self.atom(file, sign, at, Body { at: body, end }, depth)?;
            at = end;
        }
        Ok(())
    }

    fn atom<R: Read + Seek>(
        &mut self,
        file: &mut File<'_, R>,
        sign: &[u8],
        at: u64,
        body: Body,
        depth: usize,
    ) -> Result<(), String> {
        match sign {
            b"moov" | b"trak" | b"mdia" | b"minf" | b"stbl" | b"mvex" | b"moof" | b"traf"
            | b"edts" => self.through(file, body.at, body.end, depth + 1),
            // Titles and pictures do not affect the sound, so the decoder sees them as free space.
            b"udta" | b"meta" => {
                self.fit.instead.push((at + 4, b"free".to_vec()));
                Ok(())
            }
            b"mdhd" | b"mvhd" => {
                self.media |= sign == b"mdhd";
                let [version] = file.at(body.at).unwrap_or_default();
                let place = body.at + if version == 1 { 20 } else { 12 };
                match file.be32(place).filter(|_| place + 4 <= body.end) {
                    Some(0) => Err("it says 0 steps of time a second".to_owned()),
                    Some(_) => Ok(()),
                    None => Err("it is cut off in its head".to_owned()),
                }
            }
            b"stts" | b"ctts" => rows(file, body, 4, 8),
            b"stsc" => rows(file, body, 4, 12),
            b"stco" | b"stss" => rows(file, body, 4, 4),
            b"co64" => rows(file, body, 4, 8),
            b"elst" => {
                let [version] = file.at(body.at).unwrap_or_default();
                rows(file, body, 4, if version == 1 { 20 } else { 12 })
            }
            b"stsz" => sizes(file, body),
            b"trex" => size_at(file, body, 16),
            b"tfhd" => {
                let flags = file.be32(body.at).unwrap_or(0);
                let before = [(1, 8), (2, 4), (8, 4)];
                let before = before.iter().filter(|(flag, _)| flags & flag != 0);
                let place = 8 + before.map(|(_, size)| size).sum::<u64>();
                if flags & 0x10 == 0 {
                    Ok(())
                } else {
                    size_at(file, body, place)
                }
            }
            b"trun" => run(file, body),
            b"stsd" if body.end - body.at > LONGEST_DESCRIPTION => {
                Err("it describes itself at too great a length".to_owned())
            }
            b"stsd" => described(file, body),
            _ => Ok(()),
        }
    }
}

fn table(count: u32) -> String {
    format!("a table of it claims {count} rows")
}

/// Checks a table whose rows have the same width and whose row count stands at a given place.
fn rows<R: Read + Seek>(
    file: &mut File<'_, R>,
    body: Body,
    place: u64,
    width: u64,
) -> Result<(), String> {
    let count = file
        .be32(body.at + place)
        .ok_or("it is cut off in its head")?;
    if body.at + place + 4 + u64::from(count) * width <= body.end {
        Ok(())
    } else {
        Err(table(count))
    }
}

fn fits<R>(file: &File<'_, R>, size: u32) -> Result<(), String> {
    if u64::from(size) <= file.length {
        Ok(())
    } else {
        Err(format!("a part of it claims {size} bytes"))
    }
}

fn size_at<R: Read + Seek>(file: &mut File<'_, R>, body: Body, place: u64) -> Result<(), String> {
    let size = file
        .be32(body.at + place)
        .ok_or("it is cut off in its head")?;
    fits(file, size)
}

/// Checks the table of sample sizes: one size for all samples, or one for each.
fn sizes<R: Read + Seek>(file: &mut File<'_, R>, body: Body) -> Result<(), String> {
    let cut = "it is cut off in its head";
    let (one, count) = (
        file.be32(body.at + 4).ok_or(cut)?,
        file.be32(body.at + 8).ok_or(cut)?,
    );
    if one > 0 {
        return if u64::from(one) * u64::from(count) <= file.length {
            Ok(())
        } else {
            Err(table(count))
        };
    }
    rows(file, body, 8, 4)?;
    let mut place = body.at + 12;
    let end = place + 4 * u64::from(count);
    while place < end {
        let some = (end - place).min(1 << 16);
        for size in file.some(place, some as usize).ok_or(cut)?.chunks_exact(4) {
            fits(
                file,
                u32::from_be_bytes([size[0], size[1], size[2], size[3]]),
            )?;
        }
        place += some;
    }
    Ok(())
}

/// Checks a run of samples in a fragment; flags say which fields each row has (section 8.8.8).
fn run<R: Read + Seek>(file: &mut File<'_, R>, body: Body) -> Result<(), String> {
    let cut = "it is cut off in its head";
    let (flags, count) = (
        file.be32(body.at).ok_or(cut)?,
        file.be32(body.at + 4).ok_or(cut)?,
    );
    let has = |flag: u32| u64::from(flags & flag != 0);
    let width = 4 * (has(0x100) + has(0x200) + has(0x400) + has(0x800));
    let first = body.at + 8 + 4 * (has(1) + has(4));
    if first + u64::from(count) * width > body.end || u64::from(count) > file.length {
        return Err(table(count));
    }
    if flags & 0x200 != 0 {
        for row in 0..u64::from(count) {
            let size = file.be32(first + row * width + 4 * has(0x100)).ok_or(cut)?;
            fits(file, size)?;
        }
    }
    Ok(())
}

/// Checks the lengths within the `esds` atom, which describes the codec (ISO 14496-1, 8.3.3), at
/// any place.
fn described<R: Read + Seek>(file: &mut File<'_, R>, body: Body) -> Result<(), String> {
    let bytes = file
        .some(body.at, (body.end - body.at) as usize)
        .ok_or("it is cut off in its head")?;
    let Some(at) = bytes.windows(4).position(|sign| sign == b"esds") else {
        return Ok(());
    };
    let mut rest = bytes.get(at + 8..).unwrap_or_default();
    // Three nested descriptors: the elementary stream, the decoder configuration, and the
    // decoder-specific data.
    for (tag, before) in [(3, 3), (4, 13), (5, 0)] {
        let length = length_of(&mut rest, tag);
        match length {
            Some(length) if length <= rest.len() => rest = rest.get(before..).unwrap_or_default(),
            _ => return Err("what it says of itself is longer than it is".to_owned()),
        }
    }
    Ok(())
}

/// Reads a tag and returns the length after it, which is written with seven bits to a byte.
fn length_of(rest: &mut &[u8], wanted: u8) -> Option<usize> {
    let (tag, mut after) = rest.split_first()?;
    (*tag == wanted).then_some(())?;
    let mut length = 0;
    for _ in 0..4 {
        let (byte, next) = after.split_first()?;
        after = next;
        length = (length << 7) | usize::from(byte & 0x7f);
        if byte & 0x80 == 0 {
            break;
        }
    }
    *rest = after;
    Some(length)
}
