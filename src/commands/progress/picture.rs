//! Progress as a picture: panels below each other over one axis of days. They show minutes, the
//! share of clean repetitions, the tempi reached in each drill, and measured lengths and landings.

mod panels;

use super::paint::Painting;
use panels::{AXIS, MOST_LINES, NAMES, Panel, TITLE, day_of};
pub(super) use panels::{NARROW, Shown, WIDE};
use plotters::coord::Shift;
use plotters::prelude::*;
use plotters::style::text_anchor::{HPos, Pos, VPos};
use quick_xml::escape::escape;

/// Room to the left of every panel for the figures of its axis, in units of the drawing.
const LEFT: u32 = 40;
/// Room above an axis for its unit, in units of the drawing. The unit is written horizontally,
/// because vertical text is hard to read.
const UNIT: u32 = 18;
const SMALL: i32 = 13;

/// Colours that differ for every kind of colour vision (Okabe & Ito, Color Universal Design, 2008).
/// Each line has a shape too, and black is kept for text.
const COLOURS: [RGBColor; MOST_LINES] = [
    RGBColor(0, 114, 178),
    RGBColor(213, 94, 0),
    RGBColor(0, 158, 115),
    RGBColor(204, 121, 167),
];

/// The colours that replace the picture's colours on a dark background, for the page's style sheet.
const IN_THE_DARK: [(&str, &str); 6] = [
    ("#FFFFFF", "#16181a"),
    ("#000000", "#eeeeee"),
    ("#0072B2", "#6cc0f5"),
    ("#D55E00", "#ff9a57"),
    ("#009E73", "#3fd3a6"),
    ("#CC79A7", "#eea6cc"),
];

fn cannot(error: impl std::fmt::Display) -> String {
    format!("cannot draw the picture: {error}")
}

/// The picture as SVG.
///
/// # Errors
/// The drawing library failed; the message is its own.
pub(super) fn svg(shown: &Shown, width: u32) -> Result<String, String> {
    let mut text = String::new();
    {
        let size = (width, shown.height(width));
        let root = SVGBackend::with_string(&mut text, size).into_drawing_area();
        draw(shown, &root).map_err(cannot)?;
        root.present().map_err(cannot)?;
    }
    Ok(text)
}

/// The picture as PNG.
///
/// # Errors
/// The drawing library or the PNG encoder failed; the message is its own.
pub(super) fn png(shown: &Shown) -> Result<Vec<u8>, String> {
    let size = (WIDE, shown.height(WIDE));
    let mut painting = Painting::new(size).ok_or_else(|| cannot("it has no size"))?;
    {
        let root = (&mut painting).into_drawing_area();
        draw(shown, &root).map_err(cannot)?;
        root.present().map_err(cannot)?;
    }
    painting.png()
}

type Drawn<B> = Result<(), DrawingAreaErrorKind<<B as DrawingBackend>::ErrorType>>;

fn draw<B: DrawingBackend>(shown: &Shown, root: &DrawingArea<B, Shift>) -> Drawn<B>
where
    B::ErrorType: 'static,
{
    root.fill(&WHITE)?;
    let (width, height) = root.dim_in_pixel();
    root.draw(&text(&shown.title, (10, 20), 20))?;
    if shown.panels.is_empty() {
        return root.draw(&text("nothing was played yet", (10, 46), 15));
    }
    let mut top = TITLE;
    let last = shown.panels.len() - 1;
    for (place, panel) in shown.panels.iter().enumerate() {
        let axis = if place == last { AXIS } else { 0 };
        let bottom = top + panel.height(width) + axis;
        let part = root.clone().shrink((0, top), (width, bottom - top));
        draw_panel(&part, panel, &shown.days, axis)?;
        top = bottom;
    }
    if let Some(words) = &shown.left_out {
        let y = i32::try_from(height).unwrap_or(i32::MAX) - 10;
        root.draw(&text(words, (10, y), SMALL))?;
    }
    Ok(())
}

/// Draws a panel with its title, the names of its lines and its two axes. `axis` is the height of
/// the axis of days, which all panels share and only the last one shows.
fn draw_panel<B: DrawingBackend>(
    part: &DrawingArea<B, Shift>,
    panel: &Panel,
    days: &std::ops::Range<i32>,
    axis: u32,
) -> Drawn<B>
where
    B::ErrorType: 'static,
{
    let width = part.dim_in_pixel().0;
    part.draw(&text(&panel.title, (10, 12), 15))?;
    let rows = panel.rows(width);
    if rows > 0 {
        let columns = if width >= WIDE { 2 } else { 1 };
        for (place, line) in panel.lines.iter().enumerate() {
            let column = i32::try_from(width).unwrap_or(0) / columns;
            let at = i32::try_from(place).unwrap_or(0);
            let (x, y) = (16 + at % columns * column, 32 + at / columns * 18);
            draw_mark(part, (x, y), place)?;
            part.draw(&text(&line.name, (x + 12, y), SMALL))?;
        }
    }
    let above = i32::try_from(24 + NAMES * rows + UNIT).unwrap_or(0);
    part.draw(&text(panel.unit, (16, above - 11), SMALL))?;
    let with_year = day_of(days.start, true)[..]
        .rsplit(' ')
        .next()
        .map(str::to_owned)
        != day_of(days.end, true)[..]
            .rsplit(' ')
            .next()
            .map(str::to_owned);
    let mut chart = ChartBuilder::on(part)
        .margin_top(above)
        .margin_right(40)
        .margin_bottom(6)
        .x_label_area_size(axis)
        .y_label_area_size(LEFT)
        .build_cartesian_2d(days.clone(), panel.range.clone())?;
    let whole = |value: &f64| {
        let digits = usize::from(value.fract().abs() > 0.05);
        format!("{value:.digits$}")
    };
    let days_shown = |day: &i32| day_of(*day, with_year);
    let mut mesh = chart.configure_mesh();
    mesh.light_line_style(TRANSPARENT)
        .bold_line_style(BLACK.mix(0.18))
        .axis_style(BLACK)
        .x_labels(if width >= WIDE { 8 } else { 4 })
        .y_labels(4)
        .label_style(("sans-serif", SMALL))
        .axis_desc_style(("sans-serif", SMALL))
        .x_label_formatter(&days_shown)
        .y_label_formatter(&whole);
    if axis > 0 {
        mesh.x_desc("day");
    }
    mesh.draw()?;
    for (place, line) in panel.lines.iter().enumerate() {
        let colour = COLOURS[place % COLOURS.len()];
        if panel.bars {
            chart.draw_series(line.points.iter().map(|(day, value)| {
                PathElement::new(vec![(*day, 0.0), (*day, *value)], colour.stroke_width(4))
            }))?;
            continue;
        }
        chart.draw_series(LineSeries::new(
            line.points.iter().copied(),
            colour.stroke_width(2),
        ))?;
        let to_dot = chart.plotting_area();
        let (left, top) = part.get_base_pixel();
        for at in &line.points {
            let (x, y) = to_dot.map_coordinate(at);
            draw_mark(part, (x - left, y - top), place)?;
        }
    }
    Ok(())
}

/// Draws the marker of a line in its colour and shape: a disc, a square, a triangle or a diamond.
fn draw_mark<B: DrawingBackend>(
    part: &DrawingArea<B, Shift>,
    (x, y): (i32, i32),
    place: usize,
) -> Drawn<B>
where
    B::ErrorType: 'static,
{
    let style = COLOURS[place % COLOURS.len()].filled();
    let corners = match place % MOST_LINES {
        0 => return part.draw(&Circle::new((x, y), 4, style)),
        1 => vec![
            (x - 4, y - 4),
            (x + 4, y - 4),
            (x + 4, y + 4),
            (x - 4, y + 4),
        ],
        2 => vec![(x, y - 5), (x + 5, y + 4), (x - 5, y + 4)],
        _ => vec![(x, y - 6), (x + 5, y), (x, y + 6), (x - 5, y)],
    };
    part.draw(&Polygon::new(corners, style))
}

fn text(words: &str, at: (i32, i32), size: i32) -> Text<'static, (i32, i32), String> {
    Text::new(
        words.to_owned(),
        at,
        ("sans-serif", size)
            .into_font()
            .color(&BLACK)
            .pos(Pos::new(HPos::Left, VPos::Center)),
    )
}

/// A page with the picture in a wide and a narrow version and all figures. It can be read on a
/// phone and in dark mode.
pub(super) fn html(title: &str, [wide, narrow]: [&str; 2], text: &str) -> String {
    use std::fmt::Write as _;
    let mut dark = String::new();
    for (light, shade) in IN_THE_DARK {
        let _ = write!(
            dark,
            "svg [fill=\"{light}\"]{{fill:{shade}}}svg [stroke=\"{light}\"]{{stroke:{shade}}}"
        );
    }
    let picture = |svg: &str, class: &str| {
        let named = format!(
            "<svg class=\"{class}\" role=\"img\" aria-label=\"{}, day by day; the figures stand below\" ",
            escape(title)
        );
        svg.replacen("<svg ", &named, 1)
    };
    format!(
        "<!doctype html>\n<html lang=\"en-GB\"><head><meta charset=\"utf-8\"><title>{title}</title>\n\
         <meta name=\"viewport\" content=\"width=device-width, initial-scale=1\">\n<style>:root{{color-scheme:light dark}}\
         body{{font:16px/1.4 system-ui,sans-serif;color:#111;background:#fff;margin:1em auto;max-width:60em;padding:0 .9em}}\
         svg{{max-width:100%;height:auto}}.narrow{{display:none}}\
         @media (max-width:700px){{.wide{{display:none}}.narrow{{display:block}}}}\
         pre{{font-size:.85em;overflow-x:auto}}\
         @media (prefers-color-scheme:dark){{body{{color:#eee;background:#16181a}}{dark}}}</style></head>\
         <body><main>\n<h1>{title}</h1>\n{}\n{}\n<pre tabindex=\"0\" aria-label=\"the figures\" role=\"region\">{}</pre>\n</main></body></html>\n",
        picture(wide, "wide"),
        picture(narrow, "narrow"),
        escape(text),
        title = escape(title),
    )
}

#[cfg(test)]
mod tests {
    use super::panels::MOST_DRILLS;
    use super::*;
    use crate::planning::{Climbed, Progress};
    use crate::practice::Rung;
    use jiff::civil::date;

    fn climbed(drill: &str, stage: &str, day: i8, tempo: &str) -> Climbed {
        Climbed {
            day: date(2027, 1, day),
            drill: drill.to_owned(),
            stage: stage.to_owned(),
            rung: Rung::parse(tempo).expect("a rung"),
        }
    }

    /// A panel with nine lines would be unreadable, a drill must be named by its title, and a scale
    /// from zero would waste the panel.
    #[test]
    fn a_panel_has_four_lines_and_its_drills_title_and_a_scale_that_fits() {
        let mut found = Progress::default();
        for stage in 0..6 {
            for day in 1..5 {
                let tempo = (60 + stage + i32::from(day)).to_string();
                found
                    .climbed
                    .push(climbed("grip", &format!("stage {stage}"), day, &tempo));
            }
        }
        for drill in 0..8 {
            found
                .climbed
                .push(climbed(&format!("drill {drill}"), "real time", 6, "100"));
        }
        let shown = Shown::of("every drill", &found, str::to_uppercase);
        assert!(
            shown
                .panels
                .iter()
                .all(|panel| panel.lines.len() <= MOST_LINES)
        );
        let of = |start: &str| {
            shown
                .panels
                .iter()
                .filter(|panel| panel.title.starts_with(start))
                .count()
        };
        assert_eq!(of("DRILL"), MOST_DRILLS);
        assert_eq!(of("GRIP"), 0, "practised before the others");
        assert_eq!(
            shown.left_out.as_deref().map(|words| &words[..7]),
            Some("3 more ")
        );
        found.climbed.truncate(24);
        let shown = Shown::of("grip", &found, str::to_uppercase);
        let grip: Vec<&Panel> = shown
            .panels
            .iter()
            .filter(|panel| panel.title.starts_with("GRIP"))
            .collect();
        assert_eq!(
            grip.iter()
                .map(|panel| panel.lines.len())
                .collect::<Vec<_>>(),
            [4, 2]
        );
        assert!(
            grip[0].range.start > 55.0 && grip[0].range.end < 75.0,
            "{:?}",
            grip[0].range
        );
        for width in [WIDE, NARROW] {
            let svg = svg(&shown, width).expect("it is drawn");
            assert!(
                svg.contains("beats a minute") && svg.contains("per cent") && svg.contains("day")
            );
        }
    }
}
