//! Laws of learning a tune from memory with two pedals: messages go in, effects and the model come
//! out.

use super::practice_laws::Player;
use super::{Effect, Message, OpenedDrill, Options, Practising};
use crate::app::Action;
use crate::drill::{BarRange, Drill, Tune, built_in, make_phrase, read, write};
use crate::practice::{Kind, Mark};
use crate::rhythm::ReferencePlan;
use uuid::Uuid;

/// A player who opens a tune of our own with 16 bars in four phrases.
fn opens(from_memory: bool) -> Player {
    let file = built_in("lamp-on-the-slipway").expect("a tune of our own");
    let drill = read(file.text.as_bytes()).0.expect("no problem");
    opens_drill(drill, from_memory)
}

fn opens_drill(drill: Drill, from_memory: bool) -> Player {
    let mut player = Player::on(20_000);
    player.model.options = Options {
        from_memory,
        ..Options::default()
    };
    player.tell(Message::Opened(Box::new(OpenedDrill {
        session: Uuid::from_u128(78),
        ..OpenedDrill::new("a tune", drill)
    })));
    player
}

fn practising(player: &Player) -> &Practising {
    player.model.practising.as_ref().expect("a tune")
}

fn hidden(player: &Player) -> Option<&'static str> {
    practising(player).hiding_words()
}

/// Plays a repetition and marks it with the pedal. Returns how many repetitions were recorded as
/// played by heart.
fn plays(player: &mut Player, mark: Mark) -> usize {
    let before = practising(player).clean_by_heart();
    let effects = player.plays();
    player.press(mark);
    player.breathes();
    let stored = effects.iter().filter_map(|effect| match effect {
        Effect::Store(records) => Some(records),
        _ => None,
    });
    let by_heart = stored
        .flatten()
        .filter(|record| matches!(record.kind, Kind::ByHeart { .. }))
        .count();
    if by_heart == 0 && mark == Mark::Clean && before.is_some() {
        assert_eq!(practising(player).clean_by_heart(), before);
    }
    by_heart
}

/// The player need not take a hand off the chanter: a clean repetition hides a phrase, then half,
/// then all, and one that is not clean shows more again. With everything hidden the reference is
/// silent, and the repetitions are counted separately.
#[test]
fn two_pedals_lead_from_a_phrase_to_the_whole_tune_by_heart() {
    let mut player = opens(true);
    assert_eq!(hidden(&player), Some("a phrase hidden"));
    let notes = practising(&player).hidden_notes();
    let all = practising(&player).scores[0].notes.len();
    assert!(
        !notes.is_empty() && notes.len() < all / 2,
        "{}",
        notes.len()
    );
    player.press(Mark::Clean);
    assert!(player.model.is_moving(), "the pedal plays");
    assert_eq!(plays(&mut player, Mark::Clean), 0);
    assert_eq!(hidden(&player), Some("half hidden"));
    assert_eq!(plays(&mut player, Mark::Clean), 0);
    assert_eq!(hidden(&player), Some("by heart"));
    let alone = practising(&player).reference(ReferencePlan::Every);
    assert_eq!(alone, ReferencePlan::Silent);
    assert_eq!(plays(&mut player, Mark::Clean), 1);
    assert_eq!(practising(&player).clean_by_heart(), Some(1));
    assert_eq!(plays(&mut player, Mark::NotClean), 1);
    assert_eq!(hidden(&player), Some("half hidden"));
    assert_eq!(plays(&mut player, Mark::Clean), 0);
    assert_eq!(plays(&mut player, Mark::Clean), 1);
    assert_eq!(
        practising(&player).clean_by_heart(),
        Some(1),
        "another cell"
    );
}

/// A range of bars is hidden like a whole tune: phrase by phrase, then all of it. A single phrase
/// is hidden bar by bar, then half of it, then all of it.
#[test]
fn bars_of_a_tune_vanish_step_by_step() {
    let file = built_in("lamp-on-the-slipway").expect("a tune of our own");
    let drill = read(file.text.as_bytes()).0.expect("no problem");
    let steps = |bars: &str| {
        let tune = Tune {
            drill: &drill,
            stage: &drill.stages[0],
        };
        let range = BarRange::parse(bars).expect("bars");
        let piece = make_phrase(&tune, range).expect("it is there");
        let piece = write(&piece).expect("it is written");
        let piece = read(piece.as_bytes()).0.expect("it reads");
        let mut player = opens_drill(piece, true);
        let mut steps = Vec::new();
        while let Some(words) = hidden(&player) {
            steps.push(words);
            player.tell(Message::Act(Action::HidePhrase));
        }
        steps
    };
    assert_eq!(steps("1-8"), ["a phrase hidden", "by heart"]);
    assert_eq!(steps("5-8"), ["a bar hidden", "half hidden", "by heart"]);
}

/// A repetition during which the player looked at the music is not played by heart. A corrected
/// mark takes its step of hiding back.
#[test]
fn a_look_is_no_repetition_by_heart_and_an_undo_shows_what_was_shown() {
    let mut player = opens(true);
    player.press(Mark::Clean);
    plays(&mut player, Mark::Clean);
    player.plays();
    player.press(Mark::Clean);
    assert_eq!(hidden(&player), Some("by heart"));
    player.tell(Message::Act(Action::Undo));
    assert_eq!(hidden(&player), Some("half hidden"));
    player.press(Mark::Clean);
    player.breathes();
    assert_eq!(hidden(&player), Some("by heart"));
    player.begins();
    player.tell(Message::Act(Action::HidePhrase));
    assert_eq!(hidden(&player), None);
    for _ in 0..3 {
        player.tell(Message::Act(Action::HidePhrase));
    }
    assert_eq!(hidden(&player), Some("by heart"));
    let effects = player.closes();
    let kinds = effects.iter().flat_map(|effect| match effect {
        Effect::Store(records) => records.clone(),
        _ => Vec::new(),
    });
    assert_eq!(
        kinds
            .filter(|one| matches!(one.kind, Kind::ByHeart { .. }))
            .count(),
        0
    );
}

/// Any phrase can be the first that is hidden. Where cells are left to clear, nothing is hidden
/// unless the player asks.
#[test]
fn it_begins_at_any_phrase_and_never_by_itself_before_all_is_clear() {
    let mut player = opens(false);
    player.press(Mark::Clean);
    plays(&mut player, Mark::Clean);
    assert_eq!(hidden(&player), None);
    let mut firsts = Vec::new();
    for _ in 0..4 {
        player.tell(Message::Act(Action::OtherPhrase));
        let notes = practising(&player).hidden_notes();
        firsts.push(notes.into_iter().collect::<Vec<_>>());
    }
    for (at, one) in firsts.iter().enumerate() {
        assert!(firsts[..at].iter().all(|before| before != one), "{at}");
    }
    player.tell(Message::Act(Action::OtherPhrase));
    let again = practising(&player).hidden_notes();
    assert_eq!(again.into_iter().collect::<Vec<_>>(), firsts[0]);
}

/// Once every cell of a tune is clear, the pedals lead to playing from memory. Otherwise a player
/// without a free hand would read a cleared piece for ever.
#[test]
fn a_tune_that_is_clear_goes_on_from_memory() {
    let mut player = opens(false);
    player.press(Mark::Clean);
    let rungs = practising(&player).state.board().cells().count();
    let needed = practising(&player).state.plan().needed() as usize;
    for _ in 0..rungs * needed {
        assert_eq!(hidden(&player), None);
        plays(&mut player, Mark::Clean);
    }
    assert!(practising(&player).state.board().is_complete());
    assert_eq!(hidden(&player), None);
    plays(&mut player, Mark::Clean);
    assert_eq!(hidden(&player), Some("a phrase hidden"));
    plays(&mut player, Mark::NotClean);
    assert_eq!(hidden(&player), None);
}
