//! Tests that hold for any sequence of events.

use super::*;

/// Something that may happen at any time, useful or not.
#[derive(Debug, Clone)]
enum Happening {
    Play {
        reference: bool,
    },
    ByHeart(bool),
    Begin(CellKey, u64),
    Close(u64),
    End(u64),
    Press(Mark, Option<u64>),
    Hear(u64, bool, bool),
    Undo,
    Cut,
    Pause,
    Stop,
    Resume,
    Choose(CellKey),
    Tempo(bool),
    Advance,
    Change {
        clean: u32,
        hands_free: bool,
        up: bool,
    },
    Restart,
    Wait(i64),
}

fn any_cell() -> impl Strategy<Value = CellKey> {
    // One stage, two tempi and one length are not on the board.
    prop_oneof![
        3 => (0_u128..4, prop::sample::select(vec![48, 50, 52, 54, 58]))
            .prop_map(|(stage, tempo)| cell(stage, tempo)),
        1 => prop::sample::select(vec![300, 250, 210, 150]).prop_map(opened),
    ]
}

/// A plan with or without stages that open the movement.
fn any_plan() -> impl Strategy<Value = Plan> {
    any::<bool>().prop_map(|opens| if opens { opening_plan() } else { plan() })
}

fn happening() -> impl Strategy<Value = Happening> {
    let mark = prop_oneof![4 => Just(Mark::Clean), 1 => Just(Mark::NotClean)];
    prop_oneof![
        8 => any::<bool>().prop_map(|reference| Happening::Play { reference }),
        2 => any::<bool>().prop_map(Happening::ByHeart),
        1 => (any_cell(), 0_u64..40).prop_map(|(cell, id)| Happening::Begin(cell, id)),
        1 => (0_u64..40).prop_map(Happening::Close),
        3 => (0_u64..40).prop_map(Happening::End),
        10 => (mark, prop::option::weighted(0.2, 0_u64..20)).prop_map(|(mark, id)| Happening::Press(mark, id)),
        2 => (0_u64..40, any::<bool>(), any::<bool>()).prop_map(|(id, playing, clean)| Happening::Hear(id, playing, clean)),
        3 => Just(Happening::Undo),
        1 => Just(Happening::Cut),
        1 => Just(Happening::Pause),
        1 => Just(Happening::Stop),
        1 => Just(Happening::Resume),
        2 => any_cell().prop_map(Happening::Choose),
        1 => any::<bool>().prop_map(Happening::Tempo),
        1 => Just(Happening::Advance),
        1 => (0_u32..4, any::<bool>(), any::<bool>()).prop_map(|(clean, hands_free, up)| Happening::Change { clean, hands_free, up }),
        1 => Just(Happening::Restart),
        2 => (-3000_i64..3000).prop_map(Happening::Wait),
    ]
}

/// A press does what it was said to mean; a pedal that is held down does nothing.
fn means_what_it_does(mark: Mark, means: Option<Meant>, news: &[News]) {
    let has = |wanted: &dyn Fn(&News) -> bool| news.iter().any(wanted);
    if has(&|one| matches!(one, News::HeldDown | News::Chosen(_))) {
        return;
    }
    let marked = has(&|one| matches!(one, News::Marked { mark: told, .. } if *told == mark));
    assert_eq!(marked, means == Some(Meant::Marks), "{means:?}: {news:?}");
    let done = match means {
        None => has(&|one| matches!(one, News::NothingToMark | News::NotCounted(_))),
        Some(Meant::Marks) => marked,
        // A step back that was already taken gives no news.
        Some(Meant::StepsBack(back)) => {
            news.is_empty() || news.contains(&News::StepBackTaken(back))
        }
        Some(Meant::GoesOn(next)) => news.contains(&News::MovesTo(next)),
        Some(Meant::Again) => news == [News::AlreadyMarked(mark)],
    };
    assert!(done, "{means:?}: {news:?}");
}

impl Practice {
    /// True unless the clock was set back to before a closing note.
    fn all_heard(&self) -> bool {
        let session = self.state.session.as_ref();
        let closed_by = |ms| session.and_then(|session| session.closed_by(ms));
        closed_by(self.now_ms) == closed_by(i64::MAX)
    }

    /// A press, which does what it was said to mean.
    fn press_as_told(&mut self, mark: Mark, repetition: Option<u64>) {
        self.later(500);
        let at = self.at();
        let means = self.state.press_means(mark);
        let all_heard = self.all_heard();
        if self.state.awaits_a_mark() {
            assert_eq!(means, Some(Meant::Marks));
        }
        let news = self.tell(Event::Press {
            at,
            mark,
            by: Hand::Key,
            repetition,
        });
        if repetition.is_none() && all_heard {
            means_what_it_does(mark, means, &news);
        }
    }

    fn happen(&mut self, happening: Happening) {
        let at = self.at();
        match happening {
            Happening::Play { reference } => {
                if self.state.upcoming().is_some() {
                    let id = self.begin_with(reference);
                    self.close(id);
                }
            }
            Happening::ByHeart(by_heart) => self.by_heart = by_heart,
            Happening::Begin(cell, id) => {
                self.tell(Event::RepetitionBegan {
                    at,
                    id,
                    cell,
                    reference: false,
                });
            }
            Happening::Close(repetition) => {
                self.tell(Event::ClosingNoteHeard {
                    at,
                    repetition,
                    by_heart: self.by_heart,
                });
            }
            Happening::End(repetition) => {
                self.tell(Event::RepetitionEnded { at, repetition });
            }
            Happening::Press(mark, repetition) => self.press_as_told(mark, repetition),
            Happening::Hear(repetition, playing, clean) => {
                self.hear(repetition, playing, if clean { 35.0 } else { 95.0 });
            }
            Happening::Undo => {
                self.undo();
            }
            Happening::Cut => {
                self.tell(Event::Cut);
            }
            Happening::Pause => {
                self.tell(Event::Paused { at });
            }
            Happening::Stop => {
                self.tell(Event::Stopped { at });
            }
            Happening::Resume => {
                self.tell(Event::Resumed { at });
            }
            Happening::Choose(cell) => {
                self.choose(cell);
            }
            Happening::Tempo(up) => {
                self.tell(Event::TempoStep { at, up });
            }
            Happening::Advance => {
                self.tell(Event::Advance { at });
            }
            Happening::Change {
                clean,
                hands_free,
                up,
            } => {
                let mut plan = self.state.plan().clone();
                plan.clean = clean;
                plan.hands_free = hands_free;
                plan.by_ear = up;
                plan.route = if up { Route::Up } else { Route::Across };
                self.tell(Event::PlanChanged { at, plan });
            }
            Happening::Restart => {
                let session = Uuid::from_u128(100 + self.journal.len() as u128);
                let place = self.state.upcoming();
                self.tell(Event::Started { at, session, place });
            }
            Happening::Wait(milliseconds) => self.later(milliseconds),
        }
    }
}

/// Checks that the board is consistent. Every cell before a done cell is done. Every cell before an
/// open cell is done: the longer or slower rungs of its stage, and the cells of earlier stages at
/// no higher tempo.
fn holds_together(board: &Board) -> Result<(), TestCaseError> {
    let done = |cell: &Cell| matches!(cell.status, Clear | Passed);
    for stage in 0..board.stages() {
        for (place, cell) in board.stage(stage).iter().enumerate() {
            let no_quicker = |before: &&Cell| before.key.rung.tempo() <= cell.key.rung.tempo();
            let mut before =
                (0..stage).flat_map(|stage| board.stage(stage).iter().filter(no_quicker));
            let before_done = before.all(done) && board.stage(stage)[..place].iter().all(done);
            match cell.status {
                Closed => prop_assert!(!before_done),
                Open | Passed | Clear => prop_assert!(before_done, "{:?}", cell.key),
            }
        }
    }
    Ok(())
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(400))]

    /// There is no crash and no lost mark, and the board is the same after a restart.
    #[test]
    fn whatever_happens_the_board_is_the_fold_of_the_journal(
        plan in any_plan(),
        happenings in prop::collection::vec(happening(), 0..120)
    ) {
        let mut practice = Practice::with(plan);
        for happening in happenings {
            practice.happen(happening);
            holds_together(practice.state.board())?;
            if let Some(upcoming) = practice.state.upcoming() {
                prop_assert!(practice.state.plan().stage_of(upcoming).is_some());
            }
        }
        let again = replay(practice.state.plan().clone(), &practice.journal);
        prop_assert_eq!(again.board(), practice.state.board());
        prop_assert_eq!(&again.history, &practice.state.history);
    }

    /// Merging the journals of two computers gives the same board in any order.
    #[test]
    fn the_fold_does_not_depend_on_the_order_of_arrival(
        plan in any_plan(),
        happenings in prop::collection::vec(happening(), 0..80),
        seed in prop::collection::vec(any::<u64>(), 400)
    ) {
        let mut practice = Practice::with(plan);
        for happening in happenings {
            practice.happen(happening);
        }
        let mut mixed: Vec<(u64, Entry)> = seed.into_iter().cycle().zip(practice.journal.clone()).collect();
        mixed.sort_by_key(|(place, entry)| (*place, entry.seq));
        let mut state = replay(practice.state.plan().clone(), &[]);
        for (_, entry) in &mixed {
            state = step(&state, &Event::Stored { foreign: vec![entry.clone()], own: Vec::new() }).0;
        }
        let all = replay(practice.state.plan().clone(), &practice.journal);
        prop_assert_eq!(state.board(), all.board());
        prop_assert_eq!(&state.history, &all.history);
        let unordered = mixed.into_iter().map(|(_, entry)| entry).collect();
        let given_away = replay_all(practice.state.plan().clone(), unordered);
        prop_assert_eq!(given_away, all);
    }

    /// An undo right after a mark leaves no trace of it on the board.
    #[test]
    fn undoing_the_last_mark_restores_the_board(
        plan in any_plan(),
        happenings in prop::collection::vec(happening(), 0..80),
        mark in prop_oneof![Just(Mark::Clean), Just(Mark::NotClean)]
    ) {
        let mut practice = Practice::with(plan);
        for happening in happenings {
            practice.happen(happening);
        }
        if practice.state.phase() != Phase::Playing {
            let at = practice.at();
            practice.tell(Event::Resumed { at });
        }
        practice.play();
        let before = practice.state.board().clone();
        let marks = practice.marks().len();
        practice.press(mark);
        if practice.marks().len() > marks {
            practice.undo();
            let after: Vec<(CellStatus, Tally)> =
                practice.state.board().cells().map(|cell| (cell.status, cell.tally)).collect();
            let before: Vec<(CellStatus, Tally)> =
                before.cells().map(|cell| (cell.status, cell.tally)).collect();
            prop_assert_eq!(after, before);
        }
    }
}
