//! The sounds of a timeline that belong to one melody note.

use crate::movement::Movement;
use crate::practice::Difference;
use crate::score::{NoteId, Score};
use crate::timeline::{EventKind, SoundPart, Sounded, Timeline, TimelineEvent};
use crate::units::Beats;

/// A melody note with its gracenotes, and the sound before them.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Figure {
    /// The melody note.
    pub(super) id: NoteId,
    /// The movement that the gracenotes form; none where it is unknown.
    pub(super) movement: Option<Movement>,
    /// The sound before the gracenotes.
    pub(super) before: Sounded,
    /// The gracenotes in order and then the melody note, each with its beat in the cycle.
    pub(super) sounds: Vec<(Beats, Sounded)>,
    /// The index of the sound that is on the written beat. The sounds before it take their time
    /// from the note before; the sounds after it take theirs from the melody note.
    pub(super) on_the_beat: usize,
    /// For each gracenote, true where it is held for a written length. No fault is put into such a
    /// gracenote.
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

    /// A rank for a kind of fault; the least is the best. The wanted movement comes first, then the
    /// one with the most gracenotes.
    pub(super) fn rank(&self, wanted: Option<Movement>, difference: Difference) -> (bool, usize) {
        let other = self.movement.is_none() || self.movement != wanted;
        match difference {
            Difference::Blip => (other, 0),
            _ => (other, usize::MAX - self.sounds.len()),
        }
    }
}

/// The figures of a repetition in order of time. The first note's figure is left out, because its
/// gracenotes may take their time from the repetition before.
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

/// The sound of an event with its beat, where it is a note or gracenote of this repetition.
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
