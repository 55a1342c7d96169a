//! Prints the tables of results.

use super::Figures;
use super::cases::{BESIDE, JUDGED};
use super::drills::Judged;
use super::scorer::{Tally, percentile_ms};
use gracerung::units::median;

fn row(title: &str, tally: &Tally) {
    println!(
        "  {title:10} {:>5} | {:.3} {:.3} {:.3} | {:13.3} | {:11.3} | {:7.2} {:8.2} | {:19.2} | {:9.2} | {:.3}",
        tally.truth[0],
        tally.f1(0, 0),
        tally.f1(1, 0),
        tally.f1(2, 0),
        tally.f1(1, 2),
        tally.f1(1, 3),
        percentile_ms(&tally.errors, 0.5),
        percentile_ms(&tally.errors, 0.95),
        percentile_ms(&tally.grace_lengths, 0.5),
        tally.extra_a_minute(),
        tally.movements.0 as f64 / tally.movements.1.max(1) as f64,
    );
}

const HEAD: &str = "  group      notes | all F1 5/10/25   | gracenotes 10 | crossing 10 | onset med/p95 ms | gracenote length ms | extra/min | movements";

/// Prints the figures of one set of cases.
pub(crate) fn print(figures: &mut Figures) {
    if !figures.groups.is_empty() {
        println!("{}", figures.title);
        println!("{HEAD}");
        for (group, tally) in &figures.groups {
            row(group, tally);
        }
        row("all", &figures.all);
        if figures.faultless.truth[0] > 0 {
            row("faultless", &figures.faultless);
        }
        println!(
            "  low A found by itself: median error {:.1} cents, {} of {} over 50 cents; all notes F1 at 10 ms {:.3} (given: {:.3})",
            median(&mut figures.low_a_errors).unwrap_or(0.0),
            figures
                .low_a_errors
                .iter()
                .filter(|error| **error > 50.0)
                .count(),
            figures.low_a_errors.len(),
            figures.unaided.f1(1, 0),
            figures.all.f1(1, 0),
        );
        println!(
            "  CPU seconds a second of sound, one core: {:.4}",
            figures.clock.cpu / figures.clock.sound.max(1e-9)
        );
    }
    if !figures.own_sound.is_empty() {
        println!("{}: our own click and drones beside", figures.title);
        println!("{HEAD}");
        for (group, tally) in &figures.own_sound {
            row(group, tally);
        }
    }
    if !figures.peer.is_empty() {
        println!("{}: the peer", figures.title);
        println!("{HEAD}");
        for (group, tally) in &figures.peer {
            row(group, tally);
        }
        row("all", &figures.peer_all);
    }
    if !figures.drills.is_empty() {
        println!("{}: faults planted in drills", figures.title);
        println!(
            "  group       planted | precision recall | clean called clean | repetitions lost, refused"
        );
        for (group, judged) in &figures.drills {
            drill_row(group, judged);
        }
        let judged = joined(figures, &JUDGED);
        drill_row("judged", &judged);
        drill_row("beside", &joined(figures, &BESIDE));
        println!("  kind, without noise and reverb: planted, found, told in vain");
        for (kind, counts) in &judged.kinds {
            println!(
                "    {kind:13} {:4} {:4} {:4}",
                counts[0], counts[1], counts[2]
            );
        }
    }
}

fn joined(figures: &Figures, groups: &[&str]) -> Judged {
    let mut all = Judged::default();
    for (group, judged) in &figures.drills {
        if groups.contains(&group.as_str()) {
            all.join(judged);
        }
    }
    all
}

fn drill_row(title: &str, judged: &Judged) {
    let (precision, recall) = judged.rates();
    println!(
        "  {title:10} {:>8} | {precision:9.3} {recall:6.3} | {:5.3} of {:>5}     | {}, {} of {}",
        judged.kinds.values().map(|row| row[0]).sum::<usize>(),
        judged.clean.0 as f64 / judged.clean.1.max(1) as f64,
        judged.clean.1,
        judged.lost.1,
        judged.refused,
        judged.lost.0,
    );
}

/// Prints every aim beside the result of each set of cases.
pub(crate) fn print_aims(columns: &[Figures]) {
    print!("{:44} {:>8}", "aim", "reach");
    for figures in columns {
        print!(" | {:>21}", figures.title);
    }
    println!();
    let line = |name: &str, reach: &str, figure: &dyn Fn(&Figures) -> Option<String>| {
        print!("{name:44} {reach:>8}");
        for figures in columns {
            let figure = figure(figures).unwrap_or_else(|| "-".to_owned());
            print!(" | {figure:>21}");
        }
        println!();
    };
    let notes = |figures: &Figures| figures.all.truth[0] > 0;
    let share = |value: f64| Some(format!("{value:.3}"));
    line("all notes, F1 at 10 ms", "0.95", &|f| {
        notes(f).then(|| share(f.all.f1(1, 0)))?
    });
    line("gracenotes", "0.97", &|f| {
        notes(f).then(|| share(f.all.f1(1, 2)))?
    });
    line("crossing noises", "0.80", &|f| {
        notes(f).then(|| share(f.all.f1(1, 3)))?
    });
    for (group, reach) in [("reverb", "0.88"), ("clicks", "0.97"), ("drones", "0.98")] {
        line(&format!("all notes, {group}"), reach, &|f| {
            share(f.groups.get(group)?.f1(1, 0))
        });
    }
    line(
        "onset error, median / 95th percentile, ms",
        "0.8 / 5",
        &|f| {
            notes(f).then(|| {
                let error = |share| percentile_ms(&f.all.errors, share);
                format!("{:.2} / {:.1}", error(0.5), error(0.95))
            })
        },
    );
    line("gracenote length error, median, ms", "1", &|f| {
        notes(f).then(|| format!("{:.2}", percentile_ms(&f.all.grace_lengths, 0.5)))
    });
    line("invented a minute: all", "2", &|f| {
        notes(f).then(|| format!("{:.2}", f.all.extra_a_minute()))
    });
    line("invented a minute: without faults", "0.5", &|f| {
        (f.faultless.truth[0] > 0).then(|| format!("{:.2}", f.faultless.extra_a_minute()))
    });
    line("invented a minute: clean", "0", &|f| {
        Some(format!("{:.2}", f.groups.get("clean")?.extra_a_minute()))
    });
    line("movements right", "0.95", &|f| {
        let (right, all) = f.all.movements;
        notes(f).then(|| share(right as f64 / all.max(1) as f64))?
    });
    line("CPU s a second of sound", "0.012", &|f| {
        notes(f).then(|| format!("{:.4}", f.clock.cpu / f.clock.sound.max(1e-9)))
    });
    line("low A found: median error, cents", "3", &|f| {
        notes(f).then(|| format!("{:.1}", median(&mut f.low_a_errors.clone()).unwrap_or(0.0)))
    });
    line("low A found: F1 lost by it", "0.01", &|f| {
        notes(f).then(|| format!("{:.3}", f.all.f1(1, 0) - f.unaided.f1(1, 0)))
    });
    line("with the drill: precision / recall", "0.95", &|f| {
        let (precision, recall) = joined(f, &JUDGED).rates();
        (!f.drills.is_empty()).then(|| format!("{precision:.3} / {recall:.3}"))
    });
    line("with the drill: clean called clean", "0.98", &|f| {
        let (right, all) = joined(f, &JUDGED).clean;
        (!f.drills.is_empty()).then(|| share(right as f64 / all.max(1) as f64))?
    });
    line("with the drill: refused, all of these", "0.02", &|f| {
        let mut all = joined(f, &JUDGED);
        all.join(&joined(f, &BESIDE));
        (!f.drills.is_empty()).then(|| share(all.refused as f64 / all.lost.0.max(1) as f64))?
    });
    line("F1 lost by our own click and drones, most", "0.005", &|f| {
        let lost = f.own_sound.iter().filter_map(|(group, beside)| {
            Some((f.groups.get(group)?.f1(1, 0) - beside.f1(1, 0), group))
        });
        let (lost, group) = lost.max_by(|one, other| one.0.total_cmp(&other.0))?;
        Some(format!("{lost:.3} ({group})"))
    });
    line("confidence of notes: calibration error", "0.05", &|f| {
        notes(f).then(|| share(f.calibration.error()))?
    });
    line("with the drill, noise and rooms", "0.95", &|f| {
        let (precision, recall) = joined(f, &BESIDE).rates();
        (!f.drills.is_empty()).then(|| format!("{precision:.3} / {recall:.3}"))
    });
}
