//! Any bytes as a file of another program: told, never a panic.
#![no_main]

use gracerung::exchange::{Format, read};
use libfuzzer_sys::fuzz_target;

fuzz_target!(|bytes: &[u8]| {
    let _ = read(Format::MusicXml, bytes);
});
