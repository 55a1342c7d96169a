//! A drill that is being practised: its scores, its board, and what is audible of it now.

use super::goal::Goal;
use super::offer::Offers;
use super::opened::OpenedDrill;
use super::options::Options;
use super::place::{HeardPlace, Sounding, first_sound};
use crate::drill::{Drill, Hiding};
use crate::movement::{Context, Explanation, Movement, explain};
use crate::planning::{BarLine, Digest, Lately, Said, Staircase};
use crate::practice::{
    CellKey, Entry, Mark, News, Phase, Plan, PlannedStage, Rung, StagePrint, State, ToneShape,
    edited, replay_all,
};
use crate::rhythm::ReferencePlan;
use crate::score::{Score, movements, resolve_music};
use crate::timeline::{Layout, Timeline, lay};
use crate::units::{Bpm, SampleRate};
use std::collections::VecDeque;
use std::sync::Arc;

/// The state of hiding a drill's music while it is learnt from memory.
#[derive(Debug, Clone, Default)]
pub(super) struct Memory {
    pub(super) hiding: Hiding,
    /// The phrase with which the hiding begins, from 0.
    pub(super) from: usize,
    /// The last repetition whose mark changed the hiding, and what was hidden before it.
    pub(super) stepped: Option<(u64, Hiding)>,
    /// The repetition that sounds, as long as all its music has been hidden since its beginning.
    pub(super) unseen: Option<u64>,
}

/// A drill that is being practised.
#[derive(Debug, Clone)]
pub struct Practising {
    /// The name that the drill was opened by.
    pub(super) name: String,
    /// The drill.
    pub(super) drill: Drill,
    /// The score of each stage.
    pub(super) scores: Vec<Score>,
    /// The state of practice: board, marks and session.
    pub(super) state: State,
    /// The timelines that were sent to the player and may still be heard, oldest first.
    pub(super) sent: VecDeque<Sent>,
    /// The place that is audible now; none before anything is heard.
    pub(super) heard: Option<HeardPlace>,
    /// The homework's goal; none where the drill is not homework.
    pub(super) goal: Option<Goal>,
    /// The tone shapes of the repetition judged last, the worst first, at most two.
    pub(super) shape: Vec<ToneShape>,
    /// How dotted notes and snaps were pointed in the repetition judged last, in words.
    pub(super) pointing: Option<String>,
    /// The recent result of each bar, for each stage.
    pub(super) bars: Vec<Vec<BarLine>>,
    /// The latest entries, from which `bars` is made.
    lately: Lately,
    /// The player's timing against the click in the repetition heard last, in words.
    pub(super) lead: Option<String>,
    /// The cell that was sent to the player last. It plays or will play next.
    pub(super) asked: Option<CellKey>,
    /// The number of each recent repetition, by the serial and cycle it is played in.
    pub(super) began: VecDeque<((u64, u64), u64)>,
    /// The serial and cycle whose end was reported last.
    pub(super) ended: Option<(u64, u64)>,
    /// The last marked repetition, with the adaptive ladder's place before and after it.
    pub(super) stairs: Option<(u64, Staircase, Staircase)>,
    /// The cell of the cold try that sounds or comes next; none where no cold try is due.
    pub(super) cold: Option<CellKey>,
    /// True where a session asks for this cell again and its first try has no mark yet.
    pub(super) due: bool,
    /// The repetition of the cold try, until it is over.
    pub(super) cold_repetition: Option<u64>,
    /// The plan of the reference that was sent last.
    pub(super) reference_sent: Option<ReferencePlan>,
    /// The digest of the marks made before this session.
    pub(super) before: Digest,
    /// The offers after play has stopped by itself.
    pub(super) offers: Offers,
    /// The slow stages that were announced already.
    pub(super) told_slow: Vec<usize>,
    /// The state of hiding the music.
    pub(super) memory: Memory,
}

/// The score of each stage, with the drill's breath.
pub fn scores(drill: &Drill) -> Vec<Score> {
    (0..drill.stages.len())
        .map(|stage| score_of(drill, stage))
        .collect()
}

/// The score of a stage, from 0, with the drill's breath.
pub fn score_of(drill: &Drill, stage: usize) -> Score {
    resolve_music(
        &drill.stages[stage].music,
        drill.breath_beats(),
        &drill.schools,
    )
}

/// The fingerprints by which the journal knows the stages.
pub fn prints(scores: &[Score]) -> Vec<StagePrint> {
    scores
        .iter()
        .map(|score| StagePrint::of(&score.written_text()))
        .collect()
}

/// The stages in the form that practice uses: each stage's fingerprint and its rungs.
pub fn planned(drill: &Drill, scores: &[Score]) -> Vec<PlannedStage> {
    PlannedStage::all(drill, prints(scores))
}

/// A timeline that was sent to the player.
#[derive(Debug, Clone)]
pub(super) struct Sent {
    pub(super) serial: u64,
    pub(super) cell: CellKey,
    pub(super) stage: usize,
    pub(super) timeline: Arc<Timeline>,
    /// True where repetitions of this timeline can be marked.
    pub(super) counts: bool,
}

/// The most timelines that are kept as sent. No more can be waiting to be heard at once.
const MOST_SENT: usize = 8;

/// Read access to the fields. Only this room changes them.
impl Practising {
    /// The name that the drill was opened by.
    pub fn name(&self) -> &str {
        &self.name
    }

    /// The drill.
    pub fn drill(&self) -> &Drill {
        &self.drill
    }

    /// The score of each stage.
    pub fn scores(&self) -> &[Score] {
        &self.scores
    }

    /// The state of practice: board, marks and session.
    pub fn state(&self) -> &State {
        &self.state
    }

    /// The place that is audible now; none before anything is heard.
    pub fn heard(&self) -> Option<&HeardPlace> {
        self.heard.as_ref()
    }

    /// The homework's goal; none where the drill is not homework.
    pub fn goal(&self) -> Option<&Goal> {
        self.goal.as_ref()
    }

    /// The tone shapes of the repetition judged last, the worst first, at most two.
    pub fn shape(&self) -> &[ToneShape] {
        &self.shape
    }

    /// How dotted notes and snaps were pointed in the repetition judged last, in words.
    pub fn pointing(&self) -> Option<&str> {
        self.pointing.as_deref()
    }

    /// The recent result of each bar, for each stage.
    pub fn bars(&self) -> &[Vec<BarLine>] {
        &self.bars
    }

    /// The player's timing against the click in the repetition heard last, in words.
    pub fn lead(&self) -> Option<&str> {
        self.lead.as_deref()
    }

    /// The cell of the cold try that sounds or comes next; none where no cold try is due.
    pub fn cold(&self) -> Option<CellKey> {
        self.cold
    }

    /// True where a session asks for this cell again and its first try has no mark yet.
    pub fn due(&self) -> bool {
        self.due
    }
}

impl Practising {
    /// A drill with the journal's marks, which are moved out of `opened`. No session runs yet.
    pub fn new(opened: &mut OpenedDrill, options: &Options) -> Self {
        let drill = opened.drill.clone();
        let scores = scores(&drill);
        let stages = planned(&drill, &scores);
        let goal = opened.goal.as_ref().and_then(|goal| {
            let stage = stages.get(goal.stage)?.print;
            let rung = goal.rung;
            let cell = CellKey { stage, rung };
            Some(Goal::new(cell, &goal.file, goal.until, &opened.entries))
        });
        let plan = Plan {
            clean: drill.clean,
            route: drill.route,
            advance: drill.advance,
            step_back: drill.step_back,
            stop_rule: options.stop_rule,
            hands_free: options.hands_free,
            thresholds: options.thresholds,
            by_ear: options.by_ear,
            headphones: options.headphones,
            ..Plan::new(&opened.name, stages)
        };
        let before = Digest::of(opened.entries.iter().filter_map(Said::of));
        let state = replay_all(plan, std::mem::take(&mut opened.entries));
        let mut lately = Lately::default();
        lately.take_in(&opened.lately);
        let stages = state.plan().stages.iter().zip(&scores);
        let bars = stages
            .map(|(stage, score)| lately.bar_lines(stage.print, score))
            .collect();
        Self {
            name: opened.name.clone(),
            drill,
            scores,
            state,
            sent: VecDeque::new(),
            heard: None,
            goal,
            shape: Vec::new(),
            pointing: None,
            bars,
            lately,
            lead: None,
            asked: None,
            began: VecDeque::new(),
            ended: None,
            stairs: None,
            cold: None,
            due: false,
            cold_repetition: None,
            reference_sent: None,
            before,
            offers: Offers::default(),
            told_slow: Vec::new(),
            memory: Memory::default(),
        }
    }

    /// Takes in new entries, and updates the results of the bars in their stages. Returns true
    /// where the entries reach the homework's goal.
    pub(super) fn take_in(&mut self, entries: &[Entry]) -> bool {
        let told = self.lately.take_in(entries);
        let stages = self.state.plan().stages.iter().zip(&self.scores);
        for ((stage, score), bars) in stages.zip(&mut self.bars) {
            if told.contains(&stage.print) {
                *bars = self.lately.bar_lines(stage.print, score);
            }
        }
        self.goal.as_mut().is_some_and(|goal| goal.take_in(entries))
    }

    /// True for the cell that homework asks the player to reach.
    pub fn is_goal(&self, cell: CellKey) -> bool {
        self.goal.as_ref().is_some_and(|goal| goal.cell == cell)
    }

    /// The file of the homework whose goal the last event cleared. None where the homework has a
    /// criterion of its own.
    pub(super) fn goal_cleared(&self) -> Option<String> {
        let goal = self.goal.as_ref().filter(|goal| goal.until.is_none())?;
        let cleared = self
            .state
            .news()
            .iter()
            .any(|news| matches!(news, News::Cleared(cell) if goal.is_reached_with(*cell)));
        cleared.then(|| goal.file.clone())
    }

    /// The homework's goal in words: `real time at 66, 9 of 10`.
    pub fn goal_words(&self) -> Option<String> {
        let goal = self.goal.as_ref()?;
        Some(format!(
            "{}{}",
            self.cell_name(goal.cell),
            goal.until_words()
        ))
    }

    /// The score and the timeline that were sent under this serial number.
    pub fn played_as(&self, serial: u64) -> Option<(&Score, &Timeline)> {
        let sent = self.find(serial)?;
        Some((self.scores.get(sent.stage)?, &sent.timeline))
    }

    /// The stages, from 0, whose music has changed: the journal knows the drill but not these
    /// stages.
    pub(super) fn edited(&self, opened: &OpenedDrill) -> Vec<usize> {
        edited(self.state.plan(), &opened.played)
    }

    /// The number of the bar that is audible; a pickup is bar 0.
    pub fn present_bar(&self) -> Option<u16> {
        let place = self.heard.as_ref()?;
        let at = place.in_repetition();
        let bars = &self.scores.get(place.stage)?.bars;
        let bar = bars.iter().rfind(|bar| bar.start.to_f64() <= at);
        Some(bar.map_or(0, |bar| bar.number))
    }

    /// True while practice plays.
    pub fn is_playing(&self) -> bool {
        self.state.phase() == Phase::Playing
    }

    /// True while practice or a demonstration sounds.
    pub fn is_sounding(&self) -> bool {
        self.is_playing() || self.offers.demo.is_some()
    }

    /// True where a pedal press starts play instead of marking: nothing sounds, nothing is offered,
    /// and the last repetition has its mark.
    pub fn pedal_plays(&self) -> bool {
        !self.is_sounding() && !self.is_offering() && !self.state.awaits_a_mark()
    }

    /// The stage of a cell, from 0; none where the plan does not have the cell.
    pub fn stage_of(&self, cell: CellKey) -> Option<usize> {
        self.state.plan().stage_of(cell)
    }

    /// The name of a cell, such as `half beats at 52` or `closing up at 104 ms`.
    pub fn cell_name(&self, cell: CellKey) -> String {
        let name = self
            .stage_of(cell)
            .and_then(|stage| self.drill.stages.get(stage))
            .map_or("a stage of before", |stage| stage.name.as_str());
        format!("{name} at {}", cell.rung.spoken())
    }

    /// The full explanation of the practised movement in each context of the last stage. Where the
    /// music is written out, every movement in it is explained, the hardest first.
    pub fn explanations(&self) -> Vec<Explanation> {
        let mut explained: Vec<(Movement, Context)> = Vec::new();
        let found = self.scores.last().map(movements).unwrap_or_default();
        if let Some(line) = &self.drill.movement {
            // in the order of the file; where the last stage still practises the movement in parts,
            // all contexts
            for from in &line.from {
                let contexts = line.to.iter().map(|to| Context::between(*from, *to));
                explained.extend(contexts.map(|context| (line.movement, context)));
            }
            let stands = |(movement, context): &(Movement, Context)| {
                found
                    .iter()
                    .any(|one| one.movement == Some(*movement) && one.context == *context)
            };
            if explained.iter().any(stands) {
                explained.retain(stands);
            }
        } else {
            for one in &found {
                if let Some(movement) = one.movement
                    && !explained.contains(&(movement, one.context))
                {
                    explained.push((movement, one.context));
                }
            }
        }
        explained
            .into_iter()
            .map(|(movement, context)| {
                let drill = &self.drill;
                explain(
                    movement,
                    context,
                    &drill.schools,
                    self.tempo(),
                    &drill.lengths,
                )
            })
            .collect()
    }

    /// The cell of the board that is audible, or in which play will begin.
    pub fn cell(&self) -> Option<CellKey> {
        self.state.cell().or_else(|| self.state.upcoming())
    }

    /// The cell whose figures are shown. From its count-in on it is the next cell.
    pub fn shown_cell(&self) -> Option<CellKey> {
        let heard = self.heard.as_ref().filter(|_| self.is_playing());
        let sent = heard.and_then(|place| self.find(place.serial));
        sent.map(|sent| sent.cell).or_else(|| self.cell())
    }

    /// The number of clean repetitions in a row in the shown cell, at most as many as clear it.
    pub fn streak(&self) -> u32 {
        let state = &self.state;
        let streak = match self.shown_cell() {
            Some(cell) if state.cell() != Some(cell) => state.tally(cell).streak,
            _ => state.streak(),
        };
        streak.min(state.plan().needed())
    }

    /// The shown stage, from 0: the audible one, or the one in which play will begin.
    pub fn stage(&self) -> usize {
        self.heard
            .as_ref()
            .map(|place| place.stage)
            .or_else(|| self.cell().and_then(|cell| self.stage_of(cell)))
            .unwrap_or(0)
    }

    /// The rung that is audible, or on which play will begin.
    pub fn rung(&self) -> Rung {
        self.heard
            .as_ref()
            .map(|place| place.rung)
            .or_else(|| self.cell().map(|cell| cell.rung))
            .unwrap_or(Rung::Tempo(self.drill.ladder.from()))
    }

    /// The tempo that is audible, or at which play will begin.
    pub fn tempo(&self) -> Bpm {
        self.rung().tempo()
    }

    /// What is shown before anything is audible: no note sounds, and the stage's first note comes
    /// next.
    pub fn first_sound(&self) -> Sounding {
        self.scores.get(self.stage()).map_or(
            Sounding {
                now: None,
                next: None,
            },
            first_sound,
        )
    }

    /// Lays out the timeline of a cell, with the cell's stage from 0.
    pub(super) fn lay(&self, cell: CellKey, options: &Options) -> Option<(usize, Arc<Timeline>)> {
        let stage = self.stage_of(cell)?;
        let score = self.scores.get(stage)?;
        let layout = Layout {
            lengths: cell.rung.lengths(self.drill.lengths),
            subdivision: options.subdivision,
            ..Layout::at(cell.rung.tempo(), SampleRate::USUAL)
        };
        Some((stage, Arc::new(lay(score, &layout))))
    }

    /// The cell to which the adaptive ladder moves after a mark; none where it stays. A corrected
    /// mark first takes back the step of the mark that it corrects.
    pub(super) fn climb(&mut self, cell: CellKey, repetition: u64, mark: Mark) -> Option<CellKey> {
        let plan = self.state.plan();
        let rungs = &plan.stages.get(plan.stage_of(cell)?)?.rungs;
        let rung = rungs.iter().position(|rung| *rung == cell.rung)?;
        let before = match self.stairs {
            Some((last, before, _)) if last == repetition => before,
            Some((_, _, after)) if after.rung == rung => after,
            _ => Staircase::at(rung),
        };
        let after = before.step(mark, rungs.len());
        let there = *rungs.get(after.rung)?;
        self.stairs = Some((repetition, before, after));
        (after.rung != rung).then_some(CellKey {
            rung: there,
            ..cell
        })
    }

    pub(super) fn remember(&mut self, sent: Sent) {
        if self.sent.len() == MOST_SENT {
            self.sent.pop_front();
        }
        self.sent.push_back(sent);
    }

    pub(super) fn find(&self, serial: u64) -> Option<&Sent> {
        self.sent.iter().find(|sent| sent.serial == serial)
    }

    /// The number of the repetition that is played in this cycle.
    pub(super) fn repetition(&self, serial: u64, cycle: u64) -> Option<u64> {
        self.began
            .iter()
            .rev()
            .find(|(key, _)| *key == (serial, cycle))
            .map(|(_, id)| *id)
    }
}
