//! The staff on a terminal: the engraved layout, rounded to cells of characters.
//!
//! A row is half a staff space, so that every line and every space of the staff has a row of its
//! own. A column is half a staff space too, or more where the bars would not fit otherwise. Heads
//! are placed as in the layout. To save rows, stems are shortened to two rows for gracenotes and
//! four for the melody, three beams become one double line, and the clef is left out.
//!
//! This module knows characters and their meanings. It knows no colour and no terminal library.
//!
//! ```text
//!      ╞                         grip
//!      │     ╞                  ╒═╤═╕
//! ─────•─────│─────────│────────│─•─│───────────│
//! ```

mod cells;
mod melody;
mod page;

use super::columns::bars_of;
use super::lay::lay_out_bars;
use super::settings::{LayoutSettings as Layout, Spacing};
use crate::drill::Music;
use crate::score::{NoteId, Score};
pub use cells::{Grid, Signs, StaffCell, StaffSettings, Style};
use page::Page;
use std::collections::{BTreeMap, BTreeSet};
use std::ops::Range;

/// The number of columns in a staff space, where there is room.
const COLUMNS: f64 = 2.0;
/// The fewest columns in a staff space at which neighbouring gracenotes stay apart.
const FEWEST: f64 = 0.95;
/// A staff is stretched to at most this many times its natural width.
const WIDEST: f64 = 1.7;

/// Draws written bars in one row. They are given as indices into [`Music::bars`]; a range beyond
/// the end is cut. The metre is drawn where the bars begin with the first bar.
pub fn draw(
    score: &Score,
    music: Option<&Music>,
    bars: Range<usize>,
    settings: &StaffSettings,
) -> Grid {
    draw_but(score, music, bars, settings, &BTreeSet::new())
}

/// Draws like [`draw`], but leaves out some melody notes with everything that belongs to them.
/// Their bars keep their width.
pub fn draw_but(
    score: &Score,
    music: Option<&Music>,
    bars: Range<usize>,
    settings: &StaffSettings,
    hidden: &BTreeSet<NoteId>,
) -> Grid {
    let all = bars_of(score, music);
    let end = bars.end.min(all.len());
    let chosen = &all[bars.start.min(end)..end];
    if chosen.is_empty() || settings.columns == 0 {
        return Grid {
            rows: Vec::new(),
            fits: chosen.is_empty(),
        };
    }
    let mut layout = Layout {
        width: 1.0,
        // columns are few, so groups of gracenotes are placed as close as possible
        spacing: Spacing {
            gracenotes: 0.4,
            air: 0.0,
            ..Spacing::default()
        },
        bars_in_a_system: Some(usize::MAX),
        parts_apart: false,
        clef: false,
        metre: bars.start == 0,
        bar_numbers: false,
        movement_names: settings.names,
        names_again: true,
        grace_names: settings.names,
        beat_numbers: settings.beat_numbers,
        note_names: settings.note_names,
    };
    let (least, natural) = super::lay::widths(chosen, &layout);
    let room = settings.columns as f64 - 1.0;
    let scale = (room / least).clamp(FEWEST, COLUMNS);
    layout.width = (room / scale).clamp(least, (natural * WIDEST).max(least));
    let mut engraved = lay_out_bars(chosen, &layout);
    let Some(system) = engraved.systems.first_mut() else {
        return Grid {
            rows: Vec::new(),
            fits: false,
        };
    };
    let fits = (system.width * scale).round() as usize <= settings.columns;
    let mut page = Page {
        cells: BTreeMap::new(),
        scale,
        ascii: settings.signs == Signs::Ascii,
        last_column: (system.width * scale).round() as i32 - 1,
    };
    let stays = |id: NoteId| !hidden.contains(&id.melody());
    system
        .elements
        .retain(|element| element.note.is_none_or(stays));
    page.draw(system);
    Grid {
        rows: page.rows(settings),
        fits,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::drill::{BUILT_IN, built_in, read};
    use crate::score::resolve_music;
    use crate::units::Beats;

    fn stage(name: &str, stage: usize) -> (Score, Music) {
        let drill = built_in(name).expect("built in");
        let drill = read(drill.text.as_bytes()).0.expect("reads");
        let music = drill.stages[stage].music.clone();
        let score = resolve_music(&music, Beats::ZERO, &drill.schools);
        (score, music)
    }

    fn text(grid: &Grid) -> String {
        grid.rows
            .iter()
            .map(|row| row.iter().map(|cell| cell.symbol).collect::<String>())
            .map(|row| row.trim_end().to_owned() + "\n")
            .collect()
    }

    /// The figures of a metre must be in the same column.
    #[test]
    fn the_figures_of_a_metre_stand_above_each_other() {
        for metre in ["2/4", "3/4", "4/4", "6/8", "9/8"] {
            let document = format!(
                "title: A\nmetre: {metre}\nunit: 1/8\nstages:\n  - {{name: x, music: \"c{}|\"}}\n\
                 ladder: {{from: 50, to: 60, step: 4%}}\n",
                match metre {
                    "2/4" => 4,
                    "3/4" | "6/8" => 6,
                    "4/4" => 8,
                    _ => 9,
                }
            );
            let drill = read(document.as_bytes()).0.expect("reads");
            let music = &drill.stages[0].music;
            let score = resolve_music(music, Beats::ZERO, &drill.schools);
            let grid = draw(&score, Some(music), 0..1, &StaffSettings::wide(80));
            let columns: Vec<usize> = grid
                .rows
                .iter()
                .filter_map(|row| row.iter().position(|cell| cell.style == Style::Metre))
                .collect();
            assert_eq!(columns.len(), 2, "{metre}:\n{}", text(&grid));
            assert_eq!(columns[0], columns[1], "{metre}:\n{}", text(&grid));
        }
    }

    /// Every note of the score must be found on the screen, or the cursor would vanish.
    #[test]
    fn every_note_and_gracenote_of_every_built_in_stage_has_a_head_at_eighty_columns() {
        for drill in BUILT_IN {
            let value = read(drill.text.as_bytes()).0.expect("reads");
            for (place, stage) in value.stages.iter().enumerate() {
                let score = resolve_music(&stage.music, Beats::ZERO, &value.schools);
                for bar in 0..stage.music.bars.len() {
                    let grid = draw(
                        &score,
                        Some(&stage.music),
                        bar..bar + 1,
                        &StaffSettings::wide(80),
                    );
                    assert!(grid.fits, "{} stage {place} bar {bar}", drill.name);
                    let heads = |style| {
                        grid.rows
                            .iter()
                            .flatten()
                            .filter(|cell| cell.style == style)
                            .count()
                    };
                    let index = score
                        .bars
                        .iter()
                        .position(|b| b.written == bar)
                        .expect("played");
                    let notes: Vec<_> = score.notes.iter().filter(|n| n.bar == index).collect();
                    let graces: usize = notes.iter().map(|n| n.group.parts.len()).sum();
                    let drawn = stage.music.write_bars()[bar].heads.len();
                    assert_eq!(heads(Style::Head), drawn, "{}\n{}", drill.name, text(&grid));
                    assert_eq!(
                        heads(Style::GraceHead),
                        graces,
                        "{}\n{}",
                        drill.name,
                        text(&grid)
                    );
                    assert!(grid.rows.iter().all(|row| row.len() <= 80));
                }
            }
        }
    }

    /// Names must not touch: `doublingG` could be read as a doubling and a high G gracenote.
    #[test]
    fn no_name_touches_another_and_every_tune_has_some() {
        let (score, music) = stage("lamp-on-the-slipway", 0);
        for first in (0..music.bars.len()).step_by(4) {
            let grid = draw(
                &score,
                Some(&music),
                first..first + 4,
                &StaffSettings::wide(80),
            );
            let drawn = text(&grid);
            let is_name = |cell: &StaffCell| cell.style == Style::MovementName;
            let names = grid.rows.iter().flatten().filter(|cell| is_name(cell));
            assert!(names.count() > 3, "{drawn}");
            for pair in grid.rows.iter().flat_map(|row| row.windows(2)) {
                let touch = is_name(&pair[0]) && pair[1].style == Style::GraceName
                    || pair[0].style == Style::GraceName && is_name(&pair[1]);
                assert!(!touch, "{drawn}");
            }
        }
    }

    #[test]
    fn ascii_is_ascii_and_nothing_panics_at_any_width() {
        let (score, music) = stage("taorluath", 1);
        for columns in 0..60 {
            let settings = StaffSettings {
                signs: Signs::Ascii,
                ..StaffSettings::wide(columns)
            };
            let grid = draw(&score, Some(&music), 0..9, &settings);
            assert!(text(&grid).is_ascii());
            assert!(grid.rows.iter().all(|row| row.len() <= columns));
        }
    }

    #[test]
    fn the_grip_from_d_reads_like_this() {
        let (score, music) = stage("grip-from-d", 3);
        let grid = draw(&score, Some(&music), 0..2, &StaffSettings::wide(80));
        insta::assert_snapshot!(text(&grid));
        let (score, music) = stage("grip-from-d", 2);
        let grid = draw(&score, Some(&music), 0..2, &StaffSettings::wide(80));
        insta::assert_snapshot!(text(&grid));
    }
}
