//! The handle to everything that sounds: it takes commands, and gives reports at the moment at
//! which what they tell is heard.

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

/// Something that has happened; it is reported when it is heard and not when it was computed.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Heard {
    /// From the player: bars, closing notes, changes.
    Report(RendererReport),
    /// The device came, went or was closed.
    State(DeviceState),
    /// The number of underruns of this stream.
    Underruns(u32),
}

/// The place that is heard at a moment.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Position {
    /// Which timeline.
    pub serial: u64,
    /// The frame.
    pub frame: Frames,
    /// True in the count-in.
    pub counting_in: bool,
    /// The cycle that plays, or is counted in to.
    pub cycle: u64,
    /// Beats from the start of the count-in or of the cycle. A float, because it is only drawn.
    pub beat: f64,
}

/// The frames that a timeline has, as [`RendererReport::Took`] said.
#[derive(Debug, Clone)]
struct Laid {
    timeline: Arc<Timeline>,
    serial: u64,
    origin: Fraction,
    first_cycle: u64,
    counts_in: bool,
    /// The rate of the frames that `origin` counts.
    rate: SampleRate,
}

/// Plays timelines on a device, or silently where there is none. Opens nothing before it is
/// started and keeps nothing open when it has stopped.
pub struct Player {
    requests: Sender<Request>,
    told: Receiver<Told>,
    thread: Option<JoinHandle<()>>,
    face: Arc<Face>,
    base: Base,
    /// The ear's delay beyond what the device says, milliseconds.
    offset: i32,
    /// Reports that are not heard yet, in order.
    coming: VecDeque<(u32, RendererReport)>,
    /// Timelines that were sent and may still be heard.
    sent: VecDeque<(u64, Arc<Timeline>)>,
    laid: Option<Laid>,
    serial: u64,
    state: DeviceState,
    playing: bool,
}

impl Player {
    /// A player that is closed. Its thread waits without using any time. Thread: main.
    /// Allocates: yes. Blocks: no.
    pub fn new(asked: Asked, sound: Sound) -> Self {
        let (requests, from_us) = channel();
        let (to_us, told) = channel();
        let face = Arc::new(Face::default());
        let base = Base::now();
        let shown = Arc::clone(&face);
        // where the system has no thread left, requests go nowhere, nothing is heard, and the state
        // stays closed
        let thread = std::thread::Builder::new()
            .name("sound".to_owned())
            .spawn(move || {
                // the voices are built when they are first needed: not while the first screen is
                // drawn, and not to leave a program in which nothing sounded
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

    /// Sends a command: levels, mutes, tuning, drones, cues, click, plans. They act at once.
    /// Thread: main. Allocates: yes. Blocks: no.
    pub fn send(&self, command: Command) {
        let _ = self.requests.send(Request::Command(command));
    }

    /// Sends a timeline and gives its serial, by which reports and positions name it. While
    /// nothing plays it takes its place at once. Thread: main. Allocates: yes. Blocks: no.
    pub fn load(&mut self, timeline: Arc<Timeline>, when: When, entry: Entrance) -> u64 {
        let serial = self.serial + 1;
        self.load_as(serial, timeline, when, entry);
        serial
    }

    /// Sends a timeline under a serial that the caller counts, from 1 and rising. Thread: main.
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

    /// Opens the device and plays, from the count-in on; after a pause from the repetition that
    /// was cut short. Nothing happens before a timeline was loaded. Thread: main. Allocates: yes.
    /// Blocks: no.
    pub fn start(&mut self) {
        if self.serial == 0 {
            return;
        }
        self.send(Command::Play { repetitions: None });
    }

    /// Opens the device and plays one repetition after the count-in. Thread: main. Allocates: yes.
    /// Blocks: no.
    pub fn play_once(&mut self) {
        if self.serial > 0 {
            self.send(Command::Play {
                repetitions: Some(1),
            });
        }
    }

    /// Falls silent, keeps the place and closes the device. Thread: main. Allocates: yes.
    /// Blocks: no.
    pub fn pause(&mut self) {
        self.send(Command::Pause);
    }

    /// Falls silent, goes back to the first repetition and closes the device. Thread: main.
    /// Allocates: yes. Blocks: no.
    pub fn stop(&mut self) {
        self.send(Command::Stop);
    }

    /// Another device or buffer, at once when something plays. Thread: main. Allocates: yes.
    /// Blocks: no.
    pub fn ask(&self, asked: Asked) {
        let _ = self.requests.send(Request::Ask(asked));
    }

    /// How many milliseconds later than the device says the ear hears: slow headphones. Thread:
    /// main. Allocates: no. Blocks: no.
    pub fn set_offset(&mut self, millis: i32) {
        self.offset = millis;
    }

    /// Whether anything is heard. As of the last poll. Thread: main. Allocates: no. Blocks: no.
    pub fn state(&self) -> &DeviceState {
        &self.state
    }

    /// True between the first beat heard and the end. As of the last poll. Thread: main.
    /// Allocates: no. Blocks: no.
    pub fn is_playing(&self) -> bool {
        self.playing
    }

    /// What has been heard since the last poll, in order. Thread: main. Allocates: yes. Blocks:
    /// no.
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
            // numbering belong to a device that is gone
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

    /// The place heard at a moment; none while nothing plays. Call [`Player::poll`] first. Thread:
    /// main. Allocates: no. Blocks: no.
    pub fn position(&self, now: Instant) -> Option<Position> {
        let laid = self.laid.as_ref().filter(|_| self.playing)?;
        let reading = self.face.read()?;
        let frame = reading.heard_at(self.base.until(now), self.offset);
        Some(place(laid, frame, reading.rate()))
    }
}

/// The frame at which a report is heard; none for what is told at once.
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
/// already counted at the new rate, and the timeline is still laid at the old one.
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

    /// Polls until something is heard; gives up after half a minute.
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

    /// Without a device the drill must run all the same, at the same frames: two bars of 4/4 at
    /// 300 a minute are 76800 frames, the count-in 38400.
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
