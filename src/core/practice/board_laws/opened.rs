//! Tests of stages that open the movement.

use super::*;

/// The lengths are climbed one after the other before the movement is played in real time. No mark
/// of a length counts in real time, although music and tempo are the same.
#[test]
fn an_opened_movement_closes_up_before_real_time_and_shares_no_mark_with_it() {
    let mut practice = Practice::with(opening_plan());
    practice.clean(12);
    assert_eq!(
        practice.state.upcoming(),
        Some(opened(300)),
        "after the written-out stages"
    );
    assert_eq!(practice.status(2, 54), Closed);
    let mut played = Vec::new();
    for _ in 0..3 {
        played.extend(practice.state.upcoming());
        practice.clean(3);
    }
    assert_eq!(played, [300, 210, 150].map(opened));
    assert_eq!(practice.state.upcoming(), Some(cell(2, 54)));
    assert_eq!(practice.status(2, 54), Open);
    assert_eq!(practice.tally(2, 54), Tally::default());
    assert_eq!(practice.state.tally(opened(150)).clean, 3);
    practice.clean(9);
    assert!(
        practice.state.board().is_complete(),
        "written out to 54, real time to 62"
    );
}

/// A mark in real time does not count on an opened rung, and the reverse. This holds after a
/// restart from the journal too.
#[test]
fn lengths_and_tempi_never_mix() {
    let mut practice = Practice::with(opening_plan());
    practice.choose(cell(2, 54));
    practice.clean(2);
    practice.choose(opened(150));
    practice.clean(1);
    let again = replay(opening_plan(), &practice.journal);
    for state in [&practice.state, &again] {
        assert_eq!(state.tally(cell(2, 54)).clean, 2);
        assert_eq!(state.tally(opened(150)).clean, 1);
        assert_eq!(state.status(cell(2, 54)), Closed);
    }
}

/// Real time cleared in free play passes the opening, as it passes every stage before it.
#[test]
fn real_time_cleared_in_free_play_passes_the_opening() {
    let mut practice = Practice::with(opening_plan());
    practice.choose(cell(2, 58));
    practice.clean(3);
    for tone in [300, 210, 150] {
        assert_eq!(practice.state.status(opened(tone)), Passed);
    }
    assert_eq!(practice.status(0, 54), Passed);
}

#[test]
fn plus_and_minus_go_along_the_lengths_and_end_there() {
    let mut practice = Practice::with(opening_plan());
    let step_tempo = |practice: &mut Practice, up| {
        let at = practice.at();
        let news = practice.tell(Event::TempoStep { at, up });
        (practice.state.upcoming(), news.contains(&News::LadderEnds))
    };
    practice.choose(opened(300));
    assert_eq!(step_tempo(&mut practice, true), (Some(opened(210)), false));
    assert_eq!(step_tempo(&mut practice, true), (Some(opened(150)), false));
    assert_eq!(step_tempo(&mut practice, true), (Some(opened(150)), true));
    practice.choose(opened(300));
    assert_eq!(step_tempo(&mut practice, false), (Some(opened(300)), true));
}

/// A step back from a length leads to the next longer length. From the first length it leads to the
/// highest rung of the last written-out stage. From the lowest rung in real time it leads to the
/// last length that is easier; from higher rungs it leads one rung down.
#[test]
fn the_step_back_of_an_opened_movement_is_a_longer_length() {
    let back = |cell| opening_plan().step_back_from(cell);
    assert_eq!(back(opened(150)), Some(opened(210)));
    assert_eq!(back(opened(300)), Some(cell(1, 54)));
    assert_eq!(back(cell(2, 54)), Some(opened(210)));
    assert_eq!(back(cell(2, 58)), Some(cell(2, 54)));
    let mut up = opening_plan();
    up.route = Route::Up;
    assert_eq!(up.step_back_from(opened(300)), Some(cell(1, 54)));
    assert_eq!(up.step_back_from(cell(2, 54)), Some(opened(210)));
}

/// A stage may end before the ladder does; the board does not require it beyond its end.
#[test]
fn a_stage_that_ends_early_holds_nobody_up() {
    let mut plan = plan();
    plan.stages[0] = planned(0, &[50]);
    let mut practice = Practice::with(plan);
    practice.clean(9);
    assert_eq!(practice.state.upcoming(), Some(cell(1, 54)));
    assert_eq!(practice.status(1, 54), Open);
    let below = practice.state.plan().in_stage(0, cell(1, 58).rung);
    assert_eq!(below, Some(cell(0, 50)));
}
