//! The start page: today's session, the drills, what is found by typed letters; beside the list, or
//! below it where the window is narrow, what is marked: its purpose, where it would begin and the
//! music there, or what keeps it from being played.

use super::{fitted, put, put_right, wrapped};
use crate::app::{Listed, Model, Opens};
use crate::screen::Theme;
use ratatui::Frame;
use ratatui::buffer::Buffer;
use ratatui::layout::Rect;
use ratatui::style::Style;

/// From this width the preview stands beside the list.
const BESIDE: u16 = 100;
/// Columns of the list beside it.
const LIST: u16 = 58;

/// Draws the page.
pub(in crate::screen) fn draw(model: &Model, theme: Theme, frame: &mut Frame, whole: Rect) {
    let buffer = frame.buffer_mut();
    let area = Rect {
        x: whole.x + 1,
        width: whole.width.saturating_sub(2),
        ..whole
    };
    put(buffer, area, area.x, area.y, "gracerung", theme.heading());
    let search = &model.choose.search;
    if search.is_empty() && area.width < 70 {
        // the row of keys says it
    } else if search.is_empty() {
        let hint = "type to find a drill or a movement";
        put_right(buffer, area, area.y, hint, theme.faint());
    } else {
        let text = format!("find {search}▏");
        put_right(buffer, area, area.y, &text, theme.heading());
    }
    let beside = area.width >= BESIDE;
    let preview = model.choose.current().map(words).unwrap_or_default();
    let below: u16 = match (beside, area.height) {
        (true, _) | (false, ..14) => 0,
        (false, 14..20) => 4,
        (false, _) => 7,
    };
    let head = if area.height < 14 { 1 } else { 2 };
    let list = Rect {
        y: area.y + head,
        width: if beside { LIST } else { area.width },
        height: area.height.saturating_sub(head + below + 2),
        ..area
    };
    lines(model, theme, buffer, list);
    let room = if beside {
        Rect {
            x: area.x + LIST + 2,
            width: area.width.saturating_sub(LIST + 2),
            ..list
        }
    } else {
        Rect {
            y: list.bottom() + u16::from(below > 0),
            height: below.saturating_sub(1),
            ..area
        }
    };
    draw_words(&preview, theme, buffer, room, beside);
    let foot = area.bottom().saturating_sub(1);
    if let Some(notice) = &model.notice {
        let style = if notice.urgent {
            theme.urgent()
        } else {
            theme.plain()
        };
        let first = notice.text.lines().next().unwrap_or_default();
        let text = fitted(first, area.width);
        put(buffer, area, area.x, foot.saturating_sub(1), &text, style);
    }
    let keys = match (area.width >= 70, search.is_empty()) {
        (true, true) => "enter begins   up and down move   letters find   ? keys   q leave",
        (true, false) => "enter opens it   up and down move   esc shows all again",
        (false, true) => "enter begins  letters find  ? keys  q",
        (false, false) => "enter opens  esc shows all",
    };
    put(buffer, area, area.x, foot, keys, theme.faint());
}

fn lines(model: &Model, theme: Theme, buffer: &mut Buffer, area: Rect) {
    let shown = model.choose.shown();
    if shown.is_empty() {
        let text = "no drill and no movement has these letters";
        put(buffer, area, area.x + 2, area.y, text, theme.faint());
        return;
    }
    let room = usize::from(area.height);
    // the session stays in sight as long as what is marked does too
    let marked = model.choose.marked;
    let first = if marked + 1 < room {
        0
    } else {
        let middle = marked.saturating_sub(room / 2);
        middle.min(shown.len().saturating_sub(room))
    };
    for (row, line) in shown.iter().skip(first).take(room).enumerate() {
        let y = area.y + row as u16;
        let at = first + row;
        let here = at == marked;
        let style = match (here, line.opens) {
            (true, _) => theme.here(),
            (false, Opens::Session) => theme.strong(),
            (false, _) => theme.plain(),
        };
        let sign = if here { "▸ " } else { "  " };
        let x = put(buffer, area, area.x, y, sign, style);
        let more = match () {
            () if row == 0 && first > 0 => format!("{first} above"),
            () if row + 1 == room && at + 1 < shown.len() => {
                format!("{} below", shown.len() - at - 1)
            }
            () => String::new(),
        };
        let title_width = if area.width >= 56 { 32 } else { area.width - 2 };
        let title = fitted(&line.title, title_width);
        let title = format!("{title:<0$}", usize::from(title_width));
        let x = put(buffer, area, x, y, &title, style);
        if area.width >= 56 {
            let room = area.right().saturating_sub(x + 1 + more.len() as u16 + 1);
            let side = fitted(&side(line), room);
            put(buffer, area, x + 1, y, &side, theme.faint());
        }
        put_right(buffer, area, y, &more, theme.faint());
    }
}

/// What stands beside a title: how far it is, else how much there is.
fn side(line: &Listed) -> String {
    if !line.is_playable() {
        "cannot be played".to_owned()
    } else if line.progress.is_empty() {
        line.extent.clone()
    } else {
        line.progress.clone()
    }
}

/// A paragraph of the preview, and how it is drawn.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Manner {
    Heading,
    Text,
    Faint,
    Urgent,
}

/// The preview of a line, the weightiest first.
fn words(line: &Listed) -> Vec<(Manner, String)> {
    let mut all = vec![(Manner::Heading, line.title.clone())];
    if !line.is_playable() {
        all.push((Manner::Urgent, "It cannot be played:".to_owned()));
        all.extend(
            line.problems
                .iter()
                .map(|text| (Manner::Text, text.clone())),
        );
        all.push((Manner::Faint, format!("gracerung check {}", line.name)));
        return all;
    }
    if !line.about.is_empty() {
        all.push((Manner::Text, line.about.clone()));
    }
    match line.opens {
        Opens::Session => {
            all.extend(
                line.preview
                    .iter()
                    .map(|text| (Manner::Faint, text.clone())),
            );
        }
        Opens::Drill => {
            let begins = ["begins with", "music"];
            for (what, text) in begins.into_iter().zip(&line.preview) {
                let manner = if what == "music" {
                    Manner::Text
                } else {
                    Manner::Heading
                };
                let said = if what == "music" {
                    text.clone()
                } else {
                    format!("{what} {text}")
                };
                all.push((manner, said));
            }
            let far = [&line.extent, &line.progress];
            let far: Vec<&str> = far
                .into_iter()
                .map(String::as_str)
                .filter(|text| !text.is_empty())
                .collect();
            all.push((Manner::Faint, far.join(", ")));
            all.push((Manner::Faint, format!("gracerung practise {}", line.name)));
        }
        Opens::Movement => {
            if !line.also.is_empty() {
                all.push((Manner::Text, format!("also {}", line.also)));
            }
            all.push((Manner::Faint, line.extent.clone()));
        }
    }
    all
}

fn draw_words(
    words: &[(Manner, String)],
    theme: Theme,
    buffer: &mut Buffer,
    area: Rect,
    beside: bool,
) {
    let style = |manner: Manner| -> Style {
        match manner {
            Manner::Heading => theme.heading(),
            Manner::Text => theme.plain(),
            Manner::Faint => theme.faint(),
            Manner::Urgent => theme.urgent(),
        }
    };
    let mut y = area.y;
    // below the list the title is said by the marked line
    for (manner, text) in words.iter().skip(usize::from(!beside)) {
        for line in wrapped(text, area.width) {
            if y >= area.bottom() {
                return;
            }
            put(buffer, area, area.x, y, &line, style(*manner));
            y += 1;
        }
        if beside {
            y += 1;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::app::{Message, Options, TodayLine, update};
    use crate::practice::Moment;
    use crate::screen::view;
    use ratatui::Terminal;
    use ratatui::backend::TestBackend;

    fn shown(width: u16, height: u16, change: impl Fn(&mut Model)) -> String {
        let mut model = Model::new(Options::default());
        let at = Moment {
            utc_us: 0,
            offset_s: 0,
            heard_ms: 0,
        };
        let drill = |name: &str| Listed {
            about: "A drill of our own.".to_owned(),
            preview: vec!["whole at 60".to_owned(), "LA 1 B 1".to_owned()],
            ..Listed::new(Opens::Drill, name, name)
        };
        let broken = Listed {
            problems: vec!["line 3: there is no note `H`".to_owned()],
            ..Listed::new(Opens::Drill, "broken", "broken")
        };
        let mut drills: Vec<Listed> = (0..40).map(|at| drill(&format!("drill {at}"))).collect();
        drills.insert(0, broken);
        update(&mut model, at, Message::Listed(drills));
        let today = TodayLine {
            minutes: 12,
            why: "drill 3, whole at 60: new to you".to_owned(),
        };
        update(&mut model, at, Message::Today(vec![today]));
        change(&mut model);
        let mut terminal = Terminal::new(TestBackend::new(width, height)).expect("a screen");
        terminal
            .draw(|frame| {
                view(&model, Theme::new(false), frame);
            })
            .expect("drawn");
        let buffer = terminal.backend().buffer();
        (0..height)
            .map(|y| {
                let row: String = (0..width).map(|x| buffer[(x, y)].symbol()).collect();
                format!("{row}\n")
            })
            .collect()
    }

    /// The first thing a player sees is what to do, and on any window; what is marked is told, a
    /// broken drill's problems among it.
    #[test]
    fn the_session_stands_first_and_what_is_marked_is_told() {
        for (width, height) in [(40, 10), (80, 24), (120, 40), (200, 60)] {
            let screen = shown(width, height, |_| ());
            assert!(screen.contains("▸ Today's session"), "{screen}");
            assert!(screen.contains("enter begins"), "{screen}");
            if height < 24 {
                continue;
            }
            assert!(
                screen.contains("drill 3, whole at 60: new to you"),
                "{screen}"
            );
            let screen = shown(width, height, |model| model.choose.marked = 1);
            assert!(screen.contains("line 3: there is no note `H`"), "{screen}");
            let screen = shown(width, height, |model| model.choose.marked = 2);
            assert!(screen.contains("begins with whole at 60"), "{screen}");
            assert!(screen.contains("LA 1 B 1"), "{screen}");
        }
    }
}
