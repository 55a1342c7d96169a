//! The names of notes in a repetition, as a teacher says them.

use crate::practice::measurement::{Measurement, NoteKind, NoteMeasure};

/// The note with its article, place and bar: `the B gracenote before the second low G`, `the
/// closing low A in bar 2`, `the first low G tap`.
pub(super) fn spoken(measured: &Measurement, at: usize) -> String {
    let notes = &measured.notes;
    let note = &notes[at];
    let bar = bar_words(notes, note.bar);
    if note.part != NoteKind::Gracenote {
        return format!("{}{bar}", the(notes, at));
    }
    if note.tap {
        return format!("the {}{bar}", short_name(measured, at));
    }
    let next = (at..notes.len()).find(|next| notes[*next].part != NoteKind::Gracenote);
    let before = next.map_or_else(String::new, |next| format!(" before {}", the(notes, next)));
    format!("the {} gracenote{before}{bar}", note.written.spoken())
}

/// The name of a note without article, bar and place: `second low G`, `B gracenote`.
pub(super) fn short_name(measured: &Measurement, at: usize) -> String {
    let notes = &measured.notes;
    let note = &notes[at];
    let name = note.written.spoken();
    if note.part != NoteKind::Gracenote {
        let the = the(notes, at);
        return the.trim_start_matches("the ").to_owned();
    }
    if !note.tap {
        return format!("{name} gracenote");
    }
    let inner = |other: &&NoteMeasure| other.part != NoteKind::Melody;
    let before = notes[..at].iter().rev().take_while(inner);
    let after = notes[at..].iter().take_while(inner);
    let taps = |other: &&NoteMeasure| other.tap && other.written == note.written;
    let count = before.filter(taps).count();
    if count == 0 && after.filter(taps).count() < 2 {
        format!("{name} tap")
    } else {
        format!("{} {name} tap", nth(count + 1))
    }
}

/// The bar in words: ` in bar 2`; empty when there is only one bar.
pub(super) fn bar_words(notes: &[NoteMeasure], bar: u32) -> String {
    if notes.iter().all(|note| note.bar == bar) {
        String::new()
    } else if bar == 0 {
        " in the pickup".to_owned()
    } else {
        format!(" in bar {bar}")
    }
}

/// The name of a melody note or tone with its article. When the bar has several equal ones they are
/// numbered; the last note of the bar is the closing note.
pub(super) fn the(notes: &[NoteMeasure], at: usize) -> String {
    let note = &notes[at];
    let in_bar = || {
        notes
            .iter()
            .enumerate()
            .filter(|(_, other)| other.bar == note.bar && other.part != NoteKind::Gracenote)
    };
    let name = note.written.spoken();
    if in_bar().count() > 1 && in_bar().next_back().is_some_and(|(last, _)| last == at) {
        return format!("the closing {name}");
    }
    let alike = || in_bar().filter(|(_, other)| other.written == note.written);
    if alike().count() < 2 {
        return format!("the {name}");
    }
    let count = alike().take_while(|(other, _)| *other <= at).count();
    format!("the {} {name}", nth(count))
}

fn nth(count: usize) -> String {
    ["first", "second", "third", "fourth", "fifth", "sixth"]
        .get(count.saturating_sub(1))
        .map_or_else(|| format!("{count}th"), |word| (*word).to_owned())
}
