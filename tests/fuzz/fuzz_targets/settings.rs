//! Any text as a settings file, and each of its lines as a variable: told, never a panic.
#![no_main]

use gracerung::settings::{Source, read};
use libfuzzer_sys::fuzz_target;

fuzz_target!(|bytes: &[u8]| {
    let text = String::from_utf8_lossy(bytes);
    let environment: Vec<(String, String)> = text
        .lines()
        .filter_map(|line| line.split_once('='))
        .map(|(name, value)| {
            let name = name.trim().to_uppercase().replace(['.', '-'], "_");
            (format!("GRACERUNG_{name}"), value.trim().to_owned())
        })
        .collect();
    let (_, problems) = read(Source {
        file: Some(&text),
        environment: &environment,
        flags: &[],
    });
    for problem in problems {
        let _ = problem.render("settings.toml", &text);
    }
});
