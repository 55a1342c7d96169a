//! The shell around the app: it carries out effects and turns outside events into messages.

mod listing;
mod storing;

use super::{
    Failure,
    drill_files::Opened,
    ear::Ear,
    folders, homework,
    library::OnShelf,
    low_a::Search,
    making, open, phrases, plan,
    session::{self, Asked as AskedSession},
    takes,
};
use crate::app::{
    Effect, HomeworkGoal, Message, Model, OpenedDrill, SoundState, prints, scores, update,
};
use crate::chanter::Tuning;
use crate::journal::{Journal, Trouble};
use crate::live::{Asked, DEFAULT_BUFFER, DeviceState, Heard, LARGEST_BUFFER, Player};
use crate::planning::{self, Due, Known, Lately};
use crate::practice::{Moment, Record, Rung};
use std::path::PathBuf;
use std::time::{Instant, SystemTime, UNIX_EPOCH};
use uuid::Uuid;

/// Where a drill begins, and why it is opened.
#[derive(Debug, Clone, Default)]
pub(crate) struct Begin {
    /// The stage, from 0; none where it is not given.
    pub(crate) stage: Option<usize>,
    /// The rung; none where it is not given.
    pub(crate) rung: Option<Rung>,
    /// True where the stage begins at its own last place, whatever was played in other stages
    /// since; false where it begins at its lowest rung.
    pub(crate) own_place: bool,
    /// The homework's goal, where the drill is homework.
    pub(crate) goal: Option<HomeworkGoal>,
    /// The sentence that is shown once the drill is open.
    pub(crate) says: Option<String>,
}

/// Everything outside the model: the device, the journal, the clock and the microphone.
pub(crate) struct Shell {
    player: Player,
    /// The device and buffer that were asked for.
    asked: Asked,
    path: PathBuf,
    /// The journal; a copy for reading where the journal itself cannot be written.
    journal: Option<Journal>,
    /// The reason why there is no journal, or only a copy.
    journal_trouble: Option<String>,
    /// True where the journal was open and its file has disappeared.
    gone: bool,
    /// Records that could not be stored yet, oldest first.
    waiting: Vec<Record>,
    began: Instant,
    /// The microphone; none where it does not mark repetitions.
    ear: Option<Ear>,
    /// True once the program is to be suspended.
    pub(crate) suspend: bool,
    /// The values from which today's session is composed.
    pub(crate) day: Option<AskedSession>,
    /// The page beside practice that runs before the event loop goes on.
    pub(crate) aside: Option<Aside>,
    /// The drills that were read for the first list. The following list uses them.
    shelf: Option<Vec<OnShelf>>,
    /// The drills in the form that planning uses, for the plan that follows the list.
    known: Option<Vec<Known>>,
}

/// A page beside practice.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) enum Aside {
    /// A warm-up of this many minutes.
    WarmUp(u32),
    /// Training the ear with the movement of this drill.
    Hear(String),
}

impl Shell {
    /// A shell with nothing open but the journal. A journal that is newer or unreadable is refused
    /// here, before the screen is taken.
    ///
    /// # Errors
    /// The journal is newer than this program, or the file is no journal.
    pub(crate) fn new(asked: Asked, player: Player) -> Result<Self, Failure> {
        let path = folders::journal()?;
        let (journal, journal_trouble) = match Journal::open(&path) {
            Ok(journal) => (Some(journal), None),
            Err(error)
                if matches!(
                    error.trouble,
                    Trouble::Newer { .. } | Trouble::NotAJournal | Trouble::Damaged(_)
                ) =>
            {
                return Err(Failure(error.to_string()));
            }
            Err(error) => (Journal::open_a_copy(&path).ok(), Some(error.to_string())),
        };
        Ok(Self {
            player,
            asked,
            path,
            journal,
            journal_trouble,
            gone: false,
            waiting: Vec::new(),
            began: Instant::now(),
            ear: None,
            suspend: false,
            day: None,
            aside: None,
            shelf: None,
            known: None,
        })
    }

    /// Opens the microphone and listens from now on.
    ///
    /// # Errors
    /// There is no such microphone, or it cannot be opened.
    pub(crate) fn listen_to(
        &mut self,
        microphone: Option<&str>,
        tuning: (Tuning, Option<Search>),
        offset_ms: i32,
    ) -> Result<(), Failure> {
        self.ear = Some(Ear::open(microphone, tuning, offset_ms)?);
        Ok(())
    }

    /// The present moment on the monotonic clock and on the wall clock.
    pub(crate) fn now(&self) -> Moment {
        let utc = SystemTime::now()
            .duration_since(UNIX_EPOCH)
            .map_or(0, |since| since.as_micros());
        let utc_us = i64::try_from(utc).unwrap_or(i64::MAX);
        let offset_s = jiff::Timestamp::from_microsecond(utc_us).map_or(0, |time| {
            jiff::tz::TimeZone::system().to_offset(time).seconds()
        });
        Moment {
            utc_us,
            offset_s,
            heard_ms: i64::try_from(self.began.elapsed().as_millis()).unwrap_or(i64::MAX),
        }
    }

    /// Applies a message and carries out everything that follows from it.
    pub(crate) fn tell(&mut self, model: &mut Model, message: Message) {
        let mut messages = std::collections::VecDeque::from([message]);
        while let Some(message) = messages.pop_front() {
            let effects = update(model, self.now(), message);
            for effect in effects {
                messages.extend(self.carry_out(effect));
            }
        }
    }

    /// Makes a drill of the chosen bars of a tune, stores it and opens it.
    fn open_piece(&mut self, name: &str, which: &phrases::Which) -> Message {
        let kept = open::open(name)
            .and_then(|opened| phrases::choose(&opened, None, which))
            .map(phrases::Chosen::kept);
        match kept {
            Ok((opened, says)) => {
                let begin = Begin {
                    says,
                    stage: which.first_stage(),
                    own_place: true,
                    ..Begin::default()
                };
                self.opened(opened, begin)
            }
            Err(failure) => Message::NotOpened(failure.0),
        }
    }

    fn carry_out(&mut self, effect: Effect) -> Option<Message> {
        match effect {
            Effect::List => Some(Message::Listed(self.list(true))),
            Effect::Open { name, task } => {
                Some(self.open(&name, task.as_deref(), Begin::default()))
            }
            Effect::OpenMovement(name) => Some(match making::own(&name) {
                Ok(says) => {
                    let begin = Begin {
                        says,
                        ..Begin::default()
                    };
                    self.open(&name, None, begin)
                }
                Err(failure) => Message::NotOpened(failure.0),
            }),
            Effect::OpenBars(name, bars) => Some(self.open_piece(&name, &phrases::Which::of(bars))),
            Effect::OpenHeldDots(name) => {
                Some(self.open_piece(&name, &phrases::Which::held_dots()))
            }
            Effect::OpenAt {
                name,
                task,
                stage,
                rung,
            } => {
                let begin = Begin {
                    stage: Some(stage),
                    rung: Some(rung),
                    ..Begin::default()
                };
                Some(self.open(&name, task.as_deref(), begin))
            }
            Effect::BeginSession => {
                let digest = self
                    .journal
                    .as_ref()
                    .and_then(|one| plan::digest_of(one).ok());
                let digest = digest.unwrap_or_default();
                let known = plan::all_known();
                let due = homework::open_tasks(&digest);
                self.day
                    .map(|day| Message::Session(session::begin(&digest, &known, &due, &day)))
            }
            Effect::MoreOfToday => {
                let digest = self.journal.as_ref()?;
                let digest = plan::digest_of(digest).ok()?;
                self.day.map(|day| session::more(&digest, &day))
            }
            Effect::WarmUp(minutes) => {
                self.aside = Some(Aside::WarmUp(minutes));
                None
            }
            Effect::Hear(open) => {
                self.aside = Some(Aside::Hear(open));
                None
            }
            Effect::KeepSession(session) => {
                session::keep(&session);
                None
            }
            Effect::Store(records) => Some(self.store(records)),
            Effect::Load {
                serial,
                timeline,
                when,
                entry,
            } => {
                self.player.load_as(serial, timeline, when, entry);
                None
            }
            Effect::Start => {
                if let Some(ear) = &mut self.ear {
                    ear.playing_begins();
                }
                self.player.start();
                None
            }
            Effect::PlayOnce => {
                self.player.play_once();
                None
            }
            Effect::Pause => {
                self.player.pause();
                None
            }
            Effect::Stop => {
                self.player.stop();
                None
            }
            Effect::LargerBuffer => Some(Message::Care(self.larger_buffer())),
            Effect::Sound(command) => {
                self.player.send(command);
                None
            }
            Effect::KeepTake { drill, stage, rung } => {
                Some(Message::Kept(self.keep_take(drill, stage, rung)))
            }
            Effect::Suspend => {
                self.suspend = true;
                None
            }
            Effect::Quit => None,
        }
    }

    /// Doubles the buffer at once. The repetition that plays is not counted anyway, because of the
    /// underruns.
    fn larger_buffer(&mut self) -> String {
        let present = match (self.asked.buffer, self.player.state()) {
            (Some(asked), _) => asked,
            (None, DeviceState::Sounding { buffer, .. }) => *buffer,
            (None, _) => DEFAULT_BUFFER,
        };
        let buffer = present.saturating_mul(2);
        if buffer > LARGEST_BUFFER {
            return "the computer is late with the sound and a larger buffer would not help: close other programs".to_owned();
        }
        self.asked.buffer = Some(buffer);
        self.player.ask(self.asked.clone());
        format!(
            "the computer was late with the sound three times in a minute: the buffer is {buffer} frames now (--buffer {buffer} begins with it)"
        )
    }

    fn keep_take(&self, drill: String, stage: String, rung: Rung) -> Result<f64, String> {
        let ear = self.ear.as_ref().ok_or("no microphone is open")?;
        let (samples, rate) = ear.take();
        let seconds = samples.len() as f64 / f64::from(rate.0.max(1));
        if seconds < 1.0 {
            return Err("nothing has been played yet".to_owned());
        }
        let about = takes::About {
            drill,
            stage,
            rung,
            la_hz: ear.low_a(),
            seconds,
        };
        takes::keep(&samples, rate, &about).map_err(|failure| failure.0)?;
        Ok(seconds)
    }

    /// Opens a drill by name or path, or a task of a homework file, with its entries from the
    /// journal.
    fn open(&mut self, wanted: &str, task: Option<&str>, mut begin: Begin) -> Message {
        let opened = homework::begin(wanted, task).and_then(|begun| match begun {
            Some(begun) => {
                begin.goal = begun.goal;
                begin.says = Some(begun.asks);
                Ok(begun.opened)
            }
            None => open::open(wanted),
        });
        match opened {
            Ok(opened) => self.opened(opened, begin),
            Err(failure) => Message::NotOpened(failure.0),
        }
    }

    /// Adds the journal's entries to a drill that was read.
    pub(crate) fn opened(&mut self, opened: Opened, begin: Begin) -> Message {
        let mut opened = opened;
        // the homework's goal is a cell of the whole drill
        if begin.goal.is_none() {
            opened.drill = opened.practised();
        }
        let stages = prints(&scores(&opened.drill));
        let mut entries = Vec::new();
        let mut lately = Vec::new();
        let mut played = Vec::new();
        let mut place = None;
        if let Some(journal) = &mut self.journal {
            entries = journal.board(&stages).unwrap_or_default();
            lately = journal.latest(&stages, Lately::MOST).unwrap_or_default();
            played = journal.stages_of(&opened.name).unwrap_or_default();
            let own = begin.stage.filter(|_| begin.own_place);
            let own = own.and_then(|stage| stages.get(stage..=stage));
            place = journal
                .last_place_in(own.unwrap_or(&stages))
                .ok()
                .flatten()
                .map(|place| place.cell);
        }
        Message::Opened(Box::new(OpenedDrill {
            name: opened.name,
            drill: opened.drill,
            entries,
            lately,
            played,
            place,
            stage: begin.stage,
            rung: begin.rung,
            goal: begin.goal,
            says: begin.says,
            session: Uuid::new_v4(),
        }))
    }

    /// Passes on what was played and heard since the last call.
    pub(crate) fn listen(&mut self, model: &mut Model) {
        let now = Instant::now();
        for heard in self.player.poll(now) {
            let message = match heard {
                Heard::Report(report) => Message::Heard(report),
                Heard::State(state) => Message::Sound(sound_state(state)),
                Heard::Underruns(count) => Message::Underruns(count),
            };
            self.tell(model, message);
        }
        let latency_ms = match self.player.state() {
            DeviceState::Sounding { latency, .. } => latency.as_secs_f64() * 1000.0,
            DeviceState::Closed | DeviceState::Silent { .. } => 0.0,
        };
        if let Some(position) = self.player.position(now) {
            self.tell(
                model,
                Message::Position {
                    serial: position.serial,
                    counting_in: position.counting_in,
                    cycle: position.cycle,
                    beat: position.beat,
                    latency_ms,
                },
            );
        }
        if let Some(mut ear) = self.ear.take() {
            let device = match self.player.state() {
                DeviceState::Sounding { device, .. } => Some(device.clone()),
                DeviceState::Closed | DeviceState::Silent { .. } => None,
            };
            let position = self.player.position(now);
            for message in ear.listen(now, position, device.as_deref(), model) {
                self.tell(model, message);
            }
            self.ear = Some(ear);
        }
    }

    /// Remembers that another program had the terminal, so that nothing was heard meanwhile.
    pub(crate) fn woke(&mut self) {
        if let Some(ear) = &mut self.ear {
            ear.woke(Instant::now());
        }
    }

    /// True while a microphone is open.
    pub(crate) fn is_listening(&self) -> bool {
        self.ear.is_some()
    }

    /// True while the player or the microphone may have a message soon.
    pub(crate) fn is_busy(&self) -> bool {
        self.ear.is_some() || !matches!(self.player.state(), DeviceState::Closed)
    }

    /// Today's session and the homework that is not reached; none without a journal.
    pub(crate) fn today(&mut self) -> Option<Message> {
        let digest = plan::digest_of(self.journal.as_ref()?).unwrap_or_default();
        let known = self.known.take().unwrap_or_else(plan::all_known);
        let homework = homework::kept(&digest);
        let lines = homework
            .iter()
            .flat_map(|kept| listing::homework(kept, &digest));
        let lines = lines.collect();
        let due: Vec<Due> = homework.into_iter().flat_map(|kept| kept.open).collect();
        let session = session::begin(&digest, &known, &due, &self.day?);
        Some(Message::Today(session, lines))
    }

    /// By how many per cent this week's playing exceeds the mean of the four weeks before. None
    /// where those have less than half an hour a week.
    pub(crate) fn rise(&self) -> Option<f64> {
        let since = jiff::Timestamp::now().as_microsecond() - 40 * 86_400_000_000;
        let played = self.journal.as_ref()?.playing(since).ok()?;
        planning::rise(&played, plan::date())
    }

    /// The name of the drill practised last.
    pub(crate) fn last_drill(&self) -> Option<String> {
        let journal = self.journal.as_ref()?;
        journal.last_place().ok().flatten().map(|place| place.drill)
    }
}

fn sound_state(state: DeviceState) -> SoundState {
    match state {
        DeviceState::Closed => SoundState::Closed,
        DeviceState::Sounding {
            device,
            rate,
            latency,
            ..
        } => SoundState::Sounding {
            device,
            rate: rate.0,
            latency_ms: latency.as_secs_f64() * 1000.0,
        },
        DeviceState::Silent { why } => SoundState::Silent { why },
    }
}
