//! Any bytes as a journal.
#![no_main]

#[path = "../feed.rs"]
mod feed;

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| feed::feed("journal", bytes));
