//! A drill's music in words: for readers who hear the page, and the sentences that stand over it.

use crate::drill::{Drill, Music, SLOW};
use crate::rhythm::plain_or_dotted;
use crate::score::{Score, ScoreGroup};
use crate::units::{Fraction, spell_fraction};
use crate::wording;

/// A text with a capital at its beginning and a stop at its end.
pub(super) fn sentence(text: &str) -> String {
    let text = text.trim();
    let stop = if text.ends_with(['.', '!', '?']) {
        ""
    } else {
        "."
    };
    wording::capital(text) + stop
}

/// A text with a stop at its end.
pub(super) fn sentence_tail(text: &str) -> String {
    let text = text.trim();
    if text.ends_with(['.', '!', '?']) {
        text.to_owned()
    } else {
        format!("{text}.")
    }
}

/// Where the metre of a tune changes and another note than the beat stays equal, a sentence each.
pub(super) fn equal_notes(music: &Music) -> Vec<String> {
    let metres = music.metres();
    let pairs = metres
        .windows(2)
        .zip(music.bar_numbers().into_iter().skip(1));
    let lines = pairs.filter_map(|(pair, bar)| {
        let (before, now) = pair[1].equal_notes(pair[0])?;
        let (before, now) = (note_name(before), note_name(now));
        Some(if before == now {
            format!("From bar {bar} on a {now} lasts as long as before.")
        } else {
            format!("From bar {bar} on a {now} lasts as long as a {before} before.")
        })
    });
    lines.collect()
}

/// `dotted crotchet`, of a part of a semibreve that one head writes.
fn note_name(part: Fraction) -> String {
    let (value, dotted) = plain_or_dotted(part);
    let dot = if dotted { "dotted " } else { "" };
    format!("{dot}{}", value.name())
}

/// Which stages are slow, said once: `Stages 1 to 4: notes slow, fingers at full speed.`
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

/// The music in words, for readers who hear the page.
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

/// How the movements that are played whole in these stages take their time: a sentence for those
/// that are alike.
pub(super) fn where_the_time_comes_from(scores: &[Score]) -> Vec<String> {
    // before the beat, on it, over it
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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::drill::read;

    /// On paper the figures of a metre do not say which note goes on.
    #[test]
    fn the_note_that_stays_equal_is_said() {
        let text = "title: A\nmetre: 2/4\nunit: 1/8\nmusic: A2 B2|[M:6/8][Q:1/8=1/8]c3 d3|[M:2/4]e2 d2|[M:2/2][Q:1/2=1/4]c4 B4|]\n\
                    ladder: {from: 50, to: 60, step: 4%}\n";
        let drill = read(text.as_bytes()).0.expect("it reads");
        assert_eq!(
            equal_notes(&drill.stages[0].music),
            [
                "From bar 2 on a quaver lasts as long as before.",
                "From bar 4 on a semiquaver lasts as long as a quaver before.",
            ]
        );
    }
}
