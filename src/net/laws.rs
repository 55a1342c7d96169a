//! Laws of the network: its results agree with its training, and with themselves however the
//! samples are cut.

use crate::weights::{fnv1a64, single};
use crate::{CLASSES, HOP, Network, Weights};
use pulp::Arch;
use serde_json::Value;
use std::sync::Arc;

const WEIGHTS: &[u8] = include_bytes!("../core/listening/ear.weights");
/// Two seconds of sound and the log-probabilities of the trained network for them, computed with
/// 64-bit numbers by the library that trained it.
const VECTOR: &[u8] = include_bytes!("../../tests/reference/ear-vector.bin");

fn weights() -> Arc<Weights> {
    Arc::new(Weights::read(WEIGHTS).expect("the weights that are shipped"))
}

fn vector() -> (Vec<f32>, Vec<[f32; CLASSES]>) {
    let rest = VECTOR
        .strip_prefix(b"gracerung ear vector 1\n")
        .expect("a vector");
    let end = rest.iter().position(|b| *b == b'\n').expect("a header");
    let header: Value = serde_json::from_slice(&rest[..end]).expect("a header in JSON");
    let samples = usize::try_from(header["samples"].as_u64().expect("a count")).expect("small");
    let (sound, told) = rest[end + 1..].split_at(2 * samples);
    let sound = sound
        .chunks_exact(2)
        .map(|b| f32::from(i16::from_le_bytes([b[0], b[1]])) / 32768.0)
        .collect();
    let numbers: Vec<f32> = told
        .chunks_exact(4)
        .map(|b| f32::from_le_bytes([b[0], b[1], b[2], b[3]]))
        .collect();
    let told = numbers
        .chunks_exact(CLASSES)
        .map(|frame| frame.try_into().expect("ten"))
        .collect();
    (sound, told)
}

fn hear(
    mut network: Network,
    sound: &[f32],
    cut: &mut dyn FnMut() -> usize,
) -> Vec<[f32; CLASSES]> {
    let mut told = Vec::new();
    let mut rest = sound;
    while !rest.is_empty() {
        let (now, later) = rest.split_at(cut().clamp(1, rest.len()));
        network.push(now, &mut |frame| told.push(*frame));
        rest = later;
    }
    network.finish(&mut |frame| told.push(*frame));
    told
}

fn furthest(a: &[[f32; CLASSES]], b: &[[f32; CLASSES]]) -> f32 {
    assert_eq!(a.len(), b.len(), "as many frames");
    let both = a.iter().flatten().zip(b.iter().flatten());
    both.map(|(a, b)| (a - b).abs()).fold(0.0, f32::max)
}

#[test]
fn it_tells_what_the_trained_network_tells() {
    let (sound, told) = vector();
    assert_eq!(told.len(), sound.len() / HOP);
    let ours = hear(Network::new(weights()), &sound, &mut || usize::MAX);
    let off = furthest(&ours, &told);
    assert!(off < 1e-3, "{off} off");
}

#[test]
fn without_vectors_it_tells_the_same_within_a_thousandth() {
    let (sound, told) = vector();
    let network = Network::on(weights(), Arch::Scalar);
    let off = furthest(&hear(network, &sound, &mut || 4096), &told);
    assert!(off < 1e-3, "{off} off");
}

#[test]
fn it_tells_the_same_to_the_bit_however_the_sound_is_cut() {
    let (sound, _) = vector();
    let whole = hear(Network::new(weights()), &sound, &mut || usize::MAX);
    for size in [1, 7, 12, 64, 480, 4800] {
        let cut = hear(Network::new(weights()), &sound, &mut || size);
        assert_eq!(bits(&whole), bits(&cut), "pieces of {size}");
    }
    // the generator of Numerical Recipes makes the cuts the same on each run
    let mut state = 1_u32;
    let cut = hear(Network::new(weights()), &sound, &mut || {
        state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
        (state >> 22) as usize
    });
    assert_eq!(bits(&whole), bits(&cut), "pieces of any size");
}

fn bits(told: &[[f32; CLASSES]]) -> Vec<u32> {
    told.iter().flatten().map(|value| value.to_bits()).collect()
}

#[test]
fn a_stream_that_begins_anew_remembers_nothing() {
    let (sound, _) = vector();
    let mut network = Network::new(weights());
    let mut first = Vec::new();
    network.push(&sound[9_000..], &mut |_| {});
    network.restart();
    network.push(&sound, &mut |frame| first.push(*frame));
    network.finish(&mut |frame| first.push(*frame));
    let fresh = hear(Network::new(weights()), &sound, &mut || usize::MAX);
    assert_eq!(bits(&first), bits(&fresh));
}

#[test]
fn each_frame_is_a_distribution() {
    let (sound, _) = vector();
    for frame in hear(Network::new(weights()), &sound, &mut || 999) {
        let sum: f32 = frame.iter().map(|log| log.exp()).sum();
        assert!((sum - 1.0).abs() < 1e-4, "{frame:?}");
    }
}

#[test]
fn a_damaged_file_is_told() {
    let told = |file: &[u8]| Weights::read(file).expect_err("damaged").to_string();
    assert!(told(b"").contains("gracerung ear 1"));
    assert!(told(&WEIGHTS[..WEIGHTS.len() - 4]).contains("bytes follow"));
    let mut flipped = WEIGHTS.to_vec();
    *flipped.last_mut().expect("not empty") ^= 1;
    assert!(told(&flipped).contains("checksum"));
    let header_end = 16 + WEIGHTS[16..].iter().position(|b| *b == b'\n').expect("one");
    for (from, to) in [
        ("\"hop\": 12", "\"hop\": 13"),
        ("[1, 3]", "[1, 9]"),
        ("\"channels\": 5", "\"channels\": 9"),
        ("[40, 360]", "[40, 10]"),
        ("[40, 360]", "[40, 99999999]"),
        ("\"number\": \"f16\"", "\"number\": \"f64\""),
        ("\"number\": \"f16\"", "\"number\": \"f32\""),
    ] {
        let header = String::from_utf8(WEIGHTS[..header_end].to_vec()).expect("text");
        assert!(header.contains(from), "the header has {from}");
        let mut file = header.replacen(from, to, 1).into_bytes();
        file.extend_from_slice(&WEIGHTS[header_end..]);
        assert!(Weights::read(&file).is_err(), "{to}");
    }
}

/// The shipped file is in 16 bits; the same numbers in 32 are the same network.
#[test]
fn numbers_of_32_bits_are_read_as_well() {
    let header_end = 16 + WEIGHTS[16..].iter().position(|b| *b == b'\n').expect("one");
    let halves = WEIGHTS[header_end + 1..].as_chunks().0.iter();
    let singles = halves.flat_map(|half| single(u16::from_le_bytes(*half)).to_le_bytes());
    let payload: Vec<u8> = singles.collect();
    let header = String::from_utf8(WEIGHTS[..header_end].to_vec()).expect("text");
    let checksum = |payload: &[u8]| format!("{:016x}", fnv1a64(payload));
    let header = header.replacen("\"f16\"", "\"f32\"", 1).replacen(
        &checksum(&WEIGHTS[header_end + 1..]),
        &checksum(&payload),
        1,
    );
    let mut file = header.into_bytes();
    file.push(b'\n');
    file.extend_from_slice(&payload);
    let long = Weights::read(&file).expect("the same weights");
    let (sound, _) = vector();
    let ours = hear(Network::new(weights()), &sound, &mut || usize::MAX);
    let theirs = hear(Network::new(Arc::new(long)), &sound, &mut || usize::MAX);
    assert_eq!(bits(&ours), bits(&theirs));
}

/// Bit patterns and values of IEEE 754's binary16: the limits follow from its parameters (2019, table
/// 3.5: 11 bits of precision, exponents of -14 to 15).
#[test]
fn halves_are_read_exactly() {
    for (half, value) in [
        (0x0000, 0.0),
        (0x0001, 2.0_f32.powi(-24)),
        (0x03ff, 1023.0 * 2.0_f32.powi(-24)),
        (0x0400, 2.0_f32.powi(-14)),
        (0x3555, 1365.0 / 4096.0),
        (0x3c00, 1.0),
        (0xc000, -2.0),
        (0x7bff, 65_504.0),
        (0x7c00, f32::INFINITY),
        (0xfc00, f32::NEG_INFINITY),
    ] {
        assert_eq!(single(half).to_bits(), value.to_bits(), "{half:#06x}");
    }
    assert!(single(0x8000).is_sign_negative() && single(0x7e00).is_nan());
    // every number that is one is finite in both, and greater bits are a greater number
    let all: Vec<f32> = (0..0x7c00).map(single).collect();
    assert!(all.is_sorted_by(|a, b| a < b) && all.iter().all(|value| value.is_finite()));
}

/// The player waits for the samples that the network looks ahead. At practice pitch a sample is a
/// twelfth of a millisecond. 45 ms are allowed in all, of which resampling takes 2.7.
#[test]
fn it_tells_a_frame_within_its_share_of_the_delay() {
    let weights = weights();
    let ahead: usize = weights.blocks.iter().map(|block| block.look * HOP).sum();
    let milliseconds = (weights.window() / 2 + ahead) as f64 / 12.0;
    assert!(milliseconds + 2.7 <= 45.0, "{milliseconds} ms");
}
