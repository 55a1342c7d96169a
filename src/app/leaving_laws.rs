//! What a session or a drill leaves behind: what was begun, what is kept, and what is said.

use super::practice_laws::Player;
use super::session_laws::{
    TODAY, answers, cell, goes_on_where_it_stops, plays, right, session, tempo,
};
use super::{Came, Effect, HomeworkGoal, Message, Page, SessionPlan, Stands};
use super::{Listed, Opens};
use crate::app::Action;
use crate::planning::{SessionPart, Why};
use crate::practice::Mark;

/// Outside a session only this notice leads from one homework task to the next.
#[test]
fn homework_that_is_reached_says_where_more_is_asked() {
    let reaches = |others: usize| {
        let mut player = Player::on(TODAY);
        let line = Listed::new(Opens::Homework, "week3.yaml", "Homework: Ours");
        player.tell(Message::Today(
            SessionPlan {
                parts: Vec::new(),
                minutes: 15,
                ..SessionPlan::default()
            },
            vec![line; 1 + others],
        ));
        let mut opened = Player::drill(&[], Some(2));
        opened.rung = Some(tempo(50));
        opened.goal = Some(HomeworkGoal {
            stage: 2,
            rung: tempo(50),
            file: "week3.yaml".to_owned(),
            until: None,
        });
        player.tell(Message::Opened(Box::new(opened)));
        player.tell(Message::Act(Action::PlayOrPause));
        for _ in 0..5 {
            plays(&mut player, Mark::Clean);
        }
        player.notice().to_owned()
    };
    let last = reaches(0);
    let reached = last.strip_suffix("; `q` shows how to send it");
    let reached = reached.expect("it says how to go on");
    assert!(reached.starts_with("homework reached: "), "{reached}");
    assert_eq!(
        reaches(1),
        format!("{reached}; `q` shows what else is asked")
    );
}

/// Whoever leaves a session's warm-up leaves the session, as on every page; it goes on there.
#[test]
fn a_session_that_is_left_in_its_warm_up_goes_on_there() {
    let mut player = Player::on(TODAY);
    player.tell(Message::Session(SessionPlan {
        parts: vec![SessionPart::WarmUp(3), SessionPart::WarmUp(2)],
        minutes: 5,
        ..SessionPlan::default()
    }));
    right(&mut player);
    player.tell(Message::AsideOver {
        left: false,
        trouble: None,
    });
    let last = session(&player).outcomes.last().expect("it is over");
    assert_eq!(last.came, Came::Done);
    right(&mut player);
    let effects = player.tell(Message::AsideOver {
        left: true,
        trouble: None,
    });
    assert!(player.model.session.is_none());
    assert_eq!(player.model.page, Page::Choose);
    let kept = effects.iter().find_map(|effect| match effect {
        Effect::KeepSession(session) => Some(session),
        _ => None,
    });
    let kept = kept.expect("it is kept");
    assert_eq!((kept.at, kept.stands), (1, Stands::Going));
}

/// A session that is left in the middle of a part has the rest of its minutes ahead when it goes on,
/// and what was begun in it is no longer new.
#[test]
fn what_was_played_of_a_part_counts_when_the_session_goes_on() {
    let mut player = Player::on(TODAY);
    player.tell(Message::Session(SessionPlan {
        parts: vec![cell(Why::New, 2, tempo(50), 4)],
        minutes: 4,
        ..SessionPlan::default()
    }));
    let effects = right(&mut player);
    answers(&mut player, &effects, &[]);
    while session(&player).spent_ms < 120_000 {
        plays(&mut player, Mark::NotClean);
        goes_on_where_it_stops(&mut player);
    }
    let effects = player.tell(Message::Act(Action::Leave));
    let kept = effects.iter().find_map(|effect| match effect {
        Effect::KeepSession(session) => Some(session.as_ref().clone()),
        _ => None,
    });
    let kept = kept.expect("it is kept");
    let SessionPart::Cell(item) = &kept.parts[0] else {
        panic!("{:?}", kept.parts);
    };
    assert!(
        item.why.starts_with("begun just now: clean 0 of "),
        "{}",
        item.why
    );
    let plan = SessionPlan {
        parts: kept.parts.clone(),
        minutes: 4,
        used_ms: kept.used_ms,
        spent_ms: kept.spent_ms,
        ..SessionPlan::default()
    };
    assert!(plan.goes_on());
    assert_eq!(plan.minutes_ahead(), 2);
    player.tell(Message::Session(plan));
    assert_eq!(session(&player).minutes_ahead(), 2);
}

/// A session becomes shorter by what is left out: left alone leads to its end.
#[test]
fn what_is_left_out_is_not_filled() {
    let mut player = Player::on(TODAY);
    player.tell(Message::Session(SessionPlan {
        parts: vec![
            SessionPart::WarmUp(3),
            cell(Why::Again, 1, tempo(55), 5),
            cell(Why::New, 2, tempo(50), 7),
        ],
        minutes: 15,
        ..SessionPlan::default()
    }));
    for _ in 0..3 {
        player.tell(Message::Act(Action::NextPart));
    }
    assert_eq!(session(&player).stands, Stands::Over);
    assert!(!player.asks_for_more);
}

/// A climb continues as long as its minutes last. A cell that it began and did not clear is listed
/// at the end, and a later part with that cell no longer calls it new.
#[test]
fn what_a_climb_began_is_told_and_is_not_new() {
    let mut player = Player::on(TODAY);
    player.tell(Message::Session(SessionPlan {
        parts: vec![
            cell(Why::New, 2, tempo(50), 1),
            cell(Why::New, 3, tempo(50), 5),
        ],
        minutes: 6,
        ..SessionPlan::default()
    }));
    let effects = right(&mut player);
    answers(&mut player, &effects, &[]);
    let needed = |player: &Player| {
        let practising = player.model.practising.as_ref().expect("a drill");
        practising.state.plan().needed()
    };
    let needed = needed(&player);
    let mut played = 0;
    while player.model.page == Page::Practise {
        let clean = played < needed || (played - needed) % 2 == 0;
        plays(
            &mut player,
            if clean { Mark::Clean } else { Mark::NotClean },
        );
        played += 1;
        assert!(played < 100, "its minute is never over");
    }
    // the minutes ended during the repetition before the last one, which had only begun
    played -= 1;
    let session = session(&player);
    assert!(matches!(&session.outcomes[0].came, Came::Climbed(cells) if cells.len() == 1));
    let Some((words, Came::Worked { clean, of })) = &session.outcomes[0].beyond else {
        panic!("{:?}", session.outcomes);
    };
    assert_eq!((*clean, *of), (of.div_ceil(2), played - needed));
    let SessionPart::Cell(next) = &session.parts[1] else {
        panic!("{:?}", session.parts);
    };
    assert!(words.contains(" at 50"), "{words}");
    assert_eq!(next.why, format!("begun just now: clean {clean} of {of}"));
}
