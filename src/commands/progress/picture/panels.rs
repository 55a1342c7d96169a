//! What a picture of progress shows: its panels with their lines, and the days that all share.

use crate::planning::{PointedWeek, Progress};
use crate::units::Milliseconds;
use jiff::civil::Date;

/// Widths of the picture, and of its twin for a phone, dots; letters are as large on both.
pub(in crate::commands::progress) const WIDE: u32 = 900;
pub(in crate::commands::progress) const NARROW: u32 = 360;
/// The title over all, a panel without its names, a row of names, the axis of days.
pub(super) const TITLE: u32 = 40;
pub(super) const PANEL: u32 = 160;
pub(super) const NAMES: u32 = 18;
pub(super) const AXIS: u32 = 46;
/// The most lines in a panel: more cannot be told apart.
pub(super) const MOST_LINES: usize = 4;

/// `7 Jan`, and with its year where days of several years stand on the axis.
pub(super) fn day_of(number: i32, with_year: bool) -> String {
    let form = if with_year { "%-d %b %Y" } else { "%-d %b" };
    Date::constant(2000, 1, 1)
        .checked_add(jiff::Span::new().days(number))
        .map_or_else(|_| String::new(), |day| day.strftime(form).to_string())
}

/// Drills whose tempi are shown at most, those practised last.
pub(super) const MOST_DRILLS: usize = 6;

/// Days since 2000, the panels' horizontal axis.
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
    /// What its axis counts.
    pub(super) unit: &'static str,
    pub(super) range: std::ops::Range<f64>,
    pub(super) lines: Vec<Line>,
    /// Bars from the ground, and no lines.
    pub(super) bars: bool,
}

/// All that a picture shows.
#[derive(Debug)]
pub(in crate::commands::progress) struct Shown {
    pub(super) title: String,
    pub(super) days: std::ops::Range<i32>,
    pub(super) panels: Vec<Panel>,
    /// What there was no room for, as a sentence.
    pub(super) left_out: Option<String>,
}

impl Panel {
    /// Rows of names over the panel: none where the title says it all.
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
    /// What a picture of this progress shows; `title_of` says a drill's title by its name.
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
