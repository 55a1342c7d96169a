//! Hostile Ogg Vorbis files, made page by page.

use super::*;

/// An Ogg page with its check sum (RFC 3533, 6).
fn page(flags: u8, number: u32, packets: &[&[u8]]) -> Vec<u8> {
    let mut lacing = Vec::new();
    for packet in packets {
        lacing.extend(std::iter::repeat_n(255, packet.len() / 255));
        lacing.push((packet.len() % 255) as u8);
    }
    let mut bytes = b"OggS\0".to_vec();
    bytes.push(flags);
    bytes.extend([0; 8]);
    bytes.extend(7_u32.to_le_bytes());
    bytes.extend(number.to_le_bytes());
    bytes.extend([0; 4]);
    bytes.push(u8::try_from(lacing.len()).expect("short"));
    bytes.extend(&lacing);
    bytes.extend(packets.concat());
    let sum = bytes.iter().fold(0_u32, |sum, byte| {
        (0..8).fold(sum ^ (u32::from(*byte) << 24), |sum, _| {
            (sum << 1) ^ if sum >> 31 == 1 { 0x04c1_1db7 } else { 0 }
        })
    });
    bytes[22..26].copy_from_slice(&sum.to_le_bytes());
    bytes
}

fn vorbis(rate: u32, channels: u8, comments: &[u8], coding: &[u8]) -> Vec<u8> {
    let mut what = b"\x01vorbis\0\0\0\0".to_vec();
    what.push(channels);
    what.extend(rate.to_le_bytes());
    what.extend([0; 12]);
    what.extend([0xb8, 1]);
    let comments = [b"\x03vorbis", comments].concat();
    let coding = [b"\x05vorbis", coding].concat();
    [
        page(2, 0, &[&what]),
        page(0, 1, &[&comments, &coding]),
        page(4, 2, &[&[0; 60]]),
    ]
    .concat()
}

/// A codebook with these dimensions and entries, of which only the first entry is used.
fn codebook(dimensions: u16, entries: u32, lookup: u8) -> Vec<u8> {
    let mut bits: Vec<bool> = Vec::new();
    let mut put = |value: u64, count: u32| bits.extend((0..count).map(|bit| value >> bit & 1 == 1));
    put(0, 8);
    put(0x56_4342, 24);
    put(u64::from(dimensions), 16);
    put(u64::from(entries), 24);
    put(0b10, 2);
    put(1, 6);
    for _ in 1..entries.min(5000) {
        put(0, 1);
    }
    put(u64::from(lookup), 4);
    put(0, 64);
    put(0, 5);
    put(0, 40);
    bits.chunks(8)
        .map(|byte| {
            byte.iter()
                .rev()
                .fold(0, |sum, bit| sum << 1 | u8::from(*bit))
        })
        .collect()
}

#[test]
fn hostile_ogg_ends_in_a_sentence() {
    let none = [0; 8];
    reads(
        "zero.ogg",
        &vorbis(0, 1, &none, &codebook(1, 1, 0)),
        "0 samples a second",
    );
    reads(
        "none.ogg",
        &vorbis(48_000, 0, &none, &codebook(1, 1, 0)),
        "0 channels",
    );
    reads(
        "many.ogg",
        &vorbis(48_000, 255, &none, &codebook(1, 1, 0)),
        "255 channels",
    );
    let long = [
        0, 0, 0, 0, 1, 0, 0, 0, 0xff, 0xff, 0xff, 0xff, b'A', b'=', b'B',
    ];
    says(
        "comment.ogg",
        &vorbis(48_000, 1, &long, &codebook(1, 1, 0)),
        "comments are longer",
    );
    let count = [0, 0, 0, 0, 0xff, 0xff, 0xff, 0xff];
    reads(
        "comments.ogg",
        &vorbis(48_000, 1, &count, &codebook(1, 1, 0)),
        "comments are longer",
    );
    for (dimensions, entries, lookup) in [
        (65_535, 5000, 1),
        (65_535, 0x00ff_ffff, 2),
        (0, 4, 1),
        (1, 0x00ff_ffff, 1),
    ] {
        let book = codebook(dimensions, entries, lookup);
        says(
            "table.ogg",
            &vorbis(48_000, 1, &none, &book),
            &format!("{entries} rows"),
        );
    }
    reads(
        "noise.ogg",
        &vorbis(48_000, 1, &none, &[0xff; 40]),
        "does not read",
    );
    let whole = vorbis(48_000, 1, &none, &codebook(1, 1, 0));
    reads("unfinished.ogg", &whole, "error occurred while reading");
    for end in (0..whole.len()).step_by(7) {
        ends("cut.ogg", &whole[..end]);
    }
    // sixteen streams side by side, each with a header of 26 MB, which must not all be kept
    let mut pieces = Vec::new();
    let mut place = 0;
    for serial in 0..16_u32 {
        let mut begins = page(2, 0, &[b"\x01vorbis"]);
        begins[14..18].copy_from_slice(&serial.to_le_bytes());
        place += begins.len() as u64;
        pieces.push((place - begins.len() as u64, begins));
    }
    for serial in 0..16_u32 {
        for number in 0..400 {
            // 255 times 255 bytes without an end of the packet; the second packet of the header
            // ends after 16 MB
            let ends = number == 250;
            let lacing = if ends { vec![0] } else { vec![255; 255] };
            let mut goes_on = page(0, 1, &[&[]])[..27].to_vec();
            goes_on[14..18].copy_from_slice(&serial.to_le_bytes());
            goes_on[26] = if ends { 1 } else { 255 };
            goes_on.extend(&lacing);
            pieces.push((place, goes_on));
            let size: u64 = lacing.iter().map(|size| u64::from(*size)).sum();
            place += 27 + lacing.len() as u64 + size;
        }
    }
    pieces.push((place, vec![0]));
    says_of("heads.ogg", &pieces, "head is longer than any");
    let opus = page(2, 0, &[b"OpusHead\x01\x01\0\0\0\0\0\0\0\0\0"]);
    reads("opus.ogg", &opus, "only Vorbis");
}
