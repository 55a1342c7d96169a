//! Says in a sentence where a movement takes its time from.

use super::notes::{Score, ScoreNote};
use crate::units::{Beats, spell_fraction};

/// The sentences for a score: one for each way in which its movements take their time, without
/// repeats. Common practice, no source, as in the catalogue's rows.
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
        let of_a_cut = is_behind_a_cut(score, index);
        let sentence = sentence(movement.spoken(), note, of_a_cut, before);
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

/// True for a note behind a dot and its cut in a tune that has a pointing. The cut keeps time to be
/// heard, so a movement before the note may take its time from the dot.
fn is_behind_a_cut(score: &Score, index: usize) -> bool {
    let pointing = score.pointing;
    if !pointing.judged || pointing.of_pair(true).is_none() {
        return false;
    }
    let begun = (0..index).filter(|at| !score.notes[*at].continues);
    let mut last = begun
        .rev()
        .map(|at| (&score.notes[at], score.sounding_length(at)));
    let (Some(cut), Some(dot)) = (last.next(), last.next()) else {
        return false;
    };
    dot.1 > cut.1 && score.is_pair(dot, cut)
}

fn sentence(name: &str, note: &ScoreNote, of_a_cut: bool, before: Option<&str>) -> String {
    let group = &note.group;
    let beat = spell_fraction(&(note.place + Beats::ONE).0);
    let closing = note.note.spoken();
    let giver = before.unwrap_or("the note before");
    let count = group.parts.len();
    if group.before_beat >= count && of_a_cut {
        format!(
            "the {name} takes its time from the end of {giver} and, where {giver} is too short, from \
             the dot before it; {closing} lands on beat {beat}"
        )
    } else if group.before_beat >= count {
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
