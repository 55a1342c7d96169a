//! Any bytes as a MIDI file.
#![no_main]

#[path = "../feed.rs"]
mod feed;

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| feed::feed("midi", bytes));
