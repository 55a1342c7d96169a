//! The first start: four questions. Each has a usual answer, which Enter takes.

/// A question with its answers; the first is the usual one.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Question {
    /// What is asked.
    pub asks: &'static str,
    /// The answers, each with its meaning in a few words.
    pub answers: &'static [(&'static str, &'static str)],
}

/// The questions, in their order.
pub const QUESTIONS: [Question; 4] = [
    Question {
        asks: "What do you play on?",
        answers: &[
            ("practice chanter", "low A near 236 Hz"),
            ("pipes", "low A near 480 Hz"),
        ],
    },
    Question {
        asks: "Which hand is on top?",
        answers: &[
            ("left", "as most players hold it"),
            ("right", "the pictures change hands"),
        ],
    },
    Question {
        asks: "How will you say what was clean?",
        answers: &[
            ("keys", "enter is clean, x is not"),
            ("pedal", "a page-turn pedal: right is clean, left is not"),
            ("ear", "the microphone says it; keys and pedals overrule it"),
        ],
    },
    Question {
        asks: "Do you wear headphones?",
        answers: &[
            (
                "no",
                "what the loudspeaker plays is heard by the microphone too",
            ),
            ("yes", "the microphone hears you alone; keep them quiet"),
        ],
    },
];

/// The state of the first start's questions.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct FirstStart {
    /// The question that is asked, from 0; equal to the number of questions once all are answered.
    pub(super) at: usize,
    /// The place of the marked answer of each question, from 0.
    pub(super) marked: [usize; QUESTIONS.len()],
}

/// Read access to the fields. Only this room changes them.
impl FirstStart {
    /// The question that is asked, from 0; equal to the number of questions once all are answered.
    pub fn at(&self) -> usize {
        self.at
    }

    /// The place of the marked answer of each question, from 0.
    pub fn marked(&self) -> [usize; QUESTIONS.len()] {
        self.marked
    }
}

impl FirstStart {
    /// The question that is asked; none once all are answered.
    pub fn question(&self) -> Option<Question> {
        QUESTIONS.get(self.at).copied()
    }

    /// The place of the marked answer of the present question, from 0.
    pub fn answer(&self) -> usize {
        self.marked.get(self.at).copied().unwrap_or(0)
    }

    /// True once all questions are answered.
    pub fn is_over(&self) -> bool {
        self.at >= QUESTIONS.len()
    }

    /// Moves the mark down by this many answers; a negative number moves it up.
    pub fn move_by(&mut self, lines: i32) {
        let Some(question) = self.question() else {
            return;
        };
        let last = question.answers.len() as i32 - 1;
        let wanted = self.answer() as i32 + lines;
        if let Some(marked) = self.marked.get_mut(self.at) {
            *marked = usize::try_from(wanted.clamp(0, last)).unwrap_or(0);
        }
    }

    /// Takes the marked answer and goes on to the next question.
    pub fn take(&mut self) {
        self.at += usize::from(!self.is_over());
    }

    /// Marks the next answer, behind the last the first again: what one pedal can do.
    pub fn move_on(&mut self) {
        let answer = self.answer();
        self.move_by(1);
        if self.answer() == answer {
            self.move_by(i32::MIN / 2);
        }
    }

    /// Back to the question before.
    pub fn back(&mut self) {
        self.at = self.at.saturating_sub(1);
    }

    /// Takes the usual answer to this question and all that follow.
    pub fn skip_all(&mut self) {
        for marked in self.marked.iter_mut().skip(self.at) {
            *marked = 0;
        }
        self.at = QUESTIONS.len();
    }

    /// The answers that differ from the usual ones, as names and values of settings.
    pub fn settings(&self) -> Vec<(&'static str, &'static str)> {
        let [instrument, hand, marking, headphones] = self.marked;
        [
            (instrument == 1).then_some(("instrument", "\"pipes\"")),
            (hand == 1).then_some(("left-handed", "true")),
            (marking == 2).then_some(("mark-by", "\"ear\"")),
            (headphones == 1).then_some(("headphones", "true")),
        ]
        .into_iter()
        .flatten()
        .collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::settings::{Source, read};

    /// Pressing Enter four times sets nothing, and every other answer is a setting that can be
    /// read.
    #[test]
    fn enter_skips_and_every_answer_is_a_setting() {
        let mut first = FirstStart::default();
        for _ in QUESTIONS {
            first.take();
        }
        assert!(first.is_over() && first.settings().is_empty());
        let most = FirstStart {
            at: 4,
            marked: QUESTIONS.map(|question| question.answers.len() - 1),
        };
        assert_eq!(most.settings().len(), 4);
        let file: String = most
            .settings()
            .iter()
            .map(|(name, value)| format!("{name} = {value}\n"))
            .collect();
        let (_, problems) = read(Source {
            file: Some(&file),
            ..Source::default()
        });
        assert!(problems.is_empty(), "{problems:?}");
    }

    #[test]
    fn answers_are_marked_within_their_question_and_taken_back() {
        let mut first = FirstStart::default();
        first.move_by(5);
        assert_eq!(first.answer(), 1);
        first.take();
        first.move_by(-1);
        assert_eq!((first.at, first.answer()), (1, 0));
        first.back();
        assert_eq!(first.answer(), 1, "what was marked stays marked");
        first.skip_all();
        assert!(first.is_over() && first.settings().is_empty());
    }
}
