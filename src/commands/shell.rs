//! The shell around the app: carries out effects and turns the world into messages.

use super::open::{self, Opened};
use super::{folders, plan};
use crate::app::{
    Effect, Listed, Message, Model, OpenedDrill, SoundState, TodayLine, prints, scores, update,
};
use crate::drill::Drill;
use crate::journal::{Journal, Trouble};
use crate::live::{Asked, Heard, Player, State};
use crate::planning::{self, Rule};
use crate::practice::ladder::rungs;
use crate::practice::{CellStatus, Moment, Plan, Record, StagePrint, replay};
use crate::sound::Sound;
use crate::units::Bpm;
use std::time::{Instant, SystemTime, UNIX_EPOCH};
use uuid::Uuid;

/// Where the first drill is to begin.
#[derive(Debug, Clone, Copy, Default)]
pub(crate) struct Begin {
    /// Stage, from 0.
    pub(crate) stage: Option<usize>,
    /// Tempo.
    pub(crate) tempo: Option<Bpm>,
}

/// The world: the device, the journal, the clock.
pub(crate) struct Shell {
    player: Player,
    journal: Option<Journal>,
    /// Why there is no journal.
    journal_trouble: Option<String>,
    /// Records that could not be stored yet, oldest first.
    waiting: Vec<Record>,
    began: Instant,
    begin: Begin,
    /// The program asked to be suspended.
    pub(crate) suspend: bool,
}

impl Shell {
    /// A shell with nothing open but the journal. A newer or unreadable journal is refused here,
    /// before the screen is taken.
    ///
    /// # Errors
    /// The journal is newer than this program, or no journal at all.
    pub(crate) fn new(
        asked: Asked,
        sound: Sound,
        offset_ms: i32,
        begin: Begin,
    ) -> Result<Self, super::Failure> {
        let path = folders::data()?.join("journal.sqlite");
        let (journal, journal_trouble) = match Journal::open(&path) {
            Ok(journal) => (Some(journal), None),
            Err(error)
                if matches!(
                    error.trouble,
                    Trouble::Newer { .. } | Trouble::NotAJournal | Trouble::Damaged(_)
                ) =>
            {
                return Err(super::Failure(error.to_string()));
            }
            Err(error) => (None, Some(error.to_string())),
        };
        let mut player = Player::new(asked, sound);
        player.set_offset(offset_ms);
        Ok(Self {
            player,
            journal,
            journal_trouble,
            waiting: Vec::new(),
            began: Instant::now(),
            begin,
            suspend: false,
        })
    }

    /// The moment on both clocks.
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

    /// Applies a message and everything that follows from it.
    pub(crate) fn tell(&mut self, model: &mut Model, message: Message) {
        let mut messages = std::collections::VecDeque::from([message]);
        while let Some(message) = messages.pop_front() {
            let effects = update(model, self.now(), message);
            for effect in effects {
                messages.extend(self.carry_out(effect));
            }
        }
    }

    fn carry_out(&mut self, effect: Effect) -> Option<Message> {
        match effect {
            Effect::List => Some(Message::Listed(self.list(true))),
            Effect::Open(name) => Some(self.open(&name)),
            Effect::OpenAt { name, stage, tempo } => {
                self.begin = Begin {
                    stage: Some(stage),
                    tempo: Some(tempo),
                };
                Some(self.open(&name))
            }
            Effect::Store(records) => Some(self.store(records)),
            Effect::Load {
                timeline,
                when,
                entry,
            } => {
                self.player.load(timeline, when, entry);
                None
            }
            Effect::Start => {
                self.player.start();
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
            Effect::Sound(command) => {
                self.player.send(command);
                None
            }
            Effect::Suspend => {
                self.suspend = true;
                None
            }
            Effect::Quit => None,
        }
    }

    /// Opens a drill by name or path, with what the journal has of it.
    pub(crate) fn open(&mut self, wanted: &str) -> Message {
        match open::open(wanted) {
            Ok(opened) => self.opened(opened),
            Err(failure) => Message::NotOpened(failure.0),
        }
    }

    /// A drill that was read, with what the journal has of it.
    pub(crate) fn opened(&mut self, opened: Opened) -> Message {
        let begin = std::mem::take(&mut self.begin);
        let stages = prints(&scores(&opened.drill));
        let mut entries = Vec::new();
        let mut played = Vec::new();
        let mut place = None;
        if let Some(journal) = &mut self.journal {
            entries = journal.read(&stages).unwrap_or_default();
            played = journal.stages_of(&opened.name).unwrap_or_default();
            place = journal
                .last_place_in(&stages)
                .ok()
                .flatten()
                .map(|place| place.cell);
        }
        Message::Opened(Box::new(OpenedDrill {
            name: opened.name,
            drill: opened.drill,
            entries,
            played,
            place,
            stage: begin.stage,
            tempo: begin.tempo,
            session: Uuid::new_v4(),
        }))
    }

    /// Stores records with those that wait. What cannot be stored is kept and tried again.
    fn store(&mut self, records: Vec<Record>) -> Message {
        self.waiting.extend(records);
        let Some(journal) = &mut self.journal else {
            let why = self.journal_trouble.clone().unwrap_or_default();
            return Message::NotStored(why);
        };
        match journal.append(&self.waiting) {
            Ok(appended) => {
                self.waiting.clear();
                Message::Stored {
                    foreign: appended.foreign,
                    own: appended.own,
                }
            }
            Err(error) => Message::NotStored(error.to_string()),
        }
    }

    /// What has been heard since the last call.
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
            State::Sounding { latency, .. } => latency.as_secs_f64() * 1000.0,
            State::Closed | State::Silent { .. } => 0.0,
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
    }

    /// True while the player has something to say soon.
    pub(crate) fn is_busy(&self) -> bool {
        !matches!(self.player.state(), State::Closed)
    }

    /// Every drill for the list; with `progress`, how much of each board is done.
    pub(crate) fn list(&mut self, progress: bool) -> Vec<Listed> {
        super::drills::list()
            .into_iter()
            .map(|listed| {
                let done = if progress && listed.problems == 0 {
                    self.progress(&listed.name)
                } else {
                    String::new()
                };
                let tempi = listed
                    .tempi
                    .as_ref()
                    .map_or_else(String::new, |(from, to)| format!(", {from} to {to}"));
                Listed {
                    title: listed.title.clone(),
                    about: listed.about.clone().unwrap_or_default(),
                    extent: format!(
                        "{}{tempi}",
                        crate::wording::count(listed.stages.len(), "stage", "stages")
                    ),
                    progress: done,
                    playable: listed.problems == 0,
                    name: listed.name,
                }
            })
            .collect()
    }

    /// What to practise today.
    pub(crate) fn today(&self, rule: &Rule) -> Vec<TodayLine> {
        let digest = match &self.journal {
            Some(journal) => plan::digest_of(journal).unwrap_or_default(),
            None => return Vec::new(),
        };
        let (drills, due) = (plan::all_known(), plan::due(&digest));
        planning::today(&digest, &drills, &due, plan::date(), rule)
            .into_iter()
            .map(|item| TodayLine {
                open: item.open,
                stage: item.stage_number.saturating_sub(1),
                tempo: item.tempo,
                minutes: item.minutes,
                why: item.why,
            })
            .collect()
    }

    /// By how many per cent this week is above the four before.
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

    fn progress(&mut self, name: &str) -> String {
        let Some(journal) = &mut self.journal else {
            return String::new();
        };
        let Ok(opened) = open::open(name) else {
            return String::new();
        };
        let stages = prints(&scores(&opened.drill));
        match journal.read(&stages) {
            Ok(entries) if !entries.is_empty() => {
                done(&opened.name, &opened.drill, stages, &entries)
            }
            _ => String::new(),
        }
    }
}

/// `5 of 52 cells clear`.
fn done(
    name: &str,
    drill: &Drill,
    stages: Vec<StagePrint>,
    entries: &[crate::practice::Entry],
) -> String {
    let ladder = &drill.ladder;
    let Ok(rungs) = rungs(ladder.from, ladder.to, ladder.step) else {
        return String::new();
    };
    let state = replay(Plan::new(name, stages, rungs), entries);
    let cells = state.board().cells();
    let clear = cells
        .iter()
        .filter(|cell| matches!(cell.status, CellStatus::Clear | CellStatus::Passed))
        .count();
    if clear == cells.len() {
        "all clear".to_owned()
    } else {
        format!("{clear} of {} cells clear", cells.len())
    }
}

fn sound_state(state: State) -> SoundState {
    match state {
        State::Closed => SoundState::Closed,
        State::Sounding {
            device,
            rate,
            latency,
            ..
        } => SoundState::Sounding {
            device,
            rate: rate.0,
            latency_ms: latency.as_secs_f64() * 1000.0,
        },
        State::Silent { why } => SoundState::Silent { why },
    }
}
