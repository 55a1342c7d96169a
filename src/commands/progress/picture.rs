//! Progress as a picture: minutes and clean rate by day, tempi reached, lengths and landings where
//! they were measured.

use super::paint::Painting;
use crate::planning::Progress;
use jiff::civil::Date;
use plotters::coord::Shift;
use plotters::prelude::*;
use plotters::style::text_anchor::{HPos, Pos, VPos};

/// Days since 2000, the charts' horizontal axis.
fn number(day: Date) -> i32 {
    Date::constant(2000, 1, 1)
        .until(day)
        .map_or(0, |span| span.get_days())
}

fn day_of(number: i32) -> String {
    Date::constant(2000, 1, 1)
        .checked_add(jiff::Span::new().days(number))
        .map_or_else(|_| String::new(), |day| day.to_string())
}

const WIDTH: u32 = 900;
/// Where the charts end and the names of the lines begin.
const NAMES_FROM: i32 = 680;
/// Height of a chart, and of the one with the names.
const LOW: u32 = 220;
const HIGH: u32 = 440;
/// The least distance of two names.
const NAME: i32 = 14;

/// Colours that differ for every kind of sight, darkest first, without the yellow that is lost on
/// white (Okabe & Ito, Color Universal Design, 2008).
const COLOURS: [RGBColor; 7] = [
    RGBColor(0, 114, 178),
    RGBColor(213, 94, 0),
    RGBColor(0, 0, 0),
    RGBColor(0, 158, 115),
    RGBColor(204, 121, 167),
    RGBColor(86, 180, 233),
    RGBColor(230, 159, 0),
];

fn size(found: &Progress) -> (u32, u32) {
    let heard = if found.heard.is_empty() { 0 } else { LOW };
    let apart = if found.heard_apart.is_empty() { 0 } else { LOW };
    (WIDTH, 2 * LOW + HIGH + heard + apart)
}

fn cannot(error: impl std::fmt::Display) -> String {
    format!("cannot draw the picture: {error}")
}

/// The picture in lines.
///
/// # Errors
/// What the drawing library says.
pub(super) fn svg(title: &str, found: &Progress) -> Result<String, String> {
    let mut text = String::new();
    {
        let root = SVGBackend::with_string(&mut text, size(found)).into_drawing_area();
        draw(title, found, &root).map_err(cannot)?;
        root.present().map_err(cannot)?;
    }
    Ok(text)
}

/// The picture in dots.
///
/// # Errors
/// What the drawing library or the encoder says.
pub(super) fn png(title: &str, found: &Progress) -> Result<Vec<u8>, String> {
    let mut painting = Painting::new(size(found)).ok_or_else(|| cannot("it has no size"))?;
    {
        let root = (&mut painting).into_drawing_area();
        draw(title, found, &root).map_err(cannot)?;
        root.present().map_err(cannot)?;
    }
    painting.png()
}

type Drawn<B> = Result<(), DrawingAreaErrorKind<<B as DrawingBackend>::ErrorType>>;

/// A line of a chart with its name.
struct Line {
    name: String,
    points: Vec<(i32, f64)>,
}

impl Line {
    fn of(name: &str, points: Vec<(i32, f64)>) -> Self {
        Self {
            name: name.to_owned(),
            points,
        }
    }
}

/// What a chart shows.
struct Chart<'a> {
    caption: &'a str,
    days: std::ops::Range<i32>,
    range: std::ops::Range<f64>,
    lines: Vec<Line>,
    /// Bars from the ground, and no lines.
    bars: bool,
}

fn draw<B: DrawingBackend>(title: &str, found: &Progress, root: &DrawingArea<B, Shift>) -> Drawn<B>
where
    B::ErrorType: 'static,
{
    root.fill(&WHITE)?;
    let days = found.days.iter().map(|day| day.day);
    let climbed = found.climbed.iter().map(|rung| rung.day);
    let apart = found.heard_apart.iter().map(|line| line.day);
    let numbers: Vec<i32> = days.chain(climbed).chain(apart).map(number).collect();
    let (Some(first), Some(last)) = (numbers.iter().min(), numbers.iter().max()) else {
        return root.draw(&Text::new(
            "nothing was played yet",
            (60, 60),
            ("sans-serif", 20),
        ));
    };
    let days = *first - 1..*last + 1;
    let high = (2 * LOW + HIGH) as i32;
    let cut = [LOW as i32, 2 * LOW as i32, high, high + LOW as i32];
    // One part more than there are cuts.
    let below = usize::from(!found.heard.is_empty()) + usize::from(!found.heard_apart.is_empty());
    let parts = root.split_by_breakpoints::<i32, i32, _, _>([], &cut[..2 + below]);
    let minutes: Vec<(i32, f64)> = found
        .days
        .iter()
        .map(|day| (number(day.day), day.minutes))
        .collect();
    let most = minutes.iter().map(|(_, minutes)| *minutes);
    let range = 0.0..most.fold(10.0, f64::max) * 1.1;
    chart(
        &parts[0],
        &Chart {
            caption: &format!("{title}: minutes by day"),
            days: days.clone(),
            range,
            lines: vec![Line::of("minutes", minutes)],
            bars: true,
        },
    )?;
    let rates = found
        .days
        .iter()
        .filter(|day| day.clean + day.not_clean > 0)
        .map(|day| {
            let said = f64::from(day.clean + day.not_clean);
            (number(day.day), f64::from(day.clean) / said * 100.0)
        });
    chart(
        &parts[1],
        &Chart {
            caption: "clean, per cent of what was marked",
            days: days.clone(),
            range: 0.0..104.0,
            lines: vec![Line::of("clean", rates.collect())],
            bars: false,
        },
    )?;
    let lines = climbs(found);
    let tempi = || lines.iter().flat_map(|line| &line.points).map(|at| at.1);
    let (low, high) = (tempi().fold(300.0, f64::min), tempi().fold(60.0, f64::max));
    chart(
        &parts[2],
        &Chart {
            caption: "tempi reached, each stage a line",
            days: days.clone(),
            range: low.min(high) - 4.0..high + 4.0,
            lines,
            bars: false,
        },
    )?;
    let mut below = parts.iter().skip(3);
    if !found.heard.is_empty()
        && let Some(part) = below.next()
    {
        heard(found, days.clone(), part)?;
    }
    match below.next() {
        Some(part) if !found.heard_apart.is_empty() => apart_chart(found, days, part),
        _ => Ok(()),
    }
}

/// The smallest faults heard, each a line; those that were not heard at all have no dot.
fn apart_chart<B: DrawingBackend>(
    found: &Progress,
    days: std::ops::Range<i32>,
    part: &DrawingArea<B, Shift>,
) -> Drawn<B>
where
    B::ErrorType: 'static,
{
    let mut lines: Vec<Line> = Vec::new();
    for heard in &found.heard_apart {
        let name = format!("{}, {}", heard.drill, heard.what);
        let point = heard.threshold_ms.map(|ms| (number(heard.day), ms));
        match lines.iter_mut().find(|line| line.name == name) {
            Some(line) => line.points.extend(point),
            None => lines.push(Line {
                name,
                points: point.into_iter().collect(),
            }),
        }
    }
    // The names stand beside the ends, from the top down.
    let end = |line: &Line| line.points.last().map_or(0.0, |at| at.1);
    lines.sort_by(|one, other| end(other).total_cmp(&end(one)));
    let most = lines.iter().flat_map(|line| &line.points).map(|at| at.1);
    let range = 0.0..most.fold(20.0, f64::max) * 1.1;
    chart(
        part,
        &Chart {
            caption: "smallest fault heard, milliseconds",
            days,
            range,
            lines,
            bars: false,
        },
    )
}

/// What was heard of the player by listening.
fn heard<B: DrawingBackend>(
    found: &Progress,
    days: std::ops::Range<i32>,
    part: &DrawingArea<B, Shift>,
) -> Drawn<B>
where
    B::ErrorType: 'static,
{
    let heard = |what: fn(&crate::planning::Heard) -> Option<f64>| {
        let points = found.heard.iter();
        points
            .filter_map(|heard| Some((number(heard.day), what(heard)?)))
            .collect::<Vec<_>>()
    };
    let lines = vec![
        Line::of("length of gracenotes", heard(|heard| heard.gracenote_ms)),
        Line::of("landings off the click", heard(|heard| heard.landing_ms)),
    ];
    let most = lines.iter().flat_map(|line| &line.points).map(|at| at.1);
    let range = 0.0..most.fold(20.0, f64::max) * 1.1;
    chart(
        part,
        &Chart {
            caption: "heard, milliseconds (medians)",
            days,
            range,
            lines,
            bars: false,
        },
    )
}

/// One stage's climb.
struct Climb<'a> {
    drill: &'a str,
    stage: &'a str,
    points: Vec<(i32, f64)>,
    highest: String,
}

/// The tempi reached, stage by stage, the highest first.
fn climbs(found: &Progress) -> Vec<Line> {
    let mut climbs: Vec<Climb<'_>> = Vec::new();
    // the scale is of tempi: lengths of an opened movement have no place on it
    let tempi = found.climbed.iter().filter(|rung| !rung.rung.is_opened());
    for rung in tempi {
        let at = (number(rung.day), rung.rung.tempo().to_f64());
        let highest = rung.rung.spoken();
        match climbs
            .iter_mut()
            .find(|climb| climb.drill == rung.drill && climb.stage == rung.stage)
        {
            Some(climb) => {
                climb.points.push(at);
                climb.highest = highest;
            }
            None => climbs.push(Climb {
                drill: &rung.drill,
                stage: &rung.stage,
                points: vec![at],
                highest,
            }),
        }
    }
    let end = |climb: &Climb<'_>| climb.points.last().map_or(0.0, |at| at.1);
    climbs.sort_by(|one, other| end(other).total_cmp(&end(one)));
    climbs
        .into_iter()
        .map(|climb| Line {
            name: format!("{}  {}, {}", climb.highest, climb.drill, climb.stage),
            points: climb.points,
        })
        .collect()
}

fn chart<B: DrawingBackend>(part: &DrawingArea<B, Shift>, shown: &Chart<'_>) -> Drawn<B>
where
    B::ErrorType: 'static,
{
    let named = shown.lines.len() > 1;
    let (left, right) = part.split_horizontally(if named { NAMES_FROM } else { WIDTH as i32 });
    let mut drawn = ChartBuilder::on(&left)
        .caption(shown.caption, ("sans-serif", 18))
        .margin(10)
        .x_label_area_size(30)
        .y_label_area_size(45)
        .build_cartesian_2d(shown.days.clone(), shown.range.clone())?;
    drawn
        .configure_mesh()
        .disable_x_mesh()
        // Not none of them: the library then counts whole numbers without end.
        .light_line_style(TRANSPARENT)
        .x_labels(6)
        .y_labels(6)
        .x_label_formatter(&|day| day_of(*day))
        .y_label_formatter(&|value| format!("{value:.0}"))
        .draw()?;
    let mut ends = Vec::new();
    for (line, colour) in shown.lines.iter().zip(COLOURS.iter().cycle()) {
        if shown.bars {
            drawn.draw_series(line.points.iter().map(|(day, value)| {
                PathElement::new(vec![(*day, 0.0), (*day, *value)], colour.stroke_width(3))
            }))?;
            continue;
        }
        drawn.draw_series(LineSeries::new(
            line.points.iter().copied(),
            colour.stroke_width(2),
        ))?;
        let dots = line.points.iter();
        drawn.draw_series(dots.map(|at| Circle::new(*at, 3, colour.filled())))?;
        if let Some(end) = line.points.last() {
            let end = drawn.plotting_area().map_coordinate(end);
            ends.push((end, line.name.as_str(), *colour));
        }
    }
    if named {
        names(part, &right, &ends)?;
    }
    Ok(())
}

/// A line's last point, its name and its colour.
type End<'a> = ((i32, i32), &'a str, RGBColor);

/// Each line's name beside its end, spread so that none lies on another, with a thin line to it.
fn names<B: DrawingBackend>(
    part: &DrawingArea<B, Shift>,
    right: &DrawingArea<B, Shift>,
    ends: &[End<'_>],
) -> Drawn<B>
where
    B::ErrorType: 'static,
{
    let (left, top) = part.get_base_pixel();
    let height = i32::try_from(part.dim_in_pixel().1).unwrap_or(i32::MAX);
    let most = usize::try_from((height - NAME) / NAME).unwrap_or(0);
    let shown = ends.len().min(most.saturating_sub(1));
    // Down the page each as high as its line ends, where there is room for those below.
    let mut next = NAME / 2;
    for (place, ((x, y), name, colour)) in ends[..shown].iter().enumerate() {
        let below = i32::try_from(shown - place).unwrap_or(i32::MAX) * NAME;
        let at = (y - top).clamp(next, (height - below).max(next));
        next = at + NAME;
        let from = (x - left + 5, y - top);
        let turn = (NAMES_FROM - 18, at);
        part.draw(&PathElement::new(
            vec![from, turn, (NAMES_FROM - 4, at)],
            colour.mix(0.45).stroke_width(1),
        ))?;
        right.draw(&text(name, (0, at)))?;
    }
    if shown < ends.len() {
        let more = format!("and {} more", ends.len() - shown);
        right.draw(&text(&more, (0, next)))?;
    }
    Ok(())
}

fn text(words: &str, at: (i32, i32)) -> Text<'static, (i32, i32), String> {
    Text::new(
        words.to_owned(),
        at,
        ("sans-serif", 12)
            .into_font()
            .color(&BLACK)
            .pos(Pos::new(HPos::Left, VPos::Center)),
    )
}

/// The picture and the figures as a page.
pub(super) fn html(title: &str, svg: &str, text: &str) -> String {
    let escaped = |text: &str| {
        text.replace('&', "&amp;")
            .replace('<', "&lt;")
            .replace('>', "&gt;")
    };
    format!(
        "<!doctype html>\n<html lang=\"en\"><head><meta charset=\"utf-8\"><title>{0}</title>\n\
         <meta name=\"viewport\" content=\"width=device-width\">\n<style>body{{font:16px/1.4 \
         system-ui,sans-serif;margin:2em auto;max-width:60em;padding:0 1em}}svg{{max-width:100%;height:auto}}\
         pre{{font-size:.85em;overflow-x:auto}}</style></head><body>\n<h1>{0}</h1>\n{svg}\n<pre>{1}</pre>\n</body></html>\n",
        escaped(title),
        escaped(text)
    )
}
