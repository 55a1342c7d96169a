//! The content of a picture of progress: its panels with their lines, over an axis of days that all
//! panels share.

use crate::planning::{PointedWeek, Progress};
use crate::units::Milliseconds;
use jiff::civil::Date;

/// The width of the picture, and of its version for a phone, in units of the drawing. Letters have
/// the same size in both.
pub(in crate::commands::progress) const WIDE: u32 = 900;
pub(in crate::commands::progress) const NARROW: u32 = 360;
/// The heights of the title, of a panel without its names and of a row of names, in units of the
/// drawing; the axis of days follows.
pub(super) const TITLE: u32 = 40;
pub(super) const PANEL: u32 = 160;
pub(super) const NAMES: u32 = 18;
pub(super) const AXIS: u32 = 46;
/// The most lines in a panel. More lines are hard to distinguish.
pub(super) const MOST_LINES: usize = 4;

/// A day as `7 Jan`, with its year where the axis spans several years.
pub(super) fn day_of(number: i32, with_year: bool) -> String {
    let form = if with_year { "%-d %b %Y" } else { "%-d %b" };
    Date::constant(2000, 1, 1)
        .checked_add(jiff::Span::new().days(number))
        .map_or_else(|_| String::new(), |day| day.strftime(form).to_string())
}

/// The most drills whose tempi are shown; the most recently practised are.
pub(super) const MOST_DRILLS: usize = 6;

/// The day as a number of days since 2000-01-01, for the horizontal axis.
fn number(day: Date) -> i32 {
    Date::constant(2000, 1, 1)
        .until(day)
        .map_or(0, |span| span.get_days())
}

/// A line of a panel with its name.
#[derive(Debug)]
pub(super) struct Line {
    pub(super) name: String,
    pub(super) points: Vec<(i32, f64)>,
}

/// A panel.
#[derive(Debug)]
pub(super) struct Panel {
    pub(super) title: String,
    /// The unit of the vertical axis.
    pub(super) unit: &'static str,
    pub(super) range: std::ops::Range<f64>,
    pub(super) lines: Vec<Line>,
    /// True where values are drawn as bars from the axis instead of lines.
    pub(super) bars: bool,
}

/// The content of a picture.
#[derive(Debug)]
pub(in crate::commands::progress) struct Shown {
    pub(super) title: String,
    pub(super) days: std::ops::Range<i32>,
    pub(super) panels: Vec<Panel>,
    /// A sentence about what there was no room for.
    pub(super) left_out: Option<String>,
}

impl Panel {
    /// The number of rows of names above the panel; 0 where the title is enough.
    pub(super) fn rows(&self, width: u32) -> u32 {
        let named = u32::try_from(self.lines.len()).unwrap_or(0);
        match named {
            0 | 1 if self.bars || self.lines.iter().all(|line| line.name.is_empty()) => 0,
            _ if width >= WIDE => named.div_ceil(2),
            _ => named,
        }
    }

    pub(super) fn height(&self, width: u32) -> u32 {
        PANEL + NAMES * self.rows(width)
    }
}

impl Shown {
    /// The content of the picture of this progress. `title_of` returns the title of the drill with
    /// a name.
    pub(in crate::commands::progress) fn of(
        title: &str,
        found: &Progress,
        title_of: impl Fn(&str) -> String,
    ) -> Self {
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

    pub(super) fn height(&self, width: u32) -> u32 {
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

/// The range of an axis: a little more than the range of its values, and at least ten wide.
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

/// The tempi that were reached, with a panel for each drill and a line for each stage, the most
/// recently practised drill first. The sentence names what is left out.
fn climbs(found: &Progress, title_of: &impl Fn(&str) -> String) -> (Vec<Panel>, Option<String>) {
    // the axis shows tempi, so tone lengths of an opened movement have no place on it
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

/// Spreads lines over panels of at most [`MOST_LINES`].
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

/// The smallest faults that the player hears, one line for each kind. A fault that was not heard at
/// all has no point.
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

/// The pointing of tunes, with one point a week for the last pairs heard in it. The wanted ratio is
/// shown beside the name.
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
        // ratios are small numbers, so their axis begins at one to one
        let ratios = panel.lines.iter().flat_map(|line| &line.points);
        let most = ratios.map(|at| at.1).fold(1.0, f64::max);
        panel.range = 1.0..most + 1.0;
    }
    panels
}

/// What the microphone measured of the player.
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
