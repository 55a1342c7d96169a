//! News of practice as sentences for the player.

use super::practising::Practising;
use crate::practice::{By, CellKey, CellStatus, LATE, Mark, News, NotByEar, UNSURE};
use crate::wording::{self, visible};

/// A sentence for the player. What a file, a name or a library put into it can be seen.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Notice {
    /// The sentence.
    pub text: String,
    /// Something is wrong and the player may want to act.
    pub urgent: bool,
}

impl Notice {
    /// Something to know.
    pub fn plain(text: impl Into<String>) -> Self {
        Self {
            text: visible(&text.into()).into_owned(),
            urgent: false,
        }
    }

    /// Something that is wrong.
    pub fn urgent(text: impl Into<String>) -> Self {
        Self {
            text: visible(&text.into()).into_owned(),
            urgent: true,
        }
    }
}

/// How a sentence about other programs' marks ends.
pub(super) const OTHERS: &str = "from another window";

fn is_cold_try(news: &News) -> bool {
    matches!(news, News::ColdTry { .. })
}

/// The sentence for a piece of news; nothing where another sentence says it better.
pub(super) fn sentence(practising: &Practising, news: &News) -> Option<Notice> {
    let cell = |key: &CellKey| practising.cell_name(*key);
    let text = match news {
        // What came of a cold try is said instead.
        News::Marked { .. } if practising.state.news().iter().any(is_cold_try) => return None,
        News::ColdTry { .. } | News::Offers | News::Chosen(_) => return None,
        News::StopsSoon => "three not clean in a row: play stops at the bar line".to_owned(),
        News::Marked {
            mark, by, cell: at, ..
        } => {
            let said = match mark {
                Mark::Clean => "clean",
                Mark::NotClean => "not clean",
            };
            let who = match by {
                By::Key | By::Pedal => "",
                By::Ear => " (by ear)",
                By::Assumed => " (assumed)",
            };
            let tally = practising.state.tally(*at);
            let needed = practising.state.plan().needed();
            let run = match mark {
                Mark::Clean => format!(": {} of {needed} in a row", tally.streak.min(needed)),
                Mark::NotClean => match practising.state.suggestion() {
                    _ if practising.state.stops_soon() => String::new(),
                    Some(back) => format!("; n steps back to {}", cell(&back)),
                    None => format!(" in {}: the row begins again", cell(at)),
                },
            };
            format!("{said}{who}{run}")
        }
        News::Cleared(key) => {
            let next = practising
                .state
                .named()
                .filter(|next| next != key)
                .map_or_else(String::new, |next| {
                    format!("; next: {}", practising.cell_name(next))
                });
            format!("{} is clear{next}", cell(key))
        }
        News::Uncleared { cell: at, now } => match now {
            CellStatus::Open => format!("{} is open again", cell(at)),
            _ => format!("{} is no longer clear", cell(at)),
        },
        News::MovesTo(key) => format!("next: {}", cell(key)),
        News::StepBackSuggested(key) => format!(
            "step back to {}? not clean again, now, or n takes it",
            cell(key)
        ),
        News::StepBackTaken(key) => format!("back to {}", cell(key)),
        News::Complete => "every cell of this drill is clear".to_owned(),
        News::Undone { cell: at, .. } => format!("the last mark in {} is taken back", cell(at)),
        News::NothingToUndo => "there is no mark to take back".to_owned(),
        News::NothingToMark => "no repetition has come to its closing note yet".to_owned(),
        News::AlreadyMarked(mark) => format!(
            "this repetition is marked {} already; u takes it back",
            match mark {
                Mark::Clean => "clean",
                Mark::NotClean => "not clean",
            }
        ),
        News::Judged { verdict, .. } => {
            // the worst is named before the mark; two would not fit the line
            verdict.work_on().first()?.words.clone()
        }
        News::HeldDown | News::Void(_) => return None,
        News::NotCounted(_) => LATE.to_owned(),
        News::NobodyThere => {
            "paused: six repetitions were assumed clean and no key was touched".to_owned()
        }
        News::NotByEar { why, .. } => match why {
            NotByEar::ReferenceSounded => {
                "not marked by ear: the microphone heard the reference".to_owned()
            }
            NotByEar::SilentPlayer => "not marked: nothing was heard of you".to_owned(),
            NotByEar::Unsure => UNSURE.to_owned(),
            NotByEar::SoundLost => LATE.to_owned(),
            NotByEar::Off | NotByEar::NoSuchRepetition | NotByEar::MarkedByHand => return None,
        },
        News::LadderEnds => "the ladder ends here".to_owned(),
        News::UnknownStage(_) => "this drill has no such stage".to_owned(),
        News::OthersWrote(count) => format!(
            "{} {OTHERS}",
            wording::count(*count, "mark came in", "marks came in")
        ),
    };
    Some(Notice::plain(text))
}
