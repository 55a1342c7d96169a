//! A small hand-made timeline for the tests of this room, whose results are computed by hand.

use crate::chanter::Note;
use crate::rhythm::{Click, ClickWeight, Metre};
use crate::score::NoteId;
use crate::timeline::{EventKind, SoundPart, Sounded, Timeline, TimelineEvent};
use crate::units::{Beats, Bpm, SampleRate};

fn click(beat: i128) -> TimelineEvent {
    let place = beat.rem_euclid(4);
    TimelineEvent {
        beat: Beats::whole(beat),
        kind: EventKind::Click(Click {
            weight: if place == 0 {
                ClickWeight::Bar
            } else {
                ClickWeight::Beat
            },
            beat: u8::try_from(place).expect("0 to 3"),
        }),
        ahead: false,
    }
}

fn sound(beat: Beats, note: Note, number: u8) -> TimelineEvent {
    TimelineEvent {
        beat,
        kind: EventKind::Sound(Sounded {
            id: NoteId {
                bar: 1,
                pass: 1,
                note: number,
                grace: 0,
            },
            note,
            part: SoundPart::Melody {
                place: beat,
                written: Beats::ONE,
            },
            length: Beats::ONE,
        }),
        ahead: false,
    }
}

/// Four clicks of count-in, then a bar of 4/4: D, low G half a beat after beat 2, B a tenth of a
/// beat later, and low A on beat 3 as the closing note. Then `breath` bars follow. Without a breath
/// a high G gracenote leads into the next repetition.
pub(super) fn drill(tempo: &str, breath: i128) -> Timeline {
    let tempo = Bpm::parse(tempo).expect("a tempo");
    let cycle = 4 + 4 * breath;
    let mut events: Vec<TimelineEvent> = (0..cycle).map(click).collect();
    events.push(sound(Beats::ZERO, Note::D, 1));
    events.push(sound(Beats::new(3, 2), Note::LowG, 2));
    events.push(sound(Beats::new(8, 5), Note::B, 3));
    events.push(sound(Beats::whole(2), Note::LowA, 4));
    if breath > 0 {
        events.push(TimelineEvent {
            beat: Beats::whole(4),
            kind: EventKind::Hush,
            ahead: false,
        });
    } else {
        let mut grace = sound(Beats::new(39, 10), Note::HighG, 1);
        grace.ahead = true;
        events.push(grace);
    }
    events.sort_by_key(|event| event.beat);
    Timeline {
        rate: SampleRate(48_000),
        tempo,
        metre: Metre::FOUR_FOUR,
        changes_metre: false,
        lead_in: (0..4).map(click).collect(),
        lead_in_length: Beats::whole(4),
        cycle: Beats::whole(cycle),
        repetition: Beats::whole(4),
        bars_in_a_cycle: u32::try_from(1 + breath).expect("few bars"),
        closing: Beats::whole(2),
        first: events.clone(),
        again: events,
        bar_lines: (0..=breath).map(|bar| Beats::whole(4 * bar)).collect(),
        pairs: Vec::new(),
        crowded: Vec::new(),
    }
}
