//! Any text as a settings file.
#![no_main]

#[allow(dead_code, reason = "each target uses one of its functions")]
#[path = "../feed.rs"]
mod feed;

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| feed::settings(bytes));
