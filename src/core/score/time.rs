//! Where the time of a movement comes from, in a sentence.

use super::notes::{Score, ScoreGroup, ScoreNote};
use crate::units::{Beats, spell_fraction};

/// The sentences of a score: one for each way its movements take their time, without repeats.
/// Common practice, no source, as the catalogue's rows say.
pub fn where_time_comes_from(score: &Score) -> Vec<String> {
    let mut sentences: Vec<(u16, String)> = Vec::new();
    for (index, note) in score.notes.iter().enumerate() {
        let Some(movement) = note.group.movement.filter(|_| note.group.parts.len() > 1) else {
            continue;
        };
        let before = index
            .checked_sub(1)
            .and_then(|before| score.notes.get(before))
            .map(|before| before.note.spoken());
        let sentence = sentence(movement.spoken(), note, &note.group, before);
        if !sentences.iter().any(|(_, known)| *known == sentence) {
            sentences.push((note.id.bar, sentence));
        }
    }
    let bars_differ = sentences.windows(2).any(|pair| pair[0].0 != pair[1].0);
    sentences
        .into_iter()
        .map(|(bar, sentence)| match bar {
            _ if !bars_differ => sentence,
            0 => format!("in the pickup {sentence}"),
            bar => format!("in bar {bar} {sentence}"),
        })
        .collect()
}

fn sentence(name: &str, note: &ScoreNote, group: &ScoreGroup, before: Option<&str>) -> String {
    let beat = spell_fraction(&(note.place + Beats::ONE).0);
    let closing = note.note.spoken();
    let giver = before.unwrap_or("the note before");
    let count = group.parts.len();
    if group.before_beat >= count {
        format!("the {name} takes its time from the end of {giver}; {closing} lands on beat {beat}")
    } else if group.before_beat == 0 {
        format!("the {name} begins on beat {beat} and takes its time from {closing}")
    } else {
        let first = group.parts[group.before_beat].note.spoken();
        format!(
            "the {name} begins before beat {beat}, at the end of {giver}; its {first} falls on \
             the beat"
        )
    }
}
