//! The changes of note that a piece asks for, and when each is due, once it is known where its
//! repetitions lie. It knows notes and seconds and nothing of sound.
//!
//! Changes that leave out notes of a movement are due as well: that a note was left out must be as
//! easy to hear as that it was played, or what is written would be heard where it was not played.

use super::align::places;
use super::heard::HeardNote;
use super::piece::ExpectedStage;
use crate::chanter::Note;
use crate::practice::NoteKind;
use crate::units::Seconds;

/// A change is due up to so many seconds from where it is expected: the gracenotes before it may be
/// longer or shorter than in the timeline. Chosen: as long as a gracenote.
const AROUND_S: f64 = 0.06;

/// A change of note, and the stretch of time in which it is due.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Due {
    pub from: Note,
    pub to: Note,
    /// From when to when, counted from the start of the sound.
    pub first: Seconds,
    pub last: Seconds,
}

/// What is due in the repetitions of a piece that are found among notes heard, in order of time.
pub(super) fn due(piece: &ExpectedStage, heard: &[HeardNote]) -> Vec<Due> {
    let mut all: Vec<Due> = Vec::new();
    for (start_s, pairs) in places(piece, heard) {
        let expected = expected(piece, start_s, &pairs, heard);
        for at in 1..piece.notes.len() {
            let before = at - 1;
            // a change may leave out notes up to the next melody note
            let melody =
                (at..piece.notes.len()).find(|at| piece.notes[*at].part == NoteKind::Melody);
            for to in at..=melody.unwrap_or(at) {
                let (from, to_note) = (piece.notes[before].note, piece.notes[to].note);
                if from != to_note {
                    all.push(Due {
                        from,
                        to: to_note,
                        first: Seconds(expected[at] - AROUND_S),
                        last: Seconds(expected[to] + AROUND_S),
                    });
                }
            }
        }
    }
    all.sort_by(|one, other| one.first.total_cmp(&other.first));
    all
}

/// When each note of a repetition is expected: where it was heard, or else as far from its written
/// place as the nearest note that was heard.
fn expected(
    piece: &ExpectedStage,
    start_s: f64,
    pairs: &[Option<usize>],
    heard: &[HeardNote],
) -> Vec<f64> {
    let off = |at: usize| {
        let place = pairs.get(at).copied().flatten()?;
        Some(heard[place].start_s - start_s - piece.notes[at].start_s)
    };
    (0..piece.notes.len())
        .map(|at| {
            let near =
                (0..piece.notes.len()).filter_map(|other| Some((other.abs_diff(at), off(other)?)));
            let nearest = near.min_by_key(|(apart, _)| *apart);
            let off = nearest.map_or(0.0, |(_, off)| off);
            start_s + piece.notes[at].start_s + off
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::drill::{built_in, read};
    use crate::score::resolve_music;
    use crate::timeline::{Layout, lay};
    use crate::units::{Beats, Bpm, SampleRate};

    /// Without it a note that was left out would be heard because it is written, and a movement
    /// that is late would not be expected when it comes.
    #[test]
    fn a_change_is_due_where_the_player_is_and_so_is_leaving_it_out() {
        let file = built_in("grip-from-d").expect("it is there");
        let drill = read(file.text.as_bytes()).0.expect("it reads");
        let real_time = drill.stages.last().expect("it has stages");
        let score = resolve_music(&real_time.music, Beats::whole(4), &drill.schools);
        let tempo = Bpm::whole(60).expect("a tempo");
        let piece = ExpectedStage::of(&score, &lay(&score, &Layout::at(tempo, SampleRate::USUAL)));
        let heard: Vec<HeardNote> = piece
            .notes
            .iter()
            .map(|note| {
                let start_s = 5.0 + note.start_s;
                HeardNote::known(
                    note.note,
                    Seconds(start_s),
                    Seconds(start_s + note.length_s),
                )
            })
            .collect();
        // the B gracenote of the first grip was not heard: the low Gs ran together
        let grip = piece.notes.iter().position(|note| note.note == Note::B);
        let grip = grip.expect("a grip from D has one");
        let mut without = heard.clone();
        without[grip - 1].end_s = heard[grip + 1].end_s;
        without.drain(grip..grip + 2);
        let all = due(&piece, &without);
        let at = heard[grip].start_s;
        let here = |from, to| {
            all.iter().any(|due| {
                (due.from, due.to) == (from, to) && (due.first.0..due.last.0).contains(&at)
            })
        };
        assert!(here(Note::LowG, Note::B), "what is written is due");
        assert!(here(Note::D, Note::B), "also without the first low G");
        assert!(!here(Note::D, Note::E), "nothing else");
        let far = all
            .iter()
            .map(|due| (due.last - due.first).0)
            .fold(0.0, f64::max);
        assert!(far < 0.6, "{far}: only around its place");
    }
    /// A note that was not heard is expected as late as the note beside it was.
    #[test]
    fn what_was_not_heard_is_expected_as_late_as_its_neighbour() {
        let written =
            |at: f64| crate::listening::by_hand::written(NoteKind::Melody, Note::E, 1, at, 1.0);
        let piece = ExpectedStage {
            notes: [0.0, 1.0, 2.0, 3.0].map(written).to_vec(),
            beat: Seconds(1.0),
            cycle: Seconds(8.0),
            length: Seconds(4.0),
        };
        let tone = |from: f64| HeardNote::known(Note::E, Seconds(from), Seconds(from + 1.0));
        let heard = [tone(20.0), tone(23.05)];
        let found = expected(&piece, 20.0, &[Some(0), None, None, Some(1)], &heard);
        let off = found.iter().zip([20.0, 21.0, 22.05, 23.05]);
        assert!(
            off.clone().all(|(found, at)| (found - at).abs() < 1e-9),
            "{found:?}"
        );
    }
}
