//! Draws the map under the staff. It shows how each bar of a tune went lately, in groups of four,
//! and which bars to work on. The more often a bar failed, the higher is its sign.
//!
//! ```text
//!  bars ▁▁▁▁ ▄▁▁▁ ▁▁▁▁ █▁··  work on bars 5 and 13
//! ```

use super::put;
use crate::app::Practising;
use crate::planning::{BarLine, work_on, work_on_words};
use crate::screen::Theme;
use ratatui::buffer::Buffer;
use ratatui::layout::Rect;

/// The legend of the signs.
pub(super) const LEGEND: &str =
    "bars: ▁ never failed lately  ▄ in a fifth or more  █ in most  · not played yet";

/// The fewest bars of a tune that has a map.
const LEAST: usize = 4;
/// The number of bars in a group.
const GROUP: usize = 4;

/// The bars of the stage that is shown; none where there is no map.
fn lines(practising: &Practising) -> Option<Vec<&BarLine>> {
    let all = practising.bars().get(practising.stage())?;
    let lines: Vec<&BarLine> = all.iter().filter(|line| line.bar > 0).collect();
    let failed = lines.iter().any(|line| line.failed > 0.0);
    (failed && lines.len() >= LEAST).then_some(lines)
}

/// The height of the map in rows: 1, or 0 where nothing failed lately or the drill is no tune.
pub(super) fn rows(practising: &Practising) -> u16 {
    u16::from(lines(practising).is_some())
}

fn sign(line: &BarLine) -> &'static str {
    match (line.of, line.share()) {
        (0, _) => "·",
        (_, share) if share <= 0.0 => "▁",
        (_, share) if share < 0.2 => "▂",
        (_, share) if share < 0.4 => "▄",
        (_, share) if share < 0.7 => "▆",
        _ => "█",
    }
}

/// Draws the map into one row. Where not all bars fit, those around the present bar are drawn.
pub(super) fn draw(practising: &Practising, theme: Theme, buffer: &mut Buffer, area: Rect) {
    let Some(lines) = lines(practising).filter(|_| area.height > 0) else {
        return;
    };
    let present = practising.present_bar();
    let all = &practising.bars()[practising.stage()];
    let words = work_on_words(&work_on(all)).unwrap_or_default();
    let room = usize::from(area.width).saturating_sub(6 + words.chars().count());
    let groups = (room / (GROUP + 1)).max(1);
    let here = present.and_then(|bar| lines.iter().position(|line| line.bar == bar));
    let here = here.unwrap_or(0) / GROUP;
    let first = here
        .saturating_sub(groups / 2)
        .min(lines.len().div_ceil(GROUP).saturating_sub(groups));
    let mut x = put(buffer, area, area.x, area.y, "bars ", theme.plain());
    for group in lines.chunks(GROUP).skip(first).take(groups) {
        for line in group {
            let style = if present == Some(line.bar) {
                theme.accent()
            } else if line.share() >= 0.2 {
                theme.strong()
            } else {
                theme.plain()
            };
            x = put(buffer, area, x, area.y, sign(line), style);
        }
        x += 1;
    }
    put(buffer, area, x + 1, area.y, &words, theme.strong());
}

#[cfg(test)]
mod tests {
    use crate::app::{Message, Model, OpenedDrill, Options, prints, scores, update};
    use crate::drill::{built_in, read};
    use crate::planning::missed;
    use crate::practice::Moment;
    use crate::screen::{Theme, view};
    use ratatui::{Terminal, backend::TestBackend};

    fn shown(width: u16, height: u16, faults: &[u32]) -> String {
        let file = built_in("lamp-on-the-slipway").expect("a tune of our own");
        let drill = read(file.text.as_bytes()).0.expect("no problem");
        let stage = prints(&scores(&drill))[0];
        let missed = |(number, bar): (u64, &u32)| missed(number, stage, *bar);
        let opened = OpenedDrill {
            lately: (0..).zip(faults).map(missed).collect(),
            ..OpenedDrill::new(file.name, drill)
        };
        let mut model = Model::new(Options::default());
        let opened = Message::Opened(Box::new(opened));
        update(&mut model, Moment::default(), opened);
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

    /// A player must see where a tune fails without needing colours. A tune without results must
    /// not lose a row to the map.
    #[test]
    fn a_tune_shows_where_it_fails() {
        for (width, height) in [(80, 24), (120, 40)] {
            let screen = shown(width, height, &[5, 13, 5, 13, 13]);
            assert!(
                screen.contains("bars ▁▁▁▁ ▆▁▁▁ ▁▁▁▁ ▆▁▁▁  work on bars 5 and 13"),
                "{width}x{height}:\n{screen}"
            );
            assert!(!shown(width, height, &[]).contains("bars ▁"));
        }
        let screen = shown(50, 20, &[13, 13, 13]);
        assert!(screen.contains("work on bar 13"), "{screen}");
    }
}
