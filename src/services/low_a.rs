//! The player's low A, where the settings do not give it. The last one heard is kept for each
//! chanter, and it is searched for again in the player's sound until it is certain.

use super::{Failure, folders, output};
use crate::chanter::{Instrument, Tuning};
use crate::listening::{Agreement, Attention, SEARCHED_S, sure_low_a};
use crate::units::{Cents, Hertz, Seconds};
use serde::{Deserialize, Serialize};
use std::sync::mpsc::{Receiver, TryRecvError, channel};

/// A silence of this many seconds ends the stretch of sound that is searched. A breath may be
/// shorter.
const SILENT_S: f64 = 2.0;

/// A new low A that differs by less than this many cents is not used, because a held note varies as
/// much. Chosen.
const HARDLY: f64 = 5.0;

/// The last low A that was heard for each chanter, in hertz.
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

    /// The stored values. Where there is no file or it cannot be read there are none, and low A is
    /// searched for again.
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

    /// The tuning with the stored low A, where one is stored for the same chanter.
    fn tuned(mut self, tuning: Tuning) -> Tuning {
        let kept = self.of(tuning.instrument).map(Hertz);
        let kept = kept.filter(|low_a| (200.0..=520.0).contains(&low_a.0));
        kept.map(|low_a| Tuning::with_low_a(low_a, tuning.table))
            .filter(|kept| kept.instrument == tuning.instrument)
            .unwrap_or(tuning)
    }
}

/// The tuning for the start, and the search for the player's low A. There is no search where low A
/// was `given`.
pub(crate) fn begin(tuning: Tuning, given: bool) -> (Tuning, Option<Search>) {
    if given {
        (tuning, None)
    } else {
        (LastHeard::read().tuned(tuning), Some(Search::default()))
    }
}

/// A search for low A in the player's sound.
#[derive(Debug, Default)]
pub(crate) struct Search {
    agreed: Agreement,
    /// Where the next stretch to be searched begins, in the stream's time.
    from: Seconds,
    running: Option<Receiver<Option<Hertz>>>,
    over: bool,
}

impl Search {
    /// Searches the player's sound when there is enough of it. Once another low A is certain, the
    /// analysis uses it and it is stored for another day; the call returns true then.
    ///
    /// `alone` is true while our own reference and drones are silent, because their low A is not
    /// the player's.
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
            // where no thread can be started low A stays as it is
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
        // a low A that cannot be stored is searched for again another day
        let _ = kept.write();
        let apart = Cents::between(tuning.low_a, low_a).0.abs();
        apart > HARDLY && attention.tune(own).is_ok()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Without this check a damaged file, or a pipe chanter's low A stored for the practice
    /// chanter, would put the analysis out of tune.
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

    /// Without this search the analysis would keep a low A that is a quarter tone off, or take our
    /// own low A for the player's.
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
