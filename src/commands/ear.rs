//! The microphone while practising: repetitions are cut out of its stream and heard on a thread of
//! their own, so that neither the screen nor the sound waits for them.

use super::Failure;
use crate::app::{Message, Model};
use crate::chanter::Tuning;
use crate::listening::{Attended, Attention, Cut, Piece};
use crate::live::{Microphone, Position};
use std::sync::mpsc::{Receiver, Sender, channel};
use std::time::Instant;

/// How long after its last note a repetition is heard, seconds: what was late is in by then.
const AFTER_S: f64 = 0.36;

/// A repetition that plays.
struct Awaited {
    serial: u64,
    cycle: u64,
    piece: Piece,
    start_s: f64,
}

/// What listens.
pub(super) struct Ear {
    microphone: Microphone,
    attention: Attention,
    samples: Vec<f32>,
    awaited: Option<Awaited>,
    /// The serial and cycle awaited last.
    latest: Option<(u64, u64)>,
    heard: Receiver<Message>,
    tell: Sender<Message>,
    errors: u32,
}

impl Ear {
    /// Opens the microphone.
    ///
    /// # Errors
    /// There is none, none of that name, or it cannot be opened.
    pub(super) fn open(microphone: Option<&str>, tuning: Tuning) -> Result<Self, Failure> {
        let microphone = Microphone::open(microphone).map_err(|error| {
            Failure(format!(
                "marking by ear needs a microphone: {error}; `--mark-by hand` needs none"
            ))
        })?;
        let attention = Attention::new(microphone.rate, tuning)
            .map_err(|error| Failure(format!("`{}`: {error}", microphone.name)))?;
        let (tell, heard) = channel();
        Ok(Self {
            microphone,
            attention,
            samples: Vec::new(),
            awaited: None,
            latest: None,
            heard,
            tell,
            errors: 0,
        })
    }

    /// What the microphone took in since the last call, and what follows from it.
    pub(super) fn listen(
        &mut self,
        now: Instant,
        position: Option<Position>,
        model: &Model,
    ) -> Vec<Message> {
        self.samples.clear();
        self.microphone.take(&mut self.samples);
        self.attention.push(&self.samples);
        self.follow(now, position, model);
        let mut messages = vec![Message::Ear(Some(self.attention.now()))];
        messages.extend(self.heard.try_iter());
        let (_, errors) = self.microphone.troubles();
        if errors > self.errors && self.samples.is_empty() {
            messages.push(Message::Care(format!(
                "the microphone `{}` has gone: repetitions are marked by hand",
                self.microphone.name
            )));
        }
        self.errors = errors;
        messages
    }

    fn follow(&mut self, now: Instant, position: Option<Position>, model: &Model) {
        let played = position.filter(|position| !position.counting_in);
        if self.awaited.as_ref().is_some_and(|awaited| {
            played.is_none_or(|played| played.serial != awaited.serial)
                || played.is_some_and(|played| played.cycle < awaited.cycle)
        }) {
            // cut short, or another stage
            let over = self.over();
            let awaited = self.awaited.take();
            if over {
                self.hear(awaited);
            }
        }
        if self.over() {
            let awaited = self.awaited.take();
            self.hear(awaited);
        }
        let Some(played) = played else { return };
        let key = (played.serial, played.cycle);
        if self.latest.is_some_and(|latest| latest >= key) {
            return;
        }
        let found = model
            .practising
            .as_ref()
            .and_then(|practising| practising.played_as(played.serial));
        if let (Some((score, timeline)), Some(second)) = (found, self.microphone.second_at(now)) {
            let piece = Piece::of(score, timeline);
            // in the breath nothing begins
            if played.beat * piece.beat_s < piece.length_s {
                self.latest = Some(key);
                self.awaited = Some(Awaited {
                    serial: played.serial,
                    cycle: played.cycle,
                    start_s: second - played.beat * piece.beat_s,
                    piece,
                });
            }
        }
    }

    /// The repetition that is awaited is in the stream with what may be late of it.
    fn over(&self) -> bool {
        self.awaited.as_ref().is_some_and(|awaited| {
            self.attention.seconds() > awaited.start_s + awaited.piece.length_s + AFTER_S
        })
    }

    fn hear(&self, awaited: Option<Awaited>) {
        let Some(awaited) = awaited else { return };
        let cut: Cut = self.attention.cut(&awaited.piece, awaited.start_s);
        let tell = self.tell.clone();
        // without a thread the repetition stays unmarked, as if nobody had listened
        let _ = std::thread::Builder::new()
            .name("ear".to_owned())
            .spawn(move || {
                if let Ok(attended) = cut.hear(&awaited.piece) {
                    let attended: Box<Attended> = Box::new(attended);
                    let _ = tell.send(Message::Listened {
                        serial: awaited.serial,
                        cycle: awaited.cycle,
                        attended,
                    });
                }
            });
    }
}
