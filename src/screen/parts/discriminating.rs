//! Draws the page of `hear`: what to listen for, the answers so far, the time left, and the two
//! buttons.
//!
//! While a question is open, nothing on the page may say whether the movement is clean.

use super::{fitted, frame, put, wrapped};
use crate::app::{Asking, Discriminating};
use crate::screen::Theme;
use ratatui::Frame;
use ratatui::layout::Rect;
use unicode_width::UnicodeWidthStr as _;

/// Draws the page.
pub(in crate::screen) fn draw(page: &Discriminating, theme: Theme, target: &mut Frame) {
    let whole = target.area();
    let buffer = target.buffer_mut();
    let area = frame::within(whole);
    let name = "Hear the difference";
    let whole_name = name.len() + 2 + page.title().width() <= usize::from(area.width);
    let name = if whole_name { name } else { "Hear" };
    frame::head(buffer, whole, name, page.title(), theme);
    let roomy = area.height >= 14;
    let gap = if roomy { 2 } else { 1 };
    let mut y = area.y + gap;
    if !matches!(page.asking(), Asking::Ready | Asking::Over) {
        let what = fitted(&page.spot().what, area.width);
        put(buffer, area, area.x, y, &what, theme.plain());
        y += gap;
    }
    let style = match page.asking() {
        Asking::Answered(trial) if trial.is_right() => theme.good(),
        Asking::Answered(_) => theme.not_yet(),
        _ => theme.strong(),
    };
    let said = page.says();
    let lines = said.iter().flat_map(|line| wrapped(line, area.width));
    let last = area.bottom().saturating_sub(4);
    for line in lines {
        if y >= last && !roomy {
            break;
        }
        put(buffer, area, area.x, y, &line, style);
        y += 1;
    }
    let bottom = area.bottom().saturating_sub(1);
    let y = if roomy { (y + 1).max(area.y + 8) } else { last };
    time(
        page,
        theme,
        buffer,
        Rect {
            y,
            height: 2,
            ..area
        },
    );
    let (left, right) = page.buttons();
    let mut keys = vec![("right/c", right), ("left/x", left)];
    keys.retain(|(_, does)| !does.is_empty());
    keys.extend([("?", "keys"), ("q", "leave")]);
    let foot = Rect {
        y: bottom,
        height: 1,
        ..area
    };
    frame::keys(buffer, foot, &keys, theme);
}

/// Draws how much of the time is over, and each answer with the newest at the right: ● right, ○
/// wrong.
fn time(page: &Discriminating, theme: Theme, buffer: &mut ratatui::buffer::Buffer, area: Rect) {
    let left = (page.length().0 - page.run().0).max(0.0).ceil() as u64;
    let words = format!(" {}:{:02} left", left / 60, left % 60);
    let columns = usize::from(area.width).saturating_sub(words.len());
    let share = (page.run().0 / page.length().0).clamp(0.0, 1.0);
    let full = (share * columns as f64).round() as usize;
    let bar: String = (0..columns)
        .map(|at| if at < full { '█' } else { '░' })
        .collect();
    let after = put(buffer, area, area.x, area.y, &bar, theme.strong());
    put(buffer, area, after, area.y, &words, theme.plain());
    let most = usize::from(area.width);
    let skip = page.trials().len().saturating_sub(most);
    let answers: String = page.trials()[skip..]
        .iter()
        .map(|trial| if trial.is_right() { '●' } else { '○' })
        .collect();
    put(buffer, area, area.x, area.y + 1, &answers, theme.plain());
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::app::{Button, ToPlay};
    use crate::discrimination::{SMALLEST, spots};
    use crate::drill::{built_in, read};
    use crate::practice::Difference;
    use crate::timeline::{Layout, lay};
    use crate::units::{Beats, Bpm, Milliseconds, SampleRate, Seconds};
    use ratatui::Terminal;
    use ratatui::backend::TestBackend;

    fn screen(width: u16, height: u16, page: &Discriminating) -> String {
        let mut terminal = Terminal::new(TestBackend::new(width, height)).expect("a screen");
        terminal
            .draw(|frame| draw(page, Theme::new(false), frame))
            .expect("drawn");
        let buffer = terminal.backend().buffer();
        (0..height)
            .map(|y| {
                let row: String = (0..width).map(|x| buffer[(x, y)].symbol()).collect();
                format!("{}\n", row.trim_end())
            })
            .collect()
    }

    fn page() -> Discriminating {
        let file = built_in("grip-from-d").expect("built in");
        let drill = read(file.text.as_bytes()).0.expect("it reads");
        let stage = drill.stages.iter().find(|stage| stage.name == "real time");
        let music = &stage.expect("a stage").music;
        let score = crate::score::resolve_music(music, Beats::ZERO, &drill.schools);
        let tempo = Bpm::whole(80).expect("a tempo");
        let timeline = lay(&score, &Layout::at(tempo, SampleRate::USUAL));
        let movement = drill.movement.as_ref().map(|line| line.movement);
        let all = spots(&score, &timeline, movement);
        let unlike = all
            .into_iter()
            .find(|spot| spot.difference == Difference::Unlike);
        let title = "Grip from D · real time at 80".to_owned();
        Discriminating::new(
            title,
            unlike.expect("low Gs"),
            Seconds(60.0),
            (Seconds(1.5), Seconds(0.75)),
            1,
        )
    }

    /// Answers like a player who hears every fault of 15 ms or more, until `until` returns true.
    fn played(until: impl Fn(&Discriminating) -> bool) -> Discriminating {
        let mut page = page();
        let _ = page.press(Button::Right);
        for _ in 0..10_000 {
            if until(&page) {
                return page;
            }
            if let Asking::Question { size } = page.asking() {
                let faulty = size.is_some_and(|size| size.0 >= 15.0);
                let _ = page.press(if faulty { Button::Left } else { Button::Right });
            }
            assert_ne!(page.pass(Seconds(0.05)), Some(ToPlay::Leave));
        }
        panic!("it never came: {:?}", page.asking());
    }

    /// The whole page fits the smallest window, and nothing needs a colour.
    #[test]
    fn the_page_fits_every_screen() {
        let ready = page();
        let answered = played(|page| page.trials().len() == 5);
        let over = played(|page| page.asking() == Asking::Over);
        assert!(SMALLEST < answered.spot().widest);
        for (width, height) in [(40, 10), (80, 24), (120, 40)] {
            let shown = |page: &Discriminating| {
                let text = screen(width, height, page);
                text.split_whitespace().collect::<Vec<_>>().join(" ")
            };
            for (page, parts) in [
                (
                    &ready,
                    &[
                        "Listen for one low G longer than the other.",
                        "begin",
                        "both again",
                        "q leave",
                    ][..],
                ),
                (&answered, &["left", "clean", "fault", "●", "q leave"]),
                (
                    &over,
                    &[
                        "You hear an unlike pair from",
                        "answers were right",
                        "between",
                        "once more",
                        "0:00 left",
                    ],
                ),
            ] {
                for part in parts {
                    let text = shown(page);
                    assert!(text.contains(part), "{part} at {width}x{height}:\n{text}");
                }
            }
        }
    }

    /// A page that looked different for a fault could be read instead of heard.
    #[test]
    fn a_question_does_not_say_its_answer() {
        let asked = |size| {
            let mut page = page();
            page.ask_for(size);
            screen(80, 24, &page)
        };
        assert_eq!(asked(None), asked(Some(Milliseconds(40.0))));
    }
}
