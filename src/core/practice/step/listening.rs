//! Marks by ear.

use super::super::entry::{By, Kind, Moment, Record};
use super::super::event::{News, NotByEar};
use super::super::measurement::Measurement;
use super::super::state::State;
use super::super::verdict::judge;
use super::Said;

impl State {
    pub(super) fn listen(
        &mut self,
        at: Moment,
        repetition: u64,
        measured: &Measurement,
        records: &mut Vec<Record>,
    ) {
        let Some(session) = &self.session else {
            return;
        };
        let closed = session.closed(repetition);
        let hand = self.is_marked_by_hand(repetition);
        if measured.playing {
            self.someone_is_there();
        }
        if closed.is_some_and(|closed| closed.late) {
            let why = NotByEar::SoundLost;
            self.news.push(News::NotByEar { repetition, why });
            return;
        }
        let limits = closed.map_or(self.plan.thresholds, |closed| {
            self.plan.thresholds_of(closed.cell)
        });
        let verdict = judge(measured, &limits);
        let mark = verdict.mark;
        self.news.push(News::Judged {
            repetition,
            verdict,
        });
        let Some(closed) = closed else {
            let why = NotByEar::NoSuchRepetition;
            self.news.push(News::NotByEar { repetition, why });
            return;
        };
        let why = match mark {
            None if measured.playing => NotByEar::Unsure,
            None => NotByEar::SilentPlayer,
            _ if !self.plan.by_ear => NotByEar::Off,
            _ if closed.reference && (!self.plan.headphones || measured.is_our_own()) => {
                NotByEar::ReferenceSounded
            }
            _ if hand => NotByEar::MarkedByHand,
            Some(mark) => {
                self.mark(at, closed, mark, By::Ear, Some(measured), records);
                return;
            }
        };
        self.news.push(News::NotByEar { repetition, why });
        if matches!(why, NotByEar::Off | NotByEar::MarkedByHand) {
            let kind = Kind::Measured { repetition };
            let mut said = Said::new(kind, Some(closed.cell), Some(By::Ear));
            said.thresholds = limits.to_json();
            said.measures = measured.to_json();
            self.write(at, said, records);
        }
    }

    /// Handles lost sound, which says nothing about the player. It is reported only when no hand
    /// has marked the repetition.
    pub(super) fn lose_what_was_heard(&mut self, repetition: u64) {
        if !self.is_marked_by_hand(repetition) {
            let why = NotByEar::SoundLost;
            self.news.push(News::NotByEar { repetition, why });
        }
    }

    pub(super) fn is_marked_by_hand(&self, repetition: u64) -> bool {
        let Some(session) = &self.session else {
            return false;
        };
        session
            .closed(repetition)
            .and_then(|closed| self.history.mark_of(closed.cell, session.id, repetition))
            .is_some_and(|line| line.by.is_hand())
    }
}
