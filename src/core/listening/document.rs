//! What was heard, as a document for other programs.

use super::align::Repetition;
use super::heard::{HeardKind, HeardNote};
use super::piece::ExpectedStage;
use super::recording::Hearing;
use crate::chanter::Note;
use crate::practice::{FaultKind, Mark, Measurement, PointingHeard, ToneShape, Verdict};
use crate::score::NoteId;
use crate::units::{Cents, FullScale, Hertz, Milliseconds, Seconds};
use serde::Serialize;

/// A recording as it was heard; with a drill, its notes are compared with the score and judged.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct ListenDocument {
    /// Low A that was listened with, hertz; null where no chanter was heard.
    pub la_hz: Option<Hertz>,
    /// Length of the recording, seconds.
    pub seconds: Seconds,
    /// The notes, in order.
    pub notes: Vec<NoteRow>,
    /// Sounds too brief to be named, in order.
    pub noises: Vec<NoiseRow>,
    /// The repetitions found; left out without a drill.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub repetitions: Option<Vec<RepetitionRow>>,
    /// Every fault, in order of the repetitions, the worst first; left out without a drill.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub faults: Option<Vec<FaultRow>>,
    /// What was odd about the recording, in words.
    pub remarks: Vec<String>,
}

/// A note that was heard. Its times are seconds of the recording.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct NoteRow {
    /// The note's name.
    pub note: Note,
    /// Its start.
    pub start_s: Seconds,
    /// Its end.
    pub end_s: Seconds,
    /// What it looks like by its length.
    pub kind: HeardKind,
    /// How sure it is, 0 to 1.
    pub confidence: f64,
    /// Its pitch against the tuning; null for a short note.
    pub cents: Option<Cents>,
    /// Its level, dB of full scale: of its harmonics where it was held, of all sound where it was short;
    /// null for a note that was found only by knowing which note was due.
    pub level_db: Option<FullScale>,
    /// The score's note that it was compared with; left out without a drill, null where no note of
    /// the score explains it.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub score: Option<Option<ScoreRow>>,
}

/// A sound too brief to be named. Its times are seconds of the recording.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct NoiseRow {
    /// Its start.
    pub start_s: Seconds,
    /// Its end.
    pub end_s: Seconds,
}

/// The score's note that a note heard was compared with.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct ScoreRow {
    /// The id of the score's note.
    pub id: NoteId,
    /// The repetition, from 1.
    pub repetition: usize,
    /// The note that is written.
    pub written: Note,
    /// How far its beginning was from its place, positive late.
    pub offset_ms: Option<Milliseconds>,
    /// How much longer it was than the timeline gives it.
    pub longer_ms: Option<Milliseconds>,
}

/// A repetition found, with its raw figures.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct RepetitionRow {
    /// Counted from 1.
    pub repetition: usize,
    /// Where its first beat lies in the recording.
    pub start_s: Seconds,
    /// The mark it earns; null where it was not sure enough to be judged.
    pub mark: Option<Mark>,
    /// How sure the ear is of what sounded in it, 0 to 1.
    pub confidence: Option<f64>,
    /// The tones inside its movements beside their length in the timeline, the worst first.
    pub shape: Vec<ShapeRow>,
    /// How its dots and its snaps were pointed, where the tune says how; left out where it does not.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub pointing: Vec<PointingRow>,
    /// The figures it was judged by.
    pub measured: Measurement,
}

/// How the dots of a repetition were pointed, or its snaps. Every ratio is long to short by onsets.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct PointingRow {
    /// `dots`, long note first, or `snaps`.
    pub pairs: &'static str,
    /// The median ratio of those pairs that no movement takes time from.
    pub ratio: f64,
    /// Half of the pairs lie no farther from that ratio than this.
    pub spread: f64,
    /// The least ratio, the roundest, that counts as well pointed.
    pub least: f64,
    /// The greatest ratio, the sharpest, that counts as well pointed.
    pub most: f64,
    /// Each pair, in order.
    pub each: Vec<PairRow>,
}

/// A pair as it was played.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct PairRow {
    /// The id of its second note in the score.
    pub id: Option<NoteId>,
    /// The bar it stands in, from 1; 0 in a pickup.
    pub bar: u32,
    /// Its ratio.
    pub ratio: f64,
    /// True where a movement takes its time from the long note: such a pair is not judged as too
    /// round.
    pub taken: bool,
}

/// How long a tone inside a movement lasted, milliseconds.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct ShapeRow {
    /// The score's note.
    pub id: Option<NoteId>,
    /// Its name: `second low G`.
    pub name: String,
    /// How long it lasted; 0 where it was not heard.
    pub length_ms: Milliseconds,
    /// How long the timeline gives it.
    pub model_ms: Milliseconds,
    /// True where its length is a fault.
    pub faulty: bool,
}

/// One fault.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct FaultRow {
    /// The repetition, from 1.
    pub repetition: usize,
    /// What kind.
    pub kind: FaultKind,
    /// The id of the score's note that it is about.
    pub id: Option<NoteId>,
    /// What was measured, in milliseconds; of the tempo per cent, of tones that are not alike how
    /// many times as long, of a pair its ratio.
    pub measured: Option<f64>,
    /// The limit it went beyond.
    pub limit: Option<f64>,
    /// A teacher's sentence.
    pub words: String,
}

/// Rounded to four decimals, which of a second is finer than the network's hop of 1 ms.
fn rounded(value: f64) -> f64 {
    (value * 1e4).round() / 1e4
}

fn rounded_ms(value: Milliseconds) -> Milliseconds {
    Milliseconds(rounded(value.0))
}

/// Makes the document; `compared` is the piece with the repetitions found and their verdicts.
pub fn listen_document(
    hearing: &Hearing,
    compared: Option<(&ExpectedStage, &[(Repetition, Verdict)])>,
) -> ListenDocument {
    let mut notes: Vec<NoteRow> = hearing
        .notes
        .iter()
        .map(|note| row(note, compared.is_some()))
        .collect();
    let mut repetitions = Vec::new();
    let mut faults = Vec::new();
    if let Some((piece, found)) = compared {
        for (at, (repetition, verdict)) in found.iter().enumerate() {
            name_notes(&mut notes, piece, repetition, at + 1);
            let id = |id: u32| piece.notes.get(id as usize).map(|note| note.id);
            faults.extend(verdict.faults.iter().map(|fault| FaultRow {
                repetition: at + 1,
                kind: fault.kind,
                id: fault.id.and_then(id),
                measured: fault.measured.map(rounded),
                limit: fault.limit.map(rounded),
                words: fault.words.clone(),
            }));
            repetitions.push(repetition_row(at + 1, repetition, verdict, id));
        }
    }
    let is_noise =
        |note: &HeardNote, row: &NoteRow| !note.named && !matches!(row.score, Some(Some(_)));
    let mut noises = Vec::new();
    let mut heard = hearing.notes.iter();
    notes.retain(|row| {
        let noise = heard.next().is_some_and(|note| is_noise(note, row));
        if noise {
            noises.push(NoiseRow {
                start_s: row.start_s,
                end_s: row.end_s,
            });
        }
        !noise
    });
    ListenDocument {
        la_hz: hearing
            .low_a
            .map(|hertz| Hertz((hertz.0 * 100.0).round() / 100.0)),
        seconds: Seconds(rounded(hearing.length.0)),
        notes,
        noises,
        repetitions: compared.is_some().then_some(repetitions),
        faults: compared.is_some().then_some(faults),
        remarks: hearing.remarks.iter().map(ToString::to_string).collect(),
    }
}

/// Says of each note heard in a repetition which note of the score it was compared with.
fn name_notes(
    notes: &mut [NoteRow],
    piece: &ExpectedStage,
    repetition: &Repetition,
    number: usize,
) {
    for (at, place) in repetition.pairs.iter().enumerate() {
        let (Some(place), Some(expected), Some(figures)) = (
            place,
            piece.notes.get(at),
            repetition.measured.notes.get(at),
        ) else {
            continue;
        };
        if let Some(row) = notes.get_mut(*place) {
            row.score = Some(Some(ScoreRow {
                id: expected.id,
                repetition: number,
                written: expected.note,
                offset_ms: figures.offset_ms.map(rounded_ms),
                longer_ms: figures
                    .length_ms
                    .map(|length| rounded_ms(length - figures.expected_ms)),
            }));
        }
    }
}

fn repetition_row(
    number: usize,
    repetition: &Repetition,
    verdict: &Verdict,
    id: impl Fn(u32) -> Option<NoteId>,
) -> RepetitionRow {
    RepetitionRow {
        repetition: number,
        start_s: Seconds(rounded(repetition.start.0)),
        mark: verdict.mark,
        confidence: repetition.measured.confidence.map(rounded),
        shape: verdict
            .shape
            .iter()
            .map(|tone| shape_row(tone, id(tone.id)))
            .collect(),
        pointing: verdict
            .pointing
            .iter()
            .map(|heard| pointing_row(heard, &id))
            .collect(),
        measured: repetition.measured.clone(),
    }
}

fn pointing_row(heard: &PointingHeard, id: impl Fn(u32) -> Option<NoteId>) -> PointingRow {
    PointingRow {
        pairs: if heard.long_first { "dots" } else { "snaps" },
        ratio: rounded(heard.ratio),
        spread: rounded(heard.spread),
        least: rounded(heard.range.0),
        most: rounded(heard.range.1),
        each: heard
            .pairs
            .iter()
            .map(|pair| PairRow {
                id: id(pair.id),
                bar: pair.bar,
                ratio: rounded(pair.ratio),
                taken: pair.taken,
            })
            .collect(),
    }
}

fn shape_row(tone: &ToneShape, id: Option<NoteId>) -> ShapeRow {
    ShapeRow {
        id,
        name: format!("{}{}", tone.name, tone.bar),
        length_ms: rounded_ms(tone.length_ms),
        model_ms: rounded_ms(tone.model_ms),
        faulty: tone.faulty,
    }
}

fn row(note: &HeardNote, compared: bool) -> NoteRow {
    NoteRow {
        note: note.note,
        start_s: Seconds(rounded(note.start_s)),
        end_s: Seconds(rounded(note.end_s)),
        kind: note.kind(),
        confidence: (note.confidence * 1e3).round() / 1e3,
        cents: note
            .cents
            .map(|cents| Cents((cents.0 * 10.0).round() / 10.0)),
        level_db: note
            .level
            .map(|level| FullScale((level.0 * 10.0).round() / 10.0)),
        score: compared.then_some(None),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::Cents;

    /// Without it a noise of a few milliseconds would be told as a note that was never played.
    #[test]
    fn a_noise_without_a_name_is_no_note() {
        let note = |named, start_s, end_s| HeardNote {
            note: Note::C,
            start_s,
            end_s,
            confidence: 0.9,
            level: Some(FullScale(-20.0)),
            cents: Some(Cents(0.0)),
            named,
        };
        let hearing = Hearing {
            low_a: None,
            notes: vec![
                note(true, 0.0, 1.0),
                note(false, 1.0, 1.007),
                note(true, 1.007, 2.0),
            ],
            length: Seconds(2.0),
            remarks: Vec::new(),
        };
        let document = listen_document(&hearing, None);
        assert_eq!(document.notes.len(), 2);
        assert_eq!(document.notes[0].level_db, Some(FullScale(-20.0)));
        let noise = NoiseRow {
            start_s: Seconds(1.0),
            end_s: Seconds(1.007),
        };
        assert_eq!(document.noises, [noise]);
    }
}
