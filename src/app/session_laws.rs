//! Laws of a whole session with two pedals and a fast clock: messages go in, effects and the model
//! come out.

use super::practice_laws::Player;
use super::{Came, Effect, HomeworkGoal, Message, Page, Session, SessionPlan, Stands};
use crate::app::Action;
use crate::planning::{Item, SessionPart, Why};
use crate::practice::{Mark, Rung};
use crate::units::Bpm;

pub(super) const TODAY: i64 = 20_000;

pub(super) fn tempo(beats: i128) -> Rung {
    Rung::Tempo(Bpm::whole(beats).expect("a tempo"))
}

pub(super) fn cell(kind: Why, stage_number: usize, rung: Rung, minutes: u32) -> SessionPart {
    SessionPart::Cell(Box::new(Item {
        open: "ours".to_owned(),
        task: None,
        title: "Ours".to_owned(),
        stage: "full beats".to_owned(),
        stage_number,
        rung,
        minutes,
        kind,
        why: String::new(),
    }))
}

/// Plays the shell's part: opens the drill that an effect asks for, in the cell it asks for.
pub(super) fn answers(player: &mut Player, effects: &[Effect], cleared: &[(usize, i64)]) {
    for effect in effects {
        match effect {
            Effect::OpenAt {
                name, stage, rung, ..
            } => {
                let mut opened = Player::drill(cleared, Some(*stage));
                opened.rung = Some(*rung);
                opened.goal = (name == "week3.yaml").then(|| HomeworkGoal {
                    stage: *stage,
                    rung: *rung,
                    file: name.clone(),
                    until: None,
                });
                let effects = player.tell(Message::Opened(Box::new(opened)));
                assert!(
                    effects.iter().any(|effect| matches!(effect, Effect::Start)),
                    "a part that is begun plays"
                );
            }
            Effect::WarmUp(_) | Effect::Hear(_) => {
                let effects = player.tell(Message::AsideOver {
                    left: false,
                    trouble: None,
                });
                answers(player, &effects, cleared);
            }
            _ => {}
        }
    }
}

#[track_caller]
pub(super) fn session(player: &Player) -> &Session {
    player.model.session.as_ref().expect("a session")
}

/// Where three slips stop play, the same cell is played again.
pub(super) fn goes_on_where_it_stops(player: &mut Player) {
    let practising = player.model.practising.as_ref();
    if practising.is_some_and(super::Practising::is_offering) {
        player.tell(Message::Act(Action::PlayOrPause));
    }
}

pub(super) fn right(player: &mut Player) -> Vec<Effect> {
    player.tell(Message::Act(Action::BeginPart))
}

/// Plays a repetition with its breath, and marks it by a pedal where the page still takes a mark.
pub(super) fn plays(player: &mut Player, mark: Mark) {
    player.plays();
    player.press(mark);
    if player.model.page == Page::Practise {
        player.breathes();
    }
}

/// The player needs no hand for a whole session. A due cell gets its result and the day on which it
/// comes again from its first try. A climb ends with its minutes and cuts no repetition off.
/// Reaching a homework's goal is announced at once. The last page lists all results.
#[test]
fn a_session_runs_by_two_pedals() {
    let cleared = [(0, TODAY - 1)];
    let mut player = Player::on(TODAY);
    let mut homework = cell(Why::Homework, 2, tempo(50), 5);
    if let SessionPart::Cell(item) = &mut homework {
        item.open = "week3.yaml".to_owned();
    }
    let parts = vec![
        SessionPart::WarmUp(3),
        cell(Why::Cold, 1, tempo(60), 1),
        cell(Why::Climbing, 2, tempo(50), 1),
        homework,
        cell(Why::New, 3, tempo(60), 2),
    ];
    player.tell(Message::Session(SessionPlan {
        parts,
        ..SessionPlan::default()
    }));
    assert_eq!(player.model.page, Page::Session);
    let effects = right(&mut player);
    let warms = |effect: &Effect| matches!(effect, Effect::WarmUp(3));
    assert!(effects.iter().any(warms));
    answers(&mut player, &effects, &cleared);
    assert_eq!(session(&player).outcomes[0].came, Came::Done);
    // the pause ends by itself
    let mut waited = 0;
    loop {
        let effects = player.tell(Message::Tick);
        waited += 1;
        if effects
            .iter()
            .any(|effect| matches!(effect, Effect::OpenAt { .. }))
        {
            answers(&mut player, &effects, &cleared);
            break;
        }
        assert!(waited < 20, "it never begins");
    }
    assert!((6..=9).contains(&waited), "{waited} s");
    plays(&mut player, Mark::Clean);
    assert_eq!(player.model.page, Page::Session, "a cold try is one");
    let Came::Held(when) = &session(&player).outcomes[1].came else {
        panic!("{:?}", session(&player).outcomes[1]);
    };
    assert!(when.starts_with("comes again "), "{when}");
    // the climb ends with its minutes, but only after a repetition
    let effects = right(&mut player);
    answers(&mut player, &effects, &cleared);
    let mut played = 0;
    while player.model.page == Page::Practise {
        plays(&mut player, Mark::NotClean);
        player.press(Mark::Clean);
        played += 1;
        goes_on_where_it_stops(&mut player);
        assert!(played < 100, "its minute is never over");
    }
    assert!(matches!(
        session(&player).outcomes[2].came,
        Came::Worked { .. } | Came::Climbed(_)
    ));
    // the homework part ends once its goal is reached
    let effects = right(&mut player);
    answers(&mut player, &effects, &cleared);
    for _ in 0..5 {
        assert_eq!(player.model.page, Page::Practise);
        plays(&mut player, Mark::Clean);
    }
    assert_eq!(
        session(&player).outcomes[3].came,
        Came::Reached("week3.yaml".to_owned())
    );
    // the left pedal leaves the last part out, and then either pedal leaves the page
    player.tell(Message::Act(Action::NextPart));
    assert_eq!(session(&player).stands, Stands::Over);
    let effects = player.tell(Message::Act(Action::BeginPart));
    assert!(effects.iter().any(|effect| matches!(effect, Effect::List)));
    assert!(player.model.session.is_none());
}

/// The time that a laptop spends asleep during a session does not count as practice.
#[test]
fn a_gap_in_the_clock_is_no_practice() {
    let mut player = Player::on(TODAY);
    player.tell(Message::Session(SessionPlan {
        parts: vec![cell(Why::Climbing, 2, tempo(50), 5)],
        ..SessionPlan::default()
    }));
    let effects = right(&mut player);
    answers(&mut player, &effects, &[]);
    let before = session(&player).minutes_left();
    player.now_us += 3_600_000_000;
    player.tell(Message::Tick);
    assert_eq!(player.model.page, Page::Practise);
    assert_eq!(session(&player).minutes_left(), before);
}

/// A due cell that fails its first try tells the day on which it comes again. That ends the part of
/// a cold try; any other cell is then worked on.
#[test]
fn a_first_try_that_fails_is_answered_with_its_day() {
    let begun = |rung| {
        let cleared = [(0, TODAY - 3)];
        let mut player = Player::on(TODAY);
        player.tell(Message::Session(SessionPlan {
            parts: vec![cell(Why::Again, 1, rung, 3)],
            ..SessionPlan::default()
        }));
        let effects = right(&mut player);
        answers(&mut player, &effects, &cleared);
        player.plays();
        player.press(Mark::NotClean);
        player
    };
    let cold = begun(tempo(60));
    let again = "comes again tomorrow".to_owned();
    assert_eq!(session(&cold).outcomes[0].came, Came::NotHeld(again));
    let other = begun(tempo(55));
    assert_eq!(other.model.page, Page::Practise);
    let said = other
        .model
        .notice
        .as_ref()
        .map(|notice| notice.text.as_str());
    assert_eq!(
        said,
        Some("not clean: 5 clean in a row settle it, else it comes again tomorrow")
    );
}

/// A warm-up that cannot run, or a file that is missing, costs its own part and not the session.
#[test]
fn what_cannot_be_opened_is_left_out() {
    let mut player = Player::on(TODAY);
    player.tell(Message::Session(SessionPlan {
        parts: vec![
            cell(Why::New, 1, tempo(50), 2),
            SessionPart::WarmUp(2),
            SessionPart::Rest(10),
        ],
        ..SessionPlan::default()
    }));
    right(&mut player);
    player.tell(Message::NotOpened("there is no drill `ours`".to_owned()));
    assert_eq!(session(&player).outcomes[0].came, Came::LeftOut);
    assert!(
        player
            .model
            .notice
            .as_ref()
            .is_some_and(|notice| notice.urgent)
    );
    right(&mut player);
    player.tell(Message::AsideOver {
        left: false,
        trouble: Some("no sound".to_owned()),
    });
    assert_eq!(session(&player).outcomes[1].came, Came::LeftOut);
    // a rest lasts longer than the pause between two parts
    for _ in 0..30 {
        player.tell(Message::Tick);
    }
    assert_eq!(session(&player).at, 2);
    right(&mut player);
    assert_eq!(session(&player).stands, Stands::Over);
}

/// A foot that stays on the pedal, or that was already moving when the page changed, answers one
/// page and not two.
#[test]
fn a_held_pedal_answers_one_page() {
    let cleared = [(0, TODAY - 3)];
    let mut player = Player::on(TODAY);
    player.tell(Message::Session(SessionPlan {
        parts: vec![
            cell(Why::Cold, 1, tempo(60), 1),
            cell(Why::Climbing, 2, tempo(50), 2),
            SessionPart::Rest(10),
        ],
        ..SessionPlan::default()
    }));
    let effects = right(&mut player);
    answers(&mut player, &effects, &cleared);
    player.plays();
    player.press(Mark::NotClean);
    assert_eq!(player.model.page, Page::Session);
    for _ in 0..20 {
        player.now_us -= 970_000; // a key repeats every 30 ms
        player.tell(Message::Act(Action::NextPart));
    }
    assert_eq!(session(&player).at, 1);
    // a press of the other pedal, too soon after the page appeared
    let mut player = Player::on(TODAY);
    player.tell(Message::Session(SessionPlan {
        parts: vec![SessionPart::WarmUp(2), SessionPart::Rest(10)],
        ..SessionPlan::default()
    }));
    player.now_us -= 800_000;
    player.tell(Message::Act(Action::NextPart));
    assert_eq!(session(&player).at, 0);
    player.tell(Message::Act(Action::NextPart));
    assert_eq!(session(&player).at, 1);
}

/// A mark that is taken back is not counted, and a corrected mark is counted once.
#[test]
fn what_a_part_came_to_is_what_stands() {
    let mut player = Player::on(TODAY);
    player.tell(Message::Session(SessionPlan {
        parts: vec![cell(Why::Climbing, 2, tempo(50), 5), SessionPart::Rest(10)],
        ..SessionPlan::default()
    }));
    let effects = right(&mut player);
    answers(&mut player, &effects, &[]);
    plays(&mut player, Mark::Clean);
    plays(&mut player, Mark::Clean);
    player.tell(Message::Act(Action::Undo));
    player.plays();
    player.press(Mark::NotClean);
    player.press(Mark::Clean);
    player.tell(Message::Act(Action::NextPart));
    assert_eq!(
        session(&player).outcomes[0].came,
        Came::Worked { clean: 2, of: 2 }
    );
}

/// The minutes that were asked for are filled. A first try that is answered in seconds leaves its
/// remaining minutes to other parts of the day, and cells that a climb has cleared are not played
/// twice.
#[test]
fn the_minutes_that_are_left_are_filled() {
    let cleared = [(0, TODAY - 3)];
    let mut player = Player::on(TODAY);
    player.tell(Message::Session(SessionPlan {
        parts: vec![
            cell(Why::Again, 1, tempo(55), 5),
            cell(Why::New, 2, tempo(50), 1),
            cell(Why::New, 2, tempo(55), 5),
        ],
        minutes: 15,
        ..SessionPlan::default()
    }));
    let effects = right(&mut player);
    answers(&mut player, &effects, &cleared);
    assert!(player.model.practising.as_ref().is_some_and(|one| one.due));
    plays(&mut player, Mark::Clean);
    let came = &session(&player).outcomes[0].came;
    assert!(matches!(came, Came::StillClean(when) if when.starts_with("comes again ")));
    let effects = right(&mut player);
    answers(&mut player, &effects, &cleared);
    let mut played = 0;
    while player.model.page == Page::Practise {
        plays(&mut player, Mark::Clean);
        played += 1;
        assert!(played < 100, "its minute is never over");
    }
    assert!(player.asks_for_more);
    let session = session(&player);
    assert!(matches!(&session.outcomes[1].came, Came::Climbed(cells) if cells.len() > 1));
    assert_eq!(session.parts.len(), 2, "the climb went through the third");
    let known = session.parts[1].clone();
    player.tell(Message::MoreOfToday(vec![known.clone()]));
    assert_eq!(super::session_laws::session(&player).stands, Stands::Over);
    let left = super::session_laws::session(&player).minutes_unused();
    assert!((11..=13).contains(&left), "{left}");
    let others = [50, 55, 60].map(|at| cell(Why::Climbing, 3, tempo(at), 8));
    player.tell(Message::MoreOfToday([vec![known], others.into()].concat()));
    let session = super::session_laws::session(&player);
    assert_eq!((session.at, session.parts.len()), (2, 4));
    let minutes: Vec<u32> = session.parts[2..]
        .iter()
        .map(SessionPart::minutes)
        .collect();
    assert_eq!(minutes, [8, left - 8], "they fit what is left");
    assert!(matches!(session.stands, Stands::Between { .. }));
}
