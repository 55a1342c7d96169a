//! Simulates hours of play on a fast clock: app, renderer, board, journal and screen run as in the
//! program, and the player marks by hand or is marked by the microphone.
//!
//! `cargo bench -p gracerung-benches --bench soak -- [--hours 8] [--ear] [--sound]`. The aims are
//! no frame of drift, and memory and open files as after the first hour (memory within 2 MiB). With
//! `--sound` clicks are looked for in the samples; without it samples are discarded, as without a
//! device. `tests/soak.sh` runs all four combinations.

#![expect(clippy::print_stdout, reason = "a bench prints its figures")]
#![expect(clippy::expect_used, reason = "a bench that cannot run says so")]

use gracerung::app::{
    Action, Effect, Message, Model, OpenedDrill, Options, Page, prints, scores, update,
};
use gracerung::drill::{BUILT_IN, Drill, read};
use gracerung::journal::Journal;
use gracerung::listening::{Attention, ExpectedStage};
use gracerung::movement::Lengths;
use gracerung::planning::Lately;
use gracerung::practice::{By, CellStatus, Hand, Kind, Mark, Moment};
use gracerung::screen::{Theme, view};
use gracerung::sound::{
    Bus, Command, Controls, Entrance, Load, Renderer, RendererReport, Sound, Timed, When,
};
use gracerung::timeline::{Layout, Timeline, lay};
use gracerung::units::{Beats, Bpm, Fraction, Frames, Millis, SampleRate, Seconds};
use ratatui::Terminal;
use ratatui::backend::TestBackend;
use std::collections::VecDeque;
use std::sync::Arc;
use uuid::Uuid;

const RATE: SampleRate = SampleRate::USUAL;
/// Frames between two polls of what is heard: a screen is drawn 30 times a second.
const BLOCK: usize = 1600;
/// How long a drill is played before the next, in seconds; also the length of a part in a session.
const DRILL_S: u64 = 1200;
/// How much memory may grow after the first hour, in KiB.
const MOST_GROWN: i64 = 2048;
/// Noon of a day in 2026, in microseconds since 1970.
const NOON: i64 = 1_796_040_000_000_000;

/// The timeline that plays, with the place of its first click.
#[derive(Clone)]
struct Laid {
    timeline: Arc<Timeline>,
    serial: u64,
    origin: Fraction,
    first_cycle: u64,
    counts_in: bool,
    frames_per_beat: Fraction,
}

/// The player's own instrument, which sounds into the microphone. It plays the same music a little
/// slower, so that its notes are never exactly where the program's own are.
struct Instrument {
    renderer: Renderer,
    controls: Controls,
    attention: Attention,
    samples: Vec<f32>,
    serial: u64,
    /// Repetitions that play or are over: key, music, and beginning in the stream.
    awaited: VecDeque<((u64, u64), ExpectedStage, Seconds)>,
}

#[derive(Default)]
struct Counted {
    marks_by_hand: u32,
    marks_by_ear: u32,
    repetitions: u32,
    timelines: u32,
    /// Timelines that followed another by themselves, and those of them that began off the grid.
    followed: u32,
    off_grid: u32,
    clicks: u64,
    /// The smallest and the largest number of frames by which clicks were off.
    off: Option<(i64, i64)>,
    drawn: u32,
}

struct World {
    /// The built-in drills with their names, those with the longest stages first, so that the
    /// memory of the longest repetition is used within the first hour.
    drills: Vec<(&'static str, Drill)>,
    model: Model,
    renderer: Renderer,
    controls: Controls,
    journal: Journal,
    sent: VecDeque<(u64, Arc<Timeline>, When)>,
    laid: Option<Laid>,
    playing: bool,
    instrument: Option<Instrument>,
    measured: bool,
    /// The samples that were rendered last, and those before them.
    block: Vec<f32>,
    before: Vec<f32>,
    /// The number of frames since the beginning, including those in which nothing plays.
    elapsed: u64,
    random: fastrand::Rng,
    counted: Counted,
}

fn send(controls: &mut Controls, command: Command) {
    let at = Frames(0);
    controls
        .commands
        .push(Timed { at, command })
        .expect("the ring has room");
}

impl World {
    fn now(&self) -> Moment {
        let us = i64::try_from(self.elapsed * 1_000_000 / u64::from(RATE.0)).expect("hours");
        Moment {
            utc_us: NOON + us,
            offset_s: 0,
            heard_ms: us / 1000,
        }
    }

    fn tell(&mut self, message: Message) {
        let mut messages = VecDeque::from([message]);
        while let Some(message) = messages.pop_front() {
            let now = self.now();
            for effect in update(&mut self.model, now, message) {
                messages.extend(self.carry_out(effect));
            }
        }
    }

    fn carry_out(&mut self, effect: Effect) -> Option<Message> {
        match effect {
            Effect::Store(records) => {
                for record in &records {
                    if let Kind::Mark { .. } = record.kind {
                        match record.by {
                            Some(By::Ear) => self.counted.marks_by_ear += 1,
                            _ => self.counted.marks_by_hand += 1,
                        }
                    }
                }
                let stored = self.journal.append(&records).expect("stored");
                return Some(Message::Stored {
                    foreign: stored.foreign,
                    own: stored.own,
                });
            }
            Effect::Load {
                timeline,
                serial,
                when,
                entry,
            } => {
                self.sent.push_back((serial, Arc::clone(&timeline), when));
                let load = Load {
                    timeline,
                    serial,
                    when,
                    entry,
                };
                send(&mut self.controls, Command::Load(load));
            }
            Effect::Start => send(&mut self.controls, Command::Play { repetitions: None }),
            Effect::PlayOnce => send(
                &mut self.controls,
                Command::Play {
                    repetitions: Some(1),
                },
            ),
            Effect::Pause => send(&mut self.controls, Command::Pause),
            Effect::Stop => send(&mut self.controls, Command::Stop),
            Effect::Sound(command) => send(&mut self.controls, command),
            _ => {}
        }
        None
    }

    fn open(&mut self, number: usize) {
        let (name, drill) = &self.drills[number % self.drills.len()];
        let drill = drill.clone();
        let stages = prints(&scores(&drill));
        let entries = self.journal.board(&stages).expect("read");
        let lately = self.journal.latest(&stages, Lately::MOST).expect("read");
        self.tell(Message::Opened(Box::new(OpenedDrill {
            name: (*name).to_owned(),
            drill,
            entries,
            lately,
            played: self.journal.stages_of(name).expect("read"),
            place: self
                .journal
                .last_place_in(&stages)
                .expect("read")
                .map(|place| place.cell),
            goal: None,
            stage: None,
            rung: None,
            says: None,
            session: Uuid::from_u128(u128::from(self.elapsed) + 1),
        })));
    }

    /// Runs a thirtieth of a second.
    fn step(&mut self) {
        std::mem::swap(&mut self.block, &mut self.before);
        self.renderer.fill(&mut self.block);
        self.elapsed += BLOCK as u64;
        while self.controls.retired.pop().is_ok() {}
        while let Ok(report) = self.controls.reports.pop() {
            self.follow(&report);
            self.tell(Message::Heard(report));
            self.mark_by_hand(&report);
        }
        if let Some(laid) = self.laid.clone().filter(|_| self.playing) {
            if self.measured {
                self.look_for_clicks(&laid);
            }
            let (counting_in, cycle, beat) = place(&laid, self.renderer.frame().0);
            self.tell(Message::Position {
                serial: laid.serial,
                counting_in,
                cycle,
                beat,
                latency_ms: 0.0,
            });
        }
        self.listen();
    }

    fn follow(&mut self, report: &RendererReport) {
        match *report {
            RendererReport::Took {
                serial,
                origin,
                cycle,
                counting_in,
                ..
            } => {
                self.counted.timelines += 1;
                while self.sent.front().is_some_and(|(sent, ..)| *sent < serial) {
                    self.sent.pop_front();
                }
                let (_, timeline, when) = self.sent.front().cloned().expect("it was sent");
                let frames_per_beat = RATE.frames_per_beat(timeline.tempo);
                // a timeline that follows by itself must begin on the grid of the one before
                let follows = self.playing && when == When::CycleEnd;
                if let Some(before) = self.laid.as_ref().filter(|_| follows) {
                    self.counted.followed += 1;
                    let lead_in = timeline.lead_in_length.0 * frames_per_beat;
                    let takes_over = if counting_in {
                        origin
                    } else {
                        origin + lead_in
                    };
                    let beats = (takes_over - before.origin) / before.frames_per_beat;
                    if !(beats * Fraction::from_integer(8)).is_integer() {
                        self.counted.off_grid += 1;
                    }
                }
                self.laid = Some(Laid {
                    timeline,
                    serial,
                    origin,
                    first_cycle: cycle,
                    counts_in: counting_in,
                    frames_per_beat,
                });
                self.playing = true;
            }
            RendererReport::Bar {
                serial,
                cycle,
                bar: 0,
                frame,
            } => {
                let laid = self.laid.clone().expect("it took a timeline");
                let beats = laid.timeline.lead_in_length
                    + laid.timeline.cycle
                        * Fraction::from_integer((cycle - laid.first_cycle).into());
                let due = (laid.origin + beats.0 * laid.frames_per_beat)
                    .round()
                    .to_integer();
                self.off_by(i128::from(frame.0) - due);
                self.instrument_begins(&laid, (serial, cycle));
            }
            RendererReport::Bar { .. } | RendererReport::Cut { .. } => {}
            RendererReport::Closing { .. } => self.counted.repetitions += 1,
            RendererReport::Paused(_) | RendererReport::Stopped(_) => {
                self.playing = false;
                self.laid = None;
            }
            RendererReport::Missed(count) => panic!("{count} reports were missed"),
        }
    }

    fn off_by(&mut self, frames: i128) {
        let frames = i64::try_from(frames).expect("hours");
        let (least, most) = self.counted.off.unwrap_or((frames, frames));
        self.counted.off = Some((least.min(frames), most.max(frames)));
    }

    /// Checks every click of the last two blocks, except those at their edges: silence up to its
    /// frame and then sound. Clicks that the cue of a cleared cell may cover are left out.
    fn look_for_clicks(&mut self, laid: &Laid) {
        const QUIET: f32 = 1e-6;
        let first = self.renderer.frame().0 - 2 * BLOCK as u64;
        let sample = |at: usize| {
            if at < BLOCK {
                self.before[at]
            } else {
                self.block[at - BLOCK]
            }
        };
        let from = Fraction::from_integer((first + BLOCK as u64 / 2).into());
        let mut beat = ((from - laid.origin) / laid.frames_per_beat).ceil();
        let mut found = Vec::new();
        loop {
            let due = (laid.origin + beat * laid.frames_per_beat)
                .round()
                .to_integer();
            let at = due - i128::from(first);
            if at >= 3 * BLOCK as i128 / 2 {
                break;
            }
            beat += Fraction::from_integer(1);
            let at = usize::try_from(at).expect("in the blocks");
            let silent = (at - 400..at - 40).all(|at| sample(at).abs() < QUIET);
            if silent && due > laid.origin.round().to_integer() {
                let onset = (at - 40..at + 40).find(|at| sample(*at).abs() >= QUIET);
                found.push(onset.map(|onset| onset as i128 - at as i128));
            }
        }
        for off in found {
            // a missing click counts as one that is far off
            self.off_by(off.unwrap_or(40));
            self.counted.clicks += 1;
        }
    }

    /// Marks by hand, in the breath after a repetition.
    fn mark_by_hand(&mut self, report: &RendererReport) {
        let RendererReport::Closing { .. } = report else {
            return;
        };
        if self.instrument.is_some() || self.model.page() != Page::Practise {
            return;
        }
        let act = match self.random.u32(..100) {
            0..80 => Action::Mark(Mark::Clean, Hand::Pedal),
            80..94 => Action::Mark(Mark::NotClean, Hand::Key),
            94..97 => Action::Undo,
            _ => return,
        };
        self.tell(Message::Act(act));
    }

    /// Starts the player's instrument where a repetition begins.
    fn instrument_begins(&mut self, laid: &Laid, key: (u64, u64)) {
        let practising = self.model.practising();
        let Some((score, timeline)) = practising.and_then(|own| own.played_as(laid.serial)) else {
            return;
        };
        let Some(instrument) = &mut self.instrument else {
            return;
        };
        let piece = ExpectedStage::of(score, timeline);
        // The instrument is slower by four in a thousand and has gracenotes and tones of its own
        // lengths, so that it is clean and cannot be taken for the reference. With gracenotes of
        // exactly the reference's lengths, short repetitions were taken for it.
        let slower = laid.timeline.tempo.value() * Fraction::new(249, 250);
        let layout = Layout {
            count_in: false,
            lengths: Lengths {
                separating: Millis::whole(40),
                tone: Millis::whole(61),
                ..Lengths::default()
            },
            ..Layout::at(Bpm::new(slower).unwrap_or(laid.timeline.tempo), RATE)
        };
        instrument.attention.keep_for(&piece);
        instrument.serial += 1;
        let load = Load {
            timeline: Arc::new(lay(score, &layout)),
            serial: instrument.serial,
            when: When::Now,
            entry: Entrance::FirstCycle,
        };
        send(&mut instrument.controls, Command::Stop);
        send(&mut instrument.controls, Command::Load(load));
        send(
            &mut instrument.controls,
            Command::Play {
                repetitions: Some(1),
            },
        );
        let began = instrument.attention.seconds();
        instrument.awaited.push_back((key, piece, began));
    }

    /// Lets the microphone hear the instrument, and analyses each repetition once it is complete.
    fn listen(&mut self) {
        let Some(instrument) = &mut self.instrument else {
            return;
        };
        instrument.renderer.fill(&mut instrument.samples);
        instrument.attention.push(&instrument.samples);
        while instrument.controls.retired.pop().is_ok() {}
        while instrument.controls.reports.pop().is_ok() {}
        let mut messages = vec![Message::Ear(Some(instrument.attention.now()))];
        let now = instrument.attention.seconds();
        while let Some((_, piece, began)) = instrument.awaited.front()
            && now > *began + piece.length + Seconds(0.4)
        {
            let ((serial, cycle), piece, began) = instrument.awaited.pop_front().expect("there");
            let cut = instrument.attention.cut(&piece, began, false);
            let attended = Box::new(cut.hear(&piece).expect("a usual rate"));
            messages.push(Message::Listened {
                serial,
                cycle,
                attended,
            });
        }
        for message in messages {
            self.tell(message);
        }
    }
}

/// True where a frame lies in the count-in, with its cycle and the beats since that began.
fn place(laid: &Laid, frame: u64) -> (bool, u64, f64) {
    let beat = (Fraction::from_integer(frame.into()) - laid.origin) / laid.frames_per_beat;
    let from_first = beat - laid.timeline.lead_in_length.0;
    let zero = Fraction::from_integer(0);
    if from_first < zero && laid.counts_in {
        return (true, laid.first_cycle, Beats(beat.max(zero)).to_f64());
    }
    let from_first = from_first.max(zero);
    let later = (from_first / laid.timeline.cycle.0).floor();
    let cycle = laid.first_cycle + u64::try_from(later.to_integer()).expect("hours");
    (
        false,
        cycle,
        Beats(from_first - later * laid.timeline.cycle.0).to_f64(),
    )
}

fn by_longest_stage() -> Vec<(&'static str, Drill)> {
    let longest = |drill: &Drill| {
        let lengths = scores(drill).into_iter().map(|score| score.length);
        lengths.max().unwrap_or(Beats::ZERO)
    };
    let mut drills: Vec<(&str, Drill)> = BUILT_IN
        .iter()
        .map(|file| (file.name, read(file.text.as_bytes()).0.expect("it reads")))
        .collect();
    drills.sort_by_key(|(_, drill)| std::cmp::Reverse(longest(drill)));
    drills
}

/// The memory of this process that is backed by no file in KiB, and the number of its open files;
/// none where the system does not tell.
fn held() -> Option<(i64, usize)> {
    let status = std::fs::read_to_string("/proc/self/status").ok()?;
    let line = status
        .lines()
        .find_map(|line| line.strip_prefix("RssAnon:"))?;
    let kib = line.split_whitespace().next()?.parse().ok()?;
    Some((kib, std::fs::read_dir("/proc/self/fd").ok()?.count()))
}

fn main() {
    let words: Vec<String> = std::env::args().collect();
    let has = |word: &str| words.iter().any(|one| one == word);
    let hours: f64 = words
        .iter()
        .position(|word| word == "--hours")
        .and_then(|at| words.get(at + 1))
        .map_or(8.0, |hours| hours.parse().expect("a number of hours"));
    let (by_ear, measured) = (has("--ear"), has("--sound"));
    let options = Options {
        by_ear,
        headphones: by_ear,
        ..Options::default()
    };
    let (renderer, controls) = Renderer::new(RATE, Sound::default());
    let folder = tempfile::tempdir().expect("a folder");
    let journal = Journal::open(&folder.path().join("journal.sqlite")).expect("a journal");
    let instrument = by_ear.then(|| {
        let (renderer, mut controls) = Renderer::new(RATE, Sound::default());
        send(&mut controls, Command::Mute(Bus::Click, true));
        Instrument {
            renderer,
            controls,
            attention: Attention::new(RATE, options.tuning).expect("a usual rate"),
            samples: vec![0.0; BLOCK],
            serial: 0,
            awaited: VecDeque::new(),
        }
    });
    let mut world = World {
        model: Model::new(options),
        renderer,
        controls,
        journal,
        drills: by_longest_stage(),
        sent: VecDeque::new(),
        laid: None,
        playing: false,
        instrument,
        measured,
        block: vec![0.0; BLOCK],
        before: vec![0.0; BLOCK],
        elapsed: 0,
        random: fastrand::Rng::with_seed(8),
        counted: Counted::default(),
    };
    if measured {
        send(&mut world.controls, Command::Mute(Bus::Reference, true));
    }
    let mut screen = Terminal::new(TestBackend::new(120, 40)).expect("a screen");
    let end = (hours * 3600.0) as u64 * u64::from(RATE.0);
    let second = u64::from(RATE.0);
    let (mut drill, mut after_an_hour, mut last) = (0, None, None);
    let (mut next_drill, mut next_drawn, mut next_told) = (0, 0, second * 600);
    println!("hours  memory KiB  files  repetitions  by hand  by ear  timelines  clicks  off by");
    while world.elapsed < end {
        if world.elapsed >= next_drill {
            if world.model.page() == Page::Practise {
                world.tell(Message::Act(Action::Leave));
            }
            world.open(drill);
            drill += 1;
            next_drill += DRILL_S * second;
        }
        // play has stopped by itself, or was paused a minute ago
        if world.model.page() == Page::Practise && !world.model.is_sounding() {
            world.elapsed += 3 * second;
            world.tell(Message::Act(Action::PlayOrPause));
        } else if world.random.u32(..30 * 300) == 0 {
            // once in five minutes the player does something else than play
            let act = match world.random.u32(..4) {
                0 => Action::Tempo { up: true },
                1 => Action::Stage { next: true },
                2 => Action::Again,
                _ => Action::PlayOrPause,
            };
            world.tell(Message::Act(act));
        }
        world.step();
        if world.elapsed >= next_drawn {
            screen
                .draw(|frame| {
                    view(&world.model, Theme::new(true), frame);
                })
                .expect("drawn");
            world.counted.drawn += 1;
            next_drawn += second;
        }
        if world.elapsed >= next_told {
            next_told += second * 600;
            last = held();
            let hour = world.elapsed as f64 / second as f64 / 3600.0;
            if hour >= 1.0 && after_an_hour.is_none() {
                after_an_hour = last;
            }
            let (kib, files) = last.unwrap_or_default();
            let counted = &world.counted;
            println!(
                "{hour:5.2}  {kib:10}  {files:5}  {:11}  {:7}  {:6}  {:9}  {:6}  {:?}",
                counted.repetitions,
                counted.marks_by_hand,
                counted.marks_by_ear,
                counted.timelines,
                counted.clicks,
                counted.off
            );
        }
    }
    let counted = &world.counted;
    let practising = world.model.practising();
    let clear = practising.map(|own| {
        own.state()
            .board()
            .cells()
            .filter(|cell| cell.status == CellStatus::Clear)
            .count()
    });
    println!(
        "{} timelines followed by themselves, {} off the grid",
        counted.followed, counted.off_grid
    );
    println!(
        "{} screens drawn; {clear:?} cells of the last drill clear",
        counted.drawn
    );
    let mut broken = Vec::new();
    if counted
        .off
        .is_none_or(|(least, most)| least != 0 || most != 0)
        || counted.off_grid > 0
    {
        broken.push(format!(
            "frames of drift: {:?}, off the grid: {}",
            counted.off, counted.off_grid
        ));
    }
    if let (Some(before), Some(after)) = (after_an_hour, last) {
        if after.0 - before.0 > MOST_GROWN {
            broken.push(format!("memory grew from {} to {} KiB", before.0, after.0));
        }
        if after.1 > before.1 {
            broken.push(format!(
                "{} files were open after an hour, then {}",
                before.1, after.1
            ));
        }
    }
    let marks = if by_ear {
        counted.marks_by_ear
    } else {
        counted.marks_by_hand
    };
    if f64::from(marks) < 60.0 * hours || (measured && (counted.clicks as f64) < 1000.0 * hours) {
        broken.push(format!("only {marks} marks, {} clicks", counted.clicks));
    }
    assert!(broken.is_empty(), "{broken:?}");
}
