//! What of the path was the chanter: no tones before the first and after the last note, no clicks.
//!
//! It knows levels and lengths and nothing of spectra. Every note passes through; it waits here
//! until [`AHEAD`] seconds after it are known.

use super::heard::HeardNote;
use crate::units::Hertz;
use std::collections::VecDeque;

/// How long a note waits for what follows, seconds.
const AHEAD: f64 = 1.5;
/// A tone this much under the playing, before it begins or after it ended, was no chanter, dB.
const UNDER: f64 = 5.0;
/// The same where a drone's own tone stands alone: it lies nearer to the playing, dB.
const UNDER_DRONES: f64 = 3.2;
/// The same for what leads into the first note, and how long that lasts at most, seconds.
const UNDER_LEADING: f64 = 10.0;
const LEADING: f64 = 0.06;
/// Under the playing that ended by this much nothing is played again, dB.
const TALK: f64 = 12.0;
/// What that is forgotten by, dB a second: the microphone may be moved.
const FORGOTTEN: f64 = 0.1;
/// A short tone this much over both neighbours is a click from outside, dB.
const OVER: f64 = 4.5;
/// Longest click, seconds.
const CLICK: f64 = 0.032;
/// Longest blip inside one note that no finger made, seconds.
const TOUCH: f64 = 0.0145;
/// Longest blip on the way from one note to the next that is their glide: a finger takes some
/// milliseconds to open a hole, seconds.
const GLIDE: f64 = 0.0055;
/// Periods of low A under which one is no note of its own: two periods have no pitch yet.
const PITCHLESS: f64 = 2.0;
/// Periods of low A from which a note has its name for certain: a change of finger takes 2 to 5 ms of
/// it.
const NAMED: f64 = 3.0;
/// Gap over which notes still join, seconds.
const JOINED: f64 = 0.002;

/// Lets the chanter's notes through.
#[derive(Debug, Default)]
pub(super) struct Gate {
    waiting: VecDeque<HeardNote>,
    /// Level of the playing, dB; none before it began and after it ended.
    playing: Option<f64>,
    /// Level of the playing that ended last, dB, and when, seconds.
    ended: Option<(f64, f64)>,
    /// A period of low A, seconds.
    period: f64,
}

impl Gate {
    pub(super) fn new(low_a: Hertz) -> Self {
        Self {
            period: 1.0 / low_a.0,
            ..Self::default()
        }
    }

    /// Takes the next note of the path; a short one comes named where it is surely no other.
    pub(super) fn push(&mut self, note: HeardNote) {
        let named = note.named || note.length_s() >= NAMED * self.period;
        self.waiting.push_back(HeardNote { named, ..note });
        self.fold_click();
    }

    /// The newest three: note, click, note.
    fn fold_click(&mut self) {
        let count = self.waiting.len();
        if count < 3 {
            return;
        }
        let (before, click, after) = (
            self.waiting[count - 3],
            self.waiting[count - 2],
            self.waiting[count - 1],
        );
        let joined =
            click.start_s - before.end_s <= JOINED && after.start_s - click.end_s <= JOINED;
        let loud = click.length_s() <= CLICK && click.level >= before.level.max(after.level) + OVER;
        // no finger is so quick: a crossing noise lies between two notes, a gracenote lasts longer
        let inside = click.length_s() <= TOUCH && before.note == after.note;
        let way = before.note < click.note && click.note < after.note
            || before.note > click.note && click.note > after.note;
        let glide = way && click.length_s() <= GLIDE;
        if !joined {
            return;
        }
        if !(loud || inside || glide) {
            let pitchless = way && click.length_s() < PITCHLESS * self.period;
            self.waiting[count - 2].named &= !pitchless;
            return;
        }
        self.waiting.truncate(count - 2);
        if before.note == after.note {
            self.waiting[count - 3] = before.joined(&after);
        } else {
            // the change lies somewhere under the click
            let middle = 0.5 * (click.start_s + click.end_s);
            self.waiting[count - 3].end_s = middle;
            self.waiting.push_back(HeardNote {
                start_s: middle,
                ..after
            });
        }
    }

    /// The level of what is coming, dB: the loudest note, `sounding` among them, which has not ended;
    /// and of short ones only where there is no other, because a click may lie on them.
    fn coming(&self, first: &HeardNote, sounding: Option<HeardNote>) -> f64 {
        let loudest = |longer_than: f64| {
            self.waiting
                .iter()
                .chain(&sounding)
                .take_while(|note| note.start_s < first.end_s + AHEAD)
                .filter(|note| note.length_s() > longer_than)
                .map(|note| note.level)
                .fold(f64::NEG_INFINITY, f64::max)
        };
        let long = loudest(0.1);
        if long.is_finite() {
            long
        } else {
            loudest(0.03)
        }
    }

    /// How far under what is coming the playing may begin, dB. In the level of a gracenote that leads
    /// into the first note there is silence too.
    fn opening(&self, first: &HeardNote) -> f64 {
        let leads = self
            .waiting
            .front()
            .is_some_and(|next| next.start_s - first.end_s <= JOINED && next.length_s() > LEADING);
        if leads && first.length_s() < LEADING {
            UNDER_LEADING
        } else {
            margin(first)
        }
    }

    /// The notes that are sure at this time, or all at the end.
    pub(super) fn pull(
        &mut self,
        now_s: f64,
        all: bool,
        sounding: Option<HeardNote>,
        out: &mut Vec<HeardNote>,
    ) {
        while let Some(first) = self.waiting.front() {
            if !all && (first.end_s + AHEAD > now_s || self.waiting.len() < 3) {
                break;
            }
            let first = *first;
            self.waiting.pop_front();
            let coming = self.coming(&first, sounding);
            match self.playing {
                None if first.level < coming - self.opening(&first) => {}
                // talk between the playing and after it
                None if self.ended.is_some_and(|(level, at)| {
                    first.level.max(coming) < level - TALK - (first.start_s - at) * FORGOTTEN
                }) => {}
                Some(level) if first.level.max(coming) < level - margin(&first) => {
                    self.playing = None;
                    self.ended = Some((level, first.start_s));
                }
                _ => {
                    // a click over a short note is no playing
                    let new = if first.length_s() > 0.1 {
                        Some(first.level.max(coming))
                    } else {
                        Some(coming).filter(|coming| coming.is_finite())
                    };
                    let weight = first.length_s().min(0.3);
                    self.playing = self
                        .playing
                        .or(new)
                        .map(|old| old + (first.level - old) * weight);
                    out.push(first);
                }
            }
        }
    }
}

/// How far under the playing a note may lie at its edges, dB.
fn margin(note: &HeardNote) -> f64 {
    if note.drone && note.length_s() > 0.1 {
        UNDER_DRONES
    } else {
        UNDER
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::chanter::Note;

    fn note(note: Note, start_s: f64, end_s: f64, level: f64) -> HeardNote {
        HeardNote {
            note,
            start_s,
            end_s,
            level,
            cents: None,
            named: true,
            drone: false,
            unexplained: 0.1,
        }
    }

    fn let_through(notes: &[HeardNote]) -> Vec<Note> {
        let (mut gate, mut out) = (Gate::default(), Vec::new());
        for note in notes {
            gate.push(*note);
        }
        gate.pull(f64::INFINITY, true, None, &mut out);
        out.iter().map(|note| note.note).collect()
    }

    /// Without it a gracenote that leads into the first note would be told as missing, because the
    /// silence before it is in its level too; a tone that stands alone before the playing is none.
    #[test]
    fn a_gracenote_out_of_silence_is_let_through() {
        let first = note(Note::LowA, 1.03, 2.0, -18.0);
        let leading = note(Note::HighG, 1.0, 1.03, -26.0);
        assert_eq!(let_through(&[leading, first]), [Note::HighG, Note::LowA]);
        let apart = note(Note::HighG, 0.8, 0.83, -26.0);
        assert_eq!(let_through(&[apart, first]), [Note::LowA]);
        let long = note(Note::HighG, 0.6, 1.03, -26.0);
        assert_eq!(let_through(&[long, first]), [Note::LowA]);
        let faint = note(Note::HighG, 1.0, 1.03, -30.0);
        assert_eq!(let_through(&[faint, first]), [Note::LowA]);
    }

    /// Without it a finger that passes a hole on its way would be told as a note nobody played: two
    /// periods on the way have no pitch, three have, and beside the way two are a noise.
    #[test]
    fn what_passes_on_the_way_has_no_name() {
        let named = |passing, length_s| {
            let (mut gate, mut out) = (Gate::new(Hertz(240.0)), Vec::new());
            gate.push(note(Note::LowG, 1.0, 2.0, -20.0));
            gate.push(note(passing, 2.0, 2.0 + length_s, -20.0));
            gate.push(note(Note::E, 2.0 + length_s, 3.0, -20.0));
            gate.pull(f64::INFINITY, true, None, &mut out);
            out.iter().map(|note| note.named).collect::<Vec<bool>>()
        };
        assert_eq!(named(Note::C, 0.008), [true, false, true]);
        assert_eq!(named(Note::C, 0.012), [true, true, true]);
        assert_eq!(named(Note::HighG, 0.008), [true, true, true]);
    }

    /// Without it a note that a click cuts off just after its beginning would be told as a noise.
    #[test]
    fn what_is_joined_to_a_long_note_has_its_name() {
        let (mut gate, mut out) = (Gate::new(Hertz(240.0)), Vec::new());
        let unsure = |cut| HeardNote {
            named: false,
            ..cut
        };
        gate.push(unsure(note(Note::LowA, 1.0, 1.008, -20.0)));
        gate.push(unsure(note(Note::C, 1.008, 1.014, -20.0)));
        gate.push(unsure(note(Note::LowA, 1.014, 2.0, -20.0)));
        gate.pull(f64::INFINITY, true, None, &mut out);
        assert_eq!(out.len(), 1);
        assert!(out[0].named);
    }

    /// Without it hiss before the playing would be told as notes where the first one is held long.
    #[test]
    fn what_sounds_already_tells_how_loud_the_playing_is() {
        let hiss = [
            note(Note::LowA, 0.0, 0.2, -79.0),
            note(Note::LowG, 0.2, 0.4, -79.0),
            note(Note::B, 0.4, 0.7, -79.0),
        ];
        let let_through = |sounding| {
            let (mut gate, mut out) = (Gate::default(), Vec::new());
            for note in hiss {
                gate.push(note);
            }
            gate.pull(2.0, false, sounding, &mut out);
            out.len()
        };
        assert_eq!(let_through(Some(note(Note::E, 0.7, 2.0, -20.0))), 0);
        assert_eq!(let_through(None), 1);
    }
}
