//! A warm-up that runs by itself: which step, how long it has run. Marks nothing and asks nothing.

use super::place::{HeardPlace, Sounding, first_sound};
use crate::drill::Music;
use crate::planning::WarmStep;
use crate::score::Score;
use crate::timeline::Timeline;
use crate::units::Seconds;
use std::sync::Arc;

/// A step's music.
#[derive(Debug, Clone)]
pub struct WarmMusic {
    /// The written music.
    pub music: Music,
    /// Resolved.
    pub score: Score,
    /// The timeline at the step's tempo.
    pub timeline: Arc<Timeline>,
}

/// A warm-up as it stands.
#[derive(Debug, Clone)]
pub struct Warming {
    /// Its steps.
    pub(super) steps: Vec<WarmStep>,
    /// The music of each.
    pub(super) music: Vec<WarmMusic>,
    /// The place that is heard in this step's music; nothing before its first click.
    pub(super) heard: Option<HeardPlace>,
    /// The step that runs, from 0; the number of steps when it is over.
    pub(super) at: usize,
    /// How long it has run.
    pub(super) run: Seconds,
    /// It waits for the player.
    pub(super) paused: bool,
}

/// The fields, to be read; only this room changes them.
impl Warming {
    /// The place that is heard in this step's music; nothing before its first click.
    pub fn heard(&self) -> Option<&HeardPlace> {
        self.heard.as_ref()
    }

    /// The step that runs, from 0; the number of steps when it is over.
    pub fn at(&self) -> usize {
        self.at
    }

    /// How long it has run.
    pub fn run(&self) -> Seconds {
        self.run
    }

    /// It waits for the player.
    pub fn paused(&self) -> bool {
        self.paused
    }
}

impl Warming {
    /// A warm-up at its beginning, running.
    pub fn new(steps: Vec<WarmStep>, music: Vec<WarmMusic>) -> Self {
        Self {
            steps,
            music,
            heard: None,
            at: 0,
            run: Seconds(0.0),
            paused: false,
        }
    }

    /// The step that runs; nothing when it is over.
    pub fn step(&self) -> Option<&WarmStep> {
        self.steps.get(self.at)
    }

    /// Its music.
    pub fn present(&self) -> Option<&WarmMusic> {
        self.music.get(self.at)
    }

    /// What sounds now; before anything sounds, the first note as what comes next.
    pub fn sounding(&self) -> Option<Sounding> {
        let music = self.present()?;
        Some(match &self.heard {
            Some(place) => place.sounding(),
            None => first_sound(&music.score),
        })
    }

    /// The step after it.
    pub fn next(&self) -> Option<&WarmStep> {
        self.steps.get(self.at + 1)
    }

    /// Lets time go by; true when another step began, or the end came.
    pub fn pass(&mut self, by: Seconds) -> bool {
        let Some(step) = self.step() else {
            return false;
        };
        let length = Seconds(f64::from(step.seconds));
        if self.paused {
            return false;
        }
        self.run = self.run + by.max(Seconds(0.0));
        if self.run < length {
            return false;
        }
        self.skip();
        true
    }

    /// Goes on to the next step.
    pub fn skip(&mut self) {
        self.at = (self.at + 1).min(self.steps.len());
        self.run = Seconds(0.0);
        self.heard = None;
    }

    /// Waits for the player, or goes on.
    pub fn pause_or_go_on(&mut self) {
        self.paused = !self.paused;
    }

    /// The place that is heard now.
    pub fn hears(&mut self, place: Option<HeardPlace>) {
        self.heard = place;
    }

    /// True when every step has run.
    pub fn is_over(&self) -> bool {
        self.at >= self.steps.len()
    }

    /// How long all steps last, and how much of that has gone by.
    pub fn lengths(&self) -> (Seconds, Seconds) {
        let length = |steps: &[WarmStep]| {
            let seconds = steps.iter().map(|step| f64::from(step.seconds));
            Seconds(seconds.sum())
        };
        let gone = self.steps.get(..self.at).map_or(Seconds(0.0), length);
        (length(&self.steps), gone + self.run)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::planning::{Digest, WarmUpAsked, warm_up};

    /// It must end by itself after its minutes, and stand still while paused.
    #[test]
    fn it_runs_to_its_end_and_waits_while_paused() {
        let asked = WarmUpAsked {
            minutes: 5,
            tone: 8,
            band: None,
        };
        let day = jiff::civil::date(2027, 1, 15);
        let steps = warm_up(&Digest::default(), &[], day, &asked);
        let count = steps.len();
        let mut warming = Warming::new(steps, Vec::new());
        warming.paused = true;
        assert!(!warming.pass(Seconds(100.0)));
        warming.paused = false;
        let changes = (0..3000).filter(|_| warming.pass(Seconds(0.1))).count();
        assert!(changes >= count - 1, "{changes} of {count}");
        warming.pass(Seconds(1.0));
        assert!(warming.is_over());
        assert!(!warming.pass(Seconds(1.0)));
        assert!((warming.lengths().0.0 - 300.0).abs() < 1e-9);
    }
}
