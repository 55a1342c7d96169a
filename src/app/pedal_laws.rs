//! Laws of pedals and keys where there is nothing to mark.

use super::practice_laws::Player;
use super::{Action, Effect, Message};
use crate::practice::{Advance, Mark};

/// Without this the player would need the keyboard for the next cell of a drill that leaves moving
/// on to the player, and for the suggested step back.
#[test]
fn pedals_go_on_and_back_while_nothing_sounds() {
    let mut opened = Player::drill(&[], Some(0));
    opened.drill.advance = Advance::WhenAsked;
    opened.drill.clean = 2;
    let mut player = Player::on(20_000);
    player.model.options.stop_rule = false;
    player.tell(Message::Opened(Box::new(opened)));
    player.press(Mark::Clean);
    let repeats = |player: &mut Player, mark, times| {
        for _ in 0..times {
            player.plays();
            player.breathes();
            player.press(mark);
        }
        player.tell(Message::Act(Action::PlayOrPause));
    };
    repeats(&mut player, Mark::Clean, 2);
    let practising = player.model.practising.as_ref().expect("a drill");
    let next = practising.goes_on_to().expect("the next is named");
    assert_ne!(practising.cell(), Some(next));
    let effects = player.press(Mark::Clean);
    assert!(effects.iter().any(|one| matches!(one, Effect::Start)));
    repeats(&mut player, Mark::NotClean, 3);
    let practising = player.model.practising.as_ref().expect("a drill");
    assert_eq!(practising.cell(), Some(next));
    let back = practising.goes_back_to().expect("it is suggested");
    player.press(Mark::NotClean);
    let practising = player.model.practising.as_ref().expect("a drill");
    assert_eq!(practising.state.upcoming(), Some(back));
}

/// A notice about one line of the start page must vanish when another line is marked, or it would
/// be read as being about that line.
#[test]
fn what_was_said_of_a_line_is_not_said_of_the_next() {
    let mut player = Player::on(20_000);
    for action in [
        Action::Move(-1),
        Action::MoveToEnd { last: true },
        Action::Search('g'),
        Action::SearchBack,
    ] {
        player.tell(Message::NotOpened("there is no drill `ours`".to_owned()));
        assert_eq!(player.notice(), "there is no drill `ours`");
        player.tell(Message::Act(action));
        assert_eq!(player.notice(), "", "{action:?}");
    }
}
