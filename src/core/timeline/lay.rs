//! Score to timeline.

use super::crowding::{fit, fit_together};
use super::event::{Event, EventKind, SoundPart, Sounded, Timeline};
use crate::movement::Lengths;
use crate::rhythm::{Click, ClickWeight, Metre, Subdivision};
use crate::score::{NoteId, Score, ScoreGroup, ScoreNote};
use crate::units::{Beats, Bpm, Fraction, Millis, SampleRate};

/// How a score is laid out.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Layout {
    /// Beats a minute.
    pub tempo: Bpm,
    /// Frames a second.
    pub rate: SampleRate,
    /// Lengths of gracenotes.
    pub lengths: Lengths,
    /// Clicks between the beats.
    pub subdivision: Subdivision,
    /// Begin with a bar of clicks.
    pub count_in: bool,
}

impl Layout {
    /// Default lengths, plain clicks, a count-in.
    pub fn at(tempo: Bpm, rate: SampleRate) -> Self {
        Self {
            tempo,
            rate,
            lengths: Lengths::default(),
            subdivision: Subdivision::default(),
            count_in: true,
        }
    }
}

/// Lays a score out.
pub fn lay(score: &Score, layout: &Layout) -> Timeline {
    let mut crowded = Vec::new();
    let first = sounds(score, layout, true, &mut crowded);
    let again = sounds(score, layout, false, &mut crowded);
    crowded.sort_unstable();
    crowded.dedup();
    let cycle = score.length + score.breath;
    let lead_in_length = if layout.count_in {
        count_in_length(score)
    } else {
        Beats::ZERO
    };
    let clicks = if score.changes_metre() || score.metre.is_free() {
        clicks_by_bar(score, layout, cycle)
    } else {
        Grid::of(score).clicks(layout, Beats::ZERO, cycle)
    };
    let with_clicks = |own: &[Event]| {
        let mut events: Vec<Event> = clicks.clone();
        events.extend(own.iter().filter(|event| event.beat >= Beats::ZERO));
        events.extend(
            again
                .iter()
                .filter(|event| event.beat < Beats::ZERO)
                .map(|event| Event {
                    beat: event.beat + cycle,
                    ahead: true,
                    ..*event
                }),
        );
        if score.breath > Beats::ZERO {
            events.push(Event {
                beat: score.length,
                kind: EventKind::Hush,
                ahead: false,
            });
        }
        sorted(events)
    };
    let mut lead_in = if layout.count_in && !score.metre.is_free() {
        let clicks = Grid::of(score).clicks(layout, -lead_in_length, Beats::ZERO);
        let shifted = |event: Event| Event {
            beat: event.beat + lead_in_length,
            ..event
        };
        clicks.into_iter().map(shifted).collect()
    } else {
        Vec::new()
    };
    lead_in.extend(
        first
            .iter()
            .filter(|event| event.beat < Beats::ZERO && -event.beat <= lead_in_length)
            .map(|event| Event {
                beat: event.beat + lead_in_length,
                ahead: true,
                ..*event
            }),
    );
    let bar = score.metre.bar();
    let mut bar_lines = score.bar_lines();
    let mut line = score.length;
    while line < cycle {
        bar_lines.push(line);
        line = line + bar;
    }
    Timeline {
        rate: layout.rate,
        tempo: layout.tempo,
        metre: score.metre,
        changes_metre: score.changes_metre(),
        lead_in: sorted(lead_in),
        lead_in_length,
        cycle,
        repetition: score.length,
        bars_in_a_cycle: u32::try_from((cycle.0 / bar.0).ceil().to_integer()).unwrap_or(u32::MAX),
        closing: score.closing_note().map_or(Beats::ZERO, |note| note.start),
        first: with_clicks(&first),
        again: with_clicks(&again),
        bar_lines,
        crowded,
    }
}

/// One bar of clicks that ends with the pickup; where the pickup leaves less than half a bar to
/// count, one bar more.
fn count_in_length(score: &Score) -> Beats {
    if score.metre.is_free() {
        // nothing is counted: room for the gracenotes before the first note
        return Beats::ONE;
    }
    let bar = score.metre.bar();
    let rest = bar - score.pickup;
    if score.pickup * Fraction::from_integer(2) > bar {
        rest + bar
    } else {
        rest
    }
}

fn sorted(mut events: Vec<Event>) -> Vec<Event> {
    let order = |event: &Event| match event.kind {
        EventKind::Click(_) => 0,
        EventKind::Hush => 1,
        EventKind::Sound(_) => 2,
    };
    events.sort_by_key(|event| (event.beat, order(event)));
    events
}

/// What clicks are counted by: a metre, and a place where one of its bars begins.
#[derive(Clone, Copy)]
struct Grid {
    metre: Metre,
    downbeat: Beats,
}

impl Grid {
    /// That of a score whose metre stays: the first downbeat stands after the pickup.
    fn of(score: &Score) -> Self {
        Self {
            metre: score.metre,
            downbeat: score.pickup,
        }
    }

    /// Clicks from `from` (inclusive) to `to` (exclusive), in beats from the start of the
    /// repetition. The grid is counted from the downbeat in parts; nothing is added up.
    fn clicks(self, layout: &Layout, from: Beats, to: Beats) -> Vec<Event> {
        let parts = i128::from(layout.subdivision.parts());
        let beats_in_a_bar = i128::from(self.metre.beats_in_a_bar());
        let steps = |beats: Beats| (beats - self.downbeat).0 * Fraction::from_integer(parts);
        let mut step = steps(from).ceil().to_integer();
        let end = steps(to);
        let mut events = Vec::new();
        while Fraction::from_integer(step) < end {
            let beat_number = step.div_euclid(parts).rem_euclid(beats_in_a_bar);
            let weight = if step.rem_euclid(parts) != 0 {
                ClickWeight::Part
            } else if beat_number == 0 {
                ClickWeight::Bar
            } else {
                ClickWeight::Beat
            };
            events.push(Event {
                beat: self.downbeat + Beats(Fraction::new(step, parts)),
                kind: EventKind::Click(Click {
                    weight,
                    beat: u8::try_from(beat_number).unwrap_or(0),
                }),
                ahead: false,
            });
            step += 1;
        }
        events
    }
}

/// Clicks of a cycle whose metre changes: each bar is counted by its own. In the breath they lead to
/// the next repetition's first bar.
fn clicks_by_bar(score: &Score, layout: &Layout, cycle: Beats) -> Vec<Event> {
    let mut events = Vec::new();
    let mut counted = |from: Beats, to: Beats, metre: Metre, downbeat: Beats| {
        if !metre.is_free() {
            events.extend(Grid { metre, downbeat }.clicks(layout, from, to));
        }
    };
    // where the next note stands in its full bar
    let mut place = score.metre.bar() - score.pickup;
    let mut before = score.metre;
    for bar in &score.bars {
        if std::mem::replace(&mut before, bar.metre) != bar.metre || place >= bar.metre.bar() {
            // a short bar that begins here is a pickup
            place = (bar.metre.bar() - bar.length).max(Beats::ZERO);
        }
        let end = bar.start + bar.length;
        counted(bar.start, end, bar.metre, bar.start - place);
        place = place + bar.length;
    }
    counted(score.length, cycle, score.metre, cycle + score.pickup);
    events
}

/// The time that the groups around a melody note take, in beats.
struct Claim {
    /// Parts that sound before this note's place.
    before: Vec<Beats>,
    /// Parts that sound from its place on.
    after: Vec<Beats>,
}

/// The chanter line of one repetition, beats from its start; gracenotes before the first note have
/// negative beats. Lengths run to the next sound.
fn sounds(score: &Score, layout: &Layout, first: bool, crowded: &mut Vec<NoteId>) -> Vec<Event> {
    let onsets: Vec<(usize, &ScoreNote)> = score
        .notes
        .iter()
        .enumerate()
        .filter(|(_, note)| !note.continues)
        .collect();
    let groups: Vec<&ScoreGroup> = onsets
        .iter()
        .enumerate()
        .map(|(place, (_, note))| match &note.first_group {
            Some(group) if first && place == 0 => group,
            _ => &note.group,
        })
        .collect();
    let wraps = score.breath.is_zero();
    let claims = claims(score, layout, &onsets, &groups, wraps, crowded);
    let mut events = Vec::new();
    for ((index, note), (group, claim)) in onsets.iter().zip(groups.iter().zip(&claims)) {
        let before: Beats = claim.before.iter().copied().sum();
        let mut moment = note.start - before;
        for (part, length) in group
            .parts
            .iter()
            .zip(claim.before.iter().chain(&claim.after))
        {
            events.push(sound(
                moment,
                Sounded {
                    id: part.id,
                    note: part.note,
                    part: SoundPart::Gracenote(part.role),
                    length: *length,
                },
            ));
            moment = moment + *length;
        }
        events.push(sound(
            moment,
            Sounded {
                id: note.id,
                note: note.note,
                part: SoundPart::Melody {
                    place: note.place,
                    written: score.sounding_length(*index),
                },
                length: Beats::ZERO,
            },
        ));
    }
    set_lengths(&mut events, score, wraps);
    events
}

fn sound(beat: Beats, sounded: Sounded) -> Event {
    Event {
        beat,
        kind: EventKind::Sound(sounded),
        ahead: false,
    }
}

/// Each melody note lasts until the next sound begins, the last one to the end of the repetition
/// or to the gracenotes that begin the next.
fn set_lengths(events: &mut [Event], score: &Score, wraps: bool) {
    let lead = events.first().map_or(Beats::ZERO, |event| event.beat);
    let end = if wraps && lead < Beats::ZERO {
        score.length + lead
    } else {
        score.length
    };
    for index in 0..events.len() {
        let next = events.get(index + 1).map_or(end, |event| event.beat);
        let beat = events[index].beat;
        if let EventKind::Sound(sounded) = &mut events[index].kind
            && matches!(sounded.part, SoundPart::Melody { .. })
        {
            sounded.length = next - beat;
        }
    }
}

fn claims(
    score: &Score,
    layout: &Layout,
    onsets: &[(usize, &ScoreNote)],
    groups: &[&ScoreGroup],
    wraps: bool,
    crowded: &mut Vec<NoteId>,
) -> Vec<Claim> {
    let least = Millis::whole(Lengths::SHORTEST).to_beats(layout.tempo);
    let length = |place: usize| score.sounding_length(onsets[place].0);
    let giver = |place: usize| match place.checked_sub(1) {
        Some(before) => Some(before),
        None if wraps => Some(onsets.len() - 1),
        None => None,
    };
    let mut claims: Vec<Claim> = Vec::with_capacity(onsets.len());
    for (place, group) in groups.iter().enumerate() {
        let lengths: Vec<Beats> = group
            .parts
            .iter()
            .map(|part| {
                part.held
                    .unwrap_or_else(|| layout.lengths.of(part.role, layout.tempo))
            })
            .collect();
        let (before, after) = lengths.split_at(group.before_beat.min(lengths.len()));
        let mut shrunk = false;
        let before = match giver(place) {
            Some(from) => {
                let fitted = fit(before, length(from), least);
                shrunk |= fitted.crowded;
                fitted.parts
            }
            None => before.to_vec(),
        };
        let after = fit(after, length(place), least);
        shrunk |= after.crowded;
        if shrunk {
            crowded.push(onsets[place].1.id);
        }
        claims.push(Claim {
            before,
            after: after.parts,
        });
    }
    for place in 0..claims.len() {
        let Some(from) = giver(place) else { continue };
        let mut before = std::mem::take(&mut claims[place].before);
        let mut after = std::mem::take(&mut claims[from].after);
        if fit_together(&mut after, &mut before, length(from)) {
            crowded.push(onsets[place].1.id);
            crowded.push(onsets[from].1.id);
        }
        claims[place].before = before;
        claims[from].after = after;
    }
    claims
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::chanter::Note;
    use crate::drill::{built_in, read, read_music};
    use crate::movement::Schools;
    use crate::score::resolve_music;
    use crate::units::{Fraction, Frames};

    fn tempo(text: &str) -> Bpm {
        Bpm::parse(text).expect("a tempo")
    }

    fn written(text: &str, metre: Metre, breath: i128) -> Score {
        let (music, problems) = read_music(text, metre, metre.default_unit(), "");
        assert_eq!(problems, [], "{text}");
        resolve_music(&music, Beats::whole(breath), &Schools::default())
    }

    /// Melody notes and gracenotes of a cycle with their moments.
    fn sounded(events: &[Event]) -> Vec<(Note, Beats)> {
        events
            .iter()
            .filter_map(|event| match event.kind {
                EventKind::Sound(sounded) => Some((sounded.note, event.beat)),
                _ => None,
            })
            .collect()
    }

    /// The closing note of a grip lands on its written place and the grip stands before it.
    #[test]
    fn a_grip_takes_its_time_from_the_note_before() {
        let drill = built_in("grip-from-d").expect("it is built in");
        let (drill, _) = read(drill.text.as_bytes());
        let drill = drill.expect("it reads");
        let score = resolve_music(&drill.stages[4].music, Beats::whole(4), &drill.schools);
        let timeline = lay(&score, &Layout::at(tempo("80"), SampleRate(48_000)));
        // At 80 a beat is 750 ms: gracenote 35 ms, tones 55 ms each.
        let ms = |count: i128| Millis::whole(count).to_beats(tempo("80"));
        let two = Beats::whole(2);
        assert_eq!(
            sounded(&timeline.first)[..6],
            [
                (Note::HighG, Beats::ZERO),
                (Note::D, ms(35)),
                (Note::LowG, two - ms(145)),
                (Note::B, two - ms(90)),
                (Note::LowG, two - ms(55)),
                (Note::LowA, two),
            ]
        );
        assert!(timeline.crowded.is_empty());
    }

    /// Laid out in the count-in and at the end of a cycle: nothing of a repetition is lost.
    #[test]
    fn gracenotes_before_the_first_note_sound_before_the_repetition() {
        let score = written("{GdG}A2 B2 {GdG}c2 B2|", Metre::TWO_FOUR, 2);
        let timeline = lay(&score, &Layout::at(tempo("60"), SampleRate(48_000)));
        let ahead = |events: &[Event]| events.iter().filter(|event| event.ahead).count();
        assert_eq!(ahead(&timeline.lead_in), 3);
        assert_eq!(ahead(&timeline.first), 3);
        let played = timeline.played(2);
        assert_eq!(played.iter().filter(|placed| placed.event.ahead).count(), 6);
        assert!(played.windows(2).all(|pair| pair[0].frame <= pair[1].frame));
    }

    /// With no breath the last note gives way to the gracenotes that begin the next repetition:
    /// running on, it would sound under them. Each sound ends where the next begins, round and round.
    #[test]
    fn the_last_note_ends_where_the_next_repetitions_gracenotes_begin() {
        for breath in [0, 2] {
            let score = written("{GdG}A2 B2 {GdG}c2 B2|", Metre::TWO_FOUR, breath);
            let timeline = lay(&score, &Layout::at(tempo("60"), SampleRate(48_000)));
            let sounds: Vec<(Beats, Beats)> = timeline
                .again
                .iter()
                .filter_map(|event| match event.kind {
                    EventKind::Sound(sounded) => Some((event.beat, sounded.length)),
                    _ => None,
                })
                .collect();
            assert_eq!(sounds.len(), 10);
            let (melody, ahead) = sounds.split_at(7);
            for pair in melody.windows(2) {
                assert_eq!(pair[0].0 + pair[0].1, pair[1].0, "breath {breath}");
            }
            let (last, length) = melody[6];
            let end = if breath == 0 {
                ahead[0].0
            } else {
                score.length
            };
            assert_eq!(last + length, end, "breath {breath}");
            for pair in ahead.windows(2) {
                assert_eq!(pair[0].0 + pair[0].1, pair[1].0, "breath {breath}");
            }
            assert_eq!(ahead[2].0 + ahead[2].1, timeline.cycle);
        }
    }

    /// A pickup that leaves half a bar to count, or more, is counted in by what it leaves; one that
    /// leaves less by a bar more.
    #[test]
    fn a_pickup_of_half_a_bar_is_counted_in_by_the_other_half() {
        for (pickup, beats) in [("A2", 3), ("A4", 2), ("A6", 5)] {
            let rest = match pickup {
                "A2" => "d4 B2",
                "A4" => "d4",
                _ => "d2",
            };
            let score = written(&format!("{pickup}|B4 c4|{rest}|"), Metre::FOUR_FOUR, 4);
            let timeline = lay(&score, &Layout::at(tempo("60"), SampleRate(48_000)));
            assert_eq!(timeline.lead_in_length, Beats::whole(beats), "{pickup}");
            let clicks = timeline
                .lead_in
                .iter()
                .filter(|event| matches!(event.kind, EventKind::Click(_)));
            assert_eq!(clicks.count() as i128, beats, "{pickup}");
        }
    }

    #[test]
    fn the_count_in_ends_with_the_pickup() {
        let score = written("A2|B4 c4|d4 B2|", Metre::TWO_FOUR, 2);
        let timeline = lay(&score, &Layout::at(tempo("60"), SampleRate(48_000)));
        assert_eq!(timeline.lead_in_length, Beats::new(3, 2));
        let downbeats: Vec<Beats> = timeline
            .first
            .iter()
            .filter(|event| {
                matches!(event.kind, EventKind::Click(click) if click.weight == ClickWeight::Bar)
            })
            .map(|event| event.beat)
            .collect();
        assert_eq!(
            downbeats,
            [Beats::new(1, 2), Beats::new(5, 2), Beats::new(9, 2)]
        );
        assert_eq!(timeline.cycle, Beats::whole(6));
    }

    /// Quick enough, a movement may take three fifths of its note and no more.
    #[test]
    fn a_crowded_movement_is_told_and_never_swallows_its_note() {
        let score = written("B {GdG}A B {GdG}A B4|", Metre::TWO_FOUR, 2);
        let timeline = lay(&score, &Layout::at(tempo("150"), SampleRate(48_000)));
        assert_eq!(timeline.crowded.len(), 2);
        let notes = sounded(&timeline.first);
        // The first B lasts a quarter of a beat; the grip takes 3/5 of it.
        assert_eq!(notes[1].1, Beats::new(1, 4) - Beats::new(3, 20));
        for events in [&timeline.first, &timeline.again] {
            let notes = sounded(events);
            assert!(notes.windows(2).all(|pair| pair[0].1 < pair[1].1));
        }
    }

    #[test]
    fn the_last_note_counts_as_the_note_before_from_the_second_repetition_on() {
        // Opening gracenote on F: high G after silence, the thumb after high G.
        let text = "title: x\nmovement: thumb-doubling\nfrom: HG\nto: F\nbreath: 0\n\
                    stages: [{name: a, before: 2}]\nladder: {from: 50, to: 60, step: 4}\n";
        let (drill, problems) = read(text.as_bytes());
        assert!(problems.is_empty(), "{problems:?}");
        let drill = drill.expect("it reads");
        let score = resolve_music(&drill.stages[0].music, Beats::ZERO, &drill.schools);
        let timeline = lay(&score, &Layout::at(tempo("60"), SampleRate(48_000)));
        assert_eq!(sounded(&timeline.first)[0].0, Note::HighA);
        assert_eq!(timeline.first.len(), timeline.again.len());
    }

    /// Laws over every built-in stage at several tempi: sorted, gapless, nothing swallowed.
    #[test]
    fn every_built_in_stage_is_sorted_and_gapless() {
        for drill in crate::drill::BUILT_IN {
            let (value, _) = read(drill.text.as_bytes());
            let value = value.expect("built-in drills read");
            for stage in &value.stages {
                for (breath, at) in [(0, "50"), (1, "77.7"), (2, "300")] {
                    let breath = value.metre.bar() * Fraction::from_integer(breath);
                    let score = resolve_music(&stage.music, breath, &value.schools);
                    let timeline = lay(&score, &Layout::at(tempo(at), SampleRate(44_100)));
                    let played = timeline.played(3);
                    let mut end = None;
                    for placed in &played {
                        match placed.event.kind {
                            EventKind::Sound(sounded) => {
                                assert!(sounded.length > Beats::ZERO, "{}", drill.name);
                                if let Some(end) = end {
                                    assert_eq!(placed.beat, end, "{} {at}", drill.name);
                                }
                                end = Some(placed.beat + sounded.length);
                            }
                            EventKind::Hush => end = None,
                            EventKind::Click(_) => {}
                        }
                    }
                    assert!(played.windows(2).all(|pair| pair[0].beat <= pair[1].beat));
                }
            }
        }
    }

    #[test]
    fn a_click_in_a_later_cycle_is_placed_and_not_added_up() {
        let score = written("A4 B4|", Metre::TWO_FOUR, 0);
        let timeline = lay(&score, &Layout::at(tempo("97"), SampleRate(44_100)));
        // Ten hours at 97 are 58 200 beats: 2 of count-in and 29 099 cycles of 2.
        let start = timeline.cycle_start(29_099);
        assert_eq!(start, Beats::whole(58_200));
        assert_eq!(
            timeline.frame(Fraction::from_integer(0), start),
            Frames(1_587_600_000)
        );
    }
}
