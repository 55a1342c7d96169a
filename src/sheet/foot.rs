//! Draws the foot of a sheet: the ladder to tick by hand, in as many columns as fit, the finger
//! chart beside it, and lines for the teacher's remarks.

use super::drawing::{Block, Heading, Ink, TableCell, TagRole};
use super::fingers;
use super::writer::{TEXT, Writer, wrap};
use crate::drill::Drill;
use crate::engraving::font::Face;
use crate::practice::Rung;
use crate::practice::ladder::climbs;

/// The side of a box in points: 4 mm, which is enough for a tick with a blunt pencil. Chosen.
const BOX: f64 = 4.0 * 72.0 / 25.4;
/// The height of a row in points.
const ROW: f64 = BOX + 2.2;
/// The width of a tempo with the word that marks the goal, in points.
const LABEL: f64 = 43.0;
const COLUMN_GAP: f64 = 9.0;
/// The gap between the boxes of two stages side by side, in points.
const STAGE_GAP: f64 = 5.0;
/// The height of a heading in points.
const HEADING: f64 = 21.0;
/// The gap between the ladder and what is beside it, in points.
const ASIDE: f64 = 14.0;
/// The distance between two of the teacher's lines in points: 6.3 mm, for handwriting.
const LINE: f64 = 18.0;
const FEWEST_LINES: usize = 3;
/// Where a row would have more boxes than this, it has a single box.
const MOST_BOXES: u32 = 10;

/// The rungs of the ladder in the order in which they are climbed: every tempo, and after it the
/// tone lengths of a movement that is opened at that tempo.
pub(super) fn rungs(climbs: &[Vec<Rung>]) -> Vec<Rung> {
    let mut rows: Vec<Rung> = climbs.iter().flatten().copied().collect();
    rows.sort_unstable();
    rows.dedup();
    rows
}

/// A row of a column.
enum Row {
    /// The names of the stages whose boxes are below.
    Stages(Vec<String>),
    Rung {
        label: String,
        /// True for the top of the ladder.
        goal: bool,
        /// For each stage of the column, true where it has this rung.
        boxes: Vec<bool>,
    },
}

/// The ladder, divided into columns.
struct Columns {
    rows: Vec<Row>,
    /// The range of rows of each column.
    ranges: Vec<std::ops::Range<usize>>,
    /// The width of a column in points.
    width: f64,
    /// The number of boxes for a stage at a rung.
    boxes: usize,
}

impl Columns {
    /// Columns with the rungs of one stage below those of another, as many columns as fit.
    fn by_stage(rows: Vec<Row>, boxes: usize, room: f64) -> Self {
        let (width, count) = columns_in(boxes, room);
        let ranges = flow(&rows, count);
        Self {
            rows,
            ranges,
            width,
            boxes,
        }
    }

    /// One column with the stages side by side; none where it would be wider than the room.
    fn side_by_side(drill: &Drill, boxes: usize, room: f64) -> Option<Self> {
        let stages = drill.stages.len();
        let width = LABEL + stage_width(boxes) * stages as f64;
        let rows = rows_side_by_side(drill);
        (stages > 1 && width - STAGE_GAP <= room).then(|| Self {
            ranges: std::iter::once(0..rows.len()).collect(),
            rows,
            width,
            boxes,
        })
    }

    fn height(&self) -> f64 {
        let rows = self.ranges.iter().map(ExactSizeIterator::len).max();
        rows.unwrap_or(0) as f64 * ROW
    }
}

/// The width in points and the number of the columns of one stage.
fn columns_in(boxes: usize, room: f64) -> (f64, usize) {
    // a column of single boxes still needs room for the name of a stage
    let width = LABEL + boxes.max(3) as f64 * BOX + COLUMN_GAP;
    (width, (((room + COLUMN_GAP) / width) as usize).max(1))
}

/// The layout of the foot.
pub(super) struct Foot<'a> {
    drill: &'a Drill,
    columns: Columns,
    /// The rows that fit neither this page nor the next. Thousands of boxes take pages of their
    /// own.
    later: Vec<Row>,
    /// What to do with the boxes, broken into lines.
    sentence: Vec<String>,
    ladder_width: f64,
    ladder_height: f64,
    /// True where the teacher's lines are under the ladder and not beside it.
    lines_under: bool,
    /// The height of the whole foot in points.
    pub height: f64,
}

impl<'a> Foot<'a> {
    /// The lowest possible foot of a drill in this width. It is at most `most` points high where
    /// that can be done by one box for all clean repetitions of a cell.
    pub(super) fn of(drill: &'a Drill, width: f64, most: f64) -> Self {
        let clean = drill.clean as usize;
        let boxes = if drill.clean > MOST_BOXES { 1 } else { clean };
        let lowest = |boxes: usize| {
            let beside = width - fingers::WIDTH - ASIDE;
            let rooms = if fingers::height(drill) > 0.0 {
                vec![beside]
            } else {
                vec![beside, width]
            };
            let mut best: Option<Self> = None;
            for room in rooms {
                let columns = [
                    Some(Columns::by_stage(rows_by_stage(drill), boxes, room)),
                    Columns::side_by_side(drill, boxes, room),
                ];
                for columns in columns.into_iter().flatten() {
                    let foot = Self::with(drill, columns, room, room < width);
                    if best
                        .as_ref()
                        .is_none_or(|best| foot.height < best.height - 1.0)
                    {
                        best = Some(foot);
                    }
                }
            }
            best
        };
        let fits = |foot: &Self| foot.height <= most;
        let foot = lowest(boxes).filter(fits);
        foot.or_else(|| lowest(1).filter(fits)).unwrap_or_else(|| {
            let mut rows = rows_by_stage(drill);
            let room = width - fingers::WIDTH - ASIDE;
            let first = columns_in(1, room).1 * (most / 2.0 / ROW) as usize;
            let later = rows.split_off(first.min(rows.len()));
            let columns = Columns::by_stage(rows, 1, room);
            let mut foot = Self::with(drill, columns, room, true);
            foot.later = later;
            foot
        })
    }

    fn with(drill: &'a Drill, columns: Columns, room: f64, room_beside: bool) -> Self {
        let clean = drill.clean;
        let words = if columns.boxes == 1 && clean > 1 {
            format!("Tick a box when {clean} repetitions in a row were clean.")
        } else {
            "Tick a box for each clean repetition in a row; when one is not, cross them out and begin again.".to_owned()
        };
        let sentence = wrap(&words, Face::Regular, TEXT, room);
        let ladder_height = HEADING + sentence.len() as f64 * TEXT * 1.3 + 4.0 + columns.height();
        let fingers = match fingers::height(drill) {
            0.0 => 0.0,
            chart => HEADING + chart + 6.0,
        };
        let lines = HEADING + LINE * FEWEST_LINES as f64;
        let beside = ladder_height.max(fingers + lines);
        let under = (ladder_height + 6.0 + lines).max(fingers);
        let lines_under = !room_beside || under < beside;
        Self {
            drill,
            columns,
            later: Vec::new(),
            sentence,
            ladder_width: room,
            ladder_height,
            lines_under,
            height: if lines_under { under } else { beside } + 8.0,
        }
    }

    /// Draws the foot at the writer's place, or on a new page where it does not fit.
    pub(super) fn draw(mut self, writer: &mut Writer, left_handed: bool) {
        writer.need(self.height);
        self.first_page(writer, left_handed);
        let (width, room) = (writer.width(), writer.whole());
        let fit = columns_in(1, width).1 * ((room - HEADING - 8.0) / ROW) as usize;
        while !self.later.is_empty() {
            let later = self.later.split_off(fit.min(self.later.len()));
            let rows = std::mem::replace(&mut self.later, later);
            writer.new_page();
            let top = writer.y;
            let title = format!("Ladder of {}, continued", self.drill.title);
            let title = wrap(&title, Face::Bold, 13.0, width);
            heading(
                writer,
                title.first().map_or("Ladder", |line| line),
                Writer::left(),
                top,
            );
            let columns = Columns::by_stage(rows, 1, width);
            columns.draw(writer, Writer::left(), top + HEADING);
            writer.skip(HEADING + columns.height());
        }
    }

    fn first_page(&self, writer: &mut Writer, left_handed: bool) {
        let alone = writer.is_at_top();
        writer.skip(8.0);
        let top = writer.y;
        let bottom = top + self.height - 8.0;
        let left = Writer::left();
        let aside = left + self.ladder_width + ASIDE;
        let title = if alone {
            format!("Ladder of {}", self.drill.title)
        } else {
            "Ladder".to_owned()
        };
        let title = wrap(&title, Face::Bold, 13.0, self.ladder_width);
        heading(
            writer,
            title.first().map_or("Ladder", |line| line),
            left,
            top,
        );
        self.ladder(writer, left, top + HEADING);
        let mut beside = top;
        if fingers::height(self.drill) > 0.0 {
            heading(writer, "Fingers", aside, top);
            fingers::draw(writer, self.drill, left_handed, aside, top + HEADING);
            beside += HEADING + fingers::height(self.drill) + 6.0;
        }
        let (x, right, from) = if self.lines_under {
            let under = top + self.ladder_height + 6.0;
            (left, left + self.ladder_width, under)
        } else {
            (aside, aside + fingers::WIDTH, beside)
        };
        heading(writer, "The teacher’s word", x, from);
        let rules = ((bottom - from - HEADING) / LINE + 0.01) as usize;
        let ink = (1..=rules)
            .map(|rule| {
                let y = from + HEADING + LINE * rule as f64 - 2.0;
                Ink::rectangle(x, y - 0.25, right, y + 0.25)
            })
            .collect();
        writer.put(TagRole::Furniture, ink);
        writer.skip(bottom - top);
    }

    fn ladder(&self, writer: &mut Writer, left: f64, top: f64) {
        let mut base = top;
        let mut ink = Vec::new();
        for line in &self.sentence {
            base += TEXT;
            ink.push(Ink::words(line, left, base, TEXT, Face::Regular));
            base += TEXT * 0.3;
        }
        writer.put(TagRole::Paragraph, ink);
        self.columns.draw(writer, left, base + 4.0);
    }
}

fn heading(writer: &mut Writer, words: &str, x: f64, top: f64) {
    let ink = Ink::words(words, x, top + 12.5, 13.0, Face::Bold);
    writer.put(TagRole::Heading(2, words.to_owned()), vec![ink]);
}

impl Columns {
    fn draw(&self, writer: &mut Writer, left: f64, top: f64) {
        for (number, rows) in self.ranges.iter().enumerate() {
            let x = left + self.width * number as f64;
            let cells = self.rows[rows.clone()]
                .iter()
                .enumerate()
                .map(|(row, what)| self.row(what, x, top + row as f64 * ROW))
                .collect();
            writer.block(Block {
                role: TagRole::Table(format!(
                    "ladder, column {} of {}: a row for each rung, boxes to tick",
                    number + 1,
                    self.ranges.len()
                )),
                ink: Vec::new(),
                rows: cells,
            });
        }
    }

    fn row(&self, row: &Row, x: f64, top: f64) -> Vec<TableCell> {
        let base = top + BOX - 2.2;
        match row {
            // the column of a single stage has the stage's name above tempo and boxes
            Row::Stages(names) if names.len() == 1 => {
                let name = shortened(&names[0], self.width - COLUMN_GAP);
                let name = Ink::words(&name, x, base, TEXT, Face::Italic);
                vec![
                    cell(Some(Heading::Column), vec![name]),
                    cell(None, Vec::new()),
                ]
            }
            Row::Stages(names) => {
                let width = stage_width(self.boxes);
                let mut cells = vec![cell(None, Vec::new())];
                cells.extend(names.iter().enumerate().map(|(stage, name)| {
                    let name = shortened(name, width - STAGE_GAP);
                    let x = x + LABEL + width * stage as f64;
                    let name = Ink::words(&name, x, base, TEXT, Face::Italic);
                    cell(Some(Heading::Column), vec![name])
                }));
                cells
            }
            Row::Rung { label, goal, boxes } => {
                let mut words = vec![Ink::words(label, x, base, TEXT, Face::Bold)];
                if *goal {
                    let right = x + LABEL - 3.0 - Face::Italic.width(GOAL, TEXT);
                    words.push(Ink::words(GOAL, right, base, TEXT, Face::Italic));
                }
                let mut cells = vec![cell(Some(Heading::Row), words)];
                cells.extend(boxes.iter().enumerate().map(|(stage, comes)| {
                    let count = if *comes { self.boxes } else { 0 };
                    let left = x + LABEL + stage_width(self.boxes) * stage as f64;
                    let boxes = (0..count).map(|place| box_to_tick(left, place, top, *goal));
                    cell(None, boxes.collect())
                }));
                cells
            }
        }
    }
}

fn cell(heading: Option<Heading>, ink: Vec<Ink>) -> TableCell {
    TableCell { heading, ink }
}

fn box_to_tick(left: f64, place: usize, top: f64, goal: bool) -> Ink {
    let edge = if goal { 1.3 } else { 0.5 };
    let at = left + place as f64 * BOX;
    // neighbouring boxes share an edge
    let half = edge / 2.0;
    Ink::frame(
        at - half,
        top - half,
        at + BOX + half,
        top + BOX + half,
        edge,
    )
}

const GOAL: &str = "goal";

fn stage_width(boxes: usize) -> f64 {
    boxes as f64 * BOX + STAGE_GAP
}

fn label(drill: &Drill, stage: usize) -> String {
    format!("{} {}", stage + 1, drill.stages[stage].name)
}

/// The rows of each stage with its own rungs, in the order in which they are climbed.
fn rows_by_stage(drill: &Drill) -> Vec<Row> {
    let climbs = climbs(drill);
    let goal = goal(&climbs);
    let mut rows = Vec::new();
    for (stage, own) in climbs.iter().enumerate().take(drill.stages.len()) {
        if drill.stages.len() > 1 {
            rows.push(Row::Stages(vec![label(drill, stage)]));
        }
        rows.extend(own.iter().map(|rung| Row::Rung {
            label: rung.spoken(),
            goal: Some(*rung) == goal,
            boxes: vec![true],
        }));
    }
    rows
}

/// Each rung once, with the stages that have it.
fn rows_side_by_side(drill: &Drill) -> Vec<Row> {
    let climbs = climbs(drill);
    let goal = goal(&climbs);
    let names = (0..drill.stages.len()).map(|stage| label(drill, stage));
    let mut rows = vec![Row::Stages(names.collect())];
    rows.extend(rungs(&climbs).into_iter().map(|rung| Row::Rung {
        label: rung.spoken(),
        goal: Some(rung) == goal,
        boxes: climbs.iter().map(|own| own.contains(&rung)).collect(),
    }));
    rows
}

/// The highest tempo of the ladder.
fn goal(climbs: &[Vec<Rung>]) -> Option<Rung> {
    let tempi = climbs.iter().flatten().filter(|rung| !rung.is_opened());
    tempi.max_by_key(|rung| rung.tempo()).copied()
}

/// Divides rows into columns of heights as equal as possible. A stage's name is never the last row
/// of a column. A stage is divided only where that saves more than one row.
fn flow(rows: &[Row], columns: usize) -> Vec<std::ops::Range<usize>> {
    let columns = columns.max(1);
    let even = rows.len().div_ceil(columns).max(2);
    let whole = (even..=even + 1).map(|height| columns_of(rows, height, true));
    let broken = (even..).map(|height| columns_of(rows, height, false));
    whole
        .chain(broken)
        .find(|ranges| ranges.len() <= columns)
        .unwrap_or_default()
}

/// Divides rows into columns of at most this height, as many as needed. A stage higher than a
/// column is divided in any case.
fn columns_of(rows: &[Row], height: usize, whole: bool) -> Vec<std::ops::Range<usize>> {
    let is_name = |at: &usize| matches!(rows[*at], Row::Stages(_));
    let mut ranges = Vec::new();
    let mut begin = 0;
    while begin < rows.len() {
        let mut end = (begin + height).min(rows.len());
        if end < rows.len() {
            let of_next = if whole {
                begin + 1
            } else {
                (end - 1).max(begin + 1)
            };
            end = (of_next..=end).rev().find(is_name).unwrap_or(end);
        }
        ranges.push(begin..end);
        begin = end;
    }
    ranges
}

/// A name, cut to a width in points.
fn shortened(name: &str, room: f64) -> String {
    let fits = |text: &str| Face::Italic.width(text, TEXT) <= room;
    if fits(name) {
        return name.to_owned();
    }
    let mut short = name.to_owned();
    while short.chars().count() > 2 && !fits(&format!("{short}…")) {
        short.pop();
    }
    format!("{}…", short.trim_end())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn rows(lengths: &[usize]) -> Vec<Row> {
        let rung = || Row::Rung {
            label: String::new(),
            goal: false,
            boxes: vec![true],
        };
        let stage = |rungs: &usize| {
            let name = Row::Stages(vec![String::new()]);
            std::iter::once(name).chain(std::iter::repeat_with(rung).take(*rungs))
        };
        lengths.iter().flat_map(stage).collect()
    }

    /// A reader could not tell the stage of rungs that are separated from the stage's name.
    #[test]
    fn a_stage_is_broken_only_where_that_saves_rows() {
        let lengths = |rungs: &[usize], columns| -> Vec<usize> {
            let rows = rows(rungs);
            let ranges = flow(&rows, columns);
            assert_eq!(ranges.first().map(|range| range.start), Some(0));
            assert!(ranges.windows(2).all(|pair| pair[0].end == pair[1].start));
            assert_eq!(ranges.last().map(|range| range.end), Some(rows.len()));
            ranges.iter().map(ExactSizeIterator::len).collect()
        };
        // 28 rows: columns of ten would divide the fourth stage
        assert_eq!(lengths(&[4, 4, 4, 5, 6], 3), [10, 11, 7]);
        assert_eq!(lengths(&[13], 4), [4, 4, 4, 2]);
        // whole stages would need eleven rows where eight are enough
        assert_eq!(lengths(&[2, 10], 2), [7, 7]);
        // a name is never the last row of a column
        assert_eq!(lengths(&[5, 5, 12], 4), [6, 6, 7, 6]);
    }
}
