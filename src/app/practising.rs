//! A drill that is practised: its scores, its board, and what is heard of it now.

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

/// How much of a drill is hidden while it is learnt from memory.
#[derive(Debug, Clone, Default)]
pub(super) struct Memory {
    pub(super) hiding: Hiding,
    /// The place of the phrase with which it begins, from 0.
    pub(super) from: usize,
    /// The last repetition whose mark changed it, and what was hidden before.
    pub(super) stepped: Option<(u64, Hiding)>,
    /// The repetition that sounds, where all of it was hidden from its beginning on.
    pub(super) unseen: Option<u64>,
}

/// A drill that is practised.
#[derive(Debug, Clone)]
pub struct Practising {
    /// The name it is called by.
    pub(super) name: String,
    /// The drill.
    pub(super) drill: Drill,
    /// Each stage's score.
    pub(super) scores: Vec<Score>,
    /// Board, marks and session.
    pub(super) state: State,
    /// Timelines sent to the player and perhaps still to be heard, oldest first.
    pub(super) sent: VecDeque<Sent>,
    /// What is heard now.
    pub(super) heard: Option<HeardPlace>,
    /// What homework asks for, and in which file.
    pub(super) goal: Option<Goal>,
    /// How the tones of the repetition judged last were shaped, the worst first: at most two.
    pub(super) shape: Vec<ToneShape>,
    /// How the dots and snaps of the repetition judged last were pointed.
    pub(super) pointing: Option<String>,
    /// How the bars of each stage went lately.
    pub(super) bars: Vec<Vec<BarLine>>,
    /// The last entries, from which those lines are made.
    lately: Lately,
    /// Where the player was against the click in the repetition that was heard last.
    pub(super) lead: Option<String>,
    /// The cell that is on its way to the player or plays there.
    pub(super) asked: Option<CellKey>,
    /// Repetitions by the cycle they are played in.
    pub(super) began: VecDeque<((u64, u64), u64)>,
    /// The cycle whose end has been told.
    pub(super) ended: Option<(u64, u64)>,
    /// The adaptive ladder's place before and after the last repetition that was marked.
    pub(super) stairs: Option<(u64, Staircase, Staircase)>,
    /// The cell of the cold try that sounds or comes next.
    pub(super) cold: Option<CellKey>,
    /// In a session it is due again, and its first try has not been marked yet.
    pub(super) due: bool,
    /// The cold try that is not over yet.
    pub(super) cold_repetition: Option<u64>,
    /// The plan of the reference that was sent last.
    pub(super) reference_sent: Option<ReferencePlan>,
    /// The digest of the marks from before this session.
    pub(super) before: Digest,
    /// What is offered where play has stopped by itself.
    pub(super) offers: Offers,
    /// Slow stages that have said so.
    pub(super) told_slow: Vec<usize>,
    /// What is hidden of the music.
    pub(super) memory: Memory,
}

/// Every stage's score, with the drill's breath.
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

/// The fingerprints the journal knows stages by.
pub fn prints(scores: &[Score]) -> Vec<StagePrint> {
    scores
        .iter()
        .map(|score| StagePrint::of(&score.written_text()))
        .collect()
}

/// The stages as practice knows them: each stage's fingerprint and its rungs.
pub fn planned(drill: &Drill, scores: &[Score]) -> Vec<PlannedStage> {
    PlannedStage::all(drill, prints(scores))
}

/// A timeline that was sent.
#[derive(Debug, Clone)]
pub(super) struct Sent {
    pub(super) serial: u64,
    pub(super) cell: CellKey,
    pub(super) stage: usize,
    pub(super) timeline: Arc<Timeline>,
    /// True where repetitions of it can be marked.
    pub(super) counts: bool,
}

/// Sent timelines that may be on their way at once; more are not heard before the next is sent.
const MOST_SENT: usize = 8;

/// The fields, to be read; only this room changes them.
impl Practising {
    /// The name it is called by.
    pub fn name(&self) -> &str {
        &self.name
    }

    /// The drill.
    pub fn drill(&self) -> &Drill {
        &self.drill
    }

    /// Each stage's score.
    pub fn scores(&self) -> &[Score] {
        &self.scores
    }

    /// Board, marks and session.
    pub fn state(&self) -> &State {
        &self.state
    }

    /// What is heard now.
    pub fn heard(&self) -> Option<&HeardPlace> {
        self.heard.as_ref()
    }

    /// What homework asks for, and in which file.
    pub fn goal(&self) -> Option<&Goal> {
        self.goal.as_ref()
    }

    /// How the tones of the repetition judged last were shaped, the worst first: at most two.
    pub fn shape(&self) -> &[ToneShape] {
        &self.shape
    }

    /// How the dots and snaps of the repetition judged last were pointed.
    pub fn pointing(&self) -> Option<&str> {
        self.pointing.as_deref()
    }

    /// How the bars of each stage went lately.
    pub fn bars(&self) -> &[Vec<BarLine>] {
        &self.bars
    }

    /// Where the player was against the click in the repetition that was heard last.
    pub fn lead(&self) -> Option<&str> {
        self.lead.as_deref()
    }

    /// The cell of the cold try that sounds or comes next.
    pub fn cold(&self) -> Option<CellKey> {
        self.cold
    }

    /// In a session it is due again, and its first try has not been marked yet.
    pub fn due(&self) -> bool {
        self.due
    }
}

impl Practising {
    /// A drill with the journal's marks, which are taken out of what was opened; no session runs yet.
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

    /// Takes in what was said of repetitions, for the bars they were played in.
    /// True where that reaches what homework asks.
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

    /// True for the cell that homework is to reach.
    pub fn is_goal(&self, cell: CellKey) -> bool {
        self.goal.as_ref().is_some_and(|goal| goal.cell == cell)
    }

    /// The homework whose goal the last event cleared, where the drill's own number counts.
    pub(super) fn goal_cleared(&self) -> Option<String> {
        let goal = self.goal.as_ref().filter(|goal| goal.until.is_none())?;
        let cleared = self
            .state
            .news()
            .iter()
            .any(|news| matches!(news, News::Cleared(cell) if goal.is_reached_with(*cell)));
        cleared.then(|| goal.file.clone())
    }

    /// What homework asks for, in words: `real time at 66, 9 of 10`.
    pub fn goal_words(&self) -> Option<String> {
        let goal = self.goal.as_ref()?;
        Some(format!(
            "{}{}",
            self.cell_name(goal.cell),
            goal.until_words()
        ))
    }

    /// The score and the timeline that a serial plays.
    pub fn played_as(&self, serial: u64) -> Option<(&Score, &Timeline)> {
        let sent = self.find(serial)?;
        Some((self.scores.get(sent.stage)?, &sent.timeline))
    }

    /// The stages, from 0, whose music the journal does not know although it knows the drill.
    pub(super) fn edited(&self, opened: &OpenedDrill) -> Vec<usize> {
        edited(self.state.plan(), &opened.played)
    }

    /// The number of the bar that is heard; a pickup is 0.
    pub fn present_bar(&self) -> Option<u16> {
        let place = self.heard.as_ref()?;
        let at = place.in_repetition();
        let bars = &self.scores.get(place.stage)?.bars;
        let bar = bars.iter().rfind(|bar| bar.start.to_f64() <= at);
        Some(bar.map_or(0, |bar| bar.number))
    }

    /// True while sound runs.
    pub fn is_playing(&self) -> bool {
        self.state.phase() == Phase::Playing
    }

    /// True while anything is heard: practice, or what plays once without a mark.
    pub fn is_sounding(&self) -> bool {
        self.is_playing() || self.offers.demo.is_some()
    }

    /// True where a pedal plays and does not mark: nothing sounds, nothing is offered, and what was
    /// heard last has its mark.
    pub fn pedal_plays(&self) -> bool {
        !self.is_sounding() && !self.is_offering() && !self.state.awaits_a_mark()
    }

    /// The stage, from 0, of a cell.
    pub fn stage_of(&self, cell: CellKey) -> Option<usize> {
        self.state.plan().stage_of(cell)
    }

    /// `half beats at 52`, `closing up at 104 ms`.
    pub fn cell_name(&self, cell: CellKey) -> String {
        let name = self
            .stage_of(cell)
            .and_then(|stage| self.drill.stages.get(stage))
            .map_or("a stage of before", |stage| stage.name.as_str());
        format!("{name} at {}", cell.rung.spoken())
    }

    /// The movement the drill takes apart, explained in each context of its last stage; where its
    /// music is written out every movement that stands there, the hardest first.
    pub fn explanations(&self) -> Vec<Explanation> {
        let mut explained: Vec<(Movement, Context)> = Vec::new();
        let found = self.scores.last().map(movements).unwrap_or_default();
        if let Some(line) = &self.drill.movement {
            // in the order of the file; where the last stage still takes it apart, all of them
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

    /// The cell the board is in: what is heard, or where play will begin.
    pub fn cell(&self) -> Option<CellKey> {
        self.state.cell().or_else(|| self.state.upcoming())
    }

    /// The cell whose figures are shown: the next one from its count-in on.
    pub fn shown_cell(&self) -> Option<CellKey> {
        let heard = self.heard.as_ref().filter(|_| self.is_playing());
        let sent = heard.and_then(|place| self.find(place.serial));
        sent.map(|sent| sent.cell).or_else(|| self.cell())
    }

    /// Clean ones in a row there, at most as many as are asked for.
    pub fn streak(&self) -> u32 {
        let state = &self.state;
        let streak = match self.shown_cell() {
            Some(cell) if state.cell() != Some(cell) => state.tally(cell).streak,
            _ => state.streak(),
        };
        streak.min(state.plan().needed())
    }

    /// The stage, from 0, that is shown: what is heard, or where play will begin.
    pub fn stage(&self) -> usize {
        self.heard
            .as_ref()
            .map(|place| place.stage)
            .or_else(|| self.cell().and_then(|cell| self.stage_of(cell)))
            .unwrap_or(0)
    }

    /// The rung that is heard, or on which play will begin.
    pub fn rung(&self) -> Rung {
        self.heard
            .as_ref()
            .map(|place| place.rung)
            .or_else(|| self.cell().map(|cell| cell.rung))
            .unwrap_or(Rung::Tempo(self.drill.ladder.from()))
    }

    /// The tempo that is heard, or at which play will begin.
    pub fn tempo(&self) -> Bpm {
        self.rung().tempo()
    }

    /// Before anything is heard: nothing sounds, the stage's first note comes next.
    pub fn first_sound(&self) -> Sounding {
        self.scores.get(self.stage()).map_or(
            Sounding {
                now: None,
                next: None,
            },
            first_sound,
        )
    }

    /// The timeline of a cell.
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

    /// Where the adaptive ladder goes with a mark, when it moves. A corrected mark takes the step of
    /// the one it corrects back.
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

    /// The repetition played in a cycle.
    pub(super) fn repetition(&self, serial: u64, cycle: u64) -> Option<u64> {
        self.began
            .iter()
            .rev()
            .find(|(key, _)| *key == (serial, cycle))
            .map(|(_, id)| *id)
    }
}
