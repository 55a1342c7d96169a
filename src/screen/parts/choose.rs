//! Draws the start page: today's session, homework, the drills, and the search. A preview of the
//! marked line is beside the list, or below it in a narrow window. It shows the purpose, where
//! practice would begin and its music, or the problems that prevent playing.

use super::{fitted, frame, put, put_right, wrapped};
use crate::app::{Listed, Model, Opens};
use crate::screen::Theme;
use ratatui::Frame;
use ratatui::buffer::Buffer;
use ratatui::layout::Rect;
use ratatui::style::Style;
use unicode_width::UnicodeWidthStr as _;

/// The least width of a window, in columns, in which the preview is beside the list.
const BESIDE: u16 = 100;
/// The largest width of the titles, in columns.
const TITLE: u16 = 32;
/// The least width of the titles, in columns.
const SHORT_TITLE: u16 = 16;
/// The width of the words about a drill's progress, in columns.
const SIDE: u16 = 26;
/// The least width of the bar that shows a drill's progress, in columns.
const BAR: u16 = 10;

/// Draws the page.
pub(in crate::screen) fn draw(model: &Model, theme: Theme, target: &mut Frame, whole: Rect) {
    let buffer = target.buffer_mut();
    let area = frame::within(whole);
    let search = &model.choose().letters();
    let short = area.width < 46;
    let beside_name = match (search.is_empty(), short) {
        (true, true) => "type to find".to_owned(),
        (true, false) => "type to find a drill or a movement".to_owned(),
        (false, _) => format!("find {search}▏"),
    };
    frame::head(buffer, whole, "gracerung", &beside_name, theme);
    if !search.is_empty() && short {
        // the letters typed so far replace the text beside the page's name
        frame::head(buffer, whole, &beside_name, "", theme);
    }
    let beside = area.width >= BESIDE;
    let list_width = if beside { area.width / 2 } else { area.width };
    let named = model.choose().bars();
    let named = named.map(|(tune, bars)| tune.piece(&tune.title, bars));
    let marked = named.as_ref().or(model.choose().current());
    let preview = marked.map(words).unwrap_or_default();
    let below: u16 = match (beside, area.height) {
        (true, _) | (false, ..14) => 0,
        (false, 14..20) => 4,
        (false, height) => (height / 3).max(7),
    };
    let head = if area.height < 14 { 1 } else { 2 };
    let notice = model.notice().map_or_else(Vec::new, |notice| {
        let first = notice.text.lines().next().unwrap_or_default();
        wrapped(first, area.width)
    });
    let told = (notice.len() as u16).clamp(1, 2);
    let list = Rect {
        y: area.y + head,
        width: list_width,
        height: area.height.saturating_sub(head + below + 1 + told),
        ..area
    };
    lines(model, theme, buffer, list);
    let room = if beside {
        Rect {
            x: area.x + list_width + 2,
            width: area.width.saturating_sub(list_width + 2),
            ..list
        }
    } else {
        Rect {
            y: list.bottom() + u16::from(below > 0),
            height: below.saturating_sub(1),
            ..area
        }
    };
    // the small board is at the right end of the preview, where there is room for both
    let board = model.choose().current().map_or(&[][..], |line| &line.board);
    let taken = small_board(board, theme, buffer, room, beside);
    let words = Rect {
        width: room.width - taken,
        ..room
    };
    draw_words(&preview, theme, buffer, words, beside);
    let foot = Rect {
        y: area.bottom().saturating_sub(1),
        height: 1,
        ..area
    };
    let urgent = model.notice().is_some_and(|notice| notice.urgent);
    let style = if urgent {
        theme.warning()
    } else {
        theme.plain()
    };
    for (y, text) in (foot.y.saturating_sub(told)..foot.y).zip(&notice) {
        put(buffer, area, area.x, y, text, style);
    }
    frame::keys(buffer, foot, &keys(model), theme);
}

/// What the keys and pedals do on this page.
fn keys(model: &Model) -> Vec<(&'static str, &'static str)> {
    let marked = model.choose().current();
    if marked.is_none() && model.choose().bars().is_none() && !model.choose().letters().is_empty() {
        return vec![("esc", "shows all again"), ("backspace", "a letter back")];
    }
    let unfolds = marked.is_some_and(|line| !line.pieces.is_empty());
    let enter = match marked {
        Some(line) if !line.is_playable() => "shows why",
        Some(line) if line.opens == Opens::Session => "begins",
        Some(line) if line.opens == Opens::Movement => "makes its drill",
        _ => "opens it",
    };
    // the two pedals come first, because they are enough for this page
    let mut keys = vec![("right/enter", enter), ("left/down", "next")];
    if model.choose().letters().is_empty() {
        // the head also says that letters search, so this hint is replaced where a more useful one
        // exists
        keys.push(if unfolds {
            ("tab", "parts and phrases")
        } else {
            ("letters", "find")
        });
        keys.extend([("q", "leaves"), ("?", "keys")]);
    } else {
        keys.push(("esc", "shows all again"));
    }
    keys
}

fn lines(model: &Model, theme: Theme, buffer: &mut Buffer, area: Rect) {
    let shown = model.choose().shown();
    if let Some((tune, bars)) = model.choose().bars() {
        let text = format!("▸ {} of {}", bars.spoken(), tune.title);
        put(buffer, area, area.x, area.y, &text, theme.accent());
        return;
    }
    if shown.is_empty() {
        let text = "no drill and no movement has these letters";
        for (y, line) in (area.y..).zip(wrapped(text, area.width)) {
            put(buffer, area, area.x, y, &line, theme.plain());
        }
        return;
    }
    let room = usize::from(area.height);
    // the session's line is kept visible as long as the marked line is visible too
    let marked = model.choose().marked();
    let first = if marked + 1 < room {
        0
    } else {
        let middle = marked.saturating_sub(room / 2);
        middle.min(shown.len().saturating_sub(room))
    };
    // the column of titles is only as wide as the longest title needs, so that nothing beside it is
    // cut without need
    let widest = shown.iter().map(|line| line.title.width() as u16 + 2);
    let titles = widest.max().unwrap_or(0).clamp(SHORT_TITLE, TITLE);
    for (row, line) in shown.iter().skip(first).take(room).enumerate() {
        let y = area.y + row as u16;
        let at = first + row;
        let here = at == marked;
        let (style, beside) = match (here, line.opens) {
            (true, _) => (theme.accent(), theme.accent()),
            (false, Opens::Session | Opens::Homework) => (theme.strong(), theme.plain()),
            (false, _) => (theme.plain(), theme.plain()),
        };
        if here {
            let blank = " ".repeat(usize::from(area.width));
            put(buffer, area, area.x, y, &blank, style);
        }
        let sign = if here { "▸ " } else { "  " };
        let x = put(buffer, area, area.x, y, sign, style);
        let more = match () {
            () if row == 0 && first > 0 => format!("{first} above"),
            () if row + 1 == room && at + 1 < shown.len() => {
                format!("{} below", shown.len() - at - 1)
            }
            () => String::new(),
        };
        let wide = area.width >= TITLE + SIDE;
        let width = if wide { titles } else { area.width - 2 };
        let title = match line.opens {
            Opens::Bars(_) | Opens::HeldDots => format!("  {}", line.title),
            _ => line.title.clone(),
        };
        put(buffer, area, x, y, &fitted(&title, width), style);
        if wide {
            let x = x + titles + 1;
            let room = area.right().saturating_sub(x + more.len() as u16 + 1);
            let words = fitted(&side(line), room);
            let after = put(buffer, area, x, y, &words, beside).max(x + SIDE - 1) + 1;
            let room = area.right().saturating_sub(after + more.len() as u16 + 1);
            if let Some(share) = line.share.filter(|_| room >= BAR) {
                let bar = share_bar(share, usize::from(room.min(40)));
                put(buffer, area, after, y, &bar, beside);
            }
        }
        put_right(buffer, area, y, &more, beside);
    }
}

/// A bar that shows how much of a board is clear.
fn share_bar((clear, all): (usize, usize), columns: usize) -> String {
    let full = (clear * columns).checked_div(all).unwrap_or(0);
    // a board that was begun shows at least one block, and the bar of a board that is not clear is
    // never full
    let full = full
        .max(usize::from(clear > 0))
        .min(columns - usize::from(clear < all));
    format!("{}{}", "▰".repeat(full), "▱".repeat(columns - full))
}

/// Draws the small board where there is room. Returns the number of columns that it takes.
fn small_board(
    board: &[(String, String)],
    theme: Theme,
    buffer: &mut Buffer,
    area: Rect,
    beside: bool,
) -> u16 {
    /// The width of the rungs' labels in columns.
    const RUNG: u16 = 5;
    let wide = board
        .iter()
        .map(|(_, signs)| signs.chars().count() as u16)
        .max()
        .unwrap_or(0);
    let width = RUNG + wide;
    if board.is_empty() || area.width < width + 36 || area.height < 4 {
        return 0;
    }
    let rows = usize::from(area.height);
    // where not all rungs fit, the lowest open one is among those shown
    let open = board
        .iter()
        .rposition(|(_, signs)| signs.chars().any(|sign| sign == '○'));
    let last = open.map_or(board.len(), |at| (at + rows.div_ceil(2)).min(board.len()));
    let first = last.max(rows.min(board.len())).saturating_sub(rows);
    let x = area.right() - width;
    let y = area.y + u16::from(beside && rows > board.len());
    for (y, (rung, signs)) in (y..).zip(board.iter().skip(first).take(rows)) {
        put(buffer, area, x, y, &format!("{rung:>4}"), theme.plain());
        let mut x = x + RUNG;
        for sign in signs.chars() {
            let style = match sign {
                '◆' | '◈' | '■' | '▣' => theme.good(),
                '·' => theme.quiet(),
                _ => theme.plain(),
            };
            x = put(buffer, area, x, y, &sign.to_string(), style);
        }
    }
    width + 2
}

/// The words beside a title: the drill's progress, or else its extent.
fn side(line: &Listed) -> String {
    if !line.is_playable() {
        "cannot be played".to_owned()
    } else if line.progress.is_empty() {
        line.extent.clone()
    } else {
        line.progress.clone()
    }
}

/// A kind of paragraph of the preview, which decides its style.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Manner {
    Heading,
    Text,
    Urgent,
}

/// The paragraphs of a line's preview, the most important first.
fn words(line: &Listed) -> Vec<(Manner, String)> {
    let mut all = vec![(Manner::Heading, line.title.clone())];
    if !line.is_playable() {
        all.push((Manner::Urgent, "It cannot be played:".to_owned()));
        all.extend(
            line.problems
                .iter()
                .map(|text| (Manner::Text, text.clone())),
        );
        all.push((Manner::Text, "enter shows each with its line".to_owned()));
        return all;
    }
    if !line.about.is_empty() {
        all.push((Manner::Text, line.about.clone()));
    }
    match line.opens {
        Opens::Session | Opens::Homework => {
            all.extend(line.preview.iter().map(|text| (Manner::Text, text.clone())));
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
            let far = [&line.extent, &line.progress, &line.last];
            let far: Vec<&str> = far
                .into_iter()
                .map(String::as_str)
                .filter(|text| !text.is_empty())
                .collect();
            all.push((Manner::Text, far.join(", ")));
            all.push((Manner::Text, format!("gracerung practise {}", line.name)));
        }
        Opens::Bars(_) | Opens::HeldDots => all.push((Manner::Text, line.extent.clone())),
        Opens::Movement => {
            if !line.also.is_empty() {
                all.push((Manner::Text, format!("also {}", line.also)));
            }
            all.push((Manner::Text, line.extent.clone()));
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
            Manner::Heading => theme.strong(),
            Manner::Text => theme.plain(),
            Manner::Urgent => theme.warning(),
        }
    };
    let mut y = area.y;
    // below the list the preview needs no title, because the marked line shows it
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
    use crate::app::{Action, Message, Options, SessionPlan, update};
    use crate::planning::{Item, SessionPart, Why};
    use crate::practice::{Moment, Rung};
    use crate::screen::view;
    use crate::units::Bpm;
    use ratatui::Terminal;
    use ratatui::backend::TestBackend;

    fn shown(width: u16, height: u16, down: i32) -> String {
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
        let item = Item {
            open: "drill 3".to_owned(),
            task: None,
            title: "drill 3".to_owned(),
            stage: "whole".to_owned(),
            stage_number: 1,
            rung: Rung::Tempo(Bpm::whole(60).expect("a tempo")),
            minutes: 12,
            kind: Why::New,
            why: "drill 3, whole at 60: new to you".to_owned(),
        };
        let session = SessionPlan {
            parts: vec![SessionPart::Cell(Box::new(item))],
            at: 0,
            outcomes: Vec::new(),
            minutes: 15,
            used_ms: 0,
            ..SessionPlan::default()
        };
        update(&mut model, at, Message::Today(session, Vec::new()));
        update(&mut model, at, Message::Act(Action::Move(-down)));
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

    /// In a window of any size the first page says what to do. The marked line has its preview, and
    /// the preview of a broken drill shows its problems.
    #[test]
    fn the_session_stands_first_and_what_is_marked_is_told() {
        for (width, height) in [(40, 10), (80, 24), (120, 40), (200, 60)] {
            let screen = shown(width, height, 0);
            assert!(screen.contains("▸ Today's session"), "{screen}");
            // only one key is named where there is no room for the pedal and the key
            let begins = if width < 80 {
                "right begins  left next"
            } else {
                "right/enter begins   left/down next"
            };
            assert!(screen.contains(begins), "{screen}");
            if height < 24 {
                continue;
            }
            assert!(screen.contains("12 minutes"), "{screen}");
            assert!(
                screen.contains("drill 3, whole at 60: new to you"),
                "{screen}"
            );
            let screen = shown(width, height, 1);
            assert!(screen.contains("line 3: there is no note `H`"), "{screen}");
            let screen = shown(width, height, 2);
            assert!(screen.contains("begins with whole at 60"), "{screen}");
            assert!(screen.contains("LA 1 B 1"), "{screen}");
        }
    }
}
