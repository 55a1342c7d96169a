//! Fuzzes the reading of recordings with arbitrary bytes. A panic inside a decoder is no finding,
//! because the program catches it and reports an error.
#![no_main]

#[path = "../feed.rs"]
mod feed;

use std::sync::Once;

static HOOK: Once = Once::new();

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| {
    HOOK.call_once(|| {
        let fuzzers = std::panic::take_hook();
        std::panic::set_hook(Box::new(move |panic| {
            if !gracerung::decoding::is_decoding() {
                fuzzers(panic);
            }
        }));
    });
    feed::feed("recording", bytes);
});
