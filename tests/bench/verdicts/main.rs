//! Puts faults into exact notes, without sound, and prints a table of what the verdict names:
//! `cargo bench -p gracerung-benches --bench verdicts`. With `-- --wrong` it prints each wrong
//! verdict.
#![allow(
    clippy::print_stdout,
    missing_docs,
    reason = "a bench prints its table and has no readers of docs"
)]

mod plant;

use plant::{Counts, Plant, bench};

/// The number of recordings for each fault at each place and tempo.
const TAKES: usize = 20;

fn row(name: &str, counts: &Counts) {
    println!(
        "| {name} | {} | {:.3} | {:.3} | {} | {} | {:.3} |",
        counts.planted,
        counts.recall(),
        counts.at_the_right_note(),
        counts.vain,
        counts.clean,
        counts.clean_called_clean(),
    );
}

fn main() {
    let outcome = bench(TAKES, 17);
    println!("| fault | planted | recall | right note | told in vain | clean | called clean |");
    println!("|---|---|---|---|---|---|---|");
    for plant in Plant::ALL {
        if let Some(counts) = outcome.by_plant.get(&plant) {
            row(plant.words(), counts);
        }
    }
    row("all", &outcome.all());
    println!();
    println!("| drill | planted | recall | right note | told in vain | clean | called clean |");
    println!("|---|---|---|---|---|---|---|");
    for (name, counts) in &outcome.by_drill {
        row(&name.replace('|', "/"), counts);
    }
    if std::env::args().any(|argument| argument == "--wrong") {
        for words in &outcome.wrong {
            println!("{words}");
        }
    }
}
