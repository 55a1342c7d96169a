//! How long the whole catalogue takes: every movement between every two notes, by every school,
//! resolved and explained.
//!
//! `cargo bench -p gracerung-benches --bench catalogue`. What is asked of it: under a second.

#![expect(clippy::print_stdout, reason = "a bench prints its figures")]

use gracerung::chanter::NOTES;
use gracerung::movement::{Context, Lengths, Movement, Schools, explain, resolve};
use gracerung::units::Bpm;
use std::hint::black_box;
use std::time::Instant;

fn main() {
    let Ok(tempo) = Bpm::whole(60) else { return };
    let lengths = Lengths::default();
    let mut times = Vec::new();
    let (mut resolved, mut explained) = (0_usize, 0_usize);
    for _ in 0..9 {
        let begin = Instant::now();
        (resolved, explained) = (0, 0);
        for movement in Movement::all() {
            let usual = std::iter::once(Schools::none());
            let each = movement
                .schools()
                .iter()
                .map(|school| Schools::none().and(*school));
            for schools in usual.chain(each) {
                for before in std::iter::once(None).chain(NOTES.map(Some)) {
                    for after in NOTES {
                        let context = Context { before, after };
                        black_box(resolve(movement, context, &schools));
                        resolved += 1;
                        black_box(explain(movement, context, &schools, tempo, &lengths));
                        explained += 1;
                    }
                }
            }
        }
        times.push(begin.elapsed());
    }
    times.sort();
    println!(
        "{} movements, {resolved} contexts resolved and {explained} explained in {:.0} ms \
         (median of {}); asked for: under 1000",
        Movement::all().count(),
        times[times.len() / 2].as_secs_f64() * 1000.0,
        times.len()
    );
}
