//! Files that claim to be recordings and are not. For each container there are impossible rates,
//! wrong sizes, tables of four thousand million rows, samples that are no numbers, truncated files,
//! and sizes that a recorder left open. The program must report each in a sentence and use at most
//! 300 MB; no file may cause a panic or an abort.

mod mp4;
mod ogg;
mod wav;

use gracerung::decoding::Recording;
use std::io::{Seek, SeekFrom, Write};
use std::path::Path;
use std::process::{Command, Output};

/// The most memory that the program may use, in KiB. `ulimit -v` counts more than is used.
const MOST_KIB: u32 = 300 * 1024;

/// Seconds of processor time after which the system ends the program, so that a decoder that never
/// ends fails the test. The aim is 2 s, which all of these keep even in a build without
/// optimisation.
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

/// Runs `listen` on a file with the real binary. Its answer must contain `what`.
#[track_caller]
fn says(name: &str, bytes: &[u8], what: &str) {
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join(name);
    std::fs::write(&path, bytes).expect("a file");
    let (_, said) = listens(&path);
    assert!(said.contains(what), "{name}: {said}");
}

/// Runs `listen` on a sparse file, of which only some pieces are written. Its answer must contain
/// `what`.
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

/// Reads a recording. The answer must contain `what`.
#[track_caller]
fn reads(name: &str, bytes: &[u8], what: &str) {
    let said = ends(name, bytes);
    assert!(said.contains(what), "{name}: {said}");
}

/// Opens and reads a recording as `listen` does, without the analysis. Returns the error, or the
/// number of samples. Nothing may panic, and there must not be more samples than the bytes can
/// hold.
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
                // at most 576 samples a byte: a frame of MP3 or FLAC that states only its length
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

/// Half a second of a tone on low A.
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
    // a block header is at 4, its content from 8, and the 20 bits of the sample rate from 18
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
    // a seek table with a million rows that are missing, and a comment of four thousand million
    // bytes
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
    // many blocks without content, each of which must not use memory
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
    // MPEG-1 layer III with 128 kbit a second at 44,100 Hz: frames of 417 bytes of silence
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
    // a picture of four thousand million bytes in a tag of 20 bytes
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
