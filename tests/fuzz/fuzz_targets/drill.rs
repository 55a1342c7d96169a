//! Any bytes as a drill file: told, never a panic; what reads is laid out and drawn on the screen's
//! staff too.
#![no_main]

use gracerung::timeline::{Layout, lay};
use gracerung::units::SampleRate;
use libfuzzer_sys::fuzz_target;

fuzz_target!(|bytes: &[u8]| {
    let (drill, problems) = gracerung::drill::read(bytes);
    let _ = gracerung::drill::render("x.yaml", &String::from_utf8_lossy(bytes), &problems);
    let Some(drill) = drill else { return };
    for score in gracerung::app::scores(&drill) {
        let _ = lay(&score, &Layout::at(drill.ladder.from, SampleRate::USUAL));
    }
});
