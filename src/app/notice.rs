//! Turns news of practice into notices: sentences for the player.

use super::practising::Practising;
use crate::practice::{By, CellKey, CellStatus, LATE, Mark, News, NotByEar, Rung, UNSURE};
use crate::wording::{self, visible};

/// A sentence for the player. Control characters that come from a file, a name or a library are
/// made visible.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Notice {
    /// The sentence, without control characters.
    pub text: String,
    /// True where something is wrong and the player may want to act.
    pub urgent: bool,
    /// It is said of one repetition: the next closing note takes it away.
    pub passes: bool,
}

impl Notice {
    /// A notice for information.
    pub fn plain(text: impl Into<String>) -> Self {
        Self {
            text: visible(&text.into()).into_owned(),
            urgent: false,
            passes: false,
        }
    }

    /// A notice that something is wrong.
    pub fn urgent(text: impl Into<String>) -> Self {
        Self {
            text: visible(&text.into()).into_owned(),
            urgent: true,
            passes: false,
        }
    }
}

/// The rank of a piece of news; 0 is the most important. Only the most important news of one event
/// becomes a notice. The board and the figures show the rest.
fn weight(news: &News) -> u8 {
    match news {
        News::NobodyThere => 0,
        News::Complete => 1,
        News::Cleared(_) | News::Uncleared { .. } => 2,
        News::StopsSoon | News::StepBackTaken(_) => 3,
        News::Judged { .. } | News::NotByEar { .. } | News::NotCounted(_) => 4,
        News::StepBackSuggested(_) => 5,
        News::Marked { .. } | News::Undone { .. } => 6,
        News::MovesTo(_) => 8,
        News::OthersWrote(_) => 9,
        _ => 7,
    }
}

/// The one notice for everything that the last event brought.
pub(super) fn told(practising: &Practising) -> Option<Notice> {
    let news = practising.state.news();
    if news
        .iter()
        .any(|one| matches!(one, News::Offers | News::Chosen(_) | News::ColdTry { .. }))
    {
        return None;
    }
    let said = news
        .iter()
        .filter_map(|one| Some((weight(one), sentence(practising, one)?)));
    let passes = |one: &News| matches!(one, News::AlreadyMarked(_) | News::NothingToMark);
    let passes = news.iter().any(passes);
    said.min_by_key(|(weight, _)| *weight)
        .map(|(_, text)| Notice {
            passes,
            ..Notice::plain(text)
        })
}

/// Says that the ladder has no further rung. At the top of a stage that a later stage continues, it
/// also says up to which tempo that stage goes.
fn ladder_ends(practising: &Practising) -> String {
    let plan = practising.state.plan();
    let top = |stage: usize| Some(plan.stages.get(stage)?.rungs.last()?.tempo());
    let at = practising.state.upcoming();
    let at = at.filter(|cell| plan.above(*cell).is_none());
    let stage = at.and_then(|cell| plan.stage_of(cell));
    let goes_on = stage.and_then(|stage| {
        let later = (stage + 1..plan.stages.len()).filter_map(top).max()?;
        (later > top(stage)?).then_some(later)
    });
    match goes_on {
        Some(later) => {
            let later = Rung::Tempo(later).spoken();
            format!("the ladder of this stage ends here; a later stage goes on to {later}")
        }
        None => "the ladder ends here".to_owned(),
    }
}

/// The sentence for a piece of news, with the important word first; none where the board shows it
/// all.
fn sentence(practising: &Practising, news: &News) -> Option<String> {
    let cell = |key: &CellKey| practising.cell_name(*key);
    Some(match news {
        News::ColdTry { .. } | News::Offers | News::Chosen(_) => return None,
        News::StopsSoon => "three not clean in a row: play stops at the bar line".to_owned(),
        News::Marked {
            mark,
            by,
            cell: at,
            repetition,
        } => {
            let who = match by {
                By::Key | By::Pedal => "",
                By::Ear => " (by ear)",
                By::Assumed => " (assumed)",
            };
            let needed = practising.state.plan().needed();
            match mark {
                Mark::Clean => {
                    let tally = practising.state.tally(*at);
                    let streak = tally.streak.min(needed);
                    if practising.state.was_by_heart(*at, *repetition) && *by != By::Assumed {
                        let count = tally.by_heart;
                        format!(
                            "clean by heart{who}: {count} so far, {streak} of {needed} in a row"
                        )
                    } else {
                        format!("clean{who}: {streak} of {needed} in a row")
                    }
                }
                Mark::NotClean => match practising.state.suggestion() {
                    _ if practising.state.stops_soon() => format!("not clean{who}"),
                    Some(back) => format!("not clean{who}; n steps back to {}", cell(&back)),
                    None => format!("not clean{who}: the row begins again"),
                },
            }
        }
        News::Cleared(key) if practising.goal_cleared().is_some() => {
            format!("homework reached: {}", cell(key))
        }
        News::Cleared(key) => match practising.state.named().filter(|next| next != key) {
            Some(next) => format!("clear; next: {}", cell(&next)),
            None => format!("clear: {}", cell(key)),
        },
        News::Uncleared { cell: at, now } => match now {
            CellStatus::Open => format!("open again: {}", cell(at)),
            _ => format!("no longer clear: {}", cell(at)),
        },
        News::MovesTo(key) => format!("next: {}", cell(key)),
        News::StepBackSuggested(key) => format!("step back? n takes {}", cell(key)),
        News::StepBackTaken(key) => format!("back to {}", cell(key)),
        News::Complete => "every cell of this drill is clear".to_owned(),
        News::Undone { cell: at, .. } => format!("taken back: the last mark in {}", cell(at)),
        News::NothingToUndo => "there is no mark to take back".to_owned(),
        News::NothingToMark => "no repetition has come to its closing note yet".to_owned(),
        News::AlreadyMarked(mark) => {
            let said = match mark {
                Mark::Clean => "clean",
                Mark::NotClean => "not clean",
            };
            format!("marked {said} already; u takes it back")
        }
        // only the worst is named, because two would not fit the line
        News::Judged { verdict, .. } => verdict.work_on().first()?.words.clone(),
        News::HeldDown | News::Void(_) => return None,
        News::NotCounted(_) => LATE.to_owned(),
        News::NobodyThere => "paused: six assumed clean and no key or pedal was touched".to_owned(),
        News::NotByEar { why, .. } => match why {
            NotByEar::ReferenceSounded => {
                "not marked by ear: the microphone heard the reference".to_owned()
            }
            NotByEar::SilentPlayer => "not marked: nothing was heard of you".to_owned(),
            NotByEar::Unsure => UNSURE.to_owned(),
            NotByEar::SoundLost => LATE.to_owned(),
            NotByEar::Off | NotByEar::NoSuchRepetition | NotByEar::MarkedByHand => return None,
        },
        News::LadderEnds => ladder_ends(practising),
        News::UnknownStage(_) => "this drill has no such stage".to_owned(),
        News::OthersWrote(count) => others_wrote(*count),
    })
}

fn others_wrote(count: usize) -> String {
    let came = wording::count(count, "mark came in", "marks came in");
    format!("{came} from another window")
}

/// How long a notice is shown before news that can wait may replace it, in milliseconds. Chosen.
const STANDS_MS: i64 = 1500;

/// Marks from another window that arrived while another notice was shown. They wait, because a
/// player who marks every repetition always has another notice and would never learn that two
/// windows are open.
#[derive(Debug, Clone, Default)]
pub(super) struct Others {
    count: usize,
    /// The notice that is shown meanwhile, and since when, in milliseconds.
    behind: Option<(Notice, i64)>,
}

impl Others {
    pub(super) fn wait(&mut self, count: usize) {
        self.count += count;
    }

    /// The news of the other window, once no other notice is shown or the shown one has stood for
    /// [`STANDS_MS`].
    pub(super) fn told(&mut self, said: Option<&Notice>, now_ms: i64) -> Option<Notice> {
        if self.count == 0 {
            return None;
        }
        if let Some(said) = said {
            let since = self.behind.as_ref().filter(|(behind, _)| behind == said);
            let Some((_, since_ms)) = since else {
                self.behind = Some((said.clone(), now_ms));
                return None;
            };
            if said.urgent || now_ms - since_ms < STANDS_MS {
                return None;
            }
        }
        let Self { count, .. } = std::mem::take(self);
        Some(Notice::plain(others_wrote(count)))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// News of the other window must not be held back for ever by the player's own marks.
    #[test]
    fn marks_of_another_window_wait_for_what_is_said() {
        let mut others = Others::default();
        let [one, two] = ["clean: 1 of 5 in a row", "clean: 3 of 5 in a row"].map(Notice::plain);
        assert_eq!(others.told(None, 0), None);
        others.wait(1);
        assert_eq!(others.told(Some(&one), 1000), None);
        assert_eq!(others.told(Some(&one), 2499), None);
        // a different notice is shown for the full time again
        assert_eq!(others.told(Some(&two), 2500), None);
        others.wait(2);
        assert_eq!(others.told(Some(&two), 3999), None);
        let told = others.told(Some(&two), 4000).expect("it stood long enough");
        assert_eq!(told.text, "3 marks came in from another window");
        assert_eq!(others.told(Some(&told), 9000), None);
        // an urgent notice is shown until its cause is mended
        others.wait(1);
        let wrong = Notice::urgent("the journal cannot be written");
        assert_eq!(others.told(Some(&wrong), 10_000), None);
        assert_eq!(others.told(Some(&wrong), 20_000), None);
        assert!(others.told(None, 20_001).is_some());
    }
    use crate::app::{OpenedDrill, Options};
    use crate::drill::{BUILT_IN, read};
    use crate::practice::{Event, Moment, step};
    use crate::practice::{Hand, RecordId};
    use uuid::Uuid;

    /// A built-in drill as it is when opened for the first time.
    fn opened(name: &str, text: &str) -> Practising {
        let mut opened = OpenedDrill::new(name, read(text.as_bytes()).0.expect("built in"));
        Practising::new(&mut opened, &Options::default())
    }

    /// Every piece of news about a cell.
    fn all_news(cell: CellKey) -> Vec<News> {
        let mut all = vec![
            News::Cleared(cell),
            News::MovesTo(cell),
            News::StepBackSuggested(cell),
            News::StepBackTaken(cell),
            News::StopsSoon,
            News::Complete,
            News::Undone {
                cell,
                mark: RecordId {
                    session: Uuid::nil(),
                    number: 0,
                },
            },
            News::NothingToUndo,
            News::NothingToMark,
            News::HeldDown,
            News::Void(1),
            News::NotCounted(1),
            News::NobodyThere,
            News::LadderEnds,
            News::OthersWrote(12_345),
        ];
        for mark in [Mark::Clean, Mark::NotClean] {
            all.push(News::AlreadyMarked(mark));
            for by in [By::Key, By::Pedal, By::Ear, By::Assumed] {
                all.push(News::Marked {
                    cell,
                    repetition: 1,
                    mark,
                    by,
                });
            }
        }
        for now in [CellStatus::Open, CellStatus::Closed] {
            all.push(News::Uncleared { cell, now });
        }
        for why in [
            NotByEar::ReferenceSounded,
            NotByEar::SilentPlayer,
            NotByEar::Unsure,
            NotByEar::SoundLost,
        ] {
            all.push(News::NotByEar { repetition: 1, why });
        }
        all
    }

    fn rows(text: &str, width: usize) -> usize {
        textwrap::wrap(text, width).len()
    }

    /// A notice that is cut off at the edge says nothing. Every notice, for every cell of every
    /// built-in drill, takes one row at 80 columns and at most two rows at 40 columns.
    #[test]
    fn every_sentence_fits_its_row() {
        for file in BUILT_IN {
            let practising = opened(file.name, file.text);
            let cells: Vec<CellKey> = practising
                .state
                .board()
                .cells()
                .map(|cell| cell.key)
                .collect();
            for cell in cells {
                for news in all_news(cell) {
                    let Some(text) = sentence(&practising, &news) else {
                        continue;
                    };
                    assert_eq!(rows(&text, 78), 1, "{text}");
                    assert!(rows(&text, 38) <= 2, "{text}");
                    assert!(!text.contains(" · "), "{text}");
                }
            }
        }
    }

    /// Where a stage's ladder stops below the drill's top tempo, the notice says that a later stage
    /// goes on.
    #[test]
    fn the_top_of_a_stage_that_is_left_for_a_later_one_says_so() {
        let text = "title: T\nmetre: 2/4\nunit: 1/8\nstages:\n  \
            - {name: one, music: \"A2 B2|\", up_to: 63}\n  - {name: two, music: \"B2 c2|\"}\n\
            ladder: {from: 60, to: 66, step: 3}\n";
        let at = Moment {
            utc_us: 0,
            offset_s: 0,
            heard_ms: 0,
        };
        let plain = "the ladder ends here";
        let on = "the ladder of this stage ends here; a later stage goes on to 66";
        for (stage, rung, up, expected) in
            [(0, 1, true, on), (0, 0, false, plain), (1, 2, true, plain)]
        {
            let mut practising = opened("t", text);
            let place = practising.state.plan().key(stage, rung);
            let session = Uuid::from_u128(1);
            let started = Event::Started { at, session, place };
            let stepped = Event::TempoStep { at, up };
            for event in [started, stepped] {
                practising.state = step(&practising.state, &event).0;
            }
            let said = told(&practising).map(|notice| notice.text);
            assert_eq!(said.as_deref(), Some(expected), "{stage} {rung}");
        }
    }

    /// One event gives one sentence: a mark that clears a cell says that the cell is clear and
    /// where play goes next.
    #[test]
    fn what_comes_together_is_said_once() {
        let file = BUILT_IN.first().expect("a drill");
        let mut practising = opened(file.name, file.text);
        let at = |heard_ms| Moment {
            utc_us: heard_ms * 1000,
            offset_s: 0,
            heard_ms,
        };
        let cell = practising.state.board().cells().next().expect("a cell").key;
        let mut said = Vec::new();
        let happen = |practising: &mut Practising, event: Event| {
            let (state, _) = step(&practising.state, &event);
            practising.state = state;
            told(practising).map(|notice| notice.text)
        };
        happen(
            &mut practising,
            Event::Started {
                at: at(0),
                session: Uuid::from_u128(1),
                place: Some(cell),
            },
        );
        happen(&mut practising, Event::Resumed { at: at(1) });
        for id in 0..5_u64 {
            let now = 10_000 * (id as i64 + 1);
            let id = practising.state.next_repetition().max(id);
            happen(
                &mut practising,
                Event::RepetitionBegan {
                    at: at(now),
                    id,
                    cell,
                    reference: true,
                },
            );
            happen(
                &mut practising,
                Event::ClosingNoteHeard {
                    at: at(now + 4000),
                    repetition: id,
                    by_heart: false,
                },
            );
            said.extend(happen(
                &mut practising,
                Event::Press {
                    at: at(now + 4500),
                    mark: Mark::Clean,
                    by: Hand::Pedal,
                    repetition: None,
                },
            ));
        }
        assert_eq!(
            said[..4],
            [1, 2, 3, 4].map(|streak| format!("clean: {streak} of 5 in a row"))
        );
        assert!(said[4].starts_with("clear; next: "), "{said:?}");
    }
}
