//! The timeline as a document for other programs. The fields are documented here, and their names
//! and meanings never change.

use super::event::{EventKind, Placed, SoundPart, Timeline};
use crate::chanter::Note;
use crate::movement::Role;
use crate::rhythm::ClickWeight;
use crate::score::NoteId;
use crate::units::{Beats, Bpm, Frames};
use serde::Serialize;

/// The whole document.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct TimelineDocument {
    /// Frames a second.
    pub rate: u32,
    /// The tempo in beats a minute, written `n` or `n/d`.
    pub tempo: Bpm,
    /// The length of the count-in and of all repetitions with their breath, in frames.
    pub frames: u64,
    /// Everything that sounds, in order of time.
    pub events: Vec<TimelineRow>,
    /// Melody notes whose gracenotes had to shrink.
    pub crowded: Vec<NoteId>,
}

/// One event. Fields that do not apply to its kind are null.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct TimelineRow {
    /// Frame at which it sounds: round(beat·60·rate/tempo), from the first click of the count-in.
    pub frame: u64,
    /// The exact moment at which it sounds, in beats from the first click of the count-in.
    pub beat: Beats,
    /// The kind of event: `click`, `note` or `gracenote`.
    pub kind: &'static str,
    /// The note; null for a click.
    pub note: Option<Note>,
    /// How long it sounds, in frames; null for a click.
    pub frames: Option<u64>,
    /// A melody note's written place in its bar, beats from 0.
    pub place: Option<Beats>,
    /// A melody note's written length in beats, ties included.
    pub written: Option<Beats>,
    /// The note's name in the score. The name of a gracenote begins with the name of its melody
    /// note.
    pub id: Option<NoteId>,
    /// Written bar, from 1; a pickup is 0.
    pub bar: Option<u16>,
    /// Repetition, from 1; null in the count-in.
    pub repetition: Option<u64>,
    /// A click's weight, `bar`, `beat` or `part`; a gracenote's role, `tone` or `separating`.
    pub role: Option<&'static str>,
}

/// Count-in and `repetitions` cycles as a document.
pub fn document(timeline: &Timeline, repetitions: u64) -> TimelineDocument {
    let played = timeline.played(repetitions);
    TimelineDocument {
        rate: timeline.rate.0,
        tempo: timeline.tempo,
        frames: timeline.length(repetitions).0,
        events: played
            .iter()
            .filter_map(|placed| row(timeline, placed))
            .collect(),
        crowded: timeline.crowded.clone(),
    }
}

fn row(timeline: &Timeline, placed: &Placed) -> Option<TimelineRow> {
    let empty = TimelineRow {
        frame: placed.frame.0,
        beat: placed.beat,
        kind: "click",
        note: None,
        frames: None,
        place: None,
        written: None,
        id: None,
        bar: None,
        repetition: placed.repetition.map(|repetition| repetition + 1),
        role: None,
    };
    match placed.event.kind {
        EventKind::Hush => None,
        EventKind::Click(click) => Some(TimelineRow {
            role: Some(match click.weight {
                ClickWeight::Bar => "bar",
                ClickWeight::Beat => "beat",
                ClickWeight::Part => "part",
            }),
            ..empty
        }),
        EventKind::Sound(sounded) => {
            let Frames(end) = timeline.frame(0.into(), placed.beat + sounded.length);
            let sounding = TimelineRow {
                note: Some(sounded.note),
                frames: Some(end.saturating_sub(placed.frame.0)),
                id: Some(sounded.id),
                bar: Some(sounded.id.bar),
                ..empty
            };
            Some(match sounded.part {
                SoundPart::Melody { place, written } => TimelineRow {
                    kind: "note",
                    place: Some(place),
                    written: Some(written),
                    ..sounding
                },
                SoundPart::Gracenote(role) => TimelineRow {
                    kind: "gracenote",
                    role: Some(match role {
                        Role::Sounding => "tone",
                        Role::Separating => "separating",
                    }),
                    ..sounding
                },
            })
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::drill::read_music;
    use crate::movement::Schools;
    use crate::rhythm::{Metre, Subdivision};
    use crate::score::resolve_music;
    use crate::timeline::{Layout, lay};
    use crate::units::{Fraction, SampleRate};

    fn shown<T: std::fmt::Display>(value: Option<T>) -> String {
        value.map_or_else(|| "-".to_owned(), |value| value.to_string())
    }

    fn line(row: &TimelineRow) -> String {
        format!(
            "{} {} {} note {} for {} at {} written {} id {} bar {} repetition {} {}",
            row.frame,
            row.beat,
            row.kind,
            shown(row.note),
            shown(row.frames),
            shown(row.place),
            shown(row.written),
            shown(row.id),
            shown(row.bar),
            shown(row.repetition),
            shown(row.role)
        )
    }

    /// At 80 beats a minute and 48 kHz a beat is 36 000 frames, a gracenote of 35 ms is 1680 frames
    /// and a tone of 55 ms is 2640. The grip takes 6960 frames from the end of the low A.
    #[test]
    fn every_event_is_told_with_what_its_kind_has() {
        let (music, problems) =
            read_music("{g}A2 {GdG}B2|", Metre::TWO_FOUR, Fraction::new(1, 8), "");
        assert_eq!(problems, []);
        let score = resolve_music(&music, Beats::ZERO, &Schools::none());
        let layout = Layout {
            subdivision: Subdivision::Halves,
            ..Layout::at(Bpm::whole(80).expect("a tempo"), SampleRate(48_000))
        };
        let document = document(&lay(&score, &layout), 2);
        assert_eq!((document.rate, document.frames), (48_000, 6 * 36_000));
        assert_eq!(document.tempo.to_string(), "80");
        assert_eq!(document.crowded, []);
        let lines: Vec<String> = document.events.iter().map(line).collect();
        let click = |frame: u64, beat: &str, repetition: &str, role: &str| {
            format!(
                "{frame} {beat} click note - for - at - written - id - bar - \
                 repetition {repetition} {role}"
            )
        };
        assert_eq!(
            lines[..4],
            [
                click(0, "0", "-", "bar"),
                click(18_000, "1/2", "-", "part"),
                click(36_000, "1", "-", "beat"),
                click(54_000, "3/2", "-", "part"),
            ]
        );
        for (repetition, begins) in [(1_u64, 72_000_u64), (2, 144_000)] {
            let own = |line: &&String| line.contains(&format!("repetition {repetition} "));
            let sounds = lines
                .iter()
                .filter(own)
                .filter(|line| !line.contains("click"));
            let sounds: Vec<String> = sounds
                .map(|line| {
                    let mut words: Vec<&str> = line.split(' ').collect();
                    words.remove(1);
                    words.join(" ")
                })
                .collect();
            let expected = [
                (
                    0,
                    "gracenote",
                    "HG for 1680 at - written - id 1.1g1",
                    "separating",
                ),
                (1680, "note", "LA for 27360 at 0 written 1 id 1.1", "-"),
                (
                    29_040,
                    "gracenote",
                    "LG for 2640 at - written - id 1.2g1",
                    "tone",
                ),
                (
                    31_680,
                    "gracenote",
                    "D for 1680 at - written - id 1.2g2",
                    "separating",
                ),
                (
                    33_360,
                    "gracenote",
                    "LG for 2640 at - written - id 1.2g3",
                    "tone",
                ),
                (36_000, "note", "B for 36000 at 1 written 1 id 1.2", "-"),
            ]
            .map(|(frame, kind, what, role)| {
                let frame = begins + frame;
                format!("{frame} {kind} note {what} bar 1 repetition {repetition} {role}")
            });
            assert_eq!(sounds, expected);
        }
        // There are four clicks in the count-in and in each repetition, and six sounds in each
        // repetition.
        assert_eq!(lines.len(), 4 + 2 * (4 + 6));
    }
}
