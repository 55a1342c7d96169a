//! The timeline as a document for other programs. Its fields are documented here and stay as they
//! are.

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
    /// Beats a minute, `n` or `n/d`.
    pub tempo: Bpm,
    /// Count-in and repetitions, breath included, in frames.
    pub frames: u64,
    /// Everything that sounds, in order of time.
    pub events: Vec<TimelineRow>,
    /// Melody notes whose gracenotes had to shrink.
    pub crowded: Vec<NoteId>,
}

/// One event. What does not apply to its kind is null.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct TimelineRow {
    /// round(beat·60·rate/tempo).
    pub frame: u64,
    /// The exact moment it sounds, beats from the first click of the count-in.
    pub beat: Beats,
    /// `click`, `note` or `gracenote`.
    pub kind: &'static str,
    /// The note.
    pub note: Option<Note>,
    /// How long it sounds, frames.
    pub frames: Option<u64>,
    /// A melody note's written place in its bar, beats from 0.
    pub place: Option<Beats>,
    /// A melody note's written length in beats, ties included.
    pub written: Option<Beats>,
    /// The note's name in the score; a gracenote's begins with its melody note's.
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
