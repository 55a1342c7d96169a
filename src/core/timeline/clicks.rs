//! Where the clicks of a cycle and of its count-in stand, in beats.

use super::event::{EventKind, TimelineEvent};
use crate::rhythm::{Click, ClickWeight, Metre, Subdivision};
use crate::score::Score;
use crate::units::{Beats, Fraction};

/// The grid that clicks stand on: a metre, and a place where one of its bars begins.
#[derive(Clone, Copy)]
pub(super) struct Grid {
    metre: Metre,
    downbeat: Beats,
}

impl Grid {
    /// The grid of a score whose metre stays the same: the first downbeat stands after the pickup.
    pub(super) fn of(score: &Score) -> Self {
        Self {
            metre: score.metre,
            downbeat: score.pickup,
        }
    }

    /// Clicks from `from` (inclusive) to `to` (exclusive), in beats from the start of the
    /// repetition. Each place is computed from the downbeat as a whole number of parts, never added
    /// up.
    pub(super) fn clicks(
        self,
        subdivision: Subdivision,
        from: Beats,
        to: Beats,
    ) -> Vec<TimelineEvent> {
        // Beats that are counted in groups already are the notes between the counts.
        let parts = if self.metre.is_grouped() {
            1
        } else {
            i128::from(subdivision.parts())
        };
        let beats_in_a_bar = i128::from(self.metre.beats_in_a_bar());
        let step_lasts = self.metre.pace() / Fraction::from_integer(parts);
        let steps = |beats: Beats| (beats - self.downbeat).0 / step_lasts;
        let mut step = steps(from).ceil().to_integer();
        let end = steps(to);
        let mut events = Vec::new();
        while Fraction::from_integer(step) < end {
            let beat_number = step.div_euclid(parts).rem_euclid(beats_in_a_bar);
            let beat = u32::try_from(beat_number).unwrap_or(0);
            let between = step.rem_euclid(parts) != 0 || !self.metre.is_counted(beat);
            // Beats that are counted in groups are what the tempo counts, so each of them has a
            // soft click.
            let is_left_out = subdivision == Subdivision::Beats && !self.metre.is_grouped();
            if between && is_left_out {
                step += 1;
                continue;
            }
            let weight = if between {
                ClickWeight::Part
            } else if beat_number == 0 {
                ClickWeight::Bar
            } else {
                ClickWeight::Beat
            };
            events.push(TimelineEvent {
                beat: self.downbeat + Beats(Fraction::from_integer(step) * step_lasts),
                kind: EventKind::Click(Click {
                    weight,
                    beat: u8::try_from(self.metre.count_of(beat)).unwrap_or(0),
                }),
                ahead: false,
            });
            step += 1;
        }
        events
    }
}

/// Clicks of a cycle whose metre changes. Each bar is counted by its own metre, and a pickup from
/// its place in a full bar. The clicks of the breath lead to the first bar of the next repetition.
pub(super) fn clicks_by_bar(
    score: &Score,
    subdivision: Subdivision,
    cycle: Beats,
) -> Vec<TimelineEvent> {
    let mut events = Vec::new();
    let mut counted = |from: Beats, to: Beats, metre: Metre, downbeat: Beats| {
        if !metre.is_free() {
            events.extend(Grid { metre, downbeat }.clicks(subdivision, from, to));
        }
    };
    for bar in &score.bars {
        let end = bar.start + bar.length;
        counted(bar.start, end, bar.metre, bar.start - bar.place);
    }
    counted(score.length, cycle, score.metre, cycle + score.pickup);
    events
}

/// The length of the count-in, in beats: one bar of clicks that ends with the pickup. When the
/// pickup leaves less than half a bar to count, the count-in is one bar longer.
pub(super) fn count_in_length(score: &Score) -> Beats {
    if score.metre.is_free() {
        // Music without clicks has a count-in of one beat, which leaves room for the gracenotes
        // before the first note.
        return Beats::ONE;
    }
    let bar = score.metre.bar_of_time();
    let rest = bar - score.pickup;
    if score.pickup * Fraction::from_integer(2) > bar {
        rest + bar
    } else {
        rest
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::drill::read_music;
    use crate::movement::Schools;
    use crate::score::resolve_music;
    use crate::timeline::{Layout, Timeline, lay};
    use crate::units::{Bpm, SampleRate};

    /// Lays out the music of `text` with a breath of one bar. The unit note length is a quaver.
    fn laid(text: &str, metre: Metre, subdivision: Subdivision) -> Timeline {
        let (music, problems) = read_music(text, metre, Fraction::new(1, 8), "");
        assert_eq!(problems, [], "{text}");
        let score = resolve_music(&music, metre.bar(), &Schools::none());
        let layout = Layout {
            subdivision,
            ..Layout::at(Bpm::whole(60).expect("a tempo"), SampleRate(48_000))
        };
        lay(&score, &layout)
    }

    fn clicks(events: &[TimelineEvent]) -> Vec<(Beats, Click)> {
        events
            .iter()
            .filter_map(|event| match event.kind {
                EventKind::Click(click) => Some((event.beat, click)),
                _ => None,
            })
            .collect()
    }

    /// The beats as a teacher counts them aloud. A click between beats is a dot.
    fn counted(events: &[TimelineEvent]) -> String {
        let count = |(_, click): &(Beats, Click)| match click.weight {
            ClickWeight::Bar => {
                assert_eq!(click.beat, 0, "only beat 1 begins a bar");
                '1'
            }
            ClickWeight::Beat => char::from(b'1' + click.beat),
            ClickWeight::Part => '.',
        };
        clicks(events).iter().map(count).collect()
    }

    fn beats(events: &[TimelineEvent]) -> Vec<Beats> {
        clicks(events).into_iter().map(|(beat, _)| beat).collect()
    }

    #[test]
    fn parts_of_a_beat_stand_evenly_between_the_beats() {
        for (subdivision, parts, shown) in [
            (Subdivision::Beats, 1, "12"),
            (Subdivision::Halves, 2, "1.2."),
            (Subdivision::Thirds, 3, "1..2.."),
            (Subdivision::Quarters, 4, "1...2..."),
        ] {
            let timeline = laid("A2 B2|", Metre::TWO_FOUR, subdivision);
            assert_eq!(counted(&timeline.lead_in), shown);
            assert_eq!(counted(&timeline.first), shown.repeat(2), "with its breath");
            let every: Vec<Beats> = (0..2 * parts).map(|part| Beats::new(part, parts)).collect();
            assert_eq!(beats(&timeline.lead_in), every);
        }
    }

    /// Each bar is counted by its own metre, and the breath leads to the first bar.
    #[test]
    fn where_the_metre_changes_each_bar_is_counted_anew() {
        let text = "A2 B2|[M:3/4]A2 B2 c2|[M:2/4]d2 e2|";
        let timeline = laid(text, Metre::TWO_FOUR, Subdivision::Beats);
        assert_eq!(counted(&timeline.first), "121231212");
        let every: Vec<Beats> = (0..9).map(Beats::whole).collect();
        assert_eq!(beats(&timeline.first), every);
        let halves = laid(text, Metre::TWO_FOUR, Subdivision::Halves);
        assert_eq!(counted(&halves.first), "1.2.1.2.3.1.2.1.2.");
    }

    /// With equal quavers a dotted crotchet lasts one and a half of the preceding crotchets.
    #[test]
    fn where_quavers_stay_equal_the_clicks_of_a_compound_bar_are_wider() {
        let text = "A2 B2|[M:6/8][Q:1/8=1/8]A3 B3|[M:2/4][Q:1/8=1/8]c2 d2|";
        let timeline = laid(text, Metre::TWO_FOUR, Subdivision::Beats);
        assert_eq!(counted(&timeline.first), "12121212");
        let halves = [0, 2, 4, 7, 10, 12, 14, 16].map(|half| Beats::new(half, 2));
        assert_eq!(beats(&timeline.first), halves);
    }

    /// A pickup is counted as the last beats of a full bar, both at the start of the piece and where a
    /// part ends with a short bar. The short last bar of a part begins with its first beat.
    #[test]
    fn a_pickup_is_counted_from_its_place_in_a_full_bar() {
        for (text, shown) in [
            // The breath has beat 3, which the last bar lacks, and then 1 2 before the pickup on 3.
            ("B2|A2 c2 B2|[M:2/4]A2 c2|[M:3/4]d2 e2|", "31231212312"),
            ("|:B2|[M:2/4]A2 c2|[M:3/4]d2 e2:|", "3121231212312"),
            (
                "A2 c2 B2|[M:4/4]A2 c2 d2||f2|e2 c2 d2 e2|",
                "123 123 4 1234 123",
            ),
        ] {
            let timeline = laid(text, Metre::THREE_FOUR, Subdivision::Beats);
            assert_eq!(counted(&timeline.first), shown.replace(' ', ""), "{text}");
            assert_eq!(
                counted(&timeline.first).len() as i128,
                timeline.cycle.0.to_integer(),
                "a click on every beat: {text}"
            );
        }
    }

    /// Music without a metre has no clicks.
    #[test]
    fn without_a_metre_nothing_clicks() {
        let timeline = laid("A2 B4 c2|", Metre::FREE, Subdivision::Halves);
        for events in [&timeline.lead_in, &timeline.first, &timeline.again] {
            assert_eq!(counted(events), "");
        }
        assert_eq!(timeline.lead_in_length, Beats::ONE);
    }

    /// The metre changes to none within the piece and back.
    #[test]
    fn bars_without_a_metre_are_silent_between_those_that_have_one() {
        let text = "A2 B2|[M:none]A2 c6|[M:2/4]d2 e2|";
        let timeline = laid(text, Metre::TWO_FOUR, Subdivision::Beats);
        assert_eq!(counted(&timeline.first), "121212");
        let every = [0, 1, 6, 7, 8, 9].map(Beats::whole);
        assert_eq!(beats(&timeline.first), every);
    }
}
