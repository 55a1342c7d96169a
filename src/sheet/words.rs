//! A drill's music in words, for screen readers, and the sentences above the music.

use crate::drill::{Drill, SLOW};
use crate::practice::Rung;
use crate::rhythm::Metre;
use crate::score::{Score, ScoreGroup};
use crate::units::spell_fraction;
use crate::wording;

/// A rung in full, such as `66 beats a minute` or `tones of 104 ms at 60 beats a minute`.
pub(super) fn in_full(rung: Rung, metre: Metre) -> String {
    let tempo = spell_fraction(&rung.tempo().value());
    let opened = rung
        .tone()
        .map_or_else(String::new, |_| format!("tones of {} at ", rung.spoken()));
    format!("{opened}{tempo} {} a minute", metre.counts_of_tempo())
}

/// A text with a capital at its beginning and a full stop at its end.
pub(super) fn sentence(text: &str) -> String {
    let text = text.trim();
    let stop = if text.ends_with(['.', '!', '?']) {
        ""
    } else {
        "."
    };
    wording::capital(text) + stop
}

/// The sentence that says which stages are slow: `Stages 1 to 4: notes slow, fingers at full
/// speed.`
pub(super) fn slow_stages(drill: &Drill) -> Option<String> {
    let slow: Vec<usize> = (1..)
        .zip(&drill.stages)
        .filter(|(_, stage)| stage.is_slow())
        .map(|(number, _)| number)
        .collect();
    let (first, last) = (slow.first()?, slow.last()?);
    let which = if first == last {
        format!("Stage {first}")
    } else if last - first + 1 == slow.len() {
        format!("Stages {first} to {last}")
    } else {
        let numbers: Vec<String> = slow.iter().map(ToString::to_string).collect();
        format!("Stages {}", wording::list(&numbers))
    };
    Some(format!("{which}: {SLOW}."))
}

/// The music in words, for screen readers.
pub(super) fn in_words(score: &Score) -> String {
    use std::fmt::Write as _;
    let mut text = format!(
        "{} in {}",
        wording::count(score.bars.len(), "bar", "bars"),
        score.metre
    );
    let mut bar = None;
    for note in &score.notes {
        if bar != Some(note.bar) {
            bar = Some(note.bar);
            let number = score.bars.get(note.bar).map_or(0, |bar| bar.number);
            let _ = match number {
                0 => write!(text, "; pickup"),
                number => write!(text, "; bar {number}"),
            };
        }
        text.push_str(", ");
        if !note.group.parts.is_empty() {
            let names: Vec<&str> = note
                .group
                .parts
                .iter()
                .map(|part| part.note.name())
                .collect();
            match note.group.movement {
                Some(movement) if names.len() > 1 => {
                    let _ = write!(text, "{} ({}) to ", movement.spoken(), names.join(" "));
                }
                _ => {
                    let _ = write!(text, "gracenote {} on ", names.join(" "));
                }
            }
        }
        let _ = write!(
            text,
            "{} for {}",
            note.note.spoken(),
            spell_fraction(&score.beats_written(note).0)
        );
        if note.continues {
            text.push_str(" tied");
        }
    }
    text
}

/// Sentences about where the movements that are played whole in these stages take their time from,
/// one for all movements that are alike.
pub(super) fn where_the_time_comes_from(scores: &[Score]) -> Vec<String> {
    // the movements before the beat, on it, and over it
    let mut alike: [Vec<&'static str>; 3] = Default::default();
    for note in scores.iter().flat_map(|score| &score.notes) {
        let ScoreGroup {
            parts,
            before_beat,
            movement: Some(movement),
        } = &note.group
        else {
            continue;
        };
        let name = movement.spoken();
        if parts.len() < 2 || alike.iter().flatten().any(|known| *known == name) {
            continue;
        }
        let place = match *before_beat {
            before if before == parts.len() => 0,
            0 => 1,
            _ => 2,
        };
        alike[place].push(name);
    }
    let said = alike
        .iter()
        .enumerate()
        .filter(|(_, names)| !names.is_empty());
    said.map(|(place, names)| {
        let names: Vec<String> = names.iter().map(|name| format!("the {name}")).collect();
        let who = wording::capital(&wording::list(&names));
        let words = match (place, names.len()) {
            (0, 1) => "falls before the beat: its time comes from the note before, and the closing note lands on its own place.",
            (0, _) => "fall before the beat: their time comes from the note before, and the closing note lands on its own place.",
            (1, 1) => "begins on the beat: its time comes from the note it leads to.",
            (1, _) => "begin on the beat: their time comes from the note they lead to.",
            (_, 1) => "begins before the beat and ends on it: it takes time from the notes on both sides.",
            _ => "begin before the beat and end on it: they take time from the notes on both sides.",
        };
        format!("{who} {words}")
    })
    .collect()
}
