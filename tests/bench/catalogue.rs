//! Measures the time for the whole catalogue: every movement between every two notes, by every
//! school, resolved and explained.
//!
//! `cargo bench -p gracerung-benches --bench catalogue`. The aim is less than a second. With `--
//! --print` it prints the text of the explanations instead, each sentence once with the first of
//! its contexts, to be read by somebody who knows the trade.

#![expect(clippy::print_stdout, reason = "a bench prints its figures")]

use gracerung::chanter::{NOTES, Note};
use gracerung::movement::{Context, Explanation, Lengths, Movement, Schools, explain, resolve};
use gracerung::units::Bpm;
use std::collections::BTreeMap;
use std::hint::black_box;
use std::time::Instant;

fn main() {
    let Ok(tempo) = Bpm::whole(60) else { return };
    if std::env::args().any(|argument| argument == "--print") {
        print(tempo);
    } else {
        measure(tempo);
    }
}

/// Every movement in every context, without a school and by each of its own schools.
fn everywhere() -> impl Iterator<Item = (Movement, Context, Schools)> {
    Movement::all().flat_map(|movement| {
        let usual = std::iter::once(Schools::none());
        let each = movement
            .schools()
            .iter()
            .map(|school| Schools::none().and(*school));
        usual.chain(each).flat_map(move |schools| {
            std::iter::once(None)
                .chain(NOTES.map(Some))
                .flat_map(|before| NOTES.map(|after| Context { before, after }))
                .map(move |context| (movement, context, schools.clone()))
        })
    })
}

fn measure(tempo: Bpm) {
    let lengths = Lengths::default();
    let mut times = Vec::new();
    let mut explained = 0_usize;
    for _ in 0..9 {
        let begin = Instant::now();
        explained = 0;
        for (movement, context, schools) in everywhere() {
            black_box(resolve(movement, context, &schools));
            black_box(explain(movement, context, &schools, tempo, &lengths));
            explained += 1;
        }
        times.push(begin.elapsed());
    }
    times.sort();
    println!(
        "{} movements, {explained} contexts resolved and explained in {:.0} ms (median of {}); \
         asked for: under 1000",
        Movement::all().count(),
        times[times.len() / 2].as_secs_f64() * 1000.0,
        times.len()
    );
}

fn print(tempo: Bpm) {
    let lengths = Lengths::default();
    let mut said: BTreeMap<(Movement, &str, String), Vec<String>> = BTreeMap::new();
    for (movement, context, schools) in everywhere() {
        let before = context.before.map_or("start", Note::name);
        let place = format!("{before}-{}{:?}", context.after, schools.names());
        let explanation = explain(movement, context, &schools, tempo, &lengths);
        for (kind, sentence) in sentences(explanation) {
            let places = said.entry((movement, kind, sentence)).or_default();
            places.push(place.clone());
        }
    }
    for ((movement, kind, sentence), places) in said {
        let (first, count) = (&places[0], places.len());
        println!("{movement} | {kind} | {count} from {first} | {sentence}");
    }
}

/// The sentences about a movement: its explanation where it can be played, or else the reason why
/// not and what to play instead.
fn sentences(explanation: Explanation) -> Vec<(&'static str, String)> {
    if let Some(refusal) = explanation.refusal() {
        return vec![("why not", refusal)];
    }
    let mut said = vec![("what it is", explanation.purpose)];
    said.extend(explanation.replaced.map(|why| ("here", why)));
    said.extend(explanation.time.map(|time| ("when", time.sentence)));
    let parts = explanation.parts.into_iter();
    said.extend(parts.map(|part| ("why", format!("{}: {}", part.note, part.reason))));
    let steps = explanation.fingers.into_iter();
    said.extend(steps.map(|step| ("fingers", step.sentence)));
    let noises = explanation.crossings.into_iter();
    said.extend(noises.map(|noise| ("between", noise.sentence)));
    let faults = explanation.listen_for.into_iter();
    said.extend(faults.map(|fault| ("listen for", fault)));
    let first = explanation.first.into_iter();
    said.extend(first.map(|first| ("clean first", first.what)));
    said.push(("where", explanation.closes));
    said
}
