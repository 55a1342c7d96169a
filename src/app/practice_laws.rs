//! Laws of the cold try and of the place where play stops by itself: messages go in, effects and
//! the model come out.

use super::{Effect, Message, Model, Notice, Offer, OpenedDrill, Options, update};
use crate::app::Action;
use crate::drill::{SLOW, read};
use crate::listening::{Attended, ExpectedStage};
use crate::planning::{READ, missed};
use crate::practice::{By, CellKey, Entry, Hand, Kind, LATE, Mark, Moment, Record, RecordId};
use crate::rhythm::ReferencePlan;
use crate::sound::{Command, RendererReport};
use crate::units::Frames;
use uuid::Uuid;

const DRILL: &str = "title: Ours\nmovement: grip\nfrom: D\nto: LA\nmetre: 4/4\nstages:\n  \
    - {name: full beats, before: 1, tone: 1}\n  - {name: half beats, before: 1, tone: 1/2}\n  \
    - {name: real time}\nladder: {from: 50, to: 60, step: 5}\nclean: 5\n";

const DAY_US: i64 = 86_400_000_000;

pub(super) struct Player {
    pub(super) model: Model,
    pub(super) now_us: i64,
    /// The cycle, within the timeline that was sent last, that is played now.
    cycle: u64,
    /// True once further parts were asked for to fill the session's minutes.
    pub(super) asks_for_more: bool,
    /// The reference plan that was sent last.
    reference: Option<ReferencePlan>,
}

impl Player {
    /// Opens the drill on this day, with the tops of the listed stages cleared on the listed days.
    fn opens(cleared: &[(usize, i64)], day: i64, stage: Option<usize>) -> Self {
        let mut player = Self::on(day);
        player.tell(Message::Opened(Box::new(Self::drill(cleared, stage))));
        player
    }

    /// A player at noon of this day, with no drill open.
    pub(super) fn on(day: i64) -> Self {
        Self {
            model: Model::new(Options::default()),
            now_us: day * DAY_US + DAY_US / 2,
            cycle: 0,
            asks_for_more: false,
            reference: None,
        }
    }

    /// The drill as the shell reads it, with the tops of the listed stages cleared on the listed
    /// days.
    pub(super) fn drill(cleared: &[(usize, i64)], stage: Option<usize>) -> OpenedDrill {
        let drill = read(DRILL.as_bytes()).0.expect("no problem");
        let planned = super::practising::planned(&drill, &super::scores(&drill));
        let mut entries = Vec::new();
        for (number, (stage, day)) in cleared.iter().enumerate() {
            for repetition in 0..5 {
                let session = Uuid::from_u128(number as u128 + 1);
                entries.push(Entry {
                    journal: Uuid::from_u128(9),
                    seq: entries.len() as u64 + 1,
                    record: Record {
                        id: RecordId {
                            session,
                            number: repetition,
                        },
                        utc_us: day * DAY_US + repetition as i64 * 10_000_000,
                        offset_s: 0,
                        kind: Kind::Mark {
                            repetition,
                            mark: Mark::Clean,
                            needed: 5,
                            free: true,
                        },
                        drill: "ours".to_owned(),
                        cell: Some(CellKey {
                            stage: planned[*stage].print,
                            rung: *planned[*stage].rungs.last().expect("a rung"),
                        }),
                        by: Some(By::Key),
                        thresholds: None,
                        measures: None,
                        version: "test".to_owned(),
                    },
                });
            }
        }
        OpenedDrill {
            entries,
            stage,
            session: Uuid::from_u128(77),
            ..OpenedDrill::new("ours", drill)
        }
    }

    pub(super) fn tell(&mut self, message: Message) -> Vec<Effect> {
        self.now_us += 1_000_000;
        let at = Moment {
            utc_us: self.now_us,
            offset_s: 0,
            heard_ms: self.now_us / 1000,
        };
        let effects = update(&mut self.model, at, message);
        for effect in &effects {
            match effect {
                Effect::Sound(Command::Reference(plan)) => self.reference = Some(*plan),
                Effect::Load { .. } => self.cycle = 0,
                Effect::MoreOfToday => self.asks_for_more = true,
                _ => {}
            }
        }
        effects
    }

    fn bar(&mut self, bar: u32) -> Vec<Effect> {
        let report = RendererReport::Bar {
            serial: self.model.sent,
            cycle: self.cycle,
            bar,
            frame: Frames(0),
        };
        self.tell(Message::Heard(report))
    }

    /// Plays a repetition up to its closing note, in the bar before the breath.
    pub(super) fn plays(&mut self) -> Vec<Effect> {
        self.begins();
        self.closes()
    }

    /// Plays the first bar of a repetition.
    pub(super) fn begins(&mut self) {
        self.bar(0);
    }

    /// Plays the closing note of a repetition.
    pub(super) fn closes(&mut self) -> Vec<Effect> {
        let closing = RendererReport::Closing {
            serial: self.model.sent,
            cycle: self.cycle,
            frame: Frames(0),
        };
        self.tell(Message::Heard(closing))
    }

    /// Lets the breath go by.
    pub(super) fn breathes(&mut self) {
        let practising = self.model.practising.as_ref().expect("a drill");
        let sent = practising.find(self.model.sent).expect("it was sent");
        let beat = sent.timeline.cycle.to_f64();
        self.hears(false, beat);
        self.cycle += 1;
    }

    /// Reports a place of the last timeline as audible.
    fn hears(&mut self, counting_in: bool, beat: f64) {
        self.tell(Message::Position {
            serial: self.model.sent,
            counting_in,
            cycle: self.cycle,
            beat,
            latency_ms: 0.0,
        });
    }

    pub(super) fn press(&mut self, mark: Mark) -> Vec<Effect> {
        self.tell(Message::Act(Action::Mark(mark, Hand::Pedal)))
    }

    pub(super) fn notice(&self) -> &str {
        let notice: Option<&Notice> = self.model.notice.as_ref();
        notice.map_or("", |notice| notice.text.as_str())
    }

    fn cell_name(&self) -> String {
        let practising = self.model.practising.as_ref().expect("a drill");
        practising.cell_name(practising.cell().expect("a cell"))
    }

    fn next_offer(&self) -> Option<Offer> {
        let practising = self.model.practising.as_ref().expect("a drill");
        assert!(practising.is_offering());
        practising.next_offer()
    }

    /// Lets a demonstration play to its end.
    fn ends(&mut self) {
        self.bar(0);
        self.bar(1);
        self.tell(Message::Heard(RendererReport::Stopped(Frames(0))));
    }
}

fn marks(effects: &[Effect]) -> usize {
    effects
        .iter()
        .filter_map(|effect| match effect {
            Effect::Store(records) => Some(records),
            _ => None,
        })
        .flatten()
        .filter(|record| matches!(record.kind, Kind::Mark { .. }))
        .count()
}

fn once(effects: &[Effect]) -> bool {
    effects.iter().any(|one| matches!(one, Effect::PlayOnce))
}

/// After three repetitions that are not clean, the pedals alone lead through all offers in their
/// order.
#[test]
fn pedals_lead_through_all_that_is_offered() {
    let mut player = Player::opens(&[], 20_000, Some(1));
    player.tell(Message::Act(Action::PlayOrPause));
    player.hears(true, 0.0);
    assert_eq!(player.notice(), SLOW, "a slow stage says so once");
    player.model.notice = None;
    player.hears(true, 1.0);
    assert_eq!(player.notice(), "", "and no more");
    for _ in 0..3 {
        player.plays();
        player.press(Mark::NotClean);
    }
    assert!(player.notice().contains("play stops at the bar line"));
    let effects = player.bar(1);
    assert!(effects.iter().any(|one| matches!(one, Effect::Pause)));
    assert_eq!(player.next_offer(), Some(Offer::Hear));

    let effects = player.press(Mark::Clean);
    assert!(once(&effects) && marks(&effects) == 0);
    assert_eq!(player.reference, Some(ReferencePlan::Every));
    player.ends();
    assert_eq!(player.next_offer(), Some(Offer::Sing));
    let effects = player.press(Mark::Clean);
    assert!(once(&effects) && marks(&effects) == 0);
    assert_eq!(player.reference, Some(ReferencePlan::Silent), "the click");
    player.ends();
    assert_eq!(player.reference, Some(ReferencePlan::Every));
    assert_eq!(player.next_offer(), None, "the same again");

    assert_eq!(player.cell_name(), "half beats at 50");
    let demonstrated = player.model.sent;
    let effects = player.press(Mark::NotClean);
    assert_eq!(player.cell_name(), "full beats at 50");
    assert!(effects.iter().any(|one| matches!(one, Effect::Start)));
    // a late report about a demonstration must not begin a repetition
    player.tell(Message::Heard(RendererReport::Bar {
        serial: demonstrated,
        cycle: 0,
        bar: 0,
        frame: Frames(0),
    }));
    assert_eq!(player.cell_name(), "full beats at 50");
    player.plays();
    assert_eq!(marks(&player.press(Mark::Clean)), 1, "pedals mark again");
    assert!(player.model.practising.is_some());
}

/// Space continues with the same cell, and the setting turns the stop off for good.
#[test]
fn space_plays_on_and_a_setting_turns_it_off() {
    let mut player = Player::opens(&[], 20_000, Some(1));
    player.tell(Message::Act(Action::PlayOrPause));
    for _ in 0..3 {
        player.plays();
        player.press(Mark::NotClean);
    }
    player.bar(1);
    player.press(Mark::Clean);
    let effects = player.tell(Message::Act(Action::PlayOrPause));
    let pauses = effects.iter().position(|one| matches!(one, Effect::Pause));
    let starts = effects.iter().position(|one| matches!(one, Effect::Start));
    assert!(pauses.is_some() && pauses < starts, "what played once ends");
    assert!(player.model.is_moving());
    assert_eq!(player.cell_name(), "half beats at 50");

    let mut player = Player::opens(&[], 20_000, Some(1));
    let practising = player.model.practising.as_mut().expect("a drill");
    let mut plan = practising.state.plan().clone();
    plan.stop_rule = false;
    practising.state = crate::practice::replay(plan, &[]);
    let at = Moment::default();
    let started = crate::practice::Event::Started {
        at,
        session: Uuid::from_u128(78),
        place: practising.state.plan().key(1, 0),
    };
    practising.state = crate::practice::step(&practising.state, &started).0;
    player.tell(Message::Act(Action::PlayOrPause));
    for _ in 0..3 {
        player.plays();
        player.press(Mark::NotClean);
    }
    assert!(player.notice().contains("n takes"), "{}", player.notice());
    player.bar(1);
    assert!(player.model.is_moving());
}

/// On another day the drill begins with the cold try, without the reference. Then a notice names
/// the result and the day on which the cell comes again, and practice continues in the cell that
/// the climb has reached.
#[test]
fn a_drill_begins_with_its_cold_try() {
    let mut player = Player::opens(&[(1, 20_000)], 20_001, None);
    assert_eq!(player.cell_name(), "half beats at 60");
    assert_eq!(player.reference, Some(ReferencePlan::Silent));
    player.tell(Message::Act(Action::PlayOrPause));
    player.plays();
    player.press(Mark::Clean);
    assert!(
        player
            .notice()
            .contains("held: half beats at 60; comes again in 2 days, on 2024-10-07"),
        "{}",
        player.notice()
    );
    assert_eq!(player.reference, Some(ReferencePlan::Silent), "to its end");
    player.breathes();
    assert_eq!(player.reference, Some(ReferencePlan::Every));
    player.plays();
    assert_eq!(player.cell_name(), "real time at 50");

    let mut player = Player::opens(&[(1, 20_000)], 20_001, None);
    player.tell(Message::Act(Action::PlayOrPause));
    player.plays();
    player.press(Mark::NotClean);
    assert!(
        player
            .notice()
            .contains("not held: half beats at 60; comes again tomorrow"),
        "{}",
        player.notice()
    );
    player.breathes();
    player.plays();
    assert_eq!(player.cell_name(), "half beats at 60", "one may stay");

    let same_day = Player::opens(&[(1, 20_000)], 20_000, None);
    assert_eq!(same_day.reference, Some(ReferencePlan::Every));
    let asked_otherwise = Player::opens(&[(1, 20_000)], 20_001, Some(0));
    assert_eq!(asked_otherwise.cell_name(), "full beats at 50");
    assert_eq!(asked_otherwise.reference, Some(ReferencePlan::Every));
}

/// Without this rule a gap in the click would be marked as the player's fault, again and again.
#[test]
fn a_late_computer_costs_the_repetition_and_gets_a_larger_buffer() {
    let mut player = Player::opens(&[], 20_000, Some(1));
    player.tell(Message::Act(Action::PlayOrPause));
    player.bar(0);
    let larger = |effects: &[Effect]| {
        let asked = |effect: &&Effect| matches!(effect, Effect::LargerBuffer);
        effects.iter().filter(asked).count()
    };
    assert_eq!(larger(&player.tell(Message::Underruns(1))), 0);
    assert_eq!(player.notice(), LATE);
    let closing = RendererReport::Closing {
        serial: player.model.sent,
        cycle: player.cycle,
        frame: Frames(0),
    };
    player.tell(Message::Heard(closing));
    assert_eq!(marks(&player.press(Mark::Clean)), 0);
    assert_eq!(player.notice(), LATE);
    assert_eq!(larger(&player.tell(Message::Underruns(2))), 0);
    assert_eq!(larger(&player.tell(Message::Underruns(9))), 1);
    player.breathes();
    player.plays();
    assert_eq!(marks(&player.press(Mark::Clean)), 1, "{}", player.notice());
}

/// With both hands on the chanter the pedals do the obvious next thing and never cost a mark. What
/// was heard is marked first; after that the right pedal plays and the left pedal goes one rung
/// down.
#[test]
fn a_pedal_marks_what_was_heard_and_then_plays() {
    let mut player = Player::opens(&[], 20_000, Some(0));
    player.tell(Message::Act(Action::Tempo { up: true }));
    assert_eq!(player.cell_name(), "full beats at 55");
    let effects = player.press(Mark::Clean);
    assert!(effects.iter().any(|effect| matches!(effect, Effect::Start)));
    player.plays();
    player.tell(Message::Act(Action::PlayOrPause));
    let effects = player.press(Mark::Clean);
    assert!(!effects.iter().any(|effect| matches!(effect, Effect::Start)));
    assert_eq!(player.notice(), "clean: 1 of 5 in a row");
    let effects = player.press(Mark::Clean);
    assert!(effects.iter().any(|effect| matches!(effect, Effect::Start)));
    player.tell(Message::Act(Action::PlayOrPause));
    player.press(Mark::NotClean);
    assert_eq!(player.cell_name(), "full beats at 50");
}

/// Reading the journal's entries again for every stage would make opening a drill of many stages,
/// and each mark in it, slow.
#[test]
fn what_was_heard_is_read_once_and_tells_of_its_own_stage() {
    let mut opened = Player::drill(&[], None);
    let scores = crate::app::scores(&opened.drill);
    let stages = crate::app::prints(&scores);
    let number = 0..30_u64;
    let heard = number.map(|number| missed(number, stages[number as usize % stages.len()], 1));
    opened.lately = heard.collect();
    let mut player = Player::on(20_000);
    let read = READ.get();
    player.tell(Message::Opened(Box::new(opened)));
    assert_eq!(READ.get() - read, 30);
    let told = |player: &Player| -> Vec<_> {
        let bars = &player.model.practising.as_ref().expect("a drill").bars;
        bars.iter()
            .map(|bars| (bars.as_ptr(), bars[0].of))
            .collect()
    };
    let before = told(&player);
    assert!(before.iter().all(|(_, of)| *of == 10), "{before:?}");
    let own = |entry| Message::Stored {
        foreign: Vec::new(),
        own: vec![entry],
    };
    player.tell(own(missed(30, stages[1], 1)));
    let after = told(&player);
    assert_eq!(READ.get() - read, 31);
    assert_eq!((after[0], after[2]), (before[0], before[2]), "untouched");
    assert_eq!(after[1].1, 11);
    let mut ended = missed(31, stages[1], 1);
    ended.record.kind = Kind::Ended;
    player.tell(own(ended));
    assert_eq!(told(&player), after, "it is no mark");
    assert_eq!(READ.get() - read, 31);
}

/// Without this rule the board would blame the player for sound that the computer lost, and would
/// seem to take back the player's mark.
#[test]
fn sound_that_the_microphone_lost_is_told_as_that() {
    let mut player = Player::opens(&[], 20_000, Some(1));
    player.model.options.by_ear = true;
    player.tell(Message::Act(Action::PlayOrPause));
    player.plays();
    let practising = player.model.practising.as_ref().expect("a drill");
    let sent = practising.find(player.model.sent).expect("it was sent");
    let piece = ExpectedStage::of(&practising.scores[sent.stage], &sent.timeline);
    let lost = Message::Listened {
        serial: player.model.sent,
        cycle: player.cycle,
        attended: Box::new(Attended::late(&piece)),
    };
    player.tell(lost.clone());
    assert_eq!(player.notice(), LATE);
    assert_eq!(marks(&player.press(Mark::Clean)), 1);
    let marked = player.notice().to_owned();
    player.tell(lost);
    assert_eq!(player.notice(), marked, "the hand has marked it");
}
