//! The sounds that belong to one melody note, as a timeline has them.

use crate::movement::Movement;
use crate::practice::Difference;
use crate::score::{NoteId, Score};
use crate::timeline::{EventKind, SoundPart, Sounded, Timeline, TimelineEvent};
use crate::units::Beats;

/// A melody note with the gracenotes before it, and the sound before those.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Figure {
    /// The melody note.
    pub(super) id: NoteId,
    /// The movement that its gracenotes are, when it is a known one.
    pub(super) movement: Option<Movement>,
    /// What sounds before.
    pub(super) before: Sounded,
    /// Gracenotes in order, then the melody note, each with its beat in the cycle.
    pub(super) sounds: Vec<(Beats, Sounded)>,
    /// Which of the sounds stands on the written place: what comes before it takes its time from the
    /// sound before, what comes after it from the melody note.
    pub(super) on_the_beat: usize,
    /// Which of the gracenotes are held for a written length: no fault is planted in those.
    pub(super) held: Vec<bool>,
}

impl Figure {
    /// The gracenotes.
    pub(super) fn gracenotes(&self) -> &[(Beats, Sounded)] {
        &self.sounds[..self.sounds.len() - 1]
    }

    /// The melody note.
    pub(super) fn melody(&self) -> Sounded {
        self.sounds[self.sounds.len() - 1].1
    }

    /// How well it serves for a kind of difference: the movement that is asked for first, then the
    /// longest; less is better.
    pub(super) fn rank(&self, wanted: Option<Movement>, difference: Difference) -> (bool, usize) {
        let other = self.movement.is_none() || self.movement != wanted;
        match difference {
            Difference::Blip => (other, 0),
            _ => (other, usize::MAX - self.sounds.len()),
        }
    }
}

/// The figures of a repetition in order of time, but for the first note's: what its gracenotes take
/// their time from may lie in the repetition before.
pub(super) fn figures(score: &Score, timeline: &Timeline) -> Vec<Figure> {
    let sounds: Vec<(Beats, Sounded)> = timeline.first.iter().filter_map(sounded).collect();
    let mut figures = Vec::new();
    for note in score.notes.iter().filter(|note| !note.continues).skip(1) {
        let own = |(_, sounded): &(Beats, Sounded)| sounded.id.melody() == note.id;
        let Some(first) = sounds.iter().position(own).filter(|first| *first > 0) else {
            continue;
        };
        let own: Vec<(Beats, Sounded)> = sounds[first..]
            .iter()
            .copied()
            .take_while(|sound| own(sound))
            .collect();
        if own.len() != note.group.parts.len() + 1 {
            continue;
        }
        figures.push(Figure {
            id: note.id,
            movement: note.group.movement,
            before: sounds[first - 1].1,
            on_the_beat: note.group.before_beat.min(note.group.parts.len()),
            held: note
                .group
                .parts
                .iter()
                .map(|part| part.held.is_some())
                .collect(),
            sounds: own,
        });
    }
    figures
}

/// A note or gracenote of this repetition, with its beat.
pub(super) fn sounded(event: &TimelineEvent) -> Option<(Beats, Sounded)> {
    match event.kind {
        EventKind::Sound(sounded) if !event.ahead => Some((event.beat, sounded)),
        _ => None,
    }
}

/// True for a melody note and for a tone inside a movement.
pub(super) fn is_tone(sounded: &Sounded) -> bool {
    matches!(
        sounded.part,
        SoundPart::Melody { .. } | SoundPart::Gracenote(crate::movement::Role::Sounding)
    )
}
