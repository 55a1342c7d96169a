//! Ogg: pages that hold packets in pieces (RFC 3533, section 6). Only Vorbis is decoded.

use super::vorbis;
use super::{File, Fit};
use std::collections::BTreeMap;
use std::io::{Read, Seek};

/// The header packets of Vorbis: identification, comments, and setup of the codec.
const HEAD_PACKETS: usize = 3;
/// The most bytes in the headers of all streams together: the longest packet that the decoder
/// takes.
const LONGEST_HEADS: usize = 16 << 20;
/// The most streams accepted in one file; no recorder writes more.
const MOST_STREAMS: usize = 16;

#[derive(Default)]
struct Stream {
    packets: Vec<Vec<u8>>,
    open: Vec<u8>,
}

impl Stream {
    /// Adds a page's part of the header packets; `left` is how many bytes the headers of all
    /// streams may still have.
    fn take(&mut self, lacing: &[u8], body: &[u8], left: &mut usize) -> Result<(), String> {
        let mut at = 0;
        for size in lacing {
            let end = at + usize::from(*size);
            let part = body.get(at..end).unwrap_or_default();
            let fewer = left.checked_sub(part.len());
            *left = fewer.ok_or("its head is longer than any")?;
            self.open.extend(part);
            at = end;
            if *size < 255 {
                self.packets.push(std::mem::take(&mut self.open));
            }
            if self.packets.len() == HEAD_PACKETS {
                break;
            }
        }
        Ok(())
    }
}

/// Leaves out what follows the last whole page, and any other file appended to this one.
pub(super) fn examine<R: Read + Seek>(file: &mut File<'_, R>) -> Result<Fit, String> {
    let mut streams: BTreeMap<u32, Stream> = BTreeMap::new();
    let mut heads_over = false;
    let mut left = LONGEST_HEADS;
    let mut at = 0;
    while let Some(head) = file.at::<27>(at).filter(|head| head.starts_with(b"OggS")) {
        let segments = usize::from(head[26]);
        let Some(lacing) = file.some(at + 27, segments) else {
            break;
        };
        let size: u64 = lacing.iter().map(|size| u64::from(*size)).sum();
        let body = at + 27 + segments as u64;
        if body + size > file.length {
            break;
        }
        let serial = u32::from_le_bytes([head[14], head[15], head[16], head[17]]);
        if head[5] & 2 != 0 {
            if heads_over {
                break;
            }
            if streams.len() == MOST_STREAMS {
                return Err("it has too many streams".to_owned());
            }
            streams.insert(serial, Stream::default());
        } else {
            heads_over = true;
        }
        if let Some(stream) = streams.get_mut(&serial)
            && stream.packets.len() < HEAD_PACKETS
        {
            let page = file.some(body, size as usize).unwrap_or_default();
            stream.take(&lacing, &page, &mut left)?;
        }
        at = body + size;
    }
    let mut heard = false;
    for stream in streams.values() {
        let kind = stream.packets.first().map_or(&[][..], Vec::as_slice);
        if kind.starts_with(b"\x01vorbis") {
            let [what, comments, coding] = stream.packets.as_slice() else {
                return Err("it is cut off in its head".to_owned());
            };
            vorbis::examine(what, comments, coding)?;
            heard = true;
        } else if kind.starts_with(b"OpusHead") || kind.starts_with(b"\x7fFLAC") {
            return Err("of Ogg only Vorbis can be read".to_owned());
        }
    }
    if heard {
        Ok(Fit::whole(at))
    } else {
        Err("there is no sound in it".to_owned())
    }
}
