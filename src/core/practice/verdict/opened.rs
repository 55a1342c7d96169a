//! Judges the tones of an opened movement: their length must match the rung, and they must be
//! alike.
//!
//! In real time a tone must be heard and not dragged; in an opened movement it must have the rung's
//! length. When the movement begins before the beat, its start has no place on the click. So its
//! start is not judged, but its landing, the evenness of the notes around it and its tones are.

use super::lengths::unlike;
use super::{Fault, FaultKind, Thresholds, weight};
use crate::practice::measurement::{Measurement, NoteKind, NoteMeasure};
use crate::units::median;

/// Replaces the faults of tones in real time by those of an opened movement.
pub(super) fn judge(
    faults: &mut Vec<Fault>,
    measured: &Measurement,
    limits: &Thresholds,
    rung_ms: f64,
) {
    let is_tone = |note: &NoteMeasure| {
        // A tone that the movement holds long in any case is not part of the opening.
        note.part == NoteKind::Tone && (note.expected_ms.0 - rung_ms).abs() < 1.0
    };
    let of_tone = |fault: &Fault| {
        let note = measured.notes.iter().find(|note| Some(note.id) == fault.id);
        let length = matches!(
            fault.kind,
            FaultKind::Crushed | FaultKind::Dragged | FaultKind::Unlike
        );
        length && note.is_some_and(is_tone)
    };
    faults.retain(|fault| !of_tone(fault));
    let tones = measured.notes.iter().enumerate();
    let mut heard: Vec<(f64, u32)> = tones
        .filter(|(at, note)| is_tone(note) && !measured.ran_on(*at))
        .filter_map(|(_, note)| Some((note.own_length()?.0, note.id)))
        .collect();
    heard.sort_by(|one, other| one.0.total_cmp(&other.0));
    faults.extend(median_off(&heard, limits, rung_ms));
    let alike = Thresholds {
        alike: limits.opened_alike,
        alike_short: limits.opened_alike,
        ..*limits
    };
    let apart = unlike(measured, &alike, faults).into_iter().filter(of_tone);
    let apart: Vec<Fault> = apart.collect();
    faults.extend(apart);
}

/// The fault when the median tone of the repetition is too short or too long for the rung. It names
/// the shortest or the longest tone.
fn median_off(heard: &[(f64, u32)], limits: &Thresholds, rung_ms: f64) -> Option<Fault> {
    let (shortest, longest) = (heard.first()?, heard.last()?);
    let mut lengths: Vec<f64> = heard.iter().map(|(length, _)| *length).collect();
    let median = median(&mut lengths)?;
    let (least, most) = (
        limits.opened_shortest * rung_ms,
        limits.opened_longest * rung_ms,
    );
    let (kind, limit, weight, id, advice) = if median < least {
        let weight = weight(least, median.max(1.0));
        (FaultKind::Crushed, least, weight, shortest.1, "open them")
    } else if median > most {
        let weight = weight(median, most);
        (FaultKind::Dragged, most, weight, longest.1, "close them up")
    } else {
        return None;
    };
    Some(Fault {
        kind,
        id: Some(id),
        measured: Some(median),
        limit: Some(limit),
        weight,
        words: format!("the tones lasted {median:.0} of {rung_ms:.0} ms; {advice}"),
    })
}

#[cfg(test)]
mod tests {
    use super::super::judge;
    use super::*;
    use crate::chanter::Note;
    use crate::practice::{Mark, Rung};
    use crate::units::Milliseconds;

    /// Two grips in one repetition, opened to 148 ms at 60 beats a minute, with these four tones.
    fn grips(tones: [f64; 4]) -> Measurement {
        grips_opened_to(148.0, tones)
    }

    fn grips_opened_to(rung_ms: f64, tones: [f64; 4]) -> Measurement {
        let note = |id, part, written, length_ms, expected_ms| NoteMeasure {
            id,
            bar: 1,
            part,
            written,
            heard: Some(written),
            length_ms: Some(Milliseconds(length_ms)),
            expected_ms: Milliseconds(expected_ms),
            offset_ms: (part == NoteKind::Melody).then_some(Milliseconds(0.0)),
            place_ms: None,
            on_click: part == NoteKind::Melody,
            begun_by: 0,
            tap: false,
            movement: None,
            pair: None,
            cents: None,
        };
        let mut notes = Vec::new();
        for (grip, pair) in tones.chunks(2).enumerate() {
            let id = grip as u32 * 5;
            notes.extend([
                note(id, NoteKind::Melody, Note::D, 1669.0, 1669.0),
                note(id + 1, NoteKind::Tone, Note::LowG, pair[0], rung_ms),
                note(id + 2, NoteKind::Gracenote, Note::B, 35.0, 35.0),
                note(id + 3, NoteKind::Tone, Note::LowG, pair[1], rung_ms),
                note(id + 4, NoteKind::Melody, Note::LowA, 2000.0, 2000.0),
            ]);
        }
        Measurement {
            playing: true,
            notes,
            ..Measurement::nothing(Milliseconds(1000.0))
        }
    }

    fn limits() -> Thresholds {
        limits_at("148 ms at 60")
    }

    fn limits_at(rung: &str) -> Thresholds {
        let rung = Rung::parse(rung).expect("a rung");
        Thresholds::default().on(rung, &[rung.tempo()])
    }

    fn told(tones: [f64; 4]) -> Vec<(FaultKind, String)> {
        let verdict = judge(&grips(tones), &limits());
        let clean = verdict.faults.is_empty();
        assert_eq!(verdict.mark == Some(Mark::Clean), clean);
        let faults = verdict.faults.into_iter();
        faults.map(|fault| (fault.kind, fault.words)).collect()
    }

    /// 0.75 of 148 ms is 111 ms, and 1.3 of it is 192.4 ms. Within these limits it is clean;
    /// outside it is another rung.
    #[test]
    fn the_median_tone_lies_near_the_rung() {
        for clean in [112.0, 148.0, 192.0] {
            assert_eq!(told([clean; 4]), [], "{clean}");
        }
        assert_eq!(
            told([110.0; 4]),
            [(
                FaultKind::Crushed,
                "the tones lasted 110 of 148 ms; open them".to_owned()
            )]
        );
        assert_eq!(
            told([194.0; 4]),
            [(
                FaultKind::Dragged,
                "the tones lasted 194 of 148 ms; close them up".to_owned()
            )]
        );
    }

    /// At 100 ms a median of 75 ms and one of 130 ms are within the limits. Outside them the fault
    /// names the shortest or the longest tone, and its figures are the median and its limit.
    #[test]
    fn the_edges_of_a_rung_belong_to_it() {
        let faults =
            |tones| judge(&grips_opened_to(100.0, tones), &limits_at("100 ms at 60")).faults;
        assert_eq!(faults([75.0; 4]), []);
        assert_eq!(faults([130.0; 4]), []);
        // Here the longest tone does not stand before a landing, which could excuse it.
        assert_eq!(faults([131.0, 129.0, 131.0, 129.0]), []);
        for (tones, id, median, limit, weight) in [
            ([62.0, 58.0, 60.0, 60.0], 3, 60.0, 75.0, 1.25),
            ([156.0, 150.0, 162.0, 156.0], 6, 156.0, 130.0, 1.2),
        ] {
            let found = faults(tones);
            let [fault] = &found[..] else {
                panic!("one fault was expected: {found:?}")
            };
            assert_eq!(fault.id, Some(id));
            assert_eq!((fault.measured, fault.limit), (Some(median), Some(limit)));
            assert!((fault.weight - weight).abs() < 1e-9, "{fault:?}");
        }
    }

    /// A tone that the movement holds for a beat is not opened.
    #[test]
    fn a_held_tone_is_no_tone_of_the_opening() {
        let mut measured = grips([1000.0, 148.0, 1000.0, 148.0]);
        for at in [1, 6] {
            measured.notes[at].expected_ms = Milliseconds(1000.0);
        }
        assert_eq!(judge(&measured, &limits()).faults, []);
    }

    /// In real time tones of 50 and 79 ms are alike, because the unevenness of a finger matters
    /// more in short tones. On a rung of 70 ms they are not alike.
    #[test]
    fn short_tones_of_an_opened_movement_are_alike_too() {
        let apart = grips_opened_to(70.0, [50.0, 79.0, 70.0, 70.0]);
        assert_eq!(judge(&apart, &Thresholds::default()).faults, []);
        let verdict = judge(&apart, &limits_at("70 ms at 60"));
        let told = verdict.faults.iter().map(|fault| (fault.kind, fault.limit));
        assert_eq!(told.collect::<Vec<_>>(), [(FaultKind::Unlike, Some(1.5))]);
        let alike = grips_opened_to(70.0, [50.0, 74.0, 70.0, 70.0]);
        assert_eq!(judge(&alike, &limits_at("70 ms at 60")).faults, []);
    }

    /// The neighbouring rungs, 211 and 104 ms, are not mistaken for this one; real time would call
    /// both clean.
    #[test]
    fn a_rung_is_told_from_its_neighbours() {
        for (neighbour, kind) in [(211.0, FaultKind::Dragged), (104.0, FaultKind::Crushed)] {
            assert_eq!(told([neighbour; 4])[0].0, kind);
            assert_eq!(
                judge(&grips([neighbour; 4]), &Thresholds::default()).faults,
                []
            );
        }
    }

    /// One long tone does not change the median much, but it is reported as unlike its twin: 1.5 to
    /// 1.
    #[test]
    fn like_tones_are_alike() {
        assert_eq!(told([140.0, 205.0, 140.0, 150.0]), []);
        let apart = told([130.0, 200.0, 140.0, 150.0]);
        assert_eq!(apart.len(), 1, "{apart:?}");
        assert_eq!(apart[0].0, FaultKind::Unlike);
    }

    /// The beginning of an opened movement is not judged, but the evenness of a note between clicks
    /// is.
    #[test]
    fn the_evenness_of_the_notes_around_it_is_judged_and_its_start_is_not() {
        let mut measured = grips([148.0; 4]);
        measured.notes[1].offset_ms = Some(Milliseconds(-200.0));
        assert_eq!(judge(&measured, &limits()).faults, []);
        measured.notes[5].on_click = false;
        measured.notes[5].offset_ms = Some(Milliseconds(130.0));
        let verdict = judge(&measured, &limits());
        let told = verdict.faults.iter().map(|fault| (fault.kind, fault.id));
        assert_eq!(told.collect::<Vec<_>>(), [(FaultKind::Uneven, Some(5))]);
    }

    /// A tone that was not heard is swallowed, as in real time. When no other tone of the movement
    /// was heard, nothing else is reported.
    #[test]
    fn a_tone_that_was_not_heard_is_swallowed() {
        let mut measured = grips([148.0; 4]);
        measured.notes[1].heard = None;
        measured.notes[1].length_ms = None;
        let verdict = judge(&measured, &limits());
        let kinds: Vec<FaultKind> = verdict.faults.iter().map(|fault| fault.kind).collect();
        assert_eq!(kinds, [FaultKind::Swallowed]);
    }
}
