//! Laws of the page that trains the ear.

use super::discriminating::*;
use crate::drill::{built_in, read};
use crate::practice::Difference;
use crate::timeline::{Layout, lay};
use crate::units::{Beats, Bpm, Milliseconds, SampleRate, Seconds};

/// The page for the uneven low Gs of the grip from D at 80 beats a minute. A piece lasts a second
/// and a half.
pub(crate) fn page(length_s: f64) -> Discriminating {
    let file = built_in("grip-from-d").expect("built in");
    let drill = read(file.text.as_bytes()).0.expect("it reads");
    let music = &drill.stages.last().expect("a stage").music;
    let score = crate::score::resolve_music(music, Beats::ZERO, &drill.schools);
    let tempo = Bpm::whole(80).expect("a tempo");
    let timeline = lay(&score, &Layout::at(tempo, SampleRate::USUAL));
    let wanted = drill.movement.as_ref().map(|line| line.movement);
    let spot = crate::discrimination::spots(&score, &timeline, wanted)
        .into_iter()
        .find(|spot| spot.difference == Difference::Unlike)
        .expect("two low Gs");
    Discriminating::new(
        "Grip from D · 80".to_owned(),
        spot,
        Seconds(length_s),
        (Seconds(1.5), Seconds(0.75)),
        3,
    )
}

/// Plays a listener who hears every fault of 15 ms or more. Returns how many pieces were played.
fn listen(page: &mut Discriminating) -> usize {
    let mut played = 0;
    for _ in 0..60_000 {
        if let Asking::Question { size } = page.asking {
            let faulty = size.is_some_and(|size| size >= Milliseconds(15.0));
            let button = if faulty { Button::Left } else { Button::Right };
            assert_eq!(page.press(button), None);
        }
        match page.pass(Seconds(0.05)) {
            Some(ToPlay::Nothing) => return played,
            Some(ToPlay::Piece(_)) => played += 1,
            Some(ToPlay::Leave) => panic!("nobody left"),
            None => {}
        }
    }
    panic!("it never ended: {:?}", page.asking);
}

/// Two buttons lead through the whole page: the examples, a minute of questions, the end, a second
/// run, and out.
#[test]
fn two_buttons_do_all() {
    let mut page = page(60.0);
    assert_eq!(page.examples(), ToPlay::Piece(None));
    let mut pieces = Vec::new();
    while page.asking != Asking::Ready {
        pieces.extend(page.pass(Seconds(0.1)));
    }
    assert_eq!(pieces, [ToPlay::Piece(Some(page.spot.widest))]);
    assert_eq!(
        page.press(Button::Left),
        Some(ToPlay::Piece(None)),
        "hear both again"
    );
    assert!(
        matches!(page.press(Button::Right), Some(ToPlay::Piece(_))),
        "begin"
    );
    listen(&mut page);
    assert_eq!(page.asking, Asking::Over);
    let found = page.found().expect("a minute is enough");
    assert!((9.0..25.0).contains(&found.threshold.0), "{found:?}");
    assert!(
        page.says()[0].starts_with("You hear an unlike pair from"),
        "{:?}",
        page.says()
    );
    assert!(
        matches!(page.press(Button::Right), Some(ToPlay::Piece(_))),
        "once more"
    );
    assert_eq!(page.trials, []);
    assert_eq!(page.before, Some(found.threshold));
    listen(&mut page);
    assert_eq!(page.press(Button::Left), Some(ToPlay::Leave));
}

/// A minute holds at least as many questions as the search's published figures assume.
#[test]
fn a_minute_is_a_minute_and_longer_is_longer() {
    let mut minute = page(60.0);
    let _ = minute.press(Button::Right);
    listen(&mut minute);
    // the answer comes 0.8 s after the beginning, as soon as the movement has ended, and is shown
    // for 0.9 s
    assert!((60.0..63.0).contains(&minute.run.0), "{}", minute.run);
    assert!(minute.trials.len() >= 18, "{}", minute.trials.len());
    let mut five = page(300.0);
    let _ = five.press(Button::Right);
    listen(&mut five);
    assert!(five.trials.len() >= 4 * minute.trials.len());
}

/// A pedal that bounces or is held down must not answer a movement that was not heard yet. A
/// listener who thinks for long must not lose the minute.
#[test]
fn an_answer_before_the_landing_is_none_and_thinking_is_free() {
    let mut page = page(60.0);
    let _ = page.press(Button::Right);
    assert_eq!(page.press(Button::Left), None);
    let _ = page.pass(Seconds(0.7));
    assert_eq!(page.press(Button::Left), None);
    assert_eq!(page.trials, []);
    for _ in 0..10_000 {
        let _ = page.pass(Seconds(0.1));
    }
    assert!(page.run.0 < 6.0, "{}", page.run);
    assert_eq!(page.press(Button::Left), None);
    assert_eq!(page.trials.len(), 1);
    assert_eq!(page.press(Button::Left), None, "the answer is being read");
    assert_eq!(page.trials.len(), 1);
}

/// A quick answer at a slow tempo must not cut off the end of the piece that sounds.
#[test]
fn the_next_one_waits_until_this_one_has_ended() {
    let mut page = page(60.0);
    page.piece_s = 4.0;
    let _ = page.press(Button::Right);
    let _ = page.pass(Seconds(1.0));
    assert_eq!(page.press(Button::Right), None);
    let mut waited = 0.0;
    while page.pass(Seconds(0.1)).is_none() {
        waited += 0.1;
    }
    assert!((3.0..3.3).contains(&waited), "{waited}");
}

/// Too few answers give no result, so that no threshold is shown that was not measured.
#[test]
fn leaving_early_finds_nothing() {
    let mut page = page(60.0);
    let _ = page.press(Button::Right);
    let _ = page.pass(Seconds(1.0));
    let _ = page.press(Button::Right);
    assert_eq!(page.press(Button::Leave), Some(ToPlay::Leave));
    assert_eq!(page.found(), None);
}

/// Clean and faulty pieces are equally frequent, and their order has no pattern that the answers
/// could follow.
#[test]
fn half_of_them_are_clean() {
    let mut page = page(1200.0);
    let _ = page.press(Button::Right);
    listen(&mut page);
    let faulty = page.trials.iter().filter(|trial| trial.size.is_some());
    let share = faulty.count() as f64 / page.trials.len() as f64;
    assert!(
        (0.43..0.57).contains(&share),
        "{share} of {}",
        page.trials.len()
    );
    let changes = page
        .trials
        .windows(2)
        .filter(|pair| pair[0].size.is_some() != pair[1].size.is_some())
        .count() as f64;
    let share = changes / page.trials.len() as f64;
    assert!((0.43..0.57).contains(&share), "{share}");
}
