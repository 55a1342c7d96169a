//! What is asked for is asked for once, and homework says when it is due.

use super::*;

/// When homework is due is said as people say it, before and after the day.
#[test]
fn homework_says_when_it_is_due_and_what_is_to_be_reached() {
    let drills = [drill("grip", 10)];
    let day = |day| date(2027, 1, day);
    let homework = |by: Option<Date>, rung: usize| Due {
        title: "week".to_owned(),
        open: "week.yaml".to_owned(),
        task: None,
        by,
        drill: drills[0].clone(),
        goal: (1, drills[0].stages[1].rungs[rung]),
    };
    let why = |due: Due, said: Vec<Said>| {
        let items = today(&Digest::of(said), &[], &[due], day(10), &Rule::default());
        items[0].why.clone()
    };
    for (by, told) in [
        (None, "homework; "),
        (Some(day(7)), "homework, 3 days over; "),
        (Some(day(9)), "homework, a day over; "),
        (Some(day(10)), "homework, due today; "),
        (Some(day(11)), "homework, due tomorrow; "),
        (Some(day(14)), "homework, due in 4 days; "),
    ] {
        let why = why(homework(by, 1), Vec::new());
        assert!(why.contains(told), "{why}");
    }
    // what is asked for is where the player is, and nothing quicker than what is to be reached
    let told = "grip, full beats at 60: homework; to reach real time at 62";
    assert_eq!(why(homework(None, 1), Vec::new()), told);
    let ahead = || {
        [
            marks(10, "60", &[(day(1), "cc")]),
            marks(11, "60", &[(day(1), "cc")]),
        ]
        .concat()
    };
    let told = "grip, full beats at 62: homework; to reach real time at 62";
    assert_eq!(why(homework(None, 1), ahead()), told);
    let told = "grip, real time at 60: homework; to reach real time at 60";
    assert_eq!(why(homework(None, 0), ahead()), told);
}

/// Homework brings its own copy of a drill, and the cell that both come to is asked for once. What is
/// another cell, or a drill of another title, is asked for besides.
#[test]
fn a_cell_that_homework_asks_for_is_not_asked_for_twice() {
    let day = |day| date(2027, 1, day);
    let own = drill("grip", 10);
    let said = marks(10, "60", &[(day(1), "nc")]);
    let kinds = |copy: Known, goal: CellPlace| -> Vec<Why> {
        let due = Due {
            title: "week".to_owned(),
            open: "week.yaml".to_owned(),
            task: None,
            by: None,
            drill: copy,
            goal,
        };
        let digest = Digest::of(said.iter().copied());
        let items = today(
            &digest,
            std::slice::from_ref(&own),
            &[due],
            day(2),
            &Rule::default(),
        );
        let kinds = items.into_iter().map(|item| item.kind);
        // what fills a newcomer's minutes comes besides
        kinds.filter(|kind| *kind != Why::New).collect()
    };
    let goal = (1, own.stages[1].rungs[1]);
    assert_eq!(kinds(own.clone(), goal), [Why::Homework]);
    let both = [Why::Homework, Why::Climbing];
    let titled = Known {
        title: "another".to_owned(),
        ..own.clone()
    };
    assert_eq!(kinds(titled, goal), both);
    let quicker = Known {
        stages: planned([20, 21], &[62, 64]),
        ..own.clone()
    };
    assert_eq!(kinds(quicker, goal), both);
}

/// A first try is not to be had on a day on which the drill was tried or played already, however that
/// was written down.
#[test]
fn no_first_try_is_asked_for_after_the_first_of_a_day() {
    let day = |day| date(2027, 1, day);
    let drills = [drill("birl", 1)];
    let top = marks(2, "62", &[(day(1), "cc")]);
    let is_cold = |more: Vec<Said>| {
        let digest = Digest::of(top.iter().copied().chain(more));
        let items = today(&digest, &drills, &[], day(3), &Rule::default());
        items.iter().any(|item| item.kind == Why::Cold)
    };
    assert!(is_cold(Vec::new()));
    let mut tried = tried(1, "60", day(3), "n");
    // another cell was marked, and nothing says that it was a first try
    assert!(!is_cold(tried[..1].to_vec()));
    // a first try that nobody marked
    assert!(!is_cold(tried.split_off(1)));
    // one of the day before
    let digest = Digest::of(top.iter().copied());
    assert_eq!(drills[0].cold_cells(&digest, day(1)), []);
    assert_eq!(drills[0].cold_cells(&digest, day(2)).len(), 1);
}
