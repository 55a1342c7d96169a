//! The numbers that a page plays from: a stage's timeline at every rung, and its bars in time.

use crate::drill::{BarRange, Drill, Stage};
use crate::practice::Rung;
use crate::rhythm::ClickWeight;
use crate::score::{NoteId, Score};
use crate::timeline::{EventKind, Layout, TimelineEvent, lay};
use crate::units::SampleRate;
use serde::Serialize;
use std::collections::BTreeMap;

/// Moments in order, as two numbers each, because a tune at fourteen tempi has twenty thousand. The
/// first number is the time since the moment before, in tenths of a millisecond. The second is a
/// code plus a hundred times the number, from 1, of the note's head. The code is 0 to 8 for a note,
/// 10 for a beat's click, 11 for a bar's, 12 for a part's, and 20 for silence.
type Moments = Vec<i64>;

/// A stage at a rung.
#[derive(Serialize)]
#[serde(rename_all = "camelCase")]
pub(super) struct Laid {
    /// The length of a beat in tenths of a millisecond. It is not rounded, because errors would add
    /// up over many beats.
    beat: f64,
    lead: Moments,
    first: Moments,
    /// The moments of later repetitions; left out where they equal those of the first.
    #[serde(skip_serializing_if = "Option::is_none")]
    again: Option<Moments>,
    lead_length: f64,
    cycle: f64,
}

/// A written bar in time, the first time that it is played.
#[derive(Serialize)]
pub(super) struct BarInTime {
    /// The bar's number.
    number: u16,
    /// Where the bar begins and ends, in beats.
    from: f64,
    to: f64,
    /// The number of beats in a full bar, and the number that have passed where this bar begins,
    /// which is not 0 for a pickup.
    full: f64,
    over: f64,
    /// The index of the first and of the last written bar of its phrase.
    phrase: (usize, usize),
}

/// The moments of a score at a rung. Heads are named by their numbers.
pub(super) fn laid(
    score: &Score,
    drill: &Drill,
    rung: Rung,
    index: &BTreeMap<NoteId, usize>,
) -> Laid {
    let tempo = rung.tempo();
    let layout = Layout {
        lengths: rung.lengths(drill.lengths),
        ..Layout::at(tempo, SampleRate(48_000))
    };
    let timeline = lay(score, &layout);
    let beat = 600_000.0 / tempo.to_f64();
    let moments = |events: &[TimelineEvent]| -> Moments {
        let mut before = 0;
        events
            .iter()
            .flat_map(|event| {
                let at = (event.beat.to_f64() * beat).round() as i64;
                let since = at - std::mem::replace(&mut before, at);
                [since, what(&event.kind, index)]
            })
            .collect()
    };
    let (first, again) = (moments(&timeline.first), moments(&timeline.again));
    Laid {
        beat,
        lead: moments(&timeline.lead_in),
        again: (again != first).then_some(again),
        first,
        lead_length: timeline.lead_in_length.to_f64() * beat,
        cycle: timeline.cycle.to_f64() * beat,
    }
}

fn what(kind: &EventKind, index: &BTreeMap<NoteId, usize>) -> i64 {
    match kind {
        EventKind::Sound(sounded) => {
            // a repeated bar is drawn once, under the note ids of its first time through
            let id = NoteId {
                pass: 1,
                ..sounded.id
            };
            let head = index.get(&id).map_or(0, |head| head + 1);
            (head * 100 + sounded.note.index()) as i64
        }
        EventKind::Click(click) => match click.weight {
            ClickWeight::Beat => 10,
            ClickWeight::Bar => 11,
            ClickWeight::Part => 12,
        },
        EventKind::Hush => 20,
    }
}

/// The written bars of a stage in time, with their phrases.
pub(super) fn bars(drill: &Drill, stage: &Stage, score: &Score) -> Vec<BarInTime> {
    let music = &stage.music;
    let numbers = music.bar_numbers();
    let offsets = music.offsets();
    let first_played = |written: usize| score.bars.iter().find(|bar| bar.written == written);
    let phrases = drill.phrasing(stage).phrases;
    // a pickup belongs to the phrase that it leads to
    let phrase = |written: usize| -> Option<BarRange> {
        let leads = offsets.get(written).is_some_and(|over| !over.is_zero());
        let number = *numbers.get(written + usize::from(leads))?;
        let holds = |phrase: &&BarRange| (phrase.first..=phrase.last).contains(&number);
        phrases.iter().find(holds).copied()
    };
    // true where the two bars belong to one phrase and are played one after the other
    let joined = |before: usize, after: usize| {
        phrase(before).is_some()
            && phrase(before) == phrase(after)
            && match (first_played(before), first_played(after)) {
                (Some(one), Some(other)) => one.start + one.length == other.start,
                _ => false,
            }
    };
    (0..music.bars.len())
        .filter_map(|written| {
            let bar = first_played(written)?;
            let mut from = written;
            while from > 0 && joined(from - 1, from) {
                from -= 1;
            }
            let mut to = written;
            while joined(to, to + 1) {
                to += 1;
            }
            Some(BarInTime {
                number: bar.number,
                from: bar.start.to_f64(),
                to: (bar.start + bar.length).to_f64(),
                full: bar.metre.bar().to_f64(),
                over: offsets.get(written).map_or(0.0, |over| over.to_f64()),
                phrase: (from, to),
            })
        })
        .collect()
}
