//! Any bytes as ABC.
#![no_main]

#[path = "../feed.rs"]
mod feed;

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| feed::feed("abc", bytes));
