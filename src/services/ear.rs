//! The microphone while practising. Repetitions are cut out of its stream and analysed on a thread
//! of their own, so that neither the screen nor the sound waits for them.

use super::{
    Failure,
    awaiting::{Awaited, Awaiting},
    calibration::{self, Calibrated},
    low_a::Search,
};
use crate::app::{Lateness, Message, Model};
use crate::chanter::Tuning;
use crate::listening::{Attended, Attention, ExpectedStage, LONGEST_S};
use crate::live::{GAP_BLOCKS, LARGEST_BUFFER, MICROPHONE_BUFFER, Microphone, Position};
use crate::units::Seconds;
use std::sync::mpsc::{Receiver, Sender, channel};
use std::time::Instant;

/// The microphone with its stream and the analysis of it.
pub(crate) struct Ear {
    microphone: Microphone,
    /// The name of the microphone that was asked for, and its buffer size in frames.
    asked: Option<String>,
    buffer: u32,
    lost: u32,
    lateness: Lateness,
    attention: Attention,
    samples: Vec<f32>,
    awaiting: Awaiting,
    heard: Receiver<Message>,
    tell: Sender<Message>,
    errors: u32,
    gone: bool,
    /// The calibrations of this microphone with playback devices.
    calibrated: Vec<Calibrated>,
    /// The player's setting for sound that is heard later than the device reports, in milliseconds.
    /// Reported positions contain it already.
    offset_ms: i32,
    /// The search for the player's low A; none where low A was given.
    search: Option<Search>,
    /// When the microphone was opened first.
    opened: Instant,
    /// When play began last, in seconds of the stream.
    began: Seconds,
}

impl Ear {
    /// Opens the microphone.
    ///
    /// # Errors
    /// There is no microphone, none with this name, or it cannot be opened.
    pub(crate) fn open(
        microphone: Option<&str>,
        (tuning, search): (Tuning, Option<Search>),
        offset_ms: i32,
    ) -> Result<Self, Failure> {
        let microphone_asked = microphone.map(str::to_owned);
        let microphone = Microphone::open(microphone).map_err(|error| {
            Failure(format!(
                "marking by ear needs a microphone: {error}; `--mark-by hand` needs none"
            ))
        })?;
        let attention = Attention::new(microphone.rate, tuning)
            .map_err(|error| Failure(format!("`{}`: {error}", microphone.name)))?;
        let (tell, heard) = channel();
        // without a calibration a player's constant lead and the latency cannot be separated, so
        // landings are measured relative to the mean lead
        let mut calibrated = calibration::stored().unwrap_or_default();
        calibrated.retain(|pair| pair.microphone == microphone.name);
        Ok(Self {
            microphone,
            asked: microphone_asked,
            buffer: MICROPHONE_BUFFER,
            lost: 0,
            lateness: Lateness::default(),
            attention,
            samples: Vec::new(),
            awaiting: Awaiting::default(),
            heard,
            tell,
            errors: 0,
            gone: false,
            calibrated,
            offset_ms,
            search,
            opened: Instant::now(),
            began: Seconds(0.0),
        })
    }

    /// Reads what the microphone recorded since the last call, and returns the messages that
    /// follow.
    pub(crate) fn listen(
        &mut self,
        now: Instant,
        position: Option<Position>,
        device: Option<&str>,
        model: &Model,
    ) -> Vec<Message> {
        self.samples.clear();
        self.microphone.take(&mut self.samples);
        self.attention.push(&self.samples);
        let mut messages = self.follow(now, position, device, model);
        messages.extend(self.heard.try_iter());
        messages.extend(self.look_for_gaps(now));
        let alone = !model.reference_reaches_the_microphone()
            && (!model.options().drones || model.options().headphones);
        if let Some(search) = &mut self.search
            && search.look(&mut self.attention, alone)
        {
            messages.push(Message::Care(format!(
                "your low A is {:.1} Hz by what you play: it is listened with from now on",
                self.low_a()
            )));
        }
        let errors = self.microphone.errors();
        let was_gone = self.gone;
        self.gone = self.samples.is_empty() && (self.gone || errors > self.errors);
        self.errors = errors;
        let now = (!self.gone).then(|| self.attention.now());
        messages.push(Message::Ear(now));
        if self.gone && !was_gone {
            messages.push(Message::Care(format!(
                "the microphone `{}` has gone: repetitions are marked by hand",
                self.microphone.name
            )));
        }
        messages
    }

    /// Remembers that the stream was not read for a while for a known reason, such as a suspended
    /// program. The gap does not mean that the computer is too slow.
    pub(crate) fn woke(&mut self, now: Instant) {
        self.awaiting.keep_whole();
        self.lateness.known(self.milliseconds(now));
    }

    fn milliseconds(&self, now: Instant) -> i64 {
        let since = now.saturating_duration_since(self.opened).as_millis();
        i64::try_from(since).unwrap_or(i64::MAX)
    }

    /// Asks for a larger buffer where the stream has gaps again and again. The kept sound is then
    /// discarded, because its seconds are those of the old stream.
    fn look_for_gaps(&mut self, now: Instant) -> Option<Message> {
        let before = std::mem::replace(&mut self.lost, self.microphone.lost());
        let now_ms = self.milliseconds(now);
        let buffer = self.buffer * 2;
        if self.lost == before || !self.lateness.late(now_ms) || buffer > LARGEST_BUFFER {
            return None;
        }
        let microphone = Microphone::with_buffer(self.asked.as_deref(), buffer).ok()?;
        let attention = Attention::new(microphone.rate, self.attention.tuning()).ok()?;
        // repetitions that are over are analysed without the rest of the sound after them
        for awaited in self.awaiting.take_all() {
            self.hear(awaited);
        }
        self.microphone = microphone;
        self.attention = attention;
        self.buffer = buffer;
        self.lost = 0;
        self.errors = 0;
        self.began = Seconds(0.0);
        Some(Message::Care(format!(
            "the computer was late with the microphone three times in a minute: its buffer is {buffer} frames now"
        )))
    }

    fn follow(
        &mut self,
        now: Instant,
        position: Option<Position>,
        device: Option<&str>,
        model: &Model,
    ) -> Vec<Message> {
        let played = position.filter(|position| !position.counting_in);
        let key = played.map(|played| (played.serial, played.cycle));
        let seconds = self.attention.seconds().0;
        let lost = self.microphone.lost();
        let told_s = f64::from(GAP_BLOCKS * self.buffer) / f64::from(self.microphone.rate.0);
        self.awaiting.look(seconds, key, lost, told_s);
        while let Some(awaited) = self.awaiting.next_over(seconds) {
            self.hear(awaited);
        }
        let (Some(played), Some(key), Some(second)) = (played, key, self.microphone.second_at(now))
        else {
            return Vec::new();
        };
        self.awaiting.began(key, second, played.beat);
        let found = model
            .practising()
            .filter(|_| self.awaiting.is_new(key))
            .and_then(|practising| practising.played_as(played.serial));
        let Some((score, timeline)) = found else {
            return Vec::new();
        };
        let piece = ExpectedStage::of(score, timeline);
        if piece.length.0 > LONGEST_S {
            let told = format!(
                "longer than {:.0} minutes: repetitions are marked by hand, not by ear",
                LONGEST_S / 60.0
            );
            let another = self.awaiting.skip(key);
            return another.then_some(Message::Care(told)).into_iter().collect();
        }
        self.attention.keep_for(&piece);
        let later_s = self
            .calibrated
            .iter()
            .find(|pair| Some(pair.device.as_str()) == device)
            .map(|pair| (pair.later_ms - f64::from(self.offset_ms)) / 1e3);
        let began_s = second - played.beat * piece.beat.0;
        let awaited = Awaited::new(key, piece, began_s, later_s, lost);
        self.awaiting.wait_for(awaited);
        Vec::new()
    }

    /// Remembers that play begins. A recording that is kept later begins here.
    pub(crate) fn playing_begins(&mut self) {
        self.began = self.attention.seconds();
    }

    /// The sound since play began, up to the length that is kept, with its sample rate.
    pub(crate) fn take(&self) -> (Vec<f32>, crate::units::SampleRate) {
        (self.attention.since(self.began), self.microphone.rate)
    }

    /// The low A that the analysis uses, in hertz.
    pub(crate) fn low_a(&self) -> f64 {
        self.attention.tuning().low_a.0
    }

    fn hear(&self, awaited: Awaited) {
        let (serial, cycle) = awaited.key;
        if !awaited.is_whole() {
            let _ = self.tell.send(Message::Listened {
                serial,
                cycle,
                attended: Box::new(Attended::late(&awaited.piece)),
            });
            return;
        }
        let cut = self
            .attention
            .cut(&awaited.piece, awaited.start(), awaited.exact());
        let tell = self.tell.clone();
        // where no thread can be started the repetition stays unmarked, as without a microphone
        let _ = std::thread::Builder::new()
            .name("ear".to_owned())
            .spawn(move || {
                if let Ok(attended) = cut.hear(&awaited.piece) {
                    let _ = tell.send(Message::Listened {
                        serial,
                        cycle,
                        attended: Box::new(attended),
                    });
                }
            });
    }
}
