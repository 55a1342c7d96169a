//! The player's own low A, where the settings do not give it: the last one that was heard, kept for
//! each chanter. It is searched for in what he plays until it is sure.

use super::{Failure, folders, output};
use crate::chanter::{Instrument, Tuning};
use crate::listening::{Agreement, Attention, SEARCHED_S, sure_low_a};
use crate::units::{Cents, Hertz, Seconds};
use serde::{Deserialize, Serialize};
use std::sync::mpsc::{Receiver, TryRecvError, channel};

/// A silence of so many seconds ends the stretch that is searched; a breath may be shorter.
const SILENT_S: f64 = 2.0;

/// A low A that differs by less than this is not changed, cents: a held note wanders as much.
/// Chosen.
const HARDLY: f64 = 5.0;

/// The last low A that was heard of each chanter, hertz.
#[derive(Debug, Clone, Copy, Default, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case", default)]
struct LastHeard {
    #[serde(skip_serializing_if = "Option::is_none")]
    practice_chanter: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pipes: Option<f64>,
}

impl LastHeard {
    fn of(&mut self, instrument: Instrument) -> &mut Option<f64> {
        match instrument {
            Instrument::PracticeChanter => &mut self.practice_chanter,
            Instrument::PipeChanter => &mut self.pipes,
        }
    }

    /// What is kept; nothing where there is no file or it cannot be read, and then low A is heard
    /// again.
    fn read() -> Self {
        let text = folders::low_a().and_then(|path| {
            std::fs::read_to_string(path).map_err(|error| Failure(error.to_string()))
        });
        let read = text.ok().and_then(|text| serde_json::from_str(&text).ok());
        read.unwrap_or_default()
    }

    fn write(self) -> Result<(), Failure> {
        let path = folders::low_a()?;
        let text = serde_json::to_string_pretty(&self)
            .map_err(|error| Failure(format!("cannot write JSON: {error}")))?;
        if let Some(folder) = path.parent() {
            output::make_folder(folder)?;
        }
        output::write_bytes(&path, true, format!("{text}\n").as_bytes())
    }

    /// A tuning with the low A that is kept, if that is one of the same chanter.
    fn tuned(mut self, tuning: Tuning) -> Tuning {
        let kept = self.of(tuning.instrument).map(Hertz);
        let kept = kept.filter(|low_a| (200.0..=520.0).contains(&low_a.0));
        kept.map(|low_a| Tuning::with_low_a(low_a, tuning.table))
            .filter(|kept| kept.instrument == tuning.instrument)
            .unwrap_or(tuning)
    }
}

/// What to listen with at first, and the search for the player's own low A; none where it was `given`.
pub(crate) fn begin(tuning: Tuning, given: bool) -> (Tuning, Option<Search>) {
    if given {
        (tuning, None)
    } else {
        (LastHeard::read().tuned(tuning), Some(Search::default()))
    }
}

/// Looks for low A while somebody plays.
#[derive(Debug, Default)]
pub(crate) struct Search {
    agreed: Agreement,
    /// Where the stretch that is searched next begins in the stream.
    from: Seconds,
    running: Option<Receiver<Option<Hertz>>>,
    over: bool,
}

impl Search {
    /// Looks at what was played when there is enough of it; once it is sure of another low A the
    /// attention listens with that one and it is kept for another day. True in that moment.
    ///
    /// `alone` says that nothing of our own sounds: our low A is none of the player's.
    pub(crate) fn look(&mut self, attention: &mut Attention, alone: bool) -> bool {
        if self.over {
            return false;
        }
        let now = attention.seconds();
        if !alone || attention.now().silent.0 > SILENT_S || now < self.from {
            self.from = now;
        }
        if let Some(running) = &self.running {
            let found = match running.try_recv() {
                Err(TryRecvError::Empty) => return false,
                found => found.unwrap_or(None),
            };
            self.running = None;
            return self
                .agreed
                .with(found)
                .is_some_and(|low_a| self.is_sure(low_a, attention));
        }
        if now >= self.from + Seconds(SEARCHED_S) {
            let samples = attention.since(self.from);
            let (rate, tuning) = (attention.rate(), attention.tuning());
            let (tell, told) = channel();
            // without a thread low A stays what it is
            let began = std::thread::Builder::new()
                .name("low A".to_owned())
                .spawn(move || {
                    let found = sure_low_a(rate, &samples, tuning);
                    let _ = tell.send(found.unwrap_or(None));
                });
            self.running = began.is_ok().then_some(told);
            self.from = now;
        }
        false
    }

    fn is_sure(&mut self, low_a: Hertz, attention: &mut Attention) -> bool {
        self.over = true;
        let tuning = attention.tuning();
        let own = Tuning::with_low_a(low_a, tuning.table);
        let mut kept = LastHeard::read();
        *kept.of(tuning.instrument) = Some((low_a.0 * 10.0).round() / 10.0);
        // what cannot be kept is heard again another day
        let _ = kept.write();
        let apart = Cents::between(tuning.low_a, low_a).0.abs();
        apart > HARDLY && attention.tune(own).is_ok()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Without it a spoilt file, or pipes kept under the practice chanter, would put the ear out of tune.
    #[test]
    fn only_a_low_a_of_the_same_chanter_is_taken() {
        let practice = Tuning::default();
        let kept = |text: &str| {
            let kept: LastHeard = serde_json::from_str(text).expect("it reads");
            kept.tuned(practice).low_a.0
        };
        assert_eq!(kept(r#"{"practice-chanter": 238.4, "pipes": 479}"#), 238.4);
        for none in [
            "{}",
            r#"{"practice-chanter": 479}"#,
            r#"{"practice-chanter": 1e9}"#,
        ] {
            assert_eq!(kept(none), practice.low_a.0, "{none}");
        }
        let pipes: LastHeard = serde_json::from_str(r#"{"pipes": 479}"#).expect("it reads");
        let tuning = Tuning::of(Instrument::PipeChanter);
        assert_eq!(pipes.tuned(tuning).low_a.0, 479.0);
    }

    /// Without it the ear would go on with a low A that is a quarter of a tone off, or take our own for
    /// the player's.
    #[test]
    fn what_is_played_is_listened_with_once_two_searches_agree() {
        let tuning = Tuning::default();
        let rate = crate::units::SampleRate(16_000);
        let mut attention = Attention::new(rate, tuning).expect("a usual rate");
        let own = Tuning::with_low_a(Hertz(241.0), tuning.table);
        let mut phase = 0.0_f64;
        let mut second = |at: usize| -> Vec<f32> {
            let note = crate::chanter::NOTES[at % 6];
            (0..16_000)
                .map(|_| {
                    phase += own.hertz(note).0 / 16_000.0;
                    let wave = |k: i32| {
                        (std::f64::consts::TAU * phase * f64::from(k)).sin() * 0.7_f64.powi(k)
                    };
                    (0.2 * (1..10).map(wave).sum::<f64>()) as f32
                })
                .collect()
        };
        let mut search = Search::default();
        let mut agreed = Agreement::default();
        for at in 0..11 {
            attention.push(&second(at));
            assert!(!search.look(&mut attention, false));
        }
        assert!(search.running.is_none(), "our own chanter sounds");
        for at in 0..11 {
            attention.push(&second(at));
            assert!(!search.look(&mut attention, true));
        }
        let running = search.running.as_ref().expect("it looks");
        let found = running.recv().expect("an answer");
        assert_eq!(agreed.with(found), None);
        let low_a = agreed.with(found).expect("it agrees with itself");
        assert!((low_a.0 - 241.0).abs() < 0.7, "{low_a:?}");
        assert!(
            Cents::between(tuning.low_a, low_a).0 > HARDLY,
            "which is told"
        );
    }
}
