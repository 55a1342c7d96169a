//! Judges notes that were not heard, and the lengths of those that were: gracenotes, tones inside a
//! movement against the timeline and against each other, and taps of a birl.
//!
//! A tone's length is compared with the timeline first. Two tones are reported as unlike only when
//! neither is crushed or dragged, so that one short tone is one fault and not two.

use super::words::spoken;
use super::{Fault, FaultKind, HEAVIEST, Thresholds, weight};
use crate::chanter::Note;
use crate::practice::measurement::{Measurement, NoteKind, NoteMeasure};

/// A gracenote below this many times its length in the timeline is never too long, because a drill
/// may set long gracenotes. Chosen.
const TOO_LONG_SHARE: f64 = 1.5;
/// When the timeline itself plays a tap beyond the usual limits, the limit is this share of its
/// length, or the length divided by this share. Chosen.
const TAP_SHARE: f64 = 0.8;

/// A note together with the measurement of its repetition.
struct Scene<'a> {
    measured: &'a Measurement,
    limits: &'a Thresholds,
    at: usize,
    note: &'a NoteMeasure,
}

pub(super) fn judge(measured: &Measurement, limits: &Thresholds) -> Vec<Fault> {
    let mut faults: Vec<Fault> = measured
        .notes
        .iter()
        .enumerate()
        .filter_map(|(at, note)| {
            let scene = Scene {
                measured,
                limits,
                at,
                note,
            };
            scene.not_heard().or_else(|| scene.length())
        })
        .collect();
    let unlike = unlike(measured, limits, &faults);
    faults.extend(unlike);
    faults
}

impl Scene<'_> {
    fn name(&self) -> String {
        spoken(self.measured, self.at)
    }

    fn fault(&self, kind: FaultKind, weight: f64, words: String) -> Fault {
        Fault {
            kind,
            id: Some(self.note.id),
            measured: None,
            limit: None,
            weight,
            words,
        }
    }

    fn not_heard(&self) -> Option<Fault> {
        let Some(heard) = self.note.heard else {
            return Some(match self.note.part {
                NoteKind::Tone => Fault {
                    measured: Some(0.0),
                    limit: Some(self.limits.tone_shortest.0),
                    ..self.fault(
                        FaultKind::Swallowed,
                        HEAVIEST - 1.0,
                        format!("{} was swallowed; give it time to speak", self.name()),
                    )
                },
                NoteKind::Melody | NoteKind::Gracenote => self.fault(
                    FaultKind::Missing,
                    HEAVIEST,
                    format!("{} was not heard", self.name()),
                ),
            });
        };
        (heard != self.note.written).then(|| {
            self.fault(
                FaultKind::Wrong,
                HEAVIEST,
                format!("{} sounded as {}", self.name(), heard.spoken()),
            )
        })
    }

    fn length(&self) -> Option<Fault> {
        let length = self.note.own_length()?.0;
        let fault = match self.note.part {
            NoteKind::Melody => None,
            NoteKind::Gracenote if self.note.tap => self.tap(length),
            NoteKind::Gracenote => self.gracenote(length),
            NoteKind::Tone => self.tone(length),
        };
        fault.filter(|fault| {
            let long = matches!(fault.kind, FaultKind::TooLong | FaultKind::Dragged);
            !(long && self.measured.ran_on(self.at))
        })
    }

    fn gracenote(&self, length: f64) -> Option<Fault> {
        let longest = self
            .limits
            .gracenote_longest
            .0
            .max(TOO_LONG_SHARE * self.note.expected_ms.0);
        (length > longest).then(|| Fault {
            measured: Some(length),
            limit: Some(longest),
            ..self.fault(
                FaultKind::TooLong,
                weight(length, longest),
                format!(
                    "{} lasted {length:.0} ms; aim for under {:.0}",
                    self.name(),
                    self.limits.gracenote_aim.0
                ),
            )
        })
    }

    fn tone(&self, length: f64) -> Option<Fault> {
        let model = self.note.expected_ms.0;
        let limits = self.limits;
        let shortest = (limits.crushed_share * model).min(limits.crushed_under.0);
        let longest = (limits.dragged_share * model).max(limits.dragged_over.0);
        let of_model = || format!("{} lasted {length:.0} of {model:.0} ms", self.name());
        if length < shortest.min(limits.tone_shortest.0) {
            return Some(Fault {
                measured: Some(length),
                limit: Some(limits.tone_shortest.0),
                ..self.fault(
                    FaultKind::Swallowed,
                    // A tone of 0 ms weighs as much as one that was not heard at all.
                    1.0 + (HEAVIEST - 2.0)
                        * (1.0 - length / limits.tone_shortest.0).clamp(0.0, 1.0),
                    format!("{} and can hardly be heard; give it time", of_model()),
                )
            });
        }
        if length < shortest {
            return Some(Fault {
                measured: Some(length),
                limit: Some(shortest),
                ..self.fault(
                    FaultKind::Crushed,
                    weight(shortest, length),
                    format!("{}; give it time", of_model()),
                )
            });
        }
        (length > longest).then(|| Fault {
            measured: Some(length),
            limit: Some(longest),
            ..self.fault(
                FaultKind::Dragged,
                weight(length, longest),
                format!("{}; close it up", of_model()),
            )
        })
    }

    fn tap(&self, length: f64) -> Option<Fault> {
        let (limits, model) = (self.limits, self.note.expected_ms.0);
        let shortest = limits.tap_shortest.0.min(TAP_SHARE * model);
        let longest = limits.tap_longest.0.max(model / TAP_SHARE);
        let (kind, limit, weight, advice) = if length < shortest {
            let weight = weight(shortest, length);
            (FaultKind::Crushed, shortest, weight, "let it sound")
        } else if length > longest {
            let weight = weight(length, longest);
            (FaultKind::Dragged, longest, weight, "tap quicker")
        } else {
            return None;
        };
        Some(Fault {
            measured: Some(length),
            limit: Some(limit),
            ..self.fault(
                kind,
                weight,
                format!("{} lasted {length:.0} ms; {advice}", self.name()),
            )
        })
    }
}

/// Compares equal tones and taps of one movement by the two that differ most. The fault names the
/// one further from its length in the timeline.
pub(super) fn unlike(measured: &Measurement, limits: &Thresholds, faults: &[Fault]) -> Vec<Fault> {
    let faulty = |note: &NoteMeasure| faults.iter().any(|fault| fault.id == Some(note.id));
    let mut found = Vec::new();
    for (inner, _) in measured.movements() {
        let tones: Vec<(usize, f64, f64)> = inner
            .filter(|at| {
                let note = &measured.notes[*at];
                (note.part == NoteKind::Tone || note.tap) && !faulty(note) && !measured.ran_on(*at)
            })
            .filter_map(|at| {
                let note = &measured.notes[at];
                let length = note.own_length().filter(|length| length.0 > 0.0)?.0;
                // Lengths are relative to the timeline, because a movement may hold one of its
                // tones long.
                Some((at, length, length / note.expected_ms.0.max(1.0)))
            })
            .collect();
        let mut told: Vec<(Note, bool)> = Vec::new();
        for (at, ..) in &tones {
            let note = &measured.notes[*at];
            if told.contains(&(note.written, note.tap)) {
                continue;
            }
            told.push((note.written, note.tap));
            let like = || {
                tones.iter().filter(|(other, ..)| {
                    let other = &measured.notes[*other];
                    other.written == note.written && other.tap == note.tap
                })
            };
            let by_share = |a: &&(usize, f64, f64), b: &&(usize, f64, f64)| a.2.total_cmp(&b.2);
            let (Some(short), Some(long)) = (like().min_by(by_share), like().max_by(by_share))
            else {
                continue;
            };
            let both_short = short.1.max(long.1) < limits.alike_short_under.0;
            let limit = if both_short {
                limits.alike_short
            } else {
                limits.alike
            };
            let ratio = long.2 / short.2;
            if ratio > limit {
                let away = |tone: &(usize, f64, f64)| tone.2.ln().abs();
                let (blamed, other) = if away(short) > away(long) {
                    (short, long)
                } else {
                    (long, short)
                };
                found.push(Fault {
                    kind: FaultKind::Unlike,
                    id: Some(measured.notes[blamed.0].id),
                    measured: Some(ratio),
                    limit: Some(limit),
                    weight: weight(ratio, limit),
                    words: format!(
                        "{} lasted {:.0} ms and {} {:.0}; make them alike",
                        spoken(measured, blamed.0),
                        blamed.1,
                        spoken(measured, other.0),
                        other.1,
                    ),
                });
            }
        }
    }
    found
}
