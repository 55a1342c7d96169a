//! Progress as a picture: panels under each other over one axis of days: minutes, clean rate, tempi
//! reached drill by drill, lengths and landings where they were measured.

use super::paint::Painting;
use crate::planning::{PointedWeek, Progress};
use crate::units::Milliseconds;
use jiff::civil::Date;
use plotters::coord::Shift;
use plotters::prelude::*;
use plotters::style::text_anchor::{HPos, Pos, VPos};
use quick_xml::escape::escape;

/// Days since 2000, the panels' horizontal axis.
fn number(day: Date) -> i32 {
    Date::constant(2000, 1, 1)
        .until(day)
        .map_or(0, |span| span.get_days())
}

/// `7 Jan`, and with its year where days of several years stand on the axis.
fn day_of(number: i32, with_year: bool) -> String {
    let form = if with_year { "%-d %b %Y" } else { "%-d %b" };
    Date::constant(2000, 1, 1)
        .checked_add(jiff::Span::new().days(number))
        .map_or_else(|_| String::new(), |day| day.strftime(form).to_string())
}

/// Widths of the picture, and of its twin for a phone, dots; letters are as large on both.
pub(super) const WIDE: u32 = 900;
pub(super) const NARROW: u32 = 360;
/// The title over all, a panel without its names, a row of names, the axis of days.
const TITLE: u32 = 40;
const PANEL: u32 = 160;
const NAMES: u32 = 18;
const AXIS: u32 = 46;
/// Room left of every panel for the figures of its axis, the same for all.
const LEFT: u32 = 40;
/// Room above an axis for its unit, which stands there upright because turned letters are not read.
const UNIT: u32 = 18;
const SMALL: i32 = 13;
/// The most lines in a panel: more cannot be told apart.
const MOST_LINES: usize = 4;
/// Drills whose tempi are shown at most, those practised last.
const MOST_DRILLS: usize = 6;

/// Colours that differ for every kind of sight (Okabe & Ito, Color Universal Design, 2008); each has a
/// shape too, and black is left to words.
const COLOURS: [RGBColor; MOST_LINES] = [
    RGBColor(0, 114, 178),
    RGBColor(213, 94, 0),
    RGBColor(0, 158, 115),
    RGBColor(204, 121, 167),
];

/// The same colours on a dark background, in the words of a page's style.
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

/// The picture in lines.
///
/// # Errors
/// What the drawing library says.
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

/// The picture in dots.
///
/// # Errors
/// What the drawing library or the encoder says.
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

/// A line of a panel with its name.
#[derive(Debug)]
struct Line {
    name: String,
    points: Vec<(i32, f64)>,
}

/// A panel.
#[derive(Debug)]
struct Panel {
    title: String,
    /// What its axis counts.
    unit: &'static str,
    range: std::ops::Range<f64>,
    lines: Vec<Line>,
    /// Bars from the ground, and no lines.
    bars: bool,
}

/// All that a picture shows.
#[derive(Debug)]
pub(super) struct Shown {
    title: String,
    days: std::ops::Range<i32>,
    panels: Vec<Panel>,
    /// What there was no room for, as a sentence.
    left_out: Option<String>,
}

impl Panel {
    /// Rows of names over the panel: none where the title says it all.
    fn rows(&self, width: u32) -> u32 {
        let named = u32::try_from(self.lines.len()).unwrap_or(0);
        match named {
            0 | 1 if self.bars || self.lines.iter().all(|line| line.name.is_empty()) => 0,
            _ if width >= WIDE => named.div_ceil(2),
            _ => named,
        }
    }

    fn height(&self, width: u32) -> u32 {
        PANEL + NAMES * self.rows(width)
    }
}

impl Shown {
    /// What a picture of this progress shows; `title_of` says a drill's title by its name.
    pub(super) fn of(title: &str, found: &Progress, title_of: impl Fn(&str) -> String) -> Self {
        let days = found.days.iter().map(|day| day.day);
        let climbed = found.climbed.iter().map(|rung| rung.day);
        let apart = found.heard_apart.iter().map(|line| line.day);
        let numbers: Vec<i32> = days.chain(climbed).chain(apart).map(number).collect();
        let mut shown = Self {
            title: title.to_owned(),
            days: 0..0,
            panels: Vec::new(),
            left_out: None,
        };
        let (Some(first), Some(last)) = (numbers.iter().min(), numbers.iter().max()) else {
            return shown;
        };
        shown.days = *first - 1..*last + 1;
        shown.panels.push(minutes(found));
        shown.panels.push(clean(found));
        let (climbs, left_out) = climbs(found, &title_of);
        shown.panels.extend(climbs);
        shown.left_out = left_out;
        shown.panels.extend(heard(found));
        shown.panels.extend(pointed(found, &title_of));
        shown.panels.extend(heard_apart(found, &title_of));
        shown
    }

    fn height(&self, width: u32) -> u32 {
        let panels: u32 = self.panels.iter().map(|panel| panel.height(width)).sum();
        let note = if self.left_out.is_some() { NAMES } else { 0 };
        TITLE + panels + AXIS + note
    }
}

fn minutes(found: &Progress) -> Panel {
    let points: Vec<(i32, f64)> = found
        .days
        .iter()
        .map(|day| (number(day.day), day.minutes))
        .collect();
    let most = points.iter().map(|at| at.1).fold(1.0, f64::max);
    Panel {
        title: "Played by day".to_owned(),
        unit: "minutes",
        range: 0.0..most * 1.1,
        lines: vec![Line {
            name: String::new(),
            points,
        }],
        bars: true,
    }
}

fn clean(found: &Progress) -> Panel {
    let rates = found
        .days
        .iter()
        .filter(|day| day.clean + day.not_clean > 0)
        .map(|day| {
            let said = f64::from(day.clean + day.not_clean);
            (number(day.day), f64::from(day.clean) / said * 100.0)
        });
    Panel {
        title: "Clean, of what was marked".to_owned(),
        unit: "per cent",
        range: 0.0..105.0,
        lines: vec![Line {
            name: String::new(),
            points: rates.collect(),
        }],
        bars: false,
    }
}

/// The range of an axis: from a little under the least value to a little over the greatest, and at
/// least ten wide.
fn fitting(lines: &[Line]) -> std::ops::Range<f64> {
    let values = || lines.iter().flat_map(|line| &line.points).map(|at| at.1);
    let (low, high) = (
        values().fold(f64::MAX, f64::min),
        values().fold(0.0, f64::max),
    );
    let spare = ((10.0 - (high - low)) / 2.0)
        .max((high - low) * 0.08)
        .max(1.0);
    (low - spare).max(0.0)..high + spare
}

/// The tempi reached: a panel for each drill, those practised last first, its stages as lines; and
/// what is left out.
fn climbs(found: &Progress, title_of: &impl Fn(&str) -> String) -> (Vec<Panel>, Option<String>) {
    // the scale is of tempi: lengths of an opened movement have no place on it
    let tempi = || found.climbed.iter().filter(|rung| !rung.rung.is_opened());
    let mut drills: Vec<(&str, Date)> = Vec::new();
    for rung in tempi() {
        match drills.iter_mut().find(|(drill, _)| *drill == rung.drill) {
            Some((_, last)) => *last = (*last).max(rung.day),
            None => drills.push((&rung.drill, rung.day)),
        }
    }
    drills.sort_by_key(|(_, last)| std::cmp::Reverse(*last));
    let left_out = drills.len().saturating_sub(MOST_DRILLS);
    let mut panels = Vec::new();
    for (drill, _) in drills.iter().take(MOST_DRILLS) {
        let mut stages: Vec<Line> = Vec::new();
        for rung in tempi().filter(|rung| rung.drill == *drill) {
            let at = (number(rung.day), rung.rung.tempo().to_f64());
            match stages.iter_mut().find(|line| line.name == rung.stage) {
                Some(line) => line.points.push(at),
                None => stages.push(Line {
                    name: rung.stage.clone(),
                    points: vec![at],
                }),
            }
        }
        let title = format!("{}: tempi reached", title_of(drill));
        panels.extend(in_panels(&title, "beats a minute", stages));
    }
    let words = crate::wording::count(left_out, "more drill", "more drills");
    let left_out = (left_out > 0)
        .then(|| format!("{words} climbed earlier; `progress DRILL` shows one by itself"));
    (panels, left_out)
}

/// Lines in panels of so many as are told apart.
fn in_panels(title: &str, unit: &'static str, lines: Vec<Line>) -> Vec<Panel> {
    let mut panels = Vec::new();
    let mut rest = lines;
    while !rest.is_empty() {
        let later = rest.split_off(rest.len().min(MOST_LINES));
        let title = if panels.is_empty() {
            title.to_owned()
        } else {
            format!("{title}, continued")
        };
        panels.push(Panel {
            title,
            unit,
            range: fitting(&rest),
            lines: rest,
            bars: false,
        });
        rest = later;
    }
    panels
}

/// The smallest faults heard, each a line; those that were not heard at all have no dot.
fn heard_apart(found: &Progress, title_of: &impl Fn(&str) -> String) -> Vec<Panel> {
    let mut lines: Vec<Line> = Vec::new();
    for heard in &found.heard_apart {
        let name = format!("{}, {}", title_of(&heard.drill), heard.what);
        let point = heard.threshold.map(|ms| (number(heard.day), ms.0));
        match lines.iter_mut().find(|line| line.name == name) {
            Some(line) => line.points.extend(point),
            None => lines.push(Line {
                name,
                points: point.into_iter().collect(),
            }),
        }
    }
    lines.retain(|line| !line.points.is_empty());
    in_panels("Smallest fault heard", "milliseconds", lines)
}

/// How tunes were pointed, a point for each week, where its last pairs were heard; what is wanted stands
/// beside the name.
fn pointed(found: &Progress, title_of: &impl Fn(&str) -> String) -> Vec<Panel> {
    let mut lines: Vec<Line> = Vec::new();
    for of_tune in found.pointed.chunk_by(PointedWeek::is_of_the_music_of) {
        let Some(last) = of_tune.last() else { continue };
        let stage = last.stage.as_ref();
        let stage = stage.map_or_else(String::new, |stage| format!(", {stage}"));
        lines.push(Line {
            name: format!(
                "{}{stage}, {}, wanted {}",
                title_of(&last.drill),
                last.what(),
                last.wanted_words()
            ),
            points: of_tune
                .iter()
                .map(|week| (number(week.last), week.ratio))
                .collect(),
        });
    }
    let mut panels = in_panels(
        "Pointed, week by week: the middle pair",
        "long to short",
        lines,
    );
    for panel in &mut panels {
        // a ratio is a small number, and the roundest there is is one to one
        let ratios = panel.lines.iter().flat_map(|line| &line.points);
        let most = ratios.map(|at| at.1).fold(1.0, f64::max);
        panel.range = 1.0..most + 1.0;
    }
    panels
}

/// What was heard of the player by listening.
fn heard(found: &Progress) -> Vec<Panel> {
    let heard = |name: &str, what: fn(&crate::planning::HeardOnDay) -> Option<Milliseconds>| {
        let points = found.heard.iter();
        let points = points.filter_map(|heard| Some((number(heard.day), what(heard)?.0)));
        Line {
            name: name.to_owned(),
            points: points.collect(),
        }
    };
    let mut lines = vec![
        heard("length of gracenotes", |heard| heard.gracenote),
        heard("landings off the click", |heard| heard.landing),
    ];
    lines.retain(|line| !line.points.is_empty());
    in_panels("Heard by listening, medians", "milliseconds", lines)
}

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

/// A panel with its title, its names, its two axes; `axis` is the height of that of days, which all
/// share and the last one shows.
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

/// The mark of a panel's line: its colour and its shape, a disc, a square, a triangle, a diamond.
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

/// The picture, wide and narrow, and the figures as a page that is read on a phone and in the dark.
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
    use super::*;
    use crate::planning::Climbed;
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

    /// Nine lines in one panel are a skein; a drill is called by its title; a scale from nought wastes
    /// the panel.
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
