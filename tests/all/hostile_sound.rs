//! Recordings that are none: each container with rates of nothing, sizes that lie, tables of four
//! thousand million rows, samples that are no numbers, cut off anywhere, sizes that a recorder left
//! open. The real binary ends in a sentence, within 300 MB; no file makes it panic or abort.

use gracerung::decoding::Recording;
use std::io::{Seek, SeekFrom, Write};
use std::path::Path;
use std::process::{Command, Output};

/// What the program may take of memory, KiB: `ulimit -v` counts more than is used.
const MOST_KIB: u32 = 300 * 1024;

/// Seconds of processor time after which the system ends the program, so that a decoder that never ends
/// fails the test: 2 are asked, which all of these keep also in a build without optimisation.
const MOST_S: u32 = 10;

#[track_caller]
fn listens(file: &Path) -> (i32, String) {
    let home = tempfile::tempdir().expect("a folder");
    let mut command;
    if cfg!(target_os = "linux") {
        command = Command::new("sh");
        command.args([
            "-c",
            &format!("ulimit -v {MOST_KIB}; ulimit -t {MOST_S}; exec \"$0\" \"$@\""),
            env!("CARGO_BIN_EXE_gracerung"),
        ]);
    } else {
        command = Command::new(env!("CARGO_BIN_EXE_gracerung"));
    }
    let Output {
        status,
        stdout,
        stderr,
    } = command
        .arg("listen")
        .arg(file)
        .env("HOME", home.path())
        .env("XDG_DATA_HOME", home.path())
        .env("XDG_CONFIG_HOME", home.path())
        .stdin(std::process::Stdio::null())
        .output()
        .expect("it runs");
    let all = String::from_utf8_lossy(&stdout).into_owned() + &String::from_utf8_lossy(&stderr);
    let name = file.display();
    let code = status
        .code()
        .unwrap_or_else(|| panic!("{name}: aborted: {all}"));
    assert!([0, 1, 2].contains(&code), "{name}: {code}: {all}");
    assert!(!all.contains("panicked"), "{name}: {all}");
    assert!(!all.trim().is_empty(), "{name}: nothing was said");
    (code, all)
}

/// Listens to a file with the real binary; what is said holds `what`.
#[track_caller]
fn says(name: &str, bytes: &[u8], what: &str) {
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join(name);
    std::fs::write(&path, bytes).expect("a file");
    let (_, said) = listens(&path);
    assert!(said.contains(what), "{name}: {said}");
}

/// The same of a file that is longer than what is written into it: pieces with their places.
#[track_caller]
fn says_of(name: &str, pieces: &[(u64, Vec<u8>)], what: &str) {
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join(name);
    let mut file = std::fs::File::create(&path).expect("a file");
    for (place, piece) in pieces {
        file.seek(SeekFrom::Start(*place)).expect("there");
        file.write_all(piece).expect("written");
    }
    drop(file);
    let (_, said) = listens(&path);
    assert!(said.contains(what), "{name}: {said}");
}

/// Reads a recording; what is said holds `what`.
#[track_caller]
fn reads(name: &str, bytes: &[u8], what: &str) {
    let said = ends(name, bytes);
    assert!(said.contains(what), "{name}: {said}");
}

/// Opens and reads a recording as `listen` does, without hearing it: the sentence, or how many
/// samples there are. Nothing may panic, and no more samples come than the bytes can hold.
#[track_caller]
fn ends(name: &str, bytes: &[u8]) -> String {
    let length = bytes.len() as u64;
    let said = match Recording::open(std::io::Cursor::new(bytes.to_vec()), length) {
        Err(error) => error.to_string(),
        Ok(mut recording) => {
            let mut samples = 0;
            loop {
                let piece = recording.read(65_536);
                samples += piece.len();
                if piece.is_empty() {
                    break;
                }
                // 576 a byte: a frame of MP3 or FLAC that says nothing but its length
                assert!(samples <= 600 * bytes.len() + 65_536, "{name}: {samples}");
            }
            format!("{samples} samples")
        }
    };
    assert!(
        said.ends_with(" samples")
            || said.starts_with("the recording ")
            || said.starts_with("no recording that can be read"),
        "{name}: {said}"
    );
    said
}

/// A tone of half a second on low A.
fn tone(rate: u32) -> Vec<f32> {
    (0..rate / 2)
        .map(|at| {
            let phase = 236.0 * f64::from(at) / f64::from(rate);
            let sum: f64 = (1..8)
                .map(|k| (std::f64::consts::TAU * phase * f64::from(k)).sin() / f64::from(k))
                .sum();
            (0.2 * sum) as f32
        })
        .collect()
}

struct Wav {
    kind: u16,
    channels: u16,
    rate: u32,
    align: u16,
    bits: u16,
    /// What the head says of the sound's length, where that is another than it has.
    claims: Option<u32>,
    sound: Vec<u8>,
}

impl Wav {
    fn new() -> Self {
        let sound: Vec<u8> = tone(48_000)
            .iter()
            .flat_map(|sample| ((sample * 32_767.0) as i16).to_le_bytes())
            .collect();
        Self {
            kind: 1,
            channels: 1,
            rate: 48_000,
            align: 2,
            bits: 16,
            claims: None,
            sound,
        }
    }

    fn bytes(&self, before: &[u8]) -> Vec<u8> {
        let size = u32::try_from(self.sound.len()).expect("short");
        let claims = self.claims.unwrap_or(size);
        let mut bytes = b"RIFF".to_vec();
        bytes.extend(claims.saturating_add(36).to_le_bytes());
        bytes.extend(b"WAVEfmt \x10\0\0\0");
        bytes.extend(self.kind.to_le_bytes());
        bytes.extend(self.channels.to_le_bytes());
        bytes.extend(self.rate.to_le_bytes());
        bytes.extend(self.rate.wrapping_mul(u32::from(self.align)).to_le_bytes());
        bytes.extend(self.align.to_le_bytes());
        bytes.extend(self.bits.to_le_bytes());
        bytes.extend(before);
        bytes.extend(b"data");
        bytes.extend(claims.to_le_bytes());
        bytes.extend(&self.sound);
        bytes
    }
}

#[test]
fn hostile_wav_ends_in_a_sentence() {
    let wav = Wav::new;
    says("plain.wav", &wav().bytes(&[]), "low A 23");
    // what a recorder leaves that was cut off before it could write the sizes
    for claims in [0, u32::MAX, 1 << 31, 48_001] {
        let open = Wav {
            claims: Some(claims),
            ..wav()
        };
        reads("open.wav", &open.bytes(&[]), "24000 samples");
    }
    reads(
        "zero.wav",
        &Wav { rate: 0, ..wav() }.bytes(&[]),
        "0 samples a second",
    );
    reads(
        "most.wav",
        &Wav {
            rate: u32::MAX,
            ..wav()
        }
        .bytes(&[]),
        "expected 6000 to 384000",
    );
    reads(
        "none.wav",
        &Wav {
            channels: 0,
            ..wav()
        }
        .bytes(&[]),
        "0 channels",
    );
    let many = Wav {
        channels: u16::MAX,
        ..wav()
    };
    reads("many.wav", &many.bytes(&[]), "65535 channels");
    reads(
        "align.wav",
        &Wav { align: 0, ..wav() }.bytes(&[]),
        "0 bytes for 1 samples",
    );
    reads(
        "wide.wav",
        &Wav {
            align: u16::MAX,
            ..wav()
        }
        .bytes(&[]),
        "65535 bytes",
    );
    reads(
        "bits.wav",
        &Wav { bits: 0, ..wav() }.bytes(&[]),
        "of 0 bits",
    );
    for (kind, what) in [
        (0, "not been recognized"),
        (2, "adpcm must be 4 bits"),
        (6, "malformed fmt_alaw"),
        (7, "malformed fmt_mulaw"),
        (0x11, "adpcm must be 4 bits"),
        (0x55, "not been recognized"),
        (0xfffe, "malformed fmt_ext"),
        (0xffff, "not been recognized"),
    ] {
        let other = Wav { kind, ..wav() };
        reads("kind.wav", &other.bytes(&[]), what);
    }
    reads("list.wav", &wav().bytes(b"LIST\xff\xff\xff\xff"), "cut off");
    let info = b"LIST\x10\0\0\0INFOIART\xff\xff\xff\xff\0\0\0\0";
    says("info.wav", &wav().bytes(info), "low A 23");
    reads("only.wav", b"RIFF\x04\0\0\0WAVE", "no sound in it");
    let broken = Wav {
        kind: 3,
        align: 4,
        bits: 32,
        sound: [f32::NAN, f32::INFINITY, f32::MAX, -0.0]
            .repeat(12_000)
            .iter()
            .flat_map(|sample| sample.to_le_bytes())
            .collect(),
        ..wav()
    };
    says("nan.wav", &broken.bytes(&[]), "are no numbers");
    let whole = wav().bytes(info);
    for end in (0..100).chain([200, 48_001]) {
        ends("cut.wav", &whole[..end]);
    }
    for place in 0..80 {
        for value in [0, 0xff, 0x80] {
            let mut flipped = whole.clone();
            flipped[place] = value;
            ends("byte.wav", &flipped);
        }
    }
}

fn sample(name: &str) -> Vec<u8> {
    let path = Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("samples")
        .join(name);
    let mut bytes = std::fs::read(path).expect("it is shipped");
    bytes.truncate(100_000);
    bytes
}

#[test]
fn hostile_flac_ends_in_a_sentence() {
    let whole = sample("take-clean.flac");
    reads("plain.flac", &whole, " samples");
    // a block of the head at 4: its description from 8, the rate from 18 in 20 bits
    let with = |place: usize, bytes: &[u8]| {
        let mut other = whole.clone();
        other[place..place + bytes.len()].copy_from_slice(bytes);
        other
    };
    says("zero.flac", &with(18, &[0, 0, 0x0a]), "0 samples a second");
    reads(
        "blocks.flac",
        &with(8, &[0, 0, 0, 0]),
        "blocks of less than 16",
    );
    reads("size.flac", &with(5, &[0xff, 0xff, 0xff]), "cut off");
    reads("short.flac", &with(5, &[0, 0, 10]), "description is none");
    reads("count.flac", &with(21, &[0xff; 5]), "110592 samples");
    reads("frames.flac", &with(12, &[0xff; 6]), "110592 samples");
    // a seek table of a million rows that are not there, a comment of four thousand million bytes
    let after = 8 + 34;
    for (kind, block) in [
        (3, vec![0xff; 18]),
        (4, vec![0xff; 18]),
        (6, vec![0xff; 40]),
    ] {
        let mut other = whole[..after].to_vec();
        other.extend([kind, 0, 0, u8::try_from(block.len()).expect("short")]);
        other.extend(block);
        other.extend(&whole[after..]);
        reads("block.flac", &other, "110592 samples");
    }
    // blocks without content: each once cost a row in memory, and twenty megabytes of them all of it
    let mut empty = whole[..after].to_vec();
    empty.extend([1, 0, 0, 0].repeat(6 << 20));
    says("empty.flac", &empty, "too many parts before its sound");
    for end in (0..110).step_by(3).chain([5000]) {
        ends("cut.flac", &whole[..end]);
    }
    for place in (0..46).chain(86..140) {
        ends("byte.flac", &with(place, &[0xff]));
    }
}

#[test]
fn hostile_mp3_ends_in_a_sentence() {
    // MPEG-1 layer III, 128 kbit a second at 44,100: frames of 417 bytes of silence
    let mut frame = vec![0xff, 0xfb, 0x90, 0x00];
    frame.resize(417, 0);
    let sound = frame.repeat(50);
    says("plain.mp3", &sound, "silent");
    let tag = |size: [u8; 4]| [b"ID3\x04\0\0".as_slice(), &size].concat();
    reads(
        "tag.mp3",
        &[tag([0, 0, 0, 0]), sound.clone()].concat(),
        "57600 samples",
    );
    reads(
        "long.mp3",
        &[tag([0x7f; 4]), sound.clone()].concat(),
        "longer than the file",
    );
    // a picture of four thousand million bytes in a tag of 20
    let lying = [
        tag([0, 0, 0, 20]),
        b"APIC\x7f\x7f\x7f\x7f\0\0\0\0\0\0\0\0\0\0\0\0".to_vec(),
        sound.clone(),
    ];
    says("picture.mp3", &lying.concat(), "silent");
    for place in 0..40 {
        for value in [0xff, 0x7f] {
            let mut other = sound.clone();
            other[place] = value;
            ends("byte.mp3", &other);
        }
    }
    let noise: Vec<u8> = (0..20_000_u32)
        .map(|at| (at.wrapping_mul(2_654_435_761) >> 13) as u8)
        .collect();
    for end in [2, 4, 5, 40, 416, 418] {
        ends("cut.mp3", &sound[..end]);
    }
    reads(
        "noise.mp3",
        &[&frame[..4], &noise].concat(),
        "error occurred while reading",
    );
    says("noise.bin", &noise, "begins like none");
}

/// A page of Ogg with its check sum (RFC 3533, 6).
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

/// A codebook of so many rows and numbers, each row unused but the first.
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
    // sixteen streams side by side, each with a head of 26 MB, which were once all kept
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
            // 255 times 255 bytes and no end of the packet; the head's second ends after 16 MB
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

fn atom(sign: [u8; 4], body: &[u8]) -> Vec<u8> {
    let size = u32::try_from(body.len() + 8).expect("short");
    [&size.to_be_bytes(), &sign[..], body].concat()
}

fn numbers(all: &[u32]) -> Vec<u8> {
    all.iter().flat_map(|number| number.to_be_bytes()).collect()
}

/// An MPEG-4 file of nine samples of 16 bits, with one of its atoms another, its content as given;
/// with an `esds` it says that it is of AAC.
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
    // a million empty titles: each was once looked through at every read
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
