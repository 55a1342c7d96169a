//! The handle to everything that sounds. It takes commands, and returns each report at the moment
//! at which its event is heard.

use super::clock::{Base, Face};
use super::device::Asked;
use super::keeper::{Keeper, Request, Told};
use crate::sound::{Command, Entrance, Load, RendererReport, Sound, When};
use crate::timeline::Timeline;
use crate::units::{Beats, Fraction, Frames, SampleRate};
use num_traits::ToPrimitive;
use std::collections::VecDeque;
use std::sync::Arc;
use std::sync::mpsc::{Receiver, Sender, channel};
use std::thread::JoinHandle;
use std::time::Instant;

pub use super::keeper::DeviceState;

/// An event, reported when it is heard and not when it was rendered.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Heard {
    /// A report of the renderer, such as a bar, a closing note or a change.
    Report(RendererReport),
    /// The audio device was opened, lost or closed.
    State(DeviceState),
    /// The number of underruns of this stream.
    Underruns(u32),
}

/// The place in a timeline that is heard at a moment.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Position {
    /// The serial number of the timeline.
    pub serial: u64,
    /// The number of the frame.
    pub frame: Frames,
    /// True during the count-in.
    pub counting_in: bool,
    /// The cycle that sounds, or the one that the count-in leads to.
    pub cycle: u64,
    /// Beats since the start of the count-in or of the cycle. It is a float because it is only
    /// drawn.
    pub beat: f64,
}

/// The frames of a timeline, as [`RendererReport::Took`] reported them.
#[derive(Debug, Clone)]
struct Laid {
    timeline: Arc<Timeline>,
    serial: u64,
    origin: Fraction,
    first_cycle: u64,
    counts_in: bool,
    /// The sample rate of the frames in `origin`.
    rate: SampleRate,
}

/// Plays timelines on a device, or silently where there is none. It opens a device only when
/// started, and closes it when stopped.
pub struct Player {
    requests: Sender<Request>,
    told: Receiver<Told>,
    thread: Option<JoinHandle<()>>,
    face: Arc<Face>,
    base: Base,
    /// The latency in milliseconds that the device does not report.
    offset: i32,
    /// The reports whose events are not heard yet, in order, with the epoch of their frames.
    coming: VecDeque<(u32, RendererReport)>,
    /// The timelines that were sent and may still be heard, by serial number.
    sent: VecDeque<(u64, Arc<Timeline>)>,
    laid: Option<Laid>,
    serial: u64,
    state: DeviceState,
    playing: bool,
}

impl Player {
    /// A player with no device open. Its thread waits without using the processor. Thread: main.
    /// Allocates: yes. Blocks: no.
    pub fn new(asked: Asked, sound: Sound) -> Self {
        let (requests, from_us) = channel();
        let (to_us, told) = channel();
        let face = Arc::new(Face::default());
        let base = Base::now();
        let shown = Arc::clone(&face);
        // where the system can start no thread, requests have no effect, there is no sound, and the
        // state remains closed
        let thread = std::thread::Builder::new()
            .name("sound".to_owned())
            .spawn(move || {
                // the voices are built when they are first needed, so that neither the first screen
                // nor the end of a silent program waits for them
                match from_us.recv() {
                    Ok(Request::Quit) | Err(_) => {}
                    Ok(first) => Keeper::new(asked, sound, from_us, to_us, shown, base).run(first),
                }
            })
            .ok();
        Self {
            requests,
            told,
            thread,
            face,
            base,
            offset: 0,
            coming: VecDeque::new(),
            sent: VecDeque::new(),
            laid: None,
            serial: 0,
            state: DeviceState::Closed,
            playing: false,
        }
    }

    /// Sends a command that acts at once: levels, mutes, tuning, drones, cues, click or plans.
    /// Thread: main. Allocates: yes. Blocks: no.
    pub fn send(&self, command: Command) {
        let _ = self.requests.send(Request::Command(command));
    }

    /// Sends a timeline and returns its serial number, by which reports and positions name it.
    /// While nothing plays it replaces the present one at once. Thread: main. Allocates: yes.
    /// Blocks: no.
    pub fn load(&mut self, timeline: Arc<Timeline>, when: When, entry: Entrance) -> u64 {
        let serial = self.serial + 1;
        self.load_as(serial, timeline, when, entry);
        serial
    }

    /// Sends a timeline under a serial number that the caller counts up from 1. Thread: main.
    /// Allocates: yes. Blocks: no.
    pub fn load_as(&mut self, serial: u64, timeline: Arc<Timeline>, when: When, entry: Entrance) {
        self.serial = serial;
        self.sent.push_back((serial, Arc::clone(&timeline)));
        self.send(Command::Load(Load {
            timeline,
            serial,
            when,
            entry,
        }));
    }

    /// Opens the device and plays, beginning with the count-in. After a pause it continues with the
    /// repetition that was cut short. Nothing happens before a timeline was loaded. Thread: main.
    /// Allocates: yes. Blocks: no.
    pub fn start(&mut self) {
        if self.serial == 0 {
            return;
        }
        self.send(Command::Play { repetitions: None });
    }

    /// Opens the device and plays one repetition after a count-in. Thread: main. Allocates: yes.
    /// Blocks: no.
    pub fn play_once(&mut self) {
        if self.serial > 0 {
            self.send(Command::Play {
                repetitions: Some(1),
            });
        }
    }

    /// Stops the sound, keeps the place and closes the device. Thread: main. Allocates: yes.
    /// Blocks: no.
    pub fn pause(&mut self) {
        self.send(Command::Pause);
    }

    /// Stops the sound, goes back to the first repetition and closes the device. Thread: main.
    /// Allocates: yes. Blocks: no.
    pub fn stop(&mut self) {
        self.send(Command::Stop);
    }

    /// Changes the device or buffer, at once where something plays. Thread: main. Allocates: yes.
    /// Blocks: no.
    pub fn ask(&self, asked: Asked) {
        let _ = self.requests.send(Request::Ask(asked));
    }

    /// Sets the latency in milliseconds that the device does not report, as of slow headphones.
    /// Thread: main. Allocates: no. Blocks: no.
    pub fn set_offset(&mut self, millis: i32) {
        self.offset = millis;
    }

    /// The state of the audio device at the last poll. Thread: main. Allocates: no. Blocks: no.
    pub fn state(&self) -> &DeviceState {
        &self.state
    }

    /// True between the first audible beat and the end, at the last poll. Thread: main. Allocates:
    /// no. Blocks: no.
    pub fn is_playing(&self) -> bool {
        self.playing
    }

    /// The events that were heard since the last poll, in order. Thread: main. Allocates: yes.
    /// Blocks: no.
    pub fn poll(&mut self, now: Instant) -> Vec<Heard> {
        let mut heard = Vec::new();
        while let Ok(told) = self.told.try_recv() {
            match told {
                Told::Report(epoch, report) => self.coming.push_back((epoch, report)),
                Told::State(state) => {
                    self.state = state.clone();
                    heard.push(Heard::State(state));
                }
                Told::Underruns(count) => heard.push(Heard::Underruns(count)),
            }
        }
        let reading = self.face.read();
        let moment = self.base.until(now);
        while let Some((epoch, report)) = self.coming.front().copied() {
            // once the stream is closed nothing is on its way to the ear, and frames of an older
            // epoch belong to a device that is gone
            let now = match (&self.state, reading, frame_of(&report)) {
                (DeviceState::Closed, _, _) | (_, _, None) => true,
                (_, Some(reading), Some(frame)) => {
                    reading.epoch != epoch || reading.heard_at(moment, self.offset) >= frame
                }
                (_, None, Some(_)) => false,
            };
            if !now {
                break;
            }
            self.coming.pop_front();
            self.follow(
                &report,
                reading.map_or(SampleRate::USUAL, |reading| reading.rate()),
            );
            heard.push(Heard::Report(report));
        }
        heard
    }

    fn follow(&mut self, report: &RendererReport, rate: SampleRate) {
        match *report {
            RendererReport::Took {
                serial,
                origin,
                cycle,
                counting_in,
                ..
            } => {
                while self.sent.front().is_some_and(|(sent, _)| *sent < serial) {
                    self.sent.pop_front();
                }
                self.laid = self.sent.front().map(|(serial, timeline)| Laid {
                    timeline: Arc::clone(timeline),
                    serial: *serial,
                    origin,
                    first_cycle: cycle,
                    counts_in: counting_in,
                    rate,
                });
                self.playing = true;
            }
            RendererReport::Paused(_) | RendererReport::Stopped(_) => self.playing = false,
            _ => {}
        }
    }

    /// The place that is heard at a moment; none while nothing plays. Call [`Player::poll`] first.
    /// Thread: main. Allocates: no. Blocks: no.
    pub fn position(&self, now: Instant) -> Option<Position> {
        let laid = self.laid.as_ref().filter(|_| self.playing)?;
        let reading = self.face.read()?;
        let frame = reading.heard_at(self.base.until(now), self.offset);
        Some(place(laid, frame, reading.rate()))
    }
}

/// The frame at which the event of a report is heard; none for a report that is passed on at once.
fn frame_of(report: &RendererReport) -> Option<Frames> {
    match *report {
        RendererReport::Took { frame, .. }
        | RendererReport::Bar { frame, .. }
        | RendererReport::Closing { frame, .. }
        | RendererReport::Cut { frame, .. }
        | RendererReport::Paused(frame)
        | RendererReport::Stopped(frame) => Some(frame),
        RendererReport::Missed(_) => None,
    }
}

/// The place of a frame in a timeline. Right after a device came back at another rate, frames are
/// counted at the new rate while the timeline is still laid out at the old one.
fn place(laid: &Laid, frame: Frames, rate: SampleRate) -> Position {
    let timeline = &laid.timeline;
    let origin = laid.origin.to_f64().unwrap_or(0.0);
    let frames_per_beat = laid
        .rate
        .frames_per_beat(timeline.tempo)
        .to_f64()
        .unwrap_or(f64::INFINITY);
    let scaled = frame.0 as f64 * f64::from(laid.rate.0) / f64::from(rate.0);
    let beat = (scaled - origin) / frames_per_beat;
    let lead_in = timeline.lead_in_length.to_f64();
    let cycle = timeline.cycle.to_f64();
    let from_first = beat - lead_in - laid.first_cycle as f64 * cycle;
    if from_first < 0.0 && laid.counts_in && timeline.lead_in_length > Beats::ZERO {
        return Position {
            serial: laid.serial,
            frame,
            counting_in: true,
            cycle: laid.first_cycle,
            beat: (from_first + lead_in).max(0.0),
        };
    }
    let from_first = from_first.max(0.0);
    let later = (from_first / cycle).floor();
    Position {
        serial: laid.serial,
        frame,
        counting_in: false,
        cycle: laid.first_cycle + later as u64,
        beat: from_first - later * cycle,
    }
}

impl Drop for Player {
    fn drop(&mut self) {
        let _ = self.requests.send(Request::Quit);
        if let Some(thread) = self.thread.take() {
            let _ = thread.join();
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::drill::{built_in, read};
    use crate::score::resolve_music;
    use crate::timeline::{Layout, lay};
    use crate::units::Bpm;
    use std::time::Duration;

    fn timeline() -> Arc<Timeline> {
        let file = built_in("grip-from-d").expect("built in");
        let (drill, _) = read(file.text.as_bytes());
        let drill = drill.expect("no problem");
        let score = resolve_music(&drill.stages[0].music, Beats::ZERO, &drill.schools);
        let tempo = Bpm::whole(300).expect("in range");
        Arc::new(lay(&score, &Layout::at(tempo, SampleRate::USUAL)))
    }

    /// Polls until the wanted event is heard. Gives up after half a minute.
    fn wait_for(player: &mut Player, wanted: impl Fn(&Heard) -> bool) -> Vec<Heard> {
        let mut all = Vec::new();
        for _ in 0..3000 {
            let heard = player.poll(Instant::now());
            let done = heard.iter().any(&wanted);
            all.extend(heard);
            if done {
                return all;
            }
            std::thread::sleep(Duration::from_millis(10));
        }
        panic!("never heard; instead: {all:?}");
    }

    /// Without a device the drill must run at the same frames: two bars of 4/4 at 300 beats a
    /// minute are 76800 frames, and the count-in is 38400.
    #[test]
    fn without_a_device_it_plays_silently_and_says_so() {
        let asked = Asked {
            device: Some("a device that is nowhere".to_owned()),
            ..Asked::default()
        };
        let mut player = Player::new(asked, Sound::default());
        let serial = player.load(timeline(), When::Now, Entrance::CountIn);
        player.start();
        let second =
            |heard: &Heard| matches!(heard, Heard::Report(RendererReport::Bar { cycle: 1, .. }));
        let heard = wait_for(&mut player, second);
        assert!(matches!(player.state(), DeviceState::Silent { why } if why.contains("nowhere")));
        let began = heard.iter().find_map(|heard| match heard {
            Heard::Report(RendererReport::Took { frame, .. }) => Some(frame.0),
            _ => None,
        });
        let began = began.expect("it took the timeline");
        let bars: Vec<(u64, u32, u64)> = heard
            .iter()
            .filter_map(|heard| match heard {
                Heard::Report(RendererReport::Bar {
                    cycle, bar, frame, ..
                }) => Some((*cycle, *bar, frame.0 - began)),
                _ => None,
            })
            .collect();
        assert_eq!(bars, [(0, 0, 38_400), (0, 1, 76_800), (1, 0, 115_200)]);
        let position = player.position(Instant::now()).expect("it plays");
        assert_eq!((position.serial, position.cycle), (serial, 1));
        player.stop();
        wait_for(&mut player, |heard| {
            matches!(heard, Heard::State(DeviceState::Closed))
        });
        assert!(!player.is_playing());
        assert_eq!(player.position(Instant::now()), None);
    }

    #[test]
    fn a_frame_is_placed_in_count_in_and_cycles() {
        let laid = Laid {
            timeline: timeline(),
            serial: 7,
            origin: Fraction::from_integer(1000),
            first_cycle: 0,
            counts_in: true,
            rate: SampleRate(48_000),
        };
        let at = |frame| place(&laid, Frames(frame), SampleRate(48_000));
        let first = at(1000 + 9600);
        assert_eq!((first.counting_in, first.cycle, first.beat), (true, 0, 1.0));
        let later = at(1000 + 9600 * (4 + 8 + 3));
        assert_eq!(
            (later.counting_in, later.cycle, later.beat),
            (false, 1, 3.0)
        );
        let other = place(&laid, Frames(72_500), SampleRate(24_000));
        assert_eq!((other.cycle, other.beat), (1, 3.0));
    }
}
