//! Playing from memory: how much of the music is hidden, how marks hide more or less of it, and
//! which repetitions count as played by heart.

use super::practising::{Memory, Practising};
use crate::drill::{BarRange, Hiding, hidden_bars, hidden_in_turn, hidden_phrases};
use crate::practice::{By, Mark, News};
use crate::score::NoteId;
use crate::wording;
use std::collections::BTreeSet;

impl Practising {
    /// The phrases of the shown stage; its single bars where the stage is only one phrase.
    fn phrases(&self) -> Vec<BarRange> {
        let stage = self.drill.stages.get(self.stage());
        stage.map_or_else(Vec::new, |stage| {
            hidden_in_turn(&stage.music, self.drill.phrasing(stage).phrases)
        })
    }

    /// Tells for each written bar of the shown stage whether it is hidden.
    fn hidden_bars(&self) -> Vec<bool> {
        let Memory { hiding, from, .. } = self.memory;
        let stage = self.drill.stages.get(self.stage());
        match stage.filter(|_| hiding != Hiding::Nothing) {
            Some(stage) => hidden_bars(&stage.music, &self.phrases(), hiding, from),
            None => Vec::new(),
        }
    }

    /// True where all of the music is hidden, so that a repetition counts as played by heart. The
    /// reference is silent then.
    pub fn is_by_heart(&self) -> bool {
        let hidden = self.hidden_bars();
        !hidden.is_empty() && hidden.iter().all(|hidden| *hidden)
    }

    /// The melody notes that are hidden.
    pub fn hidden_notes(&self) -> BTreeSet<NoteId> {
        let hidden = self.hidden_bars();
        let Some(score) = self.scores.get(self.stage()).filter(|_| !hidden.is_empty()) else {
            return BTreeSet::new();
        };
        let is_hidden = |bar: usize| {
            let written = score.bars.get(bar).map(|bar| bar.written);
            written.is_some_and(|written| hidden.get(written) == Some(&true))
        };
        let notes = score.notes.iter().filter(|note| is_hidden(note.bar));
        notes.map(|note| NoteId { pass: 1, ..note.id }).collect()
    }

    /// The present kind of hiding in words; none where nothing is hidden.
    pub fn hiding_words(&self) -> Option<&'static str> {
        match self.memory.hiding {
            Hiding::Nothing => None,
            _ if self.is_by_heart() => Some("by heart"),
            Hiding::Half => Some("half hidden"),
            Hiding::Phrase | Hiding::All => {
                let bars = self.phrases().iter().all(|range| range.first == range.last);
                Some(if bars {
                    "a bar hidden"
                } else {
                    "a phrase hidden"
                })
            }
        }
    }

    /// The number of clean repetitions by heart in the shown cell; none unless all of its music is
    /// hidden.
    pub fn clean_by_heart(&self) -> Option<u32> {
        let cell = self.cell().filter(|_| self.is_by_heart())?;
        Some(self.state.tally(cell).by_heart)
    }

    /// The sentence that says what is hidden.
    fn memory_words(&self) -> String {
        let phrases = self.phrases();
        let Memory { hiding, from, .. } = self.memory;
        if hiding == Hiding::Nothing {
            return "all of the music is shown".to_owned();
        }
        if self.is_by_heart() {
            return "all is hidden: alone and by heart, clean counts as its own".to_owned();
        }
        let hidden = hidden_phrases(phrases.len(), hiding, from);
        let hidden = hidden.into_iter().filter_map(|at| phrases.get(at));
        let hidden: Vec<BarRange> = hidden.copied().collect();
        let (what, like) = match hidden.as_slice() {
            [one] if one.first == one.last => (one.spoken(), "it"),
            [one] => (one.spoken(), "them"),
            several => {
                let words: Vec<String> = several.iter().map(ToString::to_string).collect();
                (format!("bars {}", wording::list(&words)), "them")
            }
        };
        format!("hidden: {what} and all like {like}; V begins elsewhere")
    }

    fn hide(&mut self, hiding: Hiding) {
        self.memory.hiding = hiding;
        if !self.is_by_heart() {
            self.memory.unseen = None;
        }
    }

    /// Remembers that a repetition begins, and whether all its music is hidden.
    pub(super) fn begin_from_memory(&mut self, repetition: u64) {
        self.memory.unseen = self.is_by_heart().then_some(repetition);
    }

    /// True where all the music stayed hidden from the beginning of this repetition to its closing
    /// note.
    pub(super) fn closes_by_heart(&self, repetition: u64) -> bool {
        self.memory.unseen == Some(repetition)
    }

    /// Adapts the hiding to the last mark: a clean repetition hides more and one that is not clean
    /// hides less, so that two pedals lead through the tune. Where every cell of a tune is clear, a
    /// clean repetition starts the hiding. Returns the sentence that says what is hidden, where
    /// that has changed.
    pub(super) fn follow_marks(&mut self) -> Option<String> {
        let news = self.state.news();
        let was_clear = self.state.board().is_complete() && !news.contains(&News::Complete);
        let before = self.memory.hiding;
        let now = news.iter().find_map(|one| match one {
            News::Marked {
                repetition,
                mark,
                by,
                ..
            } if *by != By::Assumed => Some((*repetition, *mark)),
            _ => None,
        });
        let undone = news.iter().any(|one| matches!(one, News::Undone { .. }));
        let phrases = self.phrases().len();
        if let Some((repetition, mark)) = now {
            let from = match self.memory.stepped {
                Some((last, from)) if last == repetition => from,
                _ => before,
            };
            let begins = self.drill.is_tune() && was_clear;
            let hiding = match mark {
                Mark::Clean if from != Hiding::Nothing || begins => from.more(phrases),
                Mark::Clean => from,
                Mark::NotClean => from.less(phrases),
            };
            self.memory.stepped = Some((repetition, from));
            self.hide(hiding);
        } else if undone && let Some((_, from)) = self.memory.stepped.take() {
            self.hide(from);
        }
        (self.memory.hiding != before).then(|| match self.hiding_words() {
            None => "all is shown again".to_owned(),
            Some(words) => format!("now {words}"),
        })
    }

    /// Hides the next larger part of the music, or shows everything where all was hidden. Returns
    /// the sentence that says what is hidden.
    pub(super) fn hide_more(&mut self) -> String {
        self.memory.stepped = None;
        let hiding = match self.memory.hiding {
            Hiding::All => Hiding::Nothing,
            hiding => hiding.more(self.phrases().len()),
        };
        self.hide(hiding);
        self.memory_words()
    }

    /// Moves the hidden part to the next phrase, or hides the first phrase where nothing was
    /// hidden. Returns the sentence that says what is hidden.
    pub(super) fn hide_elsewhere(&mut self) -> String {
        if self.memory.hiding == Hiding::Nothing {
            return self.hide_more();
        }
        let phrases = self.phrases().len().max(1);
        self.memory.from = (self.memory.from + 1) % phrases;
        self.memory_words()
    }
}
