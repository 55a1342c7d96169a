//! A model that is played without a device, for drawing the pages of a drill.

use super::*;
use gracerung::listening::{HeardNow, HeldNote};

pub(super) fn drill(name: &str) -> Drill {
    let file = built_in(name).expect("built in");
    read(file.text.as_bytes()).0.expect("it reads")
}

/// The model of the program, with the clock that drives it.
pub(super) struct Stage {
    pub(super) model: Model,
    pub(super) now_ms: i64,
    pub(super) cycle: u64,
}

impl Stage {
    #[allow(
        clippy::large_types_passed_by_value,
        reason = "made for one screen and moved into it"
    )]
    pub(super) fn new(options: Options) -> Self {
        Self {
            model: Model::new(options),
            now_ms: 0,
            cycle: 0,
        }
    }

    /// An opened drill at one of its stages.
    #[allow(
        clippy::large_types_passed_by_value,
        reason = "made for one screen and moved into it"
    )]
    pub(super) fn opened(name: &str, stage: usize, options: Options) -> Self {
        let mut here = Self::new(options);
        here.opens(name, stage, None);
        here
    }

    pub(super) fn opens(&mut self, name: &str, stage: usize, goal: Option<HomeworkGoal>) {
        self.tell(Message::Opened(Box::new(OpenedDrill {
            goal,
            stage: Some(stage),
            session: uuid::Uuid::from_u128(7),
            ..OpenedDrill::new(name, drill(name))
        })));
    }

    pub(super) fn tell(&mut self, message: Message) {
        self.now_ms += 1000;
        let at = Moment {
            utc_us: NOON + self.now_ms * 1000,
            offset_s: 0,
            heard_ms: self.now_ms,
        };
        let before = self.model.sent();
        let _ = update(&mut self.model, at, message);
        if self.model.sent() != before {
            self.cycle = 0;
        }
    }

    pub(super) fn acts(&mut self, action: Action) {
        self.tell(Message::Act(action));
    }

    pub(super) fn at(&mut self, counting_in: bool, beat: f64) {
        self.tell(Message::Position {
            serial: self.model.sent(),
            counting_in,
            cycle: self.cycle,
            beat,
            latency_ms: 0.0,
        });
    }

    /// Plays a repetition up to its closing note, into the breath.
    pub(super) fn plays(&mut self) {
        let (serial, cycle, frame) = (self.model.sent(), self.cycle, Frames(0));
        self.tell(Message::Heard(RendererReport::Bar {
            serial,
            cycle,
            bar: 0,
            frame,
        }));
        self.tell(Message::Heard(RendererReport::Closing {
            serial,
            cycle,
            frame,
        }));
    }

    /// Plays a repetition, marks it, and lets the breath pass.
    pub(super) fn marks(&mut self, mark: Mark) {
        self.plays();
        self.acts(Action::Mark(mark, Hand::Pedal));
        self.at(false, 8.0);
        self.cycle += 1;
    }
}

pub(super) fn playing() -> Stage {
    let mut here = Stage::opened("grip-from-d", 1, Options::default());
    here.acts(Action::PlayOrPause);
    here
}

pub(super) fn heard(cents: f64) -> HeardNow {
    HeardNow {
        level: FullScale(-21.0),
        note: Some((Note::D, Some(Cents(cents)))),
        held: Some(HeldNote {
            length: Seconds(2.4),
            cents: Cents(cents),
            spread: Cents(2.4),
        }),
        clips: false,
        silent: Seconds(0.0),
        unheard: Seconds(0.0),
        low_a: Hertz(236.0),
    }
}
