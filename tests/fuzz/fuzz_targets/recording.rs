//! Any bytes as a recording: read to its end or told. A decoder's panic that the program catches
//! is none.
#![no_main]

use gracerung::decoding::{Recording, is_decoding};
use libfuzzer_sys::fuzz_target;
use std::sync::Once;

static HOOK: Once = Once::new();

fuzz_target!(|bytes: &[u8]| {
    HOOK.call_once(|| {
        let fuzzers = std::panic::take_hook();
        std::panic::set_hook(Box::new(move |panic| {
            if !is_decoding() {
                fuzzers(panic);
            }
        }));
    });
    let length = bytes.len() as u64;
    if let Ok(mut recording) = Recording::open(std::io::Cursor::new(bytes.to_vec()), length) {
        let mut samples = 0;
        loop {
            let piece = recording.read(65_536);
            samples += piece.len();
            // 576 a byte: a frame of MP3 or FLAC that says nothing but its length
            assert!(samples <= 600 * bytes.len() + 65_536, "{samples}");
            if piece.is_empty() {
                break;
            }
        }
    }
});
