//! The keeper thread: it opens the stream when play starts and closes it when play has stopped.
//! Where a device fails it continues silently and opens a device again.
//!
//! Opening a device may take a tenth of a second, and a failing one takes longer. On a thread of
//! its own neither delays the keys.

use super::clock::{Base, Face};
use super::device::Asked;
use super::output::{self, Output};
use super::priority::Before;
use super::silent::Silent;
use crate::rhythm::{ClickPlan, ReferencePlan};
use crate::sound::{Command, Controls, Load, Renderer, RendererReport, Sound, Timed};
use crate::units::{Frames, SampleRate};
use std::collections::VecDeque;
use std::sync::Arc;
use std::sync::mpsc::{Receiver, RecvTimeoutError, Sender};
use std::time::{Duration, Instant};

/// A device without a callback for this long is taken for dead. It is ten times the longest buffer
/// in use.
const DEAD: Duration = Duration::from_millis(300);
/// A stream that has not played yet is taken for dead only after this time, because some sound
/// servers take long to start.
const UNBORN: Duration = Duration::from_millis(1500);
/// The time between two attempts to open a missing device, before [`PATIENCE`] has passed.
const RETRY: Duration = Duration::from_millis(500);
/// The time between two attempts after [`PATIENCE`] has passed.
const RARELY: Duration = Duration::from_secs(3);
/// How long a missing device is looked for often.
const PATIENCE: Duration = Duration::from_secs(15);
/// How often the keeper runs while something plays. No report waits longer than this.
const TICK: Duration = Duration::from_millis(10);
/// How long the stream stays open after its last sound was heard.
const LINGER: Duration = Duration::from_millis(60);

/// The state of the audio device.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum DeviceState {
    /// Nothing plays, and no stream is open.
    Closed,
    /// A device plays.
    Sounding {
        /// The device's name.
        device: String,
        /// The sample rate in frames a second.
        rate: SampleRate,
        /// The buffer size in frames, as the device reports it.
        buffer: u32,
        /// The latency from callback to ear, as the device reports it.
        latency: Duration,
    },
    /// The drill runs on the same clock, but there is no sound.
    Silent {
        /// The reason, in a sentence.
        why: String,
    },
}

/// A request of the player's handle to the keeper.
pub(super) enum Request {
    /// Pass a command to the renderer.
    Command(Command),
    /// Use this device and buffer from now on.
    Ask(Asked),
    /// End the thread.
    Quit,
}

/// A message of the keeper to the player's handle.
pub(super) enum Told {
    /// A report of the renderer, with the epoch of its frame numbers.
    Report(u32, RendererReport),
    /// The device's state changed.
    State(DeviceState),
    /// The number of underruns so far.
    Underruns(u32),
}

/// Where the renderer is now.
enum Seat {
    Home(Renderer),
    Device(Output),
    Silent(Silent),
    /// The renderer is in a device that did not return it.
    Lost,
}

/// All settings of a renderer, from which another one like it can be built.
struct Wishes {
    sound: Sound,
    clicks: ClickPlan,
    reference: ReferencePlan,
    load: Option<Load>,
}

impl Wishes {
    fn note(&mut self, command: &Command) {
        match command {
            Command::Load(load) => self.load = Some(load.clone()),
            Command::Level(bus, gain) => self.sound.levels.set(*bus, *gain),
            Command::Mute(bus, muted) => self.sound.levels.mute(*bus, *muted),
            Command::Levels(levels) => self.sound.levels = *levels,
            Command::Tune(tuning) => self.sound.tuning = *tuning,
            Command::Drones(on) => self.sound.drones = *on,
            Command::ClickSound(click) => self.sound.click = *click,
            Command::Clicks(plan) => self.clicks = *plan,
            Command::Reference(plan) => self.reference = *plan,
            Command::Play { .. } | Command::Pause | Command::Stop | Command::Cue(_) => {}
        }
    }
}

/// The keeper's state.
pub(super) struct Keeper {
    asked: Asked,
    wishes: Wishes,
    requests: Receiver<Request>,
    told: Sender<Told>,
    controls: Controls,
    /// The commands for which the ring buffer had no room, oldest first.
    waiting: VecDeque<Command>,
    seat: Seat,
    face: Arc<Face>,
    base: Base,
    epoch: u32,
    state: DeviceState,
    underruns: u32,
    /// When to close the stream, once play has stopped.
    close: Option<Instant>,
    /// When to look for a device again, and since when none was found.
    retry: Instant,
    missing: Instant,
}

impl Keeper {
    /// Builds the renderer at the usual sample rate. Thread: keeper. Allocates: yes. Blocks: no.
    pub(super) fn new(
        asked: Asked,
        sound: Sound,
        requests: Receiver<Request>,
        told: Sender<Told>,
        face: Arc<Face>,
        base: Base,
    ) -> Self {
        let (renderer, controls) = Renderer::new(SampleRate::USUAL, sound);
        let now = Instant::now();
        Self {
            asked,
            wishes: Wishes {
                sound,
                clicks: ClickPlan::default(),
                reference: ReferencePlan::default(),
                load: None,
            },
            requests,
            told,
            controls,
            waiting: VecDeque::new(),
            seat: Seat::Home(renderer),
            face,
            base,
            epoch: 0,
            state: DeviceState::Closed,
            underruns: 0,
            close: None,
            retry: now,
            missing: now,
        }
    }

    /// Handles the first request, and then runs until it is asked to quit or the handle is dropped.
    /// Thread: keeper. Allocates: yes. Blocks: while it waits for requests; without limit while
    /// nothing plays.
    pub(super) fn run(mut self, first: Request) {
        if !self.take(first) {
            return;
        }
        self.pass_on();
        loop {
            let request = if matches!(self.seat, Seat::Home(_)) {
                self.requests
                    .recv()
                    .map_err(|_| RecvTimeoutError::Disconnected)
            } else {
                self.requests.recv_timeout(TICK)
            };
            match request {
                Ok(request) => {
                    if !self.take(request) {
                        break;
                    }
                    while let Ok(request) = self.requests.try_recv() {
                        if !self.take(request) {
                            self.leave();
                            return;
                        }
                    }
                }
                Err(RecvTimeoutError::Timeout) => {}
                Err(RecvTimeoutError::Disconnected) => break,
            }
            self.pass_on();
            self.look_after();
            self.drain();
        }
        self.leave();
    }

    fn leave(&mut self) {
        if let Seat::Device(output) = std::mem::replace(&mut self.seat, Seat::Lost) {
            drop(output.close());
        }
    }

    /// Handles a request. Returns false where the thread is to end.
    fn take(&mut self, request: Request) -> bool {
        match request {
            Request::Quit => return false,
            Request::Ask(asked) => {
                self.asked = asked;
                if !matches!(self.seat, Seat::Home(_)) {
                    let renderer = self.come_home();
                    self.seat_in_device(renderer);
                }
            }
            Request::Command(command) => {
                self.wishes.note(&command);
                if matches!(command, Command::Play { .. }) {
                    self.close = None;
                    if let Seat::Home(_) = self.seat {
                        let renderer = self.come_home();
                        self.missing = Instant::now();
                        self.seat_in_device(renderer);
                    }
                }
                // a cue that was sent while no stream is open would otherwise sound when play
                // starts next
                if !(matches!(command, Command::Cue(_)) && matches!(self.seat, Seat::Home(_))) {
                    self.waiting.push_back(command);
                }
            }
        }
        true
    }

    /// Moves waiting commands into the renderer's ring buffer. A renderer that is in no device
    /// carries them out at once, so that levels and timelines do not pile up while nothing plays.
    fn pass_on(&mut self) {
        loop {
            while let Some(command) = self.waiting.pop_front() {
                let timed = Timed {
                    at: Frames(0),
                    command,
                };
                if let Err(rtrb::PushError::Full(timed)) = self.controls.commands.push(timed) {
                    self.waiting.push_front(timed.command);
                    break;
                }
            }
            let Seat::Home(renderer) = &mut self.seat else {
                return;
            };
            renderer.fill(&mut [0.0; 64]);
            self.drain();
            if self.waiting.is_empty() {
                return;
            }
        }
    }

    /// Watches the device, drives silent play, closes a stream that has stopped, and looks for a
    /// missing device.
    fn look_after(&mut self) {
        let now = Instant::now();
        match &mut self.seat {
            Seat::Device(output) => {
                let limit = if output.has_played() { DEAD } else { UNBORN };
                if output.silence(self.base, now) > limit {
                    let name = output.name.clone();
                    self.lose(format!("`{name}` has vanished"));
                } else {
                    let (latency, underruns) = (output.latency(), output.underruns());
                    self.show_latency(latency);
                    if underruns != self.underruns {
                        self.underruns = underruns;
                        let _ = self.told.send(Told::Underruns(underruns));
                    }
                }
            }
            Seat::Silent(silent) => {
                silent.drive(now, self.base, &self.face);
                if self.close.is_none() && now >= self.retry {
                    let renderer = self.come_home();
                    self.seat_in_device(renderer);
                }
            }
            Seat::Home(_) | Seat::Lost => {}
        }
        if self.close.is_some_and(|close| now >= close) {
            self.close = None;
            let renderer = self.come_home();
            self.seat = Seat::Home(renderer);
            self.set_state(DeviceState::Closed);
        }
    }

    /// Reports the latency once it is known. It comes with the first callbacks and varies a little;
    /// the longest counts.
    fn show_latency(&mut self, now: Duration) {
        if let DeviceState::Sounding { latency, .. } = &mut self.state
            && now > *latency + Duration::from_millis(1)
        {
            *latency = now;
            let _ = self.told.send(Told::State(self.state.clone()));
        }
    }

    /// Handles a device that was lost: the repetition becomes void, and play continues silently
    /// from the same frame.
    fn lose(&mut self, why: String) {
        let mut renderer = self.come_home();
        renderer.void_repetition();
        let now = Instant::now();
        self.missing = now;
        self.retry = now + RETRY;
        self.sit_silent(renderer, why);
    }

    fn sit_silent(&mut self, renderer: Renderer, why: String) {
        let before = self.face.read();
        let silent = Silent::new(renderer, before, self.base, self.epoch);
        self.seat = Seat::Silent(silent);
        self.set_state(DeviceState::Silent { why });
    }

    /// Takes the renderer back. Where a device kept it, a new one is built, and the timeline begins
    /// again with its count-in.
    fn come_home(&mut self) -> Renderer {
        let renderer = match std::mem::replace(&mut self.seat, Seat::Lost) {
            Seat::Home(renderer) => Some(renderer),
            Seat::Silent(silent) => Some(silent.into_renderer()),
            Seat::Device(output) => output.close(),
            Seat::Lost => None,
        };
        self.drain();
        renderer.unwrap_or_else(|| self.rebuild())
    }

    fn rebuild(&mut self) -> Renderer {
        let playing = !matches!(self.state, DeviceState::Closed) && self.close.is_none();
        let (renderer, controls) = Renderer::new(SampleRate::USUAL, self.wishes.sound);
        self.controls = controls;
        self.epoch = self.epoch.wrapping_add(1);
        self.waiting.clear();
        if let Some(load) = &self.wishes.load {
            self.waiting.push_back(Command::Load(load.clone()));
        }
        self.waiting.push_back(Command::Clicks(self.wishes.clicks));
        self.waiting
            .push_back(Command::Reference(self.wishes.reference));
        if playing {
            self.waiting.push_back(Command::Play { repetitions: None });
        }
        renderer
    }

    fn seat_in_device(&mut self, renderer: Renderer) {
        let before = Before::opening();
        match output::open(&self.asked, renderer, &self.face, self.base, self.epoch) {
            Ok((output, epoch)) => {
                before.ask();
                self.epoch = epoch;
                self.underruns = 0;
                let state = DeviceState::Sounding {
                    device: output.name.clone(),
                    rate: output.rate,
                    buffer: output.buffer,
                    latency: output.latency(),
                };
                self.seat = Seat::Device(output);
                self.set_state(state);
            }
            Err(refused) => {
                self.epoch = refused.epoch;
                let now = Instant::now();
                let patient = now.saturating_duration_since(self.missing) < PATIENCE;
                self.retry = now + if patient { RETRY } else { RARELY };
                let renderer = refused.renderer.unwrap_or_else(|| self.rebuild());
                self.sit_silent(renderer, refused.error.to_string());
            }
        }
    }

    fn set_state(&mut self, state: DeviceState) {
        if state != self.state {
            self.state = state;
            let _ = self.told.send(Told::State(self.state.clone()));
        }
    }

    /// Passes reports on, and drops timelines that the renderer returned.
    fn drain(&mut self) {
        while let Ok(report) = self.controls.reports.pop() {
            match report {
                RendererReport::Stopped(_) | RendererReport::Paused(_) => {
                    let latency = match &self.seat {
                        Seat::Device(output) => output.latency(),
                        _ => Duration::ZERO,
                    };
                    if !matches!(self.seat, Seat::Home(_)) {
                        self.close = Some(Instant::now() + LINGER + latency);
                    }
                }
                RendererReport::Took { .. } => self.close = None,
                _ => {}
            }
            let _ = self.told.send(Told::Report(self.epoch, report));
        }
        while self.controls.retired.pop().is_ok() {}
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::drill::{built_in, read};
    use crate::score::resolve_music;
    use crate::sound::{Bus, Entrance, When};
    use crate::timeline::{Layout, lay};
    use crate::units::{Beats, Bpm, Gain};
    use std::sync::mpsc::channel;

    /// A device that never returns the renderer must not end the drill. A new renderer with the
    /// same levels and plans plays the same timeline, beginning with a count-in.
    #[test]
    fn a_renderer_that_a_device_kept_is_built_anew() {
        let file = built_in("grip-from-d").expect("built in");
        let drill = read(file.text.as_bytes()).0.expect("no problem");
        let score = resolve_music(&drill.stages[0].music, Beats::ZERO, &drill.schools);
        let tempo = Bpm::whole(60).expect("in range");
        let timeline = Arc::new(lay(&score, &Layout::at(tempo, SampleRate::USUAL)));
        let (_requests, from_handle) = channel();
        let (to_handle, told) = channel();
        let asked = Asked {
            device: Some("a device that is nowhere".to_owned()),
            ..Asked::default()
        };
        let mut keeper = Keeper::new(
            asked,
            Sound::default(),
            from_handle,
            to_handle,
            Arc::new(Face::default()),
            Base::now(),
        );
        for command in [
            Command::Level(Bus::Click, Gain(0.125)),
            Command::Load(Load {
                timeline,
                serial: 5,
                when: When::Now,
                entry: Entrance::CountIn,
            }),
            Command::Play { repetitions: None },
        ] {
            assert!(keeper.take(Request::Command(command)));
        }
        keeper.pass_on();
        let epoch = keeper.epoch;
        // the device was lost with the renderer inside
        keeper.seat = Seat::Lost;
        keeper.lose("gone".to_owned());
        keeper.pass_on();
        let began = Instant::now();
        let taken = loop {
            keeper.look_after();
            keeper.drain();
            let report = told.try_iter().find_map(|told| match told {
                Told::Report(epoch, RendererReport::Took { serial, .. }) => Some((epoch, serial)),
                _ => None,
            });
            if let Some(taken) = report {
                break taken;
            }
            assert!(began.elapsed() < Duration::from_secs(30), "it never played");
            std::thread::sleep(Duration::from_millis(2));
        };
        assert_eq!(taken, (epoch + 1, 5));
        assert_eq!(keeper.wishes.sound.levels.of(Bus::Click), Gain(0.125));
        assert!(matches!(keeper.state, DeviceState::Silent { .. }));
    }
}
