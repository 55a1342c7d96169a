//! Hostile MPEG-4 files, made atom by atom.

use super::*;

fn atom(sign: [u8; 4], body: &[u8]) -> Vec<u8> {
    let size = u32::try_from(body.len() + 8).expect("short");
    [&size.to_be_bytes(), &sign[..], body].concat()
}

fn numbers(all: &[u32]) -> Vec<u8> {
    all.iter().flat_map(|number| number.to_be_bytes()).collect()
}

/// An MPEG-4 file of nine 16-bit samples, in which one atom is replaced by the given content. With
/// an `esds` atom it claims to be AAC.
fn mp4(other: [u8; 4], content: &[u8]) -> Vec<u8> {
    let pick = |sign: [u8; 4], own: Vec<u8>| atom(sign, if sign == other { content } else { &own });
    let mut entry = vec![0; 28];
    entry[7] = 1;
    entry[17] = 1;
    entry[19] = 16;
    entry[24..26].copy_from_slice(&44_100_u16.to_be_bytes());
    let mut coded = *b"sowt";
    if other == *b"esds" {
        coded = *b"mp4a";
        entry.extend(atom(*b"esds", content));
    }
    let stsd = pick(*b"stsd", [numbers(&[0, 1]), atom(coded, &entry)].concat());
    let tables = [
        stsd,
        pick(*b"stts", numbers(&[0, 1, 9, 1])),
        pick(*b"stsc", numbers(&[0, 1, 1, 9, 1])),
        pick(*b"stsz", numbers(&[0, 0, 9, 2, 2, 2, 2, 2, 2, 2, 2, 2])),
        pick(*b"stco", numbers(&[0, 1, 32])),
    ]
    .concat();
    let minf = [atom(*b"smhd", &[0; 8]), pick(*b"stbl", tables)].concat();
    let hdlr = [numbers(&[0, 0]), b"soun".to_vec(), vec![0; 13]].concat();
    let mdia = [
        pick(*b"mdhd", numbers(&[0, 0, 0, 44_100, 3072, 0x55c4_0000])),
        pick(*b"hdlr", hdlr),
        pick(*b"minf", minf),
    ]
    .concat();
    let tkhd = [numbers(&[7, 0, 0, 1, 0, 3072]), vec![0; 60]].concat();
    let trak = [pick(*b"tkhd", tkhd), atom(*b"mdia", &mdia)].concat();
    let mvhd = [numbers(&[0, 0, 0, 44_100, 3072]), vec![0; 80]].concat();
    let udta = pick(*b"udta", Vec::new());
    let moov = [pick(*b"mvhd", mvhd), pick(*b"trak", trak), udta].concat();
    [
        atom(*b"ftyp", b"M4A \0\0\0\0isom"),
        pick(*b"mdat", [0x21, 0x10, 0x04, 0x60, 0x8c, 0x1c].repeat(3)),
        pick(*b"moov", moov),
    ]
    .concat()
}

#[test]
fn hostile_m4a_ends_in_a_sentence() {
    let whole = mp4(*b"none", &[]);
    says("plain.m4a", &whole, "no chanter was heard");
    let most = u32::MAX;
    for (sign, content, what) in [
        (
            *b"mdhd",
            numbers(&[0, 0, 0, 0, 3072, 0x55c4_0000]),
            "0 steps of time",
        ),
        (
            *b"mvhd",
            [numbers(&[0, 0, 0, 0, 0]), vec![0; 80]].concat(),
            "0 steps of time",
        ),
        (
            *b"stts",
            numbers(&[0, most, 1, 1]),
            "claims 4294967295 rows",
        ),
        (
            *b"stsc",
            numbers(&[0, most, 1, 1, 1]),
            "claims 4294967295 rows",
        ),
        (
            *b"stsz",
            numbers(&[0, 0, most, 6]),
            "claims 4294967295 rows",
        ),
        (*b"stsz", numbers(&[0, 1, most]), "claims 4294967295 rows"),
        (
            *b"stsz",
            numbers(&[0, 0, 1, most]),
            "claims 4294967295 bytes",
        ),
        (*b"stco", numbers(&[0, most, 1]), "claims 4294967295 rows"),
        (
            *b"stts",
            numbers(&[0, 1, most, most]),
            "no chanter was heard",
        ),
        (*b"stts", numbers(&[0, 1, 3, 0]), "no chanter was heard"),
        (*b"stsc", numbers(&[0, 1, 0, 0, 1]), "stumbled over it"),
        (*b"stsc", numbers(&[0, 1, 1, 0, 1]), "0 samples per chunk"),
        (*b"stsc", numbers(&[0, 0]), "invalid sample index"),
        (*b"stco", numbers(&[0, 1, most]), "the recording is empty"),
        (*b"stco", numbers(&[0, 0]), "missing stco"),
        (*b"stsd", numbers(&[0, most]), "not been recognized"),
        (
            *b"esds",
            [&[0; 4][..], &[0x03, 0xff, 0xff, 0xff, 0x7f]].concat(),
            "longer than it is",
        ),
        (*b"esds", Vec::new(), "longer than it is"),
        (*b"hdlr", Vec::new(), "stumbled over it"),
        (*b"hdlr", numbers(&[0, 0]), "stumbled over it"),
        (*b"tkhd", Vec::new(), "overread atom"),
        (*b"trak", Vec::new(), "no sound in it"),
        (*b"moov", Vec::new(), "no sound in it"),
        (*b"udta", vec![0xff; 40], "no chanter was heard"),
        (*b"mdat", Vec::new(), "no chanter was heard"),
    ] {
        says(
            &format!("{}.m4a", String::from_utf8_lossy(&sign)),
            &mp4(sign, &content),
            what,
        );
    }
    // a million empty titles, which must not be searched at every read
    let titles = atom(*b"udta", &[]).repeat(1_000_000);
    says("titles.m4a", &mp4(*b"moov", &titles), "too many parts");
    let nested = (0..40).fold(Vec::new(), |inside, _| atom(*b"trak", &inside));
    reads("deep.m4a", &mp4(*b"trak", &nested), "nested too deep");
    for end in (0..whole.len()).step_by(11) {
        ends("cut.m4a", &whole[..end]);
    }
    for place in 0..whole.len() {
        let mut other = whole.clone();
        other[place] ^= 0xff;
        ends("byte.m4a", &other);
    }
}
