//! Checks the structure of a recording's file before a decoder trusts the numbers in it.
//!
//! A decoder allocates tables as large as the file claims, and some stop the program when the file
//! gives a sample rate of 0. So this module reads the structure alone (lengths, counts and rates,
//! no audio). What decoding does not need (titles, pictures, seek tables) is hidden from the
//! decoder. Sizes that a recorder left open because it was cut off are filled in.

mod flac;
mod mp4;
mod ogg;
mod vorbis;
mod wav;

use std::io::{Read, Result as IoResult, Seek, SeekFrom};

/// The most channels that are mixed down to one.
pub(super) const MOST_CHANNELS: usize = 32;

/// The part of a file that the decoder sees, and the bytes that are replaced for it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Fit {
    /// The first byte that the decoder sees, after any tag at the head of an MP3 file.
    start: u64,
    /// The end of what the decoder sees; bytes from here on do not belong to the recording.
    end: u64,
    /// Places in the file, in ascending order, each with the bytes that the decoder sees there.
    instead: Vec<(u64, Vec<u8>)>,
}

impl Fit {
    fn whole(length: u64) -> Self {
        Self {
            start: 0,
            end: length,
            instead: Vec::new(),
        }
    }
}

/// The most zero bytes that are skipped before the first frame of an MP3 file.
const MOST_PADDING: u64 = 1 << 16;
/// The most tags that are skipped at the head of an MP3 file.
const MOST_TAGS: usize = 8;

/// Checks the structure of a file of `length` bytes.
///
/// # Errors
/// Says what is wrong with the structure, as the rest of a sentence that begins with the file.
pub(super) fn examine(bytes: &mut (impl Read + Seek), length: u64) -> Result<Fit, String> {
    let mut file = File { bytes, length };
    if file.at::<4>(4).as_ref() == Some(b"ftyp") {
        return mp4::examine(&mut file);
    }
    let start = file.after_tags()?;
    let Some(head) = file.at::<4>(start) else {
        return Err("it is too short for a recording".to_owned());
    };
    // The formats are recognised by their signatures, as the decoders do it.
    match &head {
        b"RIFF" if start == 0 && file.at::<4>(8).as_ref() == Some(b"WAVE") => {
            wav::examine(&mut file)
        }
        b"OggS" if start == 0 => ogg::examine(&mut file),
        b"fLaC" => flac::examine(&mut file, start),
        // The frame sync words of MPEG-1, -2 and -2.5 layer III (ISO 11172-3, 13818-3).
        [0xff, 0xfa | 0xfb | 0xf2 | 0xf3 | 0xe2 | 0xe3, ..] => Ok(Fit {
            start,
            ..Fit::whole(length)
        }),
        _ => Err("it begins like none of these".to_owned()),
    }
}

/// A file that is read at chosen places.
struct File<'a, R> {
    bytes: &'a mut R,
    length: u64,
}

impl<R: Read + Seek> File<'_, R> {
    /// Reads `N` bytes at a place; none when the file ends before that.
    fn at<const N: usize>(&mut self, place: u64) -> Option<[u8; N]> {
        let mut found = [0; N];
        (place.checked_add(N as u64)? <= self.length).then_some(())?;
        self.bytes.seek(SeekFrom::Start(place)).ok()?;
        self.bytes.read_exact(&mut found).ok()?;
        Some(found)
    }

    /// Reads `count` bytes at a place; `count` must be known to be small.
    fn some(&mut self, place: u64, count: usize) -> Option<Vec<u8>> {
        (place.checked_add(count as u64)? <= self.length).then_some(())?;
        let mut found = vec![0; count];
        self.bytes.seek(SeekFrom::Start(place)).ok()?;
        self.bytes.read_exact(&mut found).ok()?;
        Some(found)
    }

    fn be32(&mut self, place: u64) -> Option<u32> {
        self.at(place).map(u32::from_be_bytes)
    }

    /// The place after any ID3v2 tags and zero bytes. The length of a tag is four bytes of seven
    /// bits each.
    fn after_tags(&mut self) -> Result<u64, String> {
        let mut place = 0;
        for _ in 0..MOST_TAGS {
            let Some([b'I', b'D', b'3', _, _, flags, a, b, c, d]) = self.at::<10>(place) else {
                break;
            };
            let size = [a, b, c, d]
                .iter()
                .fold(0, |size, part| (size << 7) | u64::from(part & 0x7f));
            let foot = if flags & 0x10 == 0 { 0 } else { 10 };
            place += 10 + size + foot;
            if place >= self.length {
                return Err("the tag at its head is longer than the file".to_owned());
            }
        }
        while place < MOST_PADDING && self.at::<1>(place) == Some([0]) {
            place += 1;
        }
        Ok(place)
    }
}

/// A file as its decoder sees it: a part of the file, with some bytes replaced.
pub(super) struct Seen<R> {
    bytes: R,
    fit: Fit,
    /// The position in bytes from the file's beginning.
    at: u64,
}

impl<R: Read + Seek> Seen<R> {
    pub(super) fn new(mut bytes: R, fit: Fit) -> IoResult<Self> {
        let at = bytes.seek(SeekFrom::Start(fit.start))?;
        Ok(Self { bytes, fit, at })
    }

    pub(super) fn length(&self) -> u64 {
        self.fit.end.saturating_sub(self.fit.start)
    }
}

impl<R: Read> Read for Seen<R> {
    fn read(&mut self, into: &mut [u8]) -> IoResult<usize> {
        let left = usize::try_from(self.fit.end.saturating_sub(self.at)).unwrap_or(usize::MAX);
        let room = into.len().min(left);
        let count = self.bytes.read(&mut into[..room])?;
        let from = self.at;
        self.at += count as u64;
        let instead = &self.fit.instead;
        let first =
            instead.partition_point(|(place, instead)| place + instead.len() as u64 <= from);
        let within = |(place, _): &&(u64, Vec<u8>)| *place < self.at;
        for (place, instead) in instead[first..].iter().take_while(within) {
            for (place, byte) in (*place..).zip(instead) {
                if (from..self.at).contains(&place) {
                    into[(place - from) as usize] = *byte;
                }
            }
        }
        Ok(count)
    }
}

impl<R: Seek> Seek for Seen<R> {
    fn seek(&mut self, to: SeekFrom) -> IoResult<u64> {
        let wanted = match to {
            SeekFrom::Start(place) => i128::from(self.fit.start) + i128::from(place),
            SeekFrom::End(by) => i128::from(self.fit.end) + i128::from(by),
            SeekFrom::Current(by) => i128::from(self.at) + i128::from(by),
        };
        let place = u64::try_from(wanted.max(i128::from(self.fit.start)))
            .map_err(|_| std::io::Error::from(std::io::ErrorKind::InvalidInput))?;
        self.at = self.bytes.seek(SeekFrom::Start(place))?;
        Ok(self.at - self.fit.start)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::io::Cursor;

    #[test]
    fn a_decoder_sees_the_bytes_that_stand_in_for_others() {
        let fit = Fit {
            start: 2,
            end: 9,
            instead: vec![(3, b"xy".to_vec()), (8, b"zz".to_vec())],
        };
        let mut seen = Seen::new(Cursor::new(b"0123456789"), fit).expect("it begins");
        assert_eq!(seen.length(), 7);
        let mut text = String::new();
        seen.read_to_string(&mut text).expect("text");
        assert_eq!(text, "2xy567z");
        assert_eq!(seen.seek(SeekFrom::End(-2)).expect("there"), 5);
        assert_eq!(seen.seek(SeekFrom::Start(2)).expect("there"), 2);
        let mut one = [0];
        seen.read_exact(&mut one).expect("a byte");
        assert_eq!(one, *b"y");
        // Reading byte by byte means that the replaced bytes are also read in pieces.
        seen.seek(SeekFrom::Start(0)).expect("there");
        for expected in b"2xy567z" {
            seen.read_exact(&mut one).expect("a byte");
            assert_eq!(one, [*expected]);
        }
    }
}
