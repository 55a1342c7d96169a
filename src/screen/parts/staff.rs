//! Draws the music on a staff, with the layout of the engraving room, colours and a cursor.

use super::saying::sounding;
use crate::app::{HeardPlace, Practising};
use crate::drill::Music;
use crate::engraving::terminal::{Grid, Signs, StaffCell, StaffSettings, Style as Sign, draw_but};
use crate::score::{NoteId, Score};
use crate::screen::Theme;
use ratatui::buffer::Buffer;
use ratatui::layout::Rect;
use ratatui::style::Style;
use std::collections::BTreeSet;

/// The least height of a staff in rows.
pub(super) const LEAST_ROWS: u16 = 12;
/// The most bars shown at once. With more bars the eye has to search for the present one.
const MOST_BARS: usize = 4;

/// Draws the bars around the one that sounds. Returns false where not even one bar fits.
pub(super) fn draw(buffer: &mut Buffer, theme: Theme, area: Rect, practising: &Practising) -> bool {
    let stage = practising.stage();
    let (Some(score), Some(drilled)) = (
        practising.scores().get(stage),
        practising.drill().stages.get(stage),
    ) else {
        return false;
    };
    let now = sounding(practising).now.map(|sounded| sounded.id);
    let present = practising.heard().map_or(0, |place| {
        let score = practising.scores().get(place.stage);
        score.map_or(0, |score| present_bar(score, place))
    });
    let written = (score, &drilled.music, &practising.hidden_notes());
    draw_bars(buffer, theme, area, written, (present, now))
}

/// Draws as many bars as fit around a written bar, counted from 0, with the note that sounds.
/// Hidden notes are not drawn.
pub(super) fn draw_bars(
    buffer: &mut Buffer,
    theme: Theme,
    area: Rect,
    (score, music, hidden): (&Score, &Music, &BTreeSet<NoteId>),
    (present, now): (usize, Option<NoteId>),
) -> bool {
    let bars = music.bars.len();
    let grid = (1..=MOST_BARS.min(bars)).rev().find_map(|count| {
        let first = (present / count * count).min(bars.saturating_sub(count));
        let settings = StaffSettings {
            columns: usize::from(area.width),
            signs: Signs::Unicode,
            names: true,
            beat_numbers: true,
            note_names: true,
        };
        let chosen = first..first + count;
        let grid = draw_but(score, Some(music), chosen, &settings, hidden);
        (grid.fits && !grid.rows.is_empty()).then_some(grid)
    });
    match grid {
        Some(grid) if grid.rows.len() <= usize::from(area.height) => {
            paint(buffer, theme, area, &grid, now);
            true
        }
        Some(grid) => {
            let rows = usize::from(area.height);
            paint(buffer, theme, area, &without_names(grid, rows), now);
            true
        }
        None => false,
    }
}

/// Removes rows of names where there is no room for them, beginning with the names of movements.
fn without_names(mut grid: Grid, rows: usize) -> Grid {
    let without = |grid: &mut Grid, sign: Sign| {
        if grid.rows.len() > rows {
            let is_blank = |cell: &StaffCell| cell.symbol == ' ' || cell.style == sign;
            grid.rows.retain(|row| {
                !row.iter().all(is_blank) || row.iter().all(|cell| cell.symbol == ' ')
            });
        }
    };
    for sign in [Sign::GraceName, Sign::MovementName, Sign::BeatNumber] {
        without(&mut grid, sign);
    }
    let blank = |row: &Vec<StaffCell>| row.iter().all(|cell| cell.symbol == ' ');
    while grid.rows.len() > rows && grid.rows.first().is_some_and(blank) {
        grid.rows.remove(0);
    }
    // beams and flags show the lengths of notes, so stems are shortened before a row with beams or
    // flags is removed
    while grid.rows.len() > rows
        && let Some(row) = grid.rows.iter().rposition(|row| is_stems_alone(row))
    {
        grid.rows.remove(row);
    }
    without(&mut grid, Sign::NoteName);
    while grid.rows.len() > rows && join_beams(&mut grid.rows) {}
    grid
}

/// Joins the two lowest rows into one with double lines, where both contain beams. Returns true
/// where they did.
fn join_beams(rows: &mut Vec<Vec<StaffCell>>) -> bool {
    let double = |sign: char| match sign {
        '┗' => Some('╚'),
        '━' => Some('═'),
        '┛' => Some('╝'),
        '┻' => Some('╩'),
        _ => None,
    };
    let [.., upper, lower] = rows.as_slice() else {
        return false;
    };
    if !lower.iter().any(|cell| cell.symbol == '━') || !upper.iter().any(|cell| cell.symbol == '━')
    {
        return false;
    }
    let joined = upper
        .iter()
        .zip(lower)
        .map(|(above, below)| match double(below.symbol) {
            Some(symbol) if above.symbol != ' ' => StaffCell { symbol, ..*below },
            _ if below.symbol == ' ' => *above,
            _ => *below,
        })
        .collect();
    rows.truncate(rows.len() - 2);
    rows.push(joined);
    true
}

/// True for a row that contains only stems and, within the staff, bar lines.
fn is_stems_alone(row: &[StaffCell]) -> bool {
    row.iter().any(|cell| cell.symbol != ' ')
        && row.iter().all(|cell| {
            cell.symbol == ' '
                || (matches!(cell.style, Sign::Stem | Sign::GraceStem)
                    && matches!(cell.symbol, '┃' | '│'))
        })
}

/// The index, from 0, of the written bar that sounds at a place.
pub(super) fn present_bar(score: &Score, place: &HeardPlace) -> usize {
    let at = place.in_repetition();
    score
        .bars
        .iter()
        .rev()
        .find(|bar| bar.start.to_f64() <= at)
        .map_or(0, |bar| bar.written)
}

fn paint(buffer: &mut Buffer, theme: Theme, area: Rect, grid: &Grid, now: Option<NoteId>) {
    let now = now.map(|id| NoteId { pass: 1, ..id });
    let top = area.y + area.height.saturating_sub(grid.rows.len() as u16) / 2;
    for (y, row) in (top..area.bottom()).zip(&grid.rows) {
        for (x, cell) in (area.x..area.right()).zip(row) {
            if cell.symbol == ' ' {
                continue;
            }
            let here = now.is_some() && cell.note == now;
            let style = if here {
                theme.accent()
            } else {
                style(theme, cell.style)
            };
            if let Some(target) = buffer.cell_mut((x, y)) {
                target.set_char(cell.symbol).set_style(style);
            }
        }
    }
}

fn style(theme: Theme, sign: Sign) -> Style {
    match sign {
        Sign::Blank | Sign::Staff | Sign::BarLine => theme.quiet(),
        Sign::BeatNumber => theme.plain(),
        Sign::Head | Sign::Metre | Sign::NoteName => theme.strong(),
        Sign::MovementName | Sign::GraceName => theme.strong(),
        Sign::Stem | Sign::Dot | Sign::Tie | Sign::Tuplet | Sign::GraceHead | Sign::GraceStem => {
            theme.plain()
        }
    }
}

#[cfg(test)]
mod tests {
    use crate::app::{Action, Message, Model, OpenedDrill, Options, update};
    use crate::drill::{built_in, read};
    use crate::practice::Moment;
    use crate::screen::{Theme, view};
    use ratatui::{Terminal, backend::TestBackend};

    /// The page as text, after `v` was pressed this many times.
    fn shown((width, height): (u16, u16), presses: usize) -> String {
        let file = built_in("lamp-on-the-slipway").expect("a tune of our own");
        let opened = OpenedDrill::new(file.name, read(file.text.as_bytes()).0.expect("no problem"));
        let mut model = Model::new(Options::default());
        let opened = Message::Opened(Box::new(opened));
        update(&mut model, Moment::default(), opened);
        for _ in 0..presses {
            let pressed = Message::Act(Action::HidePhrase);
            update(&mut model, Moment::default(), pressed);
        }
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

    /// Neither note heads nor fingers nor names may show music that is to be played from memory.
    #[test]
    fn a_hidden_phrase_is_nowhere_on_the_screen() {
        for size in [(120, 40), (80, 24), (60, 12)] {
            let read = shown(size, 0);
            let hidden = shown(size, 1);
            let signs = |screen: &str| {
                let head = |sign: &char| matches!(sign, '╒' | '╞' | '{');
                screen.chars().filter(head).count()
            };
            assert!(signs(&read) > 0, "{read}");
            // the small window also shows the next phrase, which is not hidden
            let left = if size.1 < 20 { signs(&read) - 4 } else { 0 };
            assert!(signs(&hidden) <= left, "{hidden}");
            assert!(read.contains("next"), "{read}");
            assert!(
                !hidden.contains("HG next") && !hidden.contains("E next"),
                "{hidden}"
            );
            assert!(hidden.contains("a phrase hidden"), "{hidden}");
            let all = shown(size, 3);
            assert!(all.contains("by heart"), "{all}");
            assert_eq!(signs(&all), 0, "{all}");
            let again = shown(size, 4);
            assert!(again.contains("all of the music is shown"), "{again}");
        }
    }
}
