//! Any bytes as a drill file: told, never a panic.
#![no_main]

use libfuzzer_sys::fuzz_target;

fuzz_target!(|bytes: &[u8]| {
    let _ = gracerung::drill::read(bytes);
});
