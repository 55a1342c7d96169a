//! Progress as a picture: minutes and clean rate by day, tempi reached.

use super::paint::Painting;
use crate::planning::Progress;
use jiff::civil::Date;
use plotters::prelude::*;

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

/// Width and height of the picture.
const SIZE: (u32, u32) = (900, 900);

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
        let root = SVGBackend::with_string(&mut text, SIZE).into_drawing_area();
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
    let mut painting = Painting::new(SIZE).ok_or_else(|| cannot("it has no size"))?;
    {
        let root = (&mut painting).into_drawing_area();
        draw(title, found, &root).map_err(cannot)?;
        root.present().map_err(cannot)?;
    }
    painting.png()
}

type Drawn<B> = Result<(), DrawingAreaErrorKind<<B as DrawingBackend>::ErrorType>>;

fn draw<B: DrawingBackend>(
    title: &str,
    found: &Progress,
    root: &DrawingArea<B, plotters::coord::Shift>,
) -> Drawn<B>
where
    B::ErrorType: 'static,
{
    root.fill(&WHITE)?;
    let days = found
        .days
        .iter()
        .map(|day| day.day)
        .chain(found.climbed.iter().map(|rung| rung.day));
    let numbers: Vec<i32> = days.map(number).collect();
    let (Some(first), Some(last)) = (numbers.iter().min(), numbers.iter().max()) else {
        return root.draw(&Text::new(
            "nothing was played yet",
            (60, 60),
            ("sans-serif", 20),
        ));
    };
    let across = *first - 1..*last + 1;
    let parts = root.split_evenly((3, 1));
    let most = found
        .days
        .iter()
        .map(|day| day.minutes)
        .fold(10.0, f64::max);
    let mut chart = ChartBuilder::on(&parts[0])
        .caption(format!("{title}: minutes by day"), ("sans-serif", 18))
        .margin(10)
        .x_label_area_size(30)
        .y_label_area_size(45)
        .build_cartesian_2d(across.clone(), 0.0..most * 1.1)?;
    chart
        .configure_mesh()
        .disable_x_mesh()
        .x_labels(6)
        .x_label_formatter(&|day| day_of(*day))
        .draw()?;
    chart.draw_series(found.days.iter().map(|day| {
        let at = number(day.day);
        PathElement::new(vec![(at, 0.0), (at, day.minutes)], BLUE.stroke_width(3))
    }))?;
    let mut chart = ChartBuilder::on(&parts[1])
        .caption("clean, per cent of what was marked", ("sans-serif", 18))
        .margin(10)
        .x_label_area_size(30)
        .y_label_area_size(45)
        .build_cartesian_2d(across.clone(), 0.0..100.0)?;
    chart
        .configure_mesh()
        .disable_x_mesh()
        .x_labels(6)
        .x_label_formatter(&|day| day_of(*day))
        .draw()?;
    let rates = found
        .days
        .iter()
        .filter(|day| day.clean + day.not_clean > 0)
        .map(|day| {
            let said = f64::from(day.clean + day.not_clean);
            (number(day.day), f64::from(day.clean) / said * 100.0)
        });
    chart.draw_series(LineSeries::new(rates.clone(), BLACK.stroke_width(1)))?;
    chart.draw_series(rates.map(|at| Circle::new(at, 2, BLACK.filled())))?;
    let tempi = || found.climbed.iter().map(|rung| rung.tempo.to_f64());
    let (low, high) = (tempi().fold(200.0, f64::min), tempi().fold(60.0, f64::max));
    let mut chart = ChartBuilder::on(&parts[2])
        .caption("tempi reached, each stage a line", ("sans-serif", 18))
        .margin(10)
        .x_label_area_size(30)
        .y_label_area_size(45)
        .build_cartesian_2d(across, low.min(high) - 4.0..high + 4.0)?;
    chart
        .configure_mesh()
        .disable_x_mesh()
        .x_labels(6)
        .x_label_formatter(&|day| day_of(*day))
        .draw()?;
    let mut stages: Vec<(&str, &str)> = found
        .climbed
        .iter()
        .map(|rung| (rung.drill.as_str(), rung.stage.as_str()))
        .collect();
    stages.sort_unstable();
    stages.dedup();
    for (at, (drill, stage)) in stages.into_iter().enumerate() {
        let ours = found
            .climbed
            .iter()
            .filter(|rung| rung.drill == drill && rung.stage == stage);
        let points: Vec<(i32, f64)> = ours
            .map(|rung| (number(rung.day), rung.tempo.to_f64()))
            .collect();
        let colour = Palette99::pick(at).to_rgba();
        chart.draw_series(LineSeries::new(points.clone(), colour.stroke_width(2)))?;
        chart.draw_series(points.iter().map(|at| Circle::new(*at, 3, colour.filled())))?;
        if let Some((x, y)) = points.last() {
            let name = format!("{drill}, {stage}");
            chart.draw_series([Text::new(
                name,
                (*x, *y + 1.0),
                ("sans-serif", 11).into_font().color(&BLACK).pos(
                    plotters::style::text_anchor::Pos::new(
                        plotters::style::text_anchor::HPos::Right,
                        plotters::style::text_anchor::VPos::Bottom,
                    ),
                ),
            )])?;
        }
    }
    Ok(())
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
