//! The verdict: what was measured, judged by thresholds that can change, in a teacher's words.
//!
//! Knows figures and limits; knows nothing of sound. Names at most two things to work on, the
//! worst first, and never scolds.

use super::entry::Mark;
use super::measurement::{ExtraNote, Measurement, NoteMeasure, Part};
use serde::{Deserialize, Serialize};

/// The limits a repetition is judged by. Lengths in milliseconds.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct Thresholds {
    /// A longer gracenote is too long. 60: the long end of what is usual, common practice, no
    /// source.
    pub gracenote_longest_ms: f64,
    /// What the player is told to aim under. 50: common practice, no source.
    pub gracenote_aim_ms: f64,
    /// A shorter tone inside a movement is swallowed. 20: about what the ear needs to tell the
    /// order of two sounds (Hirsh 1959).
    pub tone_shortest_ms: f64,
    /// A sound of this length that is not written is a crossing noise. 12 for a practice
    /// chanter, 7 for pipes: chosen below the 20 of Hirsh 1959, because a blip is noticed before
    /// it is understood.
    pub crossing_ms: f64,
    /// How far a note may be from its place at least, whatever the tempo. 10: the displacement
    /// just noticed in quick series, Friberg & Sundberg's report of 1992.
    pub offset_ms: f64,
    /// How far a note may be from its place in per cent of a beat, where that is more. 5: the
    /// same report.
    pub offset_percent: f64,
    /// How far the tempo may change over a repetition, per cent. 3: just noticed over six
    /// intervals (Drake & Botte 1993).
    pub drift_percent: f64,
}

impl Default for Thresholds {
    fn default() -> Self {
        Self {
            gracenote_longest_ms: 60.0,
            gracenote_aim_ms: 50.0,
            tone_shortest_ms: 20.0,
            crossing_ms: 12.0,
            offset_ms: 10.0,
            offset_percent: 5.0,
            drift_percent: 3.0,
        }
    }
}

impl Thresholds {
    /// The defaults for pipes, where a crossing noise is heard sooner.
    pub fn for_pipes() -> Self {
        Self {
            crossing_ms: 7.0,
            ..Self::default()
        }
    }

    /// The JSON the journal keeps.
    pub fn to_json(&self) -> Option<String> {
        serde_json::to_string(self).ok()
    }

    /// How far a note may be from its place at a beat's length, milliseconds.
    pub fn offset_limit(&self, beat_ms: f64) -> f64 {
        self.offset_ms.max(beat_ms * self.offset_percent / 100.0)
    }
}

/// What kind of fault.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum FaultKind {
    /// A written note was not heard.
    Missing,
    /// Another note was heard in its place.
    Wrong,
    /// A gracenote lasted too long.
    TooLong,
    /// A tone inside a movement was too short to be heard.
    Swallowed,
    /// Another note slipped in between two.
    Crossing,
    /// A note that belongs on the click came after it.
    Late,
    /// A note that belongs on the click came before it.
    Early,
    /// A note between clicks was not in its place.
    Uneven,
    /// The tempo ran ahead.
    Rushing,
    /// The tempo fell behind.
    Dragging,
}

/// One fault, measured and put in words.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Fault {
    /// What kind.
    pub kind: FaultKind,
    /// The score's id of the note it is about; of the note before for a crossing noise.
    pub id: Option<u32>,
    /// What was measured: milliseconds, per cent for the tempo, nothing for a missing or wrong
    /// note.
    pub measured: Option<f64>,
    /// The limit it went beyond, in the same unit.
    pub limit: Option<f64>,
    /// How bad, 1 upward: how many times the limit, a missing or wrong note 5.
    pub weight: f64,
    /// A teacher's sentence, without a full stop.
    pub words: String,
}

/// A judged repetition.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Verdict {
    /// The mark it earns; none when the player was not heard.
    pub mark: Option<Mark>,
    /// Every fault, the worst first.
    pub faults: Vec<Fault>,
}

impl Verdict {
    /// At most two things to work on, the worst first.
    pub fn work_on(&self) -> &[Fault] {
        &self.faults[..self.faults.len().min(2)]
    }
}

/// The weight of a note that is missing or another; also the most any other fault weighs.
const HEAVIEST: f64 = 5.0;

/// Judges what was measured. A silent player earns nothing: no mark and no fault.
pub fn judge(measured: &Measurement, limits: &Thresholds) -> Verdict {
    if !measured.playing {
        return Verdict {
            mark: None,
            faults: Vec::new(),
        };
    }
    let offset_limit = limits.offset_limit(measured.beat_ms);
    let mut faults: Vec<Fault> = Vec::new();
    for at in 0..measured.notes.len() {
        faults.extend(judge_note(measured, at, limits, offset_limit));
    }
    let crossings = measured
        .extra
        .iter()
        .filter(|extra| extra.length_ms >= limits.crossing_ms);
    faults.extend(crossings.map(|extra| crossing(measured, extra, limits)));
    if measured.drift_percent.abs() > limits.drift_percent {
        let rushing = measured.drift_percent > 0.0;
        let change = measured.drift_percent.abs();
        faults.push(Fault {
            kind: if rushing {
                FaultKind::Rushing
            } else {
                FaultKind::Dragging
            },
            id: None,
            measured: Some(measured.drift_percent),
            limit: Some(limits.drift_percent),
            weight: weight(change, limits.drift_percent),
            words: if rushing {
                format!("the tempo ran ahead by {change:.0} %; let the click lead")
            } else {
                format!("the tempo fell behind by {change:.0} %; let the click carry you")
            },
        });
    }
    faults.sort_by(|one, other| other.weight.total_cmp(&one.weight));
    Verdict {
        mark: Some(if faults.is_empty() {
            Mark::Clean
        } else {
            Mark::NotClean
        }),
        faults,
    }
}

fn weight(measured: f64, limit: f64) -> f64 {
    if limit > 0.0 {
        (measured / limit).clamp(1.0, HEAVIEST)
    } else {
        HEAVIEST
    }
}

fn judge_note(
    measured: &Measurement,
    at: usize,
    limits: &Thresholds,
    offset_limit: f64,
) -> Option<Fault> {
    let note = measured.notes.get(at)?;
    let name = || spoken(&measured.notes, at);
    let fault = |kind, figures: Option<(f64, f64)>, weight, words| {
        Some(Fault {
            kind,
            id: Some(note.id),
            measured: figures.map(|(found, _)| found),
            limit: figures.map(|(_, limit)| limit),
            weight,
            words,
        })
    };
    let Some(heard) = note.heard else {
        return match note.part {
            Part::Tone => fault(
                FaultKind::Swallowed,
                Some((0.0, limits.tone_shortest_ms)),
                HEAVIEST - 1.0,
                format!("{} was swallowed; give it time to speak", name()),
            ),
            Part::Melody | Part::Gracenote => fault(
                FaultKind::Missing,
                None,
                HEAVIEST,
                format!("{} was not heard", name()),
            ),
        };
    };
    if heard != note.written {
        return fault(
            FaultKind::Wrong,
            None,
            HEAVIEST,
            format!("{} sounded as {}", name(), heard.spoken()),
        );
    }
    if let Some(length) = note.length_ms {
        if note.part == Part::Gracenote && length > limits.gracenote_longest_ms {
            return fault(
                FaultKind::TooLong,
                Some((length, limits.gracenote_longest_ms)),
                weight(length, limits.gracenote_longest_ms),
                format!(
                    "{} lasted {length:.0} ms; aim for under {:.0}",
                    name(),
                    limits.gracenote_aim_ms
                ),
            );
        }
        if note.part == Part::Tone && length < limits.tone_shortest_ms {
            return fault(
                FaultKind::Swallowed,
                Some((length, limits.tone_shortest_ms)),
                // At 0 ms as heavy as one that was not heard at all.
                1.0 + (HEAVIEST - 2.0) * (1.0 - length / limits.tone_shortest_ms).clamp(0.0, 1.0),
                format!(
                    "{} lasted {length:.0} ms and can hardly be heard; give it at least {:.0}",
                    name(),
                    limits.tone_shortest_ms
                ),
            );
        }
    }
    if note.part == Part::Melody
        && let Some(offset) = note.offset_ms
        && offset.abs() > offset_limit
    {
        let late = offset > 0.0;
        let by = offset.abs();
        let side = if late { "late" } else { "early" };
        let (kind, words) = match (note.on_click, late) {
            (true, true) => (
                FaultKind::Late,
                format!("{} landed {by:.0} ms after the click", name()),
            ),
            (true, false) => (
                FaultKind::Early,
                format!("{} landed {by:.0} ms before the click", name()),
            ),
            (false, _) => (
                FaultKind::Uneven,
                format!("{} came {by:.0} ms {side}; keep the beat even", name()),
            ),
        };
        return fault(
            kind,
            Some((offset, offset_limit)),
            weight(by, offset_limit),
            words,
        );
    }
    None
}

fn crossing(measured: &Measurement, extra: &ExtraNote, limits: &Thresholds) -> Fault {
    let before = extra
        .after
        .and_then(|id| measured.notes.iter().position(|note| note.id == id));
    let place = before.map_or_else(String::new, |at| {
        let next = measured.notes.get(at + 1);
        let to = next.map_or_else(String::new, |next| {
            format!(" and {}", next.written.spoken())
        });
        if to.is_empty() {
            format!(" after {}", measured.notes[at].written.spoken())
        } else {
            format!(" between {}{to}", measured.notes[at].written.spoken())
        }
    });
    let bar = bar_words(&measured.notes, extra.bar);
    Fault {
        kind: FaultKind::Crossing,
        id: extra.after,
        measured: Some(extra.length_ms),
        limit: Some(limits.crossing_ms),
        weight: weight(extra.length_ms, limits.crossing_ms),
        words: format!(
            "{} slipped in{place}{bar} for {:.0} ms; move the fingers together",
            extra.note.spoken(),
            extra.length_ms
        ),
    }
}

/// `the B gracenote before the second low G`, `the closing low A in bar 2`.
fn spoken(notes: &[NoteMeasure], at: usize) -> String {
    let note = &notes[at];
    let bar = bar_words(notes, note.bar);
    if note.part != Part::Gracenote {
        return format!("{}{bar}", the(notes, at));
    }
    let next = (at + 1..notes.len()).find(|next| notes[*next].part != Part::Gracenote);
    let before = next.map_or_else(String::new, |next| format!(" before {}", the(notes, next)));
    format!("the {} gracenote{before}{bar}", note.written.spoken())
}

/// ` in bar 2`, or nothing when there is one bar only.
fn bar_words(notes: &[NoteMeasure], bar: u32) -> String {
    if notes.iter().all(|note| note.bar == bar) {
        String::new()
    } else if bar == 0 {
        " in the pickup".to_owned()
    } else {
        format!(" in bar {bar}")
    }
}

/// A melody note or tone by its name, counted among its like in the bar when there are more; the
/// last of its bar is the closing note.
fn the(notes: &[NoteMeasure], at: usize) -> String {
    let note = &notes[at];
    let in_bar = || {
        notes
            .iter()
            .enumerate()
            .filter(|(_, other)| other.bar == note.bar && other.part != Part::Gracenote)
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
    let nth = ["first", "second", "third", "fourth", "fifth", "sixth"]
        .get(count.saturating_sub(1))
        .map_or_else(|| format!("{count}th"), |word| (*word).to_owned());
    format!("the {nth} {name}")
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::chanter::Note;

    fn note(id: u32, part: Part, written: Note, length_ms: f64) -> NoteMeasure {
        NoteMeasure {
            id,
            bar: 1,
            part,
            written,
            heard: Some(written),
            length_ms: Some(length_ms),
            expected_ms: length_ms,
            offset_ms: (part == Part::Melody).then_some(0.0),
            on_click: part == Part::Melody,
            cents: None,
        }
    }

    /// Grip from D in real time at 60 beats a minute, closing on low A, played as it should be.
    fn clean_grip() -> Measurement {
        Measurement {
            playing: true,
            beat_ms: 1000.0,
            notes: vec![
                note(0, Part::Gracenote, Note::HighG, 35.0),
                note(1, Part::Melody, Note::D, 1820.0),
                note(2, Part::Tone, Note::LowG, 60.0),
                note(3, Part::Gracenote, Note::B, 35.0),
                note(4, Part::Tone, Note::LowG, 60.0),
                note(5, Part::Melody, Note::LowA, 2000.0),
            ],
            extra: Vec::new(),
            lead_ms: 40.0,
            drift_percent: 0.5,
        }
    }

    fn judged(change: impl FnOnce(&mut Measurement)) -> Verdict {
        let mut measured = clean_grip();
        change(&mut measured);
        judge(&measured, &Thresholds::default())
    }

    #[track_caller]
    fn one_fault(change: impl FnOnce(&mut Measurement), kind: FaultKind, words: &str) {
        let verdict = judged(change);
        assert_eq!(verdict.mark, Some(Mark::NotClean));
        let found: Vec<_> = verdict
            .faults
            .iter()
            .map(|fault| (fault.kind, fault.words.as_str()))
            .collect();
        assert_eq!(found, [(kind, words)]);
    }

    /// A constant lead of 40 ms is human (Aschersleben & Prinz 1995) and must not be a fault.
    #[test]
    fn a_clean_repetition_is_called_clean_in_spite_of_a_constant_lead() {
        let verdict = judged(|_| {});
        assert_eq!(verdict.mark, Some(Mark::Clean));
        assert!(verdict.faults.is_empty());
    }

    #[test]
    fn a_long_gracenote_is_named_with_its_place_and_the_aim() {
        one_fault(
            |measured| measured.notes[3].length_ms = Some(92.0),
            FaultKind::TooLong,
            "the B gracenote before the second low G lasted 92 ms; aim for under 50",
        );
    }

    #[test]
    fn a_tone_under_20_ms_does_not_count_as_heard() {
        one_fault(
            |measured| measured.notes[2].length_ms = Some(14.0),
            FaultKind::Swallowed,
            "the first low G lasted 14 ms and can hardly be heard; give it at least 20",
        );
        one_fault(
            |measured| measured.notes[4].heard = None,
            FaultKind::Swallowed,
            "the second low G was swallowed; give it time to speak",
        );
    }

    /// D for B in the grip from D is the fault the drill exists for.
    #[test]
    fn a_wrong_gracenote_is_told_by_both_names() {
        one_fault(
            |measured| measured.notes[3].heard = Some(Note::D),
            FaultKind::Wrong,
            "the B gracenote before the second low G sounded as D",
        );
        one_fault(
            |measured| measured.notes[0].heard = None,
            FaultKind::Missing,
            "the high G gracenote before the D was not heard",
        );
    }

    /// 5 % of a beat of 1000 ms is 50 ms: at the limit nothing is said, beyond it side and size.
    #[test]
    fn a_landing_is_judged_by_5_per_cent_of_the_beat() {
        let at_the_limit = judged(|measured| measured.notes[5].offset_ms = Some(50.0));
        assert_eq!(at_the_limit.mark, Some(Mark::Clean));
        one_fault(
            |measured| measured.notes[5].offset_ms = Some(63.0),
            FaultKind::Late,
            "the closing low A landed 63 ms after the click",
        );
        one_fault(
            |measured| measured.notes[5].offset_ms = Some(-63.0),
            FaultKind::Early,
            "the closing low A landed 63 ms before the click",
        );
        assert_eq!(Thresholds::default().offset_limit(100.0), 10.0);
    }

    #[test]
    fn a_note_between_clicks_out_of_its_place_is_uneven() {
        one_fault(
            |measured| {
                measured.notes[5].on_click = false;
                measured.notes[5].offset_ms = Some(-70.0);
            },
            FaultKind::Uneven,
            "the closing low A came 70 ms early; keep the beat even",
        );
    }

    #[test]
    fn a_crossing_noise_is_named_from_12_ms_and_from_7_on_pipes() {
        let blip = |length_ms| ExtraNote {
            bar: 1,
            after: Some(4),
            note: Note::B,
            length_ms,
        };
        one_fault(
            |measured| measured.extra.push(blip(14.0)),
            FaultKind::Crossing,
            "B slipped in between low G and low A for 14 ms; move the fingers together",
        );
        let short = judged(|measured| measured.extra.push(blip(9.0)));
        assert_eq!(short.mark, Some(Mark::Clean));
        let mut measured = clean_grip();
        measured.extra.push(blip(9.0));
        let on_pipes = judge(&measured, &Thresholds::for_pipes());
        assert_eq!(on_pipes.mark, Some(Mark::NotClean));
    }

    #[test]
    fn a_tempo_that_runs_is_told_beyond_3_per_cent() {
        one_fault(
            |measured| measured.drift_percent = 4.0,
            FaultKind::Rushing,
            "the tempo ran ahead by 4 %; let the click lead",
        );
        one_fault(
            |measured| measured.drift_percent = -4.0,
            FaultKind::Dragging,
            "the tempo fell behind by 4 %; let the click carry you",
        );
    }

    #[test]
    fn at_most_two_things_are_named_and_the_worst_first() {
        let verdict = judged(|measured| {
            measured.notes[0].length_ms = Some(66.0);
            measured.notes[3].heard = Some(Note::D);
            measured.notes[5].offset_ms = Some(140.0);
        });
        assert_eq!(verdict.faults.len(), 3);
        let worst: Vec<_> = verdict.work_on().iter().map(|fault| fault.kind).collect();
        assert_eq!(worst, [FaultKind::Wrong, FaultKind::Late]);

        // However long it lasted, it weighs no more than a note that is not there.
        let verdict = judged(|measured| {
            measured.notes[0].heard = None;
            measured.notes[3].length_ms = Some(900.0);
        });
        let worst: Vec<_> = verdict.work_on().iter().map(|fault| fault.kind).collect();
        assert_eq!(worst, [FaultKind::Missing, FaultKind::TooLong]);
    }

    /// With our own sound in the microphone and nobody playing there is nothing to judge.
    #[test]
    fn a_silent_player_earns_no_mark() {
        let verdict = judged(|measured| {
            measured.playing = false;
            measured.notes[3].heard = None;
        });
        assert_eq!(verdict.mark, None);
        assert!(verdict.faults.is_empty());
    }

    #[test]
    fn a_later_threshold_judges_the_kept_figures_again() {
        let mut measured = clean_grip();
        measured.notes[3].length_ms = Some(92.0);
        let kept = measured.to_json().expect("plain figures");
        let again = Measurement::from_json(&kept).expect("what was kept");
        assert_eq!(again, measured);
        let lenient = Thresholds {
            gracenote_longest_ms: 100.0,
            ..Thresholds::default()
        };
        assert_eq!(judge(&again, &lenient).mark, Some(Mark::Clean));
    }

    #[test]
    fn two_bars_are_told_apart() {
        one_fault(
            |measured| {
                let mut second = clean_grip().notes;
                for note in &mut second {
                    note.id += 6;
                    note.bar = 2;
                }
                second[3].length_ms = Some(80.0);
                measured.notes.extend(second);
            },
            FaultKind::TooLong,
            "the B gracenote before the second low G in bar 2 lasted 80 ms; aim for under 50",
        );
    }
}
