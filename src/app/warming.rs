//! A warm-up that runs by itself: its steps, the present one and how long that has run. It marks
//! nothing and asks nothing.

use super::place::{HeardPlace, Sounding, first_sound};
use crate::drill::Music;
use crate::planning::WarmStep;
use crate::score::Score;
use crate::timeline::Timeline;
use crate::units::Seconds;
use std::sync::Arc;

/// The music of one step.
#[derive(Debug, Clone)]
pub struct WarmMusic {
    /// The written music.
    pub music: Music,
    /// The resolved score of that music.
    pub score: Score,
    /// The timeline at the step's tempo.
    pub timeline: Arc<Timeline>,
}

/// A warm-up, with its steps and its progress.
#[derive(Debug, Clone)]
pub struct Warming {
    /// The steps, in order.
    pub(super) steps: Vec<WarmStep>,
    /// The music of each step.
    pub(super) music: Vec<WarmMusic>,
    /// The audible place in the present step's music; none before its first click.
    pub(super) heard: Option<HeardPlace>,
    /// The step that runs, from 0; equal to the number of steps when the warm-up is over.
    pub(super) at: usize,
    /// How long the present step has run.
    pub(super) run: Seconds,
    /// True while the player has paused the warm-up.
    pub(super) paused: bool,
}

/// Read access to the fields. Only this room changes them.
impl Warming {
    /// The audible place in the present step's music; none before its first click.
    pub fn heard(&self) -> Option<&HeardPlace> {
        self.heard.as_ref()
    }

    /// The step that runs, from 0; equal to the number of steps when the warm-up is over.
    pub fn at(&self) -> usize {
        self.at
    }

    /// How long the present step has run.
    pub fn run(&self) -> Seconds {
        self.run
    }

    /// True while the player has paused the warm-up.
    pub fn paused(&self) -> bool {
        self.paused
    }
}

impl Warming {
    /// A warm-up at its beginning, not paused.
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

    /// The step that runs; none when the warm-up is over.
    pub fn step(&self) -> Option<&WarmStep> {
        self.steps.get(self.at)
    }

    /// The music of the present step; none when the warm-up is over.
    pub fn present(&self) -> Option<&WarmMusic> {
        self.music.get(self.at)
    }

    /// What sounds now. Before anything is audible, no note sounds and the first note comes next.
    pub fn sounding(&self) -> Option<Sounding> {
        let music = self.present()?;
        Some(match &self.heard {
            Some(place) => place.sounding(),
            None => first_sound(&music.score),
        })
    }

    /// The step after the present one; none in the last step.
    pub fn next(&self) -> Option<&WarmStep> {
        self.steps.get(self.at + 1)
    }

    /// Lets time pass. Returns true when another step began or the warm-up ended.
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

    /// Goes on to the next step at once.
    pub fn skip(&mut self) {
        self.at = (self.at + 1).min(self.steps.len());
        self.run = Seconds(0.0);
        self.heard = None;
    }

    /// Pauses the warm-up, or continues it.
    pub fn pause_or_go_on(&mut self) {
        self.paused = !self.paused;
    }

    /// Takes the place in the music that is audible now.
    pub fn hears(&mut self, place: Option<HeardPlace>) {
        self.heard = place;
    }

    /// True when every step has run.
    pub fn is_over(&self) -> bool {
        self.at >= self.steps.len()
    }

    /// The length of all steps together, and how much of it has passed.
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

    /// A warm-up ends by itself after its minutes. While it is paused, its time does not pass.
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
